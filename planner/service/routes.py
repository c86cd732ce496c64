"""Reads over HTTP: stored bytes with ETag and 304, filtered copies where a query asks for less."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response

from planner.answers import encode
from planner.errors import require_known
from planner.explaining import explain as read_workings
from planner.freshness import only
from planner.service.problems import PROBLEM
from planner.service.sending import send
from planner.service.shelf import Shelf, item
from planner.when import read_day, read_time

JSON = "application/json"


Job = Annotated[
    str | None, Query(description="A job by its name in the rules, or a kind of job.", examples=["mowing"])
]
Place = Annotated[str | None, Query(description="A surface by its name.", examples=["green"])]
Day = Annotated[
    str | None,
    Query(description="today, tomorrow, a weekday or a date, on the site's clock.", examples=["tomorrow"]),
]


def _answers(*codes: int, csv: bool = False) -> dict[int | str, dict[str, Any]]:
    """What a route may answer, for the description of the service."""
    told: dict[int | str, dict[str, Any]] = {
        200: {"content": {JSON: {}, **({"text/csv": {}} if csv else {})}},
        304: {"description": "Not changed since the ETag sent in If-None-Match"},
        503: {"description": "No pass is made yet", "content": {PROBLEM: {}}},
    }
    says = {
        400: "A value that cannot be read",
        404: "No such job or surface; the known ones are listed",
        422: "A parameter is missing or of the wrong sort",
    }
    return told | {code: {"description": says[code], "content": {PROBLEM: {}}} for code in codes}


def reads(shelf: Shelf, clock: Callable[[], datetime]) -> APIRouter:
    """The reading routes under /api/v1."""
    router = APIRouter(prefix="/api/v1", tags=["reads"])

    @router.get("/days", summary="Indices per day", responses=_answers(404))
    async def days(request: Request, surface: Place = None) -> Response:
        if not surface:
            return send(request, shelf.get("days"))
        found = shelf.parsed("days")
        require_known("surface", surface, [row["surface"] for row in found["days"]])
        found["days"] = [row for row in found["days"] if row["surface"] == surface]
        return send(request, item(JSON, encode(found)))

    @router.get(
        "/windows",
        summary="Ranked windows, and why and until when other jobs are barred",
        responses=_answers(400, 404),
    )
    async def windows(request: Request, job: Job = None, surface: Place = None, day: Day = None) -> Response:
        job, surface, day = job or None, surface or None, day or None
        if job is None and surface is None and day is None:
            return send(request, shelf.get("windows"))
        found, ribbons = shelf.parsed("windows"), shelf.parsed("ribbons")["ribbons"]
        if job is not None:
            require_known("job", job, [*(row["job"] for row in ribbons), *(row["kind"] for row in ribbons)])
        if surface is not None:
            require_known("surface", surface, [row["surface"] for row in shelf.parsed("ground")["surfaces"]])
        chosen = read_day(day, clock(), _zone(found)) if day is not None else None
        return send(request, item(JSON, encode(only(found, job=job, surface=surface, day=chosen))))

    @router.get("/warnings", summary="What is about to go wrong, what to do", responses=_answers())
    async def warnings(request: Request) -> Response:
        return send(request, shelf.get("warnings"))

    @router.get("/hours", summary="One flat row an hour", responses=_answers(422, csv=True))
    async def hours(
        request: Request,
        format: Annotated[Literal["json", "csv"], Query(description="json or csv.")] = "json",
    ) -> Response:
        return send(request, shelf.get("hours" if format == "json" else "hours.csv"))

    @router.get("/now", summary="One flat object for a dashboard", responses=_answers())
    async def now(request: Request) -> Response:
        return send(request, shelf.get("now"))

    @router.get("/ribbons", summary="Every hour's state and cause, in runs", responses=_answers(404))
    async def ribbons(request: Request, job: Job = None, surface: Place = None) -> Response:
        job, surface = job or None, surface or None
        if job is None and surface is None:
            return send(request, shelf.get("ribbons"))
        found = shelf.parsed("ribbons")
        rows = found["ribbons"]
        if job is not None:
            require_known("job", job, [*(row["job"] for row in rows), *(row["kind"] for row in rows)])
        if surface is not None:
            require_known("surface", surface, [row["surface"] for row in rows])
        found["ribbons"] = [
            row
            for row in rows
            if (job is None or job in (row["job"], row["kind"])) and surface in (None, row["surface"])
        ]
        return send(request, item(JSON, encode(found)))

    @router.get("/week", summary="The week's work in order, and what found no hour", responses=_answers())
    async def week(request: Request) -> Response:
        return send(request, shelf.get("week"))

    @router.get("/ground", summary="Whether the ground bears feet; seed in it", responses=_answers())
    async def ground(request: Request) -> Response:
        return send(request, shelf.get("ground"))

    @router.get(
        "/explain",
        summary="Each need of a job at an hour: figure, limits, verdict, source",
        responses=_answers(400, 404, 422),
    )
    async def explain(
        request: Request,
        job: Annotated[str, Query(description="A job by its name in the rules.")],
        time: Annotated[
            str, Query(description="07:30, tomorrow 07:30, or ISO 8601.", examples=["tomorrow 07:30"])
        ],
        surface: Place = None,
    ) -> Response:
        pairs = [name.split("/", 2)[1:] for name in shelf.names() if name.startswith("workings/")]
        if not pairs:
            shelf.get("now")
        require_known("job", job, [pair[0] for pair in pairs])
        surfaces = [pair[1] for pair in pairs if pair[0] == job]
        chosen = surface or surfaces[0]
        require_known("surface", chosen, surfaces)
        found = shelf.parsed(f"workings/{job}/{chosen}")
        told = read_workings(found, read_time(time, clock(), _zone(found)))
        return send(request, item(JSON, encode(told)))

    return router


def _zone(found: dict[str, Any]) -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo(found["site"]["timezone"])
