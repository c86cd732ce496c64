"""The demo's answers, rendered once, and a service that shows them under a clock the test sets."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from planner.answers import render
from planner.briefing import Briefing
from planner.config.load import load
from planner.cycle import assess
from planner.forecast.recorded import read_file
from planner.service.app import create_app
from planner.service.shelf import Shelf
from planner.service.views import PageViews

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime.fromisoformat("2026-05-07T06:00:00+01:00")

Answers = dict[str, tuple[str, bytes]]


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **time: float) -> None:
        self.now += timedelta(**time)


@pytest.fixture(scope="session")
def briefing() -> Briefing:
    config = load(ROOT / "config" / "demo.toml")
    return assess(config, read_file(ROOT / "fixtures" / "demo" / "week.csv", fetched_at=NOW), now=NOW)


@pytest.fixture(scope="session")
def answers(briefing: Briefing) -> Answers:
    return render(briefing)


@pytest.fixture
def clock() -> Clock:
    return Clock(NOW)


@pytest.fixture
def shelf(clock: Clock, briefing: Briefing, answers: Answers) -> Shelf:
    laid = Shelf(clock, PageViews())
    laid.put(briefing.made_at, briefing.stale_at, answers)
    return laid


@pytest.fixture
def client(shelf: Shelf, clock: Clock) -> Iterator[TestClient]:
    with TestClient(create_app(shelf, clock=clock)) as made:
        yield made


@pytest.fixture
def bare(clock: Clock) -> Iterator[TestClient]:
    """A service on whose shelf nothing lies yet."""
    with TestClient(create_app(Shelf(clock, PageViews()), clock=clock)) as made:
        yield made
