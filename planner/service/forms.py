"""The tank sheet and the diary as pages with forms. They work without script; a write still needs the token."""

from __future__ import annotations

import hmac
from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from urllib.parse import parse_qs
from uuid import UUID, uuid4

from fastapi import APIRouter, BackgroundTasks, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from planner import page, writing
from planner.diary.showing import as_json
from planner.errors import InputError
from planner.page.forms import diary as diary_page
from planner.page.forms import tank as tank_page
from planner.service.desk import Desk
from planner.service.listening import is_loopback
from planner.service.sending import send
from planner.service.shelf import item
from planner.store.faults import KeyReused
from planner.tank import sheet as mix_of
from planner.tank import shelf_of

#: A form longer than this is none of ours.
_LONGEST_FORM = 64_000
_LATELY = timedelta(days=28)
_TANK_FIELDS = ("job", "surface", "material", "kit", "litres")
_NUMBERS = ("water_l", "cut_height_mm", "cover_pct")
_MEASURED = ("wind_2m_kmh", "air_temp_c", "rel_humidity_pct")
_TEXTS = ("job", "surface", "finished", "target", "operator", "notes")
_DIARY_FIELDS = (*_TEXTS, *_NUMBERS, *_MEASURED, "material", "amount")


def forms(desk: Desk) -> APIRouter:
    """The routes `/tank` and `/diary`."""
    router = APIRouter()

    @router.get("/tank", include_in_schema=False)
    def tank(request: Request) -> Response:
        asked = {name: request.query_params.get(name, "") for name in _TANK_FIELDS}
        config, sheet, fault = desk.config(), None, ""
        if asked["job"]:
            try:
                sheet = mix_of(
                    config,
                    asked["job"],
                    surface=asked["surface"] or None,
                    materials=[asked["material"]] if asked["material"] else [],
                    kit=asked["kit"] or None,
                    litres=_number(asked["litres"], "the litres"),
                    on=desk.clock().astimezone(config.site.zone).date(),
                )
            except InputError as error:
                fault = str(error)
        shelf = shelf_of(config)
        body = tank_page(
            _answers(desk),
            pairs=[
                {"job": job.name, "label": job.label, "surfaces": [one.name for one in places]}
                for job in config.jobs
                if (places := job.surfaces_of(config.site))
                and any(job.name in row["jobs"] for row in shelf["materials"])
            ],
            kits=[*shelf["sprayers"], *shelf["spreaders"]],
            materials=shelf["materials"],
            asked=asked,
            sheet=sheet,
            fault=fault,
        )
        return _sent(request, body, 400 if fault else 200)

    @router.get("/diary", include_in_schema=False)
    def diary(request: Request, written: str = "") -> Response:
        return shown(request, dict.fromkeys(_DIARY_FIELDS, ""), written=written)

    @router.post("/diary", include_in_schema=False)
    async def add(request: Request, later: BackgroundTasks) -> Response:
        raw = await _body(request)
        if raw is None:
            return await run_in_threadpool(
                shown, request, dict.fromkeys(_DIARY_FIELDS, ""), fault="The form is too long.", status=413
            )
        given = {name: values[0].strip() for name, values in parse_qs(raw, keep_blank_values=True).items()}
        return await run_in_threadpool(kept, request, given, later)

    def kept(request: Request, given: Mapping[str, str], later: BackgroundTasks) -> Response:
        told = {name: given.get(name, "") for name in _DIARY_FIELDS}
        if not desk.token:
            return shown(request, told, status=403)
        if not hmac.compare_digest(given.get("token", "").encode(), desk.token.encode()):
            return shown(request, told, fault="That is not the token of this service.", status=401)
        try:
            key = str(UUID(given.get("key", "")))
        except ValueError:
            return shown(request, told, fault="The form has lost its key. Send this one.", status=400)
        try:
            stored = writing.add(_fields(told), desk.config(), desk.store, desk.clock(), key=key)
        except KeyReused:
            says = "This form was sent before with other words. Look below whether it stands there."
            return shown(request, told, fault=says, status=409)
        except InputError as error:
            return shown(request, told, fault=str(error), status=400)
        later.add_task(desk.renewed)
        return RedirectResponse(f"/diary?written={stored.uuid}", 303, background=later)

    def shown(
        request: Request, told: Mapping[str, str], *, fault: str = "", status: int = 200, written: str = ""
    ) -> Response:
        config = desk.config()
        may_read = request.client is not None and is_loopback(request.client.host)
        zone = config.site.zone
        rows = desk.store.entries(desk.clock() - _LATELY, None) if may_read else ()
        entries = [as_json(row, zone) for row in reversed(rows)]
        body = diary_page(
            _answers(desk),
            entries=entries,
            may_read=may_read,
            can_write=bool(desk.token),
            token_name=config.service.token_env,
            surfaces=[surface.name for surface in config.site.surfaces],
            materials=shelf_of(config)["materials"],
            told=told,
            key=str(uuid4()),
            written=next((row for row in entries if row["uuid"] == written), None),
            fault=fault,
        )
        return _sent(request, body, status)

    return router


def _answers(desk: Desk) -> dict[str, Any]:
    return {name: desk.shelf.parsed(name) for name in ("now", "windows", "ribbons")}


def _sent(request: Request, body: bytes, status: int) -> Response:
    """The page; never kept, since its form has a key that is used once."""
    answer = send(request, item(page.HTML, body))
    if answer.status_code != 304:
        answer.status_code = status
    answer.headers["Cache-Control"] = "no-store"
    return answer


async def _body(request: Request) -> str | None:
    """The form as it came; None when it is longer than any of ours."""
    got = b""
    async for part in request.stream():
        got += part
        if len(got) > _LONGEST_FORM:
            return None
    return got.decode("utf-8", "replace")


def _fields(told: Mapping[str, str]) -> dict[str, Any]:
    """The entry as the diary takes it; what was left empty is left out."""
    fields: dict[str, Any] = {name: told[name] for name in _TEXTS if told[name]}
    for name in _NUMBERS:
        if told[name]:
            fields[name] = _number(told[name], name)
    measured = {name: _number(told[name], name) for name in _MEASURED if told[name]}
    if measured:
        fields["measured"] = measured
    if told["material"]:
        material: dict[str, Any] = {"name": told["material"]}
        if told["amount"]:
            material["amount"] = _number(told["amount"], "the amount")
        fields["materials"] = [material]
    return fields


def _number(text: str, what: str) -> float | None:
    """A number as a keeper writes it, with a point or a comma."""
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError as error:
        raise InputError(f'"{text}" is not a number. Write {what} with digits, such as 16.3.') from error
    if not 0 <= abs(value) < 1e6:
        raise InputError(f'"{text}" cannot be {what}. Write a number below a million.')
    return value
