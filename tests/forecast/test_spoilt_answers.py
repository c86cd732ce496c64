"""Answers spoilt in any one place: read, or refused as malformed, never anything else."""

from __future__ import annotations

import copy
import json
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import ForecastMalformed
from planner.forecast import RawForecast, Request, provider
from planner.forecast.recorded import read_bytes
from planner.forecast.usable import require_usable

from .payloads import NOW, bright_sky, ensemble, met_norway, nws, open_meteo, raw

WHOLE: dict[str, Any] = {
    "open-meteo": open_meteo(6),
    "open-meteo-ensemble": ensemble(3, 6),
    "met-norway": met_norway([0.1] * 6, [2.0, 0.0], start=datetime(2026, 4, 1, 6, tzinfo=UTC)),
    "nws": nws(6),
    "bright-sky": bright_sky(6),
}
SITE = Request(latitude_deg=52.5, longitude_deg=13.4, elevation_m=38)
SPOILS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.just(10**400),
    st.floats(),
    st.text(max_size=8),
    st.just([]),
    st.just({}),
    st.lists(st.one_of(st.none(), st.integers(), st.text(max_size=3)), min_size=6, max_size=6),
)


def places(document: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path]
    items = document.items() if isinstance(document, dict) else enumerate(document)
    for key, part in items:
        found += places(part, (*path, key)) if isinstance(part, (dict, list)) else [(*path, key)]
    return found


PLACES = {name: places(document)[1:] for name, document in WHOLE.items()}


@pytest.mark.parametrize("name", WHOLE)
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_one_spoilt_place_is_read_or_refused(name, data):
    document = copy.deepcopy(WHOLE[name])
    part = document
    *way, last = data.draw(st.sampled_from(PLACES[name]))
    for key in way:
        part = part[key]
    if data.draw(st.booleans()):
        part[last] = data.draw(SPOILS)
    else:
        del part[last]
    body = json.dumps(document).encode()
    for read in (
        lambda: provider(name).parse(body, fetched_at=NOW),
        lambda: read_bytes(body, name="file", fetched_at=NOW),
    ):
        with suppress(ForecastMalformed):
            assert read().weather.hours > 0
    with suppress(ForecastMalformed):
        answer = RawForecast(raw=body, url="", fetched_at=NOW)
        require_usable(provider(name).parse(body, fetched_at=NOW), answer, SITE, NOW)


def test_whole_answers_are_read():
    for name, document in WHOLE.items():
        assert provider(name).parse(raw(document), fetched_at=NOW).weather.hours > 0


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=60))
def test_any_bytes_are_refused_or_read(body):
    with pytest.raises(ForecastMalformed):
        read_bytes(body, name="file", fetched_at=NOW)
