"""From the tables of kit, materials, outputs and wanted work to domain objects, faults gathered."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from functools import partial
from typing import TypeVar

from pydantic import ValidationError

from planner.config.faults import faults_of, nearest, where
from planner.config.kit_schema import (
    MaterialPart,
    MaterialsFile,
    SprayerPart,
    SpreaderPart,
    WantedPart,
)
from planner.config.lines import line_of, read_toml
from planner.diary.due import Wanted
from planner.diary.materials import Stocked
from planner.errors import ConfigError, Fault, InputError
from planner.mix import Material, Nozzle, Range, Sprayer, Spreader
from planner.mix.words import GRANULAR, MIXING_ORDER
from planner.rules.job import Job
from planner.site import Site

Kit = TypeVar("Kit")


class Sheet:
    """Faults of one file, gathered."""

    def __init__(self, text: str, faults: list[Fault]) -> None:
        self._text = text
        self.faults = faults

    def add(self, path: tuple[str | int, ...], says: str) -> None:
        """One fault at a place of the file."""
        self.faults.append(Fault(where(path), says, line_of(self._text, path)))

    def tried(self, path: tuple[str | int, ...], make: Callable[[], Kit]) -> Kit | None:
        """What `make` gives; its refusal becomes a fault."""
        try:
            return make()
        except InputError as error:
            self.add(path, f"cannot be used: {error}")
            return None

    def named_once(self, key: str, names: Iterable[str]) -> None:
        """A fault for each name given twice."""
        seen: set[str] = set()
        for number, name in enumerate(names):
            if name in seen:
                self.add((key, number, "name"), f'"{name}" is given twice')
            seen.add(name)


def _range(pair: tuple[float, float] | None) -> Range:
    return Range() if pair is None else Range(lowest=pair[0], highest=pair[1])


def sprayers_of(parts: tuple[SprayerPart, ...], sheet: Sheet) -> tuple[Sprayer, ...]:
    """The sprayers of a site file."""
    sheet.named_once("sprayer", (part.name for part in parts))

    found = [sheet.tried(("sprayer", number), partial(_sprayer, part)) for number, part in enumerate(parts)]
    return tuple(one for one in found if one is not None)


def _sprayer(part: SprayerPart) -> Sprayer:
    own = part.model_dump(exclude={"nozzle", "nozzle_pressure_bar"})
    return Sprayer(nozzle=Nozzle.iso(part.nozzle, _range(part.nozzle_pressure_bar)), **own)


def spreaders_of(parts: tuple[SpreaderPart, ...], sheet: Sheet) -> tuple[Spreader, ...]:
    """The spreaders of a site file."""
    sheet.named_once("spreader", (part.name for part in parts))
    return tuple(Spreader(**part.model_dump()) for part in parts)


def read_materials(text: str, file: str, jobs: Iterable[str]) -> tuple[Stocked, ...]:
    """The materials of a file. ConfigError with every fault found."""
    try:
        parsed = MaterialsFile.model_validate(read_toml(text, file))
    except ValidationError as error:
        raise ConfigError(file, faults_of(error, text, MaterialsFile)) from error
    sheet = Sheet(text, [])
    sheet.named_once("materials", (part.name for part in parsed.materials))
    known = list(jobs)
    stocked = []
    for number, part in enumerate(parsed.materials):
        _check(part, number, known, sheet)
        made = sheet.tried(("materials", number), partial(_stocked, part))
        if made is not None:
            stocked.append(made)
    if sheet.faults:
        raise ConfigError(file, sheet.faults)
    return tuple(stocked)


def _check(part: MaterialPart, number: int, jobs: list[str], sheet: Sheet) -> None:
    for job in part.jobs:
        if job not in jobs:
            sheet.add(
                ("materials", number, "jobs"),
                f'there is no job "{job}".{nearest(job, jobs)} Known: {", ".join(jobs)}',
            )
    forms = [*(form for form, _ in MIXING_ORDER), GRANULAR]
    if part.form not in forms:
        sheet.add(
            ("materials", number, "form"),
            f'"{part.form}" is not known.{nearest(part.form, forms)} Allowed: {", ".join(forms)}',
        )


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


def wanted_of(
    parts: tuple[WantedPart, ...], site: Site, jobs: tuple[Job, ...], sheet: Sheet
) -> tuple[Wanted, ...]:
    """Wanted work, one for each job and surface."""
    by_name = {job.name: job for job in jobs}
    names = [surface.name for surface in site.surfaces]
    wanted = []
    for number, part in enumerate(parts):
        job = by_name.get(part.job)
        if job is None:
            sheet.add(("wanted", number, "job"), f'there is no job "{part.job}".{nearest(part.job, by_name)}')
            continue
        if part.surface and part.surface not in names:
            sheet.add(
                ("wanted", number, "surface"),
                f'there is no surface "{part.surface}".{nearest(part.surface, names)}',
            )
            continue
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
