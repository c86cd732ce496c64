"""From what a keeper tells to diary entries and back: names read, blanks filled in and marked."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import asdict, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, cast
from zoneinfo import ZoneInfo

from planner.actions.mix_plan import label_of
from planner.actions.pass_input import weather_of
from planner.actions.told import AHEAD, past_time, read_as
from planner.config.faults import unknown
from planner.config.load import Config
from planner.diary.entry import (
    COUNTS_AS_NOTHING,
    OTHER_KIND,
    DiaryInput,
    Entry,
    EntryDocument,
    ForecastFigures,
    MaterialInput,
    MaterialRow,
    StoredEntry,
    WeatherFigures,
)
from planner.diary.observations import ON_THE_SPOT, in_order
from planner.diary.showing import weather_at
from planner.errors import Contradiction, NotCounted, NotKnown, NotThere, Overtaken
from planner.reports.sentences import read_time
from planner.store.forecasts import KeptForecast
from planner.store.records import key_of
from planner.terms import in_utc

if TYPE_CHECKING:
    from planner.store.store import Store

_UNITS = {"mL": ("L", 0.001), "ml": ("L", 0.001), "l": ("L", 1.0), "g": ("kg", 0.001)}
_PLAIN = (
    "water_l",
    "water_mm",
    "area_m2",
    "target",
    "cover_pct",
    "tackifier",
    "grass",
    "cut_height_mm",
    "leaf_length_mm",
    "outcome",
    "outcome_note",
)
#: Parts of a document that are filled in by us and may differ when the same work is sent again.
_OURS = ("weather", "filled_in")
_MEASURED_MARK = "measured:"


def entry_of(work: DiaryInput, config: Config, now: datetime) -> Entry:
    """The entry that the input makes, without weather. InputError or NotKnown for what is wrong."""
    surface = config.site.surface(work.surface)
    kind, counts_as, usual = _kind(work, config)
    if work.grass and work.grass not in config.grasses:
        raise NotKnown("grass", work.grass, sorted(config.grasses))
    filled: list[str] = []
    started, finished = _times(work, now, config.site.zone, usual, filled)
    area_m2 = work.area_m2 or surface.area_m2
    plain = {name: value for name in _PLAIN if (value := getattr(work, name)) not in (None, "")}
    document = cast("EntryDocument", plain)
    if counts_as:
        document["counts_as"] = counts_as
    document["area_m2"] = area_m2
    document["materials"] = [_material(one, area_m2, config, filled) for one in work.materials]
    licence = config.keeper.licence if work.licence is None else work.licence
    if licence:
        document["licence"] = licence
    measured = work.measured.model_dump(exclude_none=True)
    if measured:
        document["measured"] = cast("WeatherFigures", measured)
    if filled:
        document["filled_in"] = filled
    return Entry(
        job=work.job,
        kind=kind,
        surface=surface.name,
        started_at=started,
        finished_at=finished,
        operator=config.keeper.name if work.operator is None else work.operator,
        notes=work.notes,
        document=document,
    )


def _kind(work: DiaryInput, config: Config) -> tuple[str, str, timedelta]:
    """The kind, the job whose intervals it counts for (empty for a job of the rules), and its usual length."""
    for job in config.jobs:
        if job.name == work.job:
            return job.kind, "", timedelta(hours=job.duration_h)
    names = [job.name for job in config.jobs]
    # Other work is welcome in the diary, but a slip of the pen must not make a job of its own.
    if not work.kind or difflib.get_close_matches(work.job, names, n=1, cutoff=0.8):
        raise NotThere(
            f"{NotKnown('job', work.job, names)} For work that no rule knows, say its kind, and the job whose "
            "intervals it counts for."
        )
    kinds = sorted({job.kind for job in config.jobs} | {OTHER_KIND})
    if work.kind not in kinds:
        raise NotCounted(f"No gap would count it: {unknown('kind', work.kind, kinds)}")
    if work.counts_as not in (*names, COUNTS_AS_NOTHING):
        says = unknown("job", work.counts_as, (*names, COUNTS_AS_NOTHING))
        raise NotCounted(
            f"The rules have no job {work.job}, so say which of theirs its intervals count as (counts_as), or "
            f"{COUNTS_AS_NOTHING}: {says}"
        )
    return work.kind, work.counts_as, timedelta()


def _times(
    work: DiaryInput, now: datetime, zone: ZoneInfo, usual: timedelta, filled: list[str]
) -> tuple[datetime, datetime]:
    if work.started:
        started = past_time(work.started, now, zone)
        if work.finished:
            # `08:10` is of the day the work began.
            spoken = work.finished.split()[:1] == ["yesterday"]
            finished = (
                past_time(work.finished, now, zone) if spoken else read_time(work.finished, started, zone)
            )
        else:
            finished = started + usual
            filled.append("finished: the job's usual length")
    else:
        finished = past_time(work.finished, now, zone) if work.finished else now
        started = finished - usual
        filled.append("started: the job's usual length before its end")
        if not work.finished:
            filled.append("finished: when it was written down")
    if started > now + AHEAD:
        raise Contradiction(
            f"{started.astimezone(zone):%Y-%m-%d %H:%M} is still to come; the diary holds what was done. Put "
            "work that is planned into the site file, under [[planned]]."
        )
    return started, finished


def _material(put: MaterialInput, area_m2: float, config: Config, filled: list[str]) -> MaterialRow:
    known = {stocked.name: stocked for stocked in config.materials}
    stocked = known.get(put.name)
    unit, times = _UNITS.get(put.unit, (put.unit, 1.0))
    amount = None if put.amount is None else put.amount * times
    if stocked is None:
        near = difflib.get_close_matches(put.name, list(known), n=1, cutoff=0.8)
        if near or amount is None or unit not in ("L", "kg"):
            error = NotKnown("material", put.name, list(known))
            raise NotThere(f"{error} For one that is not in the file give the amount with its unit, L or kg.")
        return {"name": put.name, "amount": amount, "unit": unit, "rate_per_ha": amount / area_m2 * 10_000.0}
    own = stocked.material.unit
    if unit and unit != own:
        raise Contradiction(f"{put.name} is measured in {own}, not in {put.unit}. Correct its amount.")
    if amount is None:
        amount = stocked.material.rate_per_ha * area_m2 / 10_000.0
        filled.append(f"{put.name}: the amount by the file's rate on {area_m2:g} m²")
    label = label_of(stocked)
    return {
        "name": put.name,
        "amount": round(amount, 6),
        "unit": own,
        "rate_per_ha": round(amount / area_m2 * 10_000.0, 4),
        "product": label.product,
        "registration": label.registration,
        "needs_licence": label.needs_licence,
        "reentry_h": label.reentry_h,
    }


def with_weather(entry: Entry, config: Config, store: Store, before: Entry | None = None) -> Entry:
    """The entry with the weather of its hours from the best kept forecast, marked as not measured.

    Where none holds them any more, what the entry said `before` of the same hours stays.
    """
    weather = _stored_weather(entry, config, store)
    if weather is None and before is not None:
        same = (before.started_at, before.finished_at) == (entry.started_at, entry.finished_at)
        weather = before.document.get("weather") if same else None
    return replace(entry, document={**entry.document, "weather": weather})


def _stored_weather(entry: Entry, config: Config, store: Store) -> ForecastFigures | None:
    # The newest forecast knows past hours best; one from the hour itself may be the only one that holds it.
    moments = (None, entry.finished_at + timedelta(days=1), entry.finished_at)
    tried: set[int] = set()
    for at in moments:
        found = [store.last_forecast(name, at) for name in config.forecast.providers]
        kept = sorted((one for one in found if one is not None), key=lambda one: one.fetched_at, reverse=True)
        for one in kept:
            if one.id not in tried and (figures := _forecast_figures(one, entry, config)) is not None:
                return figures
            tried.add(one.id)
    return None


def _forecast_figures(kept: KeptForecast, entry: Entry, config: Config) -> ForecastFigures | None:
    weather = weather_of(kept)
    if weather is None:
        return None
    figures = weather_at(weather, config.site, entry.started_at, entry.finished_at)
    if figures is None or figures["air_temp_c"] is None:
        return None
    return {**figures, "provider": kept.provider, "fetched_at": in_utc(kept.fetched_at)}


#: A reading on the spot is weather of work that began within this time after it.
_STILL_MEASURED = timedelta(hours=2)


def with_measured(entry: Entry, config: Config, store: Store) -> Entry:
    """The entry with the newest reading on the spot as its measured weather, marked, where the keeper wrote none."""
    if entry.document.get("measured"):
        return entry
    since = entry.started_at - _STILL_MEASURED
    kept = [one.observation for one in store.observations(since)]
    told = [
        one
        for one in in_order((*config.readings, *kept))
        if since <= one.at <= entry.finished_at
        and one.surface in ("", entry.surface)
        and set(ON_THE_SPOT) & set(one.figures)
    ]
    if not told:
        return entry
    newest = told[-1]
    figures = {name: newest.figures[name] for name in ON_THE_SPOT if name in newest.figures}
    mark = f"{_MEASURED_MARK} the reading of {newest.at.astimezone(config.site.zone):%H:%M}"
    filled = [*(entry.document.get("filled_in") or ()), mark]
    measured = cast("WeatherFigures", figures)
    return replace(entry, document={**entry.document, "measured": measured, "filled_in": filled})


def input_of(entry: Entry) -> dict[str, object]:
    """An entry as the input that would make it, for editing."""
    document = entry.document
    fields: dict[str, object] = {
        "job": entry.job,
        "kind": entry.kind,
        "surface": entry.surface,
        "started": entry.started_at.isoformat(),
        "finished": entry.finished_at.isoformat(),
        "operator": entry.operator,
        "licence": document.get("licence", ""),
        "notes": entry.notes,
        "counts_as": document.get("counts_as", ""),
        "materials": [
            {"name": row["name"], "amount": row["amount"], "unit": row["unit"]}
            for row in document.get("materials", ())
        ],
        "measured": dict(document.get("measured", {})),
    }
    fields |= {name: value for name, value in document.items() if name in _PLAIN}
    return fields


#: How often a change is made anew on top of another that came in between.
_MOST_OVERTAKEN = 20


def add(
    fields: Mapping[str, object], config: Config, store: Store, now: datetime, *, key: str | None = None
) -> StoredEntry:
    """Writes work into the diary. With a key (a UUID), sending the same again writes nothing."""
    work = read_as(DiaryInput, fields, "a diary entry")
    entry = entry_of(work, config, now)
    if key is not None:
        before = _known(store, key)
        if before is not None and _same(before.entry, entry, work):
            return before
    entry = with_measured(entry, config, store)
    return store.add_entry(with_weather(entry, config, store), now, key)


def edit(
    uuid: str,
    fields: Mapping[str, object],
    config: Config,
    store: Store,
    now: datetime,
    *,
    reason: str = "",
    key: str | None = None,
    whole: bool = False,
    of_revision: int | None = None,
) -> StoredEntry:
    """Writes a new revision. Only the fields sent change, unless `whole` says that they are all there is.

    `of_revision` is the one the change is meant for; Overtaken where it is not the newest. Without it, a change
    that comes in between is kept: this one is made anew on top of it.
    """
    if key is not None:
        # Refused whether or not there is something to change.
        key = key_of(key)
    for _ in range(_MOST_OVERTAKEN):
        try:
            return _edit(uuid, fields, config, store, now, reason, key, whole, of_revision)
        except Overtaken:
            if of_revision is not None:
                raise
    return _edit(uuid, fields, config, store, now, reason, key, whole, of_revision)


def _edit(
    uuid: str,
    fields: Mapping[str, object],
    config: Config,
    store: Store,
    now: datetime,
    reason: str,
    key: str | None,
    whole: bool,
    of_revision: int | None,
) -> StoredEntry:
    before = store.history(uuid)[-1]
    work = read_as(DiaryInput, fields if whole else {**input_of(before.entry), **fields}, "a diary entry")
    entry = entry_of(work, config, now)
    if (
        not before.withdrawn
        and before.revision > 1
        and before.reason == reason
        and _same(before.entry, entry, work)
    ):
        # Sent again: a repeat after a lost answer, or nothing that is new.
        return before
    entry = with_measured(_still_filled_in(entry, before.entry, fields, whole), config, store)
    entry = with_weather(entry, config, store, before.entry)
    made_of = before.revision if of_revision is None else of_revision
    return store.edit_entry(uuid, entry, now, reason=reason, key=key, of_revision=made_of)


def _still_filled_in(entry: Entry, before: Entry, fields: Mapping[str, object], whole: bool) -> Entry:
    """The entry with the marks of what was filled in earlier and not sent since."""
    if whole:
        return entry
    sent_times = {"started", "finished"} & set(fields)
    kept = []
    for mark in before.document.get("filled_in") or ():
        name = mark.split(":")[0]
        if name in ("started", "finished"):
            sent_since = bool(sent_times)
        else:
            sent_since = ("measured" if name == "measured" else "materials") in fields
        if not sent_since:
            kept.append(mark)
    marks = list(dict.fromkeys([*kept, *(entry.document.get("filled_in") or ())]))
    return replace(entry, document={**entry.document, "filled_in": marks} if marks else entry.document)


def _known(store: Store, uuid: str) -> StoredEntry | None:
    try:
        return store.history(uuid)[0]
    except NotKnown:
        return None


def _same(before: Entry, entry: Entry, work: DiaryInput) -> bool:
    """Whether two entries say the same; filled-in times and the forecast's weather do not count."""
    left, right = _bare(before), _bare(entry)
    if not (work.started or work.finished):
        # Both are the moment of writing. One alone tells the other, by the job's usual length.
        for side in (left, right):
            side.pop("started_at"), side.pop("finished_at")
    if any(mark.startswith(_MEASURED_MARK) for mark in before.document.get("filled_in") or ()):
        # Filled in by us: sent again without it, or with it unchanged, the work is the same.
        theirs = right["document"].pop("measured", None)
        if theirs in (None, left["document"].get("measured")):
            left["document"].pop("measured", None)
    return left == right


def _bare(entry: Entry) -> dict[str, Any]:
    plain = asdict(entry)
    plain["document"] = {key: value for key, value in entry.document.items() if key not in _OURS}
    return plain
