"""The pages, the calendar, the metrics and the events over HTTP."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, HTTPException, Path, Query, Request, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent

from planner import page
from planner.errors import NoPassYet, NotKnown
from planner.outputs.calendar import CALENDAR, calendar
from planner.outputs.metrics import METRICS, metrics
from planner.page import edition
from planner.reports.rows import Report
from planner.reports.sentences import read_day
from planner.service.asked import StrictRoute, UnknownParameter, path_here
from planner.service.cache import Draw, Item, ReportCache, Snapshot, item, send
from planner.service.problems import problem
from planner.service.routes import may_answer


class CalendarFeed:
    """The calendar feed, of the keeper's jobs or of every job.

    It remembers the feed before, so that an event that has not changed stays as it was.
    """

    def __init__(self, *, every_job: bool = False) -> None:
        self._every_job = every_job
        self._before: bytes | None = None

    def draw(self, report: Report) -> bytes:
        """The feed of a report."""
        self._before = calendar(report, self._before, every_job=self._every_job)
        return self._before

    def of(self, snapshot: Snapshot) -> Item:
        """The feed of a snapshot."""
        key = "calendar.ics, every job" if self._every_job else "calendar.ics"
        return snapshot.item((key,), CALENDAR, self.draw)


def pages(cache: ReportCache, clock: Callable[[], datetime]) -> APIRouter:
    """The routes outside /api."""
    router = APIRouter(route_class=StrictRoute)
    feed, feed_of_all = CalendarFeed(), CalendarFeed(every_job=True)

    @router.get("/", include_in_schema=False)
    async def home(
        request: Request, day: Annotated[str, Query()] = "", at: Annotated[str, Query()] = ""
    ) -> Response:
        snapshot = _snapshot(cache, request)
        if isinstance(snapshot, Response):
            return snapshot
        report = snapshot.report
        chosen = _day_of(report, day, clock()) if day else None
        touched = _hour_of(report, at) if at else None
        faults = [one for one in (chosen, touched) if isinstance(one, NotKnown)]
        if faults:
            return _missing(request, faults[0])
        workings = snapshot.workings

        def draw(found: Report) -> bytes:
            return page.home(found, workings, chosen, touched)  # type: ignore[arg-type]

        key = ("home", *((day, at) if day or at else ()))
        return send(request, snapshot.item(key, page.HTML, draw))

    @router.get("/ground", include_in_schema=False)
    async def ground(request: Request) -> Response:
        return _shown(request, cache, page.ground, "ground")

    @router.get("/sheet", include_in_schema=False)
    async def sheet(request: Request) -> Response:
        return _shown(request, cache, page.week_sheet, "sheet")

    @router.get("/day/{day}", include_in_schema=False)
    async def day(request: Request, day: Annotated[str, Path()]) -> Response:
        snapshot = _snapshot(cache, request)
        if isinstance(snapshot, Response):
            return snapshot
        chosen = _day_of(snapshot.report, day, clock())
        if isinstance(chosen, NotKnown):
            return _missing(request, chosen)
        return send(request, snapshot.item(("day", chosen), page.HTML, lambda found: page.day(found, chosen)))

    @router.get("/job/{job}", include_in_schema=False)
    async def job(request: Request, job: Annotated[str, Path()]) -> Response:
        snapshot = _snapshot(cache, request)
        if isinstance(snapshot, Response):
            return snapshot
        names = list(dict.fromkeys(row.job for row in snapshot.report.ribbons))
        if job not in names:
            return _missing(request, NotKnown("job", job, names))
        workings = snapshot.workings
        return send(
            request, snapshot.item(("job", job), page.HTML, lambda found: page.job(found, workings, job))
        )

    @router.get("/help", include_in_schema=False)
    async def help_page(request: Request) -> Response:
        base = str(request.base_url).rstrip("/")
        return _shown(request, cache, lambda found: page.help_page(found, base), "help", base)

    @router.get(
        "/calendar.ics",
        tags=["reads"],
        summary="Windows of the keeper's jobs, and warnings, as a calendar",
        responses=may_answer(422, content={"text/calendar": {"schema": {"type": "string"}}}),
        response_class=Response,
    )
    async def calendar_feed(
        request: Request, all: Annotated[bool, Query(description="Windows of every job.")] = False
    ) -> Response:
        return send(request, (feed_of_all if all else feed).of(cache.snapshot()))

    @router.get(
        "/metrics",
        tags=["reads"],
        summary="Gauges in the Prometheus text format",
        responses=may_answer(content={"text/plain": {"schema": {"type": "string"}}}),
        response_class=Response,
    )
    async def gauges(request: Request) -> Response:
        return send(request, item(METRICS, metrics(cache.snapshot().report, clock())))

    return router


def _day_of(report: Report, day: str, now: datetime) -> str | NotKnown:
    """A day of the forecast as an ISO date; the fault where it is none."""
    chosen = read_day(day, now, ZoneInfo(report.site.timezone)).isoformat()
    dates = list(dict.fromkeys(row.date for row in report.days))
    return chosen if chosen in dates else NotKnown("day", chosen, dates)


def _hour_of(report: Report, at: str) -> datetime | NotKnown:
    """An hour of the forecast, written on the site's clock; the fault where it is none."""
    zone = ZoneInfo(report.site.timezone)
    first, last = report.hours.first, report.hours.first + timedelta(hours=report.hours.count - 1)
    allowed = [f"{one.astimezone(zone):%Y-%m-%dT%H:%M}" for one in (first, last)]
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        return NotKnown("hour", at, allowed)
    # The first full hour of the first picture may be the one that has begun.
    moment = (moment if moment.tzinfo else moment.replace(tzinfo=zone)).astimezone(zone)
    return moment if first <= moment <= last else NotKnown("hour", at, allowed)


def draw_at_once(snapshot: Snapshot) -> None:
    """The pages that most readers open, drawn in the thread of the pass."""
    snapshot.item(("home",), page.HTML, lambda found: page.home(found, snapshot.workings))
    snapshot.item(("sheet",), page.HTML, page.week_sheet)


def _shown(request: Request, cache: ReportCache, draw: Draw, *key: str) -> Response:
    """A page of the newest report; one that says why where there is none."""
    found = _snapshot(cache, request)
    return found if isinstance(found, Response) else send(request, found.item(key, page.HTML, draw))


def up_from(request: Request) -> str:
    """The way from the address of the request to the root of the service."""
    return "../" * (path_here(request.scope).count("/") - 1) or "./"


def _snapshot(cache: ReportCache, request: Request) -> Snapshot | Response:
    """The report as it reads now, or the page that says why there is none."""
    try:
        return cache.snapshot()
    except NoPassYet as error:
        return Response(page.empty(str(error), up_from(request)), 503, {"Retry-After": "30"}, page.HTML)


def _missing(request: Request, fault: NotKnown) -> Response:
    """A page for people, a problem document for programs."""
    if "text/html" not in request.headers.get("accept", ""):
        return problem(404, str(fault), "NotKnown")
    return Response(page.empty(str(fault), up_from(request)), 404, media_type=page.HTML)


#: After a break the browser tries again after this long.
RETRY_MS = 5000
#: Open streams at a time; a site has a handful of screens.
MOST_OPEN = 64


def events(cache: ReportCache) -> APIRouter:
    """The route of the events."""
    router = APIRouter(prefix="/api/v1", tags=["reads"])
    streams: set[int] = set()

    def has_room(request: Request) -> None:
        for name in request.query_params:
            raise UnknownParameter("parameter", name, ())
        if len(streams) >= MOST_OPEN:
            raise HTTPException(503, f"{MOST_OPEN} pages listen already. Close some, or read without.")

    @router.get(
        "/events",
        summary="Server-sent events: one when there is something new to read",
        response_class=EventSourceResponse,
        responses={code: answer for code, answer in may_answer().items() if code in (405, 422, 503)},
        dependencies=[Depends(has_room)],
    )
    async def stream() -> AsyncIterator[ServerSentEvent]:
        loop, landed = asyncio.get_running_loop(), asyncio.Event()
        stop = cache.listen(lambda: loop.call_soon_threadsafe(landed.set))
        streams.add(id(landed))
        try:
            # The first one says what there is now, for a page that was opened before a break.
            landed.set()
            told = ""
            while True:
                await landed.wait()
                landed.clear()
                with suppress(NoPassYet):
                    text = edition(cache.snapshot().report)
                    if text == told:
                        continue
                    told = text
                    yield ServerSentEvent(event="pass", raw_data=text, retry=RETRY_MS)
        finally:
            streams.discard(id(landed))
            stop()

    return router
