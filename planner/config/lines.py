"""Where a key of a TOML file stands: the standard parser gives no line numbers for values."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache

from planner.errors import ConfigError, Fault

Path = tuple[str | int, ...]
_SYNTAX = re.compile(r"^(?P<says>.*) \(at (?:line (?P<line>\d+), column \d+|end of document)\)$", re.DOTALL)


#: What a line that is not TOML looks like -> what its writer most likely meant.
_HINTS = (
    (
        re.compile(r"(?:^|[=\[,])\s*\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?![:\d])"),
        "A date with a time of day needs its seconds: 2026-04-05T15:00:00.",
    ),
    (re.compile(r"(?:^|[=\[,])\s*\d{1,2}:\d\d(?![:\d])"), 'Write a time of day in quotes: "07:30".'),
    (re.compile(r"=\s*-?\d+,\d+\s*(#.*)?$"), "Write decimals with a point: 4.5."),
    (re.compile(r"=\s*(True|False|yes|no|on|off|Yes|No)\s*(#.*)?$"), "Write true or false."),
    (re.compile(r"=\s*[A-Za-z_][^\"'=]*$"), 'Write text in quotes: "green".'),
)
#: Keys whose values are not to be shown.
_SECRET = re.compile(r"url|token|password|headers|secret|licence", re.IGNORECASE)
_SHOWN = 60
_CODE_0 = re.compile(r"\\u0{4}|\\U0{8}")


def secret(key: str) -> bool:
    """Whether the value of a key may be a secret. A key that names a variable (`_env`) holds none."""
    return bool(_SECRET.search(key)) and not key.endswith("_env")


def read_toml(text: str, file: str) -> dict[str, object]:
    """The parsed file; ConfigError with the line when it is not TOML, or a text in it holds what no text has."""
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = _SYNTAX.match(str(error))
        line = int(found["line"]) if found and found["line"] else None
        says = found["says"] if found else str(error)
        raise ConfigError(file, [Fault("syntax", f"{says}.{_about(text, line)}", line)]) from error
    except RecursionError as error:
        says = "brackets stand within brackets, thousands deep. Write it flat."
        raise ConfigError(file, [Fault("syntax", says)]) from error
    except ValueError as error:
        says = "a whole number has thousands of digits. Write fewer."
        raise ConfigError(file, [Fault("syntax", says)]) from error
    # As a sign it is no TOML; written out it would come through, and a database server keeps none.
    if _CODE_0.search(text) and (paths := list(_with_code_0(parsed))):
        says = "holds the sign with code 0. Leave it out."
        raise ConfigError(
            file, [Fault(where(path).replace("\0", "?"), says, line_of(text, path)) for path in paths]
        )
    return parsed


def _with_code_0(value: object, above: Path = ()) -> Iterator[Path]:
    """Paths of the texts, and of the keys, that hold the sign."""
    if isinstance(value, str) and "\0" in value:
        yield above
    elif isinstance(value, dict):
        for key, below in value.items():
            if "\0" in key:
                yield (*above, key)
            yield from _with_code_0(below, (*above, key))
    elif isinstance(value, list):
        for number, below in enumerate(value):
            yield from _with_code_0(below, (*above, number))


def where(path: Iterable[str | int]) -> str:
    """A path as a keeper would write it: `surfaces, entry 2, area_m2`."""
    words = []
    for part in path:
        words.append(f"entry {part + 1}" if isinstance(part, int) else str(part))
    return ", ".join(words) or "the file"


def _about(text: str, number: int | None) -> str:
    """A hint at what was meant, and the line as it stands."""
    written = text.splitlines()
    if number is None or number > len(written):
        return ""
    source = written[number - 1].strip()
    hint = next((f" {says}" for looks, says in _HINTS if looks.search(source)), "")
    if _SECRET.search(source):
        return f"{hint} The line is not shown: it may hold a secret."
    return f"{hint} The line: {source if len(source) <= _SHOWN else source[: _SHOWN - 3] + '...'}"


def line_of(text: str, path: Path) -> int | None:
    """Line of the key at `path`, or of the nearest table above it that is written out."""
    places = _places(text)
    for length in range(len(path), 0, -1):
        line = places.get(tuple(path[:length]))
        if line is not None:
            return line
    return None


@lru_cache(maxsize=8)
def _places(text: str) -> Mapping[Path, int]:
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
            for depth in range(1, len(prefix) + 1):
                places.setdefault(prefix[:depth], begun)
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


def _accepted(chunk: str) -> dict[str, object] | None:
    try:
        return tomllib.loads(chunk)
    except (ValueError, RecursionError):
        return None


def _paths(value: object, above: Path = ()) -> list[Path]:
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
    node: object = parsed
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
