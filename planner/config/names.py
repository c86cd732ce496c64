"""Names in the files that must be those of something else: types that know them, and what no type can hold.

The schema is checked with a `Names` as its context, so that a name is judged where it stands and one fault
hides no other.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import AfterValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from planner.config.faults import FaultList, nearest, rows, table, unknown, word
from planner.errors import NotKnown
from planner.forecast import PROVIDERS
from planner.indices.grasses import GRASSES
from planner.indices.rain_wash import wash_constants
from planner.indices.table import SITE_CONSTANTS
from planner.mix.words import GRANULAR, MIXING_ORDER

#: Thresholds of a warning, the mildest first.
_IN_ORDER = (("wash_note", "wash_care", "wash_act"), ("frost_note", "frost_care"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Names:
    """The names that a file may use; None where they are not surely known."""

    jobs: Collection[str] | None = None
    surfaces: Collection[str] | None = None
    grasses: Collection[str] | None = None
    materials: Collection[str] | None = None


def names_of(
    values: Mapping[str, object], jobs: Collection[str] | None, materials: Collection[str] | None = None
) -> Names:
    """The names of a site file as it is written, whatever else is wrong with it."""
    return Names(
        jobs=jobs,
        surfaces=surface_kinds(values),
        grasses=sorted({*GRASSES, *table(values, "grasses")}),
        materials=materials,
    )


def surface_kinds(values: Mapping[str, object]) -> dict[str, str] | None:
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


def _known(sort: str, known: Callable[[Names], Collection[str] | None]) -> AfterValidator:
    def check(name: str, info: ValidationInfo) -> str:
        names = known(info.context if isinstance(info.context, Names) else Names())
        if name and names is not None and name not in names:
            raise PydanticCustomError("unknown_name", "{says}", {"says": unknown(sort, name, names)})
        return name

    return AfterValidator(check)


def _providers(names: tuple[str, ...]) -> tuple[str, ...]:
    says = [unknown("provider", name, list(PROVIDERS)) for name in names if name not in PROVIDERS]
    if says:
        raise PydanticCustomError("unknown_name", "{says}", {"says": " ".join(says)})
    return names


JobName = Annotated[str, _known("job", lambda names: names.jobs)]
SurfaceName = Annotated[str, _known("surface", lambda names: names.surfaces)]
GrassName = Annotated[str, _known("grass", lambda names: names.grasses)]
MaterialName = Annotated[str, _known("material", lambda names: names.materials)]
ShippedGrass = Annotated[str, _known("grass", lambda _: sorted(GRASSES))]
ProviderNames = Annotated[tuple[str, ...], AfterValidator(_providers)]
Form = Annotated[str, _known("form", lambda _: [*(form for form, _ in MIXING_ORDER), GRANULAR])]


def check_names(values: Mapping[str, object], faults: FaultList, usual: Mapping[str, float]) -> None:
    """Faults that no single setting shows: names in keys, names written twice, thresholds out of order.

    `usual` are the thresholds that hold where the file has none.
    """
    kinds = surface_kinds(values)
    for surface in table(values, "growth"):
        if kinds is not None and surface not in kinds:
            faults.add(("growth", surface), unknown("surface", surface, kinds))
    for key in ("surfaces", "sprayer", "spreader"):
        faults.named_once(
            key, [(number, name) for number, row in rows(values, key) if (name := word(row, "name"))]
        )
    faults.named_once(
        "outputs",
        [
            (number, called)
            for number, row in rows(values, "outputs")
            if (called := word(row, "name") or word(row, "kind"))
        ],
    )
    _check_wanted(values, faults)
    for number, row in rows(values, "surfaces"):
        edges = row.get("edges", []) if isinstance(row, dict) else []
        names = (
            [word(edge, "name") for edge in edges if isinstance(edge, dict)]
            if isinstance(edges, list)
            else []
        )
        for name in sorted({name for name in names if name and names.count(name) > 1}):
            faults.add(
                ("surfaces", number, "edges"), f'"{name}" stands twice: an edge must have a name of its own'
            )
    _check_constants(values, faults)
    _check_order(values, faults, usual)


def _check_wanted(values: Mapping[str, object], faults: FaultList) -> None:
    """A job is wanted once on a surface: twice would be two sets of turns."""
    seen: set[tuple[str, str]] = set()
    for number, row in rows(values, "wanted"):
        job, surface = word(row, "job"), word(row, "surface") or ""
        if job is None:
            continue
        if (job, surface) in seen:
            where = f" on {surface}" if surface else ""
            faults.add(("wanted", number), f"{job} is wanted twice{where}: give it one entry")
        seen.add((job, surface))


def _check_constants(values: Mapping[str, object], faults: FaultList) -> None:
    for name in table(values, "constants"):
        if name in SITE_CONSTANTS:
            continue
        try:
            wash_constants({name: 1.0})
        except NotKnown as error:
            known = [*SITE_CONSTANTS, *error.known]
            faults.add(
                ("constants", name),
                f"is not a constant of ours.{nearest(name, known)} Known: {', '.join(known)}.",
            )


def _check_order(values: Mapping[str, object], faults: FaultList, usual: Mapping[str, float]) -> None:
    written = table(values, "warnings")
    for names in _IN_ORDER:
        figures = [written.get(name, usual[name]) for name in names]
        for number, after in enumerate(names[1:]):
            name, figure, above = names[number], figures[number], figures[number + 1]
            if not (isinstance(figure, int | float) and isinstance(above, int | float)) or figure <= above:
                continue
            faults.add(
                ("warnings", after if after in written else name),
                f"{after} {above:g} lies below {name} {figure:g}: the later step must not be the lower one",
            )
