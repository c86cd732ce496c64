"""Made-up requests over real sockets: none is answered with a fault of ours, and the log tells of none."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from planner.config.load import load
from planner.config.schema import ServicePart
from planner.service.edge import edge
from planner.service.run import demo_app
from planner.service.wire import wire
from tests.fuzz.asking import Answered, fault_of, fuzz
from tests.fuzz.requests import TOKEN, Asked, Maker
from tests.fuzz.service import running
from tests.made import DEMO, ROOT
from tests.reports.made import NOW
from tests.service.serving import served

#: As much as is asked of every change, and of the long run; `python -m tests.fuzz` asks as often as it is told.
FEW, MANY = 200, 4000


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """The demo in this process, so that nothing has to be started."""
    app = demo_app(load(DEMO), ROOT / "fixtures" / "demo" / "week.csv", NOW, TOKEN)
    uncounted = ServicePart(
        reads_per_minute=0, writes_per_minute=0, wrong_tokens_per_minute=0, streams_per_client=0
    )
    with served(edge(app, uncounted, listens="127.0.0.1"), http=wire(("127.0.0.1",)), ws="none") as found:
        yield found


def test_a_few_are_answered_without_a_fault(port: int, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.ERROR)
    found = asyncio.run(fuzz(port, range(FEW), 2026))
    assert found.made == FEW
    assert found.faults == []
    assert [record.getMessage() for record in caplog.records] == []
    # They reach far: reads, writes, and every sort of refusal.
    assert {200, 201, 303, 400, 401, 404, 405, 421, 422} - set(found.statuses) == set()


@pytest.mark.replay
def test_many_are_answered_without_a_fault(tmp_path: Path) -> None:
    with running(tmp_path) as service:
        found = asyncio.run(fuzz(service.port, range(MANY), 7))
        told = service.told()
    assert found.made == MANY
    assert found.faults == []
    assert told == []


def test_a_number_makes_the_same_request_again() -> None:
    one, other = Maker(1, ["a"]), Maker(1, ["a"])
    assert [one.request(number) for number in range(50)] == [other.request(number) for number in range(50)]
    assert one.request(1) != one.request(2)
    assert one.request(1) != Maker(2, ["a"]).request(1)


@pytest.mark.parametrize(
    ("answered", "is_fault"),
    [
        (Answered(200, {}, b"", 0.1), False),
        (Answered(500, {}, b"", 0.1), True),
        (Answered(503, {}, b"", 0.1), True),
        (Answered(503, {b"retry-after": b"60"}, b"", 0.1), False),
        (Answered(404, {b"content-type": b"text/plain"}, b"", 0.1), True),
        (
            Answered(
                404, {b"content-type": b"application/problem+json"}, b'{"status": 400, "detail": "x"}', 0.1
            ),
            True,
        ),
        (
            Answered(
                404, {b"content-type": b"application/problem+json"}, b'{"status": 404, "detail": "x"}', 0.1
            ),
            False,
        ),
        (Answered(0, {}, b"", 0.1), True),
    ],
)
def test_what_counts_as_a_fault(answered: Answered, is_fault: bool) -> None:
    assert (fault_of(Asked(b"GET / HTTP/1.1\r\n\r\n"), answered) is not None) == is_fault
