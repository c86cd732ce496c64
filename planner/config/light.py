"""The little that a reading command needs of the config: where it is, and where the passes are kept.

It loads the standard parser only, so that reading starts fast; the full schema is `planner.config.load`.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from planner.config.lines import read_toml
from planner.errors import InputError

DEFAULT = Path("config") / "haysel.toml"
VARIABLE_NAME = "HAYSEL_CONFIG"
DEFAULT_STORE = "sqlite:///.haysel/haysel.db"


def find(option: str | None) -> Path:
    """The config file: the one asked for, else that of HAYSEL_CONFIG, else config/haysel.toml here."""
    named = option or os.environ.get(VARIABLE_NAME)
    path = Path(named) if named else DEFAULT
    if not path.is_file():
        raise InputError(
            f"There is no config file {path}. Run haysel in a folder that holds {DEFAULT}, "
            f"name a file with --config, or set {VARIABLE_NAME}."
        )
    return path


def text_of(path: Path) -> str:
    """The text of a config file; InputError when it cannot be read."""
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise InputError(f"There is no file {path}. Is its name in the site file spelt right?") from error
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path} cannot be read: {error}. It must be a text file in UTF-8.") from error


def raw(path: Path) -> dict[str, Any]:
    """The file as parsed, unchecked."""
    return read_toml(text_of(path), str(path))


def store_url(path: Path, parsed: dict[str, Any] | None = None) -> str:
    """Address of the store; a relative SQLite file lies beside the site file."""
    tables = raw(path) if parsed is None else parsed
    part = tables.get("store", {})
    url = part.get("url", DEFAULT_STORE) if isinstance(part, dict) else DEFAULT_STORE
    return beside(str(url), path)


def beside(url: str, path: Path) -> str:
    """The address with a relative SQLite file laid beside the site file."""
    head = "sqlite:///"
    if url.startswith(head) and not url.startswith(head + "/") and ":memory:" not in url:
        return f"{head}{path.resolve().parent / url[len(head) :]}"
    return url
