"""The grid of the US National Weather Service: its intervals, its units, and the two steps to a forecast.

Layouts are those of the service's own documentation (weather-gov.github.io/api, gridpoints and general FAQ).
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler

import numpy as np
import pytest

from planner.errors import ForecastMalformed, ForecastUnavailable, UnitMismatch
from planner.forecast import Request
from planner.forecast.nws import PROVIDER

from .conftest import Reply, Service, reply
from .payloads import GRID, NOW, POINTS, START, nws, nws_points, raw

SITE = Request(latitude_deg=52.5, longitude_deg=13.4, elevation_m=38, contact="me@green.example")
GONE = {
    "title": "Not Found",
    "detail": "Marine Forecast Not Supported",
    "status": 404,
    "type": "https://api.weather.gov/problems/MarineForecastNotSupported",
}


def layer(uom: str, *values: tuple[str, float | None]) -> dict[str, object]:
    return {
        "uom": f"wmoUnit:{uom}",
        "values": [{"validTime": time, "value": value} for time, value in values],
    }


def read(**changed: object):
    return PROVIDER.parse(raw(nws(48, **changed)), fetched_at=NOW)


def test_an_interval_from_the_documentation_is_three_hours():
    # "2019-07-04T18:00:00+00:00/PT3H represents an interval starting on July 4, 2019 at 1800 UTC and continuing
    # for 3 hours (from 1800 to 2100)": the service's FAQ on gridpoints.
    answer = nws(
        48,
        start=datetime(2019, 7, 4, tzinfo=UTC),
        windGust=layer("km_h-1", ("2019-07-04T18:00:00+00:00/PT3H", 36.0)),
    )
    weather = PROVIDER.parse(raw(answer), fetched_at=NOW).weather
    known = np.flatnonzero(~np.isnan(weather["gust_10m_ms"][0]))
    assert [weather.time(hour).hour for hour in known] == [18, 19, 20]
    assert weather["gust_10m_ms"][0, known] == pytest.approx([10.0] * 3)


def test_rain_is_shared_out_over_its_hours_and_its_sum_is_kept():
    rain = layer(
        "mm",
        ("2026-04-01T00:00:00+00:00/PT1H", 0.5),
        ("2026-04-01T01:00:00+00:00/PT2H", 1.0),
        ("2026-04-01T03:00:00+00:00/PT6H", 12.0),
        ("2026-04-01T09:00:00+00:00/PT12H", 0.0),
        ("2026-04-01T21:00:00+00:00/PT3H", None),
    )
    forecast = read(quantitativePrecipitation=rain)
    hourly = forecast.weather["rain_mm"][0]
    assert hourly[:9] == pytest.approx([0.5, 0.5, 0.5, 2, 2, 2, 2, 2, 2])
    assert not hourly[9:21].any()
    assert np.isnan(hourly[21:]).all(), "null and what lies beyond the list are unknown, never dry"
    assert np.nansum(hourly) == pytest.approx(13.5)
    assert list(forecast.weather.step_h[:10]) == [1, 3, 3, 6, 6, 6, 6, 6, 6, 6]
    assert forecast.notes == (
        "rain from 2026-04-01 01:00Z on is known for up to 6 h together and shared out evenly, in 8 of the hours",
    )


def test_every_form_of_interval_is_read():
    times = {
        "2026-04-01T00:00:00+00:00/P1DT7H": 31,
        "2026-04-01T00:00:00Z/PT14H": 14,
        "2026-03-31T20:00:00-04:00/PT120M": 2,
        "2026-04-01T00:00:00+00:00/P1W": 168,
    }
    for time, hours in times.items():
        weather = read(skyCover=layer("percent", (time, 40))).weather
        assert np.flatnonzero(~np.isnan(weather["cloud_pct"][0])).tolist() == list(range(hours))


@pytest.mark.parametrize(
    "time",
    [
        "2026-04-01T00:00:00+00:00",
        "2026-04-01T00:00:00+00:00/",
        "2026-04-01T00:00:00+00:00/PT0H",
        "2026-04-01T00:00:00+00:00/PT30M",
        "2026-04-01T00:20:00+00:00/PT1H",
        "2026-04-01T00:00:00/PT1H",
        "2026-04-01T00:00:00+00:00/PT99999H",
        "2026-04-01T00:00:00+00:00/2026-04-01T06:00:00+00:00",
        "1066-04-01T00:00:00+00:00/PT1H",
        "0001-01-01T00:00:00+14:00/PT1H",
        None,
        7,
    ],
)
def test_an_interval_that_cannot_be_is_refused_in_words(time):
    with pytest.raises(ForecastMalformed, match="US National Weather Service"):
        read(skyCover=layer("percent", (time, 40)))


def test_what_overlaps_is_refused():
    rain = layer("mm", ("2026-04-01T00:00:00+00:00/PT6H", 1.0), ("2026-04-01T03:00:00+00:00/PT6H", 1.0))
    with pytest.raises(ForecastMalformed, match="out of order"):
        read(quantitativePrecipitation=rain)


def test_units_are_read_and_unknown_ones_refused():
    at = "2026-04-01T00:00:00+00:00/PT2H"
    weather = read(windGust=layer("m_s-1", (at, 10.0)), snowfallAmount=layer("mm", (at, 140.0))).weather
    assert weather["gust_10m_ms"][0, 0] == 10.0
    # Snow is told as a depth: 7 cm are 10 mm of water, here in each of two hours.
    assert weather["snow_mm"][0, :2] == pytest.approx([10.0, 10.0])
    with pytest.raises(UnitMismatch, match="furlong"):
        read(windSpeed=layer("furlong", (at, 1.0)))
    with pytest.raises(UnitMismatch, match="declares no unit"):
        read(windSpeed={"values": [{"validTime": at, "value": 1.0}]})


def test_humidity_follows_from_the_dew_point_and_a_layer_without_values_is_none():
    forecast = read(relativeHumidity={"values": []}, pressure={"values": []})
    # Magnus by hand for 10 °C and a dew point of 5 °C: 71 %.
    assert forecast.weather["rel_humidity_pct"][0, 0] == pytest.approx(71, abs=0.5)
    assert "pressure_hpa" not in forecast.weather


def test_the_made_answer_tells_its_run_and_ends_with_its_rain():
    forecast = PROVIDER.parse(GRID.read_bytes(), fetched_at=NOW)
    assert forecast.issued_at == datetime(2026, 4, 1, 4, 41, 12, tzinfo=UTC)
    # Temperature to the end of validTimes, P7DT14H; rain ends 27 h before it, as in a recorded answer.
    assert forecast.weather.hours == 7 * 24 + 14
    assert np.isnan(forecast.weather["rain_mm"][0, -27:]).all()
    assert not np.isnan(forecast.weather["rain_mm"][0, :-27]).any()
    listed = json.loads(GRID.read_bytes())["properties"]["quantitativePrecipitation"]["values"]
    assert np.nansum(forecast.weather["rain_mm"]) == pytest.approx(sum(one["value"] for one in listed))


class Office:
    """The service with its two addresses: which answers it gives under each, and what it was asked."""

    def __init__(self, service: Service) -> None:
        self.service = service
        self.points: Reply = reply(raw(nws_points(service.url)))
        self.cells: dict[str, Reply] = {
            "TST/4,7": reply(raw(nws(48)), Last_Modified="Wed, 01 Apr 2026 05:00:00 GMT")
        }
        service.says(self._answer)

    def _answer(self, handler: BaseHTTPRequestHandler) -> None:
        cell = handler.path.removeprefix("/gridpoints/")
        (self.points if handler.path.startswith("/points/") else self.cells.get(cell, reply(raw(GONE), 404)))(
            handler
        )

    @property
    def asked(self) -> list[str]:
        return [path for path, _ in self.service.asked]

    def fetch(self, last=None, **changed: object):
        return replace(PROVIDER, base_url=self.service.url).fetch(
            replace(SITE, **changed), last=last, now=NOW, budget_s=30.0
        )


@pytest.fixture
def office(service: Service) -> Office:
    return Office(service)


def test_two_steps_then_one_and_unchanged_costs_no_body(office):
    first = office.fetch()
    assert office.asked == ["/points/52.5,13.4", "/gridpoints/TST/4,7"]
    agent = office.service.asked[0][1]["user-agent"]
    assert agent.startswith("haysel/")
    assert agent.endswith("me@green.example")
    office.cells["TST/4,7"] = reply(b"", 304)
    again = office.fetch(first)
    assert office.asked[2:] == ["/gridpoints/TST/4,7"]
    assert office.service.asked[2][1]["if-modified-since"] == "Wed, 01 Apr 2026 05:00:00 GMT"
    assert again.raw == first.raw


def _moved() -> dict[str, object]:
    answer = nws(48)
    answer["geometry"]["coordinates"] = [[[15.0, 50.0], [15.1, 50.0], [15.1, 50.1], [15.0, 50.0]]]
    return answer


@pytest.mark.parametrize("old_cell", [reply(raw(GONE), 404), reply(raw(_moved()))], ids=["gone", "moved"])
def test_a_cell_that_is_gone_or_elsewhere_is_asked_for_anew(office, old_cell: Reply):
    first = office.fetch()
    office.cells = {"TST/4,7": old_cell, "TST/4,8": reply(raw(nws(48)))}
    office.points = reply(raw(nws_points(office.service.url, "TST/4,8")))
    again = office.fetch(first)
    assert again.url.endswith("/gridpoints/TST/4,8")
    assert office.asked[2:] == ["/gridpoints/TST/4,7", "/points/52.5,13.4", "/gridpoints/TST/4,8"]


def test_a_site_that_moved_is_looked_up_again(office):
    first = office.fetch()
    office.fetch(first, latitude_deg=52.6)
    assert office.asked[2] == "/points/52.6,13.4"


def test_outside_the_united_states_is_said_in_words(office):
    office.points = reply(
        raw(
            {
                "title": "Data Unavailable For Requested Point",
                "detail": "Unable to provide data for requested point 52.5,13.4",
                "status": 404,
            }
        ),
        404,
        "application/problem+json",
    )
    with pytest.raises(ForecastUnavailable, match="outside the United States.*Unable to provide data"):
        office.fetch()
    assert len(office.asked) == 1


@pytest.mark.parametrize(
    ("grid", "fault", "says"),
    [
        (None, ForecastUnavailable, "no grid cell for the site"),
        ("https://elsewhere.example/steal", ForecastMalformed, "no address of one"),
        (7, ForecastMalformed, "no address of one"),
    ],
)
def test_a_point_without_a_cell_is_refused(office, grid, fault, says):
    office.points = reply(raw({"properties": {"forecastGridData": grid}}))
    with pytest.raises(fault, match=says):
        office.fetch()
    assert len(office.asked) == 1


def test_an_expired_grid_is_asked_again_and_never_more_than_four_times(office):
    expired = {
        "title": "Forecast Grid Expired",
        "detail": "Requested forecast grid has expired",
        "status": 503,
    }
    office.cells["TST/4,7"] = reply(raw(expired), 503)
    with pytest.raises(ForecastUnavailable, match="Requested forecast grid has expired"):
        office.fetch()
    assert len(office.asked) == 4


def test_the_made_point_leads_to_the_made_cell(office):
    office.points = reply(POINTS.read_bytes())
    office.cells["RAH/20,60"] = reply(GRID.read_bytes())
    answer = office.fetch(latitude_deg=36.1, longitude_deg=-79.95)
    assert office.asked == ["/points/36.1,-79.95", "/gridpoints/RAH/20,60"]
    office.fetch(answer, latitude_deg=36.1, longitude_deg=-79.95)
    assert len(office.asked) == 3, "the place lies in the made cell"


def test_starts_where_the_rest_starts():
    answer = nws(24, start=START + timedelta(hours=3))
    answer["properties"]["skyCover"] = layer("percent", ("2026-04-01T00:00:00+00:00/PT4H", 10))
    weather = PROVIDER.parse(raw(answer), fetched_at=NOW).weather
    assert weather.start == START
    assert np.isnan(weather["air_temp_c"][0, :3]).all()
