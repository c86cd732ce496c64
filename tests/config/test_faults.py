"""One fault hides no other, a wrong sort of value never stops the reading, and names and units must be true."""

from __future__ import annotations

import re
import tomllib
from ast import literal_eval
from pathlib import Path
from typing import Any

import pytest

from planner.config import load as loading
from planner.config.faults import PATTERNS, FaultList
from planner.config.lines import read_toml
from planner.config.load import load
from planner.config.names import check_names, names_of, surface_kinds
from planner.config.need_layers import _OF_DIARY, UNITS, spellings
from planner.config.rules_file import Rules, Written
from planner.config.schema import WarningsPart
from planner.config.watched import Watched
from planner.errors import ConfigError, InputError
from planner.indices.quantities import DIARY_QUANTITIES
from planner.rules.limit import Limit
from tests.config.test_sheet import RULES, SITE, faults, folder, line, words_of
from tests.made import ROOT

__all__ = ["folder"]
MATERIALS = (ROOT / "config" / "materials.toml").read_text()


def site_faults(folder: Path, added: str) -> ConfigError:
    error = faults(folder, site=SITE + "\n" + added)
    assert [Path(one.file).name for one in error.files] == ["haysel.toml"], str(error)
    return error


def test_faults_of_all_three_files_are_told_at_once_in_the_order_of_their_lines(folder):
    (folder / "materials.toml").write_text(MATERIALS.replace("most_per_ha = 30 ", 'most_per_ha = "lots" ', 1))
    site = (
        SITE.replace("elevation_m = 118", 'elevation_m = "high"').replace(
            '"creeping_bent"', '"creeping_bend"'
        )
        + '\n[jobs.foliar_feed.needs.wind]\nhard_max = 6.0\n\n[[done]]\njob = "mow_gren"\nsurface = "green"\n'
        + "at = 2026-04-05T15:00:00\n"
    ).replace('"open-meteo"', '"open-meeto"')
    rules = RULES.replace('quantity = "gust_2m_kmh"', 'quantity = "gust_kmp"', 1).replace(
        "duration_min = 45", 'duration_min = "long"', 1
    )
    error = faults(folder, site=site, rules=rules)
    assert [Path(one.file).name for one in error.files] == ["haysel.toml", "rules.toml", "materials.toml"]
    assert [fault.where for fault in error.files[0].faults] == [
        "site, elevation_m",
        "surfaces, entry 1, grass",
        "forecast, providers",
        "jobs, foliar_feed, needs, wind",
        "done, entry 1, job",
    ]
    assert [fault.where.rsplit(", ", 1)[1] for fault in error.files[1].faults] == [
        "quantity",
        "duration_min",
    ]
    assert error.files[2].faults[0].where == "materials, entry 1, most_per_ha"
    for one in error.files:
        lines = [fault.line for fault in one.faults]
        assert None not in lines
        assert lines == sorted(lines)
    assert sum(len(one.faults) for one in error.files) == 8


def test_a_sheet_is_eighty_columns_wide_with_its_second_lines_set_in(folder):
    error = faults(
        folder, site=SITE + '\n[[done]]\njob = "mow_gren"\nsurface = "green"\nat = 2026-04-05T15:00:00\n'
    )
    head, first, *more = str(error).splitlines()
    assert head.endswith("haysel.toml has 1 fault")
    assert max(map(len, [first, *more])) <= 80
    assert first.startswith("  line ")
    assert more
    assert all(row.startswith("      ") for row in more)


def test_the_true_fault_shows_and_brings_no_false_ones(folder):
    error = site_faults(folder, '[jobs.foliar_feed]\nduration_min = "45 min"\n')
    (fault,) = error.faults
    assert fault.where == "jobs, foliar_feed, duration_min"
    assert "must be a number without quotes (seen: '45 min')" in fault.says
    rules = RULES.replace("duration_min = 45", 'duration_min = "45 min"', 1)
    ((fault,),) = (one.faults for one in faults(folder, site=SITE, rules=rules).files)
    assert fault.where == "jobs, foliar_feed, duration_min"


def test_a_fault_of_a_group_is_told_once_and_where_it_stands(folder):
    rules = RULES.replace("hard_max = 25.0 ", "hard_mux = 25.0 ", 1)
    site = SITE + "\n[jobs.foliar_feed.needs.gust]\nbest_to = 15.0\nbest_max = 16.0\n"
    error = faults(folder, site=site, rules=rules)
    assert [fault.where for fault in error.files[1].faults] == [
        "groups, leaf_spray, needs, entry 3, hard_mux"
    ]
    assert error.files[1].faults[0].line == line(rules, "hard_mux")
    assert [fault.where for fault in error.files[0].faults] == ["jobs, foliar_feed, needs, gust, best_max"]
    assert 'Did you mean "best_to"?' in error.files[0].faults[0].says


@pytest.mark.parametrize(
    ("added", "says"),
    [
        ("[jobs.foliar_feed.on.colar.needs.wind]\nhard_max = 10", 'Did you mean "collar"?'),
        ("[jobs.mow_rough.on.tee.needs.air_temp]\nhard_max = 10", "the job is not done there"),
        ('[jobs.foliar_feed.needs.wind]\nsurfaces = ["gren"]', 'Did you mean "green"?'),
        ('[jobs.foliar_feed]\nsurfaces = ["gren"]', 'Did you mean "green"?'),
        ('[jobs.foliar_feed.needs.wind]\nsoils = ["sandy"]', 'Did you mean "sand"?'),
        ('[jobs.foliar_feed]\noff = "no"', "must be true or false, without quotes (seen: 'no')"),
        ('[jobs.foliar_feed.needs.wind]\noptional = "no"', "must be true or false"),
        ("[warnings]\nwash_heed = 0.1", "is now called wash_care"),
        ("[warnings]\noverdue_heed_d = 2", "is now called overdue_care_d"),
        ("[warnings]\nlet_go = 0.1", "is now called hysteresis"),
        ("[warnings]\nwash_care = 0.1", "wash_care 0.1 lies below wash_note 0.15"),
        ("[warnings]\nfrost_note = 0.9", "frost_care 0.5 lies below frost_note 0.9"),
        ('[jobs.foliar_feed.needs.wind]\nunit = "m/s"\nhard_max = 6', 'wind_2m_kmh is in "km/h"'),
        ('[jobs.foliar_feed.needs.interval]\nunit = "h"', 'are in "d": give them as well'),
        ('[jobs.mow_green.needs.allowed_hours]\nunit = "min"', 'needs of kind clock are in "h"'),
        ("[jobs.foliar_feed]\nneeds = 3", "must be tables by the id of a need"),
        ("[jobs.foliar_feed]\non = 3", "must be tables by the name of a surface"),
        ("[jobs.foliar_feed]\non.collar = 3", "must be a table with needs"),
        ("[jobs.foliar_feed]\non.collar.needs = 3", "must be tables by the id of a need"),
        ("[jobs]\nfoliar_feed = 3", "must be a table of settings"),
        ("[jobs.foliar_fed]\nduration_min = 30", 'Did you mean "foliar_feed"? Known: foliar_feed, systemic'),
        ("[jobs.foliar_feed.needs.wind]\nbest_max = 9", 'Did you mean "best_to"? Allowed: id, label, unit'),
        (
            '[jobs.foliar_feed.needs.wind]\nkind = "gap"',
            "cannot be changed: give a need of another kind an id and a label of its own",
        ),
        ("[jobs.foliar_feed]\nsurfaces = [1, 2]", "must be text in quotes"),
        ('[jobs.foliar_feed]\nsurfaces = "green"', 'must be a list such as ["a", "b"] (seen: \'green\')'),
        ("[jobs.foliar_feed]\nsurfaces = []", "must have at least 1 entry"),
        ('[[outputs]]\nkind = "webhok"\nurl = "https://x.example"', 'Did you mean "webhook"?'),
        ('[[outputs]]\nkind = "webhook"\nurl_nv = "X"', 'Did you mean "url_env"?'),
        ('[[wanted]]\njob = "mow_green"\nsurface = "gren"\nevery_days = 3', 'Did you mean "green"? Known:'),
        ("[growth.gren]\nfull_growth_mm_d = 1.0", 'there is no surface "gren"'),
        ('[grasses.mine]\nlike = "creeping_bend"', 'Did you mean "creeping_bent"?'),
    ],
)
def test_what_would_have_been_taken_in_silence_or_told_wrong(folder, added, says):
    error = site_faults(folder, added)
    assert says in words_of(error)
    assert all(fault.line and fault.line > SITE.count("\n") for fault in error.faults), str(error)
    assert "{" not in str(error)
    assert "tuple" not in str(error)


def test_every_pattern_of_a_text_is_told_in_words():
    patterns = set(re.findall(r"'pattern': ('[^']*'|\"[^\"]*\")", str(loading.site())))
    assert {literal_eval(one) for one in patterns} == set(PATTERNS)


def test_a_list_of_wrong_entries_is_not_called_empty(folder):
    error = site_faults(folder, "[jobs.foliar_feed]\nsurfaces = [1, 2]\n")
    assert [fault.where for fault in error.faults] == [
        "jobs, foliar_feed, surfaces, entry 1",
        "jobs, foliar_feed, surfaces, entry 2",
    ]


@pytest.mark.parametrize("url", ["htp://hooks.example/s3cret", 3])
def test_an_address_is_not_shown_for_it_may_be_a_secret(folder, url):
    error = site_faults(folder, f'[[outputs]]\nkind = "webhook"\nurl = "{url}"\n')
    assert error.faults[0].where == "outputs, entry 2, url"
    assert "s3cret" not in str(error)
    text = "[[outputs]]\nurl = https://hooks.example/s3cret\n"
    with pytest.raises(ConfigError) as caught:
        read_toml(text, "x")
    assert "s3cret" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[a]\ndays = { sun = [10:00, 16:00] }\n", 'Write a time of day in quotes: "07:30".'),
        ("[a]\ndays = { sun = [\n  10:00,\n] }\n", 'Write a time of day in quotes: "07:30".'),
        ("[a]\nhours = [from = 10:00]\n", 'Write a time of day in quotes: "07:30".'),
        ("[a]\nat = 2025-07-25T08:00\n", "needs its seconds: 2026-04-05T15:00:00."),
        ("[a]\nb = { at = 2025-07-25T08:00 }\n", "needs its seconds"),
        ("[a]\nx = 4,5\n", "Write decimals with a point: 4.5."),
        ("[a]\noff = yes\n", "Write true or false."),
        ("[a]\nname = green\n", 'Write text in quotes: "green".'),
    ],
)
def test_what_is_no_toml_is_told_with_a_hint_and_its_line(text, says):
    with pytest.raises(ConfigError) as caught:
        read_toml(text, "x")
    assert says in words_of(caught.value)
    number = caught.value.faults[0].line
    assert number is not None
    assert f"The line: {text.splitlines()[number - 1].strip()}" in words_of(caught.value)


def test_a_rules_file_that_is_no_toml_hides_no_fault_of_the_site_file(folder):
    site = SITE.replace("elevation_m = 118", 'elevation_m = "high"')
    error = faults(folder, site=site, rules=RULES.replace('opens = "08:00"', "opens = 08:00", 1))
    assert [Path(one.file).name for one in error.files] == ["haysel.toml", "rules.toml"]


def test_the_unit_of_every_quantity_is_known_and_every_shipped_rule_tells_it_truly():
    assert set(_OF_DIARY) == set(DIARY_QUANTITIES)
    limits = [need for job in load(ROOT / "config" / "haysel.toml").jobs for need in job.needs]
    limits = [need for need in limits if isinstance(need, Limit)]
    assert len(limits) > 100
    assert all(need.unit in spellings(need.quantity) for need in limits)
    assert {need.quantity for need in limits} <= set(UNITS)


def test_a_need_without_a_unit_is_told_in_that_of_its_quantity(folder):
    added = '[jobs.mow_green.needs.still]\nlabel = "wind"\nquantity = "wind_2m_kmh"\nhard_max = 40.0\n'
    (folder / "haysel.toml").write_text(SITE + "\n" + added)
    need = next(one for one in load(folder / "haysel.toml").job("mow_green").needs if one.id == "still")
    assert need.unit == "km/h"


def test_hours_that_run_over_midnight_and_a_day_without_work_are_taken(folder):
    added = (
        '[jobs.mow_green.needs.allowed_hours]\nopens = "20:00"\ncloses = "02:00"\n'
        'days = { sun = ["never", "never"] }\n'
    )
    (folder / "haysel.toml").write_text(SITE + "\n" + added)
    assert load(folder / "haysel.toml").job("mow_green")


def _wrong(values: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """The path of every table, list and value."""
    found: list[tuple[str | int, ...]] = [path] if path else []
    below = (
        values.items() if isinstance(values, dict) else enumerate(values) if isinstance(values, list) else ()
    )
    for key, value in below:
        found += _wrong(value, (*path, key))
    return found


def _put(values: Any, path: tuple[str | int, ...], value: Any) -> Any:
    """A copy of the values with another one at the path."""
    copied = dict(values) if isinstance(values, dict) else list(values)
    copied[path[0]] = value if len(path) == 1 else _put(copied[path[0]], path[1:], value)
    return copied


_CHANGES = """
[jobs.foliar_feed]
duration_min = 30
surfaces = ["green", "collar"]
off = false
[jobs.foliar_feed.needs.wind]
hard_max = 12.0
surfaces = ["green"]
[jobs.foliar_feed.on.collar.needs.gust]
hard_max = 20.0
[[done]]
job = "mow_green"
surface = "green"
at = 2026-04-05T15:00:00
"""


_VALUES: tuple[Any, ...] = (3, "x", True, [], {}, [3], {"x": 3}, [{"x": 3}], {"x": {"y": 3}})


@pytest.mark.parametrize("number", range(len(_VALUES)), ids=[repr(value) for value in _VALUES])
@pytest.mark.parametrize("which", ["site", "rules"])
def test_no_sort_of_value_anywhere_stops_the_reading(which, number, monkeypatch):
    # Lines are looked up in a text that these values do not have, and take most of the time.
    monkeypatch.setattr("planner.config.faults.line_of", lambda text, path: None)
    monkeypatch.setattr("planner.config.faults.line_of", lambda text, path: None)
    site, rules = tomllib.loads(SITE + _CHANGES), tomllib.loads(RULES)
    rules["jobs"] = {name: rules["jobs"][name] for name in ("foliar_feed", "mow_green")}
    used = {name for row in rules["jobs"].values() for name in row["uses"]}
    rules["groups"] = {name: row for name, row in rules["groups"].items() if name in used}
    rules["gaps"] = [row for row in rules.get("gaps", []) if row["done"] == row["next"] == ["mowing"]]
    found = 0
    value = _VALUES[number]
    # Each value is tried at a third of the places, no two neighbours at the same ones.
    for path in _wrong(site if which == "site" else rules)[number % 3 :: 3]:
        here = _put(site, path, value) if which == "site" else site
        there = _put(rules, path, value) if which == "rules" else rules
        sheet, rules_sheet = FaultList("site", ""), FaultList("rules", "")
        read = Rules([Written(there, rules_sheet)], loading._changes(here), sheet, surface_kinds(here))
        read.jobs()
        sheet.checked(loading.SiteFile, here, names=names_of(here, read.names))
        check_names(here, sheet, WarningsPart().model_dump())
        found += bool(sheet.faults or rules_sheet.faults)
    assert found > 20


def test_a_fault_of_ours_in_reading_is_told_and_kept_until_the_file_holds(folder, monkeypatch):
    path = folder / "haysel.toml"
    watched = Watched(load(path))

    def broken(file: Path) -> None:
        raise TypeError("'int' object is not iterable")

    with monkeypatch.context() as patched:
        patched.setattr("planner.config.watched.load", broken)
        path.write_text(SITE + "# a change\n")
        assert watched.current().site.name == "Thistlewick Vale"
        assert watched.fault is not None
        assert "TypeError" in watched.fault
        assert watched.current()
        assert watched.fault is not None
    path.write_text(SITE)
    watched.current()
    assert watched.fault is None


def test_a_materials_file_that_is_named_but_missing_stands_on_the_sheet(folder):
    (folder / "haysel.toml").write_text('materials = "materialz.toml"\n' + SITE.replace("118", '"high"', 1))
    with pytest.raises(InputError, match=r"materialz\.toml") as caught:
        load(folder / "haysel.toml")
    assert "elevation_m" in str(caught.value)


def test_a_job_wanted_twice_or_an_edge_named_twice_is_a_fault(folder):
    # Two entries would be two sets of turns; two edges of one name would be one need.
    want = '[[wanted]]\njob = "rolling"\nsurface = "green"\nevery_days = 3\n'
    assert "rolling is wanted twice on green" in str(site_faults(folder, want + "\n" + want))
    brook = '{ name = "pond", bearing_deg = 90 }'
    twice = (
        '[[surfaces]]\nname = "lawn"\nkind = "tee"\narea_m2 = 40\ngrass = "fescue"\ncut_height_mm = 20\n'
        f"edges = [{brook}, {brook}]\n"
    )
    assert '"pond" stands twice' in str(site_faults(folder, twice))
