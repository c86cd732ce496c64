"""The diary by command: written, changed, withdrawn, exported, printed; weather filled in and marked."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from click.testing import CliRunner, Result

from planner.actions import record_work, told
from planner.cli.commands import haysel
from planner.config.load import Config, load
from planner.errors import InputError, NotCounted, NotKnown
from planner.forecast import RawForecast
from planner.store.store import Store
from tests.made import DEMO, ROOT

PAYLOAD = ROOT / "fixtures" / "forecast" / "open-meteo"
NOW = datetime(2026, 4, 8, 12, tzinfo=UTC)
H = timedelta(hours=1)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    return tmp_path / DEMO.name


@pytest.fixture
def full(site: Path) -> Config:
    return load(site)


@pytest.fixture
def store(full: Config) -> Any:
    opened = Store.open(full.store.url, site=full.site.key, place=full.site.place)
    yield opened
    opened.close()


def ask(site: Path, *words: str) -> Result:
    return CliRunner().invoke(haysel, ["diary", *words, "--config", str(site)])


def answer(site: Path, *words: str) -> Any:
    found = ask(site, *words, "--json")
    assert found.exit_code == 0, found.exception or found.output
    return json.loads(found.stdout)


def payload(start: datetime, hours: int) -> bytes:
    """An answer of the weather service, invented: 12 C, 70 %, wind 3 m/s from the west, 0.4 mm an hour.

    The first hour is damper: a sky that stands quite still is no forecast.
    """
    times = [(start + hour * H).strftime("%Y-%m-%dT%H:%M") for hour in range(hours)]
    columns = {
        "temperature_2m": (12.0, "°C"),
        "relative_humidity_2m": (70.0, "%"),
        "wind_speed_10m": (3.0, "m/s"),
        "wind_direction_10m": (270.0, "°"),
        "precipitation": (0.4, "mm"),
    }
    hourly: dict[str, list[object]] = {name: [value] * hours for name, (value, _) in columns.items()}
    hourly["relative_humidity_2m"][0] = 71.0
    return json.dumps(
        {
            "latitude": 51.62,
            "longitude": -2.21,
            "elevation": 118.0,
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "hourly_units": {"time": "iso8601", **{name: unit for name, (_, unit) in columns.items()}},
            "hourly": {"time": times, **hourly},
        }
    ).encode()


def test_two_taps_write_an_entry_and_mark_what_was_filled_in(site):
    row = answer(site, "add", "mow_green", "green")
    assert (row["job"], row["kind"], row["surface"], row["revision"]) == ("mow_green", "mowing", "green", 1)
    begun, done = datetime.fromisoformat(row["started"]), datetime.fromisoformat(row["finished"])
    assert done - begun == timedelta(minutes=45)
    assert "finished: when it was written down" in row["filled_in"]
    assert row["weather"] is None, "no forecast is kept, so nothing is known"


def test_an_amount_left_out_is_that_of_the_rate_and_marked(site):
    row = answer(site, "add", "foliar_feed", "green", "--material", "foliar 10-0-4")
    assert row["materials"][0]["amount"] == pytest.approx(0.85)
    assert "foliar 10-0-4: the amount by the file's rate on 340 m²" in row["filled_in"]


def test_millilitres_are_litres(site):
    row = answer(site, "add", "foliar_feed", "green", "--material", "foliar 10-0-4=850 mL")
    assert (row["materials"][0]["amount"], row["materials"][0]["unit"]) == (0.85, "L")


def test_an_edit_keeps_the_history_and_what_was_filled_in(site):
    first = answer(site, "add", "foliar_feed", "green", "--material", "foliar 10-0-4", "--water-l", "16")
    second = answer(site, "edit", first["uuid"][:8], "--water-l", "17", "--reason", "read the jug wrong")
    assert (second["uuid"], second["revision"], second["water_l"]) == (first["uuid"], 2, 17)
    assert second["filled_in"] == first["filled_in"]
    history = answer(site, "list", "--history", first["uuid"])["entries"]
    assert [row["water_l"] for row in history] == [16, 17]


def test_a_withdrawn_entry_leaves_the_list_and_stays_in_the_export(site):
    row = answer(site, "add", "mow_green", "green")
    ask(site, "withdraw", row["uuid"][:6], "--reason", "it was the tee")
    assert answer(site, "list")["entries"] == []
    rows = list(csv.DictReader(io.StringIO(ask(site, "export").stdout)))
    assert [(one["uuid"], one["withdrawn"], one["reason"]) for one in rows] == [
        (row["uuid"], "True", "it was the tee")
    ]


def test_the_record_sheet_names_what_is_missing(site):
    ask(site, "add", "mow_green", "green")
    answer(
        site,
        *("add", "systemic_herbicide", "east bank", "--material", "broadleaf herbicide=0.126 L"),
        *("--operator", "Ida", "--target", "plantain", "--wind-kmh", "7", "--air-temp-c", "17"),
    )
    (sheet,) = answer(site, "sheet")["sheets"]
    fields = sheet["fields"]
    assert fields["Rate"] == "3 L/ha"
    assert fields["Target or purpose"] == "plantain"
    assert fields["Wind at 2 m"] == "7 km/h (measured)"
    assert fields["Applicator"] == "Ida"
    assert {"Product, as on its label", "Registration number", "Licence number", "Wind from"} <= set(
        sheet["missing"]
    )
    text = ask(site, "sheet").stdout
    assert "MISSING" in text
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("add", "mow_gren", "green"), 'Did you mean "mow_green"'),
        (("add", "mow_green", "grean"), 'Did you mean "green"'),
        (("add", "mow_green", "green", "--from", "tomorrow 07:30"), "still to come"),
        (("add", "mow_green", "green", "--from", "half past seven"), "is not a time"),
        (("add", "foliar_feed", "green", "--material", "foliar 10-0-5=1 L"), 'Did you mean "foliar 10-0-4"'),
        (("add", "foliar_feed", "green", "--material", "foliar 10-0-4=1 kg"), "is measured in L"),
        (
            ("add", "foliar_feed", "green", "--material", "foliar 10-0-4=much"),
            "not a material with its amount",
        ),
        (("add", "mow_green", "green", "--cover-pct", "180"), "cover_pct"),
        (("add", "oversowing", "green", "--grass", "couch grass"), "grass"),
        (("edit", "zzzz", "--notes", "x"), "no diary entry"),
    ],
)
def test_what_cannot_be_written_is_told(site, words, says):
    found = ask(site, *words)
    assert isinstance(found.exception, InputError | NotKnown)
    assert says in str(found.exception)
    assert answer(site, "list")["entries"] == []


def test_other_work_is_welcome_with_its_kind_and_what_it_counts_as(site):
    aerating = next(job.name for job in load(site).jobs if job.kind == "aerating")
    row = answer(site, "add", "deep_spiking", "green", "--kind", "aerating", "--counts-as", aerating)
    assert (row["job"], row["kind"], row["counts_as"]) == ("deep_spiking", "aerating", aerating)
    again = answer(site, "edit", row["uuid"][:8], "--notes", "wet")
    assert (again["revision"], again["counts_as"]) == (2, aerating)
    assert f"counts as: {aerating}" in ask(site, "list").stdout


def test_work_that_counts_for_nothing_says_so(site):
    row = answer(
        site, "add", "lay_net", "green", "--kind", "other", "--counts-as", "nothing", "--cover-pct", "80"
    )
    assert (row["kind"], row["counts_as"]) == ("other", "nothing")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--kind", "nonsense"), 'no kind "nonsense"'),
        (("--kind", "mowin", "--counts-as", "mow_green"), 'Did you mean "mowing"'),
        (("--kind", "spraying"), "say which of theirs its intervals count as"),
        (("--kind", "spraying", "--counts-as", "foliar_fed"), 'Did you mean "foliar_feed"'),
    ],
)
def test_work_that_no_interval_would_count_is_refused_with_what_is_known(site, words, says):
    found = ask(site, "add", "seaweed", "green", *words)
    assert isinstance(found.exception, NotCounted)
    assert says in str(found.exception)
    assert answer(site, "list")["entries"] == []


def test_a_product_that_the_file_does_not_know_is_welcome_with_its_amount(site):
    row = answer(site, "add", "foliar_feed", "green", "--material", "seaweed extract=0.5 L")
    assert row["materials"][0]["rate_per_ha"] == pytest.approx(0.5 / 340 * 10_000)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("07:30", "2026-04-08T07:30+01:00"),
        ("yesterday 16:00", "2026-04-07T16:00+01:00"),
        ("thu 07:30", "2026-04-02T07:30+01:00"),
        ("wed 07:30", "2026-04-08T07:30+01:00"),
        ("2026-03-28T09:00", "2026-03-28T09:00+00:00"),
    ],
)
def test_times_are_of_what_was_done(full, text, moment):
    assert told.past_time(text, NOW, full.site.zone) == datetime.fromisoformat(moment)


@pytest.mark.parametrize("finished", ["10:10", "yesterday 10:10"])
def test_the_end_is_of_the_day_of_the_start(full, store, finished):
    row = {"job": "mow_green", "surface": "green", "started": "yesterday 09:00", "finished": finished}
    entry = record_work.add(row, full, store, NOW).entry
    assert entry.finished_at - entry.started_at == timedelta(minutes=70)


def test_weather_of_the_hour_is_filled_in_and_marked_as_forecast(full, store):
    store.keep_forecast("open-meteo", RawForecast(raw=payload(NOW - 72 * H, 168), url="", fetched_at=NOW))
    row = {"job": "foliar_feed", "surface": "green", "started": "08:00", "finished": "09:30"}
    entry = record_work.add({**row, "measured": {"wind_2m_kmh": 5.0}}, full, store, NOW).entry
    weather = entry.document["weather"]
    assert weather["source"] == "forecast, not measured"
    # 3 m/s at 10 m is 3 * 3.6 * 0.748 km/h at 2 m; two hours are touched.
    assert weather["wind_2m_kmh"] == pytest.approx(8.1)
    assert (weather["air_temp_c"], weather["rel_humidity_pct"], weather["wind_dir_deg"]) == (
        12.0,
        70.0,
        270.0,
    )
    assert weather["rain_mm"] == pytest.approx(0.8)
    assert entry.document["measured"] == {"wind_2m_kmh": 5.0}


def test_an_hour_that_only_an_older_forecast_holds_is_found_there(full, store):
    store.keep_forecast(
        "open-meteo", RawForecast(raw=payload(NOW - 240 * H, 168), url="", fetched_at=NOW - 170 * H)
    )
    store.keep_forecast("open-meteo", RawForecast(raw=payload(NOW - 72 * H, 168), url="", fetched_at=NOW))
    row = {"job": "mow_green", "surface": "green", "started": "2026-04-01T08:00", "finished": "09:00"}
    assert record_work.add(row, full, store, NOW).entry.document["weather"]["air_temp_c"] == 12.0


def test_the_same_key_writes_once_even_when_a_newer_forecast_has_come(full, store):
    key, row = str(uuid4()), {"job": "mow_green", "surface": "green"}
    first = record_work.add(row, full, store, NOW, key=key)
    store.keep_forecast("open-meteo", RawForecast(raw=payload(NOW - 72 * H, 168), url="", fetched_at=NOW))
    assert record_work.add(row, full, store, NOW + H, key=key) == first
    assert len(store.entries()) == 1
    with pytest.raises(InputError, match="already used"):
        record_work.add({**row, "notes": "another"}, full, store, NOW, key=key)


def test_what_is_due_is_told_in_eighty_columns(site):
    week = str(ROOT / "fixtures" / "demo" / "week.csv")
    found = ask(site, "due", "--forecast", week, "--now", "2026-05-07T06:00:00+01:00")
    assert found.exit_code == 0, found.exception
    assert "foliar feed, green" in found.stdout
    assert "smooth stalked meadow grass sown Tue 5 May" in found.stdout
    assert max(map(len, found.stdout.splitlines())) <= 80


def test_the_list_tells_work_of_the_site_file_too(site):
    found = ask(site, "list")
    assert found.exit_code == 0, found.exception
    assert found.stdout.startswith(
        "Nothing is written down in the diary for that time.\n\n"
        "From the site file (it counts as well; change it there):"
    )
    assert "  Wed 6 May 2026 09:00  mow green, green" in found.stdout
    assert "  Tue 5 May 2026 16:00  sown smooth stalked meadow grass, apron strip" in found.stdout
    assert max(map(len, found.stdout.splitlines())) <= 80
    rows = answer(site, "list")["of_site_file"]
    assert [row["at"] for row in rows] == sorted(row["at"] for row in rows)
    assert {row["table"] for row in rows} == {"done", "sown"}


@pytest.mark.parametrize(
    ("words", "jobs"),
    [
        (("--job", "mow_green"), ["mow_green"]),
        (("--surface", "east bank"), ["mow_surrounds"]),
        (("--since", "2026-05-06"), ["mow_green"]),
        (("--until", "2026-04-30"), ["foliar_feed"]),
    ],
)
def test_the_work_of_the_site_file_is_narrowed_like_the_diary(site, words, jobs):
    assert [row["job"] for row in answer(site, "list", *words)["of_site_file"]] == jobs
