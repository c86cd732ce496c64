"""Stored bytes as an HTTP answer: ETag and 304, squeezed where the caller can read that."""

from __future__ import annotations

from fastapi import Request, Response

from planner.page import CONTENT_POLICY, HTML
from planner.service.shelf import Item

#: Below this squeezing is not worth a header.
_WORTH_SQUEEZING = 1400
_PAGE_HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


def send(request: Request, found: Item) -> Response:
    """The bytes, or 304 when the caller has them."""
    asked = request.headers
    headers = {"ETag": found.etag, "Cache-Control": "no-cache", "Vary": "Accept-Encoding"}
    if found.content_type == HTML:
        headers |= _PAGE_HEADERS
    known = asked.get("if-none-match")
    squeezed = len(found.body) > _WORTH_SQUEEZING and "gzip" in asked.get("accept-encoding", "")
    if squeezed:
        headers["ETag"] = f'{found.etag[:-1]}-gz"'
    if known is not None and (known.strip() == "*" or _tags(known) & {found.etag, headers["ETag"]}):
        return Response(status_code=304, headers=headers)
    if squeezed:
        headers["Content-Encoding"] = "gzip"
        return Response(found.squeezed, headers=headers, media_type=found.content_type)
    return Response(found.body, headers=headers, media_type=found.content_type)


def _tags(header: str) -> set[str]:
    return {tag.strip().removeprefix("W/") for tag in header.split(",")}
