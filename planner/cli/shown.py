"""The units in which this call of a command is read: those of the site it is about, told once it is known."""

from __future__ import annotations

import click

from planner.reports.shown_units import METRIC, System

_KEY = "haysel.units"


def read_in(system: System) -> None:
    """From now on the texts of this call are in these units."""
    context = click.get_current_context(silent=True)
    if context is not None:
        context.meta[_KEY] = system


def units_read() -> System:
    """The units of this call; metric until a site is known."""
    context = click.get_current_context(silent=True)
    return METRIC if context is None else context.meta.get(_KEY, METRIC)
