"""The label of a wanted job's material: its own limits hold on that surface, most in place of the rules file's."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from planner.diary.due import Wanted
from planner.mix.kit import Stocked
from planner.rules.gap import Gap
from planner.rules.job import AnyNeed, Job
from planner.rules.limit import Limit
from planner.site import Site
from planner.terms import PLAY

_SOURCE = "your label"


def with_labels(
    jobs: Iterable[Job], wanted: Iterable[Wanted], materials: Iterable[Stocked], site: Site
) -> tuple[Job, ...]:
    """The jobs with the limits of the labels that wanted work names.

    Rainfast hours, air temperatures and the untreated strip stand in place of the rules'; of two intervals the
    longer holds; re-entry is kept before a play day. What a label does not say stays as it is in the rules file.
    """
    stock = {one.name: one for one in materials}
    named: dict[str, dict[str, Stocked]] = {}
    for want in wanted:
        if want.material in stock:
            named.setdefault(want.job, {})[want.surface] = stock[want.material]
    return tuple(_with(job, named.get(job.name, {}), site) for job in jobs)


def _with(job: Job, labels: Mapping[str, Stocked], site: Site) -> Job:
    needs, buffers = list(job.needs), dict(job.buffers_m)
    for surface, stocked in labels.items():
        changed: list[AnyNeed] = []
        for need in needs:
            own = _overridden(need, stocked) if need.fits(site.surface(surface)) else None
            if own is None:
                changed.append(need)
                continue
            changed.append(need.model_copy(update={"except_surfaces": (*need.except_surfaces, surface)}))
            changed.append(own.model_copy(update={"surfaces": (surface,), "except_surfaces": ()}))
        needs = [*changed, *_added(job, stocked, surface)]
        if stocked.buffer_m is not None:
            buffers[surface] = stocked.buffer_m
    return job if not labels else job.model_copy(update={"needs": tuple(needs), "buffers_m": buffers})


def _overridden(need: AnyNeed, stocked: Stocked) -> AnyNeed | None:
    """The need as the label has it; None where the label says nothing of it."""
    if not isinstance(need, Limit):
        return None
    if need.id in ("rain_after", "rain_chance") and stocked.rainfast_h:
        hours = stocked.rainfast_h
        what = "rain" if need.id == "rain_after" else "highest chance of rain"
        return need.model_copy(
            update={
                "hours": (0.0, hours),
                "label": f"{what} in the {hours:g} h of your label",
                "high": f"your label asks for {hours:g} dry hours",
                **_MARKS,
            }
        )
    span = stocked.air_temp_c
    if (
        need.quantity == "air_temp_c"
        and need.when == "during"
        and (span.lowest, span.highest) != (None, None)
    ):
        low = need.hard_min if span.lowest is None else span.lowest
        high = need.hard_max if span.highest is None else span.highest
        if low is not None and high is not None and low > high:
            # The label says one side only, and says it beyond our other one: then only what it says holds.
            low, high = span.lowest, span.highest
        return need.model_copy(
            update={
                "hard_min": low,
                "hard_max": high,
                "best_from": _between(need.best_from, low, high),
                "best_to": _between(need.best_to, low, high),
                "low": need.low if span.lowest is None else "colder than your label allows",
                "high": need.high if span.highest is None else "warmer than your label allows",
                **_MARKS,
            }
        )
    return None


_MARKS = {"source": _SOURCE, "confidence": "A", "from_label": True}


def _between(value: float | None, low: float | None, high: float | None) -> float | None:
    if value is None:
        return None
    value = value if low is None else max(value, low)
    return value if high is None else min(value, high)


def _added(job: Job, stocked: Stocked, surface: str) -> Iterable[Gap]:
    """What a label asks for beside the limits of the rules file."""
    if stocked.interval_d is not None:
        yield Gap(
            id="label_interval",
            label="time since the last, by your label",
            direction="since",
            other=(job.name,),
            hard_min=stocked.interval_d,
            unit="d",
            low="your label asks for a longer interval",
            surfaces=(surface,),
            source=_SOURCE,
            confidence="A",
            from_label=True,
        )
    if stocked.reentry_h:
        yield Gap(
            id="label_reentry",
            label="time to the play day, by your label",
            direction="until",
            other=(PLAY,),
            hard_min=stocked.reentry_h,
            unit="h",
            low="your label keeps people off longer than that",
            surfaces=(surface,),
            source=_SOURCE,
            confidence="A",
            from_label=True,
        )
