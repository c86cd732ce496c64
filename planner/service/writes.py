"""Writing over HTTP: the diary and readings; and what goes with it: mix plans, materials, what is due, the outbox."""

from __future__ import annotations

import hmac
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import APIRouter, BackgroundTasks, Body, Depends, FastAPI, HTTPException, Query, Request
from fastapi.responses import Response
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from pydantic import Field
from typing_extensions import TypedDict

from planner.actions import record_work
from planner.actions.mix_plan import MixAnswer, Stock, stock_of, tank_mix, with_nitrogen
from planner.actions.told import day_start, reason_of
from planner.diary.entry import MOST_MATERIALS, DiaryInput, StoredEntry
from planner.diary.showing import EntryRow, SprayRecord, belongs_on_record, entry_row, flat_row, spray_records
from planner.errors import NoPassYet, NotThere
from planner.reports.answers import csv_of, encode
from planner.service.asked import StrictRoute
from planner.service.cache import Item, item, send
from planner.service.context import Context, background, is_from_here
from planner.service.observations import observations
from planner.service.problems import OutboxAnswer, OutboxRow
from planner.service.routes import CSV, JSON, may_answer
from planner.service.write_parts import (
    CHANGE_REFUSALS,
    READ_REFUSALS,
    WRITE_REFUSALS,
    Day,
    Key,
    Name,
    Why,
    body_of,
    entry_tag,
    revision_meant,
)
from planner.terms import LONGEST_NAME, LONGEST_REASON, PLAIN_TEXT

Reason = Annotated[
    str, Query(max_length=LONGEST_REASON, pattern=PLAIN_TEXT, description="Why it is changed.")
]
Asked = Annotated[str, Field(max_length=LONGEST_NAME)]
Fields = Annotated[dict[str, object], Body(description="The entry; see docs/diary.md.")]


class Entries(TypedDict):
    """Diary entries, the oldest first."""

    entries: list[EntryRow]


class EntryHistory(EntryRow):
    """An entry with what it said before."""

    history: list[EntryRow]


class SprayRecords(TypedDict):
    """The spray record."""

    sheets: list[SprayRecord]


def writes(context: Context) -> APIRouter:
    """The routes, and with them the background work for as long as the service runs."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        async with background(context):
            yield

    router = APIRouter(prefix="/api/v1", tags=["diary"], lifespan=lifespan, route_class=StrictRoute)
    writer = [Depends(_writer(context))]
    reader = [Depends(_reader(context))]
    router.include_router(observations(context, writer, reader))

    def answered(request: Request, stored: StoredEntry, status: int = 200) -> Response:
        row = entry_row(stored, context.config().site.zone)
        place = f"{request.scope.get('root_path', '')}/api/v1/diary/{stored.uuid}"
        headers = {"ETag": entry_tag(stored.revision)} | ({"Location": place} if status == 201 else {})
        return Response(encode(row), status, headers, JSON)

    @router.post(
        "/diary",
        status_code=201,
        dependencies=writer,
        responses=WRITE_REFUSALS,
        summary="Write down work that was done",
        response_model=EntryRow,
        openapi_extra=body_of(DiaryInput),
    )
    def add(request: Request, fields: Fields, later: BackgroundTasks, key: Key = None) -> Response:
        stored = record_work.add(fields, context.config(), context.store(), context.clock(), key=key)
        later.add_task(context.renewed)
        return answered(request, stored, 201)

    @router.put(
        "/diary/{uuid}",
        name="replace",
        dependencies=writer,
        responses=CHANGE_REFUSALS,
        summary="Write an entry anew; the old text stays",
        response_model=EntryRow,
        openapi_extra=body_of(DiaryInput),
    )
    @router.patch(
        "/diary/{uuid}",
        name="patch",
        dependencies=writer,
        responses=CHANGE_REFUSALS,
        summary="Change some fields; the old text stays",
        response_model=EntryRow,
        openapi_extra=body_of(DiaryInput, whole=False),
    )
    def change(
        uuid: str,
        request: Request,
        fields: Fields,
        later: BackgroundTasks,
        key: Key = None,
        reason: Reason = "",
    ) -> Response:
        stored = record_work.edit(
            uuid,
            fields,
            context.config(),
            context.store(),
            context.clock(),
            reason=reason_of(reason),
            key=key,
            whole=request.method == "PUT",
            of_revision=revision_meant(request),
        )
        later.add_task(context.renewed)
        return answered(request, stored)

    @router.delete(
        "/diary/{uuid}",
        dependencies=writer,
        responses=CHANGE_REFUSALS,
        summary="Withdraw an entry; it stays in its history",
        response_model=EntryRow,
    )
    def withdraw(
        uuid: str,
        request: Request,
        later: BackgroundTasks,
        reason: Why,
        key: Key = None,
    ) -> Response:
        stored = context.store().withdraw_entry(
            uuid,
            context.clock(),
            reason=reason_of(reason),
            key=key,
            of_revision=revision_meant(request),
        )
        later.add_task(context.renewed)
        return answered(request, stored)

    def found(
        since: str | None, until: str | None, job: str | None, surface: str | None, every: bool
    ) -> tuple[StoredEntry, ...]:
        now, zone = context.clock(), context.config().site.zone
        return context.store().entries(
            day_start(since, now, zone) if since else None,
            day_start(until, now, zone) if until else None,
            job or None,
            surface or None,
            with_withdrawn=every,
        )

    @router.get(
        "/diary",
        dependencies=reader,
        summary="What was done, the oldest first; JSON or CSV",
        response_model=Entries,
        responses={**READ_REFUSALS, 200: {"content": {"text/csv": {"schema": {"type": "string"}}}}},
    )
    def listed(
        request: Request,
        since: Day = None,
        until: Day = None,
        job: Name = None,
        surface: Name = None,
        withdrawn: bool = False,
        format: Literal["json", "csv"] = "json",
    ) -> Response:
        rows, zone = found(since, until, job, surface, withdrawn), context.config().site.zone
        if format == "csv":
            return send(request, item(CSV, csv_of([flat_row(one, zone) for one in rows]).encode()))
        return send(request, item(JSON, encode({"entries": [entry_row(one, zone) for one in rows]})))

    @router.get(
        "/diary/sheet",
        dependencies=reader,
        responses=READ_REFUSALS,
        summary="The spray record; missing fields named",
        response_model=SprayRecords,
    )
    def sheet(request: Request, since: Day = None, until: Day = None, surface: Name = None) -> Response:
        site = context.config().site
        rows = [one for one in found(since, until, None, surface, False) if belongs_on_record(one.entry)]
        return send(request, item(JSON, encode({"sheets": spray_records(rows, site.name, site.zone)})))

    @router.get(
        "/diary/{uuid}",
        dependencies=reader,
        responses=READ_REFUSALS,
        summary="One entry with its history",
        response_model=EntryHistory,
    )
    def history(
        request: Request,
        uuid: str,
        withdrawn: Annotated[bool, Query(description="One that was withdrawn, too.")] = False,
    ) -> Response:
        zone, rows = context.config().site.zone, context.store().history(uuid)
        if rows[-1].withdrawn and not withdrawn:
            raise NotThere(
                f"The diary entry {uuid} was withdrawn ({rows[-1].reason}). It stays on record: read it with "
                "withdrawn=true."
            )
        *before, last = (entry_row(one, zone) for one in rows)
        body = encode({**last, "history": before})
        return send(request, Item(JSON, body, entry_tag(rows[-1].revision)))

    @router.get(
        "/mix",
        tags=["reads"],
        summary="Tank and hopper amounts for a job",
        response_model=MixAnswer,
        responses=may_answer(404, 409),
    )
    def mix_plan(
        request: Request,
        job: Asked,
        surface: Asked | None = None,
        material: Annotated[list[Asked], Query(max_length=MOST_MATERIALS)] = [],  # noqa: B006 read, never changed
        kit: Asked | None = None,
        litres: Annotated[float | None, Query(gt=0, le=100_000, allow_inf_nan=False)] = None,
        kg: Annotated[float | None, Query(gt=0, le=100_000, allow_inf_nan=False)] = None,
        product: Asked = "",
        rate_per_ha: Annotated[float | None, Query(gt=0, le=100_000, allow_inf_nan=False)] = None,
    ) -> Response:
        config = context.config()
        today = context.clock().astimezone(config.site.zone).date()
        mix = tank_mix(
            config,
            job,
            surface=surface,
            materials=material,
            kit=kit,
            litres=litres,
            kg=kg,
            on=today,
            product=product,
            rate_per_ha=rate_per_ha,
        )
        # Before the first pass the mix is worked out, without the month.
        with suppress(NoPassYet):
            mix = with_nitrogen(mix, context.cache.snapshot().report)
        return send(request, item(JSON, encode(mix)))

    @router.get(
        "/materials",
        tags=["reads"],
        summary="The materials file, sprayers and spreaders",
        response_model=Stock,
        responses=may_answer(),
    )
    def materials(request: Request) -> Response:
        return send(request, item(JSON, encode(stock_of(context.config()))))

    @router.get(
        "/outbox",
        tags=["reads"],
        summary="Messages of each output: due, sent, unsure, given up",
        response_model=OutboxAnswer,
        responses=may_answer(),
    )
    def outbox(request: Request) -> Response:
        rows = [OutboxRow(**asdict(one)) for one in context.store().outbox_counts()]
        return send(request, item(JSON, OutboxAnswer(outbox=rows).model_dump_json().encode()))

    return router


#: Described in /openapi.json as the bearer scheme of RFC 6750.
_BEARER = HTTPBearer(auto_error=False, description="The service's write token.")
Sent = Annotated[HTTPAuthorizationCredentials | None, Depends(_BEARER)]


def _has_token(context: Context, sent: HTTPAuthorizationCredentials | None) -> bool:
    if not context.token or sent is None or sent.scheme.lower() != "bearer":
        return False
    # Compared in constant time, so that nobody learns the token sign by sign.
    return hmac.compare_digest(sent.credentials.strip().encode(), context.token.encode())


def _writer(context: Context) -> Callable[..., None]:
    def check(sent: Sent) -> None:
        if not context.token:
            name = context.config().service.token_env
            raise HTTPException(403, f"Nothing can be written: no token is set. Set {name} to a long secret.")
        if not _has_token(context, sent):
            raise HTTPException(
                401,
                "A write needs the header Authorization: Bearer TOKEN with the service's token.",
                {"WWW-Authenticate": "Bearer"},
            )

    return check


def _reader(context: Context) -> Callable[..., None]:
    def check(request: Request, sent: Sent) -> None:
        # The diary names people; on other machines it is read with the token only.
        if is_from_here(request):
            return
        if not _has_token(context, sent):
            raise HTTPException(
                401,
                "From another machine the diary is read with the header Authorization: Bearer TOKEN.",
                {"WWW-Authenticate": "Bearer"},
            )

    return check
