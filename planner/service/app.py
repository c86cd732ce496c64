"""The application, put together from what it is handed."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime, timedelta

from fastapi import FastAPI, Request, Response
from fastapi.responses import JSONResponse

from planner import __version__
from planner.page import HTML, addresses
from planner.service import problems
from planner.service.asked import HeadAsGet
from planner.service.cache import ReportCache, item, send
from planner.service.pages import events, pages
from planner.service.passes import PassRunner, make_scheduler
from planner.service.problems import Health
from planner.service.routes import describe, reads
from planner.terms import in_utc

#: How often the service looks whether its config has changed.
LOOK_EVERY_S = 5.0
#: Unhealthy when the last good pass is older than this many intervals.
_INTERVALS = 2


def create_app(
    cache: ReportCache,
    *,
    clock: Callable[[], datetime],
    passes: PassRunner | None = None,
    every_minutes: float = 60,
) -> FastAPI:
    """The service. With `passes` it makes them on a schedule; without, it shows what the cache holds."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        if passes is None:
            yield
            return
        from anyio import to_thread

        if passes.is_due:
            await to_thread.run_sync(passes.run)
        scheduler = make_scheduler(passes.run, every_minutes)
        scheduler.add_job(passes.look, "interval", seconds=LOOK_EVERY_S, max_instances=1, coalesce=True)
        scheduler.start()
        app.state.scheduler = scheduler
        try:
            yield
        finally:
            scheduler.shutdown(wait=False)

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
    problems.attach(app)
    app.include_router(reads(cache, clock))
    describe(app)
    app.include_router(events(cache))
    app.include_router(pages(cache, clock))

    @app.get("/docs", include_in_schema=False)
    async def docs(request: Request) -> Response:
        return send(request, item(HTML, addresses(app.openapi())))

    @app.get(
        "/health",
        tags=["reads"],
        summary="Age of the last good pass; 503 when it is too old",
        response_model=Health,
        responses={503: {"model": Health, "description": "Too old, or no pass yet"}},
    )
    def health() -> JSONResponse:
        found = _health(cache, clock(), passes, every_minutes)
        return JSONResponse(found.model_dump(), 200 if found.healthy else 503)

    return app


def _health(cache: ReportCache, now: datetime, passes: PassRunner | None, every_minutes: float) -> Health:
    limit = timedelta(minutes=every_minutes * _INTERVALS)
    age = None if cache.made_at is None else now - cache.made_at
    return Health(
        healthy=age is not None and (passes is None or age <= limit),
        last_good_pass=None if cache.made_at is None else in_utc(cache.made_at),
        age_minutes=None if age is None else round(age / timedelta(minutes=1), 1),
        unhealthy_after_minutes=limit / timedelta(minutes=1),
        forecast_stale=cache.stale_at is not None and now >= cache.stale_at,
        last_fault=None if passes is None else passes.last_fault,
        config_fault=None if passes is None else passes.config_fault,
        messages={} if passes is None else passes.messages(),
        version=__version__,
    )
