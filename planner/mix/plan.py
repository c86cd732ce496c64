"""The mix plan: one job, one surface, one sprayer or spreader, everything in the order it is needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

from planner.errors import Contradiction, InputError
from planner.mix import words
from planner.mix.advice import calibration_advice, spray_advice
from planner.mix.formulas import amount_for_area, loads_of, positive, volume_lha
from planner.mix.kit import Material, Sprayer, Spreader
from planner.mix.nutrients import nutrients_gm2
from planner.site import Surface


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """How much of one product, and its rate, in its own unit (`L` or `kg`)."""

    name: str
    amount: float
    unit: str
    per_ha: float
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """One tank or hopper, numbered from 1: litres of mix or kilograms of product, and what goes in."""

    number: int
    mix_l: float | None = None
    mix_kg: float | None = None
    products: tuple[Product, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MixPlan:
    """Everything for one job on one surface. What is not known is None, never 0."""

    job: str
    surface: str
    area_m2: float
    kit: str
    says: str
    volume_lha: float | None = None
    mix_l: float | None = None
    flow_lmin: float | None = None
    flow_from: str | None = None
    pressure_bar: float | None = None
    speed_kmh: float | None = None
    rate_gm2: float | None = None
    products: tuple[Product, ...]
    loads: tuple[Load, ...]
    nutrients_gm2: dict[str, float]
    nutrients_not_known: tuple[str, ...]
    typed: float | None = None
    over: float | None
    """Litres or kilograms typed above the need; below 0 when too little."""
    leftover: str | None
    advice: tuple[str, ...]
    """What is outside the range of nozzle, label or calibration."""
    order: tuple[str, ...]
    cautions: tuple[str, ...]


def plan_mix(
    job: str,
    surface: Surface,
    material: Material | Sequence[Material],
    kit: Sprayer | Spreader,
    typed_litres: float | None = None,
    *,
    typed_kg: float | None = None,
    on: date | None = None,
) -> MixPlan:
    """The plan for a job. `typed_litres` (`typed_kg`) is what the keeper means to mix; `on` is the day.

    Several materials share one tank. A spreader takes one material, in kg. InputError says what cannot be.
    """
    materials = (material,) if isinstance(material, Material) else tuple(material)
    if not materials:
        raise InputError(f"The job {job} names no material. Name at least one.")
    if isinstance(kit, Sprayer):
        if typed_kg is not None:
            raise Contradiction(f"{kit.name} is a sprayer: give litres, not {typed_kg:g} kg.")
        return _spray(job, surface, materials, kit, typed_litres, on)
    if typed_litres is not None:
        raise Contradiction(f"{kit.name} is a spreader: give kilograms, not {typed_litres:g} L.")
    return _spread(job, surface, materials, kit, typed_kg, on)


def _spray(
    job: str,
    surface: Surface,
    materials: tuple[Material, ...],
    sprayer: Sprayer,
    typed_l: float | None,
    on: date | None,
) -> MixPlan:
    if any(one.form == words.GRANULAR for one in materials):
        raise Contradiction(f"{materials[0].name} is granular: spread it, a sprayer cannot.")
    rate = volume_lha(sprayer.flow_lmin, sprayer.speed_kmh, sprayer.spacing_m)
    need = amount_for_area(rate, surface.area_m2)
    brings, not_known = _nutrients(materials)
    said, leftover = leftover_says(typed_l, need, surface.area_m2, materials, "L")
    return MixPlan(
        job=job,
        surface=surface.name,
        area_m2=surface.area_m2,
        kit=sprayer.name,
        says=f"{said}.",
        volume_lha=rate,
        mix_l=need,
        flow_lmin=sprayer.flow_lmin,
        flow_from=_flow_from(sprayer),
        pressure_bar=sprayer.pressure_bar,
        speed_kmh=sprayer.speed_kmh,
        products=tuple(_product(one, amount_for_area(one.rate_per_ha, surface.area_m2)) for one in materials),
        loads=tuple(
            Load(
                number=number,
                mix_l=load,
                products=tuple(_product(one, one.rate_per_ha * load / rate) for one in materials),
            )
            for number, load in enumerate(loads_of(need, sprayer.tank_l), start=1)
        ),
        nutrients_gm2=brings,
        nutrients_not_known=not_known,
        typed=typed_l,
        over=None if typed_l is None else typed_l - need,
        leftover=leftover,
        advice=spray_advice(sprayer, materials, rate, need, on),
        order=words.mixing_order(materials),
        cautions=_cautions(words.SPRAY_CAUTIONS, materials),
    )


def _spread(
    job: str,
    surface: Surface,
    materials: tuple[Material, ...],
    spreader: Spreader,
    typed_kg: float | None,
    on: date | None,
) -> MixPlan:
    if len(materials) != 1 or materials[0].unit != "kg":
        raise Contradiction(
            f"{spreader.name} spreads one material measured in kg; given: "
            f"{', '.join(f'{one.name} ({one.unit})' for one in materials)}."
        )
    material = materials[0]
    need = amount_for_area(material.rate_per_ha, surface.area_m2)
    brings, not_known = _nutrients(materials)
    said, leftover = leftover_says(typed_kg, need, surface.area_m2, materials, "kg")
    return MixPlan(
        job=job,
        surface=surface.name,
        area_m2=surface.area_m2,
        kit=spreader.name,
        says=f"{said}.",
        rate_gm2=material.rate_per_ha / 10.0,
        products=(_product(material, need),),
        loads=tuple(
            Load(number=number, mix_kg=load, products=(_product(material, load),))
            for number, load in enumerate(loads_of(need, spreader.hopper_kg), start=1)
        ),
        nutrients_gm2=brings,
        nutrients_not_known=not_known,
        typed=typed_kg,
        over=None if typed_kg is None else typed_kg - need,
        leftover=leftover,
        advice=calibration_advice(spreader, material, on),
        order=(
            "Set the spreader for half the rate and go over the ground twice, the second time across "
            "the first.",
            f"Passes {spreader.swath_m:g} m apart; walk at the pace of the test.",
        ),
        cautions=_cautions(words.SPREAD_CAUTIONS, materials),
    )


def _product(material: Material, amount: float) -> Product:
    return Product(
        name=material.name,
        amount=amount,
        unit=material.unit,
        per_ha=material.rate_per_ha,
        says=f"{words.amount(amount, material.unit)} {material.name}",
    )


def _nutrients(materials: tuple[Material, ...]) -> tuple[dict[str, float], tuple[str, ...]]:
    total: dict[str, float] = {}
    not_known: list[str] = []
    for material in materials:
        if material.unit == "L" and material.basis == "w/w" and material.density_kgl is None:
            if material.analysis_pct:
                not_known.append(f"{material.name}: no density, so its nutrients are not known")
            continue
        for nutrient, grams in nutrients_gm2(material).items():
            total[nutrient] = total.get(nutrient, 0.0) + grams
    return total, tuple(not_known)


def _flow_from(sprayer: Sprayer) -> str:
    if sprayer.measured_flow_lmin is None:
        return f"size {sprayer.nozzle.name} when new; never caught on this sprayer"
    day = "on a day not written down" if sprayer.measured_on is None else f"on {sprayer.measured_on}"
    return f"caught {day}"


def _cautions(general: tuple[str, ...], materials: tuple[Material, ...]) -> tuple[str, ...]:
    own = [f"{one.name}: {caution}" for one in materials for caution in one.cautions]
    licence = [words.LICENCE] if any(one.needs_licence for one in materials) else []
    jar = [words.JAR_TEST] if len(materials) > 1 else []
    return (*general, *licence, *jar, *own)


#: Below this share of the need, a difference is what stays in hoses; from the trade, no source.
SAME_SHARE = 0.03


def leftover_says(
    typed: float | None, need: float, area_m2: float, materials: tuple[Material, ...], unit: str
) -> tuple[str, str | None]:
    """A short sentence ("16.3 L needed; 3.7 L over") and what to do about it (None when it fits)."""
    show = words.litres if unit == "L" else partial(words.amount, unit="kg")
    needed = f"{show(need)} needed"
    if typed is None:
        return needed, None
    over = positive(typed, f"the {'litres' if unit == 'L' else 'kilograms'} typed") - need
    if abs(over) <= SAME_SHARE * need:
        return f"{needed}; {show(typed)} fits", None
    if over < 0:
        covered = area_m2 * typed / need
        return (
            f"{needed}; {show(-over)} short",
            f"{show(typed)} covers {covered:.0f} of {area_m2:.0f} m² at the rate. Do not walk faster to "
            f"stretch it: mix {show(need)}.",
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
        f"{does} {show(need)}. {show(over)} more is enough for another {elsewhere:.0f} m²; {rest}. "
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
            puts_on[-1] += f" and the highest in the file {material.most_per_ha:g}"
    return f"Not on a second pass over the same {area_m2:.0f} m²: that would be {', '.join(puts_on)}."
