"""A diary entry that comes as a message over a broker: the same journey as a write over HTTP, and the same rules.

Every order is answered, also one that is refused, and whoever listens reads the answer: a message that has the write
token anywhere but in `token` is refused, so that no answer and no entry repeats it.
"""

from __future__ import annotations

import hmac
import json
import logging
from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid5

from planner.actions import record_work
from planner.config.load import Config
from planner.errors import InputError, PlannerError
from planner.terms import short_time

if TYPE_CHECKING:
    from planner.store.store import Store

log = logging.getLogger("planner.service")
#: Who may write: nobody, who sends the service's token, or whom the broker lets publish.
OFF, TOKEN, BROKER = "off", "token", "broker"
_LONGEST = 64 * 1024
_LONGEST_KEY = 200
#: Below this a token is a word that any note may hold.
_SECRET = 8
#: Order, entry, list of materials, a material, its field.
_DEEPEST = 4
_FIELDS = ("entry", "key", "token")
#: Keys that are no UUID become one of this family, the same for the same text.
_FAMILY = UUID("5a1d5f0e-6f0b-4b8e-9f0f-2c1f2b8f6d11")


def written(
    payload: bytes, retained: bool, config: Config, store: Store, now: datetime, *, token: str, rule: str
) -> dict[str, Any]:
    """Writes the entry of a message and says what came of it: `key`, `written`, `uuid`, `says`. Raises nothing.

    The message is JSON: `entry` with the fields of the diary, `key` (a UUID or any text that is this entry's own),
    and with the rule `token` the service's write token. `retained` says that the broker had kept it.
    """
    key: str | None = None
    try:
        order = _read(payload, token)
        sent = order.get("key")
        key = sent if isinstance(sent, str) and 0 < len(sent) <= _LONGEST_KEY else None
        _may(order, rule, token)
        if retained:
            raise InputError(
                "The broker had kept this message, and would send it again at each start. Send it without retain."
            )
        if key is None:
            raise InputError(
                "key is missing: send a UUID or another text of this entry's own, the same at each attempt, of at "
                f"most {_LONGEST_KEY} characters."
            )
        stored = record_work.add(_entry(order), config, store, now, key=_uuid(key, config.site.key))
    except PlannerError as error:
        return {"key": key, "written": False, "uuid": None, "says": str(error)}
    except Exception as error:
        # One message may not end the line for those that follow.
        log.error("a message was not written", exc_info=error)
        says = "A fault of our own ended it; the log of the service tells which."
        return {"key": key, "written": False, "uuid": None, "says": says}
    entry = stored.entry
    return {
        "key": key,
        "written": True,
        "uuid": stored.uuid,
        "says": f"Written: {entry.job}, {entry.surface}, {short_time(entry.started_at, config.site.zone)}.",
    }


def _read(payload: bytes, token: str) -> dict[str, Any]:
    if len(payload) > _LONGEST:
        raise InputError(f"The message is longer than {_LONGEST} bytes.")
    try:
        order = json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise InputError("The message is not JSON. See docs/dashboards.md for one that is right.") from error
    if not isinstance(order, dict):
        raise InputError("The message is not a JSON object with entry and key.")
    if any(depth > _DEEPEST for depth, _ in _texts(order)):
        raise InputError("The message is nested too deep: an entry holds fields, and materials with theirs.")
    # Before any name or value of it is repeated.
    _keeps_secret(order, token)
    for name in order:
        if name not in _FIELDS:
            raise InputError(
                f"{str(name)[:60]} is not a part of such a message. It has: {', '.join(_FIELDS)}."
            )
    return order


def _texts(value: object) -> Iterator[tuple[int, str]]:
    """Every text in a message and how deep it lies; an object or a list is told as an empty one."""
    waiting: list[tuple[int, object]] = [(0, value)]
    while waiting:
        depth, one = waiting.pop()
        if isinstance(one, str):
            yield depth, one
        elif isinstance(one, dict | list):
            yield depth, ""
            inner = [*one, *one.values()] if isinstance(one, dict) else one
            waiting += [(depth + 1, part) for part in inner]


def _keeps_secret(order: dict[str, Any], token: str) -> None:
    rest = {name: value for name, value in order.items() if name != "token"}
    if len(token) >= _SECRET and any(token in text for _, text in _texts(rest)):
        raise InputError("The write token stands elsewhere than in token, where it would be read by others.")


def _may(order: dict[str, Any], rule: str, token: str) -> None:
    if rule == BROKER:
        return
    if rule != TOKEN:
        raise InputError("Nothing is written by message here: [home] diary is off.")
    if not token:
        raise InputError(
            "Nothing can be written: the service has no write token. Set one, and send it as token."
        )
    sent = order.get("token")
    # Compared in constant time, so that nobody learns the token sign by sign.
    if not isinstance(sent, str) or not hmac.compare_digest(_bytes(sent), _bytes(token)):
        raise InputError("The message needs token, the service's write token.")


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


def _entry(order: dict[str, Any]) -> dict[str, Any]:
    entry = order.get("entry")
    if not isinstance(entry, dict):
        raise InputError(
            "entry is missing: an object with the fields of a diary entry, such as job and surface."
        )
    return entry


def _uuid(key: str, site: str) -> str:
    try:
        return str(UUID(key))
    except ValueError:
        return str(uuid5(_FAMILY, _bytes(f"{site} {key}").decode("latin-1")))
