"""A browser that has sent the token once, remembered by a cookie that says so and is not the token."""

from __future__ import annotations

import hmac
from datetime import timedelta

from fastapi import Request, Response

#: Name of the cookie, and how long it lasts since the browser last wrote.
COOKIE = "haysel_writer"
LASTS = timedelta(days=180)


def _mark(token: str) -> str:
    """What stands in the cookie: another token, another mark, and no way back from one to the other."""
    return hmac.new(token.encode(), b"haysel writer", "sha256").hexdigest()


def is_known(request: Request, token: str) -> bool:
    """Whether the browser has sent this very token before; never where no token is set."""
    sent = request.cookies.get(COOKIE, "")
    return bool(token) and hmac.compare_digest(sent.encode(), _mark(token).encode())


def remember(request: Request, answer: Response, token: str) -> None:
    """Have the browser known from now on: out of reach of scripts, and sent from our own pages only."""
    answer.set_cookie(
        COOKIE,
        _mark(token),
        max_age=int(LASTS.total_seconds()),
        path=request.scope.get("root_path") or "/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="strict",
    )


def forget(request: Request, answer: Response) -> None:
    """Have the browser ask for the token again."""
    answer.delete_cookie(COOKIE, path=request.scope.get("root_path") or "/", httponly=True, samesite="strict")
