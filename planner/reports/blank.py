"""A report with nothing in it: what stands at the head of a page before there is a forecast, so that work can be
written down all the same."""

from __future__ import annotations

from datetime import datetime

from planner.reports.rows import SCHEMA, ForecastRow, HourColumns, Place, Report, SiteRow, WeekRow
from planner.site import Site


def blank_report(site: Site, now: datetime, faults: tuple[str, ...] = ()) -> Report:
    """The site at that moment, of which nothing is known."""
    return Report(
        schema=SCHEMA,
        made_at=now,
        as_of=now,
        site=SiteRow(key=site.key, name=site.name, timezone=site.timezone, units=site.units),
        place=Place(
            latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg, elevation_m=site.elevation_m
        ),
        forecast=ForecastRow(
            provider="",
            issued_at=None,
            fetched_at=None,
            age_h=None,
            stale=True,
            stale_at=now,
            members=0,
            until=now,
            credit="No forecast yet",
            credit_url="",
            licence="",
            notes=(),
        ),
        windows=(),
        barred=(),
        warnings=(),
        ended=(),
        not_read=(),
        days=(),
        hours=HourColumns(first=now, count=0, columns={}),
        ribbons=(),
        ground=(),
        due=(),
        wanted=(),
        keeper_jobs=(),
        surfaces=(),
        sprays=(),
        week=WeekRow(days=0, hours_a_day=None, method="", says="", work=(), left=(), planned=()),
        faults=faults,
    )
