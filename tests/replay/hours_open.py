"""Prints how many hours of each month each job is open, and what closes the rest: `python -m tests.replay.hours_open`.

Two prints, before and after a change of the rules, lie side by side in a diff. Weather and rules alone: nothing is
on record. Hours are start hours that clock and light leave open, by the local month; a limit's hours are those in
which it is the one that presses most.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from planner.planning.conditions import conditions_of
from planner.planning.hindcast import JobReplay, replay
from tests.replay.past_years import YEARS, Year


def replayed(year: Year, folder: Path) -> tuple[JobReplay, ...]:
    """Every shipped job on every surface it is done on, over the year, as `haysel hindcast` replays it."""
    config, hours = year.config(folder), year.read()
    conditions = conditions_of(hours, config.site, now=hours.start, constants=config.constants)
    return replay(conditions, config.jobs)


def table(year: Year, records: tuple[JobReplay, ...]) -> Iterator[str]:
    """Lines: a job on a surface, its hours open by month, and below it the hours that each limit takes."""
    months = [month.month for month in records[0].months]
    yield f"\n{year.name}"
    yield _line("", "", [month[5:] for month in months], "year")
    for record in records:
        name = f"{record.job.name}, {record.surface.name}"
        opened = [month.open_hours for month in record.months]
        yield _line(name, "open", opened, sum(opened))
        unread = [month.hours_unread for month in record.months]
        if sum(unread):
            yield _line("", "not read", unread, sum(unread))
        lost = {need for month in record.months for need in month.lost}
        sums = {need: [month.lost.get(need, 0) for month in record.months] for need in lost}
        for need in sorted(sums, key=lambda need: (-sum(sums[need]), need)):
            yield _line("", need, sums[need], sum(sums[need]))


def _line(name: str, what: str, cells: list[int] | list[str], whole: object) -> str:
    return f"{name:<32}{what:<24}" + "".join(f"{cell!s:>6}" for cell in cells) + f"{whole!s:>8}"


def main() -> None:
    """Print the three years."""
    with tempfile.TemporaryDirectory() as folder:
        for number, year in enumerate(YEARS):
            for line in table(year, replayed(year, Path(folder) / str(number))):
                sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
