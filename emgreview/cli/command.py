"""What a command is: its name, what the help says of it, its options, and the function that runs it.

Command             one line of the table in :mod:`emgreview.cli`
FINE, NOT_FINE      how a command ends; 2 is for what was mistyped
"""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Status = int
FINE, NOT_FINE = 0, 1


@dataclass(frozen=True, slots=True)
class Command:
    """A command of the shell; ``options`` adds to its parser what ``run`` finds in the namespace."""

    name: str
    words: str
    options: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], Status]

    def add_to(self, commands: Any) -> None:
        """Make its parser; ``commands`` is what ``add_subparsers`` returned."""
        parser: argparse.ArgumentParser = commands.add_parser(
            self.name, help=self.words, description=f"{self.words[0].upper()}{self.words[1:]}."
        )
        parser.set_defaults(run=self.run, parser=parser, command=self.name)
        parser.add_argument("--json", action="store_true", help="JSON instead of text for people")
        self.options(parser)
