"""The application, put together from what it is handed."""

from __future__ import annotations

import asyncio
import random
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime, timedelta

from fastapi import FastAPI, Request, Response
from fastapi.responses import JSONResponse

from planner import __version__
from planner.errors import PlannerError
from planner.page import HTML, addresses
from planner.service import problems
from planner.service.asked import HeadAsGet
from planner.service.cache import Ready, ReportCache, item, send
from planner.service.limits import BodyLimit
from planner.service.pages import events, pages
from planner.service.passes import PassRunner
from planner.service.pauses import making
from planner.service.problems import Health, as_problem
from planner.service.rates import Streams
from planner.service.routes import describe, reads
from planner.service.schedule import scheduled
from planner.service.threads import LOOKS, PASSES
from planner.terms import in_utc

#: How often the service looks whether a pass is due, its config has changed, or another has made a pass.
LOOK_EVERY_S = 5.0
#: A pass is put off by up to this, and a quarter of the interval at most: not every keeper asks the weather
#: service at the full hour.
JITTER_S = 60.0
#: Unhealthy when the last good pass is older than this many intervals.
_INTERVALS = 2


def create_app(
    cache: ReportCache,
    *,
    clock: Callable[[], datetime],
    passes: PassRunner | None = None,
    every_minutes: float = 60,
    streams: Streams | None = None,
) -> FastAPI:
    """The service. With `passes` it makes them on a schedule; without, it shows what the cache holds. `streams` counts
    the open event streams, where several services share what may be open.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        if passes is None:
            yield
            return

        async def make_pass() -> None:
            await _pass_if_due(cache, passes, every_minutes)

        async def look() -> None:
            await LOOKS.do(passes.look)
            if passes.has_changed:
                await PASSES.do(_make_changed, passes)

        # Beside the answering, which need not wait for the first pass.
        async with scheduled([make_pass, look], LOOK_EVERY_S):
            yield

    app = FastAPI(
        title="Haysel",
        version=__version__,
        lifespan=lifespan,
        description="Which hours suit which turf job.",
        # The usual pages fetch their script from elsewhere; ours is drawn here.
        docs_url=None,
        redoc_url=None,
    )
    app.add_middleware(HeadAsGet)
    app.add_middleware(BodyLimit)
    app.add_middleware(Ready, cache=cache)
    problems.attach(app)
    app.include_router(reads(cache, clock))
    describe(app)
    app.include_router(events(cache, streams or Streams(0, 0)))
    if passes is None:
        app.include_router(pages(cache, clock))
    else:
        app.include_router(pages(cache, clock, passes))

    @app.get("/docs", include_in_schema=False)
    async def docs(request: Request) -> Response:
        return send(request, item(HTML, addresses(app.openapi())))

    @app.get(
        "/health",
        tags=["reads"],
        summary="Whether the service is well: 503 without a pass, with a stale one, or while pulls fail",
        response_model=Health,
        responses={
            429: as_problem("Too many reads from this address; Retry-After says when again"),
            503: {
                "model": Health,
                "description": "No pass, too old or stale, or three pulls running have failed",
            },
        },
    )
    def health() -> JSONResponse:
        found = _health(cache, clock(), passes, every_minutes)
        return JSONResponse(found.model_dump(), 200 if found.healthy else 503)

    return app


async def _pass_if_due(cache: ReportCache, passes: PassRunner, every_minutes: float) -> None:
    """A pass where one is due, in a thread of its own. Its faults are its own: it raises none."""
    if passes.is_due and passes.may_try:
        if cache.made_at is not None:
            await asyncio.sleep(random.uniform(0, min(JITTER_S, every_minutes * 15)))
        await PASSES.do(_make_due, passes)


def _make_due(passes: PassRunner) -> None:
    # While this waited its turn another instance may have taken up the site, or have made its pass.
    if passes.is_due and passes.may_try:
        with making():
            passes.run()


def _make_changed(passes: PassRunner) -> None:
    if passes.has_changed:
        with making():
            passes.run()


#: Unhealthy after as many pulls running that got no forecast.
_FAILED_PULLS = 3


def _health(cache: ReportCache, now: datetime, passes: PassRunner | None, every_minutes: float) -> Health:
    limit = timedelta(minutes=every_minutes * _INTERVALS)
    age = None if cache.made_at is None else now - cache.made_at
    is_stale = cache.stale_at is not None and now >= cache.stale_at
    failed = 0 if passes is None else passes.failed_pulls
    messages, store_fault = {}, None
    try:
        messages = {} if passes is None else passes.messages()
    except PlannerError as error:
        # Health answers whatever else is away.
        store_fault = str(error)
    in_time = age is not None and (passes is None or (age <= limit and failed < _FAILED_PULLS))
    return Health(
        healthy=in_time and not is_stale,
        last_good_pass=None if cache.made_at is None else in_utc(cache.made_at),
        age_minutes=None if age is None else round(age / timedelta(minutes=1), 1),
        unhealthy_after_minutes=limit / timedelta(minutes=1),
        forecast_stale=is_stale,
        failed_pulls=failed,
        last_fault=None if passes is None else passes.last_fault,
        config_fault=None if passes is None else passes.config_fault,
        store_fault=store_fault,
        messages=messages,
        version=__version__,
    )
