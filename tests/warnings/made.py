"""Invented warnings and a life led through several passes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from planner.warnings.base import Notice
from planner.warnings.life import Life, News, WarningState, follow

NOW = datetime(2026, 4, 8, 6, tzinfo=UTC)
H = timedelta(hours=1)
MARGIN, LET_GO = 0.1, 0.04


def notice(strength: float = 0.6, in_h: float = 14.0, lasts_h: float = 4.0, **changes: Any) -> Notice:
    """A wash warning of the apron strip, told from NOW."""
    given: dict[str, Any] = {
        "kind": "wash",
        "surface": "apron strip",
        "begins": NOW + in_h * H,
        "ends": NOW + (in_h + lasts_h) * H,
        "level": "care" if strength >= 0.5 else "note",
        "calm_level": "care" if strength + MARGIN >= 0.5 else "note",
        "chance": None,
        "strength": strength,
        "raised_from": 0.25,
        "says": f"Rain may wash seed off ({strength:.2f}).",
        "advice": ("Lay net.",),
    }
    return Notice(**{**given, **changes})


@dataclass
class Story:
    """States kept from pass to pass, as the store does, and everything that was told."""

    states: dict[str, WarningState] = field(default_factory=dict)
    told: list[News] = field(default_factory=list)

    def passed(self, after_h: float, found: Iterable[Notice], *, unread: bool = False) -> Life:
        life = follow(
            list(found),
            list(self.states.values()),
            NOW + after_h * H,
            margin=MARGIN,
            unread=lambda _: unread,
        )
        self.states |= {state.id: state for state in life.states}
        self.told += life.news
        return life

    @property
    def words(self) -> list[str]:
        return [news.state for news in self.told]
