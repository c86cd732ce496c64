"""Which forecast is worked with when services fail, one after another."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import httpx
import pytest
import respx

from planner import forecast as room
from planner.errors import ForecastMalformed, ForecastUnavailable, NotKnown
from planner.forecast import RawForecast, Request, fetch, read_answer
from planner.forecast.open_meteo import OpenMeteo

from .payloads import NOW, ensemble, met_norway, open_meteo, raw

SITE = Request(latitude_deg=52.5, longitude_deg=13.4, elevation_m=38, contact="me@green.example")
OPEN = "https://api.open-meteo.com/v1/forecast"
RUN = "https://api.open-meteo.com/data/"
MEMBERS = "https://ensemble-api.open-meteo.com/v1/ensemble"
MET = "https://api.met.no/weatherapi/locationforecast/2.0/complete"
BOTH = ("open-meteo", "met-norway")
GOOD = raw(open_meteo(48))
_MET = met_norway([0.0] * 48, [0.6], start=datetime(2026, 4, 1, 6, tzinfo=UTC))
GOOD_MET = raw({**_MET, "geometry": {"type": "Point", "coordinates": [13.4, 52.5, 38]}})
JSON = {"Content-Type": "application/json"}


@pytest.fixture
def net():
    with respx.mock(assert_all_called=False) as router:
        yield router


def body(content: bytes, **headers: str) -> httpx.Response:
    return httpx.Response(200, content=content, headers=JSON | headers)


def test_the_first_that_answers_is_taken_and_the_next_not_asked(net):
    net.get(url__startswith=OPEN).mock(return_value=body(GOOD))
    met = net.get(url__startswith=MET).mock(return_value=body(GOOD_MET))
    got = fetch(SITE, BOTH, last={}, now=NOW)
    assert (got.forecast.provider, got.stale, got.age_h, got.faults) == ("open-meteo", False, 0.0, ())
    assert got.answers["open-meteo"].raw == GOOD
    assert not met.called


@pytest.mark.parametrize(
    "broken",
    [
        httpx.Response(502, content=b"<html>", headers={"Content-Type": "text/html"}),
        httpx.Response(400, json={"error": True, "reason": "Invalid timezone"}),
        body(GOOD[:-30]),
        body(raw({"hourly": {}})),
        body(raw(open_meteo(48, wind_speed_10m=[None] * 48))),
        body(raw(open_meteo(48, start=NOW.replace(minute=0) - timedelta(days=3)))),
    ],
    ids=["502", "400", "cut short", "empty", "no wind", "old hours"],
)
def test_the_next_is_asked_when_the_first_fails_in_any_way(net, broken):
    net.get(url__startswith=OPEN).mock(return_value=broken)
    net.get(url__startswith=MET).mock(return_value=body(GOOD_MET))
    got = fetch(SITE, BOTH, last={}, now=NOW)
    assert (got.forecast.provider, got.stale) == ("met-norway", False)
    assert list(got.answers) == ["met-norway"]
    assert len(got.faults) == 1
    assert got.faults[0].startswith("open-meteo: ")


def test_wrong_unit_is_a_fault_like_any_other(net):
    answer = open_meteo(48)
    answer["hourly_units"]["wind_speed_10m"] = "knots maybe"
    net.get(url__startswith=OPEN).mock(return_value=body(raw(answer)))
    net.get(url__startswith=MET).mock(side_effect=httpx.ConnectError("no route"))
    kept = RawForecast(
        raw=GOOD, url="https://x.example/", fetched_at=NOW - timedelta(hours=5), notes=("kept",)
    )
    got = fetch(SITE, BOTH, last={"open-meteo": kept}, now=NOW)
    assert got.stale
    assert got.age_h == pytest.approx(5.0)
    assert got.answers == {"open-meteo": kept}
    assert got.forecast.notes == ("kept",)
    assert ["knots maybe" in got.faults[0], "no route" in got.faults[1]] == [True, True]


def test_the_newer_of_two_kept_answers_is_worked_with(net):
    net.get(url__regex=".*").mock(side_effect=httpx.ReadTimeout("slow"))
    last = {
        "open-meteo": RawForecast(raw=GOOD, url="https://x.example/", fetched_at=NOW - timedelta(hours=5)),
        "met-norway": RawForecast(
            raw=GOOD_MET, url="https://y.example/", fetched_at=NOW - timedelta(hours=1)
        ),
    }
    assert fetch(SITE, BOTH, last=last, now=NOW).forecast.provider == "met-norway"
    spoilt = {**last, "met-norway": replace(last["met-norway"], raw=GOOD_MET[:-9])}
    got = fetch(SITE, BOTH, last=spoilt, now=NOW)
    assert got.forecast.provider == "open-meteo"
    assert any("met-norway, the last answer" in fault for fault in got.faults)


def test_a_kept_answer_without_hours_ahead_is_no_forecast(net):
    net.get(url__regex=".*").mock(side_effect=httpx.ReadTimeout("slow"))
    last = {"open-meteo": RawForecast(raw=GOOD, url="https://x.example/", fetched_at=NOW)}
    with pytest.raises(ForecastUnavailable, match="has no hour after"):
        fetch(SITE, BOTH, last=last, now=NOW + timedelta(days=3))


def test_when_nothing_is_left_every_fault_is_named(net):
    net.get(url__startswith=OPEN).mock(side_effect=httpx.ConnectError("no route"))
    with pytest.raises(ForecastUnavailable) as told:
        fetch(replace(SITE, contact=""), BOTH, last={}, now=NOW)
    assert told.value.exit_code == 3
    assert "open-meteo: Open-Meteo could not be reached" in str(told.value)
    assert "met-norway: MET Norway serves only callers who say who they are" in str(told.value)


def test_no_service_and_an_unknown_one():
    with pytest.raises(ForecastUnavailable, match="No service is named"):
        fetch(SITE, (), last={}, now=NOW)
    with pytest.raises(NotKnown, match='Did you mean "open-meteo"'):
        fetch(SITE, ("open-metoe",), last={}, now=NOW)


def test_the_ensemble_is_a_second_call(net):
    net.get(url__startswith=OPEN).mock(return_value=body(GOOD))
    net.get(url__startswith=MEMBERS).mock(return_value=body(raw(ensemble(31))))
    got = fetch(replace(SITE, members=True), BOTH, last={}, now=NOW)
    assert got.ensemble is not None
    assert got.ensemble.weather.members == 31
    assert got.forecast.weather.members == 1
    assert set(got.answers) == {"open-meteo", "open-meteo-ensemble"}


def test_the_ensemble_may_fail_alone_and_its_last_answer_serves_for_half_a_day(net):
    net.get(url__startswith=OPEN).mock(return_value=body(GOOD))
    net.get(url__startswith=MEMBERS).mock(return_value=httpx.Response(503))
    site = replace(SITE, members=True)
    got = fetch(site, BOTH, last={}, now=NOW)
    assert got.ensemble is None
    assert not got.stale
    assert any("chance of rain is not known" in fault for fault in got.faults)
    kept = RawForecast(raw=raw(ensemble(3)), url="https://x.example/", fetched_at=NOW - timedelta(hours=4))
    got = fetch(site, BOTH, last={room.ENSEMBLE: kept}, now=NOW)
    assert got.ensemble is not None
    assert any("4.0 h old" in fault for fault in got.faults)
    old = replace(kept, fetched_at=NOW - timedelta(hours=13))
    assert fetch(site, BOTH, last={room.ENSEMBLE: old}, now=NOW).ensemble is None


def test_the_run_of_one_model_is_told_and_its_absence_forgiven(net):
    net.get(url__startswith=OPEN).mock(return_value=body(GOOD))
    told = {"last_run_availability_time": 1775016000, "update_interval_seconds": 21600}
    run = net.get(url__startswith=RUN).mock(return_value=httpx.Response(200, json=told))
    site = replace(SITE, model="icon_eu")
    got = fetch(site, BOTH, last={}, now=NOW)
    assert str(run.calls[0].request.url) == f"{RUN}dwd_icon_eu/static/meta.json"
    assert got.forecast.issued_at == datetime(2026, 4, 1, 4, tzinfo=UTC)
    again = read_answer(room.provider("open-meteo"), got.answers["open-meteo"])
    assert again.issued_at == got.forecast.issued_at
    run.mock(return_value=httpx.Response(404))
    got = fetch(site, BOTH, last={}, now=NOW)
    assert got.forecast.issued_at is None
    assert any("when the model ran is not known" in note for note in got.forecast.notes)
    assert got.faults == ()


def test_the_mixture_is_dated_only_where_the_answer_shows_its_model(net):
    soil = open_meteo(48, soil_temperature_6cm=[8.0] * 48)
    soil["hourly_units"]["soil_temperature_6cm"] = "°C"
    told = {"last_run_availability_time": 1774900000, "update_interval_seconds": 21600}
    net.get(url__startswith=RUN).mock(return_value=httpx.Response(200, json=told))
    opened = net.get(url__startswith=OPEN).mock(return_value=body(raw(soil)))
    late = fetch(SITE, BOTH, last={}, now=NOW).forecast
    assert late.issued_at is not None
    assert any("overdue" in note for note in late.notes)
    opened.mock(return_value=body(GOOD))
    assert fetch(SITE, BOTH, last={}, now=NOW).forecast.issued_at is None


def test_hours_ahead_must_hold_all_that_is_needed():
    half = open_meteo(48, precipitation=[0.0] * 7 + [None] * 41)
    forecast = read_answer(room.provider("open-meteo"), RawForecast(raw=raw(half), url="", fetched_at=NOW))
    with pytest.raises(ForecastMalformed, match="all known"):
        room.require_hours_ahead(forecast, NOW)
    room.require_hours_ahead(forecast, NOW - timedelta(hours=1))


@pytest.mark.parametrize(
    "fault", [TypeError("no"), RecursionError(), UnicodeEncodeError("ascii", "x", 0, 1, "no")]
)
def test_whatever_a_service_makes_us_stumble_over_the_next_is_asked(net, monkeypatch, fault):
    """A fault of our own is told like any other, and displaces nothing."""
    net.get(url__startswith=OPEN).mock(return_value=body(GOOD))
    met = net.get(url__startswith=MET).mock(return_value=body(GOOD_MET))

    def stumbles(*_, **__):
        raise fault

    monkeypatch.setattr(OpenMeteo, "parse", stumbles)
    got = fetch(SITE, BOTH, last={}, now=NOW)
    assert (got.forecast.provider, met.called) == ("met-norway", True)
    assert type(fault).__name__ in got.faults[0]
    net.get(url__startswith=MET).mock(side_effect=httpx.ConnectError("no route"))
    with pytest.raises(ForecastUnavailable):
        fetch(SITE, BOTH, last={"open-meteo": RawForecast(raw=GOOD, url="", fetched_at=NOW)}, now=NOW)


def test_a_forecast_is_said_to_stay_in_force_only_where_one_is_held(net):
    net.get(url__startswith=OPEN).mock(side_effect=httpx.ConnectError("no way"))
    with pytest.raises(ForecastUnavailable, match="Ask again later") as told:
        fetch(SITE, BOTH[:1], last={}, now=NOW)
    assert "last good forecast" not in str(told.value)
    held = RawForecast(raw=GOOD, url=OPEN, fetched_at=NOW - timedelta(hours=3))
    got = fetch(SITE, BOTH[:1], last={"open-meteo": held}, now=NOW)
    assert got.stale
    assert got.faults[-1].endswith("Ask again later. The last good forecast stays in force.")
    too_old = replace(held, raw=raw(open_meteo(48, start=NOW.replace(minute=0) - timedelta(days=9))))
    with pytest.raises(ForecastUnavailable) as told:
        fetch(SITE, BOTH[:1], last={"open-meteo": too_old}, now=NOW)
    assert "stays in force" not in str(told.value)
