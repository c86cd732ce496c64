"""One need as it is written: in a group, in a job, in a row of gaps, and in a site's changes to it.

Each layer is read by itself, so that a fault is shown in the file and at the key where it was made.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args

from pydantic import Field, ValidationError, model_validator

from planner.config.faults import FaultList, Path, nearest, unknown, words
from planner.config.kit_schema import Part
from planner.config.schema import Soil
from planner.indices import INDEX
from planner.rules.base import Need, YesNo
from planner.rules.gap import Gap
from planner.rules.job import KINDS
from planner.rules.limit import Limit
from planner.weather import VARIABLE

SOILS: tuple[str, ...] = get_args(Soil)
_KINDS: Mapping[str, type[Need]] = {name: kind for name, kind in KINDS.items() if issubclass(kind, Need)}
_LIMITS = ("hard_min", "best_from", "best_to", "hard_max")
#: Quantities of the diary have no row in a table of weather or indices.
_OF_DIARY: Mapping[str, str] = MappingProxyType(
    {
        "grass_height_ratio": "ratio",
        "degree_days_since_regulator": "C d",
        "nitrogen_share_of_month": "ratio",
    }
)

#: Quantity -> the unit its figures are in.
UNITS: Mapping[str, str] = MappingProxyType(
    {
        **{variable.name: variable.unit for variable in VARIABLE.values()},
        **{index.name: index.unit for index in INDEX.values()},
        **_OF_DIARY,
    }
)

#: Unit -> how a rule may write it; the first is taken where a rule gives none. A figure means the same in each.
_SPELLINGS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "0-1": ("", "0-1", "share", "ratio"),
        "ratio": ("", "ratio", "share"),
        "index": ("", "index"),
        "number": ("", "number"),
        "1-7": ("", "1-7"),
        "degrees": ("degrees", "deg", "\N{DEGREE SIGN}"),
        "C": ("C", "\N{DEGREE SIGN}C"),
        "K": ("K", "C", "\N{DEGREE SIGN}C"),
        "MJ/m2": ("MJ/m2", "MJ/m\N{SUPERSCRIPT TWO}"),
        "W/m2": ("W/m2", "W/m\N{SUPERSCRIPT TWO}"),
        "g/m2": ("g/m2", "g/m\N{SUPERSCRIPT TWO}"),
    }
)


def spellings(quantity: str) -> tuple[str, ...]:
    """How the unit of a quantity may be written; empty when there is no such quantity."""
    unit = UNITS.get(quantity)
    return () if unit is None else _SPELLINGS.get(unit, (unit,))


@dataclass(frozen=True, slots=True)
class Known:
    """The names that a need may use."""

    works: Collection[str]
    """Jobs and kinds of job."""
    places: Collection[str] | None
    """Names and kinds of surfaces; None where the site file does not surely name them."""


@dataclass(slots=True)
class Layer:
    """A need after merging: all its settings, those `written` in this layer, and what it replaces."""

    values: dict[str, object]
    faults: FaultList
    path: Path
    base: Layer | None = None
    written: frozenset[str] = frozenset()
    _read: list[Need | None] = field(default_factory=list)

    def over(self, values: Mapping[str, object], faults: FaultList, path: Path, **fixed: object) -> Layer:
        """This need with other values over it, written elsewhere; `fixed` is no keeper's doing."""
        merged = {**self.values, **values, **fixed, "id": self.values.get("id")}
        return Layer(merged, faults, path, self, frozenset(values))

    def except_on(self, surface: str) -> Layer:
        """This need, left out on a surface that has its own."""
        kept = [*words(self.values, "except_surfaces"), surface]
        return Layer({**self.values, "except_surfaces": kept}, self.faults, self.path, self)

    def need(self, known: Known) -> Need | None:
        """The need; None, and faults on the lists, where it cannot be read. Read once."""
        if not self._read:
            below = self.base.need(known) if self.base is not None else None
            self._read.append(self._made(known, below))
        return self._read[0]

    def _made(self, known: Known, below: Need | None) -> Need | None:
        sound = self.base is None or below is not None

        def mine(place: Path) -> bool:
            # Over a faulty need only what is written here is judged here: the rest is judged below.
            return sound or (bool(place) and place[0] in self.written)

        kind = self.values.get("kind", "limit")
        model = _KINDS.get(kind) if isinstance(kind, str) else None
        if model is None:
            if mine(("kind",)):
                near = nearest(str(kind), KINDS)
                self._add("kind", f'kind "{kind}" is not known.{near} Allowed: {", ".join(KINDS)}.')
            return None
        if below is not None and kind != getattr(below, "kind", kind):
            self._add("kind", "cannot be changed: give a need of another kind an id and a label of its own")
            return None
        values = self.values
        if model is Limit and "unit" not in values and (spelt := spellings(str(values.get("quantity")))):
            values = {**values, "unit": spelt[0]}
        before = len(self.faults.faults)
        if mine(("unit",)):
            self._check_unit(model, values.get("unit"))
        # Limits in another unit are out of order for that alone.
        in_unit = len(self.faults.faults) == before
        try:
            need = model.model_validate(values)
        except ValidationError as error:
            self.faults.absorb(
                error, model, self.path, lambda place: mine(place) and (in_unit or bool(place))
            )
            return None
        self._check_names(need, known, mine)
        if isinstance(need, Gap):
            self._check_gap(need, below)
        return need if len(self.faults.faults) == before else None

    def _add(self, key: str, says: str) -> None:
        self.faults.add((*self.path, key), says)

    def _check_names(self, need: Need, known: Known, mine: Callable[[Path], bool]) -> None:
        for key in ("surfaces", "except_surfaces"):
            written = self.base is None or key in self.written
            for name in getattr(need, key) if written else ():
                if known.places is not None and name not in known.places:
                    self._add(key, unknown("surface or kind of surface", name, known.places))
        for soil in need.soils:
            if soil not in SOILS and mine(("soils",)):
                self._add("soils", unknown("soil", soil, SOILS))
        for other in getattr(need, "other", ()):
            if other not in known.works and mine(("other",)):
                self._add("other", f'no job or kind of job is called "{other}".{nearest(other, known.works)}')
        if isinstance(need, Limit) and need.quantity not in UNITS and mine(("quantity",)):
            near = nearest(need.quantity, UNITS)
            self._add(
                "quantity", f'"{need.quantity}" is not a quantity we know.{near} docs/indices lists them.'
            )

    def _check_unit(self, model: type[Need], unit: object) -> None:
        if model is Gap or not isinstance(unit, str):
            return
        if model is Limit:
            quantity = str(self.values.get("quantity"))
            allowed, of = spellings(quantity), f"{quantity} is"
        else:
            allowed = (str(model.model_fields["unit"].default),)
            of = f"needs of kind {self.values.get('kind')} are"
        if allowed and unit not in allowed:
            spelt = " or ".join(f'"{one}"' for one in allowed)
            self._add(
                "unit",
                f'"{unit}" cannot be the unit: {of} in {spelt}, and so are the limits. '
                "Leave unit out and give the limits in it.",
            )

    def _check_gap(self, need: Gap, below: Need | None) -> None:
        """Another unit alone would make hours of the days that stand in the rules file."""
        if below is None or below.unit == need.unit:
            return
        kept = [
            f"{name} {value:g}"
            for name in _LIMITS
            if (value := getattr(need, name)) is not None and name not in self.written
        ]
        if kept:
            self._add(
                "unit",
                f'"{need.unit}" here, but {", ".join(kept)} of the rules file '
                f'{"is" if len(kept) == 1 else "are"} in "{below.unit}": give '
                f"{'it' if len(kept) == 1 else 'them'} as well.",
            )


class GapRow(Part):
    """Least and better time between work done and work that follows on the same surface."""

    id: str = Field(min_length=1, description="Short name; needs are called after_ID and before_ID.")
    done: tuple[str, ...] = Field(min_length=1, description="Jobs or kinds that come first.")
    next: tuple[str, ...] = Field(min_length=1, description="Jobs or kinds that follow.")
    least: float = Field(ge=0, description="Below this the later job is barred.")
    better: float | None = Field(default=None, ge=0, description="Comfortable from here.")
    unit: Literal["h", "d"] = "d"
    after: str = Field(description="What is done, in words: `time since ...`.")
    before: str = Field(description="What follows, in words: `time to ...`.")
    low: str = Field(description="Clause for people when the gap is too short.")
    source: str = Field(default="common practice, no source")
    confidence: Literal["A", "B", "C"] = "C"
    from_label: YesNo = False

    @model_validator(mode="after")
    def _in_order(self) -> GapRow:
        if self.better is not None and self.better < self.least:
            raise ValueError(f"better {self.better:g} lies below least {self.least:g}")
        return self


def needs_of(rows: Iterable[GapRow], job: str, kind: str) -> list[tuple[int, dict[str, object]]]:
    """The needs that the rows make for a job, each with the number of its row."""
    needs = []
    for number, row in enumerate(rows):
        if job in row.next or kind in row.next:
            needs.append((number, _need(row, "since")))
        if job in row.done or kind in row.done:
            needs.append((number, _need(row, "until")))
    return needs


def _need(row: GapRow, direction: str) -> dict[str, object]:
    since = direction == "since"
    return {
        "id": f"{'after' if since else 'before'}_{row.id}",
        "kind": "gap",
        "label": f"time since {row.after}" if since else f"time to {row.before}",
        "unit": row.unit,
        "direction": direction,
        "other": list(row.done if since else row.next),
        "hard_min": row.least,
        "best_from": row.better if row.better is not None else row.least,
        "low": row.low if since else f"too soon before {row.before}",
        "source": row.source,
        "confidence": row.confidence,
        "from_label": row.from_label,
    }
