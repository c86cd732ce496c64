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

    from planner.actions.one_pass import computed
    from planner.config.load import load
    from planner.forecast.recorded import read_file
    from planner.store.store import Store
    from tests.made import stored

    folder = tmp_path_factory.mktemp("kept")
    for file in (ROOT / "config").glob("*.toml"):
        (folder / file.name).write_text(file.read_text())
    full = load(folder / "demo.toml")
    now = datetime(2026, 5, 7, 5, tzinfo=UTC)
    store = Store.open(full.store.url, site=full.site.key, place=full.site.place)
    stored(store, *computed(full, read_file(WEEK, fetched_at=now), now=now))
    store.close()
    return str(folder / "demo.toml")
