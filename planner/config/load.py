"""From files to domain objects."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from planner.config.kit_file import check_sprayers, read_materials, sprayer_of, spreader_of, wanted_of
from planner.config.kit_schema import GrowthPart, HomePart, KeeperPart, OutputPart, QuietPart, WeekPart
from planner.config.light import beside, text_of
from planner.config.lines import read_toml
from planner.config.names import check_names, surface_kinds
from planner.config.rules_file import Rules
from planner.config.schema import (
    ForecastPart,
    GrassPart,
    ServicePart,
    SiteFile,
    SownPart,
    StorePart,
    SurfacePart,
    WarningsPart,
    WorkPart,
)
from planner.config.sheet import Sheet, raise_all, table
from planner.diary.due import Wanted
from planner.diary.materials import Stocked
from planner.errors import ConfigError, InputError
from planner.indices.grasses import GRASSES
from planner.mix import Sprayer, Spreader
from planner.rules.job import Job
from planner.site import Edge, Grass, Site, Sowing, Surface, WorkDone
from planner.week import Away


@dataclass(frozen=True, slots=True, kw_only=True)
class Config:
    """Everything a pass needs to know that is not weather or time."""

    file: Path
    site: Site
    jobs: tuple[Job, ...]
    sowings: tuple[Sowing, ...]
    done: tuple[WorkDone, ...]
    planned: tuple[WorkDone, ...]
    forecast: ForecastPart
    store: StorePart
    service: ServicePart
    warnings: WarningsPart
    constants: Mapping[str, float]
    materials: tuple[Stocked, ...] = ()
    sprayers: tuple[Sprayer, ...] = ()
    spreaders: tuple[Spreader, ...] = ()
    keeper: KeeperPart = KeeperPart()
    outputs: tuple[OutputPart, ...] = ()
    quiet_hours: QuietPart | None = None
    home: HomePart | None = None
    growth: Mapping[str, GrowthPart] = field(default_factory=dict)
    wanted: tuple[Wanted, ...] = ()
    week: WeekPart = WeekPart()
    away: tuple[Away, ...] = ()
    grasses: Mapping[str, Grass] = field(default_factory=lambda: dict(GRASSES))

    def material(self, name: str) -> Stocked:
        """The material of that name; NotKnown lists the others."""
        from planner.errors import NotKnown

        for stocked in self.materials:
            if stocked.name == name:
                return stocked
        raise NotKnown("material", name, [stocked.name for stocked in self.materials])

    def job(self, name: str) -> Job:
        """The job of that name; NotKnown lists the others."""
        from planner.errors import NotKnown

        for job in self.jobs:
            if job.name == name:
                return job
        raise NotKnown("job", name, [job.name for job in self.jobs])


def load(path: Path) -> Config:
    """The config of a site file and of the rules and materials files it names.

    ConfigError carries every fault of the three files, a sheet for each. Only a file that is no TOML hides
    what else is wrong with it.
    """
    text = text_of(path)
    values = read_toml(text, str(path))
    sheet = Sheet(str(path), text)
    parsed = sheet.checked(SiteFile, values)
    rules_sheet, rules_values = _beside("rules", values, path, sheet)
    materials_sheet, materials_values = _beside("materials", values, path, sheet)
    jobs: tuple[Job, ...] = ()
    names: tuple[str, ...] | None = None
    if rules_sheet is not None and rules_values is not None:
        rules = Rules(rules_values, rules_sheet, _changes(values), sheet, surface_kinds(values))
        jobs, names = rules.jobs(), rules.names
    check_names(values, sheet, names)
    check_sprayers(values, sheet)
    materials: tuple[Stocked, ...] = ()
    if materials_sheet is not None and materials_values is not None:
        materials = read_materials(materials_values, materials_sheet, names)
    raise_all(one for one in (sheet, rules_sheet, materials_sheet) if one is not None)
    assert parsed is not None
    return _config(parsed, path, jobs, materials)


def _beside(
    key: str, values: dict[str, Any], path: Path, sheet: Sheet
) -> tuple[Sheet | None, dict[str, Any] | None]:
    """The file that the site file names, with a sheet of its own; None where there is none to read."""
    named = values.get(key, SiteFile.model_fields[key].default)
    if not isinstance(named, str):
        return None, None
    file = path.parent / named
    # A site without a materials file has none; one that names a file must have it.
    if key == "materials" and key not in values and not file.is_file():
        return None, None
    try:
        text = text_of(file)
    except InputError as error:
        sheet.add((key,), str(error))
        return None, None
    own = Sheet(str(file), text)
    try:
        return own, read_toml(text, str(file))
    except ConfigError as error:
        own.faults += error.faults
        return own, None


def _changes(values: dict[str, Any]) -> dict[str, Any]:
    return {name: change for name, change in table(values, "jobs").items() if isinstance(change, dict)}


def _config(parsed: SiteFile, path: Path, jobs: tuple[Job, ...], materials: tuple[Stocked, ...]) -> Config:
    """The domain objects of files without a fault."""
    grasses = dict(GRASSES) | {name: _grass(name, part) for name, part in parsed.grasses.items()}
    site = Site(
        surfaces=tuple(_surface(part, grasses) for part in parsed.surfaces), **parsed.site.model_dump()
    )
    return Config(
        file=path,
        site=site,
        jobs=tuple(job for job in jobs if not job.off),
        sowings=tuple(_sowing(part, site, grasses) for part in parsed.sown),
        done=_work(parsed.done, site, jobs),
        planned=_work(parsed.planned, site, jobs),
        forecast=parsed.forecast,
        store=parsed.store.model_copy(update={"url": beside(parsed.store.url, path)}),
        service=parsed.service,
        warnings=parsed.warnings,
        constants=parsed.constants,
        materials=materials,
        sprayers=tuple(sprayer_of(part) for part in parsed.sprayer),
        spreaders=tuple(spreader_of(part) for part in parsed.spreader),
        keeper=parsed.keeper,
        outputs=parsed.outputs,
        quiet_hours=parsed.quiet_hours,
        home=parsed.home,
        growth=parsed.growth,
        wanted=wanted_of(parsed.wanted, site, jobs),
        week=parsed.week,
        away=tuple(Away(start=_aware(a.start, site), end=_aware(a.end, site)) for a in parsed.away),
        grasses=grasses,
    )


def _surface(part: SurfacePart, grasses: Mapping[str, Grass]) -> Surface:
    edges = tuple(Edge(name=edge.name, bearing_deg=edge.bearing_deg) for edge in part.edges)
    return Surface(grass=grasses[part.grass], edges=edges, **part.model_dump(exclude={"grass", "edges"}))


def _grass(name: str, part: GrassPart) -> Grass:
    own = {key: value for key, value in part.model_dump(exclude={"like"}).items() if value is not None}
    base = {key: getattr(GRASSES[part.like], key) for key in Grass.__dataclass_fields__}
    return Grass(**(base | own | {"name": name}))


def _sowing(part: SownPart, site: Site, grasses: Mapping[str, Grass]) -> Sowing:
    surface = site.surface(part.surface)
    return Sowing(
        surface=surface.name,
        at=_aware(part.at, site),
        grass=grasses[part.grass] if part.grass else surface.grass,
        cover_pct=part.cover_pct,
        tackifier=part.tackifier,
    )


def _work(parts: tuple[WorkPart, ...], site: Site, jobs: tuple[Job, ...]) -> tuple[WorkDone, ...]:
    kinds = {job.name: job.kind for job in jobs}
    return tuple(
        WorkDone(job=part.job, kind=kinds[part.job], surface=part.surface, at=_aware(part.at, site))
        for part in parts
    )


def _aware(moment: datetime, site: Site) -> datetime:
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=site.zone)
