"""The command reading: water given, and what was measured on a surface or on the spot."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import click

from planner.cli import options
from planner.cli.board import wrap
from planner.cli.writing import pass_again
from planner.errors import InputError
from planner.reports.sentences import job_on
from planner.terms import short_date

if TYPE_CHECKING:
    from planner.actions.record_reading import ObservationAnswer
    from planner.diary.observations import ObservationRow
    from planner.store.store import Store

#: Readings shown when none is told, in days.
_LATELY_DAYS = 28


@click.command()
@click.option("--surface", metavar="S", help="Left out: the whole site, for a gauge or the air.")
@click.option("--at", metavar="TIME", help="07:30, yesterday 07:30, thu 07:30, or ISO 8601; else now.")
@click.option("--water-mm", type=float, help="Water given by hose or system.")
@click.option("--rain-mm", type=float, help="Rain of a gauge since it was last read.")
@click.option("--soil-moisture-pct", type=float, help="By a probe, percent of the volume.")
@click.option("--height-mm", type=float, help="Height of the leaf.")
@click.option("--grass-min-c", type=float, help="Lowest of the night at the grass.")
@click.option("--wind-2m-kmh", type=float, help="On the spot.")
@click.option("--wind-dir-deg", type=float, help="On the spot: where it comes from.")
@click.option("--air-temp-c", type=float, help="On the spot.")
@click.option("--rel-humidity-pct", type=float, help="On the spot.")
@click.option("--note", help="Anything else.")
@click.option("--job", metavar="J", help="Judge this job by what was measured on the spot.")
@click.option("--key", help="A UUID; sending the same again under it writes nothing.")
@click.option(
    "--withdraw", metavar="READING", help="The reading (or how its number begins) that does not hold."
)
@click.option("--reason", default="", help="Why it does not hold.")
@options.CONFIG
@options.AS_JSON
def reading(
    key: str | None,
    withdraw: str | None,
    reason: str,
    config: str | None,
    as_json: bool,
    **told: object,
) -> None:
    """Tell water given, or what was measured. Without a figure: what was told in the last four weeks."""
    from planner.actions import record_reading
    from planner.actions.told import reason_of
    from planner.diary.observations import FIGURES, observation_row

    fields = {name: value for name, value in told.items() if value is not None}
    with options.open_store(config) as (full, store):
        now, zone = datetime.now(UTC), full.site.zone
        if withdraw is not None:
            if fields:
                raise InputError("A reading is withdrawn by itself. Tell the new one with a second command.")
            gone = store.withdraw_observation(_uuid(withdraw, store), now, reason=reason_of(reason))
            row = observation_row(gone, zone)
            options.show(row, lambda: line(row), as_json)
        elif not set(fields) & set(FIGURES):
            since = now - timedelta(days=_LATELY_DAYS)
            surface = fields.get("surface")
            found = store.observations(since, surface=None if surface is None else str(surface))
            rows = [observation_row(one, zone) for one in found]
            options.show({"observations": rows}, lambda: listed(rows), as_json)
            return
        else:
            answer = record_reading.add(fields, full, store, now, key=key)
            options.show(answer, lambda: "\n".join([line(answer), *verdict_lines(answer)]), as_json)
        pass_again(full, store, now)


def line(row: ObservationRow) -> str:
    """One reading in a line."""
    from planner.diary.observations import figures_in_words

    state = f" WITHDRAWN: {row['reason']}" if row["withdrawn"] else ""
    where = row["surface"] or "site"
    note = f" ({row['note']})" if row["note"] else ""
    when = f"{short_date(row['at'])} {row['at']:%Y %H:%M}"
    text = f"{row['uuid'][:8]}  {when}  {where}: {figures_in_words(row)}{note}{state}"
    return "\n".join(wrap(text, "", "          "))


def verdict_lines(answer: ObservationAnswer) -> list[str]:
    """The verdict of the job that was asked for, in words; nothing where none was."""
    found = answer["verdict"]
    if found is None:
        return []
    head = f"{job_on(found['label'], found['surface'])}. {found['says']}"
    lines = ["", *wrap(head, "", "  ")]
    for text in found["against"]:
        lines += wrap(f"against it: {text}", "  ", "    ")
    if found["not_read"] and found["state"] != "unread":
        lines += wrap(f"not known: {', '.join(found['not_read'])}", "  ", "    ")
    lines += wrap("Hours to come, and gusts, are the forecast's.", "  ")
    for caution in found["cautions"]:
        lines += wrap(f"- {caution}", "  ", "    ")
    return lines


def listed(rows: list[ObservationRow]) -> str:
    """Readings, a line each."""
    return "\n".join(line(row) for row in rows) or "No reading in the last four weeks."


def _uuid(text: str, store: Store) -> str:
    found = [one.uuid for one in store.observations(with_withdrawn=True) if one.uuid.startswith(text.lower())]
    if len(found) > 1 or len(text) < 4:
        raise InputError(
            f'"{text}" begins {len(found)} readings. Give more of its number (at least 4 letters or digits).'
        )
    return found[0] if found else text
