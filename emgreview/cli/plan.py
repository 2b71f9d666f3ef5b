"""``plan``: from a movement to muscles, a session sheet to print, BIDS files to fill in, and the plan as a file."""

import argparse
from pathlib import Path

import emgreview as er
from emgreview.cli.beforehand import demand_new
from emgreview.cli.command import FINE, Command, Status
from emgreview.cli.options import number
from emgreview.cli.saying import say, tell


def _options(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "The plan describes where others have placed pads, each fact with its source; it gives no instructions. Not a "
        "medical device: trained staff, the lab's hygiene rules and the person decide."
    )
    parser.add_argument("words", nargs="*", metavar="MOVEMENT", help="in plain words: turn a handle")
    parser.add_argument("--muscles", metavar="A,B", help="record these, in place of those proposed: BB,BR,FCR")
    parser.add_argument("--side", choices=("right", "left", "both"), default=None, help="side of the body (right)")
    parser.add_argument(
        "--posture", action="append", default=[], metavar="TEXT", help="a posture in your words; may be given again"
    )
    parser.add_argument("--rate", type=number, metavar="HZ", help="sampling rate")
    parser.add_argument("--mains", type=number, metavar="HZ", help="frequency of the mains")
    parser.add_argument(
        "--from", dest="file", type=Path, metavar="plan.toml", help="a plan that was saved, in place of it all"
    )
    parser.add_argument("--sheet", type=Path, metavar="FILE.html", help="write the session sheet, to print")
    parser.add_argument("--bids", type=Path, metavar="FOLDER", help="write the BIDS files to fill in, in a new folder")
    parser.add_argument("--save", type=Path, metavar="plan.toml", help="write the plan, to fill in by a text editor")


def _plan(given: argparse.Namespace) -> Status:
    for place, what in ((given.sheet, "file"), (given.save, "file"), (given.bids, "folder")):
        demand_new(place, what)
    if given.file is not None:
        if given.words or given.muscles or given.posture or given.side or given.rate or given.mains:
            raise er.EmgreviewError(
                "--from came with a movement, muscles, side, posture, rate or mains; a saved plan says all of it; "
                "leave the others out, or change the file."
            )
        made = er.read_plan(given.file)
    else:
        names = None if given.muscles is None else [one.strip() for one in given.muscles.split(",") if one.strip()]
        said = {name: one for name, one in (("rate_hz", given.rate), ("mains_hz", given.mains)) if one is not None}
        if not given.words and names is None:
            raise er.EmgreviewError("no movement and no muscles came; say which: emgreview plan turn a handle.")
        made = er.plan(
            " ".join(given.words) or None, muscles=names, side=given.side or "right", postures=given.posture, **said
        )
    tell(given, made.to_dict(), repr(made))
    if given.sheet is not None:
        say(f"session sheet written to {made.sheet(given.sheet)}")
    if given.bids is not None:
        made.write_bids(given.bids)
        say(f"BIDS files to fill in written to {given.bids}")
    if given.save is not None:
        say(f"plan written to {made.save(given.save)}")
    return FINE


PLAN = Command("plan", "plan a recording: muscles, a session sheet to print, what is missing", _options, _plan)
