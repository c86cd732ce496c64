"""The log: one line a record, for people or for programs."""

from __future__ import annotations

import json
import logging
import subprocess
import sys

from planner.service.log import AsJson


def _record(message: str, fault: Exception | None = None) -> logging.LogRecord:
    info = None if fault is None else (type(fault), fault, fault.__traceback__)
    return logging.LogRecord("planner.passes", logging.WARNING, "x.py", 1, message, None, info)


def test_a_record_is_one_json_object_on_one_line() -> None:
    try:
        raise ZeroDivisionError("none")
    except ZeroDivisionError as fault:
        line = AsJson().format(_record("two\nlines", fault))
    assert "\n" not in line
    row = json.loads(line)
    assert (row["level"], row["logger"], row["says"]) == ("warning", "planner.passes", "two\nlines")
    assert row["time"].endswith("Z")
    assert "ZeroDivisionError: none" in row["traceback"]
    assert "traceback" not in json.loads(AsJson().format(_record("plain")))


def test_the_form_is_chosen_by_the_site_file() -> None:
    written = {}
    for form in ("text", "json"):
        code = (
            "import logging; from planner.service.log import set_up; "
            f"set_up({form!r}); logging.getLogger('uvicorn.error').warning('a line')"
        )
        ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        written[form] = ran.stderr
    assert written["text"] == "WARNING uvicorn.error: a line\n"
    assert json.loads(written["json"])["says"] == "a line"
