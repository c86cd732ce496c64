"""Writing over HTTP: the diary; and what goes with it: mix sheets, materials, what is due, the outbox."""

from __future__ import annotations

import hmac
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Annotated, Any, Literal

from fastapi import APIRouter, BackgroundTasks, Body, Depends, FastAPI, Header, HTTPException, Query, Request
from fastapi.responses import JSONResponse, Response

from planner import diary_board, writing
from planner.answers import CSV, JSON, encode
from planner.diary.showing import as_json, belongs_on_sheet, flat_row, record_sheets
from planner.service.desk import Desk, at_work
from planner.service.listening import is_loopback
from planner.service.problems import problem
from planner.service.sending import send
from planner.service.shelf import item
from planner.store.faults import KeyReused
from planner.store.records import StoredEntry
from planner.tank import sheet as mix_of
from planner.tank import shelf_of

Key = Annotated[
    str | None,
    Header(alias="Idempotency-Key", description="A UUID; the same write sent again under it is done once."),
]
Reason = Annotated[str, Query(max_length=2000, description="Why it is changed.")]
Day = Annotated[str | None, Query(description="today, yesterday, a weekday (the last one) or a date.")]
Fields = Annotated[dict[str, Any], Body(description="The entry; see docs/diary.md.")]


def writes(desk: Desk) -> APIRouter:
    """The routes, and with them the work at the desk for as long as the service runs."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        async with at_work(desk):
            yield

    router = APIRouter(prefix="/api/v1", tags=["diary"], lifespan=lifespan)
    writer = [Depends(_writer(desk))]
    reader = [Depends(_reader(desk))]

    def answered(stored: StoredEntry, status: int = 200) -> JSONResponse:
        told = as_json(stored, desk.config().site.zone)
        headers = {"Location": f"/api/v1/diary/{stored.uuid}"} if status == 201 else None
        return JSONResponse(told, status, headers)

    @router.post("/diary", status_code=201, dependencies=writer, summary="Write down work that was done")
    def add(fields: Fields, later: BackgroundTasks, key: Key = None) -> Response:
        try:
            stored = writing.add(fields, desk.config(), desk.store, desk.clock(), key=key)
        except KeyReused as error:
            return problem(409, str(error), "KeyReused")
        later.add_task(desk.renewed)
        return answered(stored, 201)

    @router.put("/diary/{uuid}", dependencies=writer, summary="Write an entry anew; the old text stays")
    def replace(
        uuid: str, fields: Fields, later: BackgroundTasks, key: Key = None, reason: Reason = ""
    ) -> Response:
        return change(uuid, fields, later, key, reason, whole=True)

    @router.patch("/diary/{uuid}", dependencies=writer, summary="Change some fields; the old text stays")
    def patch(
        uuid: str, fields: Fields, later: BackgroundTasks, key: Key = None, reason: Reason = ""
    ) -> Response:
        return change(uuid, fields, later, key, reason, whole=False)

    def change(
        uuid: str,
        fields: dict[str, Any],
        later: BackgroundTasks,
        key: str | None,
        reason: str,
        *,
        whole: bool,
    ) -> Response:
        try:
            stored = writing.edit(
                uuid,
                fields,
                desk.config(),
                desk.store,
                desk.clock(),
                reason=writing.plain_text(reason, "the reason"),
                key=key,
                whole=whole,
            )
        except KeyReused as error:
            return problem(409, str(error), "KeyReused")
        later.add_task(desk.renewed)
        return answered(stored)

    @router.delete("/diary/{uuid}", dependencies=writer, summary="Withdraw an entry; it stays in its history")
    def withdraw(
        uuid: str,
        later: BackgroundTasks,
        reason: Annotated[str, Query(min_length=1, max_length=2000)],
        key: Key = None,
    ) -> Response:
        try:
            stored = desk.store.withdraw_entry(
                uuid, desk.clock(), reason=writing.plain_text(reason, "the reason"), key=key
            )
        except KeyReused as error:
            return problem(409, str(error), "KeyReused")
        later.add_task(desk.renewed)
        return answered(stored)

    def found(since: str | None, until: str | None, job: str | None, surface: str | None, every: bool) -> Any:
        now, zone = desk.clock(), desk.config().site.zone
        return desk.store.entries(
            None if since is None else writing.day_start(since, now, zone),
            None if until is None else writing.day_start(until, now, zone),
            job,
            surface,
            with_withdrawn=every,
        )

    @router.get("/diary", dependencies=reader, summary="What was done, the oldest first; JSON or CSV")
    def listed(
        request: Request,
        since: Day = None,
        until: Day = None,
        job: str | None = None,
        surface: str | None = None,
        withdrawn: bool = False,
        format: Literal["json", "csv"] = "json",
    ) -> Response:
        rows, zone = found(since, until, job, surface, withdrawn), desk.config().site.zone
        if format == "csv":
            return send(
                request, item(CSV, diary_board.as_csv([flat_row(one, zone) for one in rows]).encode())
            )
        return send(request, item(JSON, encode({"entries": [as_json(one, zone) for one in rows]})))

    @router.get("/diary/sheet", dependencies=reader, summary="Record of pesticide use; missing fields named")
    def sheet(request: Request, since: Day = None, until: Day = None, surface: str | None = None) -> Response:
        site = desk.config().site
        rows = [one for one in found(since, until, None, surface, False) if belongs_on_sheet(one.entry)]
        return send(request, item(JSON, encode({"sheets": record_sheets(rows, site.name, site.zone)})))

    @router.get("/diary/{uuid}", dependencies=reader, summary="One entry with its history")
    def history(request: Request, uuid: str) -> Response:
        zone = desk.config().site.zone
        told = [as_json(one, zone) for one in desk.store.history(uuid)]
        return send(request, item(JSON, encode({**told[-1], "history": told[:-1]})))

    @router.get("/due", tags=["reads"], summary="What is due and by when, and how each surface stands")
    async def due(request: Request) -> Response:
        return send(request, desk.shelf.get("due"))

    @router.get("/mix", tags=["reads"], summary="Tank and hopper amounts for a job")
    def mix(
        request: Request,
        job: str,
        surface: str | None = None,
        material: Annotated[list[str], Query()] = [],  # noqa: B006
        kit: str | None = None,
        litres: Annotated[float | None, Query(gt=0, le=100_000, allow_inf_nan=False)] = None,
        kg: Annotated[float | None, Query(gt=0, le=100_000, allow_inf_nan=False)] = None,
    ) -> Response:
        config = desk.config()
        today = desk.clock().astimezone(config.site.zone).date()
        told = mix_of(
            config, job, surface=surface, materials=material, kit=kit, litres=litres, kg=kg, on=today
        )
        return send(request, item(JSON, encode(told)))

    @router.get("/materials", tags=["reads"], summary="The materials file, sprayers and spreaders")
    def materials(request: Request) -> Response:
        return send(request, item(JSON, encode(shelf_of(desk.config()))))

    @router.get("/outbox", tags=["reads"], summary="Messages of each output: due, sent, unsure, given up")
    def outbox(request: Request) -> Response:
        rows = [
            {"output": one.output, "state": one.state, "messages": one.messages, "note": one.note}
            for one in desk.store.outbox_counts()
        ]
        return send(request, item(JSON, encode({"outbox": rows})))

    return router


def _has_token(desk: Desk, authorization: str | None) -> bool:
    scheme, _, given = (authorization or "").partition(" ")
    if not desk.token or scheme.lower() != "bearer":
        return False
    # Compared in constant time, so that nobody learns the token sign by sign.
    return hmac.compare_digest(given.strip().encode(), desk.token.encode())


def _writer(desk: Desk) -> Any:
    def check(authorization: Annotated[str | None, Header()] = None) -> None:
        if not desk.token:
            name = desk.config().service.token_env
            raise HTTPException(403, f"Nothing can be written: no token is set. Set {name} to a long secret.")
        if not _has_token(desk, authorization):
            raise HTTPException(
                401,
                "A write needs the header Authorization: Bearer TOKEN with the service's token.",
                {"WWW-Authenticate": "Bearer"},
            )

    return check


def _reader(desk: Desk) -> Any:
    def check(request: Request, authorization: Annotated[str | None, Header()] = None) -> None:
        # The diary names people; on other machines it is read with the token only.
        if request.client is not None and is_loopback(request.client.host):
            return
        if not _has_token(desk, authorization):
            raise HTTPException(
                401,
                "From another machine the diary is read with the header Authorization: Bearer TOKEN.",
                {"WWW-Authenticate": "Bearer"},
            )

    return check
