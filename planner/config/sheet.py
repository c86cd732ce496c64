"""The sheet on which the faults of one file are gathered."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from planner.config.faults import faults_of, where
from planner.config.lines import line_of
from planner.errors import ConfigError, Fault, InputError

Path = tuple[str | int, ...]
Made = TypeVar("Made")
Part = TypeVar("Part", bound=BaseModel)


class Sheet:
    """Faults of one file, gathered; the same fault is told once."""

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
        """The faults of a validation at the place `above`; `only` says which of them are told here."""
        for fault in faults_of(error, self.text, model, above, only):
            self._note(fault)

    def checked(self, model: type[Part], values: Any, above: Path = ()) -> Part | None:
        """The values as a part of the file; None, and faults on the sheet, when they are none."""
        try:
            return model.model_validate(values)
        except ValidationError as error:
            self.absorb(error, model, above)
            return None

    def tried(self, path: Path, make: Callable[[], Made]) -> Made | None:
        """What `make` gives; its refusal becomes a fault."""
        try:
            return make()
        except InputError as error:
            self.add(path, f"cannot be used: {error}")
            return None

    def named_once(self, key: str, names: Iterable[tuple[int, str]]) -> None:
        """A fault for each name given twice; names come with the number of their entry."""
        seen: set[str] = set()
        for number, name in names:
            if name in seen:
                self.add((key, number, "name"), f'"{name}" is given twice')
            seen.add(name)


def raise_all(sheets: Iterable[Sheet]) -> None:
    """ConfigError with every sheet that has a fault; nothing when none has."""
    found = [ConfigError(sheet.file, sheet.faults) for sheet in sheets if sheet.faults]
    if found:
        raise ConfigError(found[0].file, found[0].faults, *found[1:])


# A file with faults in one place is still read in the others, so its tables are read as they come.


def table(values: Any, key: str) -> dict[str, Any]:
    """The table of that key; an empty one where there is none or something else stands."""
    found = values.get(key) if isinstance(values, dict) else None
    return found if isinstance(found, dict) else {}


def rows(values: Any, key: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """The entries of a list of tables with their numbers; those that are no tables are left out."""
    found = values.get(key) if isinstance(values, dict) else None
    for number, row in enumerate(found if isinstance(found, list) else ()):
        if isinstance(row, dict):
            yield number, row


def words(values: Any, key: str) -> list[str]:
    """The texts of a list; what is no text is left out."""
    found = values.get(key) if isinstance(values, dict) else None
    return [one for one in found if isinstance(one, str)] if isinstance(found, list) else []


def word(values: Any, key: str) -> str | None:
    """The text of that key, or None."""
    found = values.get(key) if isinstance(values, dict) else None
    return found if isinstance(found, str) else None
