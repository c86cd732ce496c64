"""Last year's notebook: every fault with its line and nothing written, or every line once."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from planner.cli.commands import haysel
from planner.errors import ConfigError, InputError
from tests.made import DEMO, ROOT

BOOK = """\
date,time,job,surface,material,amount,unit,rate,notes
2025-05-07,07:30,mow_green,green,,,,,first cut of the week
2025-05-08,,foliar_feed,green,foliar 10-0-4,850,mL,,
2025-05-15,6:45,foliar_feed,green,foliar 10-0-4,,L/ha,25,"a comma, here"
2025-05-16,09:00,mow_green,green,,,,,
2025-05-16,09:00,mow_green,green,,,,,
"""


@pytest.fixture
def site(tmp_path: Path) -> Path:
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    return tmp_path / DEMO.name


def ask(site: Path, *words: str) -> Result:
    return CliRunner().invoke(haysel, ["diary", *words, "--config", str(site)])


def answer(site: Path, *words: str) -> Any:
    found = ask(site, *words, "--json")
    assert found.exit_code == 0, found.exception or found.output
    return json.loads(found.stdout)


def notebook(site: Path, text: str) -> str:
    file = site.parent / "notebook.csv"
    file.write_bytes(text.encode("utf-8"))
    return str(file)


def test_a_notebook_is_written_once_however_often_it_is_imported(site):
    file = notebook(site, BOOK)
    checked = answer(site, "import", file, "--check")
    assert (checked["lines"], checked["added"], checked["there_before"]) == (5, 0, 0)
    assert answer(site, "list")["entries"] == []
    assert answer(site, "import", file)["added"] == 5
    before = answer(site, "list")["entries"]
    again = answer(site, "import", file)
    assert (again["added"], again["there_before"]) == (0, 5)
    assert answer(site, "list")["entries"] == before
    assert "5 lines: 0 written, 5 there before." in ask(site, "import", file).stdout


def test_a_line_is_read_as_it_was_meant(site):
    answer(site, "import", notebook(site, BOOK))
    cut, first, second, *_ = answer(site, "list")["entries"]
    # British summer time in May (IANA zone data).
    assert (cut["finished"], cut["notes"]) == ("2025-05-07T07:30:00+01:00", "first cut of the week")
    assert first["finished"] == "2025-05-08T12:00:00+01:00"
    assert "finished: noon, since the notebook has no time" in first["filled_in"]
    assert not any("noon" in mark for mark in cut["filled_in"])
    # 25 L/ha on 340 m2 is 0.85 L, by hand.
    for row in (first, second):
        assert row["materials"][0]["amount"] == pytest.approx(0.85)
        assert row["materials"][0]["unit"] == "L"
    assert second["notes"] == "a comma, here"
    assert first["weather"] is None, "no forecast of last year is kept, and none is made up"


def test_a_withdrawn_line_stays_withdrawn(site):
    file = notebook(site, BOOK)
    answer(site, "import", file)
    uuid = answer(site, "list")["entries"][0]["uuid"]
    ask(site, "withdraw", uuid, "--reason", "it was the tee")
    assert answer(site, "import", file)["added"] == 0
    assert uuid not in [row["uuid"] for row in answer(site, "list")["entries"]]


def test_a_line_more_adds_only_itself(site):
    answer(site, "import", notebook(site, BOOK))
    longer = notebook(site, BOOK + "2025-05-17,09:00,mow_green,green,,,,,\n\n")
    assert answer(site, "import", longer)["added"] == 1


def test_semicolons_and_decimal_commas_and_a_byte_order_mark(site):
    text = "\ufeffDate;Job;Surface;Cut_height_mm\n2025-06-01;mow_green;green;4,2\n"
    assert answer(site, "import", notebook(site, text))["added"] == 1
    assert answer(site, "list")["entries"][0]["cut_height_mm"] == 4.2


def test_every_fault_stands_on_one_list_with_its_line_and_nothing_is_written(site):
    text = BOOK + (
        "07/05/2025,,mow_green,green,,,,,\n"
        "2025-05-18,7.30,mow_green,green,,,,,\n"
        "2025-05-18,,mow_gren,green,,,,,\n"
        "2025-05-18,,mow_green,gren,,,,,\n"
        "2025-05-18,,foliar_feed,green,foliar 10-0-4,2,L,25,\n"
        "2025-05-18,,foliar_feed,green,,2,L,,\n"
        "2025-05-18,,foliar_feed,green,foliar 10-0-4,much,L,,\n"
        "2099-05-18,,mow_green,green,,,,,\n"
        ",,mow_green,green,,,,,\n"
        "2025-05-18,,mow_green,green,,,,,one,two\n"
        "2025-05-18,,foliar_feed,green,foliar 10-0-4,,L/acre,25,\n"
    )
    found = ask(site, "import", notebook(site, text))
    assert isinstance(found.exception, ConfigError)
    assert [fault.line for fault in found.exception.faults] == list(range(7, 18))
    says = [fault.says for fault in found.exception.faults]
    for fault, words in zip(
        says,
        (
            "not a date",
            "not a time of day",
            'Did you mean "mow_green"',
            'Did you mean "green"',
            "an amount and a rate",
            "of no material",
            "not a number",
            "still to come",
            "has no date",
            "beyond the last column",
            "per hectare",
        ),
        strict=True,
    ):
        assert words in fault
    assert answer(site, "list")["entries"] == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("date,job\n", "the column surface is missing"),
        ("date,job,surface,colour\n", '"colour" is not a column'),
        ("date,job,surface,job\n", "stands twice"),
        ("", "the column date is missing"),
    ],
)
def test_a_head_that_cannot_be_read_is_told(site, text, says):
    found = ask(site, "import", notebook(site, text))
    assert isinstance(found.exception, ConfigError)
    assert says in str(found.exception).replace("\n      ", " ")


def test_a_file_that_is_not_there(site):
    assert isinstance(ask(site, "import", str(site.parent / "none.csv")).exception, InputError)
