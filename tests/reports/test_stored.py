"""A report as it is kept: read back the same, and refused in words when it is of another shape."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planner.errors import OtherSchema
from planner.reports.answers import (
    decode_report,
    decode_workings,
    encode_report,
    encode_workings,
)
from planner.reports.as_of import as_of
from tests.reports.made import NOW, bare, demo, demo_pass


@pytest.mark.parametrize("report", [demo(), as_of(demo(), NOW + timedelta(hours=31)), bare()])
def test_a_report_is_read_back_as_it_was_kept(report) -> None:
    body = encode_report(report)
    assert decode_report(body) == report
    assert encode_report(decode_report(body)) == body


def test_workings_are_read_back_as_they_were_kept() -> None:
    workings = demo_pass()[1]
    body = encode_workings(workings)
    assert decode_workings(body) == workings
    assert encode_workings(decode_workings(body)) == body


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b'{"schema":1}', b"null", b"\xff\xfe"])
def test_what_is_no_report_is_refused_in_words(body: bytes) -> None:
    for decode in (decode_report, decode_workings):
        with pytest.raises(OtherSchema, match="the next pass replaces"):
            decode(body)


def test_a_report_that_lacks_a_field_is_refused() -> None:
    body = encode_report(demo()).replace(b'"made_at"', b'"made_on"', 1)
    with pytest.raises(OtherSchema, match="made_at"):
        decode_report(body)
