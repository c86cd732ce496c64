"""What a keeper reads first in a terminal: it fits a screen, and speaks of the keeper's own work."""

from __future__ import annotations

import json

import pytest
from msgspec.structs import replace

from planner.cli import first_screen
from planner.cli.reading import week_text
from tests.cli.test_commands import COMPUTED, haysel
from tests.made import ROOT
from tests.reports.made import demo, left_row, warning_row, with_week, work_row


@pytest.fixture(scope="module")
def printed() -> str:
    done = haysel("demo")
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_demo_fits_a_screen_of_forty_five_lines_of_eighty_columns(printed):
    lines = printed.splitlines()
    assert len(lines) <= 45
    assert max(map(len, lines)) <= 80


def test_it_names_no_job_that_the_site_file_does_not_name(printed):
    report = demo()
    others = {row.label for row in report.ribbons if row.job not in report.keeper_jobs}
    assert "top-dress" in others
    for label in others:
        assert label not in printed, label


def test_it_tells_today_tomorrow_what_threatens_and_the_week(printed):
    joined = " ".join(printed.split())
    for row in demo().week.work:
        assert f"{row.start:%H:%M}–{row.end:%H:%M}" in printed
    for row in demo().warnings:
        assert " ".join(row.says.split()) in joined
    assert "Today: roll, green 08:00–08:30." in printed
    # Ground soaked by Thursday's rain and the frost after it leave Friday no hour for a spray.
    assert "Tomorrow: no hour to spray: too cold for leaf to take it up" in printed
    assert "16:00           play day, green" in printed


def test_what_does_not_fit_is_counted_and_its_command_is_named():
    report = demo()
    warnings = tuple(warning_row("frost", "08T05:00", says=f"Frost number {n}.") for n in range(5))
    works = [work_row("mow", f"{8 + n // 8:02d}T{8 + n % 8:02d}:00", "30T09:00") for n in range(15)]
    left = [left_row("feed", f"No hour {n}.") for n in range(4)]
    many = replace(with_week(report, work=works, left=left, planned=()), warnings=warnings)
    said = first_screen.warnings(many)
    assert "  and 2 more: haysel warnings" in said
    assert not any("number 3" in line for line in said)
    week = first_screen.week(many)
    assert "  and 3 more" in week
    assert "  and 2 more without an hour: haysel week" in week


def test_the_week_tells_the_tank_the_play_day_and_what_is_done():
    shared = replace(
        work_row("foliar_feed", "08T08:00", "08T08:45", surface="green", label="foliar feed"),
        together=("growth regulator",),
        tank="One tank with growth regulator: try it in a jar first.",
    )
    play = work_row("play", "10T13:00", "10T14:00", surface="green", label="play day", kind="play")
    done = left_row("rolling", "Done on Tue 5 May; nothing is left to do.", surface="green")
    made = with_week(demo(), work=(shared,), left=(), planned=(play,))
    made = replace(made, week=replace(made.week, done=(done,)))
    text = "\n".join(week_text(made))
    assert "One tank with growth regulator: try it in a jar first." in text
    assert "Done already\n  - rolling, green: Done on Tue 5 May" in text
    assert "13:00        play day, green" in text
    assert "14:00" not in text
    assert "(one tank with growth regulator)" in " ".join(" ".join(first_screen.week(made)).split())


def test_windows_show_the_keepers_jobs_every_job_on_request_and_always_the_named_one():
    def jobs(*args: str) -> set[str]:
        found = json.loads(haysel("windows", *args, *COMPUTED, "--json").stdout)
        return {row["job"] for row in (*found["windows"], *found["barred"])}

    mine = set(demo().keeper_jobs)
    assert jobs() == mine
    assert jobs("--all") > mine
    assert jobs("top_dressing") == {"top_dressing"}
    assert jobs("aerating") == {"hollow_coring"}
    text = haysel("windows", *COMPUTED).stdout
    assert "Every other job: haysel windows --all." in text
    assert "top-dress" not in text
    assert "top-dress" in haysel("windows", "--all", *COMPUTED).stdout


def test_windows_of_a_site_that_names_no_jobs_are_of_every_job(tmp_path):
    for name in ("rules.toml", "materials.toml"):
        (tmp_path / name).write_text((ROOT / "config" / name).read_text(encoding="utf-8"))
    site = (ROOT / "config" / "demo.toml").read_text(encoding="utf-8")
    lines = [line for line in site.splitlines() if not line.startswith("jobs = ")]
    assert len(lines) == len(site.splitlines()) - 1
    (tmp_path / "site.toml").write_text("\n".join(lines))
    text = haysel("windows", "--config", str(tmp_path / "site.toml"), *COMPUTED[2:]).stdout
    assert "top-dress" in text
    assert "haysel windows --all" not in text
