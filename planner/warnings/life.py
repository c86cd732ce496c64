"""The life of a warning: raised, changed, eased, over. Pure: where warnings stood and what is read now, in;
where they stand and the messages that follow, out.

A warning is the same as long as kind, surface and job are the same and its time overlaps or lies near: its
onset may move across midnight. A change is measured against what the last message said, so that many small
moves add up to one message.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from planner.warnings.base import LEVELS, Notice

RAISED, CHANGED, EASED, OVER = "raised", "changed", "eased", "over"
#: Why one is over: its time came, or what raised it fell.
PASSED, FALLEN = "passed", "fallen"
#: An onset that moved by this is worth another message.
MOVED = timedelta(hours=3)
#: Two spans this near to each other, begin to begin, are the same thing moved. Judgement.
_NEAR = timedelta(hours=9)
#: A warning that ended comes back under its own id within this time, and only above threshold and margin.
_REMEMBERED = timedelta(hours=48)
#: What begins within this is as good as begun: its onset creeps with the clock.
_BEGUN = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class WarningState:
    """Where one warning stands: the notice as last read, and what the last message said."""

    id: str
    state: str
    notice: Notice
    said_level: str
    said_strength: float
    said_begins: datetime
    first_at: datetime
    changed_at: datetime
    change: int
    was_eased: bool = False
    """Over because it fell, not because its time passed: it comes back only above threshold and margin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """One message to be sent: a warning's change, with what changed in words."""

    id: str
    change: int
    state: str
    notice: Notice
    what: str
    """`begins 5 h later; now care, was note`; for one that is over, why."""

    @property
    def closes(self) -> bool:
        """Whether it only ends a warning."""
        return self.state == OVER


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """What came of one step."""

    notices: tuple[Notice, ...]
    """What is shown, under the ids it stands at."""
    states: tuple[WarningState, ...]
    """Warnings whose state is to be kept anew."""
    news: tuple[News, ...]


def follow(
    found: Iterable[Notice],
    standing: Sequence[WarningState],
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
    states: list[WarningState] = []
    news: list[News] = []
    step: tuple[WarningState, News | None] | None
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
        ended, message = _ended(before, notices, now)
        states.append(ended)
        news += [] if message is None else [message]
    return Life(notices=in_order(notices), states=tuple(states), news=tuple(news))


def in_order(notices: Iterable[Notice]) -> tuple[Notice, ...]:
    """The gravest first, then the soonest."""
    return tuple(sorted(notices, key=lambda notice: (-LEVELS.index(notice.level), notice.begins)))


def _matched(found: Sequence[Notice], standing: Sequence[WarningState]) -> dict[int, WarningState]:
    """Each notice with the standing warning it is, the nearest pairs first."""
    near = [
        (distance, number, one)
        for number, notice in enumerate(found)
        for one in standing
        if (distance := _distance(notice, one.notice)) is not None
    ]
    pairs: dict[int, WarningState] = {}
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
    notice: Notice, gone: Sequence[WarningState], taken: set[str], now: datetime, margin: float
) -> tuple[WarningState, News] | None:
    same = _matched([notice], gone).get(0)
    if notice.strength < notice.raised_from + (margin if same is not None and same.was_eased else 0.0):
        return None
    name = _unused(notice.first_id, taken) if same is None else same.id
    shown = notice.known(name, notice.level)
    state = WarningState(
        id=name,
        state=RAISED,
        notice=shown,
        said_level=notice.level,
        said_strength=notice.strength,
        said_begins=notice.set_in,
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


def _kept(notice: Notice, before: WarningState, now: datetime) -> tuple[WarningState, News | None]:
    shown = notice.known(before.id, _held_level(notice, before.notice.level))
    up = LEVELS.index(shown.level) - LEVELS.index(before.said_level)
    moved = shown.set_in - before.said_begins
    begun = before.said_begins <= now + _BEGUN and shown.set_in <= now + _BEGUN
    grown = shown.strength - before.said_strength
    changes = []
    if up:
        changes.append(f"now {shown.level}, was {before.said_level}")
    if abs(moved) >= MOVED and not begun and not shown.is_slow:
        hours = abs(moved) / timedelta(hours=1)
        changes.append(f"begins {hours:.0f} h {'later' if moved > timedelta() else 'sooner'}")
    if abs(grown) >= notice.step - 1e-9:
        changes.append(
            f"{'stronger' if grown > 0 else 'weaker'}: {shown.strength:.2f}, was {before.said_strength:.2f}"
        )
    if not changes:
        return replace(before, notice=shown), None
    eases = up < 0 or (up == 0 and grown <= -notice.step and abs(moved) < MOVED)
    state = replace(
        before,
        state=EASED if eases else CHANGED,
        notice=shown,
        said_level=shown.level,
        said_strength=shown.strength,
        said_begins=shown.set_in,
        changed_at=now,
        change=before.change + 1,
    )
    return state, News(
        id=state.id, change=state.change, state=state.state, notice=shown, what="; ".join(changes)
    )


def _held_level(notice: Notice, before: str) -> str:
    """The level, left downwards only when it would be lower with the margin added, too."""
    calm = notice.calm_level or notice.level
    if LEVELS.index(before) <= LEVELS.index(notice.level):
        return notice.level
    return before if LEVELS.index(before) <= LEVELS.index(calm) else calm


def _ended(
    before: WarningState, notices: Sequence[Notice], now: datetime
) -> tuple[WarningState, News | None]:
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
        # Two events that grew into one have one message.
        return replace(state, change=before.change), None
    what = PASSED if passed else FALLEN
    return state, News(id=state.id, change=state.change, state=OVER, notice=notice, what=what)


#: What each kind is called.
TITLES: dict[str, str] = {
    "wash": "seed wash",
    "frost": "frost on turf",
    "rainfast": "rain on a spray",
    "seed_stress": "heat or drying on seed",
    "disease": "disease weather",
    "wilt": "wilt",
    "last_window": "last window",
    "overdue": "work overdue",
    "stale": "forecast too old",
}
#: Why a warning is over: when its time has come, and when what raised it has fallen.
_OVER: dict[str, tuple[str, str]] = {
    "wash": ("that rain has passed", "that rain is no longer expected to move seed"),
    "frost": ("that night has passed", "that frost is no longer expected"),
    "rainfast": ("there is no more to be said of it", "the dry hours look dry again"),
    "seed_stress": ("those days have passed", "those days look milder"),
    "disease": ("those days have passed", "the weather no longer favours it"),
    "wilt": ("there is no more to be said of it", "water or rain has come, or is expected"),
    "last_window": ("that window has passed", "other windows follow, or the work is done"),
    "overdue": ("it is done, or no longer wanted", "it is done, or no longer wanted"),
    "stale": ("a new forecast has come", "a new forecast has come"),
}
OVER_WORD, EASED_WORD = "Over", "Eased"
_LEADS = {CHANGED: "Changed", EASED: EASED_WORD, OVER: OVER_WORD}


def title(news: News) -> str:
    """One line: how grave, what, where."""
    notice = news.notice
    what = TITLES.get(notice.kind, notice.kind.replace("_", " "))
    where = f", {notice.surface}" if notice.surface else ""
    if news.state == OVER:
        return f"{OVER_WORD}: {what}{where}"
    level = notice.level if news.state != RAISED else notice.level.capitalize()
    lead = "" if news.state == RAISED else f"{_LEADS[news.state]}, "
    return f"{lead}{level}: {what}{where}"


def body(news: News) -> str:
    """What is new, what is coming, what to do."""
    notice = news.notice
    if news.state == OVER:
        passed, fallen = _OVER.get(notice.kind, ("it has passed", "it is no longer expected"))
        return f"{OVER_WORD}: {passed if news.what == PASSED else fallen}. It had said: {notice.says}"
    lines = [notice.says, *(f"- {advice}" for advice in notice.advice)]
    if news.state == RAISED:
        return "\n".join([*(["Expected again."] if news.what else []), *lines])
    return "\n".join([f"{_LEADS[news.state]}: {news.what}.", *lines])
