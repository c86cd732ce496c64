"""docs/threat-model.md: every line that says it is held names tests that are there, and holds to one page."""

from __future__ import annotations

import re

from tests.made import ROOT

PAGE = (ROOT / "docs" / "threat-model.md").read_text(encoding="utf-8")


def test_each_line_of_what_stands_in_the_way_names_tests_that_are_there() -> None:
    lines = [line for line in PAGE.splitlines() if line.startswith("|")][2:]
    assert len(lines) > 8
    for line in lines:
        named = re.findall(r"`(tests/[\w/]+\.py)`", line.rsplit(" | ", 1)[1])
        assert named, line
        for one in named:
            assert "\ndef test_" in (ROOT / one).read_text(encoding="utf-8"), one


def test_it_is_one_page() -> None:
    # Of a printed page at 10 points: common practice, no source.
    assert len(PAGE.split()) < 950
