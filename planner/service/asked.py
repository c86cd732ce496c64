"""How a read is asked: HEAD as GET without its body, and no parameter that nobody reads."""

from __future__ import annotations

from collections.abc import Callable, Collection, Coroutine, Sequence
from typing import TYPE_CHECKING, Any, get_origin

from fastapi import Request, Response
from fastapi.routing import APIRoute

from planner.errors import InputError, NotKnown

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send


class HeadAsGet:
    """Answers HEAD with the head of what GET would answer (RFC 9110, section 9.3.2)."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self._app(scope, receive, send)
            return
        is_over = False

        async def head_only(message: Message) -> None:
            nonlocal is_over
            if message["type"] == "http.response.start":
                await send(message)
            elif not is_over:
                is_over = True
                await send({"type": "http.response.body", "body": b"", "more_body": False})

        await self._app({**scope, "method": "GET"}, receive, head_only)


class UnknownParameter(NotKnown):
    """A query parameter that the address does not have: the nearest is named."""


class Repeated(InputError):
    """A parameter of one value that is given more than once."""


class StrictRoute(APIRoute):
    """A route, if it is described, that refuses a parameter that nobody reads, or one value given twice.

    Raises UnknownParameter and Repeated. Not a dependency: that would cost a read a fifth of its speed.
    """

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        answer = super().get_route_handler()
        if not self.include_in_schema:
            return answer
        fields = self.dependant.query_params
        known = [field.alias for field in fields]
        lists = {field.alias for field in fields if get_origin(field.field_info.annotation) is list}

        async def strict(request: Request) -> Response:
            if request.scope["query_string"]:
                _refuse(request, known, lists)
            return await answer(request)

        return strict


def _refuse(request: Request, known: Sequence[str], lists: Collection[str]) -> None:
    for name in request.query_params:
        if name not in known:
            raise UnknownParameter("parameter", name, known)
        if name not in lists and len(request.query_params.getlist(name)) > 1:
            raise Repeated(f"{name} is given more than once: give it one value.")


def path_here(scope: Scope) -> str:
    """The path of a request below the prefix, whether the proxy has taken that off or not."""
    path, prefix = str(scope["path"]), str(scope.get("root_path", ""))
    if prefix and (path == prefix or path.startswith(f"{prefix}/")):
        return path[len(prefix) :] or "/"
    return path
