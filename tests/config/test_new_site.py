"""A new site file: every key of the schema stands in it with its explanation, and holds once it is switched on."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from planner.config.load import load
from planner.config.names import Names
from planner.config.new_site import parts_of, site_text, toml
from planner.config.schema import EdgePart, MirrorPart, SiteFile
from tests.made import ROOT

GIVEN: dict[str, Any] = {
    "site": {
        "name": "Lower green",
        "latitude_deg": 51.62,
        "longitude_deg": -2.21,
        "elevation_m": 118,
        "timezone": "Europe/London",
    },
    "surfaces": [
        {"name": "green", "kind": "green", "area_m2": 340, "grass": "creeping_bent", "cut_height_mm": 3.8},
        {"name": "bank", "kind": "surround", "area_m2": 90, "grass": "fescue", "cut_height_mm": 25},
    ],
}
TEXT = site_text(GIVEN)
OFF = re.compile(r"^#(?=[A-Za-z_\[])")
NAMES = Names(jobs=["mow_green", "foliar_feed", "mow_surrounds"], surfaces=["green", "bank"])


def tables() -> Iterator[str]:
    """The tables of the file, each with its comments."""
    yield from re.split(r"\n\n", TEXT)


def all_parts(part: type[BaseModel] = SiteFile) -> Iterator[type[BaseModel]]:
    yield part
    for field in part.model_fields.values():
        for below in parts_of(field.annotation):
            yield from all_parts(below)


def switched_on(table: str, keys: set[str] | None = None) -> str:
    """A table with its header and those keys switched on; every key when none are named."""
    lines = []
    for line in table.splitlines():
        key = OFF.sub("", line).split(" = ")[0]
        lines.append(OFF.sub("", line) if keys is None or key in keys or key.startswith("[") else line)
    return "\n".join(lines)


KEY = re.compile(r"^#?([a-z_0-9-]+) = ", re.MULTILINE)


@pytest.mark.parametrize(
    "part", sorted(set(all_parts()) - {SiteFile, EdgePart, MirrorPart}, key=str), ids=lambda one: one.__name__
)
def test_every_key_of_a_part_stands_in_a_table_of_its_own(part: type[BaseModel]):
    keys = {field.alias or key for key, field in part.model_fields.items()}
    assert any(set(KEY.findall(table)) == keys for table in tables()), part.__name__


def test_every_key_of_the_file_and_of_an_edge_is_named():
    for key in SiteFile.model_fields:
        assert re.search(rf"^#?(\[\[?{key}[\].]|{key} = )", TEXT, re.MULTILINE), key
    edges = next(table for table in tables() if "#edges" in table)
    for key in EdgePart.model_fields:
        assert re.search(rf"\b{key}: [A-Z]", edges.replace("\n# ", " ")), key


def test_every_key_stands_below_what_it_does():
    # A second surface repeats no explanation; constants and jobs are explained in a line above their table.
    lines = TEXT.replace(next(table for table in tables() if 'name = "bank"' in table), "").splitlines()
    for number, line in enumerate(lines):
        if KEY.match(line) and not lines[number - 1].startswith(("#[constants", "#[jobs")):
            assert lines[number - 1].startswith("# "), line


def test_no_line_is_wider_than_a_terminal():
    assert max(map(len, TEXT.splitlines())) <= 80


def keys_off() -> list[tuple[str, str]]:
    found = []
    for table in tables():
        for line in table.splitlines():
            if OFF.match(line) and " = " in line:
                found.append((table, line[1:].split(" = ")[0]))
    return found


@pytest.mark.parametrize(
    ("table", "key"), keys_off(), ids=[f"{number}-{key}" for number, (_, key) in enumerate(keys_off())]
)
def test_each_key_holds_when_it_is_switched_on(table: str, key: str):
    """With the keys that its table needs, and one way of saying when where one of several must be chosen."""
    needed = {found[1] for found in re.finditer(r"Needed\.\n#([a-z_0-9]+) = ", table)} | {key}
    if "[[wanted]]" in table and not needed & {"by", "every_days", "times_a_week", "every_degree_days"}:
        needed.add("every_days")
    if 'kind = "webhook"' in table and "url_env" not in needed:
        needed.add("url")
    if "[[readings]]" in table:
        needed |= {"surface"} | ({"water_mm"} if key in {"at", "surface", "note"} else set())
    values = tomllib.loads(TEXT.replace(table, switched_on(table, needed)))
    SiteFile.model_validate(values, context=NAMES)


def test_a_key_with_a_wrong_sample_would_be_found():
    values = tomllib.loads(TEXT.replace("#port = 8480", "port = 0"))
    with pytest.raises(ValidationError):
        SiteFile.model_validate(values, context=NAMES)


def test_the_file_as_it_is_passes_the_check(tmp_path: Path):
    for name in ("rules.toml", "materials.toml"):
        (tmp_path / name).write_text((ROOT / "config" / name).read_text(encoding="utf-8"))
    (tmp_path / "site.toml").write_text(TEXT, encoding="utf-8")
    site = load(tmp_path / "site.toml").site
    assert [surface.name for surface in site.surfaces] == ["green", "bank"]
    # What is switched off is what holds without the key.
    plain = SiteFile.model_validate(GIVEN, context=NAMES)
    assert SiteFile.model_validate(tomllib.loads(TEXT), context=NAMES) == plain


@pytest.mark.parametrize(
    "value", ['a "quoted" \\ name', "tab\tand\nline", "grüne Wiese", "", True, 3, -2.5, [1, "a"], {"a": 1}]
)
def test_a_value_is_read_back_as_it_was(value: object):
    assert tomllib.loads(f"key = {toml(value)}")["key"] == value
