"""The command line: each command is one public function with files around it. ``emgreview COMMAND --help`` tells more.

    demo        write the demo study, and open the review notebook on it
    look        what a file holds, and the call that reads it
    study       describe a folder of a lab's own files, and show what it makes
    check       are the EMG channels of a recording, or of a folder of them, fit for use
    detect      onsets of every trial and channel, as a table
    review      the review screen in a browser, without a notebook
    measure     measures of every burst of a sealed version, as a table
    delay       how much later than its marker a light or sound came
    contractions    test contractions: who hears whom, exchanged leads, weak sites, maximal efforts
    involvement in how many trials activity over each muscle exceeds the person's own rest range
    agreement   how far two reviewers of a folder agree, in words and in time
    adjudicate  what two reviewers disagree on, and what a third has settled, as a table
    withdraw    delete the logs of a participant for good; the rest of the review goes on
    verify      check every log and every sealed version of a review folder
    diff        what changed between two versions, or any two points of the logs
    seal        seal a version without a screen, with or without a rule for inclusion
    replay      rebuild a sealed version from raw recordings and logs, and compare
    convert     recordings as a BIDS dataset, without what says who was recorded
    summarise   everybody of a study in one table: one row a person, session and channel
    participants    who is odd, why, and by how much
    muscles     which muscles make a movement, what pads over them hear, what labels of channels mean
    plan        plan a recording: muscles of a movement, a session sheet to print, BIDS files, what is missing
    bench       how accurate the onset methods are, and what check finds, where the truth is known

Text for people goes to standard output, or JSON with ``--json``; notes and errors go to standard error, one line each.
The exit status is 0 only when all is well, 1 when something was found, left out, not as expected or failed, 2 when the
command was mistyped.

One module holds commands that belong together, the options of each beside its function: ``recordings.py`` (demo,
look), ``check.py``, ``delay.py``, ``convert.py``, ``bursts.py`` (detect, measure), ``reviews.py`` (review, verify,
diff, seal, replay), ``reviewers.py`` (agreement, adjudicate, withdraw), ``contractions.py`` (contractions,
involvement), ``study.py``, ``people.py`` (summarise, participants), ``muscles.py``, ``plan.py`` and
``bench.py``. They stand on ``options.py`` (for several),
``source.py`` (from these to recordings and trials), ``cues.py`` (cues in a channel of pulses or codes, and what is said
of cues), ``beforehand.py`` (what is demanded before work begins), ``watching.py`` (files as they appear), ``saying.py``
(what is printed), ``typed.py`` (what was mistyped), ``words.py`` (messages in the words of a shell) and ``command.py``.
"""

import argparse
import os
import sys
import warnings
from collections.abc import Iterable, Mapping, Sequence
from importlib import import_module
from types import MappingProxyType

import emgreview as er
from emgreview.cli.command import NOT_FINE, Command, Status
from emgreview.cli.saying import forget, say, show_warning
from emgreview.cli.typed import Parser, named, parsed
from emgreview.unnamed import alike

COMMANDS: Mapping[str, str] = MappingProxyType({
    "demo": "recordings", "look": "recordings", "study": "study", "check": "check",
    "detect": "bursts", "review": "reviews", "measure": "bursts", "delay": "delay", "contractions": "contractions",
    "involvement": "contractions", "agreement": "reviewers", "adjudicate": "reviewers", "withdraw": "reviewers",
    "verify": "reviews", "diff": "reviews", "seal": "reviews", "replay": "reviews", "convert": "convert",
    "summarise": "people", "participants": "people",
    "muscles": "muscles", "plan": "plan", "bench": "bench",
})  # fmt: skip
"""Every command, in the order of the help, and the module that holds it, loaded when it is asked for: what each of
them needs takes longer to load than many a command to run."""


def command(name: str) -> Command:
    """A command by its name, from its module, where it is called so in capitals."""
    found: Command = getattr(import_module(f"emgreview.cli.{COMMANDS[name]}"), name.upper())
    return found


def main() -> None:
    """Run the command in ``sys.argv``; ends the process with its exit status."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: Sequence[str]) -> Status:
    """Run one command and return its exit status; errors of the package become one line on standard error."""
    wanted = arguments[:1] if arguments and arguments[0] in COMMANDS else COMMANDS
    given = parsed(_parser(wanted), arguments)
    given.notes, given.problems, given.as_expected = [], {}, True
    with warnings.catch_warnings():
        warnings.simplefilter("always", er.SignalWarning)
        warnings.simplefilter("always", er.DecisionWarning)
        warnings.showwarning = show_warning
        forget()
        try:
            try:
                status: Status = given.run(given)
            finally:
                for whose, words in alike(given.problems).items():
                    say(f"emgreview: {whose}: {named(given, words)}")
            sys.stdout.flush()
        except er.EmgreviewError as error:
            say(f"emgreview: {named(given, str(error))}")
            return NOT_FINE
        except KeyboardInterrupt:
            say("emgreview: ended by the keyboard")
            return NOT_FINE
        except BrokenPipeError:  # the reader of our output has gone; nothing more can be said to it
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return NOT_FINE
        except OSError as error:
            where = f" of {error.filename}" if error.filename else ""
            say(
                f"emgreview: the system says {error.strerror or error!r}{where}; the command did not end its work; "
                "look whether that place exists, is of the right kind, may be read and written, and has room, and run "
                "it again."
            )
            return NOT_FINE
    return status


def _parser(wanted: Iterable[str] = COMMANDS) -> argparse.ArgumentParser:
    """With the options of those commands."""
    parser = Parser(prog="emgreview", description="Review surface EMG trial by trial.")
    parser.set_defaults(parser=parser)
    parser.add_argument("--version", action="version", version=f"emgreview {er.__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for name in wanted:
        command(name).add_to(commands)
    return parser
