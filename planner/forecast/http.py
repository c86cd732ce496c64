"""One GET to a weather service: conditional, within one budget of time, every fault in words.

The only file that knows the HTTP client; it is loaded when a request is made, not before.
"""

from __future__ import annotations

import errno
import json
import re
import socket
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from functools import cache
from threading import Thread
from typing import TYPE_CHECKING
from urllib.parse import urlsplit, urlunsplit

from planner import __version__
from planner.errors import ForecastError, ForecastMalformed, ForecastUnavailable
from planner.forecast import document
from planner.forecast.base import RawForecast

if TYPE_CHECKING:
    import httpx

MAX_BYTES = 24_000_000
ATTEMPTS = 4
#: Waits between attempts where the service names none: about 0.5, 1 and 2 s, and up to half a second more.
WAIT_S, WAIT_MAX_S, JITTER_S = 0.5, 4.0, 0.5
#: A forecast is asked for again after this, whatever its Expires says: services run several times a day.
LONGEST_KEPT = timedelta(hours=3)
_SECRET = ("apikey", "api_key", "key", "token")


class Refused(ForecastUnavailable):
    """The service answered that it does not serve what was asked, with this status."""

    def __init__(self, says: str, status: int) -> None:
        self.status = status
        super().__init__(says)


@dataclass(slots=True)
class Requests:
    """How often a service may still be asked for one forecast, over all its calls, tries and redirects."""

    left: int = ATTEMPTS


class _Retryable(Exception):
    """A fault that may pass; ends as `fault` when it does not."""

    def __init__(self, fault: ForecastError, *, wait_s: float | None = None) -> None:
        self.fault = fault
        self.wait_s = wait_s
        super().__init__(str(fault))


@cache
def tell_no_attempt() -> None:
    """What asks again would write a line for each attempt; what came of the asking is told once, as a fault."""
    from stamina.instrumentation import set_on_retry_hooks

    set_on_retry_hooks(())


def get(
    url: str,
    *,
    who: str,
    contact: str,
    last: RawForecast | None,
    now: datetime,
    budget_s: float,
    headers: Mapping[str, str] | None = None,
    follow_redirects: bool = False,
    stop_at_429: bool = False,
    attempts: int = ATTEMPTS,
    requests: Requests | None = None,
    max_bytes: int = MAX_BYTES,
) -> RawForecast:
    """The answer to one GET, whole JSON; the last one, with its time renewed, when nothing has changed.

    Asks at most `attempts` times and as often as `requests` allows, which counts on through several calls;
    never beyond `budget_s` seconds. Raises ForecastUnavailable when the service cannot be reached, Refused
    when it refuses, ForecastMalformed when what it sends is not JSON.
    """
    import httpx
    import stamina

    tell_no_attempt()
    if budget_s <= 0:
        raise ForecastUnavailable(f"{who} was not asked: no time was left for it.")
    deadline = time.monotonic() + budget_s
    if last is not None and last.url != without_key(url):
        last = None
    allowed = requests or Requests()
    call = _Call(
        url=url, who=who, last=last, now=now, deadline=deadline, max_bytes=max_bytes, stop_at_429=stop_at_429
    )
    sent = {"User-Agent": user_agent(contact), "Accept": "application/json", **(headers or {})}

    def count(_: httpx.Request) -> None:
        if allowed.left <= 0:
            raise ForecastUnavailable(
                f"{who} sends us on and on: it was asked as often as we ask. Ask again later."
            )
        allowed.left -= 1

    def may_pass(fault: Exception) -> bool | float:
        if not isinstance(fault, _Retryable) or allowed.left <= 0:
            return False
        left_s = deadline - time.monotonic()
        if fault.wait_s is None:
            return left_s > WAIT_S
        return fault.wait_s if fault.wait_s < left_s else False

    def asked() -> RawForecast:
        with httpx.Client(
            follow_redirects=follow_redirects,
            max_redirects=ATTEMPTS,
            headers=sent,
            event_hooks={"request": [count]},
        ) as client:
            for attempt in stamina.retry_context(
                on=may_pass,
                attempts=attempts,
                timeout=budget_s,
                wait_initial=WAIT_S,
                wait_max=WAIT_MAX_S,
                wait_jitter=JITTER_S,
            ):
                with attempt:
                    return call.once(client)
        raise ForecastUnavailable(f"{who} was not asked: no time was left for it.")

    try:
        return within(budget_s, asked, call.late)
    except _Retryable as fault:
        raise fault.fault from None


def within(
    budget_s: float, work: Callable[[], RawForecast], late: Callable[[], ForecastError]
) -> RawForecast:
    """What the work comes to; `late()` is raised when it is not there in time, however slowly bytes drip in.

    The client bounds each wait by itself and not their sum. Work that is late goes on unheeded in a thread that
    ends with its next wait.
    """
    found: Future[RawForecast] = Future()

    def run() -> None:
        try:
            found.set_result(work())
        except BaseException as fault:
            found.set_exception(fault)

    Thread(target=run, daemon=True).start()
    try:
        return found.result(budget_s)
    except TimeoutError:
        if found.done():
            raise
        raise late() from None


def user_agent(contact: str) -> str:
    """Who is asking, in the form the services want: name, version, contact."""
    return f"haysel/{__version__} {contact}".strip()


def without_key(url: str) -> str:
    """The URL without any key in its query, as it may be logged and shown."""
    parts = urlsplit(url)
    kept = [part for part in parts.query.split("&") if part.partition("=")[0].lower() not in _SECRET]
    return urlunsplit((parts.scheme, parts.netloc.rpartition("@")[2], parts.path, "&".join(kept), ""))


@dataclass(slots=True, kw_only=True)
class _Call:
    url: str
    who: str
    last: RawForecast | None
    now: datetime
    deadline: float
    max_bytes: int
    stop_at_429: bool

    def late(self) -> ForecastError:
        """The fault of an answer that is not there in time."""
        return ForecastUnavailable(self._says("did not answer in the time allowed"))

    def once(self, client: httpx.Client) -> RawForecast:
        """One attempt. Raises _Retryable for faults that may pass, a ForecastError for those that do not."""
        import httpx

        left_s = self.deadline - time.monotonic()
        if left_s <= 0:
            raise self.late()
        try:
            with client.stream("GET", self.url, headers=self._conditions(), timeout=left_s) as response:
                return self._read(response, self._body(response))
        except httpx.TimeoutException:
            raise _Retryable(self.late()) from None
        except (httpx.TransportError, httpx.DecodingError) as fault:
            says = self._says(f"could not be reached ({_in_words(fault)})")
            raise _Retryable(ForecastUnavailable(says)) from None
        except httpx.HTTPError as fault:
            raise ForecastUnavailable(
                self._says(f"could not be asked ({type(fault).__name__}: {fault})")
            ) from None

    def _conditions(self) -> dict[str, str]:
        if self.last is None:
            return {}
        known = {"If-None-Match": self.last.etag, "If-Modified-Since": self.last.last_modified}
        # Other signs cannot be sent in a header; without them the answer comes whole.
        return {
            name: value for name, value in known.items() if value and value.isascii() and value.isprintable()
        }

    def _body(self, response: httpx.Response) -> bytes:
        held: list[bytes] = []
        size = 0
        for piece in response.iter_bytes():
            held.append(piece)
            size += len(piece)
            if size > self.max_bytes:
                raise ForecastMalformed(
                    self._says(f"sends more than {self.max_bytes / 1e6:g} MB; the rest was not read")
                )
            if time.monotonic() > self.deadline:
                raise ForecastUnavailable(
                    self._says(f"was still sending, {size} bytes in, when the time was up")
                )
        return b"".join(held)

    def _read(self, response: httpx.Response, body: bytes) -> RawForecast:
        status = response.status_code
        if status == 304:
            return self._unchanged(response)
        if status in (200, 203):
            return self._fresh(response, body)
        if 300 <= status < 400:
            target = urlsplit(response.headers.get("location", "")).netloc or "elsewhere"
            raise ForecastUnavailable(
                self._says(f"sends us on to {target} (status {status}), which was not followed")
            )
        said = _said(response, body)
        if status == 429:
            raise self._throttled(said, response)
        if status >= 500:
            fault = ForecastUnavailable(
                self._says(f"is out of order, status {status}: {said}", then="Ask again later.")
            )
            raise _Retryable(fault, wait_s=_retry_after_s(response, self.now))
        raise Refused(
            self._says(
                f"refused, status {status}: {said}", then="Correct the site or the services in the site file."
            ),
            status,
        )

    def _unchanged(self, response: httpx.Response) -> RawForecast:
        if self.last is None or not self._conditions():
            raise ForecastUnavailable(self._says('says "not modified" though it was asked for everything'))
        etag = response.headers.get("etag")
        if etag and self.last.etag and _weak(etag) != _weak(self.last.etag):
            # The answer that has not changed is not the one we hold: ask for it whole.
            self.last = None
            raise _Retryable(
                ForecastUnavailable(self._says("answered for a copy that is not ours")), wait_s=0.0
            )
        return replace(
            self.last,
            fetched_at=self.now,
            etag=etag or self.last.etag,
            expires=self._expires(response) or self.last.expires,
        )

    def _fresh(self, response: httpx.Response, body: bytes) -> RawForecast:
        try:
            json.loads(body)
        except (ValueError, RecursionError):
            says = self._says(
                f"answered {response.status_code}, but not with whole JSON: {document.looks_like(body)}"
            )
            raise _Retryable(ForecastMalformed(says)) from None
        old = "the service says this version of it is to be withdrawn, or on trial (status 203)"
        return RawForecast(
            raw=body,
            url=without_key(self.url),
            fetched_at=self.now,
            etag=response.headers.get("etag"),
            last_modified=response.headers.get("last-modified"),
            expires=self._expires(response),
            notes=(old,) if response.status_code == 203 else (),
        )

    def _expires(self, response: httpx.Response) -> datetime | None:
        """Until when the service asks not to be asked again, as far as we go along with it."""
        moment = _http_date(response.headers.get("expires"))
        return None if moment is None else min(moment, self.now + LONGEST_KEPT)

    def _throttled(self, said: str, response: httpx.Response) -> Exception:
        wait_s = _retry_after_s(response, self.now)
        text = said.lower()
        until = self.now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        if self.stop_at_429:
            then = "It asks that we stop at once: lengthen the interval between passes."
            return ForecastUnavailable(self._says(f"says we ask too often: {said}", then=then))
        if "daily" in text or "tomorrow" in text:
            until = until.replace(hour=0) + timedelta(days=1)
            then = f"The day's share is used up: nothing more before {until:%Y-%m-%d %H:%M}Z."
            return ForecastUnavailable(self._says(f"refused: {said}", then=then))
        if "hourly" in text or "next hour" in text:
            then = f"The hour's share is used up: nothing more before {until + timedelta(hours=1):%H:%M}Z."
            return ForecastUnavailable(self._says(f"refused: {said}", then=then))
        if wait_s is None and ("minutely" in text or "one minute" in text):
            wait_s = 61.0 - self.now.second
        fault = ForecastUnavailable(self._says(f"refused: {said}", then="Ask again in a minute."))
        return _Retryable(fault, wait_s=wait_s)

    def _says(self, what: str, *, then: str = "Ask again later.") -> str:
        # Without what was asked for: it is long, and says nothing to a keeper.
        return f"{self.who} {what} [{without_key(self.url).partition('?')[0]}]. {then}"


def _in_words(fault: Exception) -> str:
    """Why nobody was reached: in words what a keeper meets, else by the name of the fault."""
    cause: BaseException | None = fault
    while cause is not None:
        if isinstance(cause, socket.gaierror):
            return "its name could not be found: no internet?"
        if isinstance(cause, ConnectionRefusedError):
            return "nobody listens at its address"
        if isinstance(cause, OSError) and cause.errno in (errno.ENETUNREACH, errno.EHOSTUNREACH):
            return "there is no way to it: no internet?"
        cause = cause.__cause__ or cause.__context__
    return f"{type(fault).__name__}: {fault}"


def _said(response: httpx.Response, body: bytes) -> str:
    """What the body of a refusal says: the reason word for word, else what kind of thing it is."""
    kind = response.headers.get("content-type", "").partition(";")[0].strip().lower()
    if "html" not in kind:
        try:
            reason = document.reason_of(json.loads(body))
        except (ValueError, RecursionError):
            reason = None
        if reason is not None:
            return f'"{reason}"'
    if "html" in kind or body.lstrip()[:1] == b"<":
        return "a web page instead of a reason"
    text = body[:200].decode("utf-8", errors="replace").strip()
    return f'"{text}"' if text else "no reason given"


def _retry_after_s(response: httpx.Response, now: datetime) -> float | None:
    """Seconds to wait by the Retry-After header, as seconds or as a date."""
    text = response.headers.get("retry-after", "").strip()
    if re.fullmatch(r"[0-9]{1,9}(\.[0-9]{0,9})?", text):
        return float(text)
    moment = _http_date(text)
    return None if moment is None else max(0.0, (moment - now).total_seconds())


def _http_date(text: str | None) -> datetime | None:
    if not text:
        return None
    try:
        moment = parsedate_to_datetime(text)
    except (TypeError, ValueError):
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _weak(etag: str) -> str:
    return etag.removeprefix("W/")
