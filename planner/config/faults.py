"""Faults found by the schema, told in words a keeper can act on."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from planner.config.lines import line_of, secret
from planner.errors import Fault

Place = tuple[str | int, ...]


def faults_of(
    error: ValidationError,
    text: str,
    model: type[BaseModel],
    above: Sequence[str | int] = (),
    only: Callable[[Place], bool] = lambda place: True,
) -> list[Fault]:
    """The faults of one validation, each with its place, its line, the value seen and what is allowed."""
    faults = []
    for detail in error.errors():
        place, here = _follow(model, detail["loc"])
        if not only(place) or _is_echo(detail):
            continue
        path = (*above, *place)
        faults.append(Fault(where(path), _says(detail, here, path), line_of(text, path)))
    return faults


def where(path: Iterable[str | int]) -> str:
    """A path as a keeper would write it: `surfaces, entry 2, area_m2`."""
    words = []
    for part in path:
        words.append(f"entry {part + 1}" if isinstance(part, int) else str(part))
    return ", ".join(words) or "the file"


def _is_echo(detail: Any) -> bool:
    """A list counted as empty only because its entries are faulty, which are told themselves."""
    return detail["type"] == "too_short" and bool(detail["input"])


def _follow(model: type[BaseModel], loc: Sequence[str | int]) -> tuple[Place, Any]:
    """The place as it stands in the file, without the schema's own names, and the table its last key is in."""
    place: list[str | int] = []
    here: Any = model
    table: Any = model
    for part in loc:
        here = _bare(here)
        if get_origin(here) in (Union, UnionType):
            chosen = [one for one in map(_bare, get_args(here)) if _kind(one) == part]
            if chosen:
                here = chosen[0]
                table = here
                continue
        table = here
        here = _below(here, part)
        place.append(part)
    return tuple(place), _bare(table)


def _bare(sort: Any) -> Any:
    """A type without its notes and without `None` beside it."""
    while get_origin(sort) is Annotated:
        sort = get_args(sort)[0]
    if get_origin(sort) in (Union, UnionType):
        given = [one for one in get_args(sort) if one is not type(None)]
        if len(given) == 1:
            return _bare(given[0])
    return sort


def _kind(model: Any) -> str | None:
    """The word in `kind` by which a table of several kinds is told."""
    if not (isinstance(model, type) and issubclass(model, BaseModel)) or "kind" not in model.model_fields:
        return None
    allowed = get_args(model.model_fields["kind"].annotation)
    return allowed[0] if allowed else None


def _below(sort: Any, part: str | int) -> Any:
    if isinstance(sort, type) and issubclass(sort, BaseModel):
        field = sort.model_fields.get(str(part))
        return None if field is None else field.annotation
    inner = get_args(sort)
    if get_origin(sort) is tuple and inner and isinstance(part, int):
        return inner[0] if len(inner) == 2 and inner[1] is Ellipsis else inner[min(part, len(inner) - 1)]
    return inner[1] if get_origin(sort) is dict and len(inner) == 2 else None


#: What pydantic calls a sort of value -> what a keeper writes.
_SORTS = {
    "tuple_type": 'must be a list such as ["a", "b"]',
    "list_type": 'must be a list such as ["a", "b"]',
    "dict_type": "must be a table of settings",
    "model_type": "must be a table of settings",
    "model_attributes_type": "must be a table of settings",
    "string_type": 'must be text in quotes ("...")',
    "float_type": "must be a number",
    "float_parsing": "must be a number without quotes",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number without quotes",
    "int_from_float": "must be a whole number",
    "bool_type": "must be true or false, without quotes",
    "bool_parsing": "must be true or false, without quotes",
    "datetime_type": "must be a date and time such as 2026-04-05T15:00:00",
    "datetime_parsing": "must be a date and time such as 2026-04-05T15:00:00",
    "datetime_from_date_parsing": "must be a date and time such as 2026-04-05T15:00:00",
    "date_type": "must be a date such as 2026-04-05",
    "date_parsing": "must be a date such as 2026-04-05",
    "date_from_datetime_parsing": "must be a date such as 2026-04-05",
    "date_from_datetime_inexact": "must be a date such as 2026-04-05",
    "union_tag_not_found": "needs a kind",
}


def _says(detail: Any, table: Any, path: Place) -> str:
    sort, seen, context = detail["type"], detail["input"], detail.get("ctx", {})
    name = str(path[-1]) if path else ""
    shown = "" if sort == "missing" else _seen(seen, path)
    if sort == "missing":
        return "is missing"
    if sort == "extra_forbidden":
        return not_a_setting(name, settings_of(table))
    if sort == "union_tag_invalid":
        kinds = [one.strip(" '") for one in str(context.get("expected_tags", "")).split(",")]
        return (
            f'kind "{context.get("tag")}" is not known.{nearest(str(context.get("tag")), kinds)} Allowed: '
            + (", ".join(kinds))
        )
    if sort in ("literal_error", "enum"):
        allowed = str(context.get("expected", ""))
        near = nearest(str(seen), allowed.replace(" or ", ", ").replace("'", "").split(", "))
        return f"{seen!r} is not known; allowed: {allowed}.{near}"
    if sort == "value_error":
        return f"{context.get('error', detail['msg'])}{shown}"
    if sort in ("too_short", "too_long"):
        least, most = context.get("min_length"), context.get("max_length")
        bound = f"at least {least}" if least is not None else f"at most {most}"
        return f"must have {bound} {'entry' if (least or most) == 1 else 'entries'}"
    return f"{_SORTS.get(sort) or detail['msg'][0].lower() + detail['msg'][1:]}{shown}"


def settings_of(table: Any) -> list[str]:
    """The settings that a table may hold."""
    return list(table.model_fields) if isinstance(table, type) and issubclass(table, BaseModel) else []


#: Words that come to mind first -> the setting that is meant.
_MEANT = {"best_min": "best_from", "best_max": "best_to", "hard_from": "hard_min", "hard_to": "hard_max"}


def not_a_setting(name: str, known: Iterable[str]) -> str:
    """What to say of a key that the table does not have."""
    names = list(known)
    meant = _MEANT.get(name)
    near = f' Did you mean "{meant}"?' if meant in names else nearest(name, names)
    return f"is not a setting here.{near}" + (f" Allowed: {', '.join(names)}." if names else "")


def unknown(sort: str, name: str, known: Iterable[str]) -> str:
    """What to say of a name that is not there: the nearest spelling, and all that are known."""
    names = list(known)
    return f'there is no {sort} "{name}".{nearest(name, names)} Known: {", ".join(names) or "none"}.'


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint at the nearest spelling."""
    names = sorted(set(known))
    near = difflib.get_close_matches(name, names, n=1)
    return f' Did you mean "{near[0]}"?' if near else ""


def _seen(value: Any, path: Place) -> str:
    """The value as it was written; not that of a table, which is not what is wrong, and no secret."""
    if isinstance(value, dict) or value is None:
        return ""
    if any(secret(part) for part in path if isinstance(part, str)):
        return " (its value is not shown: it may be a secret)"
    if isinstance(value, bool):
        return f" (seen: {str(value).lower()})"
    text = repr(value) if isinstance(value, str | int | float | list | tuple) else str(value)
    return f" (seen: {text if len(text) <= 60 else f'{text[:57]}...'})"
