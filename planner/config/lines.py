"""Where a key of a TOML file stands: the standard parser tells no line numbers for values."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from planner.errors import ConfigError, Fault

Path = tuple[str | int, ...]
_SYNTAX = re.compile(r"^(?P<says>.*) \(at (?:line (?P<line>\d+), column \d+|end of document)\)$", re.DOTALL)


def read_toml(text: str, file: str) -> dict[str, Any]:
    """The parsed file; ConfigError with the line when it is not TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = _SYNTAX.match(str(error))
        line = int(found["line"]) if found and found["line"] else None
        says = found["says"] if found else str(error)
        hint = ""
        if line is not None:
            source = text.splitlines()[line - 1] if line <= len(text.splitlines()) else ""
            if re.search(r"=\s*\d{1,2}:\d\d\s*(#.*)?$", source):
                hint = ' Write a time of day in quotes: "07:30".'
        raise ConfigError(file, [Fault("syntax", f"{says}.{hint}", line)]) from error


def line_of(text: str, path: Path) -> int | None:
    """Line of the key at `path`, or of the nearest table above it that is written out."""
    places = _places(text)
    for length in range(len(path), 0, -1):
        line = places.get(tuple(path[:length]))
        if line is not None:
            return line
    return None


def _places(text: str) -> dict[Path, int]:
    """Path of every table header and key, with its line. Values over several lines are skipped whole."""
    places: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    prefix: Path = ()
    lines = text.splitlines()
    number = 0
    while number < len(lines):
        stripped = lines[number].strip()
        begun = number + 1
        number += 1
        if not stripped or stripped.startswith("#"):
            continue
        if stripped.startswith("["):
            prefix = _header(stripped, counts)
            places.setdefault(prefix, begun)
            continue
        chunk = lines[begun - 1]
        parsed = _accepted(chunk)
        while parsed is None and number < len(lines):
            chunk += "\n" + lines[number]
            number += 1
            parsed = _accepted(chunk)
        for path in _paths(parsed or {}):
            places.setdefault((*prefix, *path), begun)
    return places


def _accepted(chunk: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(chunk)
    except tomllib.TOMLDecodeError:
        return None


def _paths(value: Any, above: Path = ()) -> list[Path]:
    """Paths of the keys of one assignment; a dotted key gives all its parts."""
    paths: list[Path] = []
    if isinstance(value, dict):
        for key, below in value.items():
            paths += [(*above, key), *_paths(below, (*above, key))]
    return paths


def _header(line: str, counts: dict[Path, int]) -> Path:
    """Path of a [table] or [[table]] header; elements of arrays of tables get their index."""
    is_array = line.startswith("[[")
    parsed = _accepted(line) or {}
    names: list[str] = []
    node: Any = parsed
    while isinstance(node, dict) and node:
        name = next(iter(node))
        names.append(name)
        node = node[name]
        if isinstance(node, list):
            node = node[0] if node else {}
    path: Path = ()
    for depth, name in enumerate(names):
        path = (*path, name)
        last = depth == len(names) - 1
        if last and is_array:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path
