"""The mix sheet of a job as asked for: which surface, material and kit are meant when they are not named."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from planner.config.load import Config
from planner.diary.materials import Stocked
from planner.errors import InputError, NotKnown
from planner.mix import Range, Sprayer, Spreader, mix_sheet
from planner.mix.words import GRANULAR
from planner.site import Surface


def sheet(
    config: Config,
    job: str,
    *,
    surface: str | None = None,
    materials: Sequence[str] = (),
    kit: str | None = None,
    litres: float | None = None,
    kg: float | None = None,
    on: date | None = None,
) -> dict[str, Any]:
    """The sheet as JSON takes it, with what the labels say. NotKnown or InputError say what does not fit."""
    found = config.job(job)
    where = _surface(config, found.surfaces_of(config.site), surface, job)
    chosen = chosen_for(config, job, materials)
    made = mix_sheet(
        job,
        where,
        [one.material for one in chosen],
        _kit(config, chosen, kit),
        litres,
        typed_kg=kg,
        on=on,
    )
    return {**made.as_dict(), "label": found.label, "labels": [on_label(one) for one in chosen]}


def chosen_for(config: Config, job: str, materials: Sequence[str]) -> tuple[Stocked, ...]:
    """The materials named, else the first that the file gives for the job."""
    if materials:
        return tuple(config.material(name) for name in materials)
    for stocked in config.materials:
        if job in stocked.jobs:
            return (stocked,)
    raise InputError(
        f"No material in the materials file is for the job {job}. Name one with --material, or write the job "
        f"into `jobs` of a material. Known materials: "
        f"{', '.join(one.name for one in config.materials) or 'none'}."
    )


def _surface(config: Config, surfaces: Sequence[Surface], named: str | None, job: str) -> Surface:
    if named is not None:
        return config.site.surface(named)
    if not surfaces:
        raise InputError(f"The job {job} is done on no surface here. Name one with --surface.")
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
        raise InputError(
            f"The site file names no {sort}. Add a [[{sort}]] table; config/haysel.toml shows one."
        )
    return fitting[0]


def on_label(stocked: Stocked) -> dict[str, Any]:
    """What the materials file says of a label."""
    return {
        "material": stocked.name,
        "product": stocked.product or None,
        "registration": stocked.registration or None,
        "rainfast_h": stocked.rainfast_h,
        "reentry_h": stocked.reentry_h,
        "air_temp_min_c": stocked.air_temp_c.lowest,
        "air_temp_max_c": stocked.air_temp_c.highest,
        "needs_licence": stocked.material.needs_licence,
    }


def shelf_of(config: Config) -> dict[str, Any]:
    """All materials of the file, as JSON takes them."""
    return {
        "materials": [
            {
                "name": one.name,
                "jobs": list(one.jobs),
                "unit": one.material.unit,
                "rate_per_ha": one.material.rate_per_ha,
                "most_per_ha": one.material.most_per_ha,
                "form": one.material.form,
                "density_kgl": one.material.density_kgl,
                "analysis_pct": dict(one.material.analysis_pct),
                "basis": one.material.basis,
                "volume_lha": _pair(one.material.volume_lha),
                "lasts_degree_days": one.lasts_degree_days,
                "cautions": list(one.material.cautions),
                **{key: value for key, value in on_label(one).items() if key != "material"},
            }
            for one in config.materials
        ],
        "sprayers": [one.name for one in config.sprayers],
        "spreaders": [one.name for one in config.spreaders],
    }


def _pair(allowed: Range) -> list[float | None]:
    return [allowed.lowest, allowed.highest]
