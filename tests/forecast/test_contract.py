"""What every service must keep to, each read from a recording or an answer made to its layout."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
import pytest

from planner.errors import ForecastMalformed
from planner.forecast import PROVIDERS, open_meteo_archive, provider
from planner.weather import NEEDED, VARIABLE

from .payloads import BERLIN, GRID, NEW_YORK, NOW, STATION, ensemble, raw


def _unwrapped() -> bytes:
    import json

    return raw(json.loads(NEW_YORK.read_text())["data"])


ANSWERS: dict[str, Callable[[], bytes]] = {
    "open-meteo": BERLIN.read_bytes,
    "open-meteo-ensemble": lambda: raw(ensemble(4)),
    "met-norway": _unwrapped,
    "nws": GRID.read_bytes,
    "bright-sky": STATION.read_bytes,
    "open-meteo-archive": BERLIN.read_bytes,
}


def service(name: str):
    return open_meteo_archive.PROVIDER if name == "open-meteo-archive" else provider(name)


def test_every_service_has_its_answer_here():
    assert set(ANSWERS) == {*PROVIDERS, "open-meteo-archive"}


@pytest.mark.parametrize("name", ANSWERS)
def test_every_service_keeps_to_the_contract(name):
    forecast = service(name).parse(ANSWERS[name](), fetched_at=NOW)
    weather = forecast.weather
    assert forecast.provider == service(name).name == name
    assert forecast.fetched_at == NOW
    assert forecast.credit == service(name).credit != ""
    assert forecast.credit_url.startswith("https://")
    assert forecast.licence
    assert weather.start.tzinfo is UTC
    assert (np.diff(weather.epoch_s) == 3600).all()
    assert weather.epoch_s[0] % 3600 == 0
    for column in NEEDED:
        assert column in weather
        assert not np.isnan(weather[column]).all()
    for column in weather:
        values = weather[column]
        assert values.shape in {(weather.members, weather.hours), (1, weather.hours)}
        known = values[~np.isnan(values)]
        assert ((known >= VARIABLE[column].low) & (known <= VARIABLE[column].high)).all()
    assert weather.step_h.shape == (weather.hours,)
    assert set(weather.step_h) <= {1.0, 3.0, 6.0}
    # A calm day lies between 0 and 15 m/s in every answer here; km/h or knots read as m/s would not.
    assert 0.0 < np.nanmean(weather["wind_10m_ms"]) < 8.0
    assert weather.flaws == ()


@pytest.mark.parametrize("name", ANSWERS)
def test_reading_twice_gives_the_same(name):
    body = ANSWERS[name]()
    one, two = (service(name).parse(body, fetched_at=NOW).weather for _ in range(2))
    for column in one:
        assert np.array_equal(one[column], two[column], equal_nan=True)


@pytest.mark.parametrize("name", ANSWERS)
@pytest.mark.parametrize("body", [b"", b"null", b"[]", b"{}", b"<html>", b'"x"', b"3", b'{"hourly": 3}'])
def test_what_is_no_answer_is_malformed_and_nothing_else(name, body):
    with pytest.raises(ForecastMalformed):
        service(name).parse(body, fetched_at=NOW)


@pytest.mark.parametrize("name", ANSWERS)
def test_an_answer_cut_anywhere_is_malformed(name):
    body = ANSWERS[name]()
    for share in (0.1, 0.5, 0.9, 0.999):
        with pytest.raises(ForecastMalformed):
            service(name).parse(body[: int(len(body) * share)], fetched_at=datetime(2026, 1, 1, tzinfo=UTC))
