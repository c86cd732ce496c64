"""Quiet hours hold everything but what cannot wait."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from planner.actions.messages import quiet_of
from planner.config.kit_schema import QuietPart
from planner.outputs.base import Message
from tests.made import config


def message(level: str, title: str = "") -> Message:
    return Message(
        id="w1",
        change=1,
        kind="wash",
        level=level,
        title=title or f"{level.capitalize()}: seed wash",
        body="",
        surface="",
    )


@pytest.mark.parametrize(
    ("clock", "level", "title", "held"),
    [
        # British summer time: 21:30 UTC is 22:30 on the site's clock.
        ("21:30", "care", "", True),
        ("21:30", "act", "", False),
        ("20:59", "care", "", False),
        ("04:59", "note", "", True),
        ("05:00", "note", "", False),
        ("02:00", "act", "Over: seed wash", True),
        ("02:00", "act", "Eased, act: seed wash", True),
    ],
)
def test_quiet_hours(clock, level, title, held):
    quiet = quiet_of(config(quiet_hours=QuietPart(begins="22:00", ends="06:00")))
    assert quiet is not None
    hour, minute = map(int, clock.split(":"))
    assert quiet(message(level, title), datetime(2026, 5, 7, hour, minute, tzinfo=UTC)) is held


def test_quiet_hours_within_one_day():
    quiet = quiet_of(config(quiet_hours=QuietPart(begins="12:00", ends="14:00")))
    assert quiet is not None
    assert quiet(message("care"), datetime(2026, 1, 7, 13, tzinfo=UTC))
    assert not quiet(message("care"), datetime(2026, 1, 7, 15, tzinfo=UTC))


def test_without_quiet_hours_nothing_is_held():
    assert quiet_of(config(quiet_hours=None)) is None
