"""Rain before seed is safe: only for surfaces that are sown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from planner.indices.quantities import Quantities
from planner.indices.table_wash import liquid_rain_mm, melt_mm
from planner.site import Sowing
from planner.terms import short_time
from planner.warnings.base import Notice, Scene, level_of
from planner.weather import Array, Mask, mean_of_members, of_members

#: A tackifier dries for 4 to 8 hours before it holds (second-hand: a state straw-tackifier bulletin).
_TACKIFIER_DRIES_H = (4.0, 8.0)
#: What can still be done tonight is worth waking somebody for; further off, the morning will do.
_TONIGHT_H = 24.0
#: Members set a storm down hours apart; one within so many hours counts for an hour. Judgement.
_APART_H = 6
#: Rain or melt of less than this part of a spell's water is not named. Judgement.
_NAMED_SHARE = 0.1
#: A chance below this is none. Judgement.
_NO_WAY = 0.005


def wash(scene: Scene) -> list[Notice]:
    """Warnings of rain that may move seed, one for each spell of it and sown surface."""
    notices = []
    for name, quantities in scene.plan.conditions.surfaces.items():
        sowings = [sowing for sowing in quantities.sowings if sowing.at <= scene.now + timedelta(days=14)]
        if not sowings:
            continue
        notices += _on_surface(scene, name, quantities, sorted(sowings, key=lambda sowing: sowing.at))
    return notices


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spell:
    """Hours of real rain that hold hours in which seed may wash."""

    begin: int
    end: int
    chance: float
    """Of the plain forecast, or over the members, whichever is higher."""
    share: float | None
    """Share of the members that are worth a note each by itself; None without an ensemble that knows these hours."""
    source: Quantities
    """Whose rain is spoken of."""
    rain: Array
    """Rain that does not fall as snow, of each hour, mean over the members that wash, (hours of the spell,). [mm]"""
    melt: Array
    """The same of melting snow. [mm]"""

    @property
    def water(self) -> Array:
        """Both, hour by hour. [mm]"""
        return self.rain + self.melt

    @property
    def named(self) -> tuple[str, ...]:
        """What brings the water."""
        least = _NAMED_SHARE * float(self.water.sum())
        parts = {"rain": self.rain, "snow melt": self.melt}
        return tuple(name for name, part in parts.items() if part.sum() > least) or ("rain",)


def _on_surface(scene: Scene, name: str, quantities: Quantities, sowings: list[Sowing]) -> list[Notice]:
    """Raised by the chance of the plain forecast or by that over the members: either may see the storm first."""
    of_members = scene.members.surfaces[name] if scene.members else quantities
    weather = quantities.weather
    note, care, act = (scene.thresholds[f"wash_{step}"] for step in ("note", "care", "act"))
    zone = scene.plan.conditions.site.zone
    notices = []
    for spell in _spells(quantities, of_members, note, scene.floor("wash_note")):
        if spell.end <= max(weather.index(scene.now), 0):
            continue
        begins, ends, water = weather.time(spell.begin), weather.time(spell.end), spell.water
        # The seed spoken of is what lies there by then, not what is to be sown later.
        sowing = next((one for one in reversed(sowings) if one.at <= ends), sowings[0])
        lead_h = (begins - scene.now) / timedelta(hours=1)
        at_hand = act if lead_h <= _TONIGHT_H else None
        # An onset that moves by an hour or two must not swing the level.
        calm_act = act if lead_h <= _TONIGHT_H + 6.0 else None
        low, seed, high = (_worst(spell, column) for column in ("wash_low", "wash_risk", "wash_high"))
        among = " in the forecasts that bring it" if spell.source["wash_chance"].shape[0] > 1 else ""
        notices.append(
            Notice(
                kind="wash",
                surface=name,
                begins=begins,
                ends=ends,
                level=level_of(spell.chance, care, at_hand),
                calm_level=level_of(spell.chance + scene.margin, care, calm_act),
                raised_from=note,
                chance=None,
                share=spell.share,
                strength=spell.chance,
                says=(
                    f"{' and '.join(spell.named).capitalize()} from {short_time(begins, zone)} may wash seed off the "
                    f"{name}: {water.sum():.0f} mm, up to {water.max():.0f} mm in an hour{among} "
                    f"({seed:.0%} of the seed at risk, between {low:.0%} and {high:.0%})."
                ),
                advice=_advice(quantities, sowing, lead_h, scene.now, begins, spell.named[0]),
                figures={
                    "rain_mm": round(float(spell.rain.sum()), 1),
                    "rain_hour_max_mm": round(float(spell.rain.max()), 1),
                    "melt_mm": round(float(spell.melt.sum()), 1),
                    "wash_chance": round(spell.chance, 2),
                    "seed_at_risk": round(seed, 2),
                    "seed_low": round(low, 2),
                    "seed_high": round(high, 2),
                    "days_since_sowing": round((scene.now - sowing.at) / timedelta(days=1), 1),
                },
            )
        )
    return notices


def _spells(forecast: Quantities, ensemble: Quantities, note: float, floor: float) -> list[_Spell]:
    """The spells whose chance is at or above the floor, just below that of a note; without seed there is none."""
    plain = np.nan_to_num(mean_of_members(forecast["wash_chance"]))
    members = ensemble["wash_chance"]
    found: list[_Spell] = []
    for begin, end in _hours_that_wash(plain, members, max(floor, _NO_WAY)):
        spell = _spell(forecast, ensemble, plain, note, begin, end)
        # Rain that runs on from one to the next is one spell.
        while found and spell.begin < found[-1].end:
            spell = _spell(forecast, ensemble, plain, note, found.pop().begin, spell.end)
        found.append(spell)
    return found


def _spell(
    forecast: Quantities, ensemble: Quantities, plain: Array, note: float, begin: int, end: int
) -> _Spell:
    members = ensemble["wash_chance"][:, begin:end]
    each = np.nan_to_num(members[~np.isnan(members).all(axis=1)]).max(axis=1)
    over = float(each.mean()) if each.size else 0.0
    here = float(plain[begin:end].max())
    source = forecast if here >= over else ensemble
    washing = _washing(source, begin, end)
    rain, melt = (
        np.nan_to_num(mean_of_members(of_members(part, washing)))
        for part in (liquid_rain_mm(source), melt_mm(source))
    )
    water = rain + melt
    # The hour to be ready for is the first of real rain, not the drizzle before it.
    real = water >= max(0.5, 0.1 * float(water[begin:end].max()))
    begin += int(np.argmax(real[begin:end]))
    while begin > 0 and real[begin - 1]:
        begin -= 1
    while end < real.size and real[end]:
        end += 1
    return _Spell(
        begin=begin,
        end=end,
        chance=max(here, over),
        share=float((each >= note).mean()) if members.shape[0] > 1 and each.size else None,
        source=source,
        rain=rain[begin:end],
        melt=melt[begin:end],
    )


def _hours_that_wash(plain: Array, members: Array, threshold: float) -> list[tuple[int, int]]:
    """Runs of hours in which the chance, of the forecast or over the members, is at or above the threshold.

    A member's storm counts for the hours beside it, for members rarely agree on the hour.
    """
    if members.shape[0] == 1:
        return _runs(np.maximum(plain, np.nan_to_num(members[0])) >= threshold)
    near = np.pad(np.nan_to_num(members), ((0, 0), (_APART_H, _APART_H)))
    near = np.lib.stride_tricks.sliding_window_view(near, 2 * _APART_H + 1, axis=1).max(axis=-1)
    known, hourly = ~np.isnan(members), np.nan_to_num(mean_of_members(members))
    over = np.where(known, near, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    washes: Mask = plain >= threshold
    for begin, end in _runs(over >= threshold):
        # The hours that count for these, from the first to the last in which a good part of the washing falls.
        first = max(begin - _APART_H, 0)
        near_by = hourly[first : end + _APART_H]
        hours = first + np.flatnonzero(near_by >= 0.25 * near_by.max())
        washes[int(hours[0]) : int(hours[-1]) + 1] = True
    return _runs(washes)


def _runs(over: Mask) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(over.astype(np.int8), prepend=0, append=0))
    return [(int(begin), int(end)) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


def _washing(source: Quantities, begin: int, end: int) -> Mask:
    """The members that wash at all within these hours."""
    return np.asarray(np.nan_to_num(source["wash_chance"])[:, begin:end].max(axis=1) > 0.0)


def _worst(spell: _Spell, column: str) -> float:
    """The highest of a figure within the spell, mean over the members that wash."""
    washing = _washing(spell.source, spell.begin, spell.end)
    figures = of_members(spell.source[column], washing)[:, spell.begin : spell.end]
    return float(np.nan_to_num(figures).max(axis=1).mean())


def _advice(
    quantities: Quantities, sowing: Sowing, lead_h: float, now: datetime, onset: datetime, water: str
) -> tuple[str, ...]:
    zone = quantities.site.zone
    when = f"before {short_time(onset, zone)}" if lead_h > 0 else f"as soon as the {water} pauses"
    advice = []
    surface = quantities.surface_here
    if sowing.cover_pct < 50:
        where = " Begin at the lower edge, where water gathers." if surface.slope_pct >= 3 else ""
        advice.append(f"Lay net, straw or fleece over the seed {when}.{where}")
    else:
        advice.append(f"Check that the cover is pegged down {when}.")
    low, high = _TACKIFIER_DRIES_H
    if not sowing.tackifier and lead_h >= low:
        late = onset - timedelta(hours=low)
        advice.append(
            f"A tackifier needs {low:.0f} to {high:.0f} dry hours to hold: put it down by {short_time(late, zone)} "
            "or not at all."
        )
    if sowing.at > now:
        advice.append(f"Sow after this {water} instead.")
    else:
        advice.append("Put no more seed, feed or sand there until it has passed.")
    return tuple(advice)
