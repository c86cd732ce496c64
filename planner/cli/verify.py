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
    import msgspec

    from planner.cli.running import shipped
    from planner.verification import QUANTITIES, showing, verified

    if quantity and quantity not in QUANTITIES:
        raise InputError(f'"{quantity}" is not verified. Known: {", ".join(QUANTITIES)}.')
    folder = Path(data) if data is not None else shipped("fixtures")
    if not folder.is_dir():
        raise InputError(f"{folder} is no folder.")
    rows = verified(folder, quantity)
    if not rows:
        raise InputError(
            f"{folder} holds no measured data that is known. docs/verification.md names the tables and columns."
        )
    if picture is not None:
        Path(picture).write_text(showing.picture(rows), encoding="utf-8")
    show(
        {"rows": [msgspec.to_builtins(row) | {"is_better": row.is_better} for row in rows]},
        lambda: showing.text(rows),
        as_json,
    )
