"""Reads over HTTP: stored bytes with ETag and 304, filtered copies where a query asks for less."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response

from planner.answers import encode
from planner.errors import NotKnown
from planner.explaining import explain as read_workings
from planner.freshness import only
from planner.service.shelf import Item, Shelf, item
from planner.when import read_day, read_time

JSON = "application/json"


def reads(shelf: Shelf, clock: Callable[[], datetime]) -> APIRouter:
    """The reading routes under /api/v1."""
    router = APIRouter(prefix="/api/v1", tags=["reads"])

    @router.get("/days", summary="Indices per day")
    async def days(request: Request, surface: str | None = None) -> Response:
        if surface is None:
            return send(request, shelf.get("days"))
        found = shelf.parsed("days")
        _known("surface", surface, [row["surface"] for row in found["days"]])
        found["days"] = [row for row in found["days"] if row["surface"] == surface]
        return send(request, item(JSON, encode(found)))

    @router.get("/windows", summary="Ranked windows, and why and until when other jobs are barred")
    async def windows(
        request: Request, job: str | None = None, surface: str | None = None, day: str | None = None
    ) -> Response:
        if job is None and surface is None and day is None:
            return send(request, shelf.get("windows"))
        found = shelf.parsed("windows")
        rows = [*found["windows"], *found["barred"]]
        if job is not None:
            _known("job", job, [*(row["job"] for row in rows), *(row["kind"] for row in rows)])
        if surface is not None:
            _known("surface", surface, [row["surface"] for row in rows])
        chosen = read_day(day, clock(), _zone(found)) if day else None
        return send(request, item(JSON, encode(only(found, job=job, surface=surface, day=chosen))))

    @router.get("/warnings", summary="What is about to go wrong, what to do")
    async def warnings(request: Request) -> Response:
        return send(request, shelf.get("warnings"))

    @router.get("/hours", summary="One flat row an hour")
    async def hours(
        request: Request, format: Annotated[Literal["json", "csv"], Query()] = "json"
    ) -> Response:
        return send(request, shelf.get("hours" if format == "json" else "hours.csv"))

    @router.get("/now", summary="One flat object for a dashboard")
    async def now(request: Request) -> Response:
        return send(request, shelf.get("now"))

    @router.get("/explain", summary="Each need of a job at an hour: figure, limits, verdict, source")
    async def explain(request: Request, job: str, time: str, surface: str | None = None) -> Response:
        pairs = [name.split("/", 2)[1:] for name in shelf.names() if name.startswith("workings/")]
        if not pairs:
            shelf.get("workings")
        _known("job", job, [pair[0] for pair in pairs])
        surfaces = [pair[1] for pair in pairs if pair[0] == job]
        chosen = surfaces[0] if surface is None else surface
        _known("surface", chosen, surfaces)
        found = shelf.parsed(f"workings/{job}/{chosen}")
        told = read_workings(found, read_time(time, clock(), _zone(found)))
        return send(request, item(JSON, encode(told)))

    return router


def send(request: Request, found: Item) -> Response:
    """The bytes, or 304 when the caller has them."""
    headers = {"ETag": found.etag, "Cache-Control": "no-cache"}
    asked = request.headers.get("if-none-match")
    if asked is not None and (asked.strip() == "*" or found.etag in _tags(asked)):
        return Response(status_code=304, headers=headers)
    return Response(found.body, headers=headers, media_type=found.content_type)


def _tags(header: str) -> list[str]:
    return [tag.strip().removeprefix("W/") for tag in header.split(",")]


def _known(sort: str, name: str, names: list[str]) -> None:
    if name not in names:
        raise NotKnown(sort, name, list(dict.fromkeys(names)))


def _zone(found: dict[str, Any]) -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo(found["site"]["timezone"])
