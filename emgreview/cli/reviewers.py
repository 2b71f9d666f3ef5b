"""The people of a review: ``agreement`` tells how far two reviewers agree, ``adjudicate`` on what they do not;
``withdraw`` deletes the logs of a participant."""

import argparse
import dataclasses
from pathlib import Path

import emgreview as er
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_two_reviewers, number
from emgreview.cli.saying import put, say, tell, to_json


def _agreement_options(parser: argparse.ArgumentParser) -> None:
    add_two_reviewers(parser)


def _agreement(given: argparse.Namespace) -> Status:
    found = er.agreement(given.folder, given.first, given.second)
    tell(given, found.to_dict(), str(found))
    return FINE


AGREEMENT = Command("agreement", "how far two reviewers agree, in words and in time", _agreement_options, _agreement)


def _adjudicate_options(parser: argparse.ArgumentParser) -> None:
    add_two_reviewers(parser)
    parser.add_argument("--third", metavar="CODE", help="the reviewer who settles: show what is left")
    parser.add_argument("--within", type=number, default=10, metavar="MS", help="onsets so near are the same (10)")


def _adjudicate(given: argparse.Namespace) -> Status:
    from emgreview.tables import to_tsv  # heavy: pandas, which the other commands can do without

    merged = er.merge_reviews(given.folder, given.first, given.second, given.third, within_ms=given.within)
    table = merged.disputes
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    put(to_json(rows) if given.json else to_tsv(table).decode(), end="\n" if given.json else "")
    if given.third and not any(log.endswith(f"_reviewer-{given.third}.jsonl") for log in merged.heads):
        say(f"{given.third} has no log here yet, and has settled nothing.")
    if merged.disputed:
        say(
            f"{len(merged.disputed)} disputes are left, {len(merged.unsettled)} of them said to be beyond settling, "
            f"{len(merged.reopened)} open again after a change; a session in a notebook settles them."
        )
    else:
        say("No dispute is left.")
    if len(kept := merged.left_out):
        both = int(kept["said_by"].str.contains(", ").sum())
        say(f"Kept out of every analysis, or set aside: {both} by both, {len(kept) - both} by one alone; all stand.")
    return NOT_FINE if merged.disputed else FINE


ADJUDICATE = Command("adjudicate", "what two reviewers disagree on, as a table", _adjudicate_options, _adjudicate)


def _withdraw_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="the folder that holds 'logs'")
    parser.add_argument("participant", nargs="?", metavar="PARTICIPANT", help="the code, with or without sub-")
    parser.add_argument(
        "--recording", action="append", default=[], metavar="NAME", help="in its place, a recording; may come again"
    )
    parser.add_argument("--reviewer", required=True, metavar="CODE", help="who says it; the logs of others keep it")
    parser.add_argument("--reason", required=True, metavar="WHY", help="why; the logs keep it; no names of people")
    parser.add_argument(
        "--version", action="append", default=[], metavar="NAME", help="a sealed version to delete too; may come again"
    )


def _withdraw(given: argparse.Namespace) -> Status:
    done = er.withdraw(
        given.folder,
        given.participant,
        reviewer=given.reviewer,
        reason=given.reason,
        recordings=given.recording,
        versions=given.version,
    )
    tell(given, dataclasses.asdict(done), str(done))
    return FINE


WITHDRAW = Command(
    "withdraw", "delete the logs of a participant for good, and keep that in the others", _withdraw_options, _withdraw
)
