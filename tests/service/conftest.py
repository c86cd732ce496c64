"""The demo's report, made once, and a service that shows it under a clock the test sets."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.pages import draw_at_once
from tests.made import ROOT
from tests.reports.made import NOW, demo_pass

__all__ = ["NOW", "ROOT"]


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **time: float) -> None:
        self.now += timedelta(**time)


@pytest.fixture(scope="session")
def report() -> Report:
    return demo_pass()[0]


@pytest.fixture(scope="session")
def workings() -> Workings:
    return demo_pass()[1]


@pytest.fixture
def clock() -> Clock:
    return Clock(NOW)


@pytest.fixture
def cache(clock: Clock, report: Report, workings: Workings) -> ReportCache:
    made = ReportCache(clock, draw_at_once)
    made.put(report, workings)
    return made


@pytest.fixture
def client(cache: ReportCache, clock: Clock) -> Iterator[TestClient]:
    with TestClient(create_app(cache, clock=clock)) as made:
        yield made


@pytest.fixture
def bare(clock: Clock) -> Iterator[TestClient]:
    """A service before its first pass."""
    with TestClient(create_app(ReportCache(clock), clock=clock)) as made:
        yield made
