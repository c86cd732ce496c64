"""What tests of several rooms start from."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

from tests.made import ROOT

WEEK = ROOT / "fixtures" / "demo" / "week.csv"

# An example that takes long on a busy machine is not a fault.
settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")


@pytest.fixture(scope="session")
def kept(tmp_path_factory) -> str:
    """A site file beside a store that holds one pass of the demo week."""
    from datetime import UTC, datetime

    from planner.answers import render
    from planner.config.load import load
    from planner.cycle import assess
    from planner.forecast.recorded import read_file
    from planner.store import Answer, Store

    folder = tmp_path_factory.mktemp("kept")
    for file in (ROOT / "config").glob("*.toml"):
        (folder / file.name).write_text(file.read_text())
    full = load(folder / "demo.toml")
    now = datetime(2026, 5, 7, 5, tzinfo=UTC)
    briefing = assess(full, read_file(WEEK, fetched_at=now), now=now)
    store = Store.open(full.store.url)
    store.keep_pass(now, {k: Answer(content_type=t, body=b) for k, (t, b) in render(briefing).items()})
    store.close()
    return str(folder / "demo.toml")
