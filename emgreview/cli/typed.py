"""What was typed, taken apart: mistakes in one line that says what came and what is allowed, without the usage page.

Parser              an argument parser that speaks so
parsed              the arguments of one command
named               a message about parameters of an onset method names the option that they came by
"""

import argparse
import dataclasses
import difflib
import re
from collections.abc import Iterable, Sequence
from typing import NoReturn

from emgreview.cli.words import OPTIONS

_SAID: tuple[tuple[str, str], ...] = (
    (r"^the following arguments are required: (.+)$", r"missing: \1; give what is missing"),
    (r"^argument (?P<what>.+): invalid choice: (?P<came>.+?) \(choose from (?P<all>.+)\)$", ""),
    (r"^argument (.+): expected one argument$", r"\1 came without its value; give it"),
    (r"^argument (.+): expected (\d+) arguments$", r"\1 came without its \2 values; give them"),
    (r"^argument (.+): ignored explicit argument (.+)$", r"\1 takes no value, and \2 came; leave the value out"),
    (r"^ambiguous option: (.+) could match (.+)$", r"\1 may be any of \2; write out which"),
    (r"^argument (-\S+|\w+): ", r"\1: "),
)


class Parser(argparse.ArgumentParser):
    """Ends with status 2 and one line; the usage page is for --help."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {_mistyped(message)}; {self.prog} --help tells more.\n")


def parsed(parser: argparse.ArgumentParser, arguments: Sequence[str]) -> argparse.Namespace:
    """The arguments of the command that they begin with; its parser is their ``parser``. What it does not know is told
    by it, with what is spelt alike."""
    given, strange = parser.parse_known_args(_held_together(arguments))
    if strange:
        of = given.parser
        options = [option for action in of._actions for option in action.option_strings if option.startswith("--")]
        close = difflib.get_close_matches(strange[0].partition("=")[0], options, n=1)
        meant = f"did you mean {close[0]}" if close else "leave it out"
        if not strange[0].startswith("-"):
            meant += ", or put it in quotes together with what stands before it, where a name holds spaces"
        of.error(f"{' '.join(strange)} came, which this command does not take; {meant}")
    return given


def named(given: argparse.Namespace, words: str) -> str:
    """A message with the parameters of the onset method as the command line names them."""
    settings = dict(getattr(given, "set", ()))
    if not settings:
        return words
    from emgreview.detecting import METHOD  # heavy: every onset method, for this message alone
    from emgreview.signal.onset import METHODS

    method = getattr(given, "method", None) or METHOD
    known = [field.name for field in dataclasses.fields(METHODS[method][1])] if method in METHODS else []
    return _names_settings(words, settings, known)


def _names_settings(message: str, given: Iterable[str], known: Iterable[str]) -> str:
    """A message in which parameters of a method, ``known``, are named as --set names them, where any was given so."""
    if not list(given):
        return message
    if message.startswith("no parameter of method "):
        head, there_are, names = message.partition("; there are: ")
        names, stop, more = names.partition(".")
        listed = ", ".join(f"'{name}'" for name in names.split(", "))
        return f"{head} (--set NAME=VALUE){there_are}{listed}{stop}{more}"
    for name in known:
        shown = f"'{name}'" if name in OPTIONS else name
        message = re.sub(rf"(?<![-\w]){re.escape(name)} (?=came as )", f"--set {shown} ", message)
    return message


def _held_together(arguments: Sequence[str]) -> list[str]:
    """``--columns -,FDI`` as ``--columns=-,FDI``: what begins with a dash would be taken for an option."""
    joined: list[str] = []
    for argument in arguments:
        if joined and joined[-1] in ("--columns", "--unit") and (argument == "-" or argument.startswith("-,")):
            joined[-1] += f"={argument}"
        else:
            joined.append(argument)
    return joined


def _mistyped(message: str) -> str:
    for pattern, words in _SAID:
        found = re.match(pattern, message)
        if found and words:
            return re.sub(pattern, words, message)
        if found:
            choices = [choice.strip().strip("'") for choice in found["all"].split(",")]
            close = difflib.get_close_matches(found["came"].strip("'"), choices, n=1)
            meant = f"did you mean {close[0]}" if close else "give one of them"
            came = f"{found['what']} came as {found['came']}" if found["what"][0] == "-" else f"{found['came']} came"
            if found["what"] == "COMMAND":
                came = f"no command is called {found['came']}"
            return f"{came}; allowed: {', '.join(choices)}; {meant}"
    return message
