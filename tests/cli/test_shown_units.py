"""`[site] units = "imperial"`: texts are turned, JSON is not, and nothing grows wider than a terminal."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path

import pytest
from msgspec.structs import replace

from planner.actions.messages import outgoing
from planner.cli.board import days
from planner.config.load import load
from planner.outputs.calendar import calendar
from planner.reports.rows import Report
from tests.cli.test_commands import WEEK, haysel
from tests.made import DEMO, ROOT
from tests.reports.made import NOW, demo_assessment, demo_pass
from tests.reports.test_retold import METRIC_UNIT

CLOCK = ("--forecast", WEEK, "--now", "2026-05-07T06:00")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's site, read in US customary units."""
    folder = tmp_path_factory.mktemp("site")
    for path in (ROOT / "config").glob("*.toml"):
        (folder / path.name).write_text(path.read_text(encoding="utf-8"), encoding="utf-8")
    text = DEMO.read_text(encoding="utf-8")
    (folder / "site.toml").write_text(
        text.replace("[site]\n", '[site]\nunits = "imperial"\n', 1), encoding="utf-8"
    )
    return folder / "site.toml"


READING = [
    ("warnings",),
    ("days",),
    ("week",),
    ("windows", "--all"),
    ("explain", "foliar_feed", "16:00"),
    ("explain", "mow_green", "tomorrow 16:00"),
]


@pytest.mark.parametrize("command", READING, ids=" ".join)
def test_texts_are_turned_and_answers_for_programs_are_not(command: tuple[str, ...], site: Path) -> None:
    told = haysel(*command, "--config", str(site), *CLOCK)
    assert told.returncode == 0, told.stderr
    lines = told.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    # A broken line may part a figure from its unit.
    assert METRIC_UNIT.search(" ".join(told.stdout.split())) is None
    metric = haysel(*command, "--config", str(DEMO), *CLOCK, "--json").stdout
    ours = haysel(*command, "--config", str(site), *CLOCK, "--json").stdout
    assert json.loads(ours.replace('"imperial"', '"metric"')) == json.loads(metric)


def test_the_days_are_those_of_the_answer_turned(site: Path) -> None:
    told = haysel("days", "--config", str(site), *CLOCK).stdout
    rows = json.loads(haysel("days", "--config", str(site), *CLOCK, "--json").stdout)["days"]
    first = rows[0]
    line = next(line for line in told.splitlines() if line.startswith("Thu 7 May"))
    numbers = re.findall(r"-?\d+(?:\.\d+)?", line.removeprefix("Thu 7 May"))
    # growth, wash, frost, air from, air to, grass, rain, wind, soil; factors of NIST SP 811.
    expected = [
        *(first["air_min_c"] * 1.8 + 32, first["air_max_c"] * 1.8 + 32, first["grass_min_c"] * 1.8 + 32),
        *(first["rain_mm"] / 25.4, first["wind_2m_max_kmh"] / 1.609344, first["soil_temp_c"] * 1.8 + 32),
    ]
    places = [0, 0, 0, 2, 0, 0]
    for number, value, digits in zip(numbers[3:], expected, places, strict=True):
        assert float(number) == pytest.approx(value, abs=0.5 * 10**-digits + 1e-9)


@pytest.mark.parametrize("units", ["imperial", "metric"])
def test_columns_of_the_days_never_touch(units: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """73 to 106 °F in a dry summer, and -10 to -5 °C in a hard winter, are as wide as air gets."""
    report = demo_pass()[0]
    hot = [
        replace(row, air_min_c=22.8 if units == "imperial" else -10.2, air_max_c=41.1) for row in report.days
    ]
    monkeypatch.setattr("planner.cli.shown.units_read", lambda: units)
    line = days(replace(report, days=tuple(hot)))[2]
    air = "73 to 106" if units == "imperial" else "-10 to 41"
    assert f" {air} " in line, line


def test_the_mix_is_told_in_gallons_and_ounces(site: Path) -> None:
    command = ("mix", "foliar_feed", "--product", "X", "--rate", "25", "--config", str(site))
    told = haysel(*command)
    assert told.returncode == 0, told.stderr
    whole = " ".join(told.stdout.split())
    assert METRIC_UNIT.search(whole) is None
    plan = json.loads(haysel(*command, "--json").stdout)
    # By hand: 1 US gallon is 3.785412 L, 1 fluid ounce 29.57353 mL, 1,000 ft2 are 92.90304 m2.
    assert f"{plan['volume_lha'] * 92.90304 / 1e4 / 3.785412:.2f} gal/1,000 ft²" in whole
    amount_l = plan["products"][0]["amount"]
    assert f"{amount_l * 1000 / 29.57353:.1f} fl oz" in whole
    assert "7.85 fl oz/1,000 ft²" in whole


def test_the_replay_speaks_of_the_rules_in_their_units(site: Path) -> None:
    year = ROOT / "fixtures" / "published" / "frankfurt_2024_hourly.csv"
    command = ("hindcast", "--weather", str(year), "--job", "foliar_feed", "--surface", "green")
    ours, metric = (haysel(*command, "--config", str(one)) for one in (site, DEMO))
    assert ours.returncode == 0, ours.stderr
    assert ours.stdout == metric.stdout


def _imperial(report: Report) -> Report:
    return replace(report, site=replace(report.site, units="imperial"))


def test_messages_and_calendar_are_turned(site: Path) -> None:
    config = load(site)
    report = _imperial(demo_pass()[0])
    feed = calendar(report).decode().replace("\r\n ", "").replace("\\,", ",")
    assert METRIC_UNIT.search(feed) is None
    assert "°F" in feed
    assert METRIC_UNIT.search(calendar(demo_pass()[0]).decode().replace("\r\n ", ""))
    life = demo_assessment().life
    assert life is not None
    sent = outgoing(life.news, ["log"], NOW, config.site)
    plain = outgoing(life.news, ["log"], NOW, dataclasses.replace(config.site, units="metric"))
    assert len(sent) == len(plain) > 1
    for ours, metric in zip(sent, plain, strict=True):
        assert METRIC_UNIT.search(str(ours.body["body"])) is None
        assert (ours.body["title"] == metric.body["title"]) or METRIC_UNIT.search(str(metric.body["title"]))
    assert any(METRIC_UNIT.search(str(one.body["body"])) for one in plain)
