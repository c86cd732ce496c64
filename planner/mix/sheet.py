"""The mix sheet: one job, one surface, one sprayer or spreader, everything in the order it is needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from planner.errors import InputError
from planner.mix import words
from planner.mix.formulas import amount_for_area, loads_of, positive, volume_lha
from planner.mix.heeds import calibration_heeds, spray_heeds
from planner.mix.kit import Material, Sprayer, Spreader
from planner.mix.leftover import leftover_says
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
    mix_l: float | None
    mix_kg: float | None
    products: tuple[Product, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MixSheet:
    """Everything for one job on one surface. What is not known is None, never 0."""

    job: str
    surface: str
    area_m2: float
    kit: str
    says: str
    volume_lha: float | None
    mix_l: float | None
    flow_lmin: float | None
    flow_from: str | None
    pressure_bar: float | None
    speed_kmh: float | None
    rate_gm2: float | None
    products: tuple[Product, ...]
    loads: tuple[Load, ...]
    nutrients_gm2: dict[str, float]
    nutrients_not_known: tuple[str, ...]
    typed: float | None
    over: float | None
    """Litres or kilograms typed above the need; below 0 when too little."""
    leftover: str | None
    heeds: tuple[str, ...]
    """What is outside the range of nozzle, label or calibration."""
    order: tuple[str, ...]
    cautions: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The sheet as JSON takes it."""
        return asdict(self)


def mix_sheet(
    job: str,
    surface: Surface,
    material: Material | Sequence[Material],
    kit: Sprayer | Spreader,
    typed_litres: float | None = None,
    *,
    typed_kg: float | None = None,
    on: date | None = None,
) -> MixSheet:
    """The sheet for a job. `typed_litres` (`typed_kg`) is what the keeper means to mix; `on` is the day.

    Several materials share one tank. A spreader takes one material, in kg. InputError says what cannot be.
    """
    materials = (material,) if isinstance(material, Material) else tuple(material)
    if not materials:
        raise InputError(f"The job {job} names no material. Name at least one.")
    if isinstance(kit, Sprayer):
        if typed_kg is not None:
            raise InputError(f"{kit.name} is a sprayer: give litres, not {typed_kg:g} kg.")
        return _spray(job, surface, materials, kit, typed_litres, on)
    if typed_litres is not None:
        raise InputError(f"{kit.name} is a spreader: give kilograms, not {typed_litres:g} L.")
    return _spread(job, surface, materials, kit, typed_kg, on)


def _spray(
    job: str,
    surface: Surface,
    materials: tuple[Material, ...],
    sprayer: Sprayer,
    typed_l: float | None,
    on: date | None,
) -> MixSheet:
    if any(one.form == words.GRANULAR for one in materials):
        raise InputError(f"{materials[0].name} is granular: spread it, a sprayer cannot.")
    rate = volume_lha(sprayer.flow_lmin, sprayer.speed_kmh, sprayer.spacing_m)
    need = amount_for_area(rate, surface.area_m2)
    brings, not_known = _nutrients(materials)
    said = f"{words.litres(need)} needed"
    leftover = None
    if typed_l is not None:
        said, leftover = leftover_says(
            positive(typed_l, "the litres typed"), need, surface.area_m2, materials, "L"
        )
    return MixSheet(
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
        rate_gm2=None,
        products=tuple(_product(one, amount_for_area(one.rate_per_ha, surface.area_m2)) for one in materials),
        loads=tuple(
            Load(
                number=number,
                mix_l=load,
                mix_kg=None,
                products=tuple(_product(one, one.rate_per_ha * load / rate) for one in materials),
            )
            for number, load in enumerate(loads_of(need, sprayer.tank_l), start=1)
        ),
        nutrients_gm2=brings,
        nutrients_not_known=not_known,
        typed=typed_l,
        over=None if typed_l is None else typed_l - need,
        leftover=leftover,
        heeds=spray_heeds(sprayer, materials, rate, need, on),
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
) -> MixSheet:
    if len(materials) != 1 or materials[0].unit != "kg":
        raise InputError(
            f"{spreader.name} spreads one material measured in kg; given: "
            f"{', '.join(f'{one.name} ({one.unit})' for one in materials)}."
        )
    material = materials[0]
    need = amount_for_area(material.rate_per_ha, surface.area_m2)
    brings, not_known = _nutrients(materials)
    said = f"{words.amount(need, 'kg')} needed"
    leftover = None
    if typed_kg is not None:
        said, leftover = leftover_says(
            positive(typed_kg, "the kilograms typed"), need, surface.area_m2, materials, "kg"
        )
    return MixSheet(
        job=job,
        surface=surface.name,
        area_m2=surface.area_m2,
        kit=spreader.name,
        says=f"{said}.",
        volume_lha=None,
        mix_l=None,
        flow_lmin=None,
        flow_from=None,
        pressure_bar=None,
        speed_kmh=None,
        rate_gm2=material.rate_per_ha / 10.0,
        products=(_product(material, need),),
        loads=tuple(
            Load(number=number, mix_l=None, mix_kg=load, products=(_product(material, load),))
            for number, load in enumerate(loads_of(need, spreader.hopper_kg), start=1)
        ),
        nutrients_gm2=brings,
        nutrients_not_known=not_known,
        typed=typed_kg,
        over=None if typed_kg is None else typed_kg - need,
        leftover=leftover,
        heeds=calibration_heeds(spreader, material, on),
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
