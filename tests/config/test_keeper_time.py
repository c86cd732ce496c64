"""The keeper's hours and play days as they may be written."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from pydantic import ValidationError

from planner.config.kit_schema import HoursPart, PlayPart


@pytest.mark.parametrize(
    "written", [["07:00", "09:30"], [["07:00", "09:30"]], "07:00-09:30", "07:00 \N{EN DASH} 09:30"]
)
def test_one_span_of_a_day_is_written_as_one_likes(written):
    assert HoursPart.model_validate({"mon": written}).mon == (("07:00", "09:30"),)


def test_several_spans_and_days_without_any():
    hours = HoursPart.model_validate({"mon": "07:00-09:30, 17:00-19:00", "sat": ["08:00", "13:00"]})
    need = hours.need()
    assert need.days["mon"] == (("07:00", "09:30"), ("17:00", "19:00"))
    assert need.days["sun"] == (("never", "never"),)


@pytest.mark.parametrize("written", ["7 to 9", ["07:00"], "07:00-25:00", []])
def test_what_is_no_span_is_refused(written):
    with pytest.raises(ValidationError):
        HoursPart.model_validate({"mon": written})


def test_a_play_day_may_be_a_date_alone():
    # A date has no zone; the site's own is put to it later.
    assert PlayPart.model_validate({"at": date(2026, 5, 10)}).at.isoformat() == "2026-05-10T10:00:00"
    told = datetime.fromisoformat("2026-05-10T13:00:00")
    assert PlayPart.model_validate({"at": told}).at == told
