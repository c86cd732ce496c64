"""The tank mix and the diary as pages with forms. They work without script; a write still needs the token."""

from __future__ import annotations

import hmac
import re
from collections.abc import Callable, Mapping
from datetime import timedelta
from urllib.parse import parse_qs
from uuid import UUID, uuid4

from fastapi import APIRouter, BackgroundTasks, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from planner import page
from planner.actions import record_reading, record_work
from planner.actions.mix_plan import stock_of, tank_mix, with_nitrogen
from planner.diary.observations import FIGURE_WORDS, observation_row
from planner.diary.observations import FIGURES as READINGS
from planner.diary.showing import entry_row
from planner.errors import InputError, NoPassYet
from planner.reports.blank import blank_report
from planner.reports.rows import Report
from planner.reports.shown_units import System, shown_unit
from planner.service.cache import item, send
from planner.service.context import Context, is_from_here
from planner.service.known_browser import forget, is_known, remember
from planner.service.pages import up_from
from planner.store.records import KeyReused
from planner.terms import in_words, with_point

#: A form longer than this is none of ours.
_LONGEST_FORM = 64_000
_LATELY = timedelta(days=28)
_TANK_FIELDS = ("job", "surface", "material", "kit", "litres", "product", "rate")
_NUMBERS = ("water_l", "cut_height_mm", "cover_pct")
_MEASURED = ("wind_2m_kmh", "air_temp_c", "rel_humidity_pct")
_TEXTS = ("job", "surface", "finished", "target", "operator", "notes")
_DIARY_FIELDS = (*_TEXTS, *_NUMBERS, *_MEASURED, "material", "amount")
_READING_FIELDS = ("surface", "at", "note", *READINGS)
_THOUSANDS = re.compile(r"[-+]?\d+,\d{3,}")
_NOTHING: Mapping[str, Mapping[str, str]] = {}


def forms(context: Context) -> APIRouter:
    """The routes `/tank`, `/diary` and `/diary/reading`."""
    router = APIRouter()

    @router.get("/tank", include_in_schema=False)
    def tank(request: Request) -> Response:
        asked = {name: request.query_params.get(name, "") for name in _TANK_FIELDS}
        config, report, mix, fault = context.config(), _report(context), None, ""
        if asked["job"]:
            try:
                mix = tank_mix(
                    config,
                    asked["job"],
                    surface=asked["surface"] or None,
                    materials=[asked["material"]] if asked["material"] else [],
                    kit=asked["kit"] or None,
                    litres=_number(asked["litres"], "the litres"),
                    product=asked["product"],
                    rate_per_ha=_number(asked["rate"], "the rate"),
                    on=context.clock().astimezone(config.site.zone).date(),
                )
                mix = with_nitrogen(mix, report)
            except InputError as error:
                fault = str(error)
        stock = stock_of(config)
        body = page.write(
            "tank.html.j2",
            report,
            pairs=[
                {"job": job.name, "label": job.label, "surfaces": [one.name for one in places]}
                for job in config.jobs
                if (places := job.surfaces_of(config.site))
                and any(job.name in row.jobs for row in stock.materials)
            ],
            kits=[*stock.sprayers, *stock.spreaders],
            materials=stock.materials,
            asked=asked,
            mix=mix,
            says=fault,
            reload=False,
            up=up_from(request),
        )
        return _sent(request, body, 400 if fault else 200)

    @router.get("/diary", include_in_schema=False)
    def diary(
        request: Request, written: str = "", kept: str = "", job: str = "", surface: str = ""
    ) -> Response:
        # From a job that is due: the form is filled in already.
        chosen = {"filled": dict.fromkeys(_DIARY_FIELDS, "") | {"job": job, "surface": surface}}
        return shown(request, chosen if job else _NOTHING, written=written, kept=kept)

    @router.post("/diary", include_in_schema=False)
    async def add(request: Request, later: BackgroundTasks) -> Response:
        return await taken(request, later, "filled", _DIARY_FIELDS, write_entry)

    @router.post("/diary/leave", include_in_schema=False)
    def leave(request: Request) -> Response:
        answer = RedirectResponse(up_from(request) + "diary", 303)
        forget(request, answer)
        return answer

    @router.post("/diary/reading", include_in_schema=False)
    async def tell(request: Request, later: BackgroundTasks) -> Response:
        return await taken(request, later, "told", _READING_FIELDS, write_reading)

    def write_entry(filled: Mapping[str, str], key: str) -> str:
        fields = _fields(filled, context.config().site.units)
        stored = record_work.add(fields, context.config(), context.store(), context.clock(), key=key)
        return f"diary?written={stored.uuid}"

    def write_reading(filled: Mapping[str, str], key: str) -> str:
        fields: dict[str, object] = {
            name: _metric(text, name, context.config().site.units) if name in READINGS else text
            for name, text in filled.items()
            if text
        }
        told = record_reading.add(fields, context.config(), context.store(), context.clock(), key=key)
        return f"diary?kept={told['uuid']}"

    async def taken(
        request: Request,
        later: BackgroundTasks,
        form: str,
        names: tuple[str, ...],
        write: Callable[[Mapping[str, str], str], str],
    ) -> Response:
        raw = await _body(request)
        if raw is None:
            return await run_in_threadpool(shown, request, fault="The form is too long.", status=413)
        sent = {name: values[0].strip() for name, values in parse_qs(raw, keep_blank_values=True).items()}
        return await run_in_threadpool(kept_or_shown, request, sent, later, form, names, write)

    def kept_or_shown(
        request: Request,
        sent: Mapping[str, str],
        later: BackgroundTasks,
        form: str,
        names: tuple[str, ...],
        write: Callable[[Mapping[str, str], str], str],
    ) -> Response:
        filled = {name: sent.get(name, "") for name in names}
        forms = {form: filled}
        if not context.token:
            return shown(request, forms, status=403)
        tells = hmac.compare_digest(sent.get("token", "").encode(), context.token.encode())
        if not tells and not is_known(request, context.token, context.clock()):
            return shown(request, forms, fault="That is not the token of this service.", status=401)
        answer = written_or_shown(request, sent, later, form, filled, write)
        # Kept over a fault too: who has sent the token once need not type it again.
        remember(request, answer, context.token, context.clock())
        return answer

    def written_or_shown(
        request: Request,
        sent: Mapping[str, str],
        later: BackgroundTasks,
        form: str,
        filled: Mapping[str, str],
        write: Callable[[Mapping[str, str], str], str],
    ) -> Response:
        forms = {form: filled}
        try:
            key = str(UUID(sent.get("key", "")))
        except ValueError:
            return shown(
                request, forms, fault="The form has lost its key. Send this one.", status=400, is_writer=True
            )
        try:
            place = write(filled, key)
        except KeyReused:
            says = "This form was sent before with other words. Look below whether it stands there."
            return shown(request, forms, fault=says, status=409, is_writer=True)
        except InputError as error:
            return shown(request, forms, fault=str(error), status=400, is_writer=True)
        later.add_task(context.renewed)
        # From the address of the form, so that it holds behind any prefix.
        return RedirectResponse(up_from(request) + place, 303, background=later)

    def shown(
        request: Request,
        forms: Mapping[str, Mapping[str, str]] = _NOTHING,
        *,
        fault: str = "",
        status: int = 200,
        written: str = "",
        kept: str = "",
        is_writer: bool = False,
    ) -> Response:
        config, since = context.config(), context.clock() - _LATELY
        is_writer = is_writer or is_known(request, context.token, context.clock())
        may_read = is_writer or is_from_here(request)
        zone = config.site.zone
        rows = context.store().entries(since, None) if may_read else ()
        entries = [entry_row(row, zone) for row in reversed(rows)]
        readings = context.store().observations(since) if may_read else ()
        body = page.write(
            "diary.html.j2",
            _report(context),
            jobs=[
                {"job": job.name, "label": job.label} for job in config.jobs if job.surfaces_of(config.site)
            ],
            entries=entries,
            readings=[observation_row(row, zone) for row in reversed(readings)],
            figures=FIGURE_WORDS,
            may_read=may_read,
            can_write=bool(context.token),
            is_writer=is_writer,
            token_name=config.service.token_env,
            surfaces=[surface.name for surface in config.site.surfaces],
            materials=stock_of(config).materials,
            filled=forms.get("filled") or dict.fromkeys(_DIARY_FIELDS, ""),
            told=forms.get("told") or dict.fromkeys(_READING_FIELDS, ""),
            key=str(uuid4()),
            reading_key=str(uuid4()),
            written=next((row for row in entries if row["uuid"] == written), None),
            kept=kept,
            says=fault,
            reload=False,
            up=up_from(request),
        )
        return _sent(request, body, status)

    return router


def _report(context: Context) -> Report:
    """The report as it reads now; an empty one before the first pass: work is done without a forecast, too."""
    try:
        return context.cache.snapshot().report
    except NoPassYet as error:
        return blank_report(context.config().site, context.clock(), (str(error),))


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


def _fields(filled: Mapping[str, str], system: System) -> dict[str, object]:
    """The entry as the diary takes it; what was left empty is left out."""
    fields: dict[str, object] = {name: filled[name] for name in _TEXTS if filled[name]}
    for name in _NUMBERS:
        if filled[name]:
            fields[name] = _metric(filled[name], name, system)
    measured = {name: _metric(filled[name], name, system) for name in _MEASURED if filled[name]}
    if measured:
        fields["measured"] = measured
    if filled["material"]:
        material: dict[str, object] = {"name": filled["material"]}
        if filled["amount"]:
            material["amount"] = _number(filled["amount"], "the amount")
        fields["materials"] = [material]
    return fields


#: Units of the figures that a form takes, by the end of their names.
_UNITS = {"_l": "L", "_mm": "mm", "_kmh": "km/h", "_c": "°C"}


def _metric(text: str, name: str, system: System) -> float | None:
    """A number in the units that the keeper reads, as the diary keeps it."""
    value = _number(text, in_words(name))
    unit = next((unit for end, unit in _UNITS.items() if name.endswith(end)), "")
    return value if value is None or not unit else round(shown_unit(unit, system).metric(value), 3)


def _number(text: str, what: str) -> float | None:
    """A number as a keeper writes it, with a point or a decimal comma."""
    if not text:
        return None
    if _THOUSANDS.fullmatch(text):
        raise InputError(f'"{text}" may be read in two ways. Write {what} with a point, or without a comma.')
    try:
        value = float(with_point(text))
    except ValueError as error:
        raise InputError(f'"{text}" is not a number. Write {what} with digits, such as 16.3.') from error
    if not 0 <= abs(value) < 1e6:
        raise InputError(f'"{text}" cannot be {what}. Write a number below a million.')
    return value
