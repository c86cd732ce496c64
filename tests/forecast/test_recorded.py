"""A file handed to a command: what it is recognised as, and what is said when it cannot be read."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import FrameType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import ForecastMalformed, InputError
from planner.forecast.recorded import read_bytes, read_file
from planner.weather import NEEDED, VARIABLE

from .payloads import (
    BERLIN,
    FIXTURES,
    NEW_YORK,
    NOW,
    REFUSED,
    bright_sky,
    ensemble,
    met_norway,
    nws,
    open_meteo,
    raw,
)

HEAD = "time,air_temp_c,rel_humidity_pct,wind_10m_ms,rain_mm"
ROWS = ("2026-04-01T06:00Z,10,80,2,0", "2026-04-01T07:00Z,11,,2.5,", "2026-04-01T08:00Z,12,70,3,0.2")


def read(text: str):
    return read_bytes(text.encode(), name="hours.csv", fetched_at=NOW)


def lines(*rows: str) -> str:
    return "\n".join((HEAD, *rows)) + "\n"


@pytest.mark.parametrize(
    ("answer", "provider", "members"),
    [
        (open_meteo(), "open-meteo", 1),
        (ensemble(3), "open-meteo-ensemble", 3),
        (met_norway([0.0] * 3, [], start=datetime(2026, 4, 1, tzinfo=UTC)), "met-norway", 1),
        (nws(12), "nws", 1),
        (bright_sky(12), "bright-sky", 1),
        ({"status_code": 200, "headers": {}, "data": open_meteo()}, "open-meteo", 1),
    ],
)
def test_each_layout_is_known_by_its_keys(answer, provider, members):
    forecast = read_bytes(raw(answer), name="answer.json", fetched_at=NOW)
    assert (forecast.provider, forecast.weather.members) == (provider, members)
    assert forecast.fetched_at == NOW


def test_recorded_files_are_read():
    assert read_file(BERLIN, fetched_at=NOW).weather.hours == 168
    assert read_file(str(NEW_YORK), fetched_at=NOW).weather.hours == 212


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (REFUSED.read_bytes(), "tempeture_2m for key hourly"),
        (b'{"status_code": 502, "data": {}}', "status 502"),
        (b'{"daily": {}}', "no layout known here"),
        (b"[]", "no layout known here"),
        (b"[1]", "no layout known here"),
        (b'{"hourly": {"time": [', "not whole JSON"),
        (b"  ", "is empty"),
        (b"<html>", "web page"),
        (b"\xff\xfe\x00", "UTF-8"),
    ],
)
def test_what_is_no_forecast_is_named(body, says):
    with pytest.raises(ForecastMalformed, match=says):
        read_bytes(body, name="x", fetched_at=NOW)


def test_a_file_that_is_not_there_is_the_keepers_fault(tmp_path):
    with pytest.raises(InputError, match="cannot be opened"):
        read_file(tmp_path / "none.json", fetched_at=NOW)
    with pytest.raises(InputError, match="cannot be opened"):
        read_file(tmp_path, fetched_at=NOW)
    with pytest.raises(InputError, match="no zone"):
        read_file(BERLIN, fetched_at=datetime(2026, 4, 1))  # noqa: DTZ001 refused for just that


def test_csv_of_the_contract_is_read():
    weather = read("﻿" + lines(*ROWS)).weather
    assert weather.start == datetime(2026, 4, 1, 6, tzinfo=UTC)
    assert weather["air_temp_c"][0].tolist() == [10, 11, 12]
    assert np.isnan(weather["rain_mm"][0]).tolist() == [False, True, False]
    assert np.isnan(weather["rel_humidity_pct"][0, 1])


def test_rows_in_any_order_offsets_and_holes():
    weather = read(lines("2026-04-01T10:00+02:00,12,70,3,0.2", "2026-04-01T06:00:00Z,10,80,2,0")).weather
    assert weather["air_temp_c"][0, [0, 2]].tolist() == [10, 12]
    assert all(np.isnan(weather[name][0, 1]) for name in NEEDED)


def test_the_night_with_two_two_oclocks_has_both():
    rows = ("2026-10-25T02:00+02:00,10,80,2,0", "2026-10-25T02:00+01:00,11,80,2,0")
    assert read(lines(*rows)).weather["air_temp_c"][0].tolist() == [10, 11]


def test_native_step_may_be_given():
    text = "time,air_temp_c,rel_humidity_pct,wind_10m_ms,rain_mm,step_h\n2026-04-01T06:00Z,1,2,3,0,6\n"
    assert read(text + "2026-04-01T07:00Z,1,2,3,0,\n").weather.step_h.tolist() == [6, 1]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (lines(ROWS[0], ROWS[1], ROWS[0]), "line 4: the hour .* was given in line 2"),
        (lines(ROWS[0], ",1,2,3,4"), "line 3: the time is empty"),
        (lines("2026-04-01T06:30Z,1,2,3,4"), "line 2: .* not on a full hour"),
        (lines("2026-04-01T06:00+05:30,1,2,3,4"), "line 2: .* not on a full hour"),
        (lines("2026-04-01T06:00,1,2,3,4"), "line 2: .* no zone"),
        (lines("1 April,1,2,3,4"), 'line 2: "1 April" is not a time'),
        (lines(ROWS[0], "2026-04-01T07:00Z,warm,2,3,4"), 'line 3: "warm" in the column "air_temp_c"'),
        (lines("2026-04-01T07:00Z,1,2,3"), "line 2: 4 cells"),
        (lines("2026-04-01T07:00Z,1,5,2,3,4"), "line 2: 6 cells"),
        (lines(), "no hour below"),
        (HEAD.replace("air_temp_c", "air_temp"), 'Did you mean "air_temp_c"'),
        (HEAD.replace("wind_10m_ms", "wind_10m_kmh"), 'Did you mean "wind_10m_ms"'),
        (HEAD + ",rain_mm", "named twice"),
        (HEAD.replace("time", "date"), 'no column "time"'),
        (HEAD.replace(",", ";"), "Part them by commas"),
        ("time,air_temp_c\n2026-04-01T06:00Z,1\n", "rel_humidity_pct"),
    ],
)
def test_faults_of_a_csv_are_named_with_their_line(text, says):
    with pytest.raises(ForecastMalformed, match=says):
        read(text)


def test_blank_lines_and_quotes_do_not_shift_the_count():
    with pytest.raises(ForecastMalformed, match="line 4: the time is empty"):
        read(lines('"2026-04-01T06:00Z",1,2,3,4', "", ",1,2,3,4"))


def test_a_year_of_hours_costs_little_more_than_twelve_times_a_month(tmp_path):
    month, year = calls_to_read(tmp_path, 732), calls_to_read(tmp_path, 8784)
    assert year <= 12 * month
    # No call for each cell, whatever the machine.
    assert year < 8784 * len(VARIABLE)


def calls_to_read(folder: Path, hours: int) -> int:
    """How many functions are called to read a table of so many hours, which no machine makes more or fewer."""
    first = datetime(2024, 1, 1, tzinfo=UTC)
    head = ",".join(["time", *VARIABLE])
    row = ",".join("999" if name == "pressure_hpa" else "0.5" for name in VARIABLE)
    body = "\n".join(f"{first + timedelta(hours=hour):%Y-%m-%dT%H:%MZ},{row}" for hour in range(hours))
    path = folder / f"{hours}.csv"
    path.write_text(f"{head}\n{body}\n")
    calls = 0

    def count(_frame: FrameType, what: str, _arg: object) -> None:
        nonlocal calls
        calls += what in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        weather = read_file(path, fetched_at=NOW).weather
    finally:
        sys.setprofile(before)
    assert (weather.hours, weather.flaws) == (hours, ())
    return calls


def test_observations_of_greensboro_are_read_whole():
    forecast = read_file(FIXTURES / "published" / "greensboro_1980_04_hourly.csv", fetched_at=NOW)
    assert forecast.weather.hours == 719
    assert forecast.weather.flaws == ()
    assert forecast.provider == "file"


def test_reading_a_file_loads_neither_client_nor_tables():
    code = (
        "import sys; from datetime import datetime, UTC; import planner.forecast\n"
        "from planner.forecast.recorded import read_file\n"
        f"read_file({str(BERLIN)!r}, fetched_at=datetime.now(UTC))\n"
        f"read_file({str(NEW_YORK)!r}, fetched_at=datetime.now(UTC))\n"
        "print([name for name in ('httpx', 'pandas', 'stamina', 'sqlalchemy') if name in sys.modules])"
    )
    root = str(Path(__file__).parents[2])
    told = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


def _value(name: str):
    variable = VARIABLE[name]
    number = st.floats(min_value=max(variable.low, 0.0), max_value=variable.high, allow_nan=False)
    return st.one_of(st.none(), number)


@st.composite
def tables(draw):
    optional = [name for name in VARIABLE if name not in NEEDED and VARIABLE[name].spike is None]
    names = [*NEEDED, *draw(st.lists(st.sampled_from(optional), unique=True))]
    hours = draw(st.lists(st.integers(490_000, 490_060), min_size=1, max_size=20, unique=True))
    zone = timezone(timedelta(hours=draw(st.integers(-11, 13))))
    moments = [datetime.fromtimestamp(hour * 3600, zone) for hour in hours]
    return {moment: {name: draw(_value(name)) for name in names} for moment in moments}


@settings(max_examples=60, deadline=None)
@given(tables())
def test_what_is_written_is_what_is_read(table):
    names = list(next(iter(table.values())))
    written = [",".join(["time", *names])]
    for moment, row in table.items():
        cells = ["" if row[name] is None else repr(row[name]) for name in names]
        written.append(",".join([moment.isoformat(), *cells]))
    weather = read("\r\n".join(written)).weather
    spiked = {(flaw.column, flaw.at) for flaw in weather.flaws}
    for moment, row in table.items():
        for name in names:
            got = float(weather[name][0, weather.index(moment)])
            if row[name] is None or (name, moment.astimezone(UTC)) in spiked:
                assert math.isnan(got)
            elif name in ("rel_humidity_pct", "cloud_pct"):
                assert got == min(row[name], 100.0)
            else:
                assert got == row[name]
    assert weather.hours == (max(table) - min(table)) // timedelta(hours=1) + 1


def test_json_is_not_taken_for_csv_when_it_begins_with_space():
    text = "\n  " + json.dumps(open_meteo())
    assert read_bytes(text.encode(), name="x", fetched_at=NOW).provider == "open-meteo"


def test_one_hour_of_another_decade_is_a_slip():
    """It took 84 s and 1.1 GB to lay out the thirty years between."""
    from planner.weather import HourlyWeather

    hours = [NOW_S + 3600 * hour for hour in range(48)]
    columns = {"air_temp_c": 9.0, "rel_humidity_pct": 70.0, "wind_10m_ms": 2.0, "rain_mm": 0.0}

    def of(labels):
        return HourlyWeather.from_columns(
            epoch_s=labels, columns={name: [value] * len(labels) for name, value in columns.items()}
        )

    assert of([*hours[:20], *hours[30:]]).hours == 48
    assert of([hours[0] - 3600 * 24 * 150, *hours]).hours == 48 + 24 * 150
    with pytest.raises(ForecastMalformed, match="a slip"):
        of([hours[0] - 3600 * 24 * 365 * 30, *hours])


NOW_S = 1_775_000_400 // 3600 * 3600
