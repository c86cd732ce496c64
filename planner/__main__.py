"""The `haysel` command."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; faults are written in words to stderr."""
    from planner.cli import commands

    sys.exit(commands.run())


if __name__ == "__main__":
    main()
