"""From warnings to people: states to and from the store, messages to the outbox, outputs from the config."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Any

import msgspec

from planner.config.load import Config
from planner.errors import PlannerError
from planner.outputs import Message, Output, make_output
from planner.outputs.base import Delivery, Quiet, deliver
from planner.reports.best import morning_lines
from planner.reports.retold import retell
from planner.reports.rows import Report
from planner.rules.clock import clock_minutes
from planner.site import Site
from planner.store.records import KeptWarning, Outgoing
from planner.terms import short_date
from planner.warnings.base import LEVELS
from planner.warnings.life import EASED_WORD, OVER, OVER_WORD, News, WarningState, body, title

if TYPE_CHECKING:
    from planner.store.store import Store


def state_of(standing: WarningState) -> KeptWarning:
    """Where a warning stands, as the store keeps it."""
    notice = standing.notice
    return KeptWarning(
        id=standing.id,
        kind=notice.kind,
        surface=notice.surface or "",
        state=standing.state,
        level=notice.level,
        document=msgspec.to_builtins(standing),
        first_at=standing.first_at,
        changed_at=standing.changed_at,
        change=standing.change,
    )


def standing_of(states: Iterable[KeptWarning]) -> tuple[WarningState, ...]:
    """Where warnings stand, as kept. One written by another version of ours is passed over."""
    standing = []
    for row in states:
        columns = {
            "id": row.id,
            "state": row.state,
            "first_at": row.first_at,
            "changed_at": row.changed_at,
            "change": row.change,
        }
        try:
            found = msgspec.convert({**row.document, **columns}, WarningState)
        except msgspec.ValidationError:
            continue
        standing.append(replace(found, notice=replace(found.notice, known_as=row.id)))
    return tuple(standing)


def outgoing(news: Iterable[News], outputs: Sequence[str], now: datetime, site: Site) -> tuple[Outgoing, ...]:
    """The messages that follow from the news, one for each output, in the units that people of the site read."""
    rows: list[Outgoing] = []
    for one in news:
        notice = one.notice
        message = Message(
            id=_sent_id(one.id, site),
            change=one.change,
            kind=notice.kind,
            level=notice.level,
            title=retell(title(one), site.units) + (f" ({site.name})" if site.has_own_key else ""),
            body=retell(body(one), site.units),
            surface=notice.surface or "all",
            begins=notice.begins,
            made_at=now,
        )
        rows += message.for_outputs(outputs, now, of=one.id, closes=one.closes)
    return tuple(rows)


def _sent_id(name: str, site: Site) -> str:
    """A warning's id as it leaves the house: several sites may send to one receiver, which drops what it has had.

    A site without a key of its own is alone, and its ids stay as receivers know them.
    """
    return f"{site.key}:{name}" if site.has_own_key else name


#: How long after its hour the message of the morning still goes out: later it tells nothing new.
_MORNING_LASTS = timedelta(hours=3)


def morning_message(report: Report, config: Config, now: datetime) -> tuple[Outgoing, ...]:
    """The two lines of the day, for each output, from the hour of the site file on.

    Its id is that of the day, so that however many passes are made it goes out once.
    """
    if config.morning is None:
        return ()
    local = now.astimezone(config.site.zone)
    minutes = clock_minutes(config.morning.at)
    due = datetime.combine(local.date(), time(minutes // 60 % 24, minutes % 60), config.site.zone)
    if not due <= now < due + _MORNING_LASTS:
        return ()
    name = f"morning-{local:%Y%m%d}"
    message = Message(
        id=_sent_id(name, config.site),
        change=1,
        kind="morning",
        level=LEVELS[0],
        title=f"{config.site.name}, {short_date(local)}",
        body=retell("\n".join(morning_lines(report)), config.site.units),
        surface="all",
        begins=None,
        made_at=now,
    )
    return message.for_outputs([part.called for part in config.outputs], now, of=name)


def standing_messages(store: Store, output: str) -> tuple[Message, ...]:
    """The newest message that an output was sent of each warning that still stands; of one kind and surface one."""
    standing = {row.id for row in store.warnings() if row.state != OVER}
    found: dict[tuple[str, str], Message] = {}
    for fields in store.sent_messages(output, standing):
        try:
            message = Message.from_dict(fields)
        except msgspec.ValidationError:
            continue
        found[message.kind, message.surface] = message
    return tuple(found.values())


def outputs_of(config: Config) -> tuple[list[Output], list[str]]:
    """The outputs of a config that can be used, and what keeps the others from it, a sentence each."""
    outputs: list[Output] = []
    faults: list[str] = []
    for part in config.outputs:
        try:
            outputs.append(make_output(part.kind, with_secrets(part.settings)))
        except (PlannerError, LookupError) as error:
            says = error.args[0] if isinstance(error, LookupError) else error
            faults.append(f"The output {part.called} is not used: {says}")
    return outputs, faults


def with_secrets(settings: Mapping[str, object]) -> dict[str, Any]:
    """Settings with every `NAME_env` replaced by NAME and the value of the environment variable it names.

    LookupError when there is no such variable.
    """
    filled: dict[str, object] = {}
    for key, value in settings.items():
        if not key.endswith("_env"):
            filled[key] = value
            continue
        secret = os.environ.get(str(value), "")
        if not secret:
            raise LookupError(f"the environment variable {value} is not set. Set it, or leave out {key}.")
        filled[key.removesuffix("_env")] = secret
    return filled


def quiet_of(config: Config) -> Quiet | None:
    """Whether a message is held at an hour: in quiet hours all but what is to be acted on at once."""
    part = config.quiet_hours
    if part is None:
        return None
    begins, ends, zone = clock_minutes(part.begins), clock_minutes(part.ends), config.site.zone

    def held(message: Message, now: datetime) -> bool:
        local = now.astimezone(zone)
        minute = local.hour * 60 + local.minute
        is_quiet = begins <= minute < ends if begins <= ends else minute >= begins or minute < ends
        calms = message.title.startswith((OVER_WORD, EASED_WORD))
        return is_quiet and (message.level != LEVELS[2] or calms)

    return held


def send_due(config: Config, store: Store, now: datetime) -> tuple[Delivery, list[str]]:
    """Sends what is due, and says what keeps an output from it. A failing output never stops the others."""
    outputs, faults = outputs_of(config)
    sent = deliver(store, outputs, now, quiet=quiet_of(config)) if outputs else Delivery()
    return sent, faults
