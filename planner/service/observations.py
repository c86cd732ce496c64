"""Readings over HTTP: water given and what was measured, told, listed and withdrawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, BackgroundTasks, Body, Request
from fastapi.params import Depends
from fastapi.responses import Response
from typing_extensions import TypedDict

from planner.actions import record_reading
from planner.actions.told import day_start, reason_of
from planner.diary.observations import ObservationInput, ObservationRow, observation_row
from planner.reports.answers import encode
from planner.service.asked import StrictRoute
from planner.service.cache import item, send
from planner.service.context import Context
from planner.service.routes import JSON
from planner.service.write_parts import READ_REFUSALS, WRITE_REFUSALS, Day, Key, Name, Why, body_of


class Observations(TypedDict):
    """Readings, the oldest first."""

    observations: list[ObservationRow]


def observations(context: Context, writer: Sequence[Depends], reader: Sequence[Depends]) -> APIRouter:
    """The routes under `/observations`; `writer` and `reader` are who may use them."""
    router = APIRouter(route_class=StrictRoute)

    @router.post(
        "/observations",
        name="tell",
        status_code=201,
        dependencies=writer,
        responses=WRITE_REFUSALS,
        summary="Tell water given, or what was measured; with a job, its verdict at that moment",
        response_model=record_reading.ObservationAnswer,
        openapi_extra=body_of(ObservationInput),
    )
    def tell(
        fields: Annotated[dict[str, object], Body()], later: BackgroundTasks, key: Key = None
    ) -> Response:
        answer = record_reading.add(fields, context.config(), context.store(), context.clock(), key=key)
        later.add_task(context.renewed)
        return Response(encode(answer), 201, media_type=JSON)

    @router.delete(
        "/observations/{uuid}",
        name="withdraw reading",
        dependencies=writer,
        responses=WRITE_REFUSALS,
        summary="Withdraw a reading; it stays on record",
        response_model=ObservationRow,
    )
    def withdraw(uuid: str, later: BackgroundTasks, reason: Why) -> Response:
        stored = context.store().withdraw_observation(uuid, context.clock(), reason=reason_of(reason))
        later.add_task(context.renewed)
        return Response(encode(observation_row(stored, context.config().site.zone)), media_type=JSON)

    @router.get(
        "/observations",
        name="readings",
        dependencies=reader,
        responses=READ_REFUSALS,
        summary="Water given and what was measured, the oldest first",
        response_model=Observations,
    )
    def listed(
        request: Request,
        since: Day = None,
        until: Day = None,
        surface: Name = None,
        withdrawn: bool = False,
    ) -> Response:
        now, zone = context.clock(), context.config().site.zone
        found = context.store().observations(
            day_start(since, now, zone) if since else None,
            day_start(until, now, zone) if until else None,
            surface or None,
            with_withdrawn=withdrawn,
        )
        rows = [observation_row(one, zone) for one in found]
        return send(request, item(JSON, encode({"observations": rows})))

    return router
