"""Commands that read: days, windows, explain, warnings."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import click

from planner import board
from planner.cli.options import Source, answer, computed, moment, reading, show, site_zone, stored
from planner.errors import require_known
from planner.freshness import as_of, only


@click.command()
@click.option("--surface", metavar="S", help="Only this surface.")
@reading
def days(
    config: str | None, forecast: str | None, now: str | None, as_json: bool, surface: str | None
) -> None:
    """Growth potential, rain-wash risk and frost risk per day."""
    source = Source(config, forecast, now)
    found = _aged(answer("days", source), source)
    if surface is not None:
        require_known("surface", surface, [row["surface"] for row in found["days"]])
        found["days"] = [row for row in found["days"] if row["surface"] == surface]
    show(
        found,
        lambda: board.together(
            [board.head(found), board.days(found, surface), board.credit(found), board.notes(found)]
        ),
        as_json,
    )


@click.command()
@click.argument("job", required=False)
@click.option("--surface", metavar="S", help="Only this surface.")
@click.option("--day", metavar="DAY", help="today, tomorrow, a weekday or a date.")
@click.option("--most", default=2, show_default=True, help="Windows shown per job and surface (text only).")
@reading
def windows(
    config: str | None,
    forecast: str | None,
    now: str | None,
    as_json: bool,
    job: str | None,
    surface: str | None,
    day: str | None,
    most: int,
) -> None:
    """Ranked windows for JOB (a job or a kind; all when left out), and why and until when others are barred."""
    from planner.when import read_day

    source = Source(config, forecast, now)
    found = _aged(answer("windows", source), source)
    rows = [*found["windows"], *found["barred"]]
    if job is not None:
        require_known("job", job, [*(row["job"] for row in rows), *(row["kind"] for row in rows)])
    if surface is not None:
        require_known("surface", surface, [row["surface"] for row in rows])
    chosen = read_day(day, _asked_at(found, source), site_zone(found)) if day else None
    found = only(found, job=job, surface=surface, day=chosen)
    show(
        found,
        lambda: board.together(
            [board.head(found), board.windows(found, most=most), board.credit(found), board.notes(found)]
        ),
        as_json,
    )


@click.command()
@reading
def warnings(config: str | None, forecast: str | None, now: str | None, as_json: bool) -> None:
    """What is about to go wrong, and what to do."""
    source = Source(config, forecast, now)
    found = _aged(answer("warnings", source), source)
    show(
        found,
        lambda: board.together([board.head(found), board.warnings(found), board.credit(found)]),
        as_json,
    )


@click.command()
@click.argument("job")
@click.argument("time")
@click.option("--surface", metavar="S", help="The surface; else the first the job is done on.")
@reading
def explain(
    config: str | None,
    forecast: str | None,
    now: str | None,
    as_json: bool,
    job: str,
    time: str,
    surface: str | None,
) -> None:
    """Each need of JOB at TIME (07:30, tomorrow 07:30, or a date and time): figure, limits, verdict, source."""
    from planner.explaining import explain as read_workings
    from planner.when import read_time

    source = Source(config, forecast, now)
    found = _workings(source, job, surface)
    asked = read_time(time, _asked_at(found, source), site_zone(found))
    told = _aged(read_workings(found, asked), source)
    show(told, lambda: board.together([board.head(told), board.explain(told), board.credit(told)]), as_json)


def _workings(source: Source, job: str, surface: str | None) -> dict[str, Any]:
    if source.forecast is not None:
        import json

        from planner.answers import encode
        from planner.answers.others import workings

        briefing = computed(source)
        pairs = {(each.job.name, each.surface.name): each for each in briefing.plan.judged}
        chosen = _choose(list(pairs), job, surface)
        return dict(json.loads(encode(workings(briefing, pairs[chosen]))))
    listed = stored("windows", source)
    names = [(row["job"], row["surface"]) for row in [*listed["windows"], *listed["barred"]]]
    chosen = _choose(list(dict.fromkeys(names)), job, surface)
    return dict(stored(f"workings/{chosen[0]}/{chosen[1]}", source))


def _choose(pairs: list[tuple[str, str]], job: str, surface: str | None) -> tuple[str, str]:
    require_known("job", job, [name for name, _ in pairs])
    surfaces = [where for name, where in pairs if name == job]
    if surface is None:
        return job, surfaces[0]
    require_known("surface", surface, surfaces)
    return job, surface


def _asked_at(found: dict[str, Any], source: Source) -> datetime:
    """The moment that `today` and `tomorrow` are told from."""
    if source.forecast is not None and source.now is not None:
        return moment(source.now, site_zone(found))
    return source.clock


def _aged(found: dict[str, Any], source: Source) -> dict[str, Any]:
    return found if source.forecast is not None else as_of(found, source.clock)
