"""What a keeper tells, read: fields held against their form, and times as people write them of what they did."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from datetime import datetime, time, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError

from planner.errors import Contradiction, InputError
from planner.reports.sentences import read_day, read_time
from planner.terms import LONGEST_REASON, WEEKDAYS

#: A clock on a phone may be so far ahead of ours.
AHEAD = timedelta(minutes=10)

Form = TypeVar("Form", bound=BaseModel)


def plain_text(text: str, what: str) -> str:
    """The text itself; InputError for signs that no store can keep."""
    if "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text):
        raise InputError(f"{what} holds a sign that is none. Leave it out.")
    return text


def reason_of(text: str) -> str:
    """Why something is changed or withdrawn, as it may be kept; InputError for what may not."""
    if len(text) > LONGEST_REASON:
        raise InputError(f"The reason has {len(text)} signs; {LONGEST_REASON} are kept. Say it shorter.")
    return plain_text(text, "the reason")


def _plain(value: object, what: str) -> None:
    if isinstance(value, str):
        plain_text(value, what)
    elif isinstance(value, Mapping):
        for key, part in value.items():
            _plain(part, plain_text(str(key), what))
    elif isinstance(value, list | tuple):
        for part in value:
            _plain(part, what)


def read_as(form: type[Form], fields: Mapping[str, object], what: str) -> Form:
    """The fields as that form has them. `what` is what they make, such as "a diary entry".

    InputError names every field that does not fit; Contradiction where each fits and they do not go together.
    """
    _plain(fields, what)
    try:
        return form.model_validate(fields)
    except ValidationError as error:
        rows = []
        for fault in error.errors():
            where = ".".join(str(part) for part in fault["loc"])
            if fault["type"] == "extra_forbidden":
                near = difflib.get_close_matches(where, list(form.model_fields), n=1)
                rows.append(
                    f"{where} is not a field of {what}." + (f' Did you mean "{near[0]}"?' if near else "")
                )
            elif fault["type"] == "value_error":
                rows.append(str(fault["ctx"]["error"]))
            else:
                rows.append(f"{where}: {fault['msg']} (seen: {str(fault['input'])[:60]})")
        each_fits = all(fault["type"] == "value_error" for fault in error.errors())
        says = f"This cannot be {what}: " + "; ".join(rows)
        raise (Contradiction if each_fits else InputError)(says) from error


def past_time(text: str, now: datetime, zone: ZoneInfo) -> datetime:
    """A time as people write it of what they did: a weekday is the last one, `yesterday` is known."""
    words = text.strip().split(None, 1)
    if len(words) == 2 and words[0].lower() == "yesterday":
        day = now.astimezone(zone).date() - timedelta(days=1)
        return read_time(f"{day.isoformat()} {words[1]}", now, zone)
    moment = read_time(text, now, zone)
    if moment > now + AHEAD and words and words[0][:3].lower() in WEEKDAYS:
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
        if day > today and text.strip()[:3].lower() in WEEKDAYS:
            day -= timedelta(days=7)
    return datetime.combine(day, time(0), zone)
