"""Everything on record in one book: what the site file names and what the diary holds, in order of time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from planner.diary.entry import COUNTS_AS_NOTHING, Entry, EntryDocument, MaterialRow
from planner.diary.observations import Observation, in_order
from planner.mix.kit import Stocked
from planner.site import Grass, Site, Sowing, WorkDone

#: A material's own name for the season's seed is not asked for: any work of this kind sows.
SEEDING = "seeding"


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """A material put out. The amount is in its unit over the whole surface; None when not written down."""

    name: str
    amount: float | None
    unit: str
    stocked: Stocked | None
    """None when the materials file does not know it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One piece of work on record."""

    uuid: str | None
    """None when it stands in the site file."""
    job: str
    kind: str
    surface: str
    started_at: datetime
    finished_at: datetime
    used: tuple[Used, ...] = ()
    document: EntryDocument = field(default_factory=EntryDocument)

    @property
    def counted(self) -> str:
        """The job of the rules whose intervals it counts for; its own where it is one of them."""
        return self.document.get("counts_as") or self.job

    def figure(self, name: str) -> float | None:
        """A number of the entry; None when it is not there."""
        value = self.document.get(name)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """All work on record, the earliest finished first, the sowings that follow from it, and the readings."""

    works: tuple[Work, ...] = ()
    sowings: tuple[Sowing, ...] = ()
    materials: tuple[Stocked, ...] = ()
    observations: tuple[Observation, ...] = ()
    """The earliest first."""

    def on(self, surface: str) -> tuple[Work, ...]:
        """Work on one surface."""
        return tuple(work for work in self.works if work.surface == surface)

    @property
    def done(self) -> tuple[WorkDone, ...]:
        """The work as gaps between jobs need it."""
        return tuple(
            WorkDone(job=work.counted, kind=work.kind, surface=work.surface, at=work.finished_at)
            for work in self.works
            if work.counted != COUNTS_AS_NOTHING
        )

    def materials_of(self, work: Work) -> tuple[Stocked, ...]:
        """What was put out; the job's first material in the file when none was written down."""
        named = tuple(used.stocked for used in work.used if used.stocked is not None)
        if named or work.used:
            return named
        return tuple(stocked for stocked in self.materials if work.job in stocked.jobs)[:1]


def book_of(
    *,
    site: Site,
    grasses: Mapping[str, Grass],
    materials: tuple[Stocked, ...] = (),
    entries: Iterable[tuple[str, Entry]] = (),
    done: Iterable[WorkDone] = (),
    sowings: Iterable[Sowing] = (),
    observations: Iterable[Observation] = (),
) -> Book:
    """The book of diary entries (uuid and entry) and of what the site file names.

    Entries and readings of surfaces the site no longer has are left out. A sowing takes the newest cover and tackifier
    written down for its surface since, so that a net put on later counts.
    """
    by_name = {stocked.name: stocked for stocked in materials}
    surfaces = {surface.name: surface for surface in site.surfaces}
    works = [_of_site_file(work, {}) for work in done]
    sown = list(sowings)
    works += [
        _of_site_file(
            WorkDone(job="oversowing", kind=SEEDING, surface=one.surface, at=one.at),
            {"cover_pct": one.cover_pct, "tackifier": one.tackifier},
        )
        for one in sown
    ]
    for uuid, entry in entries:
        if entry.surface not in surfaces:
            continue
        works.append(
            Work(
                uuid=uuid,
                job=entry.job,
                kind=entry.kind,
                surface=entry.surface,
                started_at=entry.started_at,
                finished_at=entry.finished_at,
                used=tuple(_used(row, by_name) for row in entry.document.get("materials") or ()),
                document=entry.document,
            )
        )
        if entry.kind == SEEDING:
            named = str(entry.document.get("grass") or "")
            sown.append(
                Sowing(
                    surface=entry.surface,
                    at=entry.started_at,
                    grass=grasses.get(named, surfaces[entry.surface].grass),
                )
            )
    works.sort(key=lambda work: work.finished_at)
    covered = tuple(_covered(one, works) for one in sorted(sown, key=lambda one: one.at))
    return Book(
        works=tuple(works),
        sowings=covered,
        materials=materials,
        observations=in_order(one for one in observations if one.surface in ("", *surfaces)),
    )


def _of_site_file(work: WorkDone, document: EntryDocument) -> Work:
    return Work(
        uuid=None,
        job=work.job,
        kind=work.kind,
        surface=work.surface,
        started_at=work.at,
        finished_at=work.at,
        document=document,
    )


def _used(row: MaterialRow, by_name: Mapping[str, Stocked]) -> Used:
    name, amount = str(row.get("name", "")), row.get("amount")
    stocked = by_name.get(name)
    return Used(
        name=name,
        amount=float(amount) if isinstance(amount, int | float) else None,
        unit=str(row.get("unit") or (stocked.material.unit if stocked else "")),
        stocked=stocked,
    )


def _covered(sowing: Sowing, works: Iterable[Work]) -> Sowing:
    cover, tackifier = sowing.cover_pct, sowing.tackifier
    for work in works:
        if work.surface != sowing.surface or work.started_at < sowing.at:
            continue
        cover_pct = work.figure("cover_pct")
        cover = cover if cover_pct is None else min(max(cover_pct, 0.0), 100.0)
        if isinstance(work.document.get("tackifier"), bool):
            tackifier = bool(work.document["tackifier"])
    return replace(sowing, cover_pct=cover, tackifier=tackifier)
