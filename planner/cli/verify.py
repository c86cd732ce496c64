"""haysel verify: each figure against measured data and its best simple rival."""

from __future__ import annotations

from pathlib import Path

import click

from planner.cli.options import AS_JSON, show
from planner.errors import InputError


@click.command()
@click.option("--data", metavar="DIR", help="Folder of measured data; else that of this project.")
@click.option("--quantity", metavar="Q", default="", help="Only this quantity.")
@click.option("--picture", metavar="FILE", help="Write an SVG of the gains.")
@AS_JSON
def verify(data: str | None, quantity: str, picture: str | None, as_json: bool) -> None:
    """Score what Haysel computes against measurements, and against the best simple way."""
    from warnings import catch_warnings, simplefilter

    import msgspec

    from planner.cli.running import shipped
    from planner.verification import QUANTITIES, showing, verified
    from planner.verification.data import NotRead, tables_known

    if quantity and quantity not in QUANTITIES:
        raise InputError(f'"{quantity}" is not verified. Known: {", ".join(QUANTITIES)}.')
    folder = Path(data) if data is not None else shipped("fixtures")
    if not folder.is_dir():
        raise InputError(f"{folder} is no folder.")
    if picture is not None and not Path(picture).absolute().parent.is_dir():
        raise InputError(f"There is no folder {Path(picture).parent} for the picture.")
    with catch_warnings(record=True) as caught:
        simplefilter("always", NotRead)
        rows = verified(folder, quantity)
    for text in dict.fromkeys(str(one.message) for one in caught if one.category is NotRead):
        click.echo(text, err=True)
    if not rows:
        raise InputError(
            f"{folder} holds no measured data that is known. Tables that are read, with the columns they need "
            f"(docs/verification.md says more):\n{tables_known()}"
        )
    if picture is not None:
        Path(picture).write_text(showing.picture(rows), encoding="utf-8")
    show(
        {"rows": [msgspec.to_builtins(row) | {"is_better": row.is_better} for row in rows]},
        lambda: showing.text(rows),
        as_json,
    )
