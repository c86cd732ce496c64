"""Commands as a keeper types them: answers, exit status, what is loaded, what fits the terminal."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.made import ROOT

WEEK = str(ROOT / "fixtures" / "demo" / "week.csv")
NOW = "2026-05-07T06:00"
COMPUTED = ["--config", "config/demo.toml", "--forecast", WEEK, "--now", NOW]


def haysel(*args: str, cwd: Path = ROOT, **env: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **env}
    environment.pop("HAYSEL_CONFIG", None)
    environment.update(env)
    return subprocess.run(
        [sys.executable, "-m", "planner", *args],
        cwd=cwd,
        env=environment,
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )


@pytest.fixture(scope="module")
def demo() -> str:
    done = haysel("demo")
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def whole_demo() -> str:
    done = haysel("demo", "--all")
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_whole_demo_tells_days_windows_bars_and_warnings(whole_demo):
    demo = whole_demo
    for wanted in ("growth", "wash", "frost", "Spraying", "Seeding", "Fertilising", "Mowing", "not before"):
        assert wanted in demo, wanted
    assert "may wash seed off the apron strip" in demo
    assert "Ground frost likely" in demo
    assert "invented" in demo
    assert "The label is the law" in demo


def test_demo_fits_eighty_columns(demo, whole_demo):
    assert max(len(line) for line in (demo + whole_demo).splitlines()) <= 80


def test_the_readme_shows_what_the_demo_prints(demo):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    sample = readme.split("## What it tells you")[1].split("```")[1]
    printed = {line.rstrip() for line in demo.splitlines()}
    assert sample.strip()
    missing = [line for line in sample.splitlines() if line.strip() and line.rstrip() not in printed]
    assert missing == []


def test_demo_reads_the_same_from_any_folder(demo, tmp_path):
    assert haysel("demo", cwd=tmp_path).stdout == demo


@pytest.mark.parametrize(
    "command", [["days"], ["windows"], ["warnings"], ["explain", "foliar_feed", "07:00"]]
)
def test_computed_answers_as_text_and_json(command):
    text = haysel(*command, *COMPUTED)
    assert text.returncode == 0, text.stderr
    assert max(len(line) for line in text.stdout.splitlines()) <= 80
    parsed = json.loads(haysel(*command, *COMPUTED, "--json").stdout)
    assert parsed["site"] == {
        "key": "main",
        "name": "Thistlewick Vale",
        "timezone": "Europe/London",
        "units": "metric",
    }
    assert parsed["forecast"]["stale"] is False


def test_json_of_windows_has_the_shape_of_the_contract():
    found = json.loads(haysel("windows", "--all", *COMPUTED, "--json").stdout)
    row = found["windows"][0]
    assert row["rank"] == 1
    for key in (
        "job",
        "kind",
        "surface",
        "start",
        "end",
        "state",
        "latest_start",
        "score",
        "chance",
        "cautions",
    ):
        assert key in row
    assert set(row["limiting"]) >= {"need", "says"}
    assert row["start"].endswith("+01:00")
    assert found["made_at"].endswith("Z")
    barred = found["barred"][0]
    assert set(barred["because"]) >= {"need", "says", "hours_lost"}
    assert "next_window" in barred


def test_json_of_days_and_warnings_has_the_shape_of_the_contract():
    day = json.loads(haysel("days", *COMPUTED, "--json").stdout)["days"][0]
    for key in ("date", "surface", "growth_potential", "rain_wash_risk", "frost_risk"):
        assert key in day
    assert 0 <= day["growth_potential"] <= 1
    row = json.loads(haysel("warnings", *COMPUTED, "--json").stdout)["warnings"][0]
    for key in ("id", "kind", "surface", "begins", "lead_h", "level", "chance", "says", "advice"):
        assert key in row


def test_windows_can_be_asked_by_job_surface_and_day():
    found = json.loads(
        haysel("windows", "foliar_feed", "--surface", "green", "--day", "sat", *COMPUTED, "--json").stdout
    )
    assert {(row["job"], row["surface"]) for row in found["windows"]} == {("foliar_feed", "green")}
    assert all(row["start"][:10] <= "2026-05-09" <= row["latest_start"][:10] for row in found["windows"])


def test_explain_tells_every_need_with_figure_limits_and_source():
    found = json.loads(haysel("explain", "foliar_feed", "14:00", *COMPUTED, "--json").stdout)
    assert len(found["needs"]) >= 12
    for row in found["needs"]:
        assert row["source"]
        assert row["verdict"] in ("holds", "only just", "fails", "fails after", "not read")
    failing = [row for row in found["needs"] if row["verdict"].startswith("fails")]
    assert failing
    assert len(found["would_have_to_change"]) == len(failing)


def test_explain_tells_every_label_whole():
    found = json.loads(haysel("explain", "foliar_feed", "14:00", *COMPUTED, "--json").stdout)
    text = " ".join(haysel("explain", "foliar_feed", "14:00", *COMPUTED).stdout.split())
    long = [row["label"] for row in found["needs"] if len(row["label"]) > 38]
    assert long
    for label in long:
        assert all(word in text for word in label.split()), label
    assert "the 6 h bef " not in text


def test_windows_of_surfaces_are_told_together_only_where_all_is_the_same():
    found = json.loads(haysel("windows", "fungicide", *COMPUTED, "--json").stdout)
    text = haysel("windows", "fungicide", *COMPUTED).stdout
    unread = {row["surface"]: tuple(row["not_read"]) for row in found["windows"]}
    assert len(set(unread.values())) > 1
    for line in text.splitlines():
        if "leaf fungicide: " not in line or "; not before" in line or "; no hour in" in line:
            continue
        named = line.split("leaf fungicide: ")[1].split(" (start")[0].split(", ")
        assert len({unread[surface] for surface in named}) == 1, line


@pytest.mark.parametrize(
    ("args", "status", "says"),
    [
        (["windows", "--config", "nowhere.toml"], 2, "There is no config file nowhere.toml"),
        (["windows", "foliar_fed", *COMPUTED], 2, 'Did you mean "foliar_feed"?'),
        (
            ["explain", "foliar_feed", "2030-01-01T07:00", *COMPUTED],
            2,
            "lies outside the hours of this forecast",
        ),
        (["explain", "foliar_feed", "noonish", *COMPUTED], 2, "is not a time"),
        (["windows", "--day", "someday", *COMPUTED], 2, "is not a day"),
        (["days", "--surface", "grene", *COMPUTED], 2, 'Did you mean "green"?'),
        (["days", *COMPUTED[:4], "--now", "2027-01-01T06:00"], 2, "lies outside the forecast"),
        (["days", "--config", "config/demo.toml", "--now", NOW], 2, "--now goes with --forecast"),
        (["days", *COMPUTED[:2], "--forecast", "nowhere.csv", "--now", NOW], 2, "nowhere.csv"),
        (["frobnicate"], 2, "No such command"),
    ],
)
def test_faults_are_told_on_stderr_with_their_status(args, status, says):
    done = haysel(*args)
    assert done.returncode == status, done.stderr
    assert says in done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time,air_temp_c\n2026-05-07T00:00Z,10\n", "rel_humidity_pct"),
        ("time,air_temp_c,rel_humidity_pct,wind_10m_ms,rain_mm\nyesterday,1,2,3,4\n", "line 2"),
        ('{"error": true, "reason": "No data"}', "No data"),
        ("not a forecast at all", ""),
    ],
)
def test_an_unreadable_forecast_is_status_three_and_one_clear_line(tmp_path, text, says):
    file = tmp_path / "forecast.csv"
    file.write_text(text)
    done = haysel("days", "--config", "config/demo.toml", "--forecast", str(file), "--now", NOW)
    assert done.returncode == 3, done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_wrong_unit_is_named(tmp_path):
    raw = json.loads((ROOT / "fixtures/forecast/open-meteo/berlin_2025_07_27.json").read_text())
    raw["hourly_units"]["wind_speed_10m"] = "furlong/fortnight"
    file = tmp_path / "forecast.json"
    file.write_text(json.dumps(raw))
    done = haysel(
        "days", "--config", "config/demo.toml", "--forecast", str(file), "--now", "2025-07-27T06:00"
    )
    assert done.returncode == 3
    assert "furlong/fortnight" in done.stderr


def test_reading_before_any_pass_says_what_to_do(tmp_path):
    site = (ROOT / "config" / "demo.toml").read_text()
    (tmp_path / "haysel.toml").write_text(site)
    for file in ("rules.toml", "materials.toml"):
        if (ROOT / "config" / file).exists():
            (tmp_path / file).write_text((ROOT / "config" / file).read_text())
    done = haysel("windows", "--config", str(tmp_path / "haysel.toml"))
    assert done.returncode == 3
    assert "haysel refresh" in done.stderr


LOADED = """
import sys
from planner.cli import commands
status = commands.run(sys.argv[1:])
names = ("pandas", "numpy", "fastapi", "sqlalchemy", "pydantic", "httpx", "icalendar", "jinja2")
heavy = [name for name in names if name in sys.modules]
print("status", status, "loaded", ",".join(heavy), file=sys.stderr)
"""


@pytest.mark.parametrize(
    "args",
    [
        *(["days"], ["windows"], ["warnings"], ["week"], ["now"]),
        *(["explain", "foliar_feed", "2026-05-07T07:00"], ["days", "--json"], ["week", "--json"], ["--help"]),
    ],
)
def test_reading_commands_load_no_heavy_library(kept, args):
    options = [] if args == ["--help"] else ["--config", kept]
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *args, *options],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert "status 0 loaded \n" in done.stderr, done.stderr


def test_a_stored_pass_read_long_after_says_it_is_stale(kept):
    done = haysel("windows", "--config", kept)
    assert done.returncode == 0
    assert "STALE" in done.stdout
    found = json.loads(haysel("windows", "--config", kept, "--json").stdout)
    assert found["forecast"]["stale"] is True
    # What is over by now is not offered any more.
    assert found["windows"] == []
