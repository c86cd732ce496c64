"""Advice on what is outside the range of nozzle, label or calibration, and what would bring it back."""

from __future__ import annotations

from datetime import date

from planner.mix import formulas
from planner.mix.calibration import OFF_LIMIT_PCT
from planner.mix.kit import Material, Range, Sprayer, Spreader

#: A calibration older than this is named; from the trade, no source.
CALIBRATION_DAYS = 30
#: A last load below this share of a full one is hard to mix and spray evenly; from the trade, no source.
SMALL_LOAD = 0.25


def spray_advice(
    sprayer: Sprayer, materials: tuple[Material, ...], rate_lha: float, need_l: float, on: date | None
) -> tuple[str, ...]:
    """Sentences about pressure, speed, volume, wear, age of the calibration and a small last tank."""
    advice: list[str] = []
    pressure = sprayer.pressure_bar
    advice += _outside(pressure, sprayer.nozzle.pressure_bar, "bar", f"nozzle {sprayer.nozzle.name}")
    for material in materials:
        label = f"the materials file for {material.name}"
        advice += _outside(pressure, material.pressure_bar, "bar", label)
        advice += _outside(sprayer.speed_kmh, material.speed_kmh, "km/h", label)
        volume = _outside(rate_lha, material.volume_lha, "L/ha", label)
        if volume:
            advice.append(f"{volume[0]} {_way_back(sprayer, material.volume_lha, rate_lha)}")
    if sprayer.measured_flow_lmin is None:
        advice.append("The nozzles were never caught: figures are for new ones. Catch each for a minute.")
    else:
        new = sprayer.nozzle.flow_lmin(pressure)
        off = 100.0 * (sprayer.measured_flow_lmin / new - 1.0)
        if abs(off) > OFF_LIMIT_PCT:
            more = "more" if off > 0 else "less"
            act = "replace them" if off > 0 else "clean the nozzles and filters, check the gauge"
            advice.append(f"The nozzles give {abs(off):.0f} % {more} than new ones ({new:.2f} L/min): {act}.")
        advice += _old(sprayer.measured_on, on)
    loads = formulas.loads_of(need_l, sprayer.tank_l)
    if len(loads) > 1 and loads[-1] < SMALL_LOAD * sprayer.tank_l:
        even = need_l / len(loads)
        advice.append(
            f"The last tank holds only {loads[-1]:.1f} L: {len(loads)} tanks of {even:.1f} L are "
            "mixed more evenly."
        )
    return tuple(advice)


def calibration_advice(spreader: Spreader, material: Material, on: date | None) -> tuple[str, ...]:
    """Sentences about what the spreader puts down against what is wanted."""
    wanted = material.rate_per_ha / 10.0
    if spreader.measured_gm2 is None:
        return (
            f"The spreader was never measured with {material.name}: catch {wanted:.1f} g/m² in a tray first.",
        )
    off = 100.0 * (spreader.measured_gm2 / wanted - 1.0)
    advice = []
    if abs(off) > OFF_LIMIT_PCT:
        advice.append(
            f"At its setting the spreader puts down {spreader.measured_gm2:.1f} g/m², {abs(off):.0f} % "
            f"{'more' if off > 0 else 'less'} than the {wanted:.1f} g/m² wanted: "
            f"{'close' if off > 0 else 'open'} it and test again."
        )
    return tuple(advice + _old(spreader.measured_on, on))


def _outside(value: float, allowed: Range, unit: str, whose: str) -> list[str]:
    if allowed.below(value):
        return [f"{value:.4g} {unit} is below the {allowed.lowest:g} {unit} of {whose}."]
    if allowed.above(value):
        return [f"{value:.4g} {unit} is above the {allowed.highest:g} {unit} of {whose}."]
    return []


def _way_back(sprayer: Sprayer, allowed: Range, rate_lha: float) -> str:
    bound = allowed.lowest if allowed.below(rate_lha) else allowed.highest
    if bound is None:
        raise ValueError("a value outside a range has a bound")
    speed = formulas.speed_for_volume_kmh(bound, sprayer.flow_lmin, sprayer.spacing_m)
    flow = formulas.flow_for_volume_lmin(bound, sprayer.speed_kmh, sprayer.spacing_m)
    pressure = formulas.pressure_for_flow_bar(flow, sprayer.flow_lmin, sprayer.pressure_bar)
    ways = f"For {bound:g} L/ha walk at {speed:.1f} km/h"
    nozzle = sprayer.nozzle.pressure_bar
    if nozzle.below(pressure) or nozzle.above(pressure):
        return f"{ways}; pressure alone would leave the nozzle's range ({pressure:.1f} bar)."
    return f"{ways} or set {pressure:.1f} bar."


def _old(measured_on: date | None, on: date | None) -> list[str]:
    if on is None:
        return []
    if measured_on is None:
        return ["The day of the last calibration is not known. Measure again and write it down."]
    days = (on - measured_on).days
    if days > CALIBRATION_DAYS:
        return [f"The last calibration is {days} days old. Measure again."]
    return []
