"""What can go wrong with the store. Loads no database library."""

from __future__ import annotations

from planner.errors import InputError, PlannerError


class StoreError(PlannerError):
    """The store cannot be opened, read or written."""


class KeyReused(InputError):
    """A key that makes a repeated write harmless came back with other content."""


_GRANT = "Give the user that runs haysel the right to write it."

#: What the database says, what that means to a keeper, and what to do. The first that fits is told.
_KNOWN: tuple[tuple[str, str, str], ...] = (
    ("disk is full", "the disk is full", "Free some space, then run the command again."),
    ("no space left", "the disk is full", "Free some space, then run the command again."),
    ("disk quota", "the disk is full", "Free some space, then run the command again."),
    ("readonly", "the file may not be written", _GRANT),
    ("permission denied", "the place may not be written", _GRANT),
    ("unable to open", "the file cannot be opened", "Check that its folder exists and may be written."),
    ("disk i/o", "the disk failed while reading or writing", "Check the disk, then the backup."),
    ("is not a database", "the file is not a store", "Name another file; this one was left as it is."),
    ("malformed", "the file is damaged", "Put the last backup in its place; keep the damaged file."),
    ("locked", "another program holds the file", "Wait for it or stop it, then run the command again."),
    ("connection refused", "the database server does not answer", "Start it, or correct the address."),
    ("could not translate host", "the database server's name is not known", "Correct the address."),
    ("does not exist", "something in it does not exist", "Check the database's name and its user."),
)


def store_error(error: BaseException, where: str) -> StoreError:
    """A store error that says what is wrong, where, and what to do, from the database's own error."""
    said = " ".join(str(getattr(error, "orig", None) or error).split())
    for mark, what, remedy in _KNOWN:
        if mark in said.lower():
            return StoreError(f'The store {where}: {what} (it says "{said}"). {remedy}')
    return StoreError(f'The store {where} refused: "{said}". Nothing was written; see the log for the step.')
