"""A new site file: what the keeper answered, and every other key switched off, each with its explanation.

All of it is made from the parts of `planner.config.schema`, so that no key can be left out.
"""

from __future__ import annotations

import json
import textwrap
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from types import UnionType
from typing import Annotated, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from planner.config.kit_schema import Part
from planner.config.schema import EdgePart, SiteFile

_WIDTH = 80
#: The key by which tables of one name are told apart; it must stand there though its part knows it.
_SORT = "kind"
_HEAD = (
    "# A line that begins with # and a letter or a bracket is switched off: take the",
    "# # away to set it. A line that begins with # and a blank explains.",
    "# `haysel check --config FILE` tells every fault at once.",
    "# Times without an offset are local times of the site.",
    "",
)
#: Tables in the order in which a keeper meets them; what is not named here follows in the order of the schema.
_FIRST = ("site", "surfaces", "hours", "wanted", "play")
#: Tables that stand in every new file, though nothing in them need be set.
_ALWAYS = {"site", "surfaces", "forecast", "store", "service", "keeper", "week"}
#: Part -> key -> what a switched-off key shows where it has no value by itself.
_SAMPLES: Mapping[str, Mapping[str, object]] = tomllib.loads(
    (Path(__file__).parent / "samples.toml").read_text(encoding="utf-8")
)
#: Tables by a name of the keeper's own: the name that the switched-off table shows.
_NAMED = {"grasses": "my_fescue", "growth": "green"}
#: Tables without parts of their own, as they are shown.
_FREE = {
    "constants": ("Constants of the formulas that differ here; docs/config.md.", ("grass_shift_k = -1.5",)),
    "jobs": ("Changes to jobs of the rules file: settings, and needs by their id.", ("off = true",)),
}
_FREE_HEADER = {"constants": "[constants]", "jobs": "[jobs.mow_surrounds]"}


def site_text(values: Mapping[str, object]) -> str:
    """The text of a site file with these values, as `SiteFile` takes them."""
    site = values["site"]
    assert isinstance(site, Mapping)
    lines: list[str] = [*_comment(f"The site file of {site['name']}."), *_HEAD]
    fields = SiteFile.model_fields
    plain = [name for name in ("rules", "materials") if name in fields]
    lines += [*_keys(SiteFile, values, only=plain), ""]
    for name in (*_FIRST, *(one for one in fields if one not in (*_FIRST, *plain))):
        for table in _tables(name, fields[name], values):
            lines += [*table, ""]
    return "\n".join(lines).rstrip() + "\n"


def parts_of(annotation: object) -> tuple[type[BaseModel], ...]:
    """The parts that a setting may hold, whatever it is wrapped in."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return (annotation,)
    if get_origin(annotation) is Annotated:
        return parts_of(get_args(annotation)[0])
    if get_origin(annotation) in (tuple, dict, Union, UnionType):
        return tuple(part for one in get_args(annotation) for part in parts_of(one))
    return ()


def _tables(name: str, field: FieldInfo, values: Mapping[str, object]) -> Iterator[list[str]]:
    """The tables of one setting of the file, each with its explanation."""
    if name in _FREE:
        why, keys = _FREE[name]
        yield [*_comment(why), f"#{_FREE_HEADER[name]}", *(f"#{key}" for key in keys)]
        return
    written = values.get(name)
    is_list = get_origin(_bare(field.annotation)) is tuple
    for part in parts_of(field.annotation):
        given = [
            one
            for one in (written if isinstance(written, list | tuple) else [written])
            if isinstance(one, Mapping) and _is_of(part, one)
        ]
        header = f"[[{name}]]" if is_list else f"[{'.'.join((name, *_names(name)))}]"
        says = _comment(part.__doc__ or "")
        for number, one in enumerate(given):
            yield [*(says if number == 0 else []), header, *_keys(part, one, explained=number == 0)]
        if not given:
            off = "" if name in _ALWAYS else "#"
            yield [*says, f"{off}{header}", *_keys(part, {}, needed_off=True)]


def _names(name: str) -> tuple[str, ...]:
    return (_NAMED[name],) if name in _NAMED else ()


def _bare(annotation: object) -> object:
    return get_args(annotation)[0] if get_origin(annotation) is Annotated else annotation


def _is_of(part: type[BaseModel], values: Mapping[str, object]) -> bool:
    """Whether a table is of that part: parts that share a setting are told apart by their kind."""
    kind = part.model_fields.get("kind")
    kinds = get_args(kind.annotation) if kind is not None else ()
    return len(kinds) != 1 or values.get("kind") == kinds[0]


def _keys(
    part: type[BaseModel],
    values: Mapping[str, object],
    *,
    only: Sequence[str] | None = None,
    explained: bool = True,
    needed_off: bool = False,
) -> Iterator[str]:
    """Every key of a part: set where it has a value, else switched off; `needed_off`, also those that must be."""
    for key, field in part.model_fields.items():
        if only is not None and key not in only:
            continue
        is_set = key in values
        if explained:
            yield from _comment(
                _explained(
                    field.alias or key, field, must=needed_off and (field.is_required() or key == _SORT)
                )
            )
        elif not is_set:
            continue
        value = values[key] if is_set else _sample(part, key, field)
        line = f"{'' if is_set else '#'}{field.alias or key} = {toml(value)}"
        if len(line) > _WIDTH and isinstance(value, list | tuple) and is_set:
            yield from (f"{key} = [", *(f"  {toml(one)}," for one in value), "]")
        else:
            yield line


def _explained(key: str, field: FieldInfo, *, must: bool) -> str:
    assert field.description, f"{key} has no description"
    below = [part for part in parts_of(field.annotation) if part is EdgePart]
    says = [field.description.rstrip(".") + ".", *(["Needed."] if must else [])]
    says += [
        f"{name}: {one.description.rstrip('.')}."
        for part in below
        for name, one in part.model_fields.items()
        if one.description
    ]
    choices = _choices(field.annotation)
    if choices and not below:
        says.append(f"One of: {', '.join(choices)}.")
    return " ".join(says)


def _choices(annotation: object) -> tuple[str, ...]:
    found = get_args(_bare(annotation))
    return found if len(found) > 1 and all(isinstance(one, str) for one in found) else ()


def _sample(part: type[BaseModel], key: str, field: FieldInfo) -> object:
    """What a switched-off key shows: what holds without it, else an example."""
    return _SAMPLES.get(part.__name__, {}).get(key, field.default)


def _comment(says: str) -> list[str]:
    return textwrap.wrap(
        " ".join(says.split()),
        _WIDTH,
        initial_indent="# ",
        subsequent_indent="# ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def toml(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int | float):
        return repr(int(value) if value == int(value) else value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml(one) for one in value)}]"
    if isinstance(value, Part):
        return toml(value.model_dump(by_alias=True))
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {toml(one)}' for key, one in value.items())} }}" if value else "{}"
    raise TypeError(f"{type(value).__name__} has no place in a TOML file")
