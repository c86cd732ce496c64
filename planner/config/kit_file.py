"""From the tables of kit, materials, outputs and wanted work to domain objects, faults gathered."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from functools import partial
from typing import Any

from pydantic import ValidationError

from planner.config.faults import not_a_setting, unknown
from planner.config.kit_schema import (
    MaterialPart,
    MaterialsFile,
    SprayerPart,
    SpreaderPart,
    WantedPart,
)
from planner.config.sheet import Sheet, rows, word, words
from planner.diary.due import Wanted
from planner.diary.materials import Stocked
from planner.mix import Material, Nozzle, Range, Sprayer, Spreader
from planner.mix.words import GRANULAR, MIXING_ORDER
from planner.rules.job import Job
from planner.site import Site


def _range(pair: tuple[float, float] | None) -> Range:
    return Range() if pair is None else Range(lowest=pair[0], highest=pair[1])


def check_sprayers(values: dict[str, Any], sheet: Sheet) -> None:
    """Faults of sprayers that only the making of one shows."""
    for number, row in rows(values, "sprayer"):
        try:
            part = SprayerPart.model_validate(row)
        except ValidationError:
            # Told with the whole site file.
            continue
        sheet.tried(("sprayer", number), partial(sprayer_of, part))


def sprayer_of(part: SprayerPart) -> Sprayer:
    """A sprayer of a site file; InputError when there is no such nozzle."""
    own = part.model_dump(exclude={"nozzle", "nozzle_pressure_bar"})
    return Sprayer(nozzle=Nozzle.iso(part.nozzle, _range(part.nozzle_pressure_bar)), **own)


def spreader_of(part: SpreaderPart) -> Spreader:
    """A spreader of a site file."""
    return Spreader(**part.model_dump())


def read_materials(values: dict[str, Any], sheet: Sheet, jobs: Collection[str] | None) -> tuple[Stocked, ...]:
    """The materials of a file, all of them when the sheet has no fault. `jobs` is None where not known."""
    for key in values:
        if key not in MaterialsFile.model_fields:
            sheet.add((key,), not_a_setting(key, MaterialsFile.model_fields))
    written = values.get("materials", [])
    if not isinstance(written, list):
        sheet.add(("materials",), "must be entries under [[materials]]")
        return ()
    named = [(number, name) for number, row in rows(values, "materials") if (name := word(row, "name"))]
    sheet.named_once("materials", named)
    stocked = []
    for number, row in enumerate(written):
        _check(row, number, jobs, sheet)
        part = sheet.checked(MaterialPart, row, ("materials", number))
        made = None if part is None else sheet.tried(("materials", number), partial(_stocked, part))
        if made is not None:
            stocked.append(made)
    return tuple(stocked)


def _check(row: Any, number: int, jobs: Collection[str] | None, sheet: Sheet) -> None:
    for job in words(row, "jobs"):
        if jobs is not None and job not in jobs:
            sheet.add(("materials", number, "jobs"), unknown("job", job, jobs))
    forms = [*(form for form, _ in MIXING_ORDER), GRANULAR]
    form = word(row, "form")
    if form is not None and form not in forms:
        sheet.add(("materials", number, "form"), unknown("form", form, forms))


def _stocked(part: MaterialPart) -> Stocked:
    own = set(Material.__dataclass_fields__) - {"volume_lha", "pressure_bar", "speed_kmh"}
    tank = part.model_dump(include=own)
    return Stocked(
        material=Material(
            volume_lha=_range(part.volume_lha),
            pressure_bar=_range(part.pressure_bar),
            speed_kmh=_range(part.speed_kmh),
            **tank,
        ),
        jobs=part.jobs,
        product=part.product,
        registration=part.registration,
        rainfast_h=part.rainfast_h,
        reentry_h=part.reentry_h,
        air_temp_c=Range(lowest=part.air_temp_min_c, highest=part.air_temp_max_c),
        lasts_degree_days=part.lasts_degree_days,
    )


def wanted_of(parts: tuple[WantedPart, ...], site: Site, jobs: tuple[Job, ...]) -> tuple[Wanted, ...]:
    """Wanted work, one for each job and surface; names must have been checked."""
    by_name = {job.name: job for job in jobs}
    wanted = []
    for part in parts:
        job = by_name[part.job]
        surfaces = [part.surface] if part.surface else [one.name for one in job.surfaces_of(site)]
        wanted += [
            Wanted(
                job=job.name,
                label=job.label,
                surface=surface,
                by=_aware(part.by, site),
                every_days=part.every_days,
                every_degree_days=part.every_degree_days,
            )
            for surface in surfaces
        ]
    return tuple(wanted)


def _aware(moment: datetime | None, site: Site) -> datetime | None:
    return moment if moment is None or moment.tzinfo is not None else moment.replace(tzinfo=site.zone)
