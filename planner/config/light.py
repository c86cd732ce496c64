"""The little that a reading command needs of the config: where it is, and where the passes are kept.

It loads the standard parser only, so that reading starts fast; the full schema is `planner.config.load`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from planner.config.lines import read_toml
from planner.errors import InputError
from planner.terms import place_of

DEFAULT = Path("config") / "haysel.toml"
VARIABLE_NAME = "HAYSEL_CONFIG"
DEFAULT_STORE = "sqlite:///.haysel/haysel.db"


def folder_named(option: str | None) -> Path | None:
    """The folder of site files that is asked for, or that HAYSEL_CONFIG names; None where it is none."""
    named = option or os.environ.get(VARIABLE_NAME)
    return Path(named) if named and Path(named).is_dir() else None


def find(option: str | None) -> Path:
    """The config file: the one asked for, else that of HAYSEL_CONFIG, else config/haysel.toml here."""
    named = option or os.environ.get(VARIABLE_NAME)
    path = Path(named) if named else DEFAULT
    if path.is_dir():
        raise InputError(
            f"{path} is a folder; this command takes the file of one site{_such_as(path)}: name it with --config."
        )
    if not path.is_file():
        raise InputError(
            f"There is no config file {path}. Run haysel in a folder that holds {DEFAULT}, "
            f"name a file with --config, or set {VARIABLE_NAME}."
        )
    return path


def _such_as(folder: Path) -> str:
    """The first site file of a folder, as an example."""
    for file in sorted(folder.glob("*.toml")):
        try:
            if "site" in raw(file):
                return f", such as {file}"
        except InputError:
            continue
    return ""


def text_of(path: Path) -> str:
    """The text of a config file; InputError when it cannot be read."""
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise InputError(f"There is no file {path}. Is its name in the site file spelt right?") from error
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read: {error}. It must be a text file in UTF-8.") from error


def raw(path: Path) -> dict[str, object]:
    """The file as parsed, unchecked."""
    return read_toml(text_of(path), str(path))


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """Where the passes of a site file are kept, and what the store knows its site and place by."""

    url: str
    site: str
    place: str


def kept_at(path: Path) -> Kept:
    """Where the passes of that site file are; a relative SQLite file is taken from beside it."""
    tables = raw(path)
    part, store = tables.get("site"), tables.get("store", {})
    try:
        assert isinstance(part, dict)
        place = place_of(part["latitude_deg"], part["longitude_deg"], str(part["timezone"]))
    except (AssertionError, KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"[site] in {path} does not say where the site is: latitude_deg, longitude_deg and timezone. "
            "Run `haysel check`."
        ) from error
    url = store.get("url", DEFAULT_STORE) if isinstance(store, dict) else DEFAULT_STORE
    return Kept(url=beside(str(url), path), site=str(part.get("key", "main")), place=place)


def beside(url: str, path: Path) -> str:
    """The address, a relative SQLite file taken from beside the site file."""
    head = "sqlite:///"
    if url.startswith(head) and not url.startswith(head + "/") and ":memory:" not in url:
        return f"{head}{path.resolve().parent / url[len(head) :]}"
    return url
