"""Server-sent events: one when a pass lands, so that an open page can fetch itself anew."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import StreamingResponse

from planner.page import edition
from planner.service.problems import problem
from planner.service.shelf import Shelf

#: A comment is sent this often, so that nothing between takes the line for dead.
BREATH_S = 15.0
#: After a break the browser tries again after this long.
RETRY_MS = 5000
#: Open lines at a time; a site has a handful of screens.
MOST_OPEN = 64

_STREAM: dict[int | str, dict[str, Any]] = {200: {"content": {"text/event-stream": {}}}}


def events(shelf: Shelf, *, breath_s: float = BREATH_S) -> APIRouter:
    """The route of the events."""
    router = APIRouter(prefix="/api/v1", tags=["reads"])
    lines: set[int] = set()

    @router.get("/events", summary="Server-sent events: `pass` when a pass lands", responses=_STREAM)
    async def stream() -> Response:
        if len(lines) >= MOST_OPEN:
            return problem(503, f"{MOST_OPEN} pages listen already. Close some, or read without.", "TooMany")
        return StreamingResponse(
            _told(shelf, lines, breath_s),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-cache", "X-Accel-Buffering": "no"},
        )

    return router


async def _told(shelf: Shelf, lines: set[int], breath_s: float) -> AsyncIterator[str]:
    loop, news = asyncio.get_running_loop(), asyncio.Event()
    stop = shelf.listen(lambda: loop.call_soon_threadsafe(news.set))
    key = id(news)
    lines.add(key)
    try:
        yield f"retry: {RETRY_MS}\n\n"
        # The first one tells what there is now, for a page that was opened before a break.
        news.set()
        while True:
            try:
                await asyncio.wait_for(news.wait(), breath_s)
            except TimeoutError:
                yield ": still here\n\n"
                continue
            news.clear()
            if shelf.made_at is not None:
                yield f"event: pass\ndata: {edition(shelf.parsed('windows'))}\n\n"
    finally:
        lines.discard(key)
        stop()
