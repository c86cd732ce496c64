"""Names of a site file that must be those of something else, and figures that must be in order.

It reads the tables as they come, before the schema has accepted them, so that one fault hides no other.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, get_args

from planner.config.faults import nearest, unknown
from planner.config.schema import SurfacePart, WarningsPart
from planner.config.sheet import Sheet, rows, table, word, words
from planner.errors import NotKnown
from planner.indices.grasses import GRASSES
from planner.indices.rain_wash import wash_constants
from planner.indices.site_constants import SITE_CONSTANTS

SURFACE_KINDS: tuple[str, ...] = get_args(SurfacePart.model_fields["kind"].annotation)
#: Thresholds of a warning, the mildest first.
_IN_ORDER = (("wash_mention", "wash_heed", "wash_act"), ("frost_mention", "frost_heed"))


def surface_kinds(values: dict[str, Any]) -> dict[str, str] | None:
    """Name of each surface -> its kind; None where one cannot be read, for then nothing is surely unknown."""
    written = values.get("surfaces")
    found = {
        name: kind
        for _, row in rows(values, "surfaces")
        if (name := word(row, "name")) is not None and (kind := word(row, "kind")) is not None
    }
    whole = isinstance(written, list) and all(
        isinstance(row, dict) and word(row, "name") and word(row, "kind") for row in written
    )
    return found if whole else None


def check_names(values: dict[str, Any], sheet: Sheet, jobs: Collection[str] | None) -> None:
    """Faults of names and of order. `jobs` is None where the rules file cannot be read."""
    _check_surfaces(values, sheet)
    kinds = surface_kinds(values)
    for path, name in _surfaces_named(values):
        if kinds is not None and name not in kinds:
            sheet.add(path, unknown("surface", name, kinds))
    for key in ("done", "planned", "wanted"):
        for number, row in rows(values, key):
            job = word(row, "job")
            if jobs is not None and job is not None and job not in jobs:
                sheet.add((key, number, "job"), unknown("job", job, jobs))
    for key in ("sprayer", "spreader"):
        sheet.named_once(key, _named(values, key))
    sheet.named_once(
        "outputs",
        [
            (number, called)
            for number, row in rows(values, "outputs")
            if (called := word(row, "name") or word(row, "kind"))
        ],
    )
    _check_providers(values, sheet)
    _check_constants(values, sheet)
    _check_order(values, sheet)


def _named(values: dict[str, Any], key: str) -> list[tuple[int, str]]:
    return [(number, name) for number, row in rows(values, key) if (name := word(row, "name"))]


def _surfaces_named(values: dict[str, Any]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    for key in ("sown", "done", "planned", "wanted"):
        for number, row in rows(values, key):
            if name := word(row, "surface"):
                yield (key, number, "surface"), name
    for name in table(values, "growth"):
        yield ("growth", name), name


def _check_surfaces(values: dict[str, Any], sheet: Sheet) -> None:
    sheet.named_once("surfaces", _named(values, "surfaces"))
    own = table(values, "grasses")
    for name, part in own.items():
        like = word(part, "like")
        if like is not None and like not in GRASSES:
            sheet.add(("grasses", name, "like"), unknown("grass", like, sorted(GRASSES)))
    known = sorted({*GRASSES, *own})
    for key in ("surfaces", "sown"):
        for number, row in rows(values, key):
            grass = word(row, "grass")
            if grass and grass not in known:
                sheet.add((key, number, "grass"), unknown("grass", grass, known))


def _check_providers(values: dict[str, Any], sheet: Sheet) -> None:
    from planner.forecast import PROVIDERS

    for name in words(table(values, "forecast"), "providers"):
        if name not in PROVIDERS:
            sheet.add(("forecast", "providers"), unknown("provider", name, list(PROVIDERS)))


def _check_constants(values: dict[str, Any], sheet: Sheet) -> None:
    for name in table(values, "constants"):
        if name in SITE_CONSTANTS:
            continue
        try:
            wash_constants({name: 1.0})
        except NotKnown as error:
            known = [*SITE_CONSTANTS, *error.known]
            sheet.add(
                ("constants", name),
                f"is not a constant of ours.{nearest(name, known)} Known: {', '.join(known)}.",
            )


def _check_order(values: dict[str, Any], sheet: Sheet) -> None:
    given = table(values, "warnings")
    for names in _IN_ORDER:
        figures = [given.get(name, WarningsPart.model_fields[name].default) for name in names]
        for (name, figure), (after, above) in zip(
            zip(names, figures, strict=True), list(zip(names, figures, strict=True))[1:], strict=False
        ):
            if not all(isinstance(one, int | float) for one in (figure, above)) or figure <= above:
                continue
            key = after if after in given else name
            sheet.add(
                ("warnings", key),
                f"{after} {above:g} lies below {name} {figure:g}: the later step must not be the lower one",
            )
