"""The error tree.

    PlannerError                 exit 1   our own fault, or a state that should not be
     +- InputError               exit 2   what the keeper gave us is wrong
     |   +- ConfigError                   config files have faults (one list a file, all at once)
     |   +- NotThere                      what is asked for is not there: an hour, a material for a job
     |       +- NotKnown                  no such job, surface, day (the known ones are listed)
     |   +- Contradiction                 each part can be read, and it goes against another, a file or the record
     |       +- Overtaken                 it was written anew since it was read
     |       +- NotCounted                work of no job of the rules, that does not say what it counts as
     +- ForecastError            exit 3   no usable forecast
         +- ForecastUnavailable           the provider could not be reached in time
         +- ForecastMalformed             its answer cannot be read
         +- UnitMismatch                  it declares a unit we did not ask for and cannot convert
         +- NoPassYet                     nothing stored: the first pass has not been made

Every message says what is wrong, where, and what to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class PlannerError(Exception):
    """Root of the tree."""

    exit_code = 1


class InputError(PlannerError):
    """Something handed in by the keeper cannot be used."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a config file: where it stands, what is wrong, what is allowed."""

    where: str
    says: str
    line: int | None = None


#: Columns of a terminal, and how far the second line of a fault is set in.
_WIDTH, _HANG = 80, " " * 6


class ConfigError(InputError):
    """The faults of a config file, and of the files read with it: one list a file, all at once."""

    def __init__(self, file: str, faults: Sequence[Fault], *others: ConfigError) -> None:
        self.file = file
        self.faults = tuple(sorted(faults, key=lambda fault: (fault.line is None, fault.line or 0)))
        self.files: tuple[ConfigError, ...] = (self, *(one for other in others for one in other.files))
        super().__init__("\n\n".join(one.text() for one in self.files))

    def text(self) -> str:
        """The faults of this file in the order of their lines, 80 columns wide."""
        import textwrap

        count = len(self.faults)
        lines = [f"{self.file} has {count} fault{'' if count == 1 else 's'}"]
        for fault in self.faults:
            place = f"line {fault.line}: " if fault.line else ""
            lines += textwrap.wrap(
                f"{place}{fault.where}: {fault.says}",
                _WIDTH,
                initial_indent="  ",
                subsequent_indent=_HANG,
                break_long_words=False,
                break_on_hyphens=False,
            )
        return "\n".join(lines)


class NotThere(InputError):
    """What is asked for can be asked, and is not there."""


class NotKnown(NotThere):
    """A name that is not in the config; the known names are listed."""

    def __init__(self, sort: str, name: str, known: Sequence[str]) -> None:
        import difflib

        self.sort, self.name, self.known = sort, name, tuple(known)
        near = difflib.get_close_matches(name, known, n=1)
        hint = f' Did you mean "{near[0]}"?' if near else ""
        super().__init__(f'There is no {sort} "{name}".{hint} Known: {", ".join(known) or "none"}.')


class Contradiction(InputError):
    """What is handed in can be read, and goes against itself, against the site's files or against the record."""


class Overtaken(Contradiction):
    """An entry was written anew since it was read: what is to be written was made of what no longer holds."""


class NotCounted(Contradiction):
    """Work that the rules do not have, without a kind they know or the job whose intervals it counts for."""


def require_known(sort: str, name: str, known: Sequence[str]) -> None:
    """Refuse a name that is not among those known; each of these is listed once."""
    if name not in known:
        raise NotKnown(sort, name, list(dict.fromkeys(known)))


#: A fault that quotes an answer is no longer than this.
_LONGEST = 1000


def fit_to_show(text: str) -> str:
    """Text from elsewhere as a terminal, a log, a page and a database may hold it: without control characters,
    marks that turn the reading direction, and halves of characters; cut where it is endless."""
    cut = text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"
    return "".join(one if one.isprintable() else " " if one.isspace() else "\ufffd" for one in cut)


class ForecastError(PlannerError):
    """No usable forecast. What it quotes of an answer is fit to show."""

    exit_code = 3

    def __init__(self, says: str) -> None:
        super().__init__(fit_to_show(says))


class ForecastUnavailable(ForecastError):
    """The provider could not be reached, or refused."""


class ForecastMalformed(ForecastError):
    """The provider's answer, or a weather file, cannot be read."""


class UnitMismatch(ForecastMalformed):
    """A declared unit is not one we know how to convert."""


class NoPassYet(ForecastError):
    """Nothing is stored yet."""


class OtherSchema(NoPassYet):
    """The stored report is of another version; the next pass replaces it."""
