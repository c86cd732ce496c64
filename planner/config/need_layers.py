"""One need as it is written: in a group, in a job, and in a site's changes laid over it.

Each layer is read by itself, so that a fault is told in the file and at the key where it was made.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, get_args

from pydantic import ValidationError

from planner.config.faults import nearest, unknown
from planner.config.quantity_units import UNITS, spellings
from planner.config.schema import SurfacePart
from planner.config.sheet import Path, Sheet, words
from planner.rules import KINDS
from planner.rules.base import Need
from planner.rules.gap import Gap
from planner.rules.limit import Limit

SOILS: tuple[str, ...] = get_args(SurfacePart.model_fields["soil"].annotation)
_KINDS: Mapping[str, type[Need]] = {name: kind for name, kind in KINDS.items() if issubclass(kind, Need)}
_LIMITS = ("hard_min", "best_from", "best_to", "hard_max")


@dataclass(frozen=True, slots=True)
class Known:
    """The names that a need may use."""

    works: Collection[str]
    """Jobs and kinds of job."""
    places: Collection[str] | None
    """Names and kinds of surfaces; None where the site file does not surely tell them."""


@dataclass(slots=True)
class Layer:
    """A need after merging: all its settings, those `given` in this layer, and what it is laid over."""

    values: dict[str, Any]
    sheet: Sheet
    path: Path
    base: Layer | None = None
    given: frozenset[str] = frozenset()
    _read: list[Need | None] = field(default_factory=list)

    def over(self, values: Mapping[str, Any], sheet: Sheet, path: Path, **fixed: Any) -> Layer:
        """This need with other values laid over it, written elsewhere; `fixed` is no keeper's doing."""
        merged = {**self.values, **values, **fixed, "id": self.values.get("id")}
        return Layer(merged, sheet, path, self, frozenset(values))

    def except_on(self, surface: str) -> Layer:
        """This need, left out on a surface that has its own."""
        kept = [*words(self.values, "except_surfaces"), surface]
        return Layer({**self.values, "except_surfaces": kept}, self.sheet, self.path, self)

    def need(self, known: Known) -> Need | None:
        """The need; None, and faults on the sheets, where it cannot be read. Read once."""
        if not self._read:
            below = self.base.need(known) if self.base is not None else None
            self._read.append(self._made(known, below))
        return self._read[0]

    def _made(self, known: Known, below: Need | None) -> Need | None:
        sound = self.base is None or below is not None

        def mine(place: Path) -> bool:
            # Over a faulty need only what was given here is told here: the rest is told below.
            return sound or (bool(place) and place[0] in self.given)

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
        before = len(self.sheet.faults)
        self._check_sorts(mine)
        if mine(("unit",)):
            self._check_unit(model, values.get("unit"))
        # Limits in another unit are out of order for that alone.
        in_unit = len(self.sheet.faults) == before
        try:
            need = model.model_validate(values)
        except ValidationError as error:
            self.sheet.absorb(error, model, self.path, lambda place: mine(place) and (in_unit or bool(place)))
            return None
        self._check_names(need, known, mine)
        if isinstance(need, Gap):
            self._check_gap(need, below)
        return need if len(self.sheet.faults) == before else None

    def _add(self, key: str, says: str) -> None:
        self.sheet.add((*self.path, key), says)

    def _check_sorts(self, mine: Any) -> None:
        for key in ("optional", "from_label"):
            if mine((key,)) and not isinstance(self.values.get(key, False), bool):
                self._add(key, f"must be true or false, without quotes (seen: {self.values[key]!r})")

    def _check_names(self, need: Need, known: Known, mine: Any) -> None:
        for key in ("surfaces", "except_surfaces"):
            written = self.base is None or key in self.given
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

    def _check_unit(self, model: type[Need], unit: Any) -> None:
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
            if (value := getattr(need, name)) is not None and name not in self.given
        ]
        if kept:
            self._add(
                "unit",
                f'"{need.unit}" here, but {", ".join(kept)} of the rules file '
                f'{"is" if len(kept) == 1 else "are"} in "{below.unit}": give '
                f"{'it' if len(kept) == 1 else 'them'} as well.",
            )
