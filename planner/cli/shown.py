"""The units in which this call of a command is read: those of the site it is about, told once it is known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from planner.reports.shown_units import ShownUnit, System

_KEY = "haysel.units"


def read_in(system: System) -> None:
    """From now on the texts of this call are in these units."""
    context = click.get_current_context(silent=True)
    if context is not None:
        context.meta[_KEY] = system


def units_read() -> System:
    """The units of this call; metric until a site is known."""
    context = click.get_current_context(silent=True)
    return "metric" if context is None else context.meta.get(_KEY, "metric")


def as_read(text: str) -> str:
    """The text in the units of this call. What turns it is loaded only where something is turned."""
    if units_read() == "metric":
        return text
    from planner.reports.retold import retell

    return retell(text, units_read())


def unit_read(unit: str) -> ShownUnit:
    """How figures of a metric unit are read in this call."""
    from planner.reports.shown_units import shown_unit

    return shown_unit(unit, units_read())
