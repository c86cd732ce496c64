"""A forecast file says how old it is as far as it can, and of which place it is."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from planner.cli.commands import run
from planner.cli.filed import Filed, filed
from planner.cli.many_sites import no_pass, show_passes
from planner.config.load import load
from planner.errors import ForecastUnavailable
from planner.forecast.recorded import read_file
from planner.site import Site
from tests.cli.test_commands import WEEK, haysel
from tests.made import DEMO, ROOT

BERLIN = ROOT / "fixtures/forecast/open-meteo/berlin_2025_07_27.json"
NEW_YORK = ROOT / "fixtures/forecast/met-norway/new_york_2020_07_20.json"
LATER = datetime(2025, 8, 1, 10, tzinfo=UTC)


@pytest.fixture(scope="module")
def site() -> Site:
    return load(DEMO).site


def _filed(path: Path, now: datetime, site: Site) -> Filed:
    return filed(read_file(path, fetched_at=now), path, now=now, site=site)


def test_an_answer_with_its_moment_tells_its_age(site: Site) -> None:
    found = _filed(BERLIN, LATER, site)
    assert found.age_known
    assert found.forecast.fetched_at == datetime(2025, 7, 27, 3, tzinfo=UTC)


def test_local_moments_are_brought_to_utc(site: Site, tmp_path: Path) -> None:
    raw = json.loads(BERLIN.read_text()) | {"utc_offset_seconds": 7200}
    path = tmp_path / "f.json"
    path.write_text(json.dumps(raw))
    assert _filed(path, LATER, site).forecast.fetched_at == datetime(2025, 7, 27, 1, tzinfo=UTC)


def test_recorded_headers_tell_when_it_was_fetched(site: Site) -> None:
    found = _filed(NEW_YORK, datetime(2020, 7, 22, tzinfo=UTC), site)
    assert found.forecast.fetched_at == datetime(2020, 7, 20, 11, 44, 31, tzinfo=UTC)
    assert found.forecast.issued_at == datetime(2020, 7, 20, 1, 30, 57, tzinfo=UTC)


def test_an_issue_without_headers_is_the_age(site: Site, tmp_path: Path) -> None:
    path = tmp_path / "f.json"
    path.write_text(json.dumps(json.loads(NEW_YORK.read_text())["data"]))
    found = _filed(path, datetime(2020, 7, 22, tzinfo=UTC), site)
    assert found.age_known
    assert found.forecast.fetched_at == found.forecast.issued_at


def test_a_file_that_tells_nothing_is_of_unknown_age(site: Site, tmp_path: Path) -> None:
    raw = json.loads(BERLIN.read_text())
    del raw["current"]
    path = tmp_path / "f.json"
    path.write_text(json.dumps(raw))
    found = _filed(path, LATER, site)
    assert not found.age_known
    assert any("f.json does not tell when this forecast was made" in note for note in found.forecast.notes)
    assert any("5.4 days before" in note for note in found.forecast.notes)


@pytest.mark.parametrize(("path", "low", "high"), [(BERLIN, 700, 1300), (NEW_YORK, 5000, 6000)])
def test_a_forecast_of_another_place_is_told(path: Path, low: float, high: float, site: Site) -> None:
    (note,) = [one for one in _filed(path, LATER, site).forecast.notes if "km from" in one]
    assert low < float(note.split(" km from")[0].split()[-1].replace(",", "")) < high


def test_a_forecast_of_the_place_is_not(tmp_path: Path, site: Site) -> None:
    path = tmp_path / "f.json"
    for north, is_far in ((0.15, False), (0.3, True)):
        raw = json.loads(BERLIN.read_text())
        raw["latitude"], raw["longitude"] = site.latitude_deg + north, site.longitude_deg
        path.write_text(json.dumps(raw))
        notes = _filed(path, LATER, site).forecast.notes
        assert any("km from" in note for note in notes) is is_far


def test_a_later_now_makes_a_recorded_answer_stale() -> None:
    options = [
        "--config",
        "config/demo.toml",
        "--forecast",
        str(BERLIN),
        "--now",
        "2025-08-01T10:00",
        "--json",
    ]
    head = json.loads(haysel("days", *options).stdout)["forecast"]
    assert head["stale"] is True
    assert head["age_h"] == pytest.approx(126.0)
    assert head["fetched_at"] == "2025-07-27T03:00:00Z"
    assert any("km from" in note for note in head["notes"])


def test_a_table_of_hours_has_no_age_and_says_so() -> None:
    options = ["--config", "config/demo.toml", "--forecast", WEEK, "--now", "2026-05-07T06:00"]
    done = haysel("days", *options)
    assert "age not known" in done.stdout, done.stderr
    assert "week.csv does not tell when this forecast was" in " ".join(done.stdout.split())
    head = json.loads(haysel("days", *options, "--json").stdout)["forecast"]
    assert (head["issued_at"], head["fetched_at"], head["age_h"], head["stale"]) == (None, None, None, False)


def test_the_moment_of_judging_before_the_fetch_is_age_nought(site: Site) -> None:
    early = datetime(2025, 7, 27, 1, tzinfo=UTC)
    assert _filed(BERLIN, early, site).forecast.fetched_at - early == timedelta(0)


@pytest.mark.parametrize(
    "command",
    [["days"], ["windows"], ["warnings"], ["week"], ["explain", "mow_green", "2025-07-27T10:00"]],
)
def test_every_reading_of_another_place_says_so(
    command: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    options = ["--config", "config/demo.toml", "--forecast", str(BERLIN), "--now", "2025-07-27T05:00"]
    assert run([*command, *options]) == 0
    assert "km from Thistlewick Vale" in " ".join(capsys.readouterr().out.split())


def test_a_stale_forecast_and_the_figures_of_now_fit_the_width(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    at = ["--config", "config/demo.toml", "--forecast", str(BERLIN), "--now", "2025-08-01T10:00"]
    for command in ("now", "week"):
        assert run([command, *at]) == 0
        lines = capsys.readouterr().out.splitlines()
        assert max(map(len, lines)) <= 80
        assert command == "now" or any(line.startswith("!! STALE") for line in lines)


def test_the_row_of_a_site_fits_the_width(capsys: pytest.CaptureFixture[str]) -> None:
    rows = [
        no_pass(Path("north.toml"), "word " * 60, "north"),
        no_pass(Path("south.toml"), "none", "a_key_that_is_longer_than_the_room_for_it"),
    ]
    with pytest.raises(ForecastUnavailable):
        show_passes(rows, as_json=False)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith("north               no pass: word")
    assert lines[1].startswith(" " * 20 + "word")
    assert lines[-1] == "a_key_that_is_longer_than_the_room_for_it no pass: none"
