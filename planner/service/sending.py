"""Stored bytes as an HTTP answer: ETag and 304, squeezed where the caller can read that."""

from __future__ import annotations

from collections.abc import Iterable

from fastapi import Request, Response

from planner.page import CONTENT_POLICY, HTML
from planner.service.shelf import Item

#: Below this squeezing is not worth a header.
_WORTH_SQUEEZING = 1400
_PAGE_HEADERS = [
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
]

Heads = list[tuple[bytes, bytes]]


class Stored(Response):
    """A response whose head is ready made: an answer is sent as it lies, thousands of times a pass."""

    def __init__(self, body: bytes, status: int, heads: Heads) -> None:
        self.status_code = status
        self.body = body
        self.background = None
        self.raw_headers = heads


def send(request: Request, found: Item) -> Response:
    """The bytes, or 304 when the caller has them."""
    return sent(request.scope["headers"], found)


def sent(asked: Iterable[tuple[bytes, bytes]], found: Item) -> Response:
    """As `send`, from the head of a request as it came."""
    known, can_read_gzip = None, False
    for name, value in asked:
        if name == b"if-none-match":
            known = value
        elif name == b"accept-encoding":
            can_read_gzip = b"gzip" in value
    squeezed = can_read_gzip and len(found.body) > _WORTH_SQUEEZING
    if known is not None and _has(known.decode("latin-1"), found.etag):
        return Stored(b"", 304, _common(found, squeezed))
    ready = found.ready.get(squeezed)
    if ready is None:
        body = found.squeezed if squeezed else found.body
        heads = [*_common(found, squeezed), (b"content-length", str(len(body)).encode())]
        heads.append((b"content-type", found.content_type.encode()))
        if squeezed:
            heads.append((b"content-encoding", b"gzip"))
        if found.content_type == HTML:
            heads += _PAGE_HEADERS
        ready = found.ready[squeezed] = (body, heads)
    return Stored(ready[0], 200, list(ready[1]))


def _common(found: Item, squeezed: bool) -> Heads:
    """What the whole answer and its 304 both tell."""
    tag = _tag(found.etag, squeezed).encode()
    return [(b"etag", tag), (b"cache-control", b"no-cache"), (b"vary", b"Accept-Encoding")]


def _tag(etag: str, squeezed: bool) -> str:
    """Other bytes have another tag."""
    return f'{etag[:-1]}-gz"' if squeezed else etag


def _has(header: str, etag: str) -> bool:
    """Whether the caller holds this answer, in whichever form it was sent."""
    if header.strip() == "*":
        return True
    tags = {tag.strip().removeprefix("W/") for tag in header.split(",")}
    return not tags.isdisjoint((etag, _tag(etag, True)))
