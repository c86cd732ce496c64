"""How often a service is asked for one forecast, and what its refusal tells the caller."""

from __future__ import annotations

import pytest

from planner.errors import ForecastUnavailable
from planner.forecast import http

from .conftest import reply
from .payloads import raw
from .test_asking import BODY, PAGE, ask


def test_several_calls_share_what_may_be_asked(service):
    service.says(
        reply(PAGE, 502, "text/html"), reply(b"", 307, Location="/there"), reply(BODY), reply(PAGE, 502)
    )
    allowed = http.Requests()
    assert ask(service, follow_redirects=True, requests=allowed).raw == BODY
    with pytest.raises(ForecastUnavailable, match="status 502"):
        ask(service, requests=allowed)
    assert len(service.asked) == http.ATTEMPTS


def test_an_attempt_that_is_put_off_writes_no_line(service, caplog, capfd):
    """A keeper at a terminal reads what came of the asking, not the names of what asks."""
    service.says(reply(PAGE, 502, "text/html"), reply(BODY))
    assert ask(service).raw == BODY
    assert len(service.asked) == 2
    assert not caplog.records
    assert capfd.readouterr() == ("", "")


def test_a_refusal_tells_its_status(service):
    told = {"title": "Not Found", "detail": "no such cell", "status": 404}
    service.says(reply(raw(told), 404, "application/problem+json"))
    with pytest.raises(http.Refused, match='"Not Found: no such cell"') as fault:
        ask(service)
    assert fault.value.status == 404


def test_endless_redirects_end(service):
    service.says(reply(b"", 307, Location="/there"))
    with pytest.raises(ForecastUnavailable, match="sends us on and on"):
        ask(service, follow_redirects=True)
    assert len(service.asked) == http.ATTEMPTS
