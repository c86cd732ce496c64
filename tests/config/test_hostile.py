"""A site file with what no keeper would write is refused in words, and never ends in a traceback."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from planner.config.load import load
from planner.errors import PlannerError
from tests.made import ROOT


def _put(pattern: str, new: str) -> Callable[[str], str]:
    return lambda text: re.sub(pattern, lambda _: new, text, count=1)


def _after(more: str) -> Callable[[str], str]:
    return lambda text: f"{text}\n{more}\n"


HOSTILE: dict[str, Callable[[str], str]] = {
    "a NUL in the name of a file": _put(r"rules = .*", 'rules = "a\\u0000b"'),
    "lists six thousand deep": _after("x = " + "[" * 6000 + "]" * 6000),
    "tables three thousand deep": _after("x = " + "{a=" * 3000 + "1" + "}" * 3000),
    "a table three thousand names down": _after("[a" + ".b" * 3000 + "]\nx = 1"),
    "a latitude of five thousand digits": _put(r"latitude_deg = \S+", "latitude_deg = " + "9" * 5000),
    "a line break in the name of the site": _put(r'name = "[^"]*"', 'name = "a\\nb"'),
    "stale after a hundred thousand years": _put(r"\[forecast\]", "[forecast]\nstale_after_h = 1e9"),
    "stale after forever": _put(r"\[forecast\]", "[forecast]\nstale_after_h = inf"),
    "a folder for the rules": _put(r"rules = .*", 'rules = "."'),
    "a name of five thousand letters": _put(r"rules = .*", 'rules = "' + "a" * 5000 + '"'),
    "a zone that leads elsewhere": _put(r'timezone = "[^"]*"', 'timezone = "../../etc/passwd"'),
    "work of the year 1": _after(
        '[[done]]\njob = "mow_green"\nsurface = "green"\nat = 0001-01-01T00:00:00+14:00'
    ),
    "work of the year 9999": _after(
        '[[done]]\njob = "mow_green"\nsurface = "green"\nat = 9999-12-31T23:59:59'
    ),
}


@pytest.mark.parametrize("spoil", HOSTILE.values(), ids=list(HOSTILE))
def test_it_is_refused_in_words(tmp_path: Path, spoil: Callable[[str], str]) -> None:
    shutil.copytree(ROOT / "config", tmp_path / "config")
    file = tmp_path / "config" / "haysel.toml"
    good = file.read_text(encoding="utf-8")
    load(file)
    file.write_text(spoil(good), encoding="utf-8")
    assert file.read_text(encoding="utf-8") != good
    with pytest.raises(PlannerError):
        load(file)
