"""Every key that a config file may have is named in the documents; an undocumented key is one nobody can use."""

from __future__ import annotations

import json
import re

import pytest

from planner.config.load import SCHEMAS
from tests.made import ROOT

#: The pages on which a keeper looks a key up.
PAGES = ("config.md", "rules.md", "mix.md", "outputs.md", "warnings.md", "diary.md")
TEXT = " ".join((ROOT / "docs" / name).read_text(encoding="utf-8") for name in PAGES)
#: Words that stand in code: between backticks, or in a block of TOML.
CODE = set(re.findall(r"\w+(?:-\w+)*|\w+", " ".join(re.findall(r"`[^`]+`|```toml.*?```", TEXT, re.DOTALL))))
#: Keys of a need made from a gap's row; a keeper writes the row.
MADE = {"direction"}


def keys(schema: object) -> set[str]:
    """The names of all settings in a schema, of its tables and of those in them."""
    if isinstance(schema, list):
        return set().union(*map(keys, schema))
    if not isinstance(schema, dict):
        return set()
    own = schema.get("properties", {})
    below = [value for name, value in schema.items() if name != "properties"]
    return {*own, *keys(list(own.values())), *keys(below)}


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_every_key_is_named_in_the_documents(name):
    found = keys(SCHEMAS[name]())
    assert len(found) > 20
    assert sorted(found - CODE - MADE) == []


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_the_shipped_schemas_are_those_of_the_code(name):
    shipped = json.loads((ROOT / "config" / name).read_text(encoding="utf-8"))
    assert shipped == json.loads(json.dumps(SCHEMAS[name]())), "run haysel check --schema config"
