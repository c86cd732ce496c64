"""What is asked of a run under load, and how a run is told."""

from __future__ import annotations

import json
import os
import platform
import statistics
from dataclasses import dataclass
from datetime import UTC, datetime

from tests.load.measure import Run
from tests.made import ROOT

RECORD = ROOT / "docs" / "load.json"
PAGE = ROOT / "docs" / "load.md"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One figure and what is asked of it."""

    name: str
    value: str
    asked: str
    is_met: bool


def judged(found: Run) -> list[Judged]:
    """Each figure that is asked for."""
    slow = found.p99_ms["stored"] / found.idle_median_ms
    slope = found.memory_slope_mb()
    return [
        Judged(
            name="answers that were a fault",
            value=str(len(found.faults)),
            asked="none",
            is_met=not found.faults,
        ),
        Judged(
            name="requests a second under load, of half the bare route's",
            value=f"{found.rate:.0f} of {found.bare_rate / 2:.0f}",
            asked="at least 95 %",
            is_met=found.rate >= 0.95 * found.bare_rate / 2,
        ),
        Judged(
            name="stored reads, 99th of a hundred against the idle median",
            value=f"{slow:.1f} times",
            asked="under 10 times",
            is_met=slow < 10,
        ),
        Judged(
            name="filtered reads against stored ones, requests a second",
            value=f"{found.filtered_rate / found.stored_rate:.0%}",
            asked="at least 25 %",
            is_met=found.filtered_rate >= 0.25 * found.stored_rate,
        ),
        Judged(
            name="memory, growth in ten minutes",
            value=f"{slope:+.2f} MB",
            asked="under 1 MB",
            is_met=slope < 1,
        ),
        Judged(
            name=f"memory while {found.posted_mb:.0f} MB are posted without a token",
            value=f"{found.posted_peak_mb:+.1f} MB",
            asked="under 20 MB",
            is_met=found.posted_peak_mb < 20,
        ),
    ]


def table(found: Run) -> str:
    """The figures as the page has them."""
    rows = ["| figure | measured | asked |", "| --- | --- | --- |"]
    rows += [f"| {row.name} | {row.value} | {row.asked} |" for row in judged(found)]
    settled = [mb for _, mb in found.settled()]
    told = {
        "length of the run": f"{found.minutes:g} min",
        "requests": f"{found.asked:,}",
        "bare route, requests a second": f"{found.bare_rate:.0f}",
        "stored reads as fast as they come (`windows`, 150 kB), requests a second": f"{found.stored_rate:.0f}",
        "idle median of a stored read": f"{found.idle_median_ms:.2f} ms",
        "medians under load": _each(found.medians_ms),
        "99th of a hundred under load, whole run": _each(found.p99_ms),
        "99th of a hundred of stored reads, by windows of a second: best, median, worst": _spread(
            found.stored_p99_windows_ms
        ),
        "the same of the bare route at the same rate, in windows between": _spread(found.bare_p99_windows_ms),
        "writes, passes, events": f"{found.writes}, {found.passes}, {found.events}",
        "memory, lowest and highest after the warm-up": f"{min(settled):.0f} to {max(settled):.0f} MB",
    }
    rows += [f"| {name} | {value} | |" for name, value in told.items()]
    return "\n".join(rows)


def _spread(figures: list[float]) -> str:
    return ", ".join(f"{one(figures):.1f} ms" for one in (min, statistics.median, max))


def _each(figures: dict[str, float]) -> str:
    return ", ".join(f"{name} {value:.1f} ms" for name, value in figures.items())


_BEGIN, _END = "<!-- the run -->\n", "<!-- until here -->"


def kept(found: Run) -> None:
    """Writes the record, and the table of the page."""
    made_on, python = datetime.now(UTC).date().isoformat(), platform.python_version()
    # Of the run alone it is about 2: more of it was others' work.
    busy = f"{os.getloadavg()[1]:.0f}"
    record = {"made_on": made_on, "python": python, "load_average": busy, "table": table(found).split("\n")}
    RECORD.write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
    head, _, rest = PAGE.read_text(encoding="utf-8").partition(_BEGIN)
    _, _, tail = rest.partition(_END)
    made = f"Made on {made_on} with Python {python}; load average of the machine {busy}."
    body = f"{head}{_BEGIN}\n{made}\n\n{table(found)}\n\n{_END}{tail}"
    PAGE.write_text(body, encoding="utf-8")
