"""The tank mix of a job as asked for: which surface, material and kit are meant when they are not named."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import date

from planner.config.load import Config
from planner.errors import Contradiction, InputError, NotKnown, NotThere
from planner.mix.kit import Range, Sprayer, Spreader, Stocked
from planner.mix.plan import MixPlan, Product, plan_mix
from planner.mix.words import GRANULAR
from planner.reports.nitrogen import in_grams
from planner.reports.rows import Report
from planner.site import Surface


@dataclass(frozen=True, slots=True, kw_only=True)
class _Label:
    """What the materials file says of a label; None where it says nothing."""

    product: str | None
    registration: str | None
    rainfast_h: float | None
    reentry_h: float | None
    air_temp_min_c: float | None
    air_temp_max_c: float | None
    interval_d: float | None
    buffer_m: float | None
    needs_licence: bool
    is_example: bool
    """Whether the rate is an example of the file and not one of a label: no product and registration stand there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelRow(_Label):
    """The label of a material in a mix."""

    material: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MixAnswer(MixPlan):
    """The tank mix of a job with what the labels say."""

    label: str
    labels: tuple[LabelRow, ...]
    nitrogen: str = ""
    """This month's nitrogen with this pass, in words; empty where it brings none or a figure is not known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockRow(_Label):
    """A material of the file."""

    name: str
    jobs: tuple[str, ...]
    unit: str
    rate_per_ha: float
    most_per_ha: float | None
    form: str
    density_kgl: float | None
    analysis_pct: dict[str, float]
    basis: str
    volume_lha: tuple[float | None, float | None]
    lasts_degree_days: float | None
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """The materials file, and what puts them out."""

    materials: tuple[StockRow, ...]
    sprayers: tuple[str, ...]
    spreaders: tuple[str, ...]


def tank_mix(
    config: Config,
    job: str,
    *,
    surface: str | None = None,
    materials: Sequence[str] = (),
    kit: str | None = None,
    litres: float | None = None,
    kg: float | None = None,
    on: date | None = None,
    product: str = "",
    rate_per_ha: float | None = None,
) -> MixAnswer:
    """The tank mix of a job. NotKnown or InputError say what does not fit.

    `product` is the name on the label and `rate_per_ha` the rate typed from it, in the material's unit. For a job
    that a label binds both are wanted, unless the materials file names product and registration.
    """
    found = config.job(job)
    where = _surface(config, found.surfaces_of(config.site), surface, job)
    chosen = chosen_for(config, job, materials or _wanted_material(config, job, where))
    if product or rate_per_ha is not None:
        chosen = (_typed(chosen, product.strip(), rate_per_ha),)
    if found.has_label:
        _require_label(found.label, chosen)
    mix = plan_mix(
        job,
        where,
        [one.material for one in chosen],
        _kit(config, chosen, kit),
        litres,
        typed_kg=kg,
        on=on,
    )
    parts = {each.name: getattr(mix, each.name) for each in fields(mix)}
    parts["products"] = _named(mix.products, chosen)
    parts["loads"] = tuple(replace(load, products=_named(load.products, chosen)) for load in mix.loads)
    beside = [one for one in found.cautions_on(where) if one not in found.cautions]
    parts["cautions"] = (*mix.cautions, *beside)
    return MixAnswer(**parts, label=found.label, labels=tuple(label_of(one) for one in chosen))


def with_nitrogen(mix: MixAnswer, report: Report) -> MixAnswer:
    """The mix with the nitrogen of the month, as the newest report has it, and this mix on top."""
    brings = mix.nutrients_gm2.get("N")
    if brings is None or mix.nutrients_not_known:
        return mix
    for row in report.surfaces:
        for one in row.nitrogen.passes if row.surface == mix.surface else ():
            if one.job == mix.job:
                is_dry = one.brings_g_m2 == 0.0
                said = in_grams(one.given_g_m2, one.planned_g_m2, 0.0 if is_dry else brings, one.demand_g_m2)
                beyond = (
                    " What is spread dry feeds beyond the month: this mix is not counted." if is_dry else ""
                )
                return replace(mix, nitrogen=f"Nitrogen this month: {said}.{beyond}" if said else "")
    return mix


#: What stands beside every amount whose rate is not one of the keeper's own label.
EXAMPLE = "example rate, not your label"
#: Stands for the registration of a product whose rate is typed from the label in hand.
_IN_HAND = "as on the label in hand"


def _is_example(stocked: Stocked) -> bool:
    return not (stocked.product and stocked.registration)


def _named(products: Sequence[Product], chosen: Sequence[Stocked]) -> tuple[Product, ...]:
    """The amounts, each with the product it is of, or with the word that its rate is an example."""
    beside = {one.name: EXAMPLE if _is_example(one) else one.product for one in chosen}
    return tuple(replace(one, says=f"{one.says} ({beside[one.name]})") for one in products)


def _typed(chosen: Sequence[Stocked], product: str, rate_per_ha: float | None) -> Stocked:
    """The material with name and rate of the label in the keeper's hand; limits of the example go."""
    if len(chosen) != 1:
        raise Contradiction("A product and its rate are typed for one material. Name one with --material.")
    (stocked,) = chosen
    if not product or rate_per_ha is None:
        raise Contradiction(
            "Type both from the label: the product's name (--product) and its rate per hectare (--rate)."
        )
    if not rate_per_ha > 0.0 or not math.isfinite(rate_per_ha):
        raise InputError(f"The rate is {rate_per_ha:g}; a rate above 0 is wanted.")
    material = replace(stocked.material, rate_per_ha=rate_per_ha, most_per_ha=None)
    if not _is_example(stocked):
        return replace(stocked, material=material, product=product)
    # What the file says of an example is not said of the product in hand.
    return replace(
        stocked,
        material=replace(material, volume_lha=Range(), pressure_bar=Range(), speed_kmh=Range()),
        product=product,
        registration=_IN_HAND,
        rainfast_h=None,
        reentry_h=None,
        air_temp_c=Range(),
    )


def _require_label(label: str, chosen: Sequence[Stocked]) -> None:
    """Refuses a mix by an example rate for work that the label of a product binds."""
    for stocked in chosen:
        if _is_example(stocked):
            raise Contradiction(
                f"The {label} goes by its label, and the rate of {stocked.name} in the materials file is an "
                "example. Type the product's name and its rate from the label (product and rate, in "
                f"{stocked.material.unit} a hectare), or write product, registration and rate into the file."
            )


def _wanted_material(config: Config, job: str, where: Surface) -> tuple[str, ...]:
    """The material that the site file names for the work where it is wanted."""
    return tuple(
        one.material for one in config.wanted if (one.job, one.surface) == (job, where.name) and one.material
    )[:1]


def chosen_for(config: Config, job: str, materials: Sequence[str]) -> tuple[Stocked, ...]:
    """The materials named, else the first that the file gives for the job."""
    if materials:
        return tuple(config.material(name) for name in materials)
    for stocked in config.materials:
        if job in stocked.jobs:
            return (stocked,)
    raise NotThere(
        f"No material in the materials file is for the job {job}. Name one with --material, or write the job "
        f"into `jobs` of a material. Known materials: "
        f"{', '.join(one.name for one in config.materials) or 'none'}."
    )


def _surface(config: Config, surfaces: Sequence[Surface], named: str | None, job: str) -> Surface:
    if named is not None:
        return config.site.surface(named)
    if not surfaces:
        raise NotThere(f"The job {job} is done on no surface here. Name one with --surface.")
    return surfaces[0]


def _kit(config: Config, chosen: Sequence[Stocked], named: str | None) -> Sprayer | Spreader:
    every: list[Sprayer | Spreader] = [*config.sprayers, *config.spreaders]
    if named is not None:
        for one in every:
            if one.name == named:
                return one
        raise NotKnown("sprayer or spreader", named, [one.name for one in every])
    dry = all(one.material.form == GRANULAR for one in chosen)
    fitting = config.spreaders if dry else config.sprayers
    if not fitting:
        sort = "spreader" if dry else "sprayer"
        raise NotThere(
            f"The site file names no {sort}. Add a [[{sort}]] table; config/haysel.toml shows one."
        )
    return fitting[0]


def label_of(stocked: Stocked) -> LabelRow:
    """What the materials file says of a label."""
    return LabelRow(
        material=stocked.name,
        product=stocked.product or None,
        registration=stocked.registration or None,
        rainfast_h=stocked.rainfast_h,
        reentry_h=stocked.reentry_h,
        air_temp_min_c=stocked.air_temp_c.lowest,
        air_temp_max_c=stocked.air_temp_c.highest,
        interval_d=stocked.interval_d,
        buffer_m=stocked.buffer_m,
        needs_licence=stocked.material.needs_licence,
        is_example=_is_example(stocked),
    )


def stock_of(config: Config) -> Stock:
    """All materials of the file."""
    return Stock(
        materials=tuple(_stock_row(one) for one in config.materials),
        sprayers=tuple(one.name for one in config.sprayers),
        spreaders=tuple(one.name for one in config.spreaders),
    )


def _stock_row(stocked: Stocked) -> StockRow:
    material = stocked.material
    label = {name: value for name, value in asdict(label_of(stocked)).items() if name != "material"}
    return StockRow(
        name=stocked.name,
        jobs=tuple(stocked.jobs),
        unit=material.unit,
        rate_per_ha=material.rate_per_ha,
        most_per_ha=material.most_per_ha,
        form=material.form,
        density_kgl=material.density_kgl,
        analysis_pct=dict(material.analysis_pct),
        basis=material.basis,
        volume_lha=(material.volume_lha.lowest, material.volume_lha.highest),
        lasts_degree_days=stocked.lasts_degree_days,
        cautions=tuple(material.cautions),
        **label,
    )
