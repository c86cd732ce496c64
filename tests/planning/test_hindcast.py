"""A year replayed: counts that a plain count repeats, limits that never close are told, files that can be read."""

from __future__ import annotations

import csv
import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from planner.forecast.tables import from_station_table
from planner.planning.conditions import attempt_of, conditions_of
from planner.planning.hindcast import as_dict, doubts, replay, rows, svg
from planner.planning.suitability import judge
from tests.cli.test_commands import haysel
from tests.made import ROOT, config, ground, weather

TABLE = ROOT / "fixtures" / "published" / "frankfurt_2024_hourly.csv"
JOBS = ("foliar_feed", "mow_green", "oversowing")


@pytest.fixture(scope="module")
def year():
    # Station WMO 10637, 2024, merged open observations, CC BY 4.0.
    made = config()
    site = replace(
        made.site, latitude_deg=50.05, longitude_deg=8.6, elevation_m=111.0, timezone="Europe/Berlin"
    )
    hours = from_station_table(TABLE, elevation_m=111.0)
    ground = conditions_of(hours, site, now=hours.start)
    jobs = [made.job(name) for name in JOBS]
    return ground, jobs, replay(ground, jobs)


def test_counts_are_those_of_a_plain_count(year):
    ground, jobs, records = year
    record = next(r for r in records if r.job.name == "foliar_feed" and r.surface.name == "green")
    found = judge(record.job, record.surface, attempt_of(ground, record.job, record.surface))
    is_open = [int(code) <= 1 for code in found.state]
    windows = sum(1 for before, here in zip([False, *is_open], is_open, strict=False) if here and not before)
    assert (record.windows, record.open_hours) == (windows, sum(is_open))
    months: dict[str, int] = {}
    for index, opened in enumerate(is_open):
        month = f"{ground.sky.weather.time(index).astimezone(ground.site.zone):%Y-%m}"
        months[month] = months.get(month, 0) + opened
    assert {m.month: m.open_hours for m in record.months} == months
    longest = max(len(gap) for gap in "".join("1" if o else "0" for o in is_open).split("1"))
    assert record.longest_gap_days == pytest.approx(longest / 24, abs=0.06)


def test_hours_of_a_limit_alone_are_won_by_dropping_it(year):
    ground, jobs, records = year
    record = next(r for r in records if r.job.name == "foliar_feed" and r.surface.name == "green")
    cost = record.costs[0]
    without = record.job.model_copy(
        update={"needs": tuple(n for n in record.job.needs if n.id != cost.need.id)}
    )
    dropped = judge(without, record.surface, attempt_of(ground, without, record.surface))
    won = int((dropped.state <= 1).sum()) - record.open_hours
    assert won == cost.hours_alone > 0


def test_loosening_a_limit_wins_what_was_told(year):
    ground, jobs, records = year
    record = next(r for r in records if r.job.name == "foliar_feed" and r.surface.name == "green")
    cost = next(c for c in record.costs if c.need.id == "gust")
    assert cost.loosened == "at most 28.5 km/h instead of 25"
    needs = tuple(n.model_copy(update={"hard_max": 28.5}) if n.id == "gust" else n for n in record.job.needs)
    loose = record.job.model_copy(update={"needs": needs})
    found = judge(loose, record.surface, attempt_of(ground, loose, record.surface))
    assert int((found.state <= 1).sum()) - record.open_hours == cost.hours_won > 0


def test_rules_that_never_open_or_close_are_told(year):
    ground, _, _ = year
    made = config()
    job = made.job("foliar_feed")
    shut = job.model_copy(
        update={
            "needs": tuple(
                n.model_copy(update={"hard_min": 80.0, "best_from": 80.0, "best_to": None, "hard_max": None})
                if n.id == "air_temp"
                else n
                for n in job.needs
            )
        }
    )
    wide = job.model_copy(
        update={"name": "anything", "needs": tuple(n for n in job.needs if n.id == "light")}
    )
    found = doubts(replay(ground, [shut, wide]))
    assert any("foliar_feed on the green never opens" in text and "air_temp" in text for text in found)
    assert any("anything on the green never closes" in text for text in found)
    assert doubts([r for r in year[2] if r.job.name == "mow_green"]) == []


def test_the_replay_leaves_as_json_table_and_picture(year):
    ground, _, records = year
    parsed = json.loads(json.dumps(as_dict(records, ground), allow_nan=False))
    assert {row["job"] for row in parsed["jobs"]} == set(JOBS)
    assert all(len(row["months"]) >= 12 for row in parsed["jobs"])
    flat = rows(records)
    assert len(flat) == sum(len(record.months) for record in records)
    picture = ET.fromstring(svg(records, "A year & a day"))
    assert picture.tag.endswith("svg")
    texts = ["".join(node.itertext()) for node in picture.iter("{http://www.w3.org/2000/svg}text")]
    assert any("foliar feed" in text for text in texts)


def test_the_command_writes_its_files_and_keeps_json_clean(tmp_path):
    done = haysel(
        "hindcast", "--config", "config/demo.toml", "--weather", str(TABLE), "--job", "mow_green", "--json",
        "--csv", str(tmp_path / "months.csv"), "--picture", str(tmp_path / "months.svg"),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["jobs"][0]["job"] == "mow_green"
    with (tmp_path / "months.csv").open() as file:
        assert next(csv.DictReader(file))["job"] == "mow_green"
    assert (tmp_path / "months.svg").read_text().startswith("<svg")


def test_the_command_wants_weather():
    done = haysel("hindcast", "--config", "config/demo.toml")
    assert done.returncode == 2
    assert "--weather FILE or --year YEAR" in done.stderr


def test_an_hour_that_cannot_be_read_is_counted_apart(year):
    ground, jobs, records = year
    record = next(r for r in records if r.job.name == "foliar_feed")
    found = judge(record.job, record.surface, attempt_of(ground, record.job, record.surface))
    light = next(n for n, need in enumerate(found.needs) if need.id == "light")
    in_light = found.margin[light] >= -1e-7
    assert record.hours_unread == int(((found.state == 4) & in_light).sum())
    assert np.isfinite(record.longest_gap_days)


def test_a_year_without_a_diary_still_has_hours_for_a_regulator():
    # Nothing on record is nothing held back; it must not read as a sum that is not known.
    laid = ground(weather(datetime(2026, 5, 4, tzinfo=UTC), 24 * 8, cloud_pct=60.0))
    job = config().job("growth_regulator")
    (found, *_) = replay(laid, [job])
    assert found.open_hours > 0
