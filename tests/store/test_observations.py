"""Readings only grow; a repeated write is harmless; a withdrawal stays readable."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from sqlalchemy import text

from planner.diary.observations import Observation
from planner.errors import InputError, NotKnown
from planner.store.engine import address, connect, downgrade
from planner.store.records import KeyReused, StoreError
from planner.store.store import Store

NOW = datetime(2026, 5, 12, 12, tzinfo=UTC)
WATER = Observation(at=NOW - timedelta(hours=8), surface="green", figures={"water_mm": 4.0}, note="by hose")
AIR = Observation(at=NOW, figures={"wind_2m_kmh": 9.0, "air_temp_c": 14.0})


def test_a_reading_comes_back_as_it_was_told(store: Store) -> None:
    first, second = store.add_observation(AIR, NOW), store.add_observation(WATER, NOW)
    assert (first.observation, second.observation) == (AIR, WATER)
    assert store.observations() == (second, first), "in order of time"
    assert store.observations(surface="green") == (second,)
    assert store.observations(since=NOW) == (first,)
    assert store.observations(until=NOW) == (second,)
    assert store.bound_to("elsewhere", "").observations() == ()


def test_the_same_key_keeps_one_and_refuses_another(store: Store) -> None:
    key = str(uuid4())
    assert store.add_observation(WATER, NOW, key) == store.add_observation(WATER, NOW, key.upper())
    with pytest.raises(KeyReused):
        store.add_observation(replace(WATER, note="other"), NOW, key)
    assert len(store.observations()) == 1


def test_a_withdrawn_reading_does_not_count_and_stays_readable(store: Store) -> None:
    told = store.add_observation(WATER, NOW)
    gone = store.withdraw_observation(told.uuid, NOW, reason="40 was meant")
    assert (gone.withdrawn, gone.reason, gone.observation) == (True, "40 was meant", WATER)
    assert store.withdraw_observation(told.uuid, NOW, reason="again") == gone
    assert store.observations() == ()
    assert store.observations(with_withdrawn=True) == (gone,)
    with pytest.raises(KeyReused):
        store.add_observation(WATER, NOW, told.uuid)
    with pytest.raises(InputError, match="without a reason"):
        store.withdraw_observation(told.uuid, NOW, reason=" ")
    with pytest.raises(NotKnown):
        store.withdraw_observation(str(uuid4()), NOW, reason="x")


@pytest.mark.parametrize("act", ["delete from observations", "update observations set note = 'x'"])
def test_the_database_itself_refuses_to_change_a_reading(store: Store, act: str) -> None:
    store.add_observation(WATER, NOW)
    with pytest.raises(StoreError, match="readings only grow"), store._writing() as connection:
        connection.execute(text(act))


def test_the_way_back_is_refused_once_there_are_readings(store: Store, url: str) -> None:
    told = store.add_observation(WATER, NOW)
    engine = connect(address(url))
    with (
        pytest.raises(RuntimeError, match="holds readings"),
        engine.execution_options(writes=True).begin() as connection,
    ):
        downgrade(connection, "0003")
    engine.dispose()
    assert store.observations() == (told,)


@pytest.mark.parametrize(
    "made",
    [
        {"figures": {}},
        {"figures": {"water_mm": 4.0}, "surface": ""},
        {"figures": {"height_mm": 4.0}, "surface": ""},
        {"at": NOW.replace(tzinfo=None)},
    ],
)
def test_a_reading_that_says_nothing_is_none(made: dict[str, object]) -> None:
    with pytest.raises(InputError):
        replace(WATER, **made)
