"""The committed record and its page are what the figures come to now."""

from __future__ import annotations

import json

import msgspec
import pytest

from planner.verification import QUANTITIES, showing, verified
from planner.verification.base import Bin, Row
from tests import pages
from tests.cli.test_commands import haysel
from tests.made import ROOT


@pytest.mark.replay
def test_rows_of_carried_data_are_current() -> None:
    kept = [one.row for one in pages.record() if one.on is None]
    fresh = verified(ROOT / "fixtures")
    assert [showing.text([row]) for row in kept] == [showing.text([row]) for row in fresh], (
        "stale: run python -m tests.pages --verify"
    )
    assert {row.quantity for row in fresh} <= set(QUANTITIES)


def test_pages_are_those_of_the_record() -> None:
    docs = ROOT / "docs"
    assert (docs / "verification.md").read_text(encoding="utf-8") == pages.verification_page(pages.record())
    drawn = showing.picture([one.row for one in pages.record()])
    assert (docs / "verification.svg").read_text(encoding="utf-8") == drawn


def _row(low: float, high: float) -> Row:
    return Row(
        quantity="ground frost",
        indices=("frost_chance_ground",),
        data="a made-up place",
        measure="Brier",
        cases=100,
        of="nights",
        score=0.04,
        baseline="air less a constant",
        baseline_score=0.05,
        gain=(low + high) / 2,
        gain_low=low,
        gain_high=high,
        fitted="none",
        bins=(Bin(low=0.0, high=0.1, cases=60, said=0.04, happened=0.07),),
    )


def test_verdict_is_better_only_where_the_whole_interval_is() -> None:
    assert showing.verdict(_row(0.001, 0.02)) == "better"
    assert showing.verdict(_row(-0.001, 0.02)) == "not surely better"
    assert showing.verdict(_row(-0.02, -0.001)) == "worse"


def test_text_fits_the_terminal_and_names_what_was_said_and_what_came() -> None:
    text = showing.text([_row(0.001, 0.02)])
    assert "said 0.0–0.1: 0.04 on average, happened 0.07 (60 nights)" in text
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.replay
def test_command_gives_text_json_and_picture(tmp_path) -> None:
    data = tmp_path / "data"
    data.mkdir()
    carried = ROOT / "fixtures" / "verification"
    for name in ("ireland_2017_daily.csv.gz", "ireland_2017_hourly.csv.gz", "ireland_stations.csv"):
        (data / name).write_bytes((carried / name).read_bytes())
    drawn = tmp_path / "gains.svg"
    asked = ("verify", "--data", str(data), "--quantity", "soil temperature")
    text = haysel(*asked, "--picture", str(drawn))
    assert text.returncode == 0, text.stderr
    assert "soil temperature · Ireland" in text.stdout
    assert drawn.read_text(encoding="utf-8").startswith("<svg")
    rows = json.loads(haysel(*asked, "--json").stdout)["rows"]
    assert rows[0]["is_better"]
    assert {"score", "baseline_score", "gain_low", "gain_high"} <= set(rows[0])


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--data", "nowhere"), "is no folder"),
        (("--quantity", "luck"), "is not verified"),
        (("--data", "config"), "holds no measured data"),
        (("--data", "config"), "bondville*hourly*.csv[.gz]: time, air_temp_c"),
        (("--picture", "nowhere/gains.svg"), "There is no folder nowhere"),
    ],
)
def test_command_says_what_is_wrong(args, says) -> None:
    found = haysel("verify", *args)
    assert found.returncode == 2
    assert says in found.stderr


@pytest.mark.replay
def test_a_table_that_cannot_be_used_is_named_and_costs_the_others_nothing(tmp_path) -> None:
    carried = ROOT / "fixtures" / "verification"
    for name in ("ireland_2017_daily.csv.gz", "ireland_2017_hourly.csv.gz"):
        (tmp_path / name).write_bytes((carried / name).read_bytes())
    (tmp_path / "uscrn_2021_daily.csv").write_text("wban,latitude_deg\n03047,31.6\n")
    (tmp_path / "Debilt_2001_daily.csv.gz").write_bytes(b"no table")
    (tmp_path / "bondville_1998_hourly.csv").write_text("")
    (tmp_path / "payerne_2017_hourly.csv").write_text(
        "time,air_temp_c,rel_humidity_pct,wind_10m_ms,shortwave_wm2,surface_temp_c\nyesterday,1,80,2,0,0\n"
    )
    found = haysel("verify", "--data", str(tmp_path), "--json")
    assert found.returncode == 0, found.stderr
    rows = json.loads(found.stdout)["rows"]
    assert {row["quantity"] for row in rows} == {"ground frost", "soil temperature"}
    for said in (
        "uscrn_2021_daily.csv has no column date_local_standard, air_mean_c.",
        "Debilt_2001_daily.csv.gz cannot be read as a table",
        "bondville_1998_hourly.csv cannot be read as a table",
        "night surface: The column time is not one of moments",
    ):
        assert said in found.stderr


def test_a_row_without_an_interval_is_written_and_read_again() -> None:
    row = msgspec.structs.replace(_row(0.1, 0.2), gain_low=None, gain_high=None)
    assert msgspec.json.decode(msgspec.json.encode(row), type=Row) == row
    assert "too few for an interval: gain +0.1500" in showing.text([row])
    assert "<circle" in showing.picture([row])
    assert not row.is_better
