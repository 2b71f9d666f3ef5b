"""``muscles``: which muscles make a movement, what pads over one hear besides, and what labels of channels mean."""

import argparse
from pathlib import Path

import emgreview as er
from emgreview.cli.beforehand import demand_new
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.saying import say, tell
from emgreview.muscles.page import write_page


def _muscles_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "words", nargs="*", metavar="WORDS", help="a muscle, or a movement in plain words: bend the elbow (all muscles)"
    )
    parser.add_argument("--movement", metavar="TEXT", help="muscles that make or help this movement")
    parser.add_argument("--heard-by", metavar="MUSCLE", help="what pads over this muscle hear besides")
    parser.add_argument("--hears", metavar="MUSCLE", help="muscles over which pads hear this one, or the heart, too")
    parser.add_argument("--superficial", action="store_true", help="those right under the skin alone")
    parser.add_argument("--match", metavar="A,B", help="in place of all that: what these labels of channels mean")
    parser.add_argument(
        "--say",
        action="append",
        default=[],
        metavar="LABEL=MUSCLE",
        help="the answer to a question of --match, or none",
    )
    parser.add_argument("--page", type=Path, metavar="FILE.html", help="write them as a page to browse and print")


def _muscles(given: argparse.Namespace) -> Status:
    demand_new(given.page)
    if given.match is not None:
        return _match(given)
    found = er.muscles(
        " ".join(given.words) or None,
        movement=given.movement,
        heard_by=given.heard_by,
        hears=given.hears,
        superficial=given.superficial or None,
    )
    one = len(found) == 1 and given.words and not found.movements
    tell(given, found.to_dict(), repr(found.muscles[0] if one else found))
    if given.page is not None:
        say(f"written to {write_page(given.page, found)}")
    return FINE if len(found) else NOT_FINE


def _match(given: argparse.Namespace) -> Status:
    if given.words or given.page is not None:
        raise er.EmgreviewError("--match came with WORDS or --page; it takes labels alone; leave the others out.")
    said = {label: name if name != "none" else None for label, _, name in (one.rpartition("=") for one in given.say)}
    found = er.match_muscles([label.strip() for label in given.match.split(",")], said=said)
    tell(given, found.to_dict(), repr(found))
    return NOT_FINE if found.questions or found.unknown else FINE


MUSCLES = Command(
    "muscles", "which muscles make a movement, what pads hear, what labels mean", _muscles_options, _muscles
)
