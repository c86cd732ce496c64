"""What a caller may send, however it is sent: a body has a longest length, and nothing beyond it is kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException

from planner.service.problems import refusal

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: No diary entry with all its materials comes near this. [bytes]
LONGEST_BODY = 1_000_000


class BodyLimit:
    """Refuses a body that is too long, with 413, before it is read; who asks is looked at only later."""

    def __init__(self, app: ASGIApp, longest: int = LONGEST_BODY) -> None:
        self._app = app
        self._longest = longest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        # Who reads sends no body, and nobody would look at one.
        if scope["type"] != "http" or scope["method"] in ("GET", "HEAD"):
            await self._app(scope, receive, send)
            return
        told = next((value for name, value in scope["headers"] if name == b"content-length"), b"0")
        if told.isdigit() and int(told[:20]) > self._longest:
            await self._refuse(scope, receive, send)
            return
        got = 0

        async def bounded() -> Message:
            nonlocal got
            message = await receive()
            got += len(message.get("body", b""))
            if got > self._longest:
                raise HTTPException(413, self._says, {"Connection": "close"})
            return message

        await self._app(scope, bounded, send)

    @property
    def _says(self) -> str:
        return f"The body is longer than the {self._longest / 1e6:g} MB that are read. Send less."

    async def _refuse(self, scope: Scope, receive: Receive, send: Send) -> None:
        answer = refusal(scope, 413, self._says)
        # What still comes on this line would be read as the next request.
        answer.headers["Connection"] = "close"
        await answer(scope, receive, send)
