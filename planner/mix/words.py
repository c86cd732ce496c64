"""The sentences of a mix plan: order of mixing, cautions, amounts."""

from __future__ import annotations

from collections.abc import Iterable

from planner.errors import NotKnown
from planner.mix.kit import Material

#: Form, and what is said of it, in the order of going in. Common practice, no source; the label wins.
MIXING_ORDER: tuple[tuple[str, str], ...] = (
    ("conditioner", "water conditioners and acids"),
    ("powder", "wettable powders, made to a paste first"),
    ("dispersible granule", "dispersible granules, until none is seen"),
    ("suspension", "suspensions, shaken first"),
    ("soluble", "soluble powders and liquids, foliar feeds"),
    ("emulsion", "emulsions and oils"),
    ("surfactant", "wetters and stickers, last, against foam"),
)
GRANULAR = "granular"

LABEL_FIRST = "The label and local law come first; if they and this plan differ, they win."
SPRAY_CAUTIONS: tuple[str, ...] = (
    LABEL_FIRST,
    "This plan does not approve a spray. Measure wind, temperature and humidity where you stand; stop "
    "when they turn.",
    "Wear what the label asks for. Mix outdoors, your face upwind, away from drains, wells and food; "
    "keep clean water at hand.",
    "Keep the label's untreated strip beside water, drains and other people's plants; spray only with the "
    "air moving away from them, with coarse drops and the nozzles low.",
    "Keep people and animals off until the re-entry time has passed and the leaf is dry.",
    "Rinse tank, hoses and nozzles before the next product or the next green: traces of a herbicide scorch it.",
    "Left-over mix and rinse water go on a labelled area within the rate, never down a drain; do not "
    "store a mix.",
)
SPREAD_CAUTIONS: tuple[str, ...] = (
    LABEL_FIRST,
    "Wear what the label asks for; fill the hopper on a hard floor or a sheet, not on the turf.",
    "Keep granules off hard ground and out of water; sweep up what falls there. Some places ban feeding by "
    "date, by phosphorus, or near water.",
    "Never on frozen or soaked ground.",
    "What is left goes back into its own bag, closed and dry.",
)
LICENCE = "Buying or using this may need training or a licence where you are; write its number in the diary."
JAR_TEST = (
    "More than one product in the tank: ask each label whether it allows that, then try the mix in a jar in "
    "the same order and shares; if it curdles, warms or settles, do not mix it."
)


def mixing_order(materials: Iterable[Material]) -> tuple[str, ...]:
    """What to do at the tank, step by step."""
    places = [form for form, _ in MIXING_ORDER]
    for material in materials:
        if material.form not in places:
            raise NotKnown("form of material", material.form, [*places, GRANULAR])
    steps = ["Half fill the clean tank with clean water and keep it stirring."]
    ordered = sorted(materials, key=lambda material: places.index(material.form))
    steps += [f"Add {material.name} ({dict(MIXING_ORDER)[material.form]})." for material in ordered]
    steps.append("Fill up with water to the mark and keep stirring until the tank is empty.")
    return tuple(steps)


def litres(amount: float) -> str:
    """Litres to one decimal; below 2 L in millilitres as well read off a jug."""
    return f"{amount:.1f} L" if amount >= 2.0 else f"{amount:.2f} L"


def amount(value: float, unit: str) -> str:
    """An amount of product as it is measured out: small ones in mL or g."""
    if value >= 2.0:
        return f"{value:.2f} {unit}"
    return f"{value * 1000:.0f} {'mL' if unit == 'L' else 'g'}"
