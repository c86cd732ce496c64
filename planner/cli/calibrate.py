"""haysel calibrate: cans under the nozzles, and what the sprayer then puts out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from planner.board import wrap
from planner.cli.options import Source, full_config, show
from planner.errors import InputError, NotKnown

if TYPE_CHECKING:
    from planner.mix import Sprayer


@click.command()
@click.argument("caught", metavar="ML,ML,...")
@click.option(
    "--seconds", type=click.FloatRange(min=1), default=60.0, show_default=True, help="How long was caught."
)
@click.option("--kit", metavar="NAME", help="The sprayer; else the first of the site file.")
@click.option(
    "--rate", type=click.FloatRange(min=1), help="Litres per hectare wanted: at which speed or pressure?"
)
@click.option("--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def calibrate(
    caught: str, seconds: float, kit: str | None, rate: float | None, config: str | None, as_json: bool
) -> None:
    """Flow from millilitres caught under each nozzle (a dash for one without a can), and litres per hectare."""
    full = full_config(Source(config, None, None))
    found = tested(_sprayer(full.sprayers, kit), _millilitres(caught), seconds, rate)
    show(found, lambda: "\n".join(line for says in found["says"] for line in wrap(says, "", "  ")), as_json)


def tested(
    sprayer: Sprayer, caught_ml: list[float | None], seconds: float, rate_lha: float | None
) -> dict[str, Any]:
    """What a catch test says of a sprayer, as JSON takes it."""
    from planner.mix import catch_can
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
