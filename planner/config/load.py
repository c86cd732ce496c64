"""From files to domain objects, again whenever a file has changed; schemas of the files, for editors."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from planner.config import kit_schema
from planner.config.faults import FaultList, raise_all, rows, table, word
from planner.config.labels import with_labels
from planner.config.light import beside, text_of
from planner.config.lines import read_toml
from planner.config.materials_schema import MaterialsFile
from planner.config.names import Names, check_names, names_of, surface_kinds
from planner.config.rules_file import Rules, RulesFile, Written
from planner.config.schema import (
    ForecastPart,
    GrassPart,
    ReadingPart,
    ServicePart,
    SiteFile,
    SownPart,
    StorePart,
    SurfacePart,
    WarningsPart,
    WorkPart,
)
from planner.diary.due import Wanted
from planner.diary.observations import Observation, figures_of
from planner.errors import ConfigError, InputError, NotKnown
from planner.indices.grasses import GRASSES
from planner.mix.kit import Sprayer, Spreader, Stocked
from planner.planning.apart import Away
from planner.planning.shared import Shared
from planner.rules.gap import UNITS_H, Gap
from planner.rules.job import AnyNeed, Job
from planner.site import Edge, Grass, Site, Sowing, Surface, WorkDone
from planner.terms import PLAY, PLAY_NEARBY


@dataclass(frozen=True, slots=True, kw_only=True)
class Config:
    """Everything a pass needs to know that is not weather or time."""

    file: Path
    site: Site
    jobs: tuple[Job, ...]
    keeper_jobs: tuple[str, ...]
    """Jobs this keeper does; empty for all of them."""
    sowings: tuple[Sowing, ...]
    done: tuple[WorkDone, ...]
    planned: tuple[WorkDone, ...]
    readings: tuple[Observation, ...]
    forecast: ForecastPart
    store: StorePart
    service: ServicePart
    warnings: WarningsPart
    constants: Mapping[str, float]
    materials: tuple[Stocked, ...] = ()
    sprayers: tuple[Sprayer, ...] = ()
    shared: Shared | None = None
    """The keeper or the sprayer, where other sites of the store have them too."""
    spreaders: tuple[Spreader, ...] = ()
    keeper: kit_schema.KeeperPart = kit_schema.KeeperPart()
    outputs: tuple[kit_schema.OutputPart, ...] = ()
    quiet_hours: kit_schema.QuietPart | None = None
    morning: kit_schema.MorningPart | None = None
    home: kit_schema.HomePart | None = None
    growth: Mapping[str, kit_schema.GrowthPart] = field(default_factory=dict)
    wanted: tuple[Wanted, ...] = ()
    week: kit_schema.WeekPart = kit_schema.WeekPart()
    hours: kit_schema.HoursPart | None = None
    away: tuple[Away, ...] = ()
    grasses: Mapping[str, Grass] = field(default_factory=lambda: dict(GRASSES))

    @property
    def shared_sprayer(self) -> Shared | None:
        """What is shared, where it is the sprayer."""
        return None if self.shared is None or self.shared.is_keeper else self.shared

    def material(self, name: str) -> Stocked:
        """The material of that name; NotKnown lists the others."""
        for stocked in self.materials:
            if stocked.name == name:
                return stocked
        raise NotKnown("material", name, [stocked.name for stocked in self.materials])

    def job(self, name: str) -> Job:
        """The job of that name; NotKnown lists the others."""
        for job in self.jobs:
            if job.name == name:
                return job
        raise NotKnown("job", name, [job.name for job in self.jobs])


def load(path: Path) -> Config:
    """The config of a site file and of the rules and materials files it names.

    ConfigError carries every fault of these files, a list for each. Only a file that is no TOML hides what else
    is wrong with it, and a rules file that is none hides what is wrong with the jobs.
    """
    text = text_of(path)
    values = read_toml(text, str(path))
    faults = FaultList(str(path), text)
    read = [_read("rules", name, path, faults) for name in rules_files(values)]
    rules = [Written(found, own) for own, found in read if own is not None and found is not None]
    whole = bool(read) and len(rules) == len(read)
    materials_faults, materials_values = _materials_beside(values, path, faults)
    names = tuple(name for one in rules for name in table(one.values, "jobs")) if whole else None
    stock = None if materials_values is None else _names_in(materials_values)
    parsed = faults.checked(SiteFile, values, names=names_of(values, names, stock))
    jobs: tuple[Job, ...] = ()
    if whole:
        jobs = Rules(rules, _changes(values), faults, surface_kinds(values)).jobs()
    check_names(values, faults, WarningsPart().model_dump())
    materials: MaterialsFile | None = MaterialsFile()
    if materials_faults is not None and materials_values is not None:
        materials = materials_faults.checked(
            MaterialsFile, materials_values, names=Names(jobs=names, materials=stock)
        )
        named = [
            (number, name)
            for number, row in rows(materials_values, "materials")
            if (name := word(row, "name"))
        ]
        materials_faults.named_once("materials", named)
    raise_all(one for one in (faults, *(own for own, _ in read), materials_faults) if one is not None)
    assert parsed is not None
    assert materials is not None
    return _config(parsed, path, jobs, tuple(part.made() for part in materials.materials))


def rules_files(values: Mapping[str, object]) -> list[str]:
    """The names of the rules files that a site file has, whatever else is wrong with it; none where they are
    written as something else."""
    named = values.get("rules", SiteFile.model_fields["rules"].default)
    if isinstance(named, str):
        return [named]
    names = list(named) if isinstance(named, list | tuple) else []
    return names if all(isinstance(name, str) for name in names) else []


def _materials_beside(
    values: dict[str, object], path: Path, faults: FaultList
) -> tuple[FaultList | None, dict[str, object] | None]:
    """The materials file that the site file names, with a list of its own; None where there is none to read."""
    named = values.get("materials", SiteFile.model_fields["materials"].default)
    # A site without a materials file has none; one that names a file must have it.
    is_there = isinstance(named, str) and ("materials" in values or (path.parent / named).is_file())
    return _read("materials", named, path, faults) if isinstance(named, str) and is_there else (None, None)


def _read(
    key: str, named: str, path: Path, faults: FaultList
) -> tuple[FaultList | None, dict[str, object] | None]:
    """A file beside the site file with a list of its own; no values, and the faults, where it cannot be read."""
    file = path.parent / named
    try:
        text = text_of(file)
    except InputError as error:
        faults.add((key,), str(error))
        return None, None
    own = FaultList(str(file), text)
    try:
        return own, read_toml(text, str(file))
    except ConfigError as error:
        own.faults += error.faults
        return own, None


def _names_in(materials: dict[str, object]) -> tuple[str, ...]:
    return tuple(name for _, row in rows(materials, "materials") if (name := word(row, "name")))


def _changes(values: dict[str, object]) -> dict[str, object]:
    return {name: change for name, change in table(values, "jobs").items() if isinstance(change, dict)}


def _config(parsed: SiteFile, path: Path, jobs: tuple[Job, ...], materials: tuple[Stocked, ...]) -> Config:
    """The domain objects of files without a fault."""
    grasses = dict(GRASSES) | {name: _grass(name, part) for name, part in parsed.grasses.items()}
    site = Site(
        surfaces=tuple(_surface(part, grasses) for part in parsed.surfaces),
        **parsed.site.model_dump(exclude={"jobs"}),
    )
    jobs = _where_wanted(jobs, parsed.wanted)
    wanted = _wanted(parsed.wanted, site, jobs)
    jobs = tuple(_within_hours(job, parsed.hours) for job in jobs if not job.off)
    jobs = with_labels(jobs, wanted, materials, site)
    return Config(
        file=path,
        site=site,
        jobs=jobs,
        keeper_jobs=parsed.site.jobs,
        sowings=tuple(_sowing(part, site, grasses) for part in parsed.sown),
        done=_work(parsed.done, site, jobs),
        planned=(*_work(parsed.planned, site, jobs), *_play(parsed.play, site)),
        hours=parsed.hours,
        readings=tuple(_reading(part, site) for part in parsed.readings),
        forecast=parsed.forecast,
        store=parsed.store.model_copy(update={"url": beside(parsed.store.url, path)}),
        service=parsed.service,
        warnings=parsed.warnings,
        constants=parsed.constants,
        materials=materials,
        sprayers=tuple(part.made() for part in parsed.sprayer),
        shared=parsed.keeper.in_common() or next((part.in_common() for part in parsed.sprayer), None),
        spreaders=tuple(Spreader(**part.model_dump()) for part in parsed.spreader),
        keeper=parsed.keeper,
        outputs=parsed.outputs,
        quiet_hours=parsed.quiet_hours,
        morning=parsed.morning,
        home=parsed.home,
        growth=parsed.growth,
        wanted=wanted,
        week=parsed.week,
        away=tuple(Away(start=_aware(a.start, site), end=_aware(a.end, site)) for a in parsed.away),
        grasses=grasses,
    )


def _surface(part: SurfacePart, grasses: Mapping[str, Grass]) -> Surface:
    edges = tuple(Edge(**edge.model_dump()) for edge in part.edges)
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


def _within_hours(job: Job, hours: kit_schema.HoursPart | None) -> Job:
    """The job, held inside the keeper's hours."""
    return job if hours is None else job.model_copy(update={"needs": (*job.needs, hours.need())})


def _play(parts: tuple[kit_schema.PlayPart, ...], site: Site) -> tuple[WorkDone, ...]:
    """Play days as work that stands planned, so that gaps count back from them; people walk close by, too."""
    return tuple(
        WorkDone(job=kind, kind=kind, surface=surface.name, at=_aware(part.at, site))
        for part in parts
        for surface in site.surfaces
        for kind in [PLAY if part.surface in ("", surface.name) else PLAY_NEARBY]
    )


def _reading(part: ReadingPart, site: Site) -> Observation:
    return Observation(
        at=_aware(part.at, site), figures=figures_of(part), surface=part.surface, note=part.note
    )


def _work(parts: tuple[WorkPart, ...], site: Site, jobs: tuple[Job, ...]) -> tuple[WorkDone, ...]:
    kinds = {job.name: job.kind for job in jobs}
    return tuple(
        WorkDone(job=part.job, kind=kinds[part.job], surface=part.surface, at=_aware(part.at, site))
        for part in parts
    )


def _where_wanted(jobs: tuple[Job, ...], parts: tuple[kit_schema.WantedPart, ...]) -> tuple[Job, ...]:
    """The jobs, each also on the surfaces that the keeper wants it on."""
    also = {
        job.name: tuple(part.surface for part in parts if part.job == job.name and part.surface)
        for job in jobs
    }
    return tuple(job.model_copy(update={"surfaces": (*job.surfaces, *also[job.name])}) for job in jobs)


def _again_after(job: Job) -> timedelta:
    """How long the job keeps off work of its own sort, at its better figure; two weeks where it tells none."""
    # Sprays of one kind are told apart by name: a day between any two of them is no interval of a feed.
    own = {job.name} | ({job.kind} - {"spraying"})
    kept = [
        (need.best_from or need.hard_min or 0.0) * UNITS_H[need.unit]
        for need in job.needs
        if isinstance(need, Gap) and need.direction == "since" and own & set(need.other)
    ]
    return timedelta(hours=max(kept, default=14 * 24.0))


def _wanted(
    parts: tuple[kit_schema.WantedPart, ...], site: Site, jobs: tuple[Job, ...]
) -> tuple[Wanted, ...]:
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
                by=None if part.by is None else _aware(part.by, site),
                every_days=7.0 / part.times_a_week if part.times_a_week else part.every_days,
                every_degree_days=part.every_degree_days,
                not_before=None if part.not_before is None else _aware(part.not_before, site),
                material=part.material,
                again_after=_again_after(job),
            )
            for surface in surfaces
        ]
    return tuple(wanted)


def _aware(moment: datetime, site: Site) -> datetime:
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=site.zone)


def site() -> dict[str, Any]:
    """Schema of a site file."""
    return SiteFile.model_json_schema()


def rules() -> dict[str, Any]:
    """Schema of a rules file. Needs of a job may be partial only where they replace one of a group."""
    schema = RulesFile.model_json_schema()
    needs = TypeAdapter(AnyNeed).json_schema(ref_template="#/$defs/{model}")
    schema["$defs"] |= needs.pop("$defs", {})
    schema["$defs"]["Need"] = {"anyOf": needs.get("oneOf") or needs.get("anyOf") or [needs]}
    for name in ("Group", "JobTable"):
        schema["$defs"][name]["properties"]["needs"]["items"] = {"$ref": "#/$defs/Need"}
    return schema


def materials() -> dict[str, Any]:
    """Schema of a materials file."""
    return MaterialsFile.model_json_schema()


#: File beside the config -> its schema.
SCHEMAS: Mapping[str, Callable[[], dict[str, Any]]] = {
    "haysel.schema.json": site,
    "rules.schema.json": rules,
    "materials.schema.json": materials,
}
