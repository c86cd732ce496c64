"""From what a keeper tells to diary entries and back: names and times read, blanks filled in and marked."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import asdict, replace
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from planner.config.load import Config
from planner.diary.spot import weather_at
from planner.diary.told import MaterialTold, Told
from planner.errors import InputError, NotKnown
from planner.record import weather_of
from planner.store.records import Entry, KeptForecast, StoredEntry
from planner.tank import on_label
from planner.when import read_day, read_time

if TYPE_CHECKING:
    from planner.store import Store

#: A clock on a phone may be so far ahead of ours.
_AHEAD = timedelta(minutes=10)
_UNITS = {"mL": ("L", 0.001), "ml": ("L", 0.001), "l": ("L", 1.0), "g": ("kg", 0.001)}
_PLAIN = (
    "water_l",
    "area_m2",
    "target",
    "cover_pct",
    "tackifier",
    "grass",
    "cut_height_mm",
    "leaf_length_mm",
)
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
#: Parts of a document that are filled in by us and may differ when the same work is told again.
_OURS = ("weather", "filled_in")


def plain_text(text: str, what: str) -> str:
    """The text itself; InputError for signs that no store can keep."""
    if "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text):
        raise InputError(f"{what} holds a sign that is none. Leave it out.")
    return text


def _plain(value: Any, what: str) -> None:
    if isinstance(value, str):
        plain_text(value, what)
    elif isinstance(value, Mapping):
        for key, part in value.items():
            _plain(part, plain_text(str(key), what))
    elif isinstance(value, list | tuple):
        for part in value:
            _plain(part, what)


def read_told(fields: Mapping[str, Any]) -> Told:
    """What was told, checked. InputError names every field that does not fit."""
    _plain(fields, "the entry")
    try:
        return Told.model_validate(fields)
    except ValidationError as error:
        rows = []
        for fault in error.errors():
            where = ".".join(str(part) for part in fault["loc"])
            if fault["type"] == "extra_forbidden":
                near = difflib.get_close_matches(where, list(Told.model_fields), n=1)
                rows.append(
                    f"{where} is not a field of a diary entry."
                    + (f' Did you mean "{near[0]}"?' if near else "")
                )
            else:
                rows.append(f"{where}: {fault['msg']} (seen: {str(fault['input'])[:60]})")
        raise InputError("This cannot go into the diary: " + "; ".join(rows)) from error


def past_time(text: str, now: datetime, zone: ZoneInfo) -> datetime:
    """A time as people write it of what they did: a weekday is the last one, `yesterday` is known."""
    words = text.strip().split(None, 1)
    if len(words) == 2 and words[0].lower() == "yesterday":
        day = now.astimezone(zone).date() - timedelta(days=1)
        return read_time(f"{day.isoformat()} {words[1]}", now, zone)
    moment = read_time(text, now, zone)
    if moment > now + _AHEAD and words and words[0][:3].lower() in _WEEKDAYS:
        local = moment.astimezone(zone)
        moment = (local.replace(tzinfo=None) - timedelta(days=7)).replace(tzinfo=zone)
    return moment


def day_start(text: str, now: datetime, zone: ZoneInfo) -> datetime:
    """The first moment of a day as people write it; a weekday is the last one, `yesterday` is known."""
    today = now.astimezone(zone).date()
    if text.strip().lower() == "yesterday":
        day = today - timedelta(days=1)
    else:
        day = read_day(text, now, zone)
        if day > today and text.strip()[:3].lower() in _WEEKDAYS:
            day -= timedelta(days=7)
    return datetime.combine(day, time(0), zone)


def entry_of(told: Told, config: Config, now: datetime) -> Entry:
    """The entry that what was told makes, without weather. InputError or NotKnown for what is wrong."""
    surface = config.site.surface(told.surface)
    kind, usual = _kind(told, config)
    if told.grass and told.grass not in config.grasses:
        raise NotKnown("grass", told.grass, sorted(config.grasses))
    filled: list[str] = []
    started, finished = _times(told, now, config.site.zone, usual, filled)
    area_m2 = told.area_m2 or surface.area_m2
    document: dict[str, Any] = {
        name: value for name in _PLAIN if (value := getattr(told, name)) not in (None, "")
    }
    document["area_m2"] = area_m2
    document["materials"] = [_material(one, area_m2, config, filled) for one in told.materials]
    licence = config.keeper.licence if told.licence is None else told.licence
    if licence:
        document["licence"] = licence
    measured = told.measured.model_dump(exclude_none=True)
    if measured:
        document["measured"] = measured
    if filled:
        document["filled_in"] = filled
    return Entry(
        job=told.job,
        kind=kind,
        surface=surface.name,
        started_at=started,
        finished_at=finished,
        operator=config.keeper.name if told.operator is None else told.operator,
        notes=told.notes,
        document=document,
    )


def _kind(told: Told, config: Config) -> tuple[str, timedelta]:
    for job in config.jobs:
        if job.name == told.job:
            return job.kind, timedelta(hours=job.duration_h)
    names = [job.name for job in config.jobs]
    # Other work is welcome in the diary, but a slip of the pen must not make a job of its own.
    if not told.kind or difflib.get_close_matches(told.job, names, n=1, cutoff=0.8):
        error = NotKnown("job", told.job, names)
        raise InputError(f"{error} For work that no rule knows, give a kind as well, such as coring.")
    return told.kind, timedelta()


def _times(
    told: Told, now: datetime, zone: ZoneInfo, usual: timedelta, filled: list[str]
) -> tuple[datetime, datetime]:
    if told.started:
        started = past_time(told.started, now, zone)
        if told.finished:
            # `08:10` is of the day the work began.
            finished = read_time(told.finished, started, zone)
        else:
            finished = started + usual
            filled.append("finished: the job's usual length")
    else:
        finished = past_time(told.finished, now, zone) if told.finished else now
        started = finished - usual
        filled.append("started: the job's usual length before its end")
        if not told.finished:
            filled.append("finished: when it was written down")
    if started > now + _AHEAD:
        raise InputError(
            f"{started.astimezone(zone):%Y-%m-%d %H:%M} is still to come; the diary holds what was done. Put "
            "work that is planned into the site file, under [[planned]]."
        )
    return started, finished


def _material(told: MaterialTold, area_m2: float, config: Config, filled: list[str]) -> dict[str, Any]:
    known = {stocked.name: stocked for stocked in config.materials}
    stocked = known.get(told.name)
    unit, times = _UNITS.get(told.unit, (told.unit, 1.0))
    amount = None if told.amount is None else told.amount * times
    if stocked is None:
        near = difflib.get_close_matches(told.name, list(known), n=1, cutoff=0.8)
        if near or amount is None or unit not in ("L", "kg"):
            error = NotKnown("material", told.name, list(known))
            raise InputError(
                f"{error} For one that is not in the file give the amount with its unit, L or kg."
            )
        return {"name": told.name, "amount": amount, "unit": unit, "rate_per_ha": amount / area_m2 * 10_000.0}
    own = stocked.material.unit
    if unit and unit != own:
        raise InputError(f"{told.name} is measured in {own}, not in {told.unit}. Correct its amount.")
    if amount is None:
        amount = stocked.material.rate_per_ha * area_m2 / 10_000.0
        filled.append(f"{told.name}: the amount by the file's rate on {area_m2:g} m2")
    label = on_label(stocked)
    return {
        "name": told.name,
        "amount": round(amount, 6),
        "unit": own,
        "rate_per_ha": round(amount / area_m2 * 10_000.0, 4),
        "product": label["product"],
        "registration": label["registration"],
        "needs_licence": label["needs_licence"],
        "reentry_h": label["reentry_h"],
    }


def with_weather(entry: Entry, config: Config, store: Store) -> Entry:
    """The entry with the weather of its hours from the best kept forecast, marked as not measured."""
    told = _stored_weather(entry, config, store)
    return replace(entry, document={**entry.document, "weather": told})


def _stored_weather(entry: Entry, config: Config, store: Store) -> dict[str, Any] | None:
    # The newest forecast knows past hours best; one from the hour itself may be the only one that holds it.
    moments = (None, entry.finished_at + timedelta(days=1), entry.finished_at)
    tried: set[int] = set()
    for at in moments:
        found = [store.last_forecast(name, at) for name in config.forecast.providers]
        kept = sorted((one for one in found if one is not None), key=lambda one: one.fetched_at, reverse=True)
        for one in kept:
            if one.id not in tried and (told := _told(one, entry, config)) is not None:
                return told
            tried.add(one.id)
    return None


def _told(kept: KeptForecast, entry: Entry, config: Config) -> dict[str, Any] | None:
    weather = weather_of(kept)
    if weather is None:
        return None
    told = weather_at(weather, config.site, entry.started_at, entry.finished_at)
    if told is None or told["air_temp_c"] is None:
        return None
    return {**told, "provider": kept.provider, "fetched_at": kept.fetched_at.isoformat()}


def told_of(entry: Entry) -> dict[str, Any]:
    """An entry as it would be told again, for editing."""
    document = entry.document
    fields: dict[str, Any] = {
        "job": entry.job,
        "kind": entry.kind,
        "surface": entry.surface,
        "started": entry.started_at.isoformat(),
        "finished": entry.finished_at.isoformat(),
        "operator": entry.operator,
        "licence": document.get("licence", ""),
        "notes": entry.notes,
        "materials": [
            {"name": row["name"], "amount": row["amount"], "unit": row["unit"]}
            for row in document.get("materials", ())
        ],
        "measured": dict(document.get("measured", {})),
    }
    fields |= {name: document[name] for name in _PLAIN if name in document}
    return fields


def add(
    fields: Mapping[str, Any], config: Config, store: Store, now: datetime, *, key: str | None = None
) -> StoredEntry:
    """Writes what was told into the diary. With a key (a UUID), telling the same again writes nothing."""
    told = read_told(fields)
    entry = entry_of(told, config, now)
    if key is not None:
        before = _known(store, key)
        if before is not None and _same(before.entry, entry, told):
            return before
    return store.add_entry(with_weather(entry, config, store), now, key)


def edit(
    uuid: str,
    fields: Mapping[str, Any],
    config: Config,
    store: Store,
    now: datetime,
    *,
    reason: str = "",
    key: str | None = None,
    whole: bool = False,
) -> StoredEntry:
    """Writes a new revision. Only the fields given change, unless `whole` says that they are all there is."""
    before = store.history(uuid)[-1]
    told = read_told(fields if whole else {**told_of(before.entry), **fields})
    entry = entry_of(told, config, now)
    if (
        not before.withdrawn
        and before.revision > 1
        and before.reason == reason
        and _same(before.entry, entry, told)
    ):
        # Told again: a repeat after a lost answer, or nothing that is new.
        return before
    entry = _still_filled_in(entry, before.entry, fields, whole)
    return store.edit_entry(uuid, with_weather(entry, config, store), now, reason=reason, key=key)


def _still_filled_in(entry: Entry, before: Entry, fields: Mapping[str, Any], whole: bool) -> Entry:
    """The entry with the marks of what was filled in earlier and not told since."""
    if whole:
        return entry
    retold = {"started", "finished"} & set(fields)
    kept = []
    for mark in before.document.get("filled_in") or ():
        is_time = mark.split(":")[0] in ("started", "finished")
        if not (retold if is_time else "materials" in fields):
            kept.append(mark)
    marks = list(dict.fromkeys([*kept, *(entry.document.get("filled_in") or ())]))
    return replace(entry, document={**entry.document, "filled_in": marks} if marks else entry.document)


def _known(store: Store, uuid: str) -> StoredEntry | None:
    try:
        return store.history(uuid)[0]
    except NotKnown:
        return None


def _same(before: Entry, entry: Entry, told: Told) -> bool:
    """Whether two entries tell the same; filled-in times and the forecast's weather do not count."""
    left, right = _bare(before), _bare(entry)
    if not (told.started and told.finished):
        for side in (left, right):
            side.pop("started_at"), side.pop("finished_at")
    return left == right


def _bare(entry: Entry) -> dict[str, Any]:
    plain = asdict(entry)
    plain["document"] = {key: value for key, value in entry.document.items() if key not in _OURS}
    return plain
