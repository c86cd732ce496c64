"""From warnings to people: states to and from the store, messages to the outbox, outputs from the config."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from planner.config.load import Config
from planner.errors import PlannerError
from planner.notices.base import LEVELS, Notice
from planner.notices.life import News, Standing
from planner.notices.told import EASED_WORD, STOOD_DOWN, body, title
from planner.outputs import Message, Output, make_output
from planner.outputs.delivery import Delivery, Quiet, deliver
from planner.rules.clock import clock_minutes
from planner.store.records import Outgoing, WarningState

if TYPE_CHECKING:
    from planner.store import Store


def state_of(standing: Standing) -> WarningState:
    """Where a warning stands, as the store keeps it."""
    notice = standing.notice
    return WarningState(
        id=standing.id,
        kind=notice.kind,
        surface=notice.surface or "",
        state=standing.state,
        level=notice.level,
        document={
            "notice": _notice_json(notice),
            "told_level": standing.told_level,
            "told_strength": standing.told_strength,
            "told_begins": standing.told_begins.isoformat(),
            "was_eased": standing.was_eased,
        },
        first_at=standing.first_at,
        changed_at=standing.changed_at,
        change=standing.change,
    )


def standing_of(states: Iterable[WarningState]) -> tuple[Standing, ...]:
    """Where warnings stand, as kept. One written by another version of ours is passed over."""
    standing = []
    for state in states:
        try:
            standing.append(_standing(state))
        except (KeyError, TypeError, ValueError):
            continue
    return tuple(standing)


def _standing(state: WarningState) -> Standing:
    told = state.document
    return Standing(
        id=state.id,
        state=state.state,
        notice=_notice(told["notice"], state.id),
        told_level=told["told_level"],
        told_strength=float(told["told_strength"]),
        told_begins=datetime.fromisoformat(told["told_begins"]),
        first_at=state.first_at,
        changed_at=state.changed_at,
        change=state.change,
        was_eased=bool(told["was_eased"]),
    )


def _notice_json(notice: Notice) -> dict[str, Any]:
    return {
        "kind": notice.kind,
        "surface": notice.surface,
        "job": notice.job,
        "begins": notice.begins.isoformat(),
        "ends": None if notice.ends is None else notice.ends.isoformat(),
        "level": notice.level,
        "chance": notice.chance,
        "strength": notice.strength,
        "says": notice.says,
        "advice": list(notice.advice),
        "figures": dict(notice.figures),
        "raised_from": notice.raised_from,
        "calm_level": notice.calm_level,
        "step": notice.step,
    }


def _notice(told: Mapping[str, Any], known_as: str) -> Notice:
    ends = told["ends"]
    return Notice(
        **{
            **told,
            "begins": datetime.fromisoformat(told["begins"]),
            "ends": None if ends is None else datetime.fromisoformat(ends),
            "advice": tuple(told["advice"]),
            "known_as": known_as,
        }
    )


def outgoing(news: Iterable[News], outputs: Sequence[str], now: datetime) -> tuple[Outgoing, ...]:
    """The messages that follow from the news, one for each output."""
    rows: list[Outgoing] = []
    for one in news:
        notice = one.notice
        message = Message(
            id=one.id,
            change=one.change,
            kind=notice.kind,
            level=notice.level,
            title=title(one),
            body=body(one),
            surface=notice.surface or "all",
            begins=notice.begins,
            made_at=now,
        )
        rows += message.for_outputs(outputs, now, closes=one.closes)
    return tuple(rows)


def output_names(config: Config) -> list[str]:
    """Names by which the outbox knows the outputs of a config."""
    return [part.called for part in config.outputs]


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


def with_secrets(settings: Mapping[str, Any]) -> dict[str, Any]:
    """Settings with every `NAME_env` replaced by NAME and the value of the environment variable it names.

    LookupError when there is no such variable.
    """
    told: dict[str, Any] = {}
    for key, value in settings.items():
        if not key.endswith("_env"):
            told[key] = value
            continue
        secret = os.environ.get(str(value), "")
        if not secret:
            raise LookupError(f"the environment variable {value} is not set. Set it, or leave out {key}.")
        told[key.removesuffix("_env")] = secret
    return told


def quiet_of(config: Config) -> Quiet | None:
    """Whether a message is held at an hour: in quiet hours all but what is to be acted on tonight."""
    part = config.quiet_hours
    if part is None:
        return None
    begins, ends, zone = clock_minutes(part.begins), clock_minutes(part.ends), config.site.zone

    def held(message: Message, now: datetime) -> bool:
        local = now.astimezone(zone)
        minute = local.hour * 60 + local.minute
        is_quiet = begins <= minute < ends if begins <= ends else minute >= begins or minute < ends
        calms = message.title.startswith((STOOD_DOWN, EASED_WORD))
        return is_quiet and (message.level != LEVELS[2] or calms)

    return held


def send_due(config: Config, store: Store, now: datetime) -> tuple[Delivery, list[str]]:
    """Sends what is due, and says what keeps an output from it. A failing output never stops the others."""
    outputs, faults = outputs_of(config)
    sent = deliver(store, outputs, now, quiet=quiet_of(config)) if outputs else Delivery()
    return sent, faults
