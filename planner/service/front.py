"""The short way: a plain read of a stored answer is sent before any route is looked for.

Routes check and convert parameters, which costs more than sending the bytes. A read without a query has none,
so it goes straight from the shelf; all else takes the way through the routes, which answer the same.
"""

from __future__ import annotations

from starlette.types import ASGIApp, Receive, Scope, Send

from planner.errors import NoPassYet
from planner.service.sending import sent
from planner.service.shelf import Shelf

#: Address -> what lies on the shelf under it.
STORED = {
    "/": "page",
    "/sheet": "page/sheet",
    "/calendar.ics": "calendar.ics",
    **{
        f"/api/v1/{name}": name
        for name in ("days", "windows", "warnings", "hours", "now", "ribbons", "ground", "due", "week")
    },
}


class Front:
    """Answers plain reads from the shelf and hands everything else on."""

    def __init__(self, app: ASGIApp, shelf: Shelf) -> None:
        self._app = app
        self._shelf = shelf

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "http" and scope["method"] == "GET" and not scope["query_string"]:
            name = STORED.get(scope["path"])
            if name is not None:
                try:
                    found = self._shelf.get(name)
                except NoPassYet:
                    # The route tells what is missing.
                    pass
                else:
                    await sent(scope["headers"], found)(scope, receive, send)
                    return
        await self._app(scope, receive, send)
