"""From files to domain objects."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from pydantic import ValidationError

from planner.config.faults import faults_of, nearest, where
from planner.config.kit_file import (
    Sheet,
    read_materials,
    sprayers_of,
    spreaders_of,
    wanted_of,
)
from planner.config.kit_schema import GrowthPart, HomePart, KeeperPart, OutputPart, QuietPart, WeekPart
from planner.config.light import beside, text_of
from planner.config.lines import line_of, read_toml
from planner.config.rules_file import read_rules
from planner.config.schema import ForecastPart, ServicePart, SiteFile, StorePart, WarningsPart
from planner.diary.due import Wanted
from planner.diary.given import GIVEN
from planner.diary.materials import Stocked
from planner.errors import ConfigError, Fault, NotKnown
from planner.indices import INDEX
from planner.indices.grasses import GRASSES
from planner.indices.rain_wash import wash_constants
from planner.indices.site_constants import SITE_CONSTANTS
from planner.mix import Sprayer, Spreader
from planner.rules.job import Job
from planner.site import Edge, Grass, Site, Sowing, Surface, WorkDone
from planner.weather import VARIABLE
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
    """The config of a file and of the rules file it names. ConfigError carries every fault found."""
    text = text_of(path)
    try:
        parsed = SiteFile.model_validate(read_toml(text, str(path)))
    except ValidationError as error:
        raise ConfigError(str(path), faults_of(error, text, SiteFile)) from error
    faults: list[Fault] = []
    site = _site(parsed, text, faults)
    rules_path = path.parent / parsed.rules
    jobs = read_rules(
        text_of(rules_path),
        str(rules_path),
        quantities=[*VARIABLE, *INDEX, *GIVEN],
        changes=parsed.jobs,
        changes_text=text,
        changes_file=str(path),
    )
    grasses = _grasses(parsed, text, faults)
    sowings = _sowings(parsed, site, grasses, text, faults)
    done = _work("done", parsed, site, jobs, text, faults)
    planned = _work("planned", parsed, site, jobs, text, faults)
    _check_providers(parsed, text, faults)
    _check_constants(parsed, text, faults)
    materials = _materials(parsed, path, jobs)
    sheet = Sheet(text, faults)
    sprayers, spreaders = sprayers_of(parsed.sprayer, sheet), spreaders_of(parsed.spreader, sheet)
    wanted = wanted_of(parsed.wanted, site, jobs, sheet)
    sheet.named_once("outputs", (part.called for part in parsed.outputs))
    for name in parsed.growth:
        _surface(name, site, ("growth", name), text, faults)
    if faults:
        raise ConfigError(str(path), faults)
    return Config(
        file=path,
        site=site,
        jobs=tuple(job for job in jobs if not job.off),
        sowings=sowings,
        done=done,
        planned=planned,
        forecast=parsed.forecast,
        store=parsed.store.model_copy(update={"url": beside(parsed.store.url, path)}),
        service=parsed.service,
        warnings=parsed.warnings,
        constants=parsed.constants,
        materials=materials,
        sprayers=sprayers,
        spreaders=spreaders,
        keeper=parsed.keeper,
        outputs=parsed.outputs,
        quiet_hours=parsed.quiet_hours,
        home=parsed.home,
        growth=parsed.growth,
        wanted=wanted,
        week=parsed.week,
        away=tuple(Away(start=_aware(a.start, site), end=_aware(a.end, site)) for a in parsed.away),
        grasses=grasses,
    )


def _materials(parsed: SiteFile, path: Path, jobs: tuple[Job, ...]) -> tuple[Stocked, ...]:
    file = path.parent / parsed.materials
    # A site without a materials file has none; one that names a file must have it.
    if "materials" not in parsed.model_fields_set and not file.is_file():
        return ()
    return read_materials(text_of(file), str(file), [job.name for job in jobs])


def _site(parsed: SiteFile, text: str, faults: list[Fault]) -> Site:
    grasses = _grasses(parsed, text, [])
    surfaces = []
    seen: set[str] = set()
    for number, part in enumerate(parsed.surfaces):
        if part.name in seen:
            _add(faults, text, ("surfaces", number, "name"), f'"{part.name}" is given twice')
        seen.add(part.name)
        grass = _grass(part.grass, grasses, ("surfaces", number, "grass"), text, faults)
        values = part.model_dump(exclude={"grass", "edges"})
        edges = tuple(Edge(name=edge.name, bearing_deg=edge.bearing_deg) for edge in part.edges)
        surfaces.append(Surface(grass=grass, edges=edges, **values))
    return Site(surfaces=tuple(surfaces), **parsed.site.model_dump())


def _grasses(parsed: SiteFile, text: str, faults: list[Fault]) -> dict[str, Grass]:
    grasses = dict(GRASSES)
    for name, part in parsed.grasses.items():
        base = _grass(part.like, dict(GRASSES), ("grasses", name, "like"), text, faults)
        own = {key: value for key, value in part.model_dump(exclude={"like"}).items() if value is not None}
        fields = {key: getattr(base, key) for key in Grass.__dataclass_fields__} | own | {"name": name}
        grasses[name] = Grass(**fields)
    return grasses


def _grass(
    name: str, grasses: dict[str, Grass], path: tuple[str | int, ...], text: str, faults: list[Fault]
) -> Grass:
    if name not in grasses:
        _add(
            faults,
            text,
            path,
            f'there is no grass "{name}".{nearest(name, grasses)} Known: {", ".join(sorted(grasses))}',
        )
        return next(iter(grasses.values()))
    return grasses[name]


def _sowings(
    parsed: SiteFile, site: Site, grasses: dict[str, Grass], text: str, faults: list[Fault]
) -> tuple[Sowing, ...]:
    sowings = []
    for number, part in enumerate(parsed.sown):
        surface = _surface(part.surface, site, ("sown", number, "surface"), text, faults)
        if surface is None:
            continue
        grass = surface.grass
        if part.grass:
            grass = _grass(part.grass, grasses, ("sown", number, "grass"), text, faults)
        sowings.append(
            Sowing(
                surface=surface.name,
                at=_aware(part.at, site),
                grass=grass,
                cover_pct=part.cover_pct,
                tackifier=part.tackifier,
            )
        )
    return tuple(sowings)


def _work(
    key: str, parsed: SiteFile, site: Site, jobs: tuple[Job, ...], text: str, faults: list[Fault]
) -> tuple[WorkDone, ...]:
    kinds = {job.name: job.kind for job in jobs}
    work = []
    for number, part in enumerate(getattr(parsed, key)):
        surface = _surface(part.surface, site, (key, number, "surface"), text, faults)
        if part.job not in kinds:
            _add(
                faults, text, (key, number, "job"), f'there is no job "{part.job}".{nearest(part.job, kinds)}'
            )
        elif surface is not None:
            work.append(
                WorkDone(job=part.job, kind=kinds[part.job], surface=surface.name, at=_aware(part.at, site))
            )
    return tuple(work)


def _surface(
    name: str, site: Site, path: tuple[str | int, ...], text: str, faults: list[Fault]
) -> Surface | None:
    names = [surface.name for surface in site.surfaces]
    if name not in names:
        _add(
            faults,
            text,
            path,
            f'there is no surface "{name}".{nearest(name, names)} Known: {", ".join(names)}',
        )
        return None
    return site.surface(name)


def _check_constants(parsed: SiteFile, text: str, faults: list[Fault]) -> None:
    for name, value in parsed.constants.items():
        if name in SITE_CONSTANTS:
            continue
        try:
            wash_constants({name: value})
        except NotKnown as error:
            known = [*SITE_CONSTANTS, *error.known]
            _add(faults, text, ("constants", name), f"is not a constant of ours.{nearest(name, known)}")


def _check_providers(parsed: SiteFile, text: str, faults: list[Fault]) -> None:
    from planner.forecast import PROVIDERS

    for name in parsed.forecast.providers:
        if name not in PROVIDERS:
            known = ", ".join(PROVIDERS)
            _add(faults, text, ("forecast", "providers"), f'there is no provider "{name}". Known: {known}')


def _aware(moment: datetime, site: Site) -> datetime:
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=site.zone)


def _add(faults: list[Fault], text: str, path: tuple[str | int, ...], says: str) -> None:
    faults.append(Fault(where(path), says, line_of(text, path)))
