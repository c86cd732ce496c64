"""Several sites behind one address: each answers below `/sites/KEY/` as it would alone, and `/` names them all."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from threading import Lock
from typing import TYPE_CHECKING

from fastapi import FastAPI, Request, Response
from fastapi.responses import JSONResponse
from msgspec import Struct, to_builtins

from planner import __version__, page
from planner.errors import NoPassYet, NotKnown
from planner.outputs.metrics import METRICS, metrics_of_sites
from planner.page.sites import SiteLine
from planner.reports.headline import headline
from planner.service import problems
from planner.service.asked import HeadAsGet, path_here
from planner.service.cache import ReportCache, item, send
from planner.service.many import of_many
from planner.service.problems import refusal
from planner.service.routes import describe, may_answer
from planner.terms import in_utc

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from planner.reports.rows import Report
    from planner.service.sharing import Share

_BELOW = re.compile(r"^/sites/(?P<key>[a-z0-9_-]{1,40})(?P<rest>/.*)?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Housed:
    """A site with its own service."""

    key: str
    name: str
    app: FastAPI
    cache: ReportCache


class SiteOfMany(Struct, frozen=True, kw_only=True):
    """A site of the installation, as a program reads it."""

    key: str
    name: str
    path: str
    """Where its own addresses begin, below the root of the service."""
    made_at: str | None
    stale: bool | None
    """None before its first pass."""
    headline: str | None


def house(
    sites: Mapping[str, Housed], shares: Sequence[Share] = (), *, clock: Callable[[], datetime]
) -> ASGIApp:
    """One service for all of them; of those in `shares` it works for what it holds."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        async with AsyncExitStack() as stack:
            for share in shares:
                await stack.enter_async_context(share.kept())
            for site in sites.values():
                await stack.enter_async_context(site.app.router.lifespan_context(site.app))
            yield

    app = FastAPI(title="Haysel", version=__version__, lifespan=lifespan, docs_url=None, redoc_url=None)
    app.add_middleware(HeadAsGet)
    problems.attach(app)

    @app.get("/", include_in_schema=False)
    def home(request: Request) -> Response:
        return send(request, item(page.HTML, page.sites([_line(site) for site in sites.values()])))

    @app.get("/api/v1/sites", tags=["reads"], summary="The sites of this installation")
    def listed() -> JSONResponse:
        return JSONResponse({"sites": [to_builtins(_row(site)) for site in sites.values()]})

    app.include_router(of_many(sites))
    describe(app)

    @app.get("/health", tags=["reads"], summary="Whether every site is well: 503 while one is not")
    async def health() -> JSONResponse:
        found = {key: await _health(site.app) for key, site in sites.items()}
        healthy = all(found.values())
        return JSONResponse({"healthy": healthy, "sites": found}, 200 if healthy else 503)

    # Once a second, as each site has it: they are counted from the moment.
    drawing, drawn = Lock(), (datetime.min.replace(tzinfo=UTC), b"")

    @app.get(
        "/metrics",
        tags=["reads"],
        summary="Gauges of every site, each with a label `site`, in the Prometheus text format",
        responses=may_answer(content={"text/plain": {"schema": {"type": "string"}}}),
        response_class=Response,
    )
    def gauges(request: Request) -> Response:
        nonlocal drawn
        now = clock()
        with drawing:
            if drawn[0] != now.replace(microsecond=0):
                reports = {key: _report(site) for key, site in sites.items()}
                drawn = (now.replace(microsecond=0), metrics_of_sites(reports, now))
            found = drawn[1]
        return send(request, item(METRICS, found))

    return _Below(app, sites)


class _Below:
    """Hands a request below `/sites/KEY` to that site, whose root that then is; all else to the house."""

    def __init__(self, app: ASGIApp, sites: Mapping[str, Housed]) -> None:
        self._app = app
        self._sites = sites

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        found = _BELOW.fullmatch(path_here(scope)) if scope["type"] == "http" else None
        if found is None:
            await self._app(scope, receive, send)
            return
        site = self._sites.get(found["key"])
        if site is None:
            fault = NotKnown("site", found["key"], list(self._sites))
            await refusal(scope, 404, str(fault), "NotKnown")(scope, receive, send)
            return
        if found["rest"] is None:
            # Links of a page are told from its address: without the slash they would lead elsewhere.
            answer = Response(status_code=308, headers={"Location": f"{found['key']}/"})
            await answer(scope, receive, send)
            return
        root = f"{scope.get('root_path', '')}/sites/{site.key}"
        path = f"{root}{found['rest']}"
        await site.app({**scope, "root_path": root, "path": path, "raw_path": path.encode()}, receive, send)


def _report(site: Housed) -> Report | None:
    try:
        return site.cache.snapshot().report
    except NoPassYet:
        return None


def _row(site: Housed) -> SiteOfMany:
    report = _report(site)
    if report is None:
        return SiteOfMany(
            key=site.key, name=site.name, path=f"sites/{site.key}/", made_at=None, stale=None, headline=None
        )
    return SiteOfMany(
        key=site.key,
        name=site.name,
        path=f"sites/{site.key}/",
        made_at=in_utc(report.made_at),
        stale=report.forecast.stale,
        headline=headline(report),
    )


def _line(site: Housed) -> SiteLine:
    return page.site_line(site.key, site.name, _report(site))


async def _health(app: FastAPI) -> bool:
    """What the health of the site's own service says."""
    import httpx

    transport = httpx.ASGITransport(app=app)
    async with httpx.AsyncClient(transport=transport, base_url="http://site") as client:
        return (await client.get("/health")).status_code == 200
