"""One read of many sites in one answer: a row for each, with what it says alone, or why it says nothing."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, FastAPI, Query, Request, Response
from fastapi.concurrency import run_in_threadpool

from planner.errors import NotKnown
from planner.reports import answers
from planner.service.asked import StrictRoute
from planner.service.cache import Item, item, send
from planner.service.problems import Problem, problem
from planner.service.routes import JSON, WHOLE, Day, Job, Surface, may_answer, rows_as

if TYPE_CHECKING:
    from starlette.types import Message

    from planner.service.sites import Housed

log = logging.getLogger("planner.service")
#: Sites of one answer, and the bytes from which it is told that there are more.
MOST_SITES, LONGEST_ANSWER = 100, 4_000_000
_KEY = "[a-z0-9_-]{1,40}"
#: What of a request is the same for all sites.
_OF_THE_LINE = ("type", "asgi", "http_version", "scheme", "server", "client")

Sites = Annotated[
    str | None,
    Query(
        pattern=f"^{_KEY}(,{_KEY}){{0,{MOST_SITES - 1}}}$",
        description="Keys of sites, with commas between; every site where it is left out.",
        examples=["north,south"],
    ),
]
After = Annotated[str | None, Query(pattern=f"^{_KEY}$", description="`next` of the answer before this one.")]
Most = Annotated[int, Query(ge=1, le=MOST_SITES, description="Sites of one answer.")]
_Read = Callable[..., Awaitable[Response]]


def of_many(sites: Mapping[str, Housed]) -> APIRouter:
    """The routes under `/api/v1/sites`, one for each read of a report's parts."""
    router = APIRouter(prefix="/api/v1/sites", tags=["reads"], route_class=StrictRoute)

    async def answered(
        request: Request, read: str, named: str | None, after: str | None, most: int
    ) -> Response:
        keys = sorted(set(named.split(","))) if named else sorted(sites)
        keys = [key for key in keys if after is None or key > after]
        question = "&".join(
            part
            for part in request.scope["query_string"].decode("latin-1").split("&")
            if _is_for_a_site(part)
        )
        rows: list[bytes] = []
        length = 0
        for key in keys[:most]:
            rows.append(await _row(request, key, sites, read, question))
            length += len(rows[-1])
            if length > LONGEST_ANSWER:
                break
            # Others are answered in between.
            await asyncio.sleep(0)
        following = keys[len(rows) - 1] if len(rows) < len(keys) else None
        is_compressed = "gzip" in request.headers.get("accept-encoding", "")
        return send(request, await run_in_threadpool(_made, rows, following, is_compressed))

    def whole(name: str) -> _Read:
        async def answer(
            request: Request, sites: Sites = None, after: After = None, most: Most = MOST_SITES
        ) -> Response:
            return await answered(request, name, sites, after, most)

        answer.__name__ = f"{name} of many sites"
        return answer

    def described(name: str, summary: str, content: Mapping[str, Any], read: _Read) -> None:
        router.add_api_route(
            f"/{name}",
            read,
            summary=f"Of many sites: {summary}",
            responses=may_answer(content=_rows_of(content[JSON]["schema"])),
        )

    for name, summary, content, _ in WHOLE:
        described(name, summary, content, whole(name))

    async def days(
        request: Request,
        sites: Sites = None,
        after: After = None,
        most: Most = MOST_SITES,
        surface: Surface = None,
    ) -> Response:
        return await answered(request, "days", sites, after, most)

    async def windows(
        request: Request,
        sites: Sites = None,
        after: After = None,
        most: Most = MOST_SITES,
        job: Job = None,
        surface: Surface = None,
        day: Day = None,
        mine: bool = False,
    ) -> Response:
        return await answered(request, "windows", sites, after, most)

    async def ribbons(
        request: Request,
        sites: Sites = None,
        after: After = None,
        most: Most = MOST_SITES,
        job: Job = None,
        surface: Surface = None,
    ) -> Response:
        return await answered(request, "ribbons", sites, after, most)

    described("days", "indices per day", rows_as(answers.Days), days)
    described("windows", "ranked windows, and what is barred", rows_as(answers.Windows), windows)
    described("ribbons", "every hour's state and cause, in runs", rows_as(answers.Ribbons), ribbons)
    return router


def _is_for_a_site(part: str) -> bool:
    """Whether a part of the question goes on to the site; the others say which sites are meant."""
    return part.partition("=")[0] not in ("sites", "after", "most")


async def _row(request: Request, key: str, sites: Mapping[str, Housed], read: str, question: str) -> bytes:
    site = sites.get(key)
    if site is None:
        fault = problem(404, str(NotKnown("site", key, list(sites))), "NotKnown")
        return _as_row(key, None, 404, bytes(fault.body))
    try:
        status, body = await _ask(request, site.app, f"sites/{key}", read, question)
    except Exception as error:
        # A fault in one site keeps none of the others from being read.
        log.error("%s of the site %s was not read", read, key, exc_info=error)
        status, body = 500, bytes(problem(500, "A fault of our own; the log tells which.", "Http").body)
    return _as_row(key, site.name, status, body)


def _as_row(key: str, name: str | None, status: int, body: bytes) -> bytes:
    head = json.dumps({"key": key, "name": name, "status": status}, ensure_ascii=False)[:-1].encode()
    parts = (b', "answer": ', body, b', "problem": null}')
    if status != 200:
        parts = (b', "answer": null, "problem": ', body, b"}")
    return b"".join((head, *parts))


async def _ask(request: Request, app: FastAPI, below: str, read: str, question: str) -> tuple[int, bytes]:
    """Status and body of what the site answers, as it does alone."""
    outer = request.scope
    root = f"{outer.get('root_path', '')}/{below}"
    path = f"{root}/api/v1/{read}"
    scope = {
        **{name: outer[name] for name in _OF_THE_LINE if name in outer},
        "method": "GET",
        "root_path": root,
        "path": path,
        "raw_path": path.encode(),
        "query_string": question.encode("latin-1"),
        "headers": [row for row in outer["headers"] if row[0] == b"host"],
    }
    status, parts = 500, []

    async def nothing() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def kept(message: Message) -> None:
        nonlocal status
        if message["type"] == "http.response.start":
            status = message["status"]
        else:
            parts.append(message.get("body", b""))

    await app(scope, nothing, kept)
    return status, b"".join(parts)


def _made(rows: Sequence[bytes], following: str | None, is_compressed: bool) -> Item:
    """The answer, and its bytes as gzip where those are sent: both take a while for many sites."""
    end = b'], "next": ' + json.dumps(following).encode() + b"}"
    found = item(JSON, b'{"sites": [' + b", ".join(rows) + end)
    if is_compressed:
        _ = found.compressed
    return found


def _rows_of(answer: Mapping[str, Any]) -> dict[str, Any]:
    """The description of such an answer, from that of one site."""
    row = {
        "type": "object",
        "properties": {
            "key": {"type": "string"},
            "name": {"type": ["string", "null"], "description": "null where no site has that key."},
            "status": {"type": "integer", "description": "What the site alone would have answered."},
            "answer": {"anyOf": [answer, {"type": "null"}]},
            "problem": {"anyOf": [Problem.model_json_schema(), {"type": "null"}]},
        },
        "required": ["key", "name", "status", "answer", "problem"],
    }
    following = {
        "type": ["string", "null"],
        "description": "What to send as `after` for the rest; null at the end.",
    }
    properties = {"sites": {"type": "array", "items": row}, "next": following}
    return {JSON: {"schema": {"type": "object", "properties": properties, "required": ["sites", "next"]}}}
