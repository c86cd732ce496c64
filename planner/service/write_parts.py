"""What the writing routes share: their headers and parameters."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Header, Query

from planner.service.asked import day_schema
from planner.service.problems import as_problem

Key = Annotated[
    str | None,
    Header(alias="Idempotency-Key", description="A UUID; the same write sent again under it is done once."),
]
Day = Annotated[
    str | None,
    Query(
        description="today, yesterday, a weekday (the last one) or a date.",
        json_schema_extra=day_schema("today", "yesterday"),
    ),
]
Why = Annotated[
    str,
    Query(
        max_length=2000,
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
    409: "The same key was sent with another text, or it is withdrawn already",
    422: "A field is missing or of the wrong sort",
    503: "The store or the forecast is not there now",
}


def may_refuse(*codes: int) -> dict[int | str, dict[str, Any]]:
    """What such a route may answer beside its own, for the description of the service."""
    return {code: as_problem(_SAYS[code]) for code in sorted({400, 404, 405, 422, 503, *codes})}


WRITE_REFUSALS = may_refuse(401, 403, 409)
READ_REFUSALS = may_refuse(401) | {304: {"description": "Not changed since the ETag sent in If-None-Match"}}
