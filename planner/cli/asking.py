"""Questions on a terminal or a pipe: each answer is judged at once, and asked for again where it does not hold."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

import click

from planner.cli.board import wrap
from planner.errors import InputError
from planner.reports.shown_units import IMPERIAL, METRIC, System, shown_unit
from planner.terms import with_point

if TYPE_CHECKING:
    from pydantic import BaseModel

Answer = TypeVar("Answer")
#: A pipe may give the same wrong answer for ever; a person does not.
_MOST_REFUSED = 5
_YES_NO = {"yes": True, "y": True, "no": False, "n": False}
_AMOUNT = re.compile(r"(?P<number>[-+]?\d+(?:\.\d+)?)\s*(?P<unit>\S.*)?")
_ANGLE = re.compile(r"(?P<number>[-+]?\d+(?:\.\d+)?)\s*°?\s*(?P<side>[NSEWnsew])?")


def say(words: str, indent: str = "") -> None:
    """A paragraph, 80 columns wide."""
    for line in wrap(words, indent, indent):
        click.echo(line)


def head(words: str) -> None:
    """What the next questions are about."""
    click.echo()
    say(words)


def ask(question: str, read: Callable[[str], Answer], default: str = "") -> Answer:
    """The answer as `read` takes it; an empty one stands for the default. A ValueError of `read` is said, and the
    question put again.

    InputError where the answers end, or where a pipe gives none that holds.
    """
    refused = 0
    while True:
        click.echo(f"{question}{f' [{default}]' if default else ''}: ", nl=False)
        try:
            line = input()
        except EOFError as error:
            click.echo()
            raise InputError(
                f'The answers ended at "{question}". Nothing was written: answer it, or run haysel init on a terminal.'
            ) from error
        if not sys.stdin.isatty():
            # A pipe shows no answer by itself.
            click.echo(line)
        try:
            return read(line.strip() or default)
        except ValueError as error:
            say(str(error), "  ")
            refused += 1
            if refused == _MOST_REFUSED and not sys.stdin.isatty():
                raise InputError(
                    f'The last {refused} answers to "{question}" do not hold. Nothing was written: answer it, or run '
                    "haysel init on a terminal."
                ) from error


def text(answer: str) -> str:
    """Any words, at least one."""
    if not answer:
        raise ValueError("An answer is needed here.")
    return answer


def yes_or_no(answer: str) -> bool:
    """Yes or no."""
    if answer.lower() not in _YES_NO:
        raise ValueError("Write yes or no.")
    return _YES_NO[answer.lower()]


def one_of(known: Sequence[str]) -> Callable[[str], str]:
    """One of these words, however it is spaced and cased."""

    def read(answer: str) -> str:
        word = answer.lower().replace(" ", "_").replace("-", "_")
        if word not in known:
            from planner.config.faults import nearest

            raise ValueError(f'There is no "{answer}".{nearest(word, known)} Known: {", ".join(known)}.')
        return word

    return read


def some_of(known: Sequence[str]) -> Callable[[str], list[str]]:
    """Some of these words, by number or name, with commas between; `all` for all of them."""

    def read(answer: str) -> list[str]:
        if answer.lower() == "all":
            return list(known)
        found = []
        for part in (one.strip() for one in answer.split(",") if one.strip()):
            if part.isdigit() and not 1 <= int(part) <= len(known):
                raise ValueError(f"{part} is not on the list: write numbers from 1 to {len(known)}.")
            found.append(known[int(part) - 1] if part.isdigit() else one_of(known)(part))
        if not found:
            raise ValueError("Write at least one, by number or name.")
        return list(dict.fromkeys(found))

    return read


def amount(unit: str, system: System) -> Callable[[str], float]:
    """A number in the metric unit; without a unit behind it, in the one that the keeper reads."""
    ways = {shown_unit(unit, one).sign: shown_unit(unit, one) for one in (METRIC, IMPERIAL)}
    ways |= {sign.replace("²", "2"): way for sign, way in list(ways.items())}

    example = f"12 or 12 {unit}" if unit else "12"

    def read(answer: str) -> float:
        text(answer)
        found = _AMOUNT.fullmatch(with_point(answer))
        sign = (
            shown_unit(unit, system).sign if found is None or found["unit"] is None else found["unit"].strip()
        )
        if found is None or sign not in ways:
            raise ValueError(f'"{answer}" is not an amount: write a number, such as {example}.')
        way = ways[sign]
        return (
            float(found["number"])
            if way.factor == 1.0
            else float(f"{way.metric(float(found['number'])):.4g}")
        )

    return read


def angle(answer: str, sides: str) -> float:
    """Degrees with a sign, or with one of two letters behind it (`NS` or `EW`)."""
    found = _ANGLE.fullmatch(text(answer))
    side = (found["side"] or sides[0]).upper() if found is not None else ""
    if found is None or side not in sides:
        raise ValueError(f'"{answer}" is not an angle: write degrees such as 51.62, or 51.62 {sides[0]}.')
    number = float(found["number"])
    return -number if side == sides[1] else number


def holding(part: type[BaseModel], key: str, read: Callable[[str], Answer]) -> Callable[[str], Answer]:
    """The same, held against what the config allows for that key."""
    from pydantic import ValidationError

    from planner.config.faults import faults_of

    def checked(answer: str) -> Answer:
        value = read(answer)
        try:
            part.model_validate({key: value})
        except ValidationError as error:
            for fault in faults_of(error, "", part, only=lambda place: place[:1] == (key,)):
                raise ValueError(fault.says.replace(f" (seen: {value!r})", "")) from error
        return value

    return checked
