"""The pages, the calendar and the gauges over HTTP."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from planner import page
from planner.answers.gauges import METRICS, gauges
from planner.errors import NoPassYet, NotKnown
from planner.service.problems import problem
from planner.service.sending import send
from planner.service.shelf import NotLaid, Shelf, item
from planner.when import read_day

_CALENDAR: dict[int | str, dict[str, Any]] = {200: {"content": {"text/calendar": {}}}}
_TEXT: dict[int | str, dict[str, Any]] = {200: {"content": {"text/plain": {}}}}


def pages(shelf: Shelf, clock: Callable[[], datetime]) -> APIRouter:
    """The routes outside /api."""
    router = APIRouter()

    @router.get("/", include_in_schema=False)
    async def home(request: Request) -> Response:
        return _page(request, shelf, "page")

    @router.get("/sheet", include_in_schema=False)
    async def sheet(request: Request) -> Response:
        return _page(request, shelf, "page/sheet")

    @router.get("/day/{day}", include_in_schema=False)
    async def day(request: Request, day: Annotated[str, Path()]) -> Response:
        chosen = day
        if shelf.made_at is not None:
            chosen = read_day(day, clock(), _zone(shelf)).isoformat()
        return _page(request, shelf, f"page/day/{chosen}")

    @router.get("/job/{job}", include_in_schema=False)
    async def job(request: Request, job: Annotated[str, Path()]) -> Response:
        return _page(request, shelf, f"page/job/{job}")

    @router.get("/help", include_in_schema=False)
    async def help_page(request: Request) -> Response:
        try:
            answers = {name: shelf.parsed(name) for name in ("now", "windows", "ribbons")}
        except NoPassYet as error:
            return Response(page.empty(str(error)), 503, {"Retry-After": "30"}, page.HTML)
        base = str(request.base_url).rstrip("/")
        return send(request, item(page.HTML, page.help_page(answers, base)))

    @router.get(
        "/calendar.ics", tags=["reads"], summary="Windows and warnings as a calendar", responses=_CALENDAR
    )
    async def calendar(request: Request) -> Response:
        return send(request, shelf.get("calendar.ics"))

    @router.get("/metrics", tags=["reads"], summary="Gauges in the Prometheus text format", responses=_TEXT)
    async def metrics(request: Request) -> Response:
        windows, warnings, ribbons = (shelf.parsed(name) for name in ("windows", "warnings", "ribbons"))
        return send(request, item(METRICS, gauges(windows, warnings, ribbons, clock())))

    return router


def _zone(shelf: Shelf) -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo(shelf.parsed("windows")["site"]["timezone"])


def _page(request: Request, shelf: Shelf, name: str) -> Response:
    """A stored page; a page that says why where there is none."""
    try:
        return send(request, shelf.get(name))
    except NoPassYet as error:
        if not isinstance(error, NotLaid) or name.count("/") < 2:
            return Response(page.empty(str(error)), 503, {"Retry-After": "30"}, page.HTML)
    _, sort, key = name.split("/", 2)
    known = [one.split("/", 2)[2] for one in shelf.names() if one.startswith(f"page/{sort}/")]
    fault = NotKnown(sort, key, known)
    if "text/html" not in request.headers.get("accept", ""):
        return problem(404, str(fault), "NotKnown")
    return Response(page.empty(str(fault)), 404, media_type=page.HTML)
