"""The table of commands, and how faults leave."""

from __future__ import annotations

import sys
import textwrap
from importlib import import_module

import click

from planner import __version__
from planner.errors import PlannerError

#: Command -> the module that holds it; loaded only when it is called.
COMMANDS = {
    "demo": "planner.cli.running",
    "init": "planner.cli.init",
    "check": "planner.cli.running",
    "refresh": "planner.cli.running",
    "fleet": "planner.cli.fleet",
    "days": "planner.cli.reading",
    "windows": "planner.cli.reading",
    "explain": "planner.cli.reading",
    "warnings": "planner.cli.reading",
    "week": "planner.cli.reading",
    "now": "planner.cli.reading",
    "hindcast": "planner.cli.hindcast",
    "verify": "planner.cli.verify",
    "calibrate": "planner.cli.mix",
    "serve": "planner.cli.running",
    "diary": "planner.cli.diary",
    "reading": "planner.cli.readings",
    "mix": "planner.cli.mix",
    "backup": "planner.cli.backup",
    "restore": "planner.cli.backup",
}


class Lazy(click.Group):
    """A group that loads a command's module when the command is named."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command: click.Command = getattr(import_module(COMMANDS[name]), name)
        return command


@click.group(cls=Lazy)
@click.version_option(__version__, prog_name="haysel")
def haysel() -> None:
    """Which hours suit which turf job, and what the weather is about to spoil."""


def run(args: list[str] | None = None) -> int:
    """Exit status: 0 done, 2 the input is wrong, 3 no usable forecast, 1 our fault."""
    try:
        haysel.main(args=args, prog_name="haysel", standalone_mode=False)
    except PlannerError as error:
        for line in str(error).splitlines():
            # A line of a file, a path or an address stays whole.
            click.echo(textwrap.fill(line, 80, break_long_words=False, break_on_hyphens=False), err=True)
        return error.exit_code
    except click.exceptions.Exit as error:
        return error.exit_code
    except click.Abort:
        return 130
    except click.ClickException as error:
        error.show()
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    return 0
