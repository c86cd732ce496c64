"""The identities behind a tank and a hopper. Each follows from its units alone, the orifice rule apart.

All take and give plain numbers, and refuse with InputError what is not a positive number: a size not known
has no place in a tank.
"""

from __future__ import annotations

import math

from planner.errors import InputError

M2_PER_HA = 10_000.0
#: Litres a minute, km/h and metres to litres a hectare: 10 000 m2 / (1000 m / 60 min).
MINUTE_HECTARES = 600.0


def positive(value: float, what: str) -> float:
    """The value itself, refused when it is not a number above zero."""
    if not math.isfinite(value) or value <= 0.0:
        raise InputError(f"{what} is {value}; a number above 0 is wanted. Measure it, or correct it.")
    return value


def flow_at_pressure_lmin(flow_lmin: float, at_bar: float, pressure_bar: float) -> float:
    """A nozzle's flow at another pressure: flow goes with the square root of pressure. Source: mix.md, 1."""
    positive(flow_lmin, "the flow of a nozzle in L/min")
    return flow_lmin * math.sqrt(
        positive(pressure_bar, "the pressure in bar") / positive(at_bar, "the pressure in bar")
    )


def pressure_for_flow_bar(wanted_lmin: float, flow_lmin: float, at_bar: float) -> float:
    """The pressure at which a nozzle gives the flow wanted."""
    positive(wanted_lmin, "the flow wanted in L/min")
    return (
        positive(at_bar, "the pressure in bar")
        * (wanted_lmin / positive(flow_lmin, "the flow in L/min")) ** 2
    )


def volume_lha(flow_lmin: float, speed_kmh: float, spacing_m: float) -> float:
    """Spray volume in L/ha of nozzles that stand spacing_m apart (or one nozzle and its swath)."""
    positive(flow_lmin, "the flow of a nozzle in L/min")
    ground = positive(speed_kmh, "the speed in km/h") * positive(spacing_m, "the nozzle spacing in m")
    return MINUTE_HECTARES * flow_lmin / ground


def flow_for_volume_lmin(wanted_lha: float, speed_kmh: float, spacing_m: float) -> float:
    """The flow of each nozzle that gives the volume wanted."""
    positive(wanted_lha, "the volume wanted in L/ha")
    ground = positive(speed_kmh, "the speed in km/h") * positive(spacing_m, "the nozzle spacing in m")
    return wanted_lha * ground / MINUTE_HECTARES


def speed_for_volume_kmh(wanted_lha: float, flow_lmin: float, spacing_m: float) -> float:
    """The speed at which the nozzles give the volume wanted."""
    positive(wanted_lha, "the volume wanted in L/ha")
    positive(spacing_m, "the nozzle spacing in m")
    return MINUTE_HECTARES * positive(flow_lmin, "the flow of a nozzle in L/min") / (wanted_lha * spacing_m)


def speed_kmh(distance_m: float, seconds: float) -> float:
    """Speed from a timed distance."""
    return 3.6 * positive(distance_m, "the distance in m") / positive(seconds, "the time in s")


def amount_for_area(per_ha: float, area_m2: float) -> float:
    """Litres or kilograms for an area, from a rate per hectare."""
    return positive(per_ha, "the rate per hectare") * positive(area_m2, "the area in m2") / M2_PER_HA


def loads_of(total: float, capacity: float) -> tuple[float, ...]:
    """The total in full loads and one last part load."""
    positive(total, "the amount")
    full = int(total / positive(capacity, "what the tank or hopper holds") + 1e-9)
    rest = total - full * capacity
    # A thousandth of a load is below what can be poured: no load of its own.
    return (capacity,) * full + ((rest,) if rest > capacity * 1e-3 or full == 0 else ())
