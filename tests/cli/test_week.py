"""haysel week and check: what a keeper reads, and the files for editors."""

from __future__ import annotations

import json
import re
import subprocess

import pytest

from planner.config.load import SCHEMAS
from tests.cli.test_commands import COMPUTED, haysel
from tests.made import ROOT


def test_the_week_is_told_in_order_with_reasons():
    done = haysel("week", *COMPUTED)
    assert done.returncode == 0, done.stderr
    assert "Thu 7 May" in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    found = json.loads(haysel("week", *COMPUTED, "--json").stdout)
    starts = [row["start"] for row in found["work"]]
    assert starts == sorted(starts)
    assert len(starts) >= 4
    assert all(row["because"] and row["limiting"]["says"] for row in found["work"])


def test_the_week_keeps_out_of_the_time_away():
    found = json.loads(haysel("week", *COMPUTED, "--json").stdout)
    away = ("2026-05-09T09:00", "2026-05-09T14:00")
    assert not [row for row in found["work"] if row["start"] < away[1] and row["end"] > f"{away[0]}:01"]


def test_a_site_that_wants_nothing_is_told_how_to(tmp_path):
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    site = tmp_path / "haysel.toml"
    text = site.read_text()
    without = re.sub(r"^\[\[wanted\]\]\n(?:.+\n)*", "", text, flags=re.MULTILINE)
    assert without != text
    site.write_text(without)
    done = haysel("week", "--config", str(site), *COMPUTED[2:])
    assert done.returncode == 0, done.stderr
    assert "[[wanted]]" in done.stdout


def test_check_tells_of_rules_that_never_open(tmp_path):
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    site = tmp_path / "haysel.toml"
    site.write_text(site.read_text() + "\n[jobs.mow_green.needs.air_temp]\nhard_min = 20\nbest_from = 21\n")
    text = site.read_text()
    site.write_text(
        text + "\n[jobs.foliar_feed.needs.air_temp]\nhard_min = 27.9\nbest_from = 27.95\nbest_to = 27.97\n"
    )
    table = ROOT / "fixtures" / "published" / "frankfurt_2024_hourly.csv"
    done = haysel("check", "--config", str(site), "--weather", str(table))
    assert done.returncode == 0, done.stderr
    assert "foliar_feed on the green never opens" in done.stdout


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_shipped_schemas_are_current(name):
    shipped = json.loads((ROOT / "config" / name).read_text())
    assert shipped == json.loads(json.dumps(SCHEMAS[name]())), "run haysel check --schema config"


def test_schemas_describe_every_setting():
    for make in SCHEMAS.values():
        schema = make()
        assert schema["properties"]
    rules = SCHEMAS["rules.schema.json"]()
    assert rules["$defs"]["Limit"]["properties"]["hard_max"]["description"]


def test_schemas_are_written_where_asked(tmp_path):
    done = haysel("check", "--schema", str(tmp_path))
    assert done.returncode == 0, done.stderr
    assert {path.name for path in tmp_path.iterdir()} == set(SCHEMAS)
    missing = haysel("check", "--schema", str(tmp_path / "nowhere"))
    assert missing.returncode == 2


def test_help_lists_every_command():
    from planner.cli.commands import COMMANDS

    text = subprocess.run(
        [str(__import__("sys").executable), "-m", "planner", "--help"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    for command in COMMANDS:
        assert command in text


def test_each_spray_of_the_week_has_its_caution_beside_it():
    from planner.reports.sentences import BESIDE_A_SPRAY
    from planner.terms import LABEL_CAUTION

    found = json.loads(haysel("week", *COMPUTED, "--json").stdout)
    text = haysel("week", *COMPUTED).stdout
    sprays = [row for row in found["work"] if row["kind"] == "spraying"]
    assert sprays
    joined = " ".join(text.split())
    assert joined.count(BESIDE_A_SPRAY) + joined.count(LABEL_CAUTION) == len(sprays)
    # A herbicide is bound by its label; a foliar feed is a spray without one in the shipped rules.
    cautions = {
        "foliar_feed": BESIDE_A_SPRAY,
        "systemic_herbicide": LABEL_CAUTION,
        "growth_regulator": LABEL_CAUTION,
    }
    for row in sprays:
        beside = joined[joined.index(f"{row['label']}, {row['surface']}") :]
        assert 0 < beside.index(cautions[row["job"]]) < 250


def test_planned_work_stands_in_the_week(tmp_path):
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    site = tmp_path / "demo.toml"
    planned = '\n[[planned]]\njob = "hollow_coring"\nsurface = "collar"\nat = 2026-05-07T09:00:00\n'
    site.write_text(site.read_text() + planned)
    text = haysel("week", "--config", str(site), *COMPUTED[2:]).stdout
    block = text[text.index("hollow core, collar") :]
    assert block.splitlines()[1].strip() == "Planned by you."
