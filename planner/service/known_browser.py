"""A browser that has sent the token once, remembered by a cookie that says so and is not the token."""

from __future__ import annotations

import hmac
from datetime import UTC, datetime, timedelta

from fastapi import Request, Response

#: Name of the cookie, and how long it lasts since the browser last wrote.
COOKIE = "haysel_writer"
LASTS = timedelta(days=180)


def _mark(token: str, day: str) -> str:
    """What stands in the cookie: another token, another mark, and no way back from one to the other."""
    sign = hmac.new(token.encode(), f"haysel writer since {day}".encode(), "sha256").hexdigest()
    return f"{day}.{sign}"


def is_known(request: Request, token: str, now: datetime) -> bool:
    """Whether the browser has sent this very token lately, and the request comes from a page of ours.

    Never where no token is set.
    """
    sent = request.cookies.get(COOKIE, "")
    day, _, _ = sent.partition(".")
    if not token or not hmac.compare_digest(sent.encode(), _mark(token, day).encode()):
        return False
    # The day is ours, since its sign is.
    since = datetime.fromisoformat(day).replace(tzinfo=UTC)
    return now - since <= LASTS and _is_from_here(request)


def _is_from_here(request: Request) -> bool:
    """Whether no page of another origin sent it: another port of this host is another origin, and gets the cookie."""
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = request.headers.get("origin")
    return origin is None or origin == f"{request.url.scheme}://{request.url.netloc}"


def remember(request: Request, answer: Response, token: str, now: datetime) -> None:
    """Have the browser known from now on: out of reach of scripts, and sent from our own pages only."""
    answer.set_cookie(
        COOKIE,
        _mark(token, now.astimezone(UTC).date().isoformat()),
        max_age=int(LASTS.total_seconds()),
        path=request.scope.get("root_path") or "/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="strict",
    )


def forget(request: Request, answer: Response) -> None:
    """Have the browser ask for the token again."""
    answer.delete_cookie(COOKIE, path=request.scope.get("root_path") or "/", httponly=True, samesite="strict")
