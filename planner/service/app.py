"""The application, put together from what it is handed."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime, timedelta
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.responses import JSONResponse

from planner import __version__
from planner.page import HTML, addresses
from planner.service import problems
from planner.service.events import events
from planner.service.front import Front
from planner.service.pages import pages
from planner.service.passes import Passes
from planner.service.routes import reads
from planner.service.sending import send
from planner.service.shelf import Shelf, item

#: How often the service looks whether its config has changed.
LOOK_EVERY_S = 5.0
#: Unhealthy when the last good pass is older than this many intervals.
_INTERVALS = 2


def create_app(
    shelf: Shelf, *, clock: Callable[[], datetime], passes: Passes | None = None, every_minutes: float = 60
) -> FastAPI:
    """The service. With `passes` it makes them on a schedule; without, it shows what lies on the shelf."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        if passes is None:
            yield
            return
        from anyio import to_thread

        from planner.schedule import make_scheduler

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
    problems.attach(app)
    app.add_middleware(Front, shelf=shelf)
    app.include_router(reads(shelf, clock))
    app.include_router(events(shelf))
    app.include_router(pages(shelf, clock))

    @app.get("/docs", include_in_schema=False)
    async def docs(request: Request) -> Response:
        return send(request, item(HTML, addresses(app.openapi())))

    @app.get("/health", tags=["reads"], summary="Age of the last good pass; 503 when it is too old")
    def health() -> JSONResponse:
        body, healthy = _health(shelf, clock(), passes, every_minutes)
        return JSONResponse(body, 200 if healthy else 503)

    return app


def _health(
    shelf: Shelf, now: datetime, passes: Passes | None, every_minutes: float
) -> tuple[dict[str, Any], bool]:
    limit = timedelta(minutes=every_minutes * _INTERVALS)
    age = None if shelf.made_at is None else now - shelf.made_at
    healthy = age is not None and (passes is None or age <= limit)
    stale = shelf.stale_at is not None and now >= shelf.stale_at
    return {
        "healthy": healthy,
        "last_good_pass": None if shelf.made_at is None else shelf.made_at.isoformat(),
        "age_minutes": None if age is None else round(age / timedelta(minutes=1), 1),
        "unhealthy_after_minutes": limit / timedelta(minutes=1),
        "forecast_stale": stale,
        "last_fault": None if passes is None else passes.last_fault,
        "config_fault": None if passes is None else passes.config_fault,
        "messages": {} if passes is None else passes.messages(),
        "version": __version__,
    }, healthy
