"""The same faults through whole passes: the stored forecast and the report in force stay, and the next pass recovers.

In the plain suite one fault of each sort; all of them with `-m replay`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from planner.actions import one_pass
from planner.config.load import Config
from planner.config.schema import MirrorPart
from planner.forecast import ENSEMBLE, PROVIDERS
from planner.store.store import Store
from tests import made

from .conftest import Reply, Service, reply
from .faults import REPLIES, UNUSABLE
from .layouts import LAYOUTS, SITE
from .payloads import NOW, raw
from .test_faults import LATER, World

PLAIN = ("502 with a web page, 1801 1870", "another place", "a reason that is no text to show")
ALL = [*REPLIES, *UNUSABLE]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(str(tmp_path / "store.db"))
    yield opened
    opened.close()


def _config(world: World) -> Config:
    found = made.config(outputs=(), wanted=())
    mirror = MirrorPart(base_url=world.service.url)
    settings = {
        "providers": ("open-meteo",) if world.name == ENSEMBLE else (world.name,),
        "ensemble": world.name == ENSEMBLE,
        "contact": SITE.contact,
        "budget_s": 2.0,
        **{name.replace("-", "_"): mirror for name in PROVIDERS},
    }
    site = replace(
        found.site,
        latitude_deg=SITE.latitude_deg,
        longitude_deg=SITE.longitude_deg,
        elevation_m=SITE.elevation_m,
    )
    return replace(found, site=site, forecast=found.forecast.model_copy(update=settings))


def _bad(name: str, fault: str) -> Reply:
    if fault in REPLIES:
        return REPLIES[fault]
    answer = UNUSABLE[fault](LAYOUTS[name])
    return reply(answer if isinstance(answer, bytes) else raw(answer))


@pytest.mark.parametrize(
    "fault", [pytest.param(fault, marks=() if fault in PLAIN else pytest.mark.replay) for fault in ALL]
)
@pytest.mark.parametrize("name", sorted(LAYOUTS))
def test_a_pass_keeps_what_it_has(service: Service, store: Store, name: str, fault: str) -> None:
    world = World(service, name)
    config = _config(world)
    first = one_pass.run(config, store, now=NOW, sends=False).report
    assert (first.forecast.stale, first.forecast.fetched_at) == (False, NOW)
    kept = store.last_forecast(name)
    assert kept is not None
    service.asked.clear()
    world.replies = _bad(name, fault)
    faulty = one_pass.run(config, store, now=LATER, sends=False).report
    plain_too = 1 if name == ENSEMBLE else 0
    assert 1 <= len(service.asked) <= 4 + plain_too
    held = store.last_forecast(name)
    assert held is not None
    assert (held.raw, held.checked_at) == (kept.raw, kept.checked_at)
    if name != ENSEMBLE:
        assert (faulty.forecast.stale, faulty.forecast.fetched_at) == (True, NOW)
    assert any(note.startswith(f"{name}: ") for note in faulty.forecast.notes)
    assert all(note.isprintable() and len(note) < 1200 for note in faulty.forecast.notes)
    assert [row.surface for row in faulty.days] == [row.surface for row in first.days]
    world.replies = reply(raw(LAYOUTS[name].whole()))
    well = one_pass.run(config, store, now=LATER + (LATER - NOW), sends=False).report
    assert (well.forecast.stale, well.forecast.fetched_at) == (False, LATER + (LATER - NOW))
    assert not any(note.startswith(f"{name}: ") for note in well.forecast.notes)
