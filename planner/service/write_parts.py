"""What the writing routes share: their headers and parameters."""

from __future__ import annotations

import re
from typing import Annotated, Any

from fastapi import Header, Query, Request
from pydantic import BaseModel

from planner.service.problems import as_problem
from planner.terms import LONGEST_NAME, LONGEST_REASON, PLAIN_TEXT, day_schema

JSON = "application/json"


def body_of(form: type[BaseModel], *, whole: bool = True) -> dict[str, Any]:
    """The body as the description of the service has it: the action that takes it reads it, and says more of what
    is wrong. Not `whole`: of an entry some fields.
    """
    schema = form.model_json_schema()
    parts = schema.pop("$defs", {})
    if not whole:
        del schema["required"]
    # Parts stand where they are used: an address within the schema would be read as one within the document.
    found = _with_parts(schema, parts)
    return {"requestBody": {"content": {JSON: {"schema": found}}, "required": True}}


def _with_parts(schema: Any, parts: dict[str, Any]) -> Any:
    if isinstance(schema, dict):
        if "$ref" in schema:
            return _with_parts(parts[schema["$ref"].rpartition("/")[2]], parts)
        return {name: _with_parts(part, parts) for name, part in schema.items()}
    return [_with_parts(part, parts) for part in schema] if isinstance(schema, list) else schema


Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        description="A UUID; the same write sent again under it is done once.",
        # The null that the type brings would be sent as the word.
        json_schema_extra={"anyOf": [{"type": "string", "format": "uuid"}]},
    ),
]
Name = Annotated[str | None, Query(pattern=PLAIN_TEXT, max_length=LONGEST_NAME)]
Day = Annotated[
    str | None,
    Query(
        max_length=LONGEST_NAME,
        description="today, yesterday, a weekday (the last one) or a date.",
        json_schema_extra=day_schema("today", "yesterday"),
    ),
]
Why = Annotated[
    str,
    Query(
        max_length=LONGEST_REASON,
        pattern=r"^[^\x00-\x1f\x7f]*[!-~][^\x00-\x1f\x7f]*$",
        description="Why it is withdrawn, in words.",
    ),
]

_SAYS = {
    400: "Something that cannot be used; the detail says what and why",
    401: "No token, or another",
    403: "Nothing can be written: the service has no token",
    404: "No such entry, job, surface or material; the known ones are listed",
    405: "Only what Allow names",
    409: "It goes against itself, the site's files or the record: the same key sent with another text, an entry "
    "that is withdrawn, work still to come",
    412: "The entry has changed since the ETag sent in If-Match",
    413: "The body is too long",
    422: "A field is missing or of the wrong sort",
    429: "Too many reads, writes or wrong tokens from this address; Retry-After says when again",
    503: "The store or the forecast is not there now",
}


def revision_meant(request: Request) -> int | None:
    """The revision that If-Match names (RFC 9110, section 13.1.1); None where it is left out or `*`.

    Not among the parameters that are described: a tag that somebody made up can only be refused.
    """
    sent = request.headers.get("if-match", "").strip()
    if sent in ("", "*"):
        return None
    found = _ENTRY_TAG.fullmatch(sent)
    return int(found[1]) if found else _NO_REVISION


#: The ETag of an entry is its revision.
_ENTRY_TAG = re.compile(r'"revision-(\d{1,9})"')
_NO_REVISION = 0


def entry_tag(revision: int) -> str:
    """The ETag of an entry."""
    return f'"revision-{revision}"'


def may_refuse(*codes: int) -> dict[int | str, dict[str, Any]]:
    """What such a route may answer beside its own, for the description of the service."""
    return {code: as_problem(_SAYS[code]) for code in sorted({400, 404, 405, 422, 429, 503, *codes})}


WRITE_REFUSALS = may_refuse(401, 403, 409, 413)
CHANGE_REFUSALS = may_refuse(401, 403, 409, 412, 413)
READ_REFUSALS = may_refuse(401) | {304: {"description": "Not changed since the ETag sent in If-None-Match"}}
