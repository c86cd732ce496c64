"""Readings by command and by form: told, listed, withdrawn, and refused when they cannot be."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from planner.cli.commands import haysel
from planner.config.load import load
from planner.errors import ConfigError
from tests.made import DEMO, ROOT


@pytest.fixture
def site(tmp_path: Path) -> Path:
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    return tmp_path / DEMO.name


def ask(site: Path, *words: str) -> Result:
    return CliRunner().invoke(haysel, ["reading", *words, "--config", str(site)])


def answer(site: Path, *words: str) -> Any:
    found = ask(site, *words, "--json")
    assert found.exit_code == 0, found.exception or found.output
    return json.loads(found.stdout)


def test_water_is_told_listed_and_withdrawn(site):
    row = answer(site, "--surface", "green", "--water-mm", "4", "--at", "yesterday 04:00")
    assert (row["surface"], row["water_mm"], row["soil_moisture_pct"]) == ("green", 4.0, None)
    assert row.pop("verdict") is None
    assert answer(site)["observations"] == [row]
    assert "green: water given 4 mm" in ask(site).stdout
    gone = answer(site, "--withdraw", row["uuid"][:8], "--reason", "the other green")
    assert gone["withdrawn"]
    assert answer(site)["observations"] == []


def test_the_air_on_the_spot_is_of_the_whole_site(site):
    row = answer(site, "--wind-2m-kmh", "9", "--wind-dir-deg", "225", "--note", "by the gate")
    assert (row["surface"], row["wind_2m_kmh"], row["note"]) == (None, 9.0, "by the gate")


def test_a_job_named_with_it_is_judged_in_words(site):
    words = ("--surface", "green", "--wind-2m-kmh", "9", "--job", "foliar_feed")
    assert answer(site, *words)["verdict"]["state"] == "unread", "no forecast is kept"
    text = ask(site, *words).stdout
    assert "foliar feed, green. Not known: no forecast is kept for this hour." in " ".join(text.split())
    assert "The label is the law where you are" in text


def test_a_repeat_without_a_time_is_the_same_reading(site):
    key = "6a4b9f0e-8d5c-4a76-9c3e-2f1d0b9a8c7e"
    words = ("--surface", "green", "--height-mm", "4.5", "--key", key)
    assert answer(site, *words) == answer(site, *words)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--water-mm", "4"), "water_mm is of one surface"),
        (("--surface", "green", "--soil-moisture-pct", "140"), "soil_moisture_pct"),
        (("--surface", "green", "--water-mm", "nan"), "water_mm"),
        (("--surface", "gren", "--water-mm", "4"), 'Did you mean "green"'),
        (("--surface", "green", "--water-mm", "4", "--at", "2099-01-01T04:00"), "still to come"),
        (("--withdraw", "ffff", "--reason", "x"), "no reading"),
    ],
)
def test_what_cannot_be_is_refused_in_words(site, words, says):
    found = ask(site, *words)
    assert found.exit_code != 0
    assert says in str(found.exception)


def _with(site: Path, table: str) -> Path:
    site.write_text(f"{site.read_text()}\n[[readings]]\n{table}\n")
    return site


def test_the_site_file_may_tell_readings_too(site):
    (told,) = load(_with(site, 'surface = "collar"\nat = 2026-05-06T05:00:00\nwater_mm = 4')).readings
    # The site's own clock, an hour ahead of UTC in May (IANA zone data).
    assert (told.surface, told.at.isoformat()) == ("collar", "2026-05-06T05:00:00+01:00")
    assert told.figures == {"water_mm": 4.0}


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ('at = 2026-05-06T05:00:00\nsurface = "moon"\nwater_mm = 4', "moon"),
        ("at = 2026-05-06T05:00:00\nwater_mm = 4", "water_mm is of one surface"),
        ("at = 2026-05-06T05:00:00", "no figure"),
        ('at = 2026-05-06T05:00:00\nsurface = "green"\nwater_l = 4', "water_mm"),
    ],
)
def test_faults_of_a_reading_stand_on_the_list(site, table, says):
    with pytest.raises(ConfigError, match=says):
        load(_with(site, table))
