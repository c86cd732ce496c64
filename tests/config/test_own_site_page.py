"""docs/own-site.md: its examples are loaded as a keeper would paste them, its tables held against the schema."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from planner.cli.commands import COMMANDS
from planner.config.load import Config, load
from planner.config.schema import EdgePart, SitePart, SurfacePart
from planner.errors import ConfigError
from planner.indices.grasses import GRASSES
from tests.made import ROOT

PAGE = (ROOT / "docs" / "own-site.md").read_text(encoding="utf-8")
LEAST, BANK, GRASS, WISHES, NAMED, OWN = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("rules.toml", "materials.toml"):
        (tmp_path / name).write_text((ROOT / "config" / name).read_text(encoding="utf-8"))
    (tmp_path / "my_rules.toml").write_text(OWN)
    return tmp_path


def loaded(folder: Path, *parts: str) -> Config:
    (folder / "site.toml").write_text("\n".join(parts))
    return load(folder / "site.toml")


def test_its_commands_are_those_of_the_readme_and_of_the_program():
    shell = re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL)[0]
    install = shell.splitlines()[0]
    assert (ROOT / "README.md").read_text(encoding="utf-8").count(install) == 1
    assert set(re.findall(r"haysel ([a-z]+)", PAGE)) <= set(COMMANDS)


def test_the_least_file_holds_and_nothing_can_be_left_out_of_it(folder):
    assert [surface.name for surface in loaded(folder, LEAST).site.surfaces] == ["green"]
    keys = [line for line in LEAST.splitlines() if re.match(r"[a-z_0-9]+ = ", line)]
    assert len(keys) == 10
    for line in keys:
        with pytest.raises(ConfigError, match="is missing"):
            loaded(folder, LEAST.replace(line + "\n", ""))


def rows(head: str) -> dict[str, str]:
    """Key -> what holds when it is left out, of the table under that head."""
    table = PAGE.split(f"| key of `{head}`")[1].split("\n\n")[0].splitlines()[2:]
    cells = [[cell.strip() for cell in line.strip("|").split(" | ")] for line in table]
    return {key: row[-1] for row in cells for key in re.findall(r"`(\w+)`", row[0])}


@pytest.mark.parametrize(("head", "part"), [("[site]", SitePart), ("[[surfaces]]", SurfacePart)])
def test_the_tables_name_every_key_and_what_holds_without_it(head, part):
    told = rows(head)
    assert set(told) == set(part.model_fields)
    for key, field in part.model_fields.items():
        assert (told[key] == "needed") == field.is_required(), key
        if isinstance(field.default, str | float) and field.default != "":
            assert (
                told[key].strip("`") == f"{field.default:g}"
                if isinstance(field.default, float)
                else field.default
            )


def test_every_key_of_an_edge_is_explained():
    section = PAGE.split("Each of the `edges`")[1].split("\n\n")[0]
    assert {key for key in EdgePart.model_fields if f"`{key}`" in section} == set(EdgePart.model_fields)


def test_the_list_of_grasses_is_that_of_the_code():
    section = PAGE.split("## Grasses")[1].split("One that is not there")[0]
    cool, warm = section.split("Warm season:")
    for text, season in ((cool, "cool"), (warm, "warm")):
        assert set(re.findall(r"`(\w+)`", text)) == {
            name for name, grass in GRASSES.items() if grass.season == season
        }


def test_the_whole_page_makes_one_site(folder):
    config = loaded(folder, NAMED, LEAST, BANK, GRASS, WISHES)
    bank = config.site.surface("east bank")
    assert [(edge.name, edge.kind) for edge in bank.edges] == [("brook", "water"), ("allotments", "plants")]
    assert config.grasses["my_bent"].emergence_days == 8
    assert config.grasses["my_bent"].optimum_c == GRASSES["creeping_bent"].optimum_c
    assert {(one.job, one.surface) for one in config.wanted} == {
        ("mow_green", "green"),
        ("oversowing", "east bank"),
    }
    assert config.hours is not None
    assert config.hours.sun is None
    assert {(one.job, one.surface) for one in config.planned} == {
        ("play", "green"),
        ("play_nearby", "east bank"),
    }


def test_the_job_of_the_page_is_judged_beside_the_shipped_ones(folder):
    from tests.cli.test_commands import haysel

    config = loaded(folder, NAMED, LEAST)
    job = config.job("moss_iron")
    assert job.has_label
    assert "stains stone" in " ".join(job.cautions_on(config.site.surface("green")))
    assert "The label is the law" in " ".join(job.cautions_on(config.site.surface("green")))
    assert {"keep_off", "wind", "dry_after", "mild"} <= {need.id for need in job.needs}
    week = ROOT / "fixtures" / "demo" / "week.csv"
    done = haysel(
        *("explain", "moss_iron", "10:00", "--surface", "green", "--config", str(folder / "site.toml")),
        *("--forecast", str(week), "--now", "2026-05-07T06:00"),
    )
    assert done.returncode == 0, done.stderr
    assert "Iron against moss, green, Thu 7 May 10:00" in done.stdout
    assert "It stains stone" in done.stdout
