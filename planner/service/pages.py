"""The pages, the calendar, the metrics and the events over HTTP."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import ExitStack, suppress
from datetime import UTC, datetime, timedelta
from typing import Annotated, Protocol
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent

from planner import page
from planner.errors import NoPassYet, NotKnown
from planner.outputs.calendar import CALENDAR, Asked, calendar
from planner.outputs.feed import Entry, Feed
from planner.outputs.metrics import METRICS, metrics
from planner.page import edition
from planner.reports.rows import Report
from planner.reports.sentences import read_day
from planner.service.asked import StrictRoute, UnknownParameter, path_here
from planner.service.cache import Draw, Item, ReportCache, Snapshot, item, send
from planner.service.problems import problem
from planner.service.rates import Streams, client_of
from planner.service.routes import may_answer
from planner.terms import LONGEST_NAME, in_utc

#: What names the morning as most readers open it.
_HOME = ("home",)


class KeepsCalendar(Protocol):
    """Who keeps the calendar from one run to the next, and for the other instances that show it."""

    @property
    def is_ours(self) -> bool:
        """Whether this instance works for the site, and so keeps its calendar."""

    def kept_calendar(self) -> bytes | None:
        """What was kept last; None where there is nothing."""

    def keep_calendar(self, kept: bytes) -> None:
        """Keeps it in place of what was kept before."""


class CalendarFeed:
    """The entries of the calendar, drawn once for each report shown, and kept from one run to the next.

    They are drawn when a report comes or turns, and not when they are read, so that every reader is told the same
    numbers and a read writes nothing. An instance that does not work for the site draws them from what the other kept,
    and so tells the same numbers.
    """

    def __init__(self, cache: ReportCache, keeper: KeepsCalendar | None) -> None:
        self._cache, self._keeper = cache, keeper
        self._kept = None if keeper is None else keeper.kept_calendar()
        self._feed = Feed(self._kept)
        self._lock = threading.Lock()
        self._drawn: tuple[Snapshot, tuple[Entry, ...]] | None = None
        cache.listen(self._follow)

    def _follow(self) -> None:
        with suppress(NoPassYet):
            keeper, snapshot = self._keeper, self._cache.snapshot()
            if keeper is not None and not keeper.is_ours:
                kept = keeper.kept_calendar()
                if kept is not None:
                    with self._lock:
                        self._kept, self._feed, self._drawn = kept, Feed(kept), None
                self.entries(snapshot)
                return
            self.entries(snapshot)
            kept = self._feed.kept()
            if kept != self._kept:
                self._kept = kept
                if keeper is not None:
                    keeper.keep_calendar(kept)

    def entries(self, snapshot: Snapshot) -> tuple[Entry, ...]:
        """The entries of a snapshot."""
        with self._lock:
            if self._drawn is None or self._drawn[0] is not snapshot:
                self._drawn = (snapshot, self._feed.entries(snapshot.report))
            return self._drawn[1]

    def of(self, snapshot: Snapshot, asked: Asked) -> Item:
        """What is asked for of a snapshot."""
        asked.check(snapshot.report)
        key = ("calendar.ics", asked.job, asked.surface, asked.kind, str(asked.every), str(asked.alarm_min))
        return snapshot.item(key, CALENDAR, lambda found: calendar(found, self.entries(snapshot), asked))


def pages(
    cache: ReportCache,
    clock: Callable[[], datetime],
    keeper: KeepsCalendar | None = None,
) -> APIRouter:
    """The routes outside /api. `keeper` keeps the calendar; without one it begins anew with each run."""
    router = APIRouter(route_class=StrictRoute)
    feed = CalendarFeed(cache, keeper)
    gauged: tuple[Snapshot, datetime, Item] | None = None

    @router.get("/", include_in_schema=False)
    async def home(
        request: Request,
        day: Annotated[str, Query(max_length=LONGEST_NAME)] = "",
        at: Annotated[str, Query(max_length=LONGEST_NAME)] = "",
    ) -> Response:
        snapshot = _snapshot(cache, request)
        if isinstance(snapshot, Response):
            return snapshot
        if not day and not at:
            found = _home(snapshot)
            if not request.scope["query_string"]:
                snapshot.make_ready(path_here(request.scope), b"", _HOME)
            return send(request, found)
        workings = snapshot.workings
        try:
            chosen = _day_of(snapshot.report, day, clock()) if day else None
            touched = _hour_of(snapshot.report, at) if at else None
        except NotKnown as fault:
            return _missing(request, fault)

        def draw(found: Report) -> bytes:
            return page.home(found, workings, chosen, touched)

        # By what was meant: one moment can be written in many ways.
        mark = None if touched is None else in_utc(touched)
        key = ("home", chosen, mark)
        return send(request, await asyncio.to_thread(snapshot.item, key, page.HTML, draw))

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
        try:
            chosen = _day_of(snapshot.report, day, clock())
        except NotKnown as fault:
            return _missing(request, fault)
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
    def help_page(request: Request) -> Response:
        found = _snapshot(cache, request)
        if isinstance(found, Response):
            return found
        # Not kept: there are as many as names by which it can be asked.
        base = str(request.base_url).rstrip("/")
        return send(request, item(page.HTML, page.help_page(found.report, base)))

    @router.get(
        "/calendar.ics",
        tags=["reads"],
        summary="The week's order and warnings as a calendar; windows where a job, a kind or all are asked for",
        responses=may_answer(404, 422, content={"text/calendar": {"schema": {"type": "string"}}}),
        response_class=Response,
    )
    async def calendar_feed(
        request: Request,
        job: Annotated[
            str, Query(max_length=LONGEST_NAME, description="Only this job, with its windows.")
        ] = "",
        surface: Annotated[
            str, Query(max_length=LONGEST_NAME, description="Only this surface, and what holds for all.")
        ] = "",
        kind: Annotated[
            str,
            Query(
                max_length=LONGEST_NAME, description="Only this kind of job, with its windows; or warning."
            ),
        ] = "",
        all: Annotated[bool, Query(description="With the windows of every job.")] = False,
        alarm: Annotated[int | None, Query(ge=0, le=10_080, description="Minutes before each event.")] = None,
    ) -> Response:
        asked = Asked(job=job, surface=surface, kind=kind, every=all, alarm_min=alarm)
        return send(request, feed.of(cache.snapshot(), asked))

    @router.get(
        "/metrics",
        tags=["reads"],
        summary="Gauges in the Prometheus text format",
        responses=may_answer(content={"text/plain": {"schema": {"type": "string"}}}),
        response_class=Response,
    )
    async def gauges(request: Request) -> Response:
        nonlocal gauged
        # Once a second: they are counted from the moment, and drawing them takes a while.
        snapshot, now = cache.snapshot(), clock()
        second = now.replace(microsecond=0)
        if gauged is None or gauged[:2] != (snapshot, second):
            gauged = (snapshot, second, item(METRICS, metrics(snapshot.report, now)))
        return send(request, gauged[2])

    return router


def _day_of(report: Report, day: str, now: datetime) -> str:
    """A day of the forecast as an ISO date; NotKnown where it is none."""
    chosen = read_day(day, now, ZoneInfo(report.site.timezone)).isoformat()
    dates = list(dict.fromkeys(row.date for row in report.days))
    if chosen not in dates:
        raise NotKnown("day", chosen, dates)
    return chosen


def _hour_of(report: Report, at: str) -> datetime:
    """A full hour of the forecast, written on the site's clock or with an offset; NotKnown where it is none."""
    zone = ZoneInfo(report.site.timezone)
    first, last = report.hours.first, report.hours.first + timedelta(hours=report.hours.count - 1)
    allowed = [f"{one.astimezone(zone):%Y-%m-%dT%H:%M}" for one in (first, last)]
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        raise NotKnown("hour", at, allowed) from None
    moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
    hour = moment.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    if not first <= hour <= last:
        raise NotKnown("hour", at, allowed)
    return hour.astimezone(zone)


def _home(snapshot: Snapshot) -> Item:
    """The morning as most readers open it."""
    return snapshot.item(_HOME, page.HTML, lambda found: page.home(found, snapshot.workings))


def draw_at_once(snapshot: Snapshot) -> None:
    """The pages that most readers open, drawn in the thread of the pass."""
    _home(snapshot)
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


def events(cache: ReportCache, streams: Streams) -> APIRouter:
    """The route of the events."""
    router = APIRouter(prefix="/api/v1", tags=["reads"])

    async def has_room(request: Request) -> None:
        for name in request.query_params:
            raise UnknownParameter("parameter", name, ())
        streams.require_room(client_of(request.scope))

    @router.get(
        "/events",
        summary="Server-sent events: one when there is something new to read",
        response_class=EventSourceResponse,
        responses={code: answer for code, answer in may_answer().items() if code in (405, 422, 429, 503)},
        dependencies=[Depends(has_room)],
    )
    async def stream(request: Request) -> AsyncIterator[ServerSentEvent]:
        loop, landed = asyncio.get_running_loop(), asyncio.Event()
        stop = cache.listen(lambda: loop.call_soon_threadsafe(landed.set))
        with ExitStack() as held:
            held.callback(stop)
            held.enter_context(streams.held(client_of(request.scope)))
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

    return router
