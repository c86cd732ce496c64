"""What weather services are known to do wrong, each as the reply of a server.

The list is that of faults reported against the services, or against clients of them, in public issue threads; the
numbers beside them are of open-meteo/open-meteo unless a repository is named.
"""

from __future__ import annotations

import copy
import socket
import struct
import time
from collections.abc import Callable
from datetime import timedelta
from http.server import BaseHTTPRequestHandler
from typing import Any

from .conftest import Reply, reply
from .layouts import BEGINS, HOURS, LAYOUTS, Layout
from .payloads import raw

PAGE = b"<html><head><title>502 Bad Gateway</title></head><body>nginx</body></html>"


def _problem(status: int, title: str, detail: str) -> Reply:
    return reply(
        raw({"title": title, "detail": detail, "status": status}), status, "application/problem+json"
    )


def _refusal(reason: str, status: int = 429, **headers: str) -> Reply:
    return reply(raw({"error": True, "reason": reason}), status, **headers)


def _reset(handler: BaseHTTPRequestHandler) -> None:
    handler.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    handler.connection.close()
    handler.close_connection = True
    raise ConnectionResetError


def _hangs_up(handler: BaseHTTPRequestHandler) -> None:
    handler.send_response(200)
    handler.send_header("Content-Length", "100000")
    handler.end_headers()
    handler.wfile.write(b'{"hourly": ')
    handler.close_connection = True


def _says_nothing(handler: BaseHTTPRequestHandler) -> None:
    time.sleep(2.5)
    handler.close_connection = True


#: What any service may reply, whatever it was asked.
REPLIES: dict[str, Reply] = {
    "500": reply(b"", 500),
    "502 with a web page, 1801 1870": reply(PAGE, 502, "text/html"),
    "503, weather-gov/api 160": _problem(503, "Unavailable Resource", "currently unavailable"),
    "503 for an expired grid, weather-gov/api 29 30 78": _problem(
        503, "Forecast Grid Expired", "Requested forecast grid has expired"
    ),
    "503 until tomorrow": reply(b"", 503, Retry_After="86400"),
    "504": reply(b"timeout", 504, "text/plain"),
    "reset, 1895": _reset,
    "hangs up in the middle": _hangs_up,
    "no answer in time, home-assistant/core 69831": _says_nothing,
    "a web page with 200, manjaro-sway 842": reply(PAGE, 200, "text/html"),
    "nothing with 200": reply(b"", 200),
    "a reason that is no text to show": reply(
        b'{"error":true,"reason":"no\\u0000\\u001b[2J\\ud800\\u202e so"}', 400
    ),
    "a reason without end": reply(b'{"error":true,"reason":"' + b"n" * 3_000_000 + b'"}', 400),
    "nothing with 204": reply(b"", 204),
    "no gzip, called gzip": reply(b"\x1f\x8bno", Content_Encoding="gzip"),
    "null": reply(b"null"),
    "an empty list": reply(b"[]"),
    "an empty object": reply(b"{}"),
    "a number": reply(b"3"),
    "bytes of no text": reply(b"\xff\xfe\x00\x01"),
    "brackets without end": reply(b"[" * 100_000),
    "more than is read": reply(b'"' + b"x" * 24_500_000 + b'"'),
    "429 of the minute, 439": _refusal(
        "Minutely API request limit exceeded. Please try again in one minute."
    ),
    "429 of the hour": _refusal("Hourly API request limit exceeded. Please try again in the next hour."),
    "429 of the day, 1847": _refusal("Daily API request limit exceeded. Please try again tomorrow."),
    "429 of too many at once, 1493": _refusal("Too many concurrent requests"),
    "429 without a word": reply(b"", 429),
    "429 for an hour": reply(b"", 429, Retry_After="3600"),
    "400 for a name that changed, 920": _refusal(
        "Data corrupted at path ''. Cannot initialize windspeed.", 400
    ),
    "401": reply(b"", 401),
    "403, Danielhiversen/home_assistant_weather_data 35": reply(PAGE, 403, "text/html"),
    "404 of a version withdrawn": reply(PAGE, 404, "text/html"),
    "404 of a cell at sea, netbymatt/ws4kp 230": _problem(404, "Not Found", "Marine Forecast Not Supported"),
    "410": reply(b"", 410),
    "422, home-assistant/core 120835": reply(raw({"detail": [{"msg": "Field required"}]}), 422),
    "451": reply(b"", 451),
    "sent on in a ring": reply(b"", 307, Location="/ring"),
    "sent on to nowhere": reply(b"", 301, Location="http://127.0.0.1:9/"),
    "sent on without a place": reply(b"", 302),
    "not modified, though nothing was held": reply(b"", 304),
}


def _cut(layout: Layout) -> bytes:
    return raw(layout.whole())[:-40] + b"Unexpected error while streaming data: timeout"


def _all(layout: Layout, figure: Any) -> dict[str, Any]:
    answer = layout.whole()
    for quantity in layout.names:
        layout.put(answer, quantity, range(HOURS + 1), figure)
    return answer


def _place(layout: Layout, north: float, east: float) -> dict[str, Any]:
    answer = layout.whole()
    layout.moved(answer, north, east)
    return answer


def _height(layout: Layout, height_m: float) -> dict[str, Any]:
    answer = layout.whole()
    layout.raised(answer, height_m)
    return answer


def _only(layout: Layout, hours: int) -> dict[str, Any]:
    """Figures for this many hours from the first, then nothing."""
    answer = layout.whole()
    for quantity in layout.names:
        layout.put(answer, quantity, range(hours, HOURS + 1), None)
    return answer


#: Answers with status 200 that are no forecast to work with.
UNUSABLE: dict[str, Callable[[Layout], Any]] = {
    "cut short, with status 200": _cut,
    "hours of last week": lambda one: one.whole(BEGINS - timedelta(days=7)),
    "hours from tomorrow on": lambda one: one.whole(BEGINS + timedelta(days=1)),
    "hours of 1970": lambda one: one.whole(BEGINS.replace(year=1970)),
    "not one hour": lambda one: _only(one, 0),
    "the hours gone by alone, 1905": lambda one: _only(one, 8),
    "no temperature at all": lambda one: one.drop(one.whole(), "temperature"),
    "no rain at all, 727": lambda one: one.drop(one.whole(), "rain"),
    "no wind at all, 736": lambda one: one.drop(one.whole(), "wind"),
    "all zero": lambda one: _all(one, 0.0),
    "all the same": lambda one: _all(one, 7.0),
    "filled with the least whole number, 330": lambda one: one.put(
        one.whole(), "temperature", range(HOURS + 1), -3276.8
    ),
    "words for figures": lambda one: one.put(one.whole(), "temperature", range(HOURS), "mild"),
    "another place": lambda one: _place(one, -33.87, 151.21),
    "another height, 1155": lambda one: _height(one, 3500.0),
}


def spoilt(layout: Layout) -> dict[str, tuple[dict[str, Any], str, range]]:
    """Answers to take with a part unknown: the answer, the quantity and the hours that must be unknown."""
    last = HOURS - 1
    return {
        "the last three hours null, 71": (_only(layout, HOURS - 3), "temperature", range(HOURS - 3, HOURS)),
        "the end null, 173 1806": (_only(layout, 60), "temperature", range(60, HOURS)),
        "rain dry where there is no temperature, 506": (
            layout.put(layout.whole(), "temperature", range(60, HOURS + 1), None),
            "rain",
            range(60, last),
        ),
        "the first hours null, 1905": (
            layout.put(layout.whole(), "wind", range(5), None),
            "wind",
            range(5 - (layout is LAYOUTS["bright-sky"])),
        ),
        "one hour null, 33": (layout.put(layout.whole(), "humidity", [40], None), "humidity", range(40, 41)),
        "a day null, 2122": (
            layout.put(layout.whole(), "temperature", range(48, 72), None),
            "temperature",
            range(48, 72),
        ),
        "rain of -3276.8 mm, 330": (layout.put(layout.whole(), "rain", [50], -3276.8), "rain", range(50, 51)),
        "1048 mph of wind": (
            layout.put(layout.whole(), "wind", [40], 1048.0 * 1.609),
            "wind",
            range(40 - (layout is LAYOUTS["bright-sky"]), 41 - (layout is LAYOUTS["bright-sky"])),
        ),
        "a lone degree of 45": (
            layout.put(layout.whole(), "temperature", [40], 45.0),
            "temperature",
            range(40, 41),
        ),
    }


def old_copy(layout: Layout) -> dict[str, Any]:
    """What was sent three days and a half ago and reaches to now, weather-gov/api 71."""
    return copy.deepcopy(layout.whole(BEGINS - timedelta(hours=84), HOURS + 84))
