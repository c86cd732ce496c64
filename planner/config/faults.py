"""Faults found by the schema, in words a keeper can act on, and the list on which those of a file are gathered."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator, Sequence
from types import UnionType
from typing import Annotated, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from planner.config.lines import line_of, secret, where
from planner.errors import ConfigError, Fault

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
        # A list counted as empty only because its entries are faulty, which are on the list themselves.
        is_echo = detail["type"] == "too_short" and bool(detail["input"])
        if not only(place) or is_echo:
            continue
        path = (*above, *place)
        faults.append(Fault(where(path), _says(detail, here, path), line_of(text, path)))
    return faults


def _follow(model: type[BaseModel], loc: Sequence[str | int]) -> tuple[Place, object]:
    """The place as it stands in the file, without the schema's own names, and the table its last key is in."""
    place: list[str | int] = []
    here: object = model
    table: object = model
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


def _bare(sort: object) -> object:
    """A type without its notes and without `None` beside it."""
    while get_origin(sort) is Annotated:
        sort = get_args(sort)[0]
    if get_origin(sort) in (Union, UnionType):
        rest = [one for one in get_args(sort) if one is not type(None)]
        if len(rest) == 1:
            return _bare(rest[0])
    return sort


def _kind(model: object) -> str | None:
    """The word in `kind` by which a table of several kinds is known."""
    if not (isinstance(model, type) and issubclass(model, BaseModel)) or "kind" not in model.model_fields:
        return None
    allowed = get_args(model.model_fields["kind"].annotation)
    return allowed[0] if allowed else None


def _below(sort: object, part: str | int) -> object:
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
#: What a text must look like, as the schema has it -> what a keeper writes.
PATTERNS = {
    r"^[a-z0-9_-]{1,40}$": "must be small letters, digits, - and _, at most 40 of them",
    r"^[^\x00-\x1f\x7f]+$": "must be one line, without tabs",
    r"^$|^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$": 'must be a month and a day such as "11-15"',
    r"^https?://": "must begin with http:// or https://",
    r"^(https?://[^\s?#]+[^\s?#/])?$": "must begin with http:// or https:// and end without a stroke; no blank, ? or #",
    r"^https?://[^/*\s]+$": "must be http:// or https:// and a name, without a path, a blank or *",
    r"^([A-Za-z0-9._-]{1,253}|[0-9A-Fa-f:.]{2,45})$": "must be a name such as turf.example.org, or an address, without "
    "a port or a stroke",
}


def _says(detail: ErrorDetails, table: object, path: Place) -> str:
    sort, seen, context = detail["type"], detail["input"], detail.get("ctx", {})
    name = str(path[-1]) if path else ""
    shown = "" if sort == "missing" else _seen(seen, path)
    if sort == "missing":
        return "is missing"
    if sort in ("unknown_name", "cannot_be_used"):
        return str(detail["msg"])
    if sort == "extra_forbidden":
        if isinstance(table, type) and issubclass(table, BaseModel):
            return not_a_setting(name, table.model_fields)
        return not_a_setting(name, ())
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
    if sort == "string_pattern_mismatch" and (words := PATTERNS.get(str(context.get("pattern")))):
        return f"{words}{shown}"
    return f"{_SORTS.get(sort) or detail['msg'][0].lower() + detail['msg'][1:]}{shown}"


#: Words that come to mind first -> the setting that is meant.
_MEANT = {"best_min": "best_from", "best_max": "best_to", "hard_from": "hard_min", "hard_to": "hard_max"}
#: What a setting was called before -> what it is called now.
_RENAMED = {
    "wash_mention": "wash_note",
    "wash_heed": "wash_care",
    "frost_mention": "frost_note",
    "frost_heed": "frost_care",
    "let_go": "hysteresis",
    "overdue_heed_d": "overdue_care_d",
}


def not_a_setting(name: str, known: Iterable[str]) -> str:
    """What to say of a key that the table does not have."""
    names = list(known)
    if _RENAMED.get(name) in names:
        return f"is now called {_RENAMED[name]}. Write that instead; the figure can stay."
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


def _seen(value: object, path: Place) -> str:
    """The value as it was written; not that of a table, which is not what is wrong, and no secret."""
    if isinstance(value, dict) or value is None:
        return ""
    if any(secret(part) for part in path if isinstance(part, str)):
        return " (its value is not shown: it may be a secret)"
    if isinstance(value, bool):
        return f" (seen: {str(value).lower()})"
    text = repr(value) if isinstance(value, str | int | float | list | tuple) else str(value)
    return f" (seen: {text if len(text) <= 60 else f'{text[:57]}...'})"


Path = tuple[str | int, ...]
Part = TypeVar("Part", bound=BaseModel)


class FaultList:
    """Faults of one file, gathered; the same fault stands there once."""

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.text = text
        self.faults: list[Fault] = []

    def _note(self, fault: Fault) -> None:
        if fault not in self.faults:
            self.faults.append(fault)

    def add(self, path: Path, says: str) -> None:
        """One fault at a place of the file."""
        self._note(Fault(where(path), says, line_of(self.text, path)))

    def absorb(
        self,
        error: ValidationError,
        model: type[BaseModel],
        above: Path = (),
        only: Callable[[Path], bool] = lambda place: True,
    ) -> None:
        """The faults of a validation at the place `above`; `only` says which of them belong here."""
        for fault in faults_of(error, self.text, model, above, only):
            self._note(fault)

    def checked(
        self, model: type[Part], values: object, above: Path = (), names: object = None
    ) -> Part | None:
        """The values as a part of the file, with `names` as context; None, and faults, when they are none."""
        try:
            return model.model_validate(values, context=names)
        except ValidationError as error:
            self.absorb(error, model, above)
            return None

    def named_once(self, key: str, names: Iterable[tuple[int, str]]) -> None:
        """A fault for each name that is there twice; names come with the number of their entry."""
        seen: set[str] = set()
        for number, name in names:
            if name in seen:
                self.add((key, number, "name"), f'"{name}" is given twice')
            seen.add(name)


def raise_all(lists: Iterable[FaultList]) -> None:
    """ConfigError with every list that has a fault; nothing when none has."""
    found = [ConfigError(one.file, one.faults) for one in lists if one.faults]
    if found:
        raise ConfigError(found[0].file, found[0].faults, *found[1:])


# A file with faults in one place is still read in the others, so its tables are read as they come.


def table(values: object, key: str) -> dict[str, object]:
    """The table of that key; an empty one where there is none or something else stands."""
    found = values.get(key) if isinstance(values, dict) else None
    return found if isinstance(found, dict) else {}


def rows(values: object, key: str) -> Iterator[tuple[int, dict[str, object]]]:
    """The entries of a list of tables with their numbers; those that are no tables are left out."""
    found = values.get(key) if isinstance(values, dict) else None
    for number, row in enumerate(found if isinstance(found, list) else ()):
        if isinstance(row, dict):
            yield number, row


def words(values: object, key: str) -> list[str]:
    """The texts of a list; what is no text is left out."""
    found = values.get(key) if isinstance(values, dict) else None
    return [one for one in found if isinstance(one, str)] if isinstance(found, list) else []


def word(values: object, key: str) -> str | None:
    """The text of that key, or None."""
    found = values.get(key) if isinstance(values, dict) else None
    return found if isinstance(found, str) else None
