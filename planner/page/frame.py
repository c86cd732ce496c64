"""What all pages share: the templates, the head of the page, the words for states."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any
from urllib.parse import quote
from zlib import crc32
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from planner.page.times import Clock, figure
from planner.words import BESIDE_A_SPRAY, job_on

Answers = Mapping[str, Any]
HTML = "text/html; charset=utf-8"

#: State -> what it means, in a line.
STATES = {
    "steady": "every need holds with room, to the end of its after-hours",
    "narrow": "all hold, but with little room",
    "broken": "starts well, fails before its after-hours end",
    "barred": "a limit, a gap or the clock is against it",
    "unread": "something needed is missing or too old",
}
#: Shorter words for the same, beside a time.
SHORT = {
    "steady": "holds with room",
    "narrow": "holds, only just",
    "broken": "breaks",
    "barred": "barred",
    "unread": "not read",
}


def _text(name: str) -> str:
    return files("planner.page").joinpath("templates", name).read_text(encoding="utf-8")


def _squeezed(css: str) -> str:
    """The style sheet without what only its readers need."""
    css = re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)
    return re.sub(r"\s*([{};:,>])\s*", r"\1", re.sub(r"\s+", " ", css)).strip()


STYLE = _squeezed(_text("style.css"))
SCRIPT = _text("refresh.js").strip()
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
        "job_url": lambda name: f"/job/{quote(name)}",
        "slug": lambda text: re.sub(r"[^a-z0-9]+", "-", str(text).lower()).strip("-"),
        "first_up": lambda text: text[:1].upper() + text[1:],
    }
    made.globals |= {
        "STYLE": Markup(STYLE),
        "SCRIPT": Markup(SCRIPT),
        "STATES": STATES,
        "SHORT": SHORT,
        "BESIDE_A_SPRAY": BESIDE_A_SPRAY,
        "job_on": job_on,
    }
    return made


def clock(answers: Answers) -> Clock:
    """The site's clock at the moment the answers stand for: of the pass, or older by what the twin tells."""
    head = answers["windows"]
    return Clock(ZoneInfo(head["site"]["timezone"]), moment(answers))


def moment(answers: Answers) -> datetime:
    """When the answers are read: the issue of their forecast plus the age they tell."""
    head = answers["windows"]
    made = datetime.fromisoformat(head["made_at"])
    # A provider that does not tell when it issued is told from when it was asked.
    since = head["forecast"]["issued_at"] or head["forecast"]["fetched_at"]
    if since is None or head["forecast"]["age_h"] is None:
        return made
    issued = datetime.fromisoformat(since)
    # The age is rounded to a hundredth of an hour, so the pass itself is the floor.
    aged = issued.timestamp() + head["forecast"]["age_h"] * 3600
    return made if aged - made.timestamp() < 60 else datetime.fromtimestamp(aged, made.tzinfo)


def edition(head: Mapping[str, Any]) -> str:
    """Another text whenever there is something new to read: moment of the pass and a mark of its notes."""
    return f"{head['made_at']} {crc32(' '.join(head['forecast']['notes']).encode()):08x}"


def write(template: str, answers: Answers, **context: Any) -> bytes:
    """One page as bytes."""
    head = answers["windows"]
    shared = {
        "site": head["site"]["name"],
        "made_at": head["made_at"],
        "edition": edition(head),
        "forecast": head["forecast"],
        "fault": answers["now"]["fault"] if "now" in answers else None,
        "clock": clock(answers),
        "jobs": jobs(answers),
        "reload": True,
    }
    text = environment().get_template(template).render(**(shared | context))
    # Indents go, except in what is to be copied as it stands.
    parts = re.split(r"(<pre.*?</pre>)", text, flags=re.DOTALL)
    return "".join(re.sub(r"\n\s*", "\n", p) if at % 2 == 0 else p for at, p in enumerate(parts)).encode()


def empty(says: str) -> bytes:
    """The page before the first pass, or for an address where nothing is."""
    return environment().get_template("empty.html.j2").render(says=says).encode()


def jobs(answers: Answers) -> list[dict[str, str]]:
    """Every job once, by the name it has in the rules."""
    named = {row["job"]: {"job": row["job"], "label": row["label"]} for row in answers["ribbons"]["ribbons"]}
    return list(named.values())
