"""Options that several commands take, and the values that they hold: what is no such value is told as mistyped.

add_source          the recordings, and how they are read
add_pulses          cues found in a channel
add_window          how trials are cut
add_expect          how many cues there should be
add_band            the band-pass alone
add_parameters      parameters of the onset method
add_browser         where a page is served, and whether it is opened
add_two_reviewers   a review folder and two of its reviewers
number, whole, columns, unit, setting   types of values that single commands take, too
"""

import argparse
from pathlib import Path
from typing import Any

from emgreview.errors import ReadError
from emgreview.plain_files import read_json


def add_source(parser: argparse.ArgumentParser) -> None:
    parser.set_defaults(
        only=None, told=(), pulses=None, codes=None, level=None, edge=None, mask=None, hold_off=None
    )  # of the commands that have them
    parser.add_argument(
        "path",
        type=Path,
        help="one recording, a BIDS dataset, a folder of recordings, or a study's description (.toml)",
    )
    parser.add_argument("--rate", type=number, metavar="HZ", help="sampling rate; text files must be told")
    parser.add_argument(
        "--unit",
        type=unit,
        metavar="UNIT",
        help="V, mV, uV, nV or arbitrary; text files must be told; or one a column, in the order of --columns: "
        "mV,mV,V; or by channel: FCR=mV,TRIGGER=V",
    )
    parser.add_argument(
        "--columns",
        type=columns,
        metavar="A,B,-",
        help="labels of a text file's columns, - for one to leave out; elsewhere, of those to keep",
    )
    parser.add_argument(
        "--layout",
        nargs=2,
        action="append",
        default=[],
        metavar=("NAME", "VALUE"),
        help="what else has to be said of one file, as look proposes it: --layout header 2 --layout decimal ,",
    )
    add_missing(parser)


def add_missing(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--missing",
        action="append",
        metavar="TEXT",
        help="what stands for a missing sample in text files, beside nan; '' for an empty cell; may be given again: "
        "--missing NA --missing -999 --missing ''",
    )


def add_pulses(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--pulses", metavar="CHANNEL", help="find the cues in this channel of pulses; needs --level and --hold-off"
    )
    parser.add_argument(
        "--codes",
        metavar="CHANNEL",
        help="find the cues in this channel of digital codes, called by a name and the code: --cue 'go 5'; needs "
        "--hold-off",
    )
    parser.add_argument(
        "--level", type=number, metavar="X", help="level that a pulse crosses, in the channel's own unit"
    )
    parser.add_argument("--edge", choices=("rising", "falling", "both"), help="which crossings are cues (rising)")
    parser.add_argument(
        "--mask", type=_mask, metavar="BITS", help="the bits of a code that count, 255 or 0xff for example (0xffff)"
    )
    parser.add_argument(
        "--hold-off",
        type=number,
        metavar="S",
        help="seconds after a cue in which crossings count for nothing; of codes, in which several changes are one",
    )


def add_window(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cue", required=True, help="label of the marker that starts a trial")
    parser.add_argument("--before", required=True, type=number, metavar="S", help="seconds before the cue")
    parser.add_argument("--after", required=True, type=number, metavar="S", help="seconds after the cue")
    add_expect(parser)
    add_band(parser)
    add_pulses(parser)


def add_expect(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--expect",
        type=whole,
        metavar="N",
        help="cues of each recording: where there are more or fewer it is told, and the exit status is 1",
    )


def add_band(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--band",
        nargs=2,
        type=_edge_hz,
        metavar=("LOW", "HIGH"),
        help="band-pass in Hz, none as HIGH for no upper edge (20 450); recordings of 200 or 500 Hz need a lower HIGH, "
        "20 90 or 20 200 for example",
    )


def add_parameters(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        type=setting,
        metavar="NAME=VALUE",
        help="a parameter of the method: resolution_s=0.002 of ramp, shortest_s=0.05 of double-threshold, for example; "
        "may be given again",
    )


def add_browser(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--no-browser", dest="browser", action="store_false", help="print the address, open nothing")
    parser.add_argument("--port", type=_port, default=0, metavar="N", help="a free one unless told")


def add_two_reviewers(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="the folder that holds 'logs'")
    parser.add_argument("first", metavar="FIRST", help="the code of one reviewer")
    parser.add_argument("second", metavar="SECOND", help="the code of the other")


def number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} came; give a number, with a point and no unit: 1.5") from None


def whole(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} came; give a whole number: 40") from None


def _port(text: str) -> int:
    if text.isdecimal() and int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} came; give a port from 1024 to 65535, or 0 for a free one")


def columns(text: str) -> list[str | None]:
    return [None if label.strip() == "-" else label.strip() for label in text.split(",")]


def unit(text: str) -> str | list[str] | dict[str, str]:
    parts = [part.strip() for part in text.split(",")]
    if not any("=" in part for part in parts):
        return parts if len(parts) > 1 else parts[0]
    if bare := [part for part in parts if "=" not in part]:
        raise argparse.ArgumentTypeError(
            f"{text!r} names the channel of some units and not of {', '.join(bare)}; give one unit for all (mV), one "
            "a column (mV,mV,V), or one by channel (FCR=mV,TRIGGER=V)"
        )
    return {label.strip(): unit.strip() for label, _, unit in (part.rpartition("=") for part in parts)}


def setting(text: str) -> tuple[str, Any]:
    name, sign, value = text.partition("=")
    if not (name.strip() and sign and value.strip()):
        raise argparse.ArgumentTypeError(
            f"{text!r} came; give a parameter and its value: --set shortest_s=0.05 with --method double-threshold"
        )
    try:
        return name.strip(), read_json(value.encode(errors="replace"))
    except ReadError:  # no JSON: text
        return name.strip(), value.strip()


def _edge_hz(text: str) -> float | None:
    if text.casefold() == "none":
        return None
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no frequency; give two numbers in Hz: --band 20 200") from None


def _mask(text: str) -> int:
    try:
        if (bits := int(text, 0)) > 0:
            return bits
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"{text!r} came; give the bits as a whole number above 0: --mask 255, or 0xff")
