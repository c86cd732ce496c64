"""Recorded answers and a CSV, spoilt in a thousand ways: a refusal in words, or figures in range and the rest unknown.

A short form in the plain suite; a thousand mutants of each with `-m replay`.
"""

from __future__ import annotations

import json
from contextlib import suppress
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from planner.errors import ForecastError
from planner.forecast import PROVIDERS, RawForecast, Request, provider
from planner.forecast.nws import cell_of, holds
from planner.forecast.recorded import read_bytes
from planner.forecast.usable import require_usable
from planner.weather import VARIABLE, Forecast
from tests.made import ROOT
from tests.spoiling import bounded, spoilt_bytes, spoilt_json, spoilt_lines

from .layouts import LAYOUTS
from .payloads import BERLIN, GRID, NEW_YORK, NOW, POINTS, STATION

WHOLE: dict[str, Any] = {
    "open-meteo": json.loads(BERLIN.read_text()),
    "open-meteo-ensemble": LAYOUTS["open-meteo-ensemble"].whole(),
    "met-norway": json.loads(NEW_YORK.read_text())["data"],
    "nws": json.loads(GRID.read_text()),
    "bright-sky": json.loads(STATION.read_text()),
}
POINT = json.loads(POINTS.read_text())
CSV = (ROOT / "fixtures" / "demo" / "week.csv").read_text(encoding="utf-8")
SITE = Request(latitude_deg=50.05, longitude_deg=8.61, elevation_m=112)
QUICK = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example]
SHORT = settings(max_examples=40, deadline=None, suppress_health_check=QUICK)
#: Without making each find small: the short form does that.
LONG = settings(
    max_examples=1000, deadline=None, suppress_health_check=QUICK, phases=[Phase.explicit, Phase.generate]
)


def require_sound(forecast: Forecast) -> None:
    """Every figure is in its range or unknown, and the hours are whole."""
    weather = forecast.weather
    assert weather.hours > 0
    assert (np.diff(weather.epoch_s) == 3600).all()
    for column in weather:
        known = weather[column][~np.isnan(weather[column])]
        assert np.isfinite(known).all()
        assert ((known >= VARIABLE[column].low) & (known <= VARIABLE[column].high)).all()


def read_all(name: str, body: bytes) -> None:
    """As a pull reads it, and as a file that is handed to a command."""
    with bounded():
        with suppress(ForecastError):
            forecast = provider(name).parse(body, fetched_at=NOW)
            require_sound(forecast)
            require_usable(forecast, RawForecast(raw=body, url="", fetched_at=NOW), SITE, NOW)
        with suppress(ForecastError):
            require_sound(read_bytes(body, name="file", fetched_at=NOW))


def read_csv(body: bytes) -> None:
    with bounded(), suppress(ForecastError):
        require_sound(read_bytes(body, name="week.csv", fetched_at=NOW))


def read_point(body: bytes) -> None:
    with bounded():
        with suppress(ForecastError):
            assert cell_of(body).startswith("/gridpoints/")
        holds(body, 36.1, -79.95)


def test_every_service_is_spoilt() -> None:
    assert set(WHOLE) == set(PROVIDERS)
    for name, document in WHOLE.items():
        require_sound(provider(name).parse(json.dumps(document).encode(), fetched_at=NOW))
    require_sound(read_bytes(CSV.encode(), name="week.csv", fetched_at=NOW))


@pytest.mark.parametrize("name", WHOLE)
@SHORT
@given(data=st.data())
def test_some_mutants_of_answers(name: str, data: st.DataObject) -> None:
    read_all(name, data.draw(spoilt_json(WHOLE[name])))


@pytest.mark.replay
@pytest.mark.parametrize("name", WHOLE)
@LONG
@given(data=st.data())
def test_a_thousand_mutants_of_answers(name: str, data: st.DataObject) -> None:
    read_all(name, data.draw(spoilt_json(WHOLE[name])))


_TABLES = st.one_of(
    spoilt_lines(CSV, ",").map(lambda text: text.encode("utf-8", "replace")), spoilt_bytes(CSV.encode())
)


@SHORT
@given(body=_TABLES)
def test_some_mutants_of_a_table(body: bytes) -> None:
    read_csv(body)


@pytest.mark.replay
@LONG
@given(body=_TABLES)
def test_a_thousand_mutants_of_a_table(body: bytes) -> None:
    read_csv(body)


@SHORT
@given(body=spoilt_json(POINT))
def test_some_mutants_of_a_point(body: bytes) -> None:
    read_point(body)
