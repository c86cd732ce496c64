"""haysel mix and haysel calibrate: tank and hopper amounts, and what the nozzles put out."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from planner.cli.board import bullets, wrap
from planner.cli.options import AS_JSON, CONFIG, Source, full_config, read_report, show
from planner.errors import ForecastError, InputError, NotKnown

if TYPE_CHECKING:
    from planner.actions.mix_plan import LabelRow, MixAnswer
    from planner.mix.kit import Sprayer
    from planner.mix.plan import Load


@click.command()
@click.argument("job")
@click.option("--surface", metavar="S", help="The surface; else the first the job is done on.")
@click.option("--material", "materials", metavar="M", multiple=True, help="A material; may be given twice.")
@click.option("--kit", metavar="NAME", help="Sprayer or spreader; else the first that fits.")
@click.option("--litres", type=float, help="Litres you mean to mix: the plan says what is over.")
@click.option("--kg", type=float, help="Kilograms you mean to fill in.")
@click.option("--product", metavar="NAME", default="", help="The product, exactly as on its label.")
@click.option("--rate", type=float, help="Its rate from the label, L or kg a hectare.")
@CONFIG
@AS_JSON
def mix(
    job: str,
    surface: str | None,
    materials: tuple[str, ...],
    kit: str | None,
    litres: float | None,
    kg: float | None,
    product: str,
    rate: float | None,
    config: str | None,
    as_json: bool,
) -> None:
    """How much water and product JOB needs, in how many loads, and what would be left over."""
    from planner.actions.mix_plan import tank_mix, with_nitrogen

    full = full_config(config)
    found = tank_mix(
        full,
        job,
        surface=surface,
        materials=materials,
        kit=kit,
        litres=litres,
        kg=kg,
        product=product,
        rate_per_ha=rate,
        on=datetime.now(UTC).astimezone(full.site.zone).date(),
    )
    # Without a stored pass the mix is worked out, without the month.
    with suppress(ForecastError):
        found = with_nitrogen(found, read_report(Source(config, None, None)))
    show(found, lambda: text(found), as_json)


def text(found: MixAnswer) -> str:
    """The mix plan as text, 80 columns wide."""
    lines = wrap(f"{found.label.capitalize()}, {found.surface} ({found.area_m2:g} m²)", "")
    lines += [*wrap(found.says, ""), ""]
    if found.volume_lha is not None:
        lines += wrap(
            f"{found.kit}: {found.flow_lmin:.2f} L/min a nozzle ({found.flow_from}) at "
            f"{found.pressure_bar:g} bar and {found.speed_kmh:g} km/h: {found.volume_lha:.0f} L/ha.",
            "",
        )
    else:
        lines += wrap(f"{found.kit}: {found.rate_gm2:.1f} g/m².", "")
    lines.append("")
    for product in found.products:
        lines += wrap(f"{product.says} at {product.per_ha:.4g} {product.unit}/ha", "  ", "    ")
    lines += _loads(found.loads) if len(found.loads) > 1 else []
    lines += bullets("Brings", _brings(found))
    lines += wrap(found.nitrogen, "  ", "    ") if found.nitrogen else []
    lines += bullets("Left over", [found.leftover] if found.leftover else [])
    lines += bullets("Advice", found.advice)
    lines += bullets("The materials file says", [text for label in found.labels if (text := _label(label))])
    lines += bullets("In this order", found.order)
    lines += bullets("Cautions", found.cautions)
    return "\n".join(lines)


def _loads(loads: Sequence[Load]) -> list[str]:
    lines = ["", "Loads"]
    for load in loads:
        size = f"{load.mix_l:.1f} L" if load.mix_l is not None else f"{load.mix_kg:.2f} kg"
        products = ", ".join(product.says for product in load.products)
        lines += wrap(f"{load.number}. {size}: {products}", "  ", "     ")
    return lines


def _brings(found: MixAnswer) -> list[str]:
    brings = [f"{grams:.2f} g/m² {name}" for name, grams in found.nutrients_gm2.items()]
    joined = [", ".join(brings)] if brings else []
    return joined + [f"{says}." for says in found.nutrients_not_known]


def _label(label: LabelRow) -> str:
    parts = []
    if label.rainfast_h is not None:
        parts.append(f"{label.rainfast_h:g} dry hours after it")
    if label.reentry_h is not None:
        parts.append(f"keep off for {label.reentry_h:g} h and until dry")
    if label.interval_d is not None:
        parts.append(f"not again for {label.interval_d:g} days")
    if label.buffer_m is not None:
        parts.append(f"{label.buffer_m:g} m untreated beside water")
    low, high = label.air_temp_min_c, label.air_temp_max_c
    if low is not None and high is not None:
        parts.append(f"air {low:g} to {high:g} °C")
    elif high is not None:
        parts.append(f"air up to {high:g} °C")
    elif low is not None:
        parts.append(f"air from {low:g} °C")
    name = f"{label.material}{f' ({label.product})' if label.product else ''}"
    example = " An example, not your label." if label.is_example else ""
    return f"{name}: {'; '.join(parts)}.{example}" if parts else ""


@click.command()
@click.argument("caught", metavar="ML,ML,...")
@click.option(
    "--seconds", type=click.FloatRange(min=1), default=60.0, show_default=True, help="How long was caught."
)
@click.option("--kit", metavar="NAME", help="The sprayer; else the first of the site file.")
@click.option(
    "--rate", type=click.FloatRange(min=1), help="Litres per hectare wanted: at which speed or pressure?"
)
@CONFIG
@AS_JSON
def calibrate(
    caught: str, seconds: float, kit: str | None, rate: float | None, config: str | None, as_json: bool
) -> None:
    """Flow from millilitres caught under each nozzle (a dash for one without a can), and litres per hectare."""
    full = full_config(config)
    found = tested(_sprayer(full.sprayers, kit), _millilitres(caught), seconds, rate)
    show(found, lambda: "\n".join(line for says in found["says"] for line in wrap(says, "", "  ")), as_json)


def tested(
    sprayer: Sprayer, caught_ml: list[float | None], seconds: float, rate_lha: float | None
) -> dict[str, Any]:
    """What a catch test says of a sprayer, as JSON takes it."""
    from planner.mix.calibration import catch_can
    from planner.mix.formulas import (
        flow_for_volume_lmin,
        pressure_for_flow_bar,
        speed_for_volume_kmh,
        volume_lha,
    )

    test = catch_can(caught_ml, seconds, new_lmin=sprayer.nozzle.flow_lmin(sprayer.pressure_bar))
    put_out = volume_lha(test.mean_lmin, sprayer.speed_kmh, sprayer.spacing_m)
    says = [
        f"{sprayer.name}: {test.says()}",
        f"At {sprayer.pressure_bar:g} bar and {sprayer.speed_kmh:g} km/h it puts out {put_out:.0f} L/ha. "
        f"Write measured_flow_lmin = {test.mean_lmin:.2f} and the date into its [[sprayer]] table.",
    ]
    speed = pressure = None
    if rate_lha is not None:
        speed = speed_for_volume_kmh(rate_lha, test.mean_lmin, sprayer.spacing_m)
        wanted = flow_for_volume_lmin(rate_lha, sprayer.speed_kmh, sprayer.spacing_m)
        pressure = pressure_for_flow_bar(wanted, test.mean_lmin, sprayer.pressure_bar)
        allowed = sprayer.nozzle.pressure_bar
        off = allowed.below(pressure) or allowed.above(pressure)
        outside = " That pressure lies outside the nozzle's range." if off else ""
        says.append(
            f"For {rate_lha:g} L/ha walk {speed:.1f} km/h at this pressure, or set {pressure:.1f} bar at this "
            f"speed.{outside} Catch again after any change."
        )
    return {
        "kit": sprayer.name,
        "flows_lmin": [None if flow is None else round(flow, 3) for flow in test.flows_lmin],
        "mean_lmin": round(test.mean_lmin, 3),
        "nozzles_off": [nozzle.number for nozzle in test.off],
        "volume_lha": round(put_out, 1),
        "speed_kmh": None if speed is None else round(speed, 2),
        "pressure_bar": None if pressure is None else round(pressure, 2),
        "says": says,
    }


def _millilitres(text: str) -> list[float | None]:
    cans: list[float | None] = []
    for part in text.replace(" ", "").split(","):
        if part in ("", "-"):
            cans.append(None)
            continue
        try:
            cans.append(float(part))
        except ValueError as error:
            raise InputError(f'"{part}" is not an amount: write millilitres such as 790,805,798.') from error
    return cans


def _sprayer(sprayers: tuple[Sprayer, ...], named: str | None) -> Sprayer:
    if not sprayers:
        raise InputError("The site file names no sprayer. Add a [[sprayer]] table.")
    if named is None:
        return sprayers[0]
    for one in sprayers:
        if one.name == named:
            return one
    raise NotKnown("sprayer", named, [one.name for one in sprayers])
