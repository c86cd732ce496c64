"""What is over, or short, when the keeper mixes another amount than the surface needs."""

from __future__ import annotations

from planner.mix import words
from planner.mix.kit import Material

#: Below this share of the need, a difference is what stays in hoses; from the trade, no source.
SAME_SHARE = 0.03


def leftover_says(
    typed: float, need: float, area_m2: float, materials: tuple[Material, ...], unit: str
) -> tuple[str, str | None]:
    """A short sentence ("16.3 L needed; 3.7 L over") and what to do about it (None when it fits)."""
    show = words.litres if unit == "L" else _kilograms
    over = typed - need
    needed = f"{show(need)} needed"
    if abs(over) <= SAME_SHARE * need:
        return f"{needed}; {show(typed)} fits", None
    if over < 0:
        covered = area_m2 * typed / need
        return (
            f"{needed}; {show(-over)} short",
            f"{show(typed)} covers {covered:.0f} of {area_m2:.0f} m2 at the rate. Do not walk faster "
            "to stretch it: "
            f"mix {show(need)}.",
        )
    elsewhere = area_m2 * over / need
    does = "Mix" if unit == "L" else "Fill in"
    rest = (
        "what is left over anyway goes on another labelled area within its rate"
        if unit == "L"
        else "what is left over anyway goes back into its bag"
    )
    return (
        f"{needed}; {show(over)} over",
        f"{does} {show(need)}. {show(over)} more is enough for another {elsewhere:.0f} m2; {rest}. "
        f"{_no_second_pass(typed, area_m2, need, materials)}",
    )


def _no_second_pass(typed: float, area_m2: float, need: float, materials: tuple[Material, ...]) -> str:
    puts_on = []
    for material in materials:
        per_ha = material.rate_per_ha * typed / need
        puts_on.append(
            f"{per_ha:.1f} {material.unit}/ha of {material.name} where the rate is {material.rate_per_ha:g}"
        )
        above = material.most_per_ha is not None and per_ha > material.most_per_ha
        if above:
            puts_on[-1] += f" and the label's highest {material.most_per_ha:g}"
    return f"Not on a second pass over the same {area_m2:.0f} m2: that would be {', '.join(puts_on)}."


def _kilograms(value: float) -> str:
    return words.amount(value, "kg")
