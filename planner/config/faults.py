"""Faults found by the schema, told in words a keeper can act on."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from planner.config.lines import line_of
from planner.errors import Fault

_NEEDS = "needs"


def faults_of(
    error: ValidationError, text: str, model: type[BaseModel], above: Sequence[str | int] = ()
) -> list[Fault]:
    """The faults of one validation, each with its place, its line, the value seen and what is allowed."""
    faults = []
    for detail in error.errors():
        place = tuple(part for part in detail["loc"] if not _is_tag(part))
        path = (*above, *place)
        faults.append(Fault(where(path), _says(detail, model), line_of(text, path)))
    return faults


def where(path: Iterable[str | int]) -> str:
    """A path as a keeper would write it: `surfaces, entry 2, area_m2`."""
    words = []
    for part in path:
        words.append(f"entry {part + 1}" if isinstance(part, int) else str(part))
    return ", ".join(words) or "the file"


#: Names that the schema puts into a path beside those of the file.
_TAGS = ("limit", "gap", "clock", "season", "count", "slope", "function-after", "tagged-union")
_OUTPUT_TAGS = ("log", "webhook", "email", "mqtt", "apprise")


def _is_tag(part: str | int) -> bool:
    return part in _TAGS or part in _OUTPUT_TAGS


def _says(detail: Any, model: type[BaseModel]) -> str:
    sort, seen, context = detail["type"], detail["input"], detail.get("ctx", {})
    name = str(detail["loc"][-1]) if detail["loc"] else ""
    if sort == "missing":
        return "is missing"
    if sort == "extra_forbidden":
        return f"is not a setting here.{nearest(name, _known_names(model))}"
    if sort in ("union_tag_invalid", "literal_error", "enum"):
        allowed = context.get("expected_tags") or context.get("expected", "")
        return (
            f"{seen!r} is not known; allowed: {allowed}"
            if sort != "union_tag_invalid"
            else (f'kind "{context.get("tag")}" is not known; allowed: {allowed}')
        )
    if sort == "value_error":
        return f"{context.get('error', detail['msg'])} (seen: {_short(seen)})"
    return f"{detail['msg'][0].lower()}{detail['msg'][1:]} (seen: {_short(seen)})"


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint at the nearest spelling, or the list of what is known."""
    names = sorted(set(known))
    near = difflib.get_close_matches(name, names, n=1)
    return f' Did you mean "{near[0]}"?' if near else ""


def _known_names(model: type[BaseModel]) -> list[str]:
    """Every field name below a model: enough to find a nearest spelling."""
    names: list[str] = []
    seen: set[str] = set()

    def walk(schema: Any) -> None:
        if isinstance(schema, dict):
            names.extend(schema.get("properties", {}))
            for value in schema.values():
                walk(value)
        elif isinstance(schema, list):
            for value in schema:
                walk(value)

    walk(model.model_json_schema())
    return [name for name in names if not (name in seen or seen.add(name))]  # type: ignore[func-returns-value]


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
