"""The commands: ``fairhearing hear``, ``score``, ``seat``, ``demo``…

Each command is one module of :mod:`fairhearing.commands` with ``add_arguments`` and ``run``;
it is imported only when it is asked for, so that ``--help`` answers at once.
An error that a user can put right is one plain sentence on standard error and exit code 2.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence

from fairhearing import __version__
from fairhearing.core.errors import FairHearingError

COMMANDS: dict[str, str] = {
    "demo": "an invented season, complete: heard, scored, seated and shown",
    "packet": "packet PDFs, parts and practice tracks for every instrument",
    "hear": "the hearing of one or many takes",
    "panel": "who hears whom, in which order",
    "score": "fair scores from judges' marks",
    "seat": "the seat plan with a reason for every student",
}


def build_parser(chosen: str | None = None) -> argparse.ArgumentParser:
    """Return the parser; only the module of the `chosen` command is imported."""
    parser = argparse.ArgumentParser(
        prog="fairhearing",
        description="Placement auditions for a school band, from the packet to the chair.",
    )
    parser.add_argument("--version", action="version", version=f"fairhearing {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, summary in COMMANDS.items():
        sub = commands.add_parser(name, help=summary, description=summary)
        if name == chosen:
            importlib.import_module(f"fairhearing.commands.{name}").add_arguments(sub)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code (0 done, 1 some takes failed, 2 wrong input)."""
    words = list(sys.argv[1:] if argv is None else argv)
    chosen = next((word for word in words if word in COMMANDS), None)
    arguments = build_parser(chosen).parse_args(words)
    module = importlib.import_module(f"fairhearing.commands.{arguments.command}")
    try:
        return int(module.run(arguments))
    except FairHearingError as error:
        print(f"fairhearing {arguments.command}: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Stopped. What was finished is kept; run the same command to go on.", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
