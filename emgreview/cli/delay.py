"""``delay``: how much later than its marker a light or sound came, measured by a channel that saw or heard it."""

import argparse
import dataclasses
from typing import Any

import emgreview as er
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_source, number
from emgreview.cli.saying import put, to_json
from emgreview.cli.source import left_out, recordings_of
from emgreview.cli.words import in_shell_lines


def _delay_options(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "It measures and moves nothing. A constant delay of a channel is declared beside it in study.toml (delay_ms); "
        "markers are moved in Python: er.measure_delay(...).apply(rec). Cues in the channel itself are found by "
        "--pulses of the other commands."
    )
    add_source(parser)
    parser.add_argument("--channel", required=True, help="the channel of a photodiode or microphone")
    parser.add_argument("--cue", required=True, help="label of the markers")
    parser.add_argument(
        "--level",
        dest="crossed",  # level and edge are of cues to be found, which these are not
        required=True,
        type=number,
        metavar="X",
        help="level that it crosses, in the channel's own unit",
    )
    parser.add_argument(
        "--edge",
        dest="way",
        choices=("rising", "falling", "both"),
        default="rising",
        help="which crossings count (rising)",
    )
    parser.add_argument(
        "--near",
        type=number,
        default=0.2,
        metavar="S",
        help="a crossing belongs to a marker up to so many seconds away (0.2)",
    )


def _delay(given: argparse.Namespace) -> Status:
    reports: list[dict[str, Any]] = []
    fine = True
    for name, rec in recordings_of(given):
        if rec is None:
            continue
        try:
            found = er.measure_delay(
                rec, given.channel, cue=given.cue, level=given.crossed, edge=given.way, within_s=given.near
            )
        except er.EmgreviewError as error:
            given.problems[name] = str(error)
            continue
        fine &= found.constant and not found.notes
        report = dataclasses.asdict(found) | {"seen": len(found.each_s)}
        reports.append(report)
        if not given.json:
            put(in_shell_lines(f"{name}\n{found!r}"))
    if given.json:
        put(to_json({"notes": [*given.notes, *left_out(given)], "recordings": reports}))
    return FINE if reports and fine and not given.problems else NOT_FINE


DELAY = Command(
    "delay",
    "how much later than its marker a light or sound came, and whether that is constant",
    _delay_options,
    _delay,
)
