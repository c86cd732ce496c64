"""Quantities that only the diary can give, for rules to ask for like any other."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from planner.diary.book import Book
from planner.diary.growth import (
    cuts_of,
    degree_days_since,
    feeds_of,
    height_ratio,
    months_of,
    nitrogen_share,
    pace_of,
    regulators_of,
)
from planner.diary.timeline import Timeline
from planner.site import Site
from planner.weather import Array

#: Leaf length over cut height; degree days since the growth regulator; nitrogen given of the month's demand.
#: NaN where nothing is on record, so a need on them should be optional.
GIVEN: tuple[str, ...] = ("grass_height_ratio", "degree_days_since_regulator", "nitrogen_share_of_month")


def given_of(
    site: Site,
    book: Book,
    timeline: Timeline,
    *,
    full_growth_mm_d: Mapping[str, float] | None = None,
    nitrogen_month_g_m2: Mapping[str, float] | None = None,
) -> dict[str, dict[str, Array]]:
    """For each surface the arrays named in GIVEN, of shape (1, hours)."""
    paces, most = full_growth_mm_d or {}, nitrogen_month_g_m2 or {}
    told = {}
    for surface in site.surfaces:
        cuts = cuts_of(book.on(surface.name))
        pace = pace_of(surface, cuts, timeline, paces.get(surface.name))
        feeds = feeds_of(book, surface)
        months = months_of(surface, feeds, timeline, most.get(surface.name))
        regulated = [work for work, _ in regulators_of(book, surface.name)]
        rows = (
            height_ratio(surface, cuts, timeline, pace),
            degree_days_since(surface, regulated, timeline),
            nitrogen_share(months, feeds, timeline),
        )
        told[surface.name] = {name: np.atleast_2d(row) for name, row in zip(GIVEN, rows, strict=True)}
    return told
