"""The command mix: tank and hopper amounts for one job on one surface."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import click

from planner.board import wrap
from planner.cli.options import Source, full_config, show


@click.command()
@click.argument("job")
@click.option("--surface", metavar="S", help="The surface; else the first the job is done on.")
@click.option("--material", "materials", metavar="M", multiple=True, help="A material; may be given twice.")
@click.option("--kit", metavar="NAME", help="Sprayer or spreader; else the first that fits.")
@click.option("--litres", type=float, help="Litres you mean to mix: the sheet says what is over.")
@click.option("--kg", type=float, help="Kilograms you mean to fill in.")
@click.option("--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def mix(
    job: str,
    surface: str | None,
    materials: tuple[str, ...],
    kit: str | None,
    litres: float | None,
    kg: float | None,
    config: str | None,
    as_json: bool,
) -> None:
    """How much water and product JOB needs, in how many loads, and what would be left over."""
    from planner.tank import sheet

    full = full_config(Source(config, None, None))
    found = sheet(
        full,
        job,
        surface=surface,
        materials=materials,
        kit=kit,
        litres=litres,
        kg=kg,
        on=datetime.now(UTC).astimezone(full.site.zone).date(),
    )
    show(found, lambda: text(found), as_json)


def text(found: dict[str, Any]) -> str:
    """The sheet, 80 columns wide."""
    lines = wrap(f"{found['label'].capitalize()}, {found['surface']} ({found['area_m2']:g} m2)", "")
    lines += [*wrap(found["says"], ""), ""]
    if found["volume_lha"] is not None:
        lines += wrap(
            f"{found['kit']}: {found['flow_lmin']:.2f} L/min a nozzle ({found['flow_from']}) at "
            f"{found['pressure_bar']:g} bar and {found['speed_kmh']:g} km/h: {found['volume_lha']:.0f} L/ha.",
            "",
        )
    else:
        lines += wrap(f"{found['kit']}: {found['rate_gm2']:.1f} g/m2.", "")
    lines.append("")
    for product in found["products"]:
        lines += wrap(f"{product['says']} at {product['per_ha']:g} {product['unit']}/ha", "  ", "    ")
    lines += _loads(found["loads"]) if len(found["loads"]) > 1 else []
    lines += _block("Brings", _brings(found))
    lines += _block("Left over", [found["leftover"]] if found["leftover"] else [])
    lines += _block("Heed", found["heeds"])
    lines += _block("The labels say", [said for label in found["labels"] if (said := _label(label))])
    lines += _block("In this order", found["order"])
    lines += _block("Cautions", found["cautions"])
    return "\n".join(lines)


def _loads(loads: list[dict[str, Any]]) -> list[str]:
    lines = ["", "Loads"]
    for load in loads:
        size = f"{load['mix_l']:.1f} L" if load["mix_l"] is not None else f"{load['mix_kg']:.2f} kg"
        products = ", ".join(product["says"] for product in load["products"])
        lines += wrap(f"{load['number']}. {size}: {products}", "  ", "     ")
    return lines


def _block(title: str, rows: list[str] | tuple[str, ...]) -> list[str]:
    if not rows:
        return []
    lines = ["", title]
    for row in rows:
        lines += wrap(f"- {row}", "  ", "    ")
    return lines


def _brings(found: dict[str, Any]) -> list[str]:
    brings = [f"{grams:.2f} g/m2 {name}" for name, grams in found["nutrients_gm2"].items()]
    told = [", ".join(brings)] if brings else []
    return told + [f"{says}." for says in found["nutrients_not_known"]]


def _label(label: dict[str, Any]) -> str:
    parts = []
    if label["rainfast_h"] is not None:
        parts.append(f"{label['rainfast_h']:g} dry hours after it")
    if label["reentry_h"] is not None:
        parts.append(f"keep off for {label['reentry_h']:g} h and until dry")
    low, high = label["air_temp_min_c"], label["air_temp_max_c"]
    if low is not None and high is not None:
        parts.append(f"air {low:g} to {high:g} C")
    elif high is not None:
        parts.append(f"air up to {high:g} C")
    elif low is not None:
        parts.append(f"air from {low:g} C")
    return f"{label['material']}: {'; '.join(parts)}." if parts else ""
