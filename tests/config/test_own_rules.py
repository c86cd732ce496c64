"""A keeper's own rules file beside the shipped one: the worked example of docs/rules.md, taken from its text."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from planner.config.load import load
from planner.config.watched import Watched
from planner.errors import ConfigError
from tests.made import ROOT

PAGE = (ROOT / "docs" / "rules.md").read_text(encoding="utf-8")
SECTION = PAGE.split("## A job of your own, in a file of your own")[1].split("\n## ")[0]
NAMED, OWN = re.findall(r"```toml\n(.*?)```", SECTION, re.DOTALL)
SITE = (ROOT / "config" / "haysel.toml").read_text(encoding="utf-8")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The shipped files, and the site file that names the keeper's own rules as the page says it."""
    for name in ("rules.toml", "materials.toml"):
        (tmp_path / name).write_text((ROOT / "config" / name).read_text(encoding="utf-8"))
    assert 'rules = "rules.toml"\n' in SITE
    (tmp_path / "haysel.toml").write_text(SITE.replace('rules = "rules.toml"\n', NAMED))
    (tmp_path / "my_rules.toml").write_text(OWN)
    return tmp_path


def limits(folder: Path, job: str) -> dict[str, float | None]:
    return {need.id: getattr(need, "hard_min", None) for need in load(folder / "haysel.toml").job(job).needs}


def test_the_example_adds_its_job_to_the_shipped_ones(folder):
    shipped = {job.name for job in load(ROOT / "config" / "haysel.toml").jobs}
    assert {job.name for job in load(folder / "haysel.toml").jobs} == shipped | {"dew_brushing"}
    own = limits(folder, "dew_brushing")
    # Its own need, the group of the shipped file, and both its gap and its clock.
    assert own["wet"] == 1.0
    assert {"keep_off", "allowed_hours", "after_spray_brushing"} <= set(own)
    assert own["after_spray_brushing"] == 6.0
    assert "before_spray_brushing" in limits(folder, "foliar_feed")


def test_a_gap_of_the_same_id_stands_in_place_of_the_shipped_one(folder):
    assert limits(folder, "mow_green")["after_cut_cut"] == 20.0
    (folder / "haysel.toml").write_text(SITE)
    assert limits(folder, "mow_green")["after_cut_cut"] == 12.0


def test_a_job_and_a_group_of_a_later_file_stand_in_place_of_the_shipped_ones(folder):
    (folder / "my_rules.toml").write_text(
        """
[groups.daylight]
[[groups.daylight.needs]]
id = "light"
kind = "clock"
label = "my light"
opens = "04:00"
closes = "22:00"
low = "dark"

[jobs.rolling]
label = "roll my way"
kind = "rolling"
surfaces = ["green"]
duration_min = 20
uses = ["daylight"]
"""
    )
    found = load(folder / "haysel.toml")
    roll = found.job("rolling")
    assert roll.label == "roll my way"
    # The gaps of the shipped file and the keeper's hours hold for it still; its other needs are gone.
    ungapped = {need.id for need in roll.needs if not need.id.startswith(("after_", "before_"))}
    assert ungapped == {"light", "keeper_hours"}
    # The group is the later file's for the shipped jobs that use it, too.
    assert "my light" in {need.label for need in found.job("mow_green").needs}


def test_a_later_file_may_hold_gaps_alone(folder):
    (folder / "my_rules.toml").write_text(OWN[OWN.rindex("[[gaps]]") :])
    assert limits(folder, "mow_green")["after_cut_cut"] == 20.0


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('quantity = "leaf_wet"', 'quantity = "leaf_wett"', 'Did you mean "leaf_wet"?'),
        ('next = ["dew_brushing"]', 'next = ["dew_brushin"]', 'Did you mean "dew_brushing"?'),
        ('uses = ["on_turf"]', 'uses = ["on_turff"]', 'Did you mean "on_turf"?'),
        ("duration_min = 20", "duration_min = -20", "greater than 0"),
        ('id = "cut_cut"', 'id = "spray_brushing"', "is given twice"),
    ],
)
def test_a_fault_is_told_in_the_file_and_line_it_stands_in(folder, old, new, says):
    assert old in OWN
    broken = OWN.replace(old, new, 1)
    (folder / "my_rules.toml").write_text(broken)
    with pytest.raises(ConfigError) as caught:
        load(folder / "haysel.toml")
    assert caught.value.file == str(folder / "my_rules.toml")
    fault = caught.value.faults[0]
    assert says in fault.says
    assert fault.line == 1 + OWN[: OWN.index(old)].count("\n")


def test_a_fault_of_the_shipped_file_is_not_laid_on_the_own_one(folder):
    rules = (folder / "rules.toml").read_text()
    (folder / "rules.toml").write_text(rules.replace('unit = "h"', 'unit = "m"', 1))
    with pytest.raises(ConfigError) as caught:
        load(folder / "haysel.toml")
    assert caught.value.file == str(folder / "rules.toml")


def test_a_site_may_change_a_job_of_its_own_file(folder):
    site = (folder / "haysel.toml").read_text()
    (folder / "haysel.toml").write_text(site + "\n[jobs.dew_brushing]\nduration_min = 45\n")
    assert load(folder / "haysel.toml").job("dew_brushing").duration_min == 45


def test_a_missing_file_of_the_list_is_named(folder):
    (folder / "my_rules.toml").unlink()
    with pytest.raises(ConfigError, match=r"my_rules\.toml"):
        load(folder / "haysel.toml")


@pytest.mark.parametrize("written", ["[]", '["rules.toml", 3]', "7", '{ a = "rules.toml" }'])
def test_anything_but_names_is_a_fault_of_the_site_file(folder, written):
    (folder / "haysel.toml").write_text(SITE.replace('rules = "rules.toml"', f"rules = {written}"))
    with pytest.raises(ConfigError) as caught:
        load(folder / "haysel.toml")
    assert caught.value.file == str(folder / "haysel.toml")
    assert "rules" in caught.value.faults[0].where


def test_a_running_service_follows_every_rules_file(folder):
    watched = Watched(load(folder / "haysel.toml"))
    (folder / "my_rules.toml").write_text(OWN.replace("duration_min = 20", "duration_min = 35"))
    assert watched.current().job("dew_brushing").duration_min == 35
    (folder / "my_rules.toml").write_text(OWN.replace("duration_min = 20", 'duration_min = "long"'))
    assert watched.current().job("dew_brushing").duration_min == 35
    assert watched.fault is not None
    assert "my_rules.toml" in watched.fault


def test_a_site_file_that_has_not_changed_is_not_read_again(folder, monkeypatch):
    """It is looked at every few seconds, for each of many sites."""
    watched = Watched(load(folder / "haysel.toml"))

    def read(path):
        raise AssertionError(path)

    with monkeypatch.context() as patched:
        patched.setattr("planner.config.watched.raw", read)
        assert watched.current().job("dew_brushing").duration_min == 20
    # A rules file that it names only now is followed as well.
    (folder / "third.toml").write_text(OWN.replace("dew_brushing", "dew_whipping"))
    text = (folder / "haysel.toml").read_text()
    (folder / "haysel.toml").write_text(text.replace('"my_rules.toml"]', '"my_rules.toml", "third.toml"]'))
    assert watched.current().job("dew_whipping").duration_min == 20, watched.fault
    (folder / "third.toml").write_text(
        OWN.replace("dew_brushing", "dew_whipping").replace("min = 20", "min = 25")
    )
    assert watched.current().job("dew_whipping").duration_min == 25
