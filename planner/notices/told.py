"""The news of a warning in words: a title and a body, in the order people need them."""

from __future__ import annotations

from planner.notices.life import CHANGED, EASED, OVER, PASSED, RAISED, News

#: What each kind is called.
TITLES: dict[str, str] = {
    "wash": "rain on seed",
    "frost": "frost on turf",
    "rainfast": "rain on a spray",
    "seed_stress": "heat or drying on seed",
    "last_window": "last window",
    "overdue": "work overdue",
    "stale": "forecast too old",
}
#: Why a warning is over: when its time has come, and when what raised it has fallen.
_OVER: dict[str, tuple[str, str]] = {
    "wash": ("that rain has passed", "that rain is no longer expected to move seed"),
    "frost": ("that night has passed", "that frost is no longer expected"),
    "rainfast": ("there is no more to be said of it", "the dry hours look dry again"),
    "seed_stress": ("those days have passed", "those days look kinder"),
    "last_window": ("that window has passed", "other windows follow, or the work is done"),
    "overdue": ("it is done, or no longer wanted", "it is done, or no longer wanted"),
    "stale": ("a new forecast has come", "a new forecast has come"),
}
STOOD_DOWN, EASED_WORD = "Stood down", "Eased"
_LEADS = {CHANGED: "Changed", EASED: EASED_WORD, OVER: STOOD_DOWN}


def title(news: News) -> str:
    """One line: how grave, what, where."""
    notice = news.notice
    what = TITLES.get(notice.kind, notice.kind.replace("_", " "))
    where = f", {notice.surface}" if notice.surface else ""
    if news.state == OVER:
        return f"{STOOD_DOWN}: {what}{where}"
    level = notice.level if news.state != RAISED else notice.level.capitalize()
    lead = "" if news.state == RAISED else f"{_LEADS[news.state]}, "
    return f"{lead}{level}: {what}{where}"


def body(news: News) -> str:
    """What is new, what is coming, what to do."""
    notice = news.notice
    if news.state == OVER:
        passed, fallen = _OVER.get(notice.kind, ("it has passed", "it is no longer expected"))
        return f"{STOOD_DOWN}: {passed if news.what == PASSED else fallen}. It had said: {notice.says}"
    lines = [notice.says, *(f"- {advice}" for advice in notice.advice)]
    if news.state == RAISED:
        return "\n".join([*(["Expected again."] if news.what else []), *lines])
    return "\n".join([f"{_LEADS[news.state]}: {news.what}.", *lines])
