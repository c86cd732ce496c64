"""Times as the page writes them, on the site's clock."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo


class Clock:
    """Writes moments, given as ISO 8601 text, for one site at the moment the page is made."""

    def __init__(self, zone: ZoneInfo, now: datetime) -> None:
        self.zone = zone
        self.now = now.astimezone(zone)

    def at(self, text: str) -> datetime:
        """The moment on the site's clock."""
        return datetime.fromisoformat(text).astimezone(self.zone)

    def hm(self, text: str) -> str:
        """07:30"""
        return f"{self.at(text):%H:%M}"

    def day(self, text: str) -> str:
        """Thu 7 May; also of a plain date."""
        moment = self.at(text) if "T" in text else date.fromisoformat(text)
        return f"{moment:%a} {moment.day} {moment:%b}"

    def long_day(self, text: str) -> str:
        """Thursday 7 May; also of a plain date."""
        moment = self.at(text) if "T" in text else date.fromisoformat(text)
        return f"{moment:%A} {moment.day} {moment:%B}"

    def near_day(self, text: str) -> str:
        """today, tomorrow, or Sat 9 May"""
        moment = self.at(text).date() if "T" in text else date.fromisoformat(text)
        ahead = (moment - self.now.date()).days
        return {0: "today", 1: "tomorrow"}.get(ahead, self.day(text))

    def when(self, text: str) -> str:
        """today 07:30"""
        return f"{self.near_day(text)} {self.hm(text)}"

    def span(self, start: str, end: str) -> str:
        """today 07:00–12:00; the second day is named where it is another one."""
        first, last = self.at(start), self.at(end)
        # Midnight still belongs to the day before.
        same = first.date() == (last - timedelta(seconds=1)).date()
        until = ("24:00" if last.date() != first.date() else f"{last:%H:%M}") if same else self.when(end)
        return f"{self.when(start)}–{until}"

    def hours(self, start: str, end: str) -> str:
        """07:00–12:00, or Thu 21:00–Fri 02:00"""
        first, last = self.at(start), self.at(end)
        if first.date() == (last - timedelta(seconds=1)).date():
            until = "24:00" if last.date() != first.date() else f"{last:%H:%M}"
            return f"{first:%H:%M}–{until}"
        return f"{first:%a %H:%M}–{last:%a %H:%M}"

    @staticmethod
    def age(hours: float | None) -> str:
        """40 min, 5 h, 3 days; or that it is not known"""
        if hours is None:
            return "age not known"
        if hours < 1:
            return f"{hours * 60:.0f} min"
        return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


def figure(value: float | None, digits: int = 0, unit: str = "") -> str:
    """A figure for people; a dash where it is unknown."""
    if value is None:
        return "–"
    text = f"{value:.{digits}f}"
    if text.startswith("-") and float(text) == 0:
        text = text[1:]
    return f"{text} {unit}".strip().replace("-", "−")
