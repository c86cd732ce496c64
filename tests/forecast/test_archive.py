"""Past weather by dates, asked year by year."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

from planner.errors import ForecastMalformed, ForecastUnavailable, InputError
from planner.forecast import Request
from planner.forecast.open_meteo_archive import ASKED, PROVIDER, join, years
from planner.forecast.open_meteo_list import SPELLINGS

from .conftest import reply
from .payloads import NOW, open_meteo, raw

SITE = Request(latitude_deg=52.5, longitude_deg=13.4, elevation_m=38)


def test_a_span_is_cut_at_the_new_year():
    assert years(date(2023, 12, 30), date(2025, 1, 2)) == [
        (date(2023, 12, 30), date(2023, 12, 31)),
        (date(2024, 1, 1), date(2024, 12, 31)),
        (date(2025, 1, 1), date(2025, 1, 2)),
    ]
    assert years(date(2024, 5, 1), date(2024, 5, 1)) == [(date(2024, 5, 1), date(2024, 5, 1))]


def test_years_are_asked_one_by_one_and_joined_without_a_hole(service):
    def day(handler):
        query = parse_qs(urlsplit(handler.path).query)
        first, last = (date.fromisoformat(query[key][0]) for key in ("start_date", "end_date"))
        start = datetime(first.year, first.month, first.day, tzinfo=UTC)
        hours = ((last - first).days + 1) * 24
        rain = [float(label.day) / 10 for label in (start + timedelta(hours=hour) for hour in range(hours))]
        reply(raw(open_meteo(hours, start=start, precipitation=rain)))(handler)

    service.says(day)
    here = replace(PROVIDER, base_url=service.url)
    answer = here.fetch(SITE, start=date(2023, 12, 31), end=date(2024, 1, 1), now=NOW, budget_s=60)
    spans = [parse_qs(urlsplit(path).query) for path, _ in service.asked]
    assert [(span["start_date"], span["end_date"]) for span in spans] == [
        (["2023-12-31"], ["2023-12-31"]),
        (["2024-01-01"], ["2024-01-02"]),
    ]
    weather = here.parse(answer.raw, fetched_at=NOW).weather
    assert weather.hours == 72
    # The last hour of the year has the rain of the new year's label, the last of the span its own.
    assert weather["rain_mm"][0, [22, 23, 46, 47]].tolist() == [3.1, 0.1, 0.1, 0.2]
    assert np.isnan(weather["rain_mm"]).sum() == 1


def test_one_year_is_kept_as_it_came(service):
    body = raw(open_meteo(48, start=datetime(2024, 5, 1, tzinfo=UTC)))
    service.says(reply(body))
    here = replace(PROVIDER, base_url=service.url)
    assert here.fetch(SITE, start=date(2024, 5, 1), end=date(2024, 5, 1), now=NOW, budget_s=60).raw == body


def test_no_half_of_a_span_is_kept(service):
    body = raw(open_meteo(24, start=datetime(2023, 12, 31, tzinfo=UTC)))
    service.says(reply(body), reply(raw({"error": True, "reason": "Daily API request limit exceeded."}), 429))
    here = replace(PROVIDER, base_url=service.url)
    with pytest.raises(ForecastUnavailable, match="Daily"):
        here.fetch(SITE, start=date(2023, 12, 31), end=date(2024, 1, 1), now=NOW, budget_s=60)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        (date(1939, 12, 31), date(1940, 1, 2)),
        (date(2024, 5, 2), date(2024, 5, 1)),
        (date(2026, 3, 31), date(2026, 4, 2)),
    ],
)
def test_a_span_that_is_not_past_is_the_keepers_fault(start, end):
    with pytest.raises(InputError, match="cannot be asked for"):
        PROVIDER.fetch(SITE, start=start, end=end, now=NOW, budget_s=60)


def test_answers_that_do_not_belong_together_are_not_joined():
    one, two = open_meteo(24), open_meteo(24)
    two["hourly_units"]["wind_speed_10m"] = "km/h"
    with pytest.raises(ForecastMalformed, match="hourly_units"):
        join([one, two])
    two = open_meteo(24)
    del two["hourly"]["precipitation"]
    with pytest.raises(ForecastMalformed, match="precipitation"):
        join([one, two])


def test_the_names_we_ask_for_are_ones_we_read():
    assert set(ASKED.split(",")) <= {name for names in SPELLINGS.values() for name in names}
