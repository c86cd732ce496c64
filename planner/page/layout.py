"""What all pages share: the templates, the top of the page, the words for states."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from functools import cache
from hashlib import sha256
from importlib.resources import files
from zlib import crc32
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from planner.page.brief import job_address
from planner.page.plots import gust_2m_kmh
from planner.page.rows import SiteClock, figure
from planner.reports.as_of import holds_until
from planner.reports.retold import retell
from planner.reports.rows import Report
from planner.reports.sentences import job_on
from planner.reports.shown_units import METRIC, System, shown_unit
from planner.reports.stretches import as_sentence, stretches
from planner.terms import LABEL_CAUTION, PLAY, STATE_WORDS, first_up, in_utc, in_words

HTML = "text/html; charset=utf-8"

#: State -> what it means, in a line.
STATES = {
    "steady": "every need is kept with room, to the end of its after-hours",
    "narrow": "every limit is kept, with little room",
    "broken": "fine to start, fails before its after-hours end",
    "barred": "a limit, a gap or the clock is against it",
    "unread": "something needed is missing or too old",
}


def text_of(name: str) -> str:
    """The text of a file beside the templates."""
    return files("planner.page").joinpath("templates", name).read_text(encoding="utf-8")


def _compact(css: str) -> str:
    """The style sheet without what only its readers need."""
    css = re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)
    return re.sub(r"\s*([{};:,>])\s*", r"\1", re.sub(r"\s+", " ", css)).strip()


STYLE = _compact(text_of("style.css"))
SCRIPT = text_of("refresh.js").strip()
_SCRIPT_HASH = base64.b64encode(sha256(SCRIPT.encode()).digest()).decode()
#: Nothing from elsewhere, and no script but ours.
CONTENT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; connect-src 'self'; "
    f"form-action 'self'; base-uri 'none'; frame-ancestors 'self'; script-src 'sha256-{_SCRIPT_HASH}'"
)


@cache
def environment() -> Environment:
    """Templates with the words and figures they write."""
    made = Environment(
        loader=PackageLoader("planner.page"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    made.filters |= {
        "figure": figure,
        "in_words": in_words,
        "job_url": job_address,
        "slug": lambda text: re.sub(r"[^a-z0-9]+", "-", str(text).lower()).strip("-"),
        "first_up": first_up,
    }
    made.globals |= {
        "STYLE": Markup(STYLE),
        "SCRIPT": Markup(SCRIPT),
        "STATES": STATES,
        "STATE_WORDS": STATE_WORDS,
        "LABEL_CAUTION": LABEL_CAUTION,
        "job_on": job_on,
        "stretches": stretches,
        "room": as_sentence,
        "gust": gust_2m_kmh,
        "PLAY": PLAY,
    }
    return made


def clock_of(report: Report) -> SiteClock:
    """The site's clock at the moment that the report is true of."""
    return SiteClock(ZoneInfo(report.site.timezone), report.as_of)


def edition(report: Report) -> str:
    """Another text whenever there is something new to read: the pass, the moment it is read for, a mark of its notes.

    The moment moves when what is shown turns: a window ends, a day begins, the forecast grows too old.
    """
    made_at = in_utc(report.made_at)
    mark = crc32(f"{in_utc(report.as_of)} {' '.join(report.forecast.notes)}".encode())
    return f"{made_at} {mark:08x}"


#: Links in templates begin at the root of the service; a page is read under any prefix, so they are made relative.
_FROM_ROOT = re.compile(r'\b(href|action)="/(?!/)')


def linked(text: str, up: str) -> str:
    """The page with its links relative to its own address, from which `up` leads to the root of the service."""
    return _FROM_ROOT.sub(rf'\1="{up}', text)


def amounts_of(system: System) -> dict[str, Callable[..., str]]:
    """What templates write metric figures with, in the units of the system: `shown` with the sign, `bare` without,
    `sign` alone. `digits` are those of a metric figure; another unit has its own."""

    def bare(value: float | None, unit: str, digits: int = 0) -> str:
        if system == METRIC:
            return figure(value, digits)
        return shown_unit(unit, system).number(value).replace("-", "−")

    def shown(value: float | None, unit: str, digits: int = 0) -> str:
        return f"{bare(value, unit, digits)} {sign(unit)}"

    def sign(unit: str) -> str:
        return shown_unit(unit, system).sign

    return {"bare": bare, "shown": shown, "sign": sign, "retold": lambda text: retell(text, system)}


def write(template: str, report: Report, *, up: str = "./", **context: object) -> bytes:
    """One page as bytes; `up` leads from its address to the root of the service, `./` or `../`."""
    shared: dict[str, object] = {
        "site": report.site.name,
        "made_at": report.made_at,
        "edition": edition(report),
        "forecast": report.forecast,
        "fault": "; ".join(fault.rstrip(".") for fault in report.faults),
        "clock": clock_of(report),
        "jobs": list({row.job: row for row in report.ribbons}.values()),
        "reload": True,
        # For a page that hears nothing any more: by its own clock, which may be set to any time.
        "holds_s": round((holds_until(report) - report.as_of).total_seconds()),
        "up": up,
        **amounts_of(report.site.units),
    }
    text = linked(environment().get_template(template).render(**(shared | context)), up)
    # Indents go, except in what is to be copied as it stands.
    parts = re.split(r"(<pre.*?</pre>)", text, flags=re.DOTALL)
    return "".join(re.sub(r"\n\s*", "\n", p) if at % 2 == 0 else p for at, p in enumerate(parts)).encode()


def empty(says: str, up: str = "./") -> bytes:
    """The page before the first pass, or for an address where nothing is."""
    return linked(environment().get_template("empty.html.j2").render(says=says), up).encode()


#: What a page says above a refusal, by its status.
_REFUSED = {
    401: "A token is needed",
    403: "Not allowed",
    404: "Nothing is here",
    413: "Too long",
    421: "Not by this name",
    429: "Too often",
    503: "Not now",
}


def refused(status: int, says: str, then: str = "") -> bytes:
    """The page for a request that was not taken; `then` is what to do next. It leads nowhere: what leads to the root of
    the service may not be known yet."""
    title = _REFUSED.get(status, "That did not work")
    return environment().get_template("refused.html.j2").render(title=title, says=says, then=then).encode()
