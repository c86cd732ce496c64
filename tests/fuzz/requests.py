"""Requests made up from a seed: of every route and of none, with parts that are right, nearly right and absurd."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from urllib.parse import quote, quote_from_bytes, urlencode

TOKEN = "long enough to be a secret"
PAGES = (
    *("/", "/ground", "/sheet", "/day/2026-05-09", "/day/tomorrow", "/job/foliar_feed", "/job/mow_green"),
    *("/help", "/tank", "/diary", "/diary/reading", "/diary/leave", "/docs", "/openapi.json", "/health"),
    *("/metrics", "/calendar.ics"),
)
READS = tuple(
    f"/api/v1/{name}"
    for name in (
        *("now", "days", "windows", "warnings", "week", "due", "ground", "ribbons", "explain", "hours"),
        *("mix", "materials", "outbox", "diary", "diary/sheet", "observations", "events"),
    )
)
NAMED = ("/api/v1/diary/{}", "/api/v1/observations/{}", "/day/{}", "/job/{}")
ELSEWHERE = (
    "/sites/north/",
    "/api/v1/sites",
    "/api/v1/sites/now",
    "/static/x",
    "/api",
    "/favicon.ico",
    "/.env",
    "*",
)
GOOD: dict[str, tuple[str, ...]] = {
    "job": ("foliar_feed", "mow_green", "spraying", "rolling", "mowing", "overseed"),
    "surface": ("green", "collar", "east bank", "apron strip", "mat tees"),
    "day": ("today", "tomorrow", "sat", "2026-05-09"),
    "at": ("2026-05-09T10:00", "2026-05-09T10:00+01:00", "04:00"),
    "time": ("13:00", "tomorrow 07:30", "2026-05-08T09:00:00+01:00"),
    "since": ("yesterday", "2026-05-01", "mon"),
    "until": ("today", "2026-05-06"),
    "format": ("json", "csv"),
    "withdrawn": ("true", "false", "1"),
    "mine": ("true", "0"),
    "all": ("1",),
    "alarm": ("30", "0", "10080"),
    "kind": ("spraying", "warning"),
    "material": ("foliar 10-0-4", "wetting agent"),
    "kit": ("barrow sprayer",),
    "litres": ("20", "16,3"),
    "kg": ("5",),
    "rate": ("10",),
    "rate_per_ha": ("10",),
    "product": ("Green Plus",),
    "reason": ("twice", "wet"),
    "written": ("x",),
    "kept": ("x",),
}
#: What each address is usually asked; for a write why it is made.
ASKED: dict[str, tuple[str, ...]] = {
    "/": ("day", "at"),
    "/tank": ("job", "surface", "material", "kit", "litres", "product", "rate"),
    "/diary": ("written", "kept", "job", "surface"),
    "/calendar.ics": ("job", "surface", "kind", "all", "alarm"),
    "/api/v1/days": ("surface",),
    "/api/v1/windows": ("job", "surface", "day", "mine"),
    "/api/v1/ribbons": ("job", "surface"),
    "/api/v1/explain": ("job", "time", "surface"),
    "/api/v1/hours": ("format",),
    "/api/v1/mix": ("job", "surface", "material", "kit", "litres", "kg", "product", "rate_per_ha"),
    "/api/v1/diary": ("since", "until", "job", "surface", "withdrawn", "format"),
    "/api/v1/diary/sheet": ("since", "until", "surface"),
    "/api/v1/observations": ("since", "until", "surface", "withdrawn"),
}
ODD = (
    *(
        "",
        " ",
        "0",
        "-1",
        "1e999",
        "NaN",
        "Infinity",
        "9" * 400,
        "null",
        "true",
        "\0",
        "a\0b",
        "\x1b[31m",
        "\x7f",
    ),
    *(
        "ä",
        "日本語",
        "🌱" * 50,
        "\u202e\u200b",
        "\ufffe",
        "a" * 199,
        "a" * 201,
        "a" * 5000,
        "../" * 20,
        "%",
        "%00",
    ),
    *(
        "'; DROP TABLE entries; --",
        "<script>alert(1)</script>",
        "{{7*7}}",
        "${x}",
        "=1+1",
        "\r\nX: y",
        "a&b=c",
    ),
    *(
        "0001-01-01",
        "9999-12-31",
        "2026-02-30",
        "2026-05-09T25:00",
        "24:00",
        "2026-10-25T02:30",
        "-0001-01-01",
    ),
    *(
        "1899-12-31",
        "3000-01-01T00:00:00Z",
        "2026-05-09T10:00:60Z",
        "2026-05-09T10:00+99:99",
        "99:99",
        "yesterday",
    ),
    *("00000000-0000-0000-0000-000000000000", "1,000", "1,5", "½", "٣", "0x10", "1_000", "--", "[]", "{}"),
)
ODD_BYTES = (b"\xff\xfe", b"\x80", b"\xc0\xaf", b"\xed\xa0\x80", b"\x00", b"%", b"\xf0\x9f\x8c\xb1")
HOSTS = (
    *(
        "localhost",
        "127.0.0.1:8480",
        "[::1]",
        "evil.example.com",
        "",
        "a b",
        "[::1",
        "localhost:99999",
        "a" * 300,
    ),
    *("localhost, evil.com", "user@localhost", "http://localhost", "\xe4", "turf.lan", "..", "localhost:"),
)
METHODS = ("GET",) * 26 + ("POST",) * 5 + ("PUT", "PATCH", "DELETE", "HEAD", "HEAD", "OPTIONS")
ODD_METHODS = ("TRACE", "CONNECT", "PROPFIND", "get", "POST POST", "", "MKCOL", "SEARCH")
MOW = {"job": "mow_green", "surface": "green", "started": "04:00", "finished": "05:00"}
SPRAY = {
    "job": "foliar_feed",
    "surface": "green",
    "finished": "yesterday 07:30",
    "water_l": 20,
    "notes": "wet",
    "materials": [{"name": "foliar 10-0-4", "amount": 0.5, "unit": "L"}],
    "measured": {"wind_2m_kmh": 8},
}
WATER = {"surface": "green", "water_mm": 4, "at": "04:00", "note": "x"}
AIR = {"wind_2m_kmh": 9, "air_temp_c": 12, "job": "foliar_feed", "surface": "green"}


@dataclass(frozen=True, slots=True)
class Asked:
    """One request as it goes over the line."""

    head: bytes
    body: bytes = b""
    method: str = "GET"
    breaks_off: bool = False
    """Whether the line is closed before all of it was sent."""
    ids: Sequence[str] = field(default=(), compare=False)

    @property
    def sent(self) -> bytes:
        """All of it, or what of it is sent."""
        whole = self.head + self.body
        return whole[: max(1, len(whole) * 2 // 3)] if self.breaks_off else whole


class Maker:
    """Makes the request of a number: the same for the same seed and number, but for ids of entries that are there."""

    def __init__(self, seed: int, ids: Sequence[str] = ()) -> None:
        self._seed = seed
        self._ids = ids

    def request(self, number: int) -> Asked:
        """The request of that number."""
        dice = random.Random(f"{self._seed}/{number}")
        method = dice.choice(ODD_METHODS) if dice.random() < 0.02 else dice.choice(METHODS)
        path = self._path(dice, method)
        headers, body = self._body(dice, method, path)
        headers = [*self._host(dice), *headers, *self._headers(dice, method)]
        if dice.random() < 0.9:
            dice.shuffle(headers)
        address = path + self._query(dice, method, path)
        version = "1.1" if dice.random() < 0.98 else dice.choice(("1.0", "0.9", "2.0", "9", "1.10"))
        head = (
            f"{method} ".encode() + address.encode("utf-8", "surrogatepass") + f" HTTP/{version}\r\n".encode()
        )
        lines = b"".join(
            name.encode("latin-1", "replace") + b": " + value + b"\r\n" for name, value in headers
        )
        return Asked(head + lines + b"\r\n", body, method, breaks_off=dice.random() < 0.01)

    def _path(self, dice: random.Random, method: str) -> str:
        kind = dice.random()
        if kind < (0.8 if method in ("PUT", "PATCH", "DELETE") else 0.15):
            form, filler = (
                dice.choice(NAMED),
                dice.choice(self._ids) if self._ids and dice.random() < 0.7 else None,
            )
            path = form.format(quote(_odd(dice), safe="") if filler is None else filler)
        elif dice.random() < 0.06:
            path = dice.choice(ELSEWHERE)
        elif method in ("POST", "PUT", "PATCH", "DELETE") and dice.random() < 0.9:
            path = dice.choice(
                ("/api/v1/diary", "/api/v1/observations", "/diary", "/diary/reading", "/diary/leave")
            )
        else:
            path = dice.choice(READS if dice.random() < 0.6 else PAGES)
        if dice.random() < 0.06:
            spoil: Callable[[str], str] = dice.choice(
                (
                    lambda text: text + "/",
                    lambda text: "/" + text,
                    lambda text: text.replace("/", "//"),
                    lambda text: text + "/" + quote(_odd(dice), safe=""),
                    lambda text: text + quote_from_bytes(dice.choice(ODD_BYTES), safe=""),
                    lambda text: text.replace("a", "%61", 1),
                    lambda text: text[:-1] + "%",
                    lambda text: text.upper(),
                    lambda text: "/turf" + text,
                    lambda text: text + ";x=1",
                    lambda text: "http://localhost" + text,
                    lambda text: text[1:],
                    lambda text: text + "#" + text,
                    lambda text: text + "/" + "a" * dice.choice((1000, 31_000, 40_000)),
                    lambda text: text + "\xe4",
                )
            )
            path = spoil(path)
        return path

    def _query(self, dice: random.Random, method: str, path: str) -> str:
        is_read = method in ("GET", "HEAD")
        if dice.random() < (0.4 if path in ASKED and is_read else 0.9 if method == "POST" else 0.5):
            return ""
        if dice.random() < 0.04:
            return "?" + dice.choice(
                ("&&", "=", "%zz", "a" * 33_000, "&".join(["job=x"] * 3000), ";;", "?", "%00=%00")
            )
        usual = ASKED.get(path, ("withdrawn",)) if is_read else ("reason",)
        pairs = [("job", "foliar_feed")] if path == "/api/v1/mix" else []
        for _ in range(dice.choice((1, 1, 1, 2, 2, 3, 6))):
            name = dice.choice(usual) if dice.random() < 0.9 else dice.choice((*GOOD, _odd(dice)[:50]))
            value = dice.choice(GOOD.get(name, ODD)) if dice.random() < 0.7 else _odd(dice)
            pairs.append((name, value))
        text = urlencode(dict(pairs) if dice.random() < 0.95 else pairs, errors="replace")
        return "?" + (
            text + quote_from_bytes(dice.choice(ODD_BYTES), safe="") if dice.random() < 0.05 else text
        )

    def _host(self, dice: random.Random) -> list[tuple[str, bytes]]:
        if dice.random() < 0.95:
            return [("Host", b"localhost")]
        times = dice.choice((0, 1, 1, 1, 1, 2))
        return [("Host", dice.choice(HOSTS).encode("latin-1", "replace")) for _ in range(times)]

    def _headers(self, dice: random.Random, method: str) -> list[tuple[str, bytes]]:
        found: list[tuple[str, bytes]] = []
        if method not in ("GET", "HEAD") or dice.random() < 0.2:
            if dice.random() < 0.75:
                found.append(("Authorization", f"Bearer {TOKEN}".encode()))
            elif dice.random() < 0.7:
                odd = _odd(dice)[:200].replace("\r", "").replace("\n", "")
                sort = dice.choice(("Bearer ", "bearer", "Basic ", ""))
                found.append(("Authorization", (sort + odd).encode("utf-8", "replace")))
        odd_values = (
            ("Accept", ("text/html", "*/*", "application/json;q=0", "\xff", "text/html" * 300)),
            ("Accept-Encoding", ("gzip", "identity", "gzip;q=0", "br, gzip", "*")),
            ("If-None-Match", ("*", '"x"', 'W/"x"', '"' * 500, ",".join(['"a"'] * 900), "\xff")),
            (
                "If-Match",
                ("*", '"revision-1"', '"revision-2"', '"revision-999999999999"', "revision-1", '"', "\xff"),
            ),
            ("If-Modified-Since", ("Thu, 07 May 2026 05:00:00 GMT", "never")),
            ("Range", ("bytes=0-10", "bytes=-1", "bytes=9-1", "x=1", "bytes=" + "0-1," * 500)),
            (
                "Idempotency-Key",
                ("x", f"00000000-0000-4000-8000-{dice.randrange(60):012d}", "\xff", "a" * 3000),
            ),
            ("Origin", ("https://hub.lan", "null", "http://localhost", "\xe4")),
            ("Sec-Fetch-Site", ("cross-site", "same-origin", "x")),
            (
                "Cookie",
                (
                    "haysel_writer=x",
                    "haysel_writer=2026-05-07.00",
                    "haysel_writer=\xff.x",
                    "a=" + "b" * 4000,
                    ";;=",
                ),
            ),
            (
                "X-Forwarded-For",
                ("192.0.2.1", "", "a" * 500, "::1, x", "1.2.3.4:99999999999", "[::1", "\xff"),
            ),
            ("X-Forwarded-Proto", ("https", "x", "")),
            ("X-Forwarded-Prefix", ("/turf", "/../x", "//x", "\xff", "/" + "a" * 3000)),
            ("X-Forwarded-Host", ("localhost", "evil.com", "", "\xff", "localhost,localhost")),
            ("Forwarded", ("for=1.2.3.4;host=x",)),
            ("Expect", ("100-continue", "x")),
            ("Connection", ("close", "keep-alive", "upgrade", "close, close")),
            ("Upgrade", ("websocket", "h2c")),
            ("TE", ("trailers",)),
            ("Content-Encoding", ("gzip",)),
            ("X-\x7f", ("x",)),
            ("X-Long", ("a" * 30_000, "a" * 70_000)),
            ("Last-Event-ID", ("1", "\xff")),
            ("Access-Control-Request-Method", ("POST", "X")),
        )
        while dice.random() < 0.35:
            name, values = dice.choice(odd_values)
            found.append((name, dice.choice(values).encode("latin-1", "replace")))
        if dice.random() < 0.003:
            found += [(f"X-{number}", b"y") for number in range(200)]
        return found

    def _body(self, dice: random.Random, method: str, path: str) -> tuple[list[tuple[str, bytes]], bytes]:
        if dice.random() < (0.97 if method in ("GET", "HEAD") else 0.12):
            return [], b""
        is_form = path.startswith("/diary")
        if is_form if dice.random() < 0.9 else not is_form:
            kind, body = "application/x-www-form-urlencoded", _form(dice)
        else:
            kind, body = "application/json", _json(dice, path)
        if dice.random() < 0.06:
            body = dice.choice(
                (b"", b"\xff\xfe\x00", b"{" * 50_000, b"[" * 100_000, b"x" * 1_100_000, b"\0" * 70_000)
            )
        if dice.random() < 0.05:
            kind = dice.choice(
                ("text/plain", "multipart/form-data; boundary=x", "", "application/xml", "x/" + "y" * 99)
            )
        headers = [("Content-Type", kind.encode())] if kind else []
        if dice.random() < 0.15:
            step = dice.choice((1, 7, 1000, 65_536)) if len(body) < 3000 else 65_536
            parts = [body[at : at + step] for at in range(0, len(body), step)]
            body = b"".join(b"%x\r\n" % len(part) + part + b"\r\n" for part in parts) + b"0\r\n\r\n"
            return [*headers, ("Transfer-Encoding", b"chunked")], body
        if dice.random() < 0.02:
            odd_lengths = (b"-1", b"x", b"1e3", b"0", b"00%d" % len(body), b"+5", b"9" * 30)
            return [*headers, ("Content-Length", dice.choice(odd_lengths))], body
        return [*headers, ("Content-Length", b"%d" % len(body))], body


def _odd(dice: random.Random) -> str:
    if dice.random() < 0.8:
        return dice.choice(ODD)
    return "".join(
        chr(dice.choice((dice.randrange(32, 127), dice.randrange(0x2FF)))) for _ in range(dice.randrange(30))
    )


def _odd_value(dice: random.Random, deep: int = 0) -> object:
    kind = dice.randrange(10)
    if kind < 4:
        return _odd(dice)
    if kind == 4:
        return dice.choice(
            (None, True, False, 0, -1, 10**30, 1e308, -0.0, 0.1, 2**63, float("nan"), float("inf"))
        )
    if kind == 5 and deep < 3:
        return [_odd_value(dice, deep + 1) for _ in range(dice.randrange(4))]
    if kind == 6 and deep < 3:
        return {_odd(dice): _odd_value(dice, deep + 1) for _ in range(dice.randrange(3))}
    if kind == 7:
        return "\ud800"
    return dice.choice((1, 5, 12.5, "green", "foliar_feed", "07:30", [], {}))


def _json(dice: random.Random, path: str) -> bytes:
    good: dict[str, object] = dict(dice.choice((WATER, AIR) if "observations" in path else (MOW, SPRAY, MOW)))
    more = (
        "notes",
        "target",
        "operator",
        "kind",
        "counts_as",
        "cover_pct",
        "grass",
        "outcome",
        "area_m2",
        "materials",
    )
    for _ in range(dice.choice((0, 0, 1, 1, 2))):
        name = dice.choice((*good, *more)) if dice.random() < 0.9 else _odd(dice)
        good[name] = _odd_value(dice)
    if dice.random() < 0.2:
        good.pop(dice.choice(tuple(good)))
    whole: object = good if dice.random() < 0.95 else dice.choice(([good], None, 7, "x", [], [[]] * 100))
    body = json.dumps(whole, ensure_ascii=dice.random() < 0.5).encode("utf-8", "surrogatepass")
    if dice.random() < 0.04:
        at = dice.randrange(len(body))
        body = body[:at] + dice.choice(ODD_BYTES) + body[at:]
    if dice.random() < 0.02:
        body = body[: dice.randrange(len(body))]
    return body


def _form(dice: random.Random) -> bytes:
    fields = {
        "token": TOKEN,
        "key": f"00000000-0000-4000-8000-{dice.randrange(10**6):012d}",
        "job": "mow_green",
        "surface": "green",
        "finished": "05:00",
        "notes": "wet",
        "water_mm": "4",
        "at": "04:00",
    }
    if dice.random() < 0.3:
        fields |= {"job": "foliar_feed", "material": "foliar 10-0-4", "amount": "0,5", "water_l": "20"}
    for _ in range(dice.choice((0, 1, 1, 2, 3))):
        name = dice.choice(
            (*fields, "cover_pct", "wind_2m_kmh", "cut_height_mm", "height_mm", "operator", "target")
        )
        fields[name] = _odd(dice)
    if dice.random() < 0.2:
        fields.pop(dice.choice(tuple(fields)))
    return urlencode(fields, errors="replace").encode()
