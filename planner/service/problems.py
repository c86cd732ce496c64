"""Faults as application/problem+json (RFC 9457) and as a page, and schemas of answers that are no rows of a report."""

from __future__ import annotations

import json
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import Match

from planner import page
from planner.errors import (
    Contradiction,
    ForecastError,
    InputError,
    NoPassYet,
    NotThere,
    Overtaken,
    PlannerError,
)
from planner.service.asked import Repeated, UnknownParameter, path_here
from planner.store.records import KeyReused, StoreError

if TYPE_CHECKING:
    from starlette.types import Scope

PROBLEM = "application/problem+json"


class Problem(BaseModel):
    """A fault (RFC 9457)."""

    type: str = Field(description="about:blank: the title says what sort it is.")
    title: str
    status: int
    detail: str = Field(description="What is wrong, where, and what to do.")
    code: str


def problem(status: int, detail: str, code: str) -> Response:
    """A problem document."""
    body = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "code": code,
    }
    headers = {"Retry-After": "60"} if status == 503 else None
    return Response(json.dumps(body, ensure_ascii=False), status, headers, PROBLEM)


def refusal(
    scope: Scope, status: int, detail: str, code: str = "Http", *, wait_s: int | None = None
) -> Response:
    """A fault as the one who asks reads it: in a browser that opens a page or sends a form a small page with the same
    words, else a problem document. `wait_s` are the seconds until it may be asked again.
    """
    if _opens_a_page(scope):
        answer = Response(
            page.refused(status, detail, _what_then(scope, wait_s)), status, _PAGE_HEADERS, page.HTML
        )
        if status == 503:
            answer.headers["Retry-After"] = "60"
    else:
        answer = problem(status, detail, code)
    if wait_s is not None:
        answer.headers["Retry-After"] = str(wait_s)
    return answer


_PAGE_HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": page.CONTENT_POLICY,
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


def _opens_a_page(scope: Scope) -> bool:
    """Whether a person looks at what comes. Addresses of programs answer as they say, whoever asks."""
    if "/api/" in scope["path"]:
        return False
    return any(name == b"accept" and b"text/html" in value for name, value in scope["headers"])


def _what_then(scope: Scope, wait_s: int | None) -> str:
    if scope["method"] in ("GET", "HEAD"):
        return ""
    if wait_s is None:
        return "Nothing of the form was kept. Go back to it with the browser."
    return (
        f"Nothing of the form was kept. Go back to it with the browser, wait {wait_s} s, and send it again."
    )


def as_problem(says: str) -> dict[str, Any]:
    """A fault as the description of the service has it."""
    return {"description": says, "content": {PROBLEM: {"schema": Problem.model_json_schema()}}}


def status_of(error: PlannerError) -> int:
    """The HTTP status of one of our errors."""
    if isinstance(error, (UnknownParameter, Repeated)):
        return 422
    if isinstance(error, NotThere):
        return 404
    if isinstance(error, Overtaken):
        return 412
    if isinstance(error, (KeyReused, Contradiction)):
        return 409
    if isinstance(error, InputError):
        return 400
    if isinstance(error, (NoPassYet, ForecastError, StoreError)):
        return 503
    return 500


def attach(app: FastAPI) -> None:
    """Answer every fault as a problem document."""

    @app.exception_handler(PlannerError)
    async def planner_error(request: Request, error: PlannerError) -> Response:
        return refusal(request.scope, status_of(error), str(error), type(error).__name__)

    @app.exception_handler(RequestValidationError)
    async def malformed(request: Request, error: RequestValidationError) -> Response:
        parts = [
            f"{'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}" for fault in error.errors()
        ]
        return refusal(request.scope, 422, "; ".join(parts), "Malformed")

    @app.exception_handler(ClientDisconnect)
    async def broken_off(request: Request, error: ClientDisconnect) -> Response:
        # Nobody reads it; without it each would be told in the log as a fault of ours.
        return problem(400, "The request was broken off.", "Http")

    @app.exception_handler(HTTPException)
    async def http_error(request: Request, error: HTTPException) -> Response:
        made = refusal(request.scope, error.status_code, str(error.detail))
        # WWW-Authenticate is part of the answer.
        made.headers.update(error.headers or {})
        if error.status_code == 405:
            made.headers["Allow"] = ", ".join(_methods_at(request))
        return made


def _methods_at(request: Request) -> list[str]:
    """What may be done at an address: the router itself names only the first of several routes."""
    described = request.app.openapi()["paths"].get(path_here(request.scope))
    if described is not None:
        found = {method.upper() for method in described}
    else:
        found = {
            method
            for method in ("GET", "POST", "PUT", "PATCH", "DELETE")
            for route in request.app.routes
            if route.matches({**request.scope, "method": method})[0] is Match.FULL
        }
    return sorted(found | {"HEAD"} if "GET" in found else found)


class Health(BaseModel):
    """Whether the service is well."""

    healthy: bool
    last_good_pass: str | None
    age_minutes: float | None
    unhealthy_after_minutes: float
    forecast_stale: bool
    failed_pulls: int = Field(description="Pulls running that got no forecast.")
    last_fault: str | None
    store_fault: str | None
    config_fault: str | None
    messages: dict[str, dict[str, int]]
    version: str


class OutboxRow(BaseModel):
    """Messages of one output in one state."""

    output: str
    state: str
    messages: int
    note: str


class OutboxAnswer(BaseModel):
    """Messages of every output."""

    outbox: list[OutboxRow]
