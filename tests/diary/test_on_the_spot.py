"""What was just measured stands in for the forecast's hour: the verdict, and the measured weather of an entry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import pytest

from planner.actions import record_reading, record_work
from planner.errors import InputError, NotKnown
from planner.forecast import RawForecast
from planner.indices import INDEX
from planner.indices.quantities import Quantities
from planner.store.store import Store
from tests.cli.test_diary import payload
from tests.made import config, weather

#: A forenoon of April; the forecast of it is 12 C, 70 %, 8.1 km/h at 2 m from the west and rain each hour.
NOW = datetime(2026, 4, 8, 10, 20, tzinfo=UTC)
H = timedelta(hours=1)
FOUND = config(readings=(), wanted=())
SPOT = {
    "surface": "green",
    "wind_2m_kmh": 9.0,
    "wind_dir_deg": 225.0,
    "air_temp_c": 14.0,
    "rel_humidity_pct": 60.0,
}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(str(tmp_path / "store.db"))
    yield opened
    opened.close()


def keep(store: Store, fetched_at: datetime = NOW, *, rain_mm: float = 0.0) -> None:
    raw = payload(NOW.replace(minute=0) - 72 * H, 168)
    if not rain_mm:
        raw = raw.replace(b"0.4", b"0.0")
    store.keep_forecast("open-meteo", RawForecast(raw=raw, url="", fetched_at=fetched_at))


def tell(store: Store, **fields: Any) -> dict[str, Any]:
    return dict(record_reading.add({**SPOT, **fields}, FOUND, store, NOW))


def judged(store: Store, **fields: Any) -> dict[str, Any]:
    found = tell(store, **{"job": "foliar_feed", **fields})["verdict"]
    assert found is not None
    return dict(found)


def test_too_much_wind_on_the_spot_bars_whatever_the_forecast_says(store):
    keep(store)
    calm, windy = judged(store), judged(store, wind_2m_kmh=17.0)
    assert calm["limiting"] != "wind" or calm["state"] != "barred"
    assert windy["state"] == "barred"
    assert any("wind at 2 m 17 km/h, at most 15 km/h" in text for text in windy["against"])
    assert not any("wind at 2 m" in text for text in calm["against"])


def test_the_sentence_names_the_figure_that_was_measured(store):
    keep(store)
    found = judged(store, wind_2m_kmh=2.0, at="10:30")
    assert found["state"] == "barred"
    assert "wind at 2 m 2 km/h, needs 3 km/h" in " ".join(found["against"])
    # 10:30 on the site's clock, which is an hour ahead of UTC (IANA zone data).
    assert found["says"].startswith("Measured at 10:30. ")
    assert found["cautions"] == list(FOUND.job("foliar_feed").cautions)
    assert found["measured"]["wind_2m_kmh"] == 2.0


def test_hours_to_come_stay_the_forecasts(store):
    """Rain of 0.4 mm an hour from now on breaks a foliar feed, however fair it is on the spot."""
    keep(store, rain_mm=0.4)
    found = judged(store)
    assert found["state"] in ("barred", "broken")
    assert any("rain" in text for text in found["against"])


def test_delta_t_and_dew_point_follow_what_was_measured():
    """Delta T at 14 C and 60 % by hand from the psychrometer formula of WMO-No. 8 (from memory) at 1013 hPa: at a
    wet bulb of 10.0 C the vapour pressure is 12.27 - 0.000662 x 1013 x 4.0 = 9.59 hPa, 60 % of 15.98; so 4.0 K.
    """
    hours = weather(NOW.replace(minute=0) - 4 * H, 12)
    changed = hours.with_hour(4, {"air_temp_c": 14.0, "rel_humidity_pct": 60.0, "wind_10m_ms": 3.34})
    before, after = (Quantities(one, FOUND.site, INDEX, now=NOW) for one in (hours, changed))
    assert after["delta_t_k"][0, 4] == pytest.approx(4.0, abs=0.15)
    # Dew point at 14 C and 60 %: 6.4 C, from the Magnus form of WMO-No. 8 (from memory).
    assert after["dew_point_c"][0, 4] == pytest.approx(6.4, abs=0.1)
    others = [hour for hour in range(12) if hour != 4]
    for name in ("delta_t_k", "dew_point_c", "wind_2m_kmh", "air_temp_c"):
        assert np.array_equal(before[name][:, others], after[name][:, others]), name
    # 9 km/h at 2 m is 3.34 m/s at 10 m: FAO-56 equation 47.
    assert after["wind_2m_kmh"][0, 4] == pytest.approx(9.0, abs=0.01)


def test_without_a_forecast_it_is_not_read_and_the_reading_is_kept(store):
    found = judged(store)
    assert (found["state"], found["limiting"]) == ("unread", None)
    assert "no forecast is kept" in found["says"]
    assert len(store.observations()) == 1


def test_on_a_stale_forecast_it_is_not_read(store):
    keep(store, NOW - 40 * H)
    assert judged(store)["state"] == "unread"
    assert "stale" in judged(store)["says"]


@pytest.mark.parametrize(
    ("fields", "error", "says"),
    [
        ({"job": "foliar_fed"}, NotKnown, "foliar_feed"),
        ({"job": "foliar_feed", "surface": ""}, InputError, "Name the surface"),
        ({"job": "mow_green", "surface": "apron strip"}, InputError, "is not done on"),
        (
            {"job": "mow_green", "water_mm": 3.0, **dict.fromkeys(list(SPOT)[1:])},
            InputError,
            "what is measured",
        ),
    ],
)
def test_a_question_that_cannot_be_answered_keeps_no_reading(store, fields, error, says):
    with pytest.raises(error, match=says):
        tell(store, **fields)
    assert store.observations() == ()


# The measured weather of an entry -----------------------------------------------------------------------


def spray(store: Store, **fields: Any) -> Any:
    row = {"job": "foliar_feed", "surface": "green", "started": "11:30", "finished": "12:00", **fields}
    return record_work.add(row, FOUND, store, NOW + H).entry.document


def test_a_spray_within_two_hours_takes_the_newest_reading(store):
    tell(store, at="10:00")
    tell(store, at="11:10", wind_2m_kmh=7.0)
    document = spray(store)
    assert document["measured"] == {
        "wind_2m_kmh": 7.0,
        "wind_dir_deg": 225.0,
        "air_temp_c": 14.0,
        "rel_humidity_pct": 60.0,
    }
    assert "measured: the reading of 11:10" in document["filled_in"]


@pytest.mark.parametrize(
    "reading",
    [{"at": "09:29"}, {"at": "11:15", "surface": "tee"}],
    ids=["more than two hours before", "elsewhere"],
)
def test_another_reading_is_left_alone(store, reading):
    if reading.get("surface") == "tee":
        reading = {**reading, "surface": FOUND.site.surfaces[-1].name}
        assert reading["surface"] != "green"
    tell(store, **reading)
    assert "measured" not in spray(store)


def test_a_reading_of_the_site_counts_and_what_the_keeper_wrote_comes_first(store):
    tell(store, at="11:00", surface="")
    assert spray(store)["measured"]["wind_2m_kmh"] == 9.0
    assert spray(store, measured={"wind_2m_kmh": 5.0})["measured"] == {"wind_2m_kmh": 5.0}


def test_the_same_entry_sent_again_is_the_same_and_an_edit_keeps_what_was_measured(store):
    tell(store, at="11:00")
    key = str(uuid4())
    row = {"job": "foliar_feed", "surface": "green", "started": "11:30", "finished": "12:00"}
    first = record_work.add(row, FOUND, store, NOW + H, key=key)
    assert record_work.add(row, FOUND, store, NOW + H, key=key) == first
    edited = record_work.edit(first.uuid, {"notes": "wet"}, FOUND, store, NOW + H)
    assert edited.entry.document["measured"] == first.entry.document["measured"]
    assert edited.entry.document["filled_in"] == first.entry.document["filled_in"]
    again = record_work.edit(first.uuid, {"notes": "wet"}, FOUND, store, NOW + H)
    assert again.revision == 2
    own = record_work.edit(first.uuid, {"measured": {"wind_2m_kmh": 4.0}}, FOUND, store, NOW + H)
    assert own.entry.document["measured"] == {"wind_2m_kmh": 4.0}
    assert not any(mark.startswith("measured") for mark in own.entry.document.get("filled_in", ()))


def test_the_site_file_may_tell_what_was_measured(store):
    told = replace(FOUND, readings=(record_reading_of(store),))
    row = {"job": "foliar_feed", "surface": "green", "started": "11:30", "finished": "12:00"}
    assert record_work.add(row, told, store, NOW + H).entry.document["measured"]["wind_2m_kmh"] == 9.0


def record_reading_of(store: Store) -> Any:
    uuid = tell(store, at="11:00")["uuid"]
    (kept,) = store.observations()
    store.withdraw_observation(uuid, NOW, reason="told in the site file")
    return kept.observation
