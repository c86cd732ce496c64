"""Nitrogen of a month with one more pass, in words."""

from __future__ import annotations

from planner.reports.amounts import short


def in_grams(
    given_g_m2: float | None, planned_g_m2: float | None, brings_g_m2: float | None, demand_g_m2: float | None
) -> str:
    """`1.2 given + 0.5 planned + 0.4 now = 2.1 of 1.8 g/m²; 0.1 g/m² left`; empty where a figure is not known.

    What is left is what growth can still use beside what is given and planned, before this pass.
    """
    figures = (given_g_m2, planned_g_m2, brings_g_m2, demand_g_m2)
    # NaN is not itself.
    if any(one is None or one != one for one in figures):
        return ""
    given, planned, brings, demand = (float(one or 0.0) for one in figures)
    left = max(0.0, demand - given - planned)
    parts = [f"{short(given)} given"]
    parts += [f"{short(planned)} planned"] if planned > 0.0 else []
    parts += [f"{short(brings)} now"] if brings > 0.0 else []
    rest = f"{short(left)} g/m² left" if left >= 0.005 else "none left"
    summed = f" = {short(given + planned + brings)}" if parts[1:] else ""
    return f"{' + '.join(parts)}{summed} of {short(demand)} g/m²; {rest}"
