"""``bench``: how accurate the onset methods are, and what ``check`` finds, where the truth is known."""

import argparse
import dataclasses
from pathlib import Path

import emgreview as er
from emgreview.bench.plan import COMPARATORS, EMG_METHODS
from emgreview.cli.beforehand import demand_new
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import whole
from emgreview.cli.saying import progress, say, tell


def _bench_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "what",
        choices=("onsets", "findings"),
        help="onsets: every onset method; findings: what check finds, and misses",
    )
    parser.add_argument(
        "--trials",
        type=whole,
        default=500,
        metavar="N",
        help="trials a cell of the grid, or clean recordings (onsets, 500: an hour or so)",
    )
    parser.add_argument(
        "--part",
        action="append",
        metavar="NAME",
        help="this part, may be given again: grid, troubles, quiet, untrusted, rates, shapes, others, filters (all)",
    )
    parser.add_argument(
        "--methods",
        type=_methods,
        metavar="A,B",
        help="of onsets: these methods; figures to reach are judged with ramp and what it is compared with among them "
        f"({','.join(EMG_METHODS)})",
    )
    parser.add_argument("--seed", type=whole, metavar="N", help="other trials than those of the table in the pages")
    parser.add_argument("--open-data", type=Path, metavar="FOLDER", help="holds the open forearm recordings")
    parser.add_argument("--out", type=Path, metavar="FOLDER", help="a new folder for report, tables and figures")


def _methods(text: str) -> list[str]:
    return [name.strip() for name in text.split(",")]


def _bench(given: argparse.Namespace) -> Status:
    demand_new(given.out, "folder")
    seed = {} if given.seed is None else {"seed": given.seed}
    if given.what == "findings":
        if ignored := [option for option in ("--part", "--methods") if getattr(given, option[2:]) is not None]:
            raise er.EmgreviewError(
                f"{' and '.join(ignored)} came for findings, which have neither parts nor methods; nothing was run; "
                "leave it out, or write bench onsets."
            )
        found = er.bench_findings(recordings=given.trials, open_data=given.open_data, progress=progress, **seed)
        tell(given, found.to_dict(), found.text())
        if given.out is not None:
            say(f"written to {found.write(given.out)}")
        return FINE if found.reached else NOT_FINE
    asked = seed | ({} if given.part is None else {"parts": given.part})
    asked |= {} if given.methods is None else {"methods": given.methods}
    report = er.bench_onsets(trials=given.trials, open_data=given.open_data, progress=progress, **asked)
    figures = [dataclasses.asdict(figure) for figure in report.figures]
    if not report.figures:
        say(
            "note: no figure to reach was judged; that takes the grid or troubles, and the methods ramp, "
            f"{' and '.join(COMPARATORS)}."
        )
    tell(given, {"facts": report.facts} | report.tables | {"figures": figures}, report.text())
    if given.out is not None:
        say(f"written to {report.write(given.out)}")
    return FINE if report.figures and all(figure.reached for figure in report.figures) else NOT_FINE


BENCH = Command("bench", "how accurate the onset methods are, or what check finds", _bench_options, _bench)
