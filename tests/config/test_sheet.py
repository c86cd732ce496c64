"""A faulty config is told whole: every fault, its line, what was seen and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.config.lines import line_of, read_toml
from planner.config.load import load
from planner.config.watched import Watched
from planner.errors import ConfigError, InputError
from tests.made import ROOT

SITE = (ROOT / "config" / "haysel.toml").read_text()
RULES = (ROOT / "config" / "rules.toml").read_text()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    return tmp_path


def faults(folder: Path, site: str | None = None, rules: str | None = None) -> ConfigError:
    if site is not None:
        (folder / "haysel.toml").write_text(site)
    if rules is not None:
        (folder / "rules.toml").write_text(rules)
    with pytest.raises(ConfigError) as caught:
        load(folder / "haysel.toml")
    return caught.value


def words_of(error: Exception) -> str:
    """The words of a sheet, wherever its lines break."""
    return " ".join(str(error).split())


def line(text: str, part: str) -> int:
    return next(number for number, row in enumerate(text.splitlines(), 1) if part in row)


@pytest.mark.parametrize("name", ["haysel.toml", "demo.toml"])
def test_shipped_files_hold(name):
    assert load(ROOT / "config" / name).jobs


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("latitude_deg = 51.62", "latitude_deg = 151.62", "less than or equal to 90 (seen: 151.62)"),
        ("latitude_deg = 51.62", "lattitude_deg = 51.62", 'Did you mean "latitude_deg"?'),
        ('timezone = "Europe/London"', 'timezone = "Europe/Lundon"', '"Europe/Lundon" is not an IANA zone'),
        (
            'name = "Thistlewick Vale"',
            'key = "Main Site"\nname = "A"',
            "must be small letters, digits, - and _, at most 40 of them",
        ),
        ('grass = "creeping_bent"', 'grass = "creeping_bend"', 'Did you mean "creeping_bent"?'),
        ('soil = "sand"', 'soil = "chalk"', "'chalk' is not known; allowed: 'sand'"),
        ('name = "collar"', 'name = "green"', '"green" is given twice'),
        ('providers = ["open-meteo"]', 'providers = ["open-meeto"]', 'there is no provider "open-meeto"'),
    ],
)
def test_a_fault_of_the_site_file_is_told_with_its_line(folder, old, new, says):
    broken = SITE.replace(old, new, 1)
    error = faults(folder, site=broken)
    assert says in words_of(error)
    assert f"line {line(SITE, old)}: " in str(error)


def test_all_faults_stand_on_one_sheet(folder):
    broken = SITE.replace("elevation_m = 118", 'elevation_m = "high"').replace(
        "area_m2 = 340", "area_m2 = -1"
    )
    error = faults(folder, site=broken)
    assert len(error.faults) == 2
    assert str(error).splitlines()[0].endswith("has 2 faults")


def test_a_constant_that_is_none_of_ours_is_told(folder):
    broken = SITE + "\n[constants]\nei50 = 12.0\nei_50 = 12.0\nfirm_pct = 92\n"
    error = faults(folder, site=broken)
    assert [fault.where for fault in error.faults] == ["constants, ei_50"] or "constants" in str(error)
    assert "firm_pct" not in [fault.where for fault in error.faults]


def test_a_time_without_quotes_is_explained(folder):
    error = faults(folder, rules=RULES.replace('opens = "08:00"', "opens = 08:00", 1))
    assert 'Write a time of day in quotes: "07:30"' in words_of(error)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('quantity = "wind_2m_kmh"', 'quantity = "wind_2m_kmp"', 'Did you mean "wind_2m_kmh"?'),
        ("hard_max = 15.0", "hard_max = 9.0", "best_to 10 lies above hard_max 9"),
        ('kind = "gap"', 'kind = "gapp"', 'kind "gapp" is not known'),
        ('other = ["mowing"]', 'other = ["mowwing"]', 'Did you mean "mowing"?'),
        ('uses = ["on_turf", "leaf_spray"]', 'uses = ["leaf_sprai"]', 'Did you mean "leaf_spray"?'),
        ('drop = ["since_cut"]', 'drop = ["since_cutt"]', 'Did you mean "since_cut"?'),
        ("hours = [0.0, 4.0]", "hours = [4.0, 0.0]", "must be [from, to] with to above from"),
        ('sum_up = "total"', 'sum_up = "totall"', "'totall' is not known"),
    ],
)
def test_a_fault_of_the_rules_file_is_told(folder, old, new, says):
    assert says in words_of(faults(folder, rules=RULES.replace(old, new, 1)))


def test_a_site_changes_a_limit_in_one_line(folder):
    (folder / "haysel.toml").write_text(SITE + "\n[jobs.foliar_feed.needs.wind]\nhard_max = 12.0\n")
    job = load(folder / "haysel.toml").job("foliar_feed")
    assert next(need for need in job.needs if need.id == "wind").hard_max == 12.0


def test_a_site_changes_a_limit_on_one_surface_alone(folder):
    (folder / "haysel.toml").write_text(SITE + "\n[jobs.foliar_feed.on.collar.needs.wind]\nhard_max = 12.0\n")
    full = load(folder / "haysel.toml")
    limits = {
        name: next(
            n for n in full.job("foliar_feed").needs_on(full.site.surface(name)) if n.label == "wind at 2 m"
        )
        for name in ("green", "collar")
    }
    assert limits["green"].hard_max == 15.0
    assert limits["collar"].hard_max == 12.0


def test_a_site_switches_a_job_off_and_changes_how_long_another_takes(folder):
    (folder / "haysel.toml").write_text(
        SITE + "\n[jobs.oversowing]\noff = true\n\n[jobs.mow_green]\nduration_min = 20\n"
    )
    full = load(folder / "haysel.toml")
    assert "oversowing" not in {job.name for job in full.jobs}
    assert full.job("mow_green").duration_min == 20


def test_a_change_to_a_need_that_is_not_there_is_a_fault_of_the_site_file(folder):
    error = faults(folder, site=SITE + "\n[jobs.foliar_feed.needs.wint]\nhard_max = 12.0\n")
    assert 'Did you mean "wind"?' in str(error)
    assert error.file.endswith("haysel.toml")


def test_a_new_job_is_config_only(folder):
    job = """
[jobs.brush_dew]
label = "brush the dew"
kind = "brushing"
surfaces = ["green"]
duration_min = 15
[[jobs.brush_dew.needs]]
id = "wet"
label = "wet leaf"
unit = "0/1"
quantity = "leaf_wet"
when = "start"
hard_min = 1.0
low = "there is no dew to brush"
"""
    (folder / "rules.toml").write_text(RULES + job)
    assert load(folder / "haysel.toml").jobs[-1].name == "brush_dew"


def test_a_missing_rules_file_is_named(folder):
    (folder / "haysel.toml").write_text(SITE.replace('rules = "rules.toml"', 'rules = "rulez.toml"'))
    with pytest.raises(InputError, match=r"rulez\.toml"):
        load(folder / "haysel.toml")


def test_a_changed_file_is_taken_up_and_a_faulty_one_is_not(folder):
    path = folder / "haysel.toml"
    watched = Watched(load(path))
    path.write_text(SITE.replace('name = "Thistlewick Vale"', 'name = "Elsewhere"'))
    assert watched.current().site.name == "Elsewhere"
    path.write_text(SITE.replace("elevation_m = 118", "elevation_m = 'high up'"))
    assert watched.current().site.name == "Elsewhere"
    assert watched.fault is not None
    assert "elevation_m" in watched.fault
    path.write_text(SITE)
    assert watched.current().site.name == "Thistlewick Vale"
    assert watched.fault is None


TOML = """# first
title = "x"
[a]
list = [
  1,
  2,
]
[[b.c]]
"odd key" = 1
[[b.c]]
x.y = '''
two
lines'''
z = 2
"""


@pytest.mark.parametrize(
    ("path", "number"),
    [
        (("title",), 2),
        (("a", "list"), 4),
        (("b", "c", 0, "odd key"), 9),
        (("b", "c", 1), 10),
        (("b", "c", 1, "x", "y"), 11),
        (("b", "c", 1, "z"), 14),
        (("b", "c", 1, "not there"), 10),
    ],
)
def test_lines_of_keys_are_found(path, number):
    assert read_toml(TOML, "x")
    assert line_of(TOML, path) == number
