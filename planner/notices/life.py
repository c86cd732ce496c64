"""The life of a warning: raised, changed, eased, over. Pure: where warnings stood and what is read now, in;
where they stand and what is to be told, out.

A warning is the same as long as kind, surface and job are the same and its time overlaps or lies near: its
onset may move across midnight. What people were last told is what a change is measured against, so that many
small moves add up to one that is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from planner.notices.base import LEVELS, Notice

RAISED, CHANGED, EASED, OVER = "raised", "changed", "eased", "over"
#: Why one is over: its time came, or what raised it fell.
PASSED, FALLEN = "passed", "fallen"
#: An onset that moved by this is told again.
MOVED = timedelta(hours=3)
#: Two spans this near to each other, begin to begin, are the same thing moved. Judgement.
_NEAR = timedelta(hours=9)
#: A warning stood down comes back under its own id within this time, and only above threshold and margin.
_REMEMBERED = timedelta(hours=48)
#: What begins within this is as good as begun: its onset creeps with the clock.
_BEGUN = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where one warning stands: the notice as last read, and what people were last told."""

    id: str
    state: str
    notice: Notice
    told_level: str
    told_strength: float
    told_begins: datetime
    first_at: datetime
    changed_at: datetime
    change: int
    was_eased: bool = False
    """Over because it fell, not because its time passed: it comes back only above threshold and margin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """One thing to be told: a warning's change, with what changed in words."""

    id: str
    change: int
    state: str
    notice: Notice
    what: str
    """`begins 5 h later; now heed, was mention`; for one that is over, why."""

    @property
    def closes(self) -> bool:
        """Whether it only ends a warning."""
        return self.state == OVER


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """What came of one step."""

    notices: tuple[Notice, ...]
    """What is shown, under the ids it stands at."""
    states: tuple[Standing, ...]
    """Warnings whose state is to be kept anew."""
    news: tuple[News, ...]


def follow(
    found: Iterable[Notice],
    standing: Sequence[Standing],
    now: datetime,
    *,
    margin: float,
    unread: Callable[[Notice], bool] = lambda notice: False,
) -> Life:
    """One step. `unread` says whether the hours of a warning cannot be read now: it then stands as it was."""
    candidates = list(found)
    still = [one for one in standing if one.state != OVER]
    gone = [one for one in standing if one.state == OVER and now - one.changed_at <= _REMEMBERED]
    pairs = _matched(candidates, still)
    notices: list[Notice] = []
    states: list[Standing] = []
    news: list[News] = []
    step: tuple[Standing, News | None] | None
    taken = {one.id for one in standing}
    for number, notice in enumerate(candidates):
        before = pairs.get(number)
        if before is None:
            step = _raised(notice, gone, taken, now, margin)
            if step is None:
                continue
            taken.add(step[0].id)
            gone = [one for one in gone if one.id != step[0].id]
        else:
            step = _kept(notice, before, now)
        notices.append(step[0].notice)
        states.append(step[0])
        news += [] if step[1] is None else [step[1]]
    matched = {before.id for before in pairs.values()}
    for before in still:
        if before.id in matched:
            continue
        if not _is_past(before.notice, now) and unread(before.notice):
            notices.append(before.notice)
            continue
        ended, told = _ended(before, notices, now)
        states.append(ended)
        news += [] if told is None else [told]
    return Life(notices=in_order(notices), states=tuple(states), news=tuple(news))


def in_order(notices: Iterable[Notice]) -> tuple[Notice, ...]:
    """The gravest first, then the soonest."""
    return tuple(sorted(notices, key=lambda notice: (-LEVELS.index(notice.level), notice.begins)))


def _matched(found: Sequence[Notice], standing: Sequence[Standing]) -> dict[int, Standing]:
    """Each notice with the standing warning it is, the nearest pairs first."""
    near = [
        (distance, number, one)
        for number, notice in enumerate(found)
        for one in standing
        if (distance := _distance(notice, one.notice)) is not None
    ]
    pairs: dict[int, Standing] = {}
    used: set[str] = set()
    for _, number, one in sorted(near, key=lambda row: (row[0], row[1], row[2].id)):
        if number not in pairs and one.id not in used:
            pairs[number] = one
            used.add(one.id)
    return pairs


def _distance(left: Notice, right: Notice) -> timedelta | None:
    """Begin to begin, where both are about the same; None where they are not the same thing."""
    if left.about != right.about:
        return None
    apart = abs(left.begins - right.begins)
    return apart if apart <= _NEAR or _overlap(left, right) else None


def _overlap(left: Notice, right: Notice) -> bool:
    return (left.ends is None or right.begins < left.ends) and (
        right.ends is None or left.begins < right.ends
    )


def _is_past(notice: Notice, now: datetime) -> bool:
    return notice.ends is not None and notice.ends <= now


def _raised(
    notice: Notice, gone: Sequence[Standing], taken: set[str], now: datetime, margin: float
) -> tuple[Standing, News] | None:
    same = _matched([notice], gone).get(0)
    if notice.strength < notice.raised_from + (margin if same is not None and same.was_eased else 0.0):
        return None
    name = _unused(notice.first_id, taken) if same is None else same.id
    shown = notice.known(name, notice.level)
    state = Standing(
        id=name,
        state=RAISED,
        notice=shown,
        told_level=notice.level,
        told_strength=notice.strength,
        told_begins=notice.begins,
        first_at=now if same is None else same.first_at,
        changed_at=now,
        change=1 if same is None else same.change + 1,
    )
    what = "" if same is None else "it is expected again"
    return state, News(id=name, change=state.change, state=RAISED, notice=shown, what=what)


def _unused(name: str, taken: set[str]) -> str:
    number, tried = 2, name
    while tried in taken:
        tried = f"{name}-{number}"
        number += 1
    return tried


def _kept(notice: Notice, before: Standing, now: datetime) -> tuple[Standing, News | None]:
    shown = notice.known(before.id, _held_level(notice, before.notice.level))
    up = LEVELS.index(shown.level) - LEVELS.index(before.told_level)
    moved = shown.begins - before.told_begins
    begun = before.told_begins <= now + _BEGUN and shown.begins <= now + _BEGUN
    grown = shown.strength - before.told_strength
    told = []
    if up:
        told.append(f"now {shown.level}, was {before.told_level}")
    if abs(moved) >= MOVED and not begun:
        hours = abs(moved) / timedelta(hours=1)
        told.append(f"begins {hours:.0f} h {'later' if moved > timedelta() else 'sooner'}")
    if abs(grown) >= notice.step - 1e-9:
        told.append(
            f"{'stronger' if grown > 0 else 'weaker'}: {shown.strength:.2f}, was {before.told_strength:.2f}"
        )
    if not told:
        return replace(before, notice=shown), None
    eases = up < 0 or (up == 0 and grown <= -notice.step and abs(moved) < MOVED)
    state = replace(
        before,
        state=EASED if eases else CHANGED,
        notice=shown,
        told_level=shown.level,
        told_strength=shown.strength,
        told_begins=shown.begins,
        changed_at=now,
        change=before.change + 1,
    )
    return state, News(
        id=state.id, change=state.change, state=state.state, notice=shown, what="; ".join(told)
    )


def _held_level(notice: Notice, before: str) -> str:
    """The level, left downwards only when it would be lower with the margin added, too."""
    calm = notice.calm_level or notice.level
    if LEVELS.index(before) <= LEVELS.index(notice.level):
        return notice.level
    return before if LEVELS.index(before) <= LEVELS.index(calm) else calm


def _ended(before: Standing, notices: Sequence[Notice], now: datetime) -> tuple[Standing, News | None]:
    notice = before.notice
    joined = any(one.about == notice.about and _overlap(one, notice) for one in notices)
    passed = notice.begins <= now
    state = replace(
        before,
        state=OVER,
        changed_at=now,
        change=before.change + 1,
        was_eased=not passed and not joined,
    )
    if joined:
        # Two events that grew into one are told of as that one.
        return replace(state, change=before.change), None
    what = PASSED if passed else FALLEN
    return state, News(id=state.id, change=state.change, state=OVER, notice=notice, what=what)
