"""Reads over HTTP: a part of the newest report each, with ETag and 304."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from datetime import datetime
from functools import cache as kept
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, FastAPI, Query, Request, Response
from fastapi.concurrency import run_in_threadpool
from msgspec.json import schema_components

from planner.errors import require_known
from planner.reports import answers
from planner.reports.answers import encode
from planner.reports.explain import Explanation
from planner.reports.explain import explain as explain_hour
from planner.reports.now import FIXED_KEYS
from planner.reports.now import now as flat_now
from planner.reports.sentences import read_day, read_time
from planner.service.asked import StrictRoute, path_here
from planner.service.cache import Draw, ReportCache, send
from planner.service.problems import as_problem
from planner.terms import LONGEST_NAME, day_schema, time_schema

JSON = "application/json"
CSV = "text/csv; charset=utf-8"

Job = Annotated[
    str | None,
    Query(
        max_length=LONGEST_NAME,
        description="A job by its name in the rules, or a kind of job.",
        examples=["mowing"],
    ),
]
Surface = Annotated[
    str | None, Query(max_length=LONGEST_NAME, description="A surface by its name.", examples=["green"])
]
Day = Annotated[
    str | None,
    Query(
        max_length=LONGEST_NAME,
        description="today, tomorrow, a weekday or a date, on the site's clock.",
        json_schema_extra=day_schema("today", "tomorrow"),
        examples=["tomorrow"],
    ),
]
Responses = dict[int | str, dict[str, Any]]

_SAYS = {
    304: "Not changed since the ETag sent in If-None-Match",
    400: "A value that cannot be read",
    404: "No such job, surface or day; the known ones are listed",
    405: "Only what Allow names",
    409: "What is asked goes against itself, or against the site's files",
    414: "The address is too long",
    422: "A parameter is missing, of the wrong sort, or one that the address does not have",
    429: "Too many reads from this address; Retry-After says when again",
    503: "No pass is made yet",
}


_SCHEMAS = "#/components/schemas/"
#: The answers that are made of rows of a report.
_ROWS = (
    answers.Warnings,
    answers.Week,
    answers.DueWork,
    answers.Ground,
    answers.Days,
    answers.Windows,
    answers.Ribbons,
    Explanation,
)
_NOW_VALUE = {"type": ["string", "number", "boolean", "null"], "maxLength": 255}
#: The flat object: its fixed keys are never missing, null where there is nothing; wanted jobs add their own.
_NOW: Mapping[str, object] = {
    "type": "object",
    "properties": dict.fromkeys(FIXED_KEYS, _NOW_VALUE),
    "required": list(FIXED_KEYS),
    "additionalProperties": _NOW_VALUE,
}


def rows_as(kind: type[object]) -> dict[str, object]:
    """The description of an answer made of rows; the schema itself is added once, by `describe_rows`."""
    return {JSON: {"schema": {"$ref": f"{_SCHEMAS}{kind.__name__}"}}}


#: Answers that are asked for whole: name, summary, description, and how it is drawn from the report.
WHOLE: tuple[tuple[str, str, dict[str, object], Draw], ...] = (
    (
        "warnings",
        "What is about to go wrong, what to do",
        rows_as(answers.Warnings),
        lambda report: encode(answers.warnings(report)),
    ),
    (
        "week",
        "The week's order, and what found no hour",
        rows_as(answers.Week),
        lambda report: encode(answers.week(report)),
    ),
    (
        "due",
        "What is due and by when, and how each surface stands",
        rows_as(answers.DueWork),
        lambda report: encode(answers.due(report)),
    ),
    (
        "ground",
        "How the ground is underfoot; seed in it",
        rows_as(answers.Ground),
        lambda report: encode(answers.ground(report)),
    ),
    (
        "now",
        "One flat object for a dashboard",
        {JSON: {"schema": _NOW}},
        lambda report: encode(flat_now(report)),
    ),
)


def may_answer(*codes: int, **more: dict[str, Any]) -> Responses:
    """What a route may answer beside its own 200, for the description of the service."""
    responses: Responses = {304: {"description": _SAYS[304]}}
    for code in sorted({400, 405, 414, 422, 429, *codes, 503}):
        responses[code] = as_problem(_SAYS[code])
    return responses | {200: more} if more else responses


def describe(app: FastAPI) -> None:
    """Completes the description of the service: rows of reports, faults as problems, what needs no token here."""
    plain = app.openapi

    @kept
    def openapi() -> dict[str, Any]:
        # Once: it is asked for by whoever likes, and where a method is refused.
        found = plain()
        _, rows = schema_components(_ROWS, ref_template=_SCHEMAS + "{name}")
        schemas = found.setdefault("components", {}).setdefault("schemas", {})
        schemas |= rows
        for methods in found["paths"].values():
            for method, operation in methods.items():
                if "422" in operation["responses"]:
                    operation["responses"]["422"] = as_problem(_SAYS[422])
                if method == "get" and "security" in operation:
                    # From the service's own machine the diary is read without it.
                    operation["security"] = [{}, *operation["security"]]
        return found

    app.openapi = openapi  # type: ignore[method-assign]  # as the framework's manual has it


def reads(cache: ReportCache, clock: Callable[[], datetime]) -> APIRouter:
    """The reading routes under /api/v1."""
    router = APIRouter(prefix="/api/v1", tags=["reads"], route_class=StrictRoute)

    async def answered(
        request: Request, *key: str | None, draw: Draw, content_type: str = JSON, by_the_clock: bool = False
    ) -> Response:
        shown = cache.snapshot()
        found = shown.drawn(key)
        if found is None:
            # Drawn beside the answering of others: it may take a while.
            found = await run_in_threadpool(shown.item, key, content_type, draw)
        if not by_the_clock:
            shown.make_ready(path_here(request.scope), request.scope["query_string"], key)
        return send(request, found)

    def whole(name: str, draw: Draw) -> Callable[[Request], Awaitable[Response]]:
        async def answer(request: Request) -> Response:
            return await answered(request, name, draw=draw)

        answer.__name__ = name
        return answer

    for name, summary, described, draw in WHOLE:
        router.add_api_route(
            f"/{name}", whole(name, draw), summary=summary, responses=may_answer(content=described)
        )

    @router.get(
        "/days", summary="Indices per day", responses=may_answer(404, 422, content=rows_as(answers.Days))
    )
    async def days(request: Request, surface: Surface = None) -> Response:
        return await answered(
            request, "days", surface, draw=lambda report: encode(answers.days(report, surface=surface))
        )

    @router.get(
        "/windows",
        summary="Ranked windows, and why and until when other jobs are barred",
        responses=may_answer(400, 404, 422, content=rows_as(answers.Windows)),
    )
    async def windows(
        request: Request,
        job: Job = None,
        surface: Surface = None,
        day: Day = None,
        mine: Annotated[
            bool, Query(description="Where no job is named: only the jobs that the site file names.")
        ] = False,
    ) -> Response:
        zone = ZoneInfo(cache.snapshot().report.site.timezone)
        chosen = read_day(day, clock(), zone) if day else None
        if chosen is not None:
            dates = tuple(dict.fromkeys(row.date for row in cache.snapshot().report.days))
            require_known("day", chosen.isoformat(), dates)
        return await answered(
            request,
            "windows",
            job,
            surface,
            None if chosen is None else chosen.isoformat(),
            "mine" if mine else None,
            draw=lambda report: encode(
                answers.windows(report, job=job, surface=surface, day=chosen, mine=mine)
            ),
            by_the_clock=day is not None,
        )

    @router.get(
        "/hours",
        summary="One flat row an hour",
        response_model=list[answers.HourRow],
        responses=may_answer(422, content={"text/csv": {"schema": {"type": "string"}}}),
    )
    async def hours(
        request: Request,
        format: Annotated[Literal["json", "csv"], Query(description="json or csv.")] = "json",
    ) -> Response:
        if format == "csv":
            return await answered(request, "hours.csv", draw=answers.hours_csv, content_type=CSV)
        return await answered(request, "hours", draw=lambda report: encode(answers.hours(report)))

    @router.get(
        "/ribbons",
        summary="Every hour's state and cause, in runs",
        responses=may_answer(404, 422, content=rows_as(answers.Ribbons)),
    )
    async def ribbons(request: Request, job: Job = None, surface: Surface = None) -> Response:
        return await answered(
            request,
            "ribbons",
            job,
            surface,
            draw=lambda report: encode(answers.ribbons(report, job=job, surface=surface)),
        )

    @router.get(
        "/explain",
        summary="Each need of a job at an hour: figure, limits, verdict, source",
        responses=may_answer(400, 404, 422, content=rows_as(Explanation)),
    )
    async def explain(
        request: Request,
        job: Annotated[str, Query(max_length=LONGEST_NAME, description="A job by its name in the rules.")],
        time: Annotated[
            str,
            Query(
                max_length=LONGEST_NAME,
                description="07:30, tomorrow 07:30, or ISO 8601.",
                json_schema_extra=time_schema("today", "tomorrow"),
                examples=["tomorrow 07:30"],
            ),
        ],
        surface: Surface = None,
    ) -> Response:
        # One snapshot, so that report and workings are of one pass.
        shown = cache.snapshot()
        moment = read_time(time, clock(), ZoneInfo(shown.report.site.timezone))
        key = ("explain", job, surface, moment.isoformat())
        found = shown.drawn(key)
        if found is None:
            found = await run_in_threadpool(
                shown.item,
                key,
                JSON,
                lambda report: encode(explain_hour(report, shown.workings, job, moment, surface)),
            )
        return send(request, found)

    return router
