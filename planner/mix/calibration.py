"""Tests on the ground: cans under nozzles, trays under a spreader."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from planner.errors import InputError
from planner.mix.formulas import positive

#: A nozzle further off than this is named. Second-hand (a machine's manual), not read in a standard.
OFF_LIMIT_PCT = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OffNozzle:
    """A nozzle whose flow is off by more than the limit. Numbered from 1, left to right."""

    number: int
    flow_lmin: float
    off_pct: float

    def says(self) -> str:
        """What is wrong and what to do."""
        if self.off_pct > 0:
            return f"Nozzle {self.number} gives {self.off_pct:.0f} % too much: worn, replace it."
        return f"Nozzle {self.number} gives {-self.off_pct:.0f} % too little: clean it and test again."


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchTest:
    """Flows caught under each nozzle. A nozzle without a can is None and takes no part in the mean."""

    flows_lmin: tuple[float | None, ...]
    mean_lmin: float
    against_lmin: float
    """What each is compared with: the flow when new if known, else the mean."""
    off: tuple[OffNozzle, ...]
    not_caught: tuple[int, ...]

    def says(self) -> str:
        """The result in one or more sentences."""
        parts = [f"Mean flow {self.mean_lmin:.2f} L/min."]
        parts += [nozzle.says() for nozzle in self.off]
        if self.not_caught:
            parts.append(f"Not caught: nozzle {', '.join(map(str, self.not_caught))}.")
        return " ".join(parts)


def catch_can(caught_ml: Sequence[float | None], seconds: float, new_lmin: float | None = None) -> CatchTest:
    """Flows from the millilitres caught under each nozzle in the same time, and the nozzles that are off."""
    positive(seconds, "the time of catching in s")
    flows = tuple(
        None if caught is None else positive(caught, f"what nozzle {number} gave in mL") * 0.06 / seconds
        for number, caught in enumerate(caught_ml, start=1)
    )
    known = [flow for flow in flows if flow is not None]
    if not known:
        raise InputError("No can was read. Give the millilitres caught under at least one nozzle.")
    mean = sum(known) / len(known)
    against = mean if new_lmin is None else positive(new_lmin, "the flow when new in L/min")
    off = tuple(
        OffNozzle(number=number, flow_lmin=flow, off_pct=100.0 * (flow / against - 1.0))
        for number, flow in enumerate(flows, start=1)
        if flow is not None and abs(flow / against - 1.0) * 100.0 > OFF_LIMIT_PCT + 1e-9
    )
    return CatchTest(
        flows_lmin=flows,
        mean_lmin=mean,
        against_lmin=against,
        off=off,
        not_caught=tuple(number for number, flow in enumerate(flows, start=1) if flow is None),
    )


def _falls_to(half: float, trays: list[tuple[float, float]]) -> float:
    for (near, more), (far, less) in zip(trays, trays[1:], strict=False):
        if less <= half:
            return near + (far - near) * (more - half) / (more - less)
    raise InputError(
        "The outermost tray still caught more than half of the middle one. Set trays further out."
    )
