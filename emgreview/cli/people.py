"""People of a study: ``summarise`` a table of everybody, ``participants`` who is odd, and why, on a screen."""

import argparse
import math
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.cli.beforehand import demand_new
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_band, add_browser, add_expect, add_parameters, add_pulses, add_source, number
from emgreview.cli.running import add_running, runner_of
from emgreview.cli.saying import put, rows_to_tsv, tell, to_json
from emgreview.cli.source import processing_of, recordings_of
from emgreview.cli.words import in_shell_lines
from emgreview.plain_files import write_new
from emgreview.signal.onset import checked_method

BEFORE_S, AFTER_S = 1.0, 1.5


def _people_options(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument("--cue", required=True, help="label of the marker that starts a trial")
    parser.add_argument(
        "--before", type=number, default=BEFORE_S, metavar="S", help=f"seconds before the cue ({BEFORE_S:g})"
    )
    parser.add_argument(
        "--after", type=number, default=AFTER_S, metavar="S", help=f"seconds after the cue ({AFTER_S:g})"
    )
    add_expect(parser)
    add_band(parser)
    add_pulses(parser)
    parser.add_argument("--method", default="ramp", help="onset method of automatic marks (ramp)")
    add_parameters(parser)
    parser.add_argument("--response", default="response", metavar="LABEL", help="marker of the response (response)")
    parser.add_argument("--folder", type=Path, help="a review folder, whose version says what was reviewed")
    parser.add_argument("--version", metavar="NAME", help="the sealed version, v1 for example")
    parser.add_argument(
        "--agreement", nargs=2, metavar=("R1", "R2"), help="two reviewers of --folder, for how far they agree"
    )
    parser.add_argument("--floor", action="store_true", help="measure the detection floor too: seconds a channel")
    add_running(parser)


def _found(given: argparse.Namespace) -> Any:
    """The summary that is asked for."""
    if (given.folder is None) != (given.version is None):
        raise er.EmgreviewError("--folder and --version go together; give both, or neither.")
    if given.agreement is not None and given.folder is None:
        raise er.EmgreviewError(
            "--agreement came without --folder; it reads the logs there; give --folder and --version."
        )
    checked_method(given.method, dict(given.set))
    decisions = None if given.folder is None else er.read_version(given.folder, given.version)
    recordings = [rec for _, rec in recordings_of(given) if rec is not None]
    return er.summarise(
        recordings,
        cue=given.cue,
        before_s=given.before,
        after_s=given.after,
        processing=processing_of(given),
        expect=given.expect,
        decisions=decisions,
        method=given.method,
        parameters=dict(given.set),
        response=given.response,
        agreement=None if given.agreement is None else er.agreement(given.folder, *given.agreement),
        floor=given.floor,
        runner=runner_of(given, len(recordings)),
    )


def _plain(rows: Any) -> list[dict[str, Any]]:
    """Rows of a table for JSON: what is missing is null."""
    return [
        {name: None if isinstance(value, float) and not math.isfinite(value) else value for name, value in row.items()}
        for row in rows.to_dict("records")
    ]


def _report(given: argparse.Namespace, found: Any) -> dict[str, Any]:
    return {
        "flags": _plain(found.flags),
        "unlike": _plain(found.unlike),
        "rules": list(found.rules),
        "notes": [*given.notes, *found.notes],
        "failed": {**given.problems, **found.failed},
    }


def _summarise_options(parser: argparse.ArgumentParser) -> None:
    _people_options(parser)
    parser.add_argument("--out", type=Path, metavar="FILE", help="a new file, instead of standard output")


def _summarise(given: argparse.Namespace) -> Status:
    demand_new(given.out, as_json=given.json)
    found = _found(given)
    rows = _plain(found.table) if given.json else found.table.to_dict("records")
    text = to_json({"people": rows} | _report(given, found)) + "\n" if given.json else rows_to_tsv(rows)
    if given.out is None:
        put(text, end="")
    else:
        write_new(given.out, text)
        put(f"{len(rows)} channels of people's sessions, {len(found.flags)} flags: {given.out}")
    return _status(given, found)


def _participants_options(parser: argparse.ArgumentParser) -> None:
    _people_options(parser)
    parser.add_argument("--screen", action="store_true", help="show the screen in a browser, until Ctrl-C")
    add_browser(parser)


def _participants(given: argparse.Namespace) -> Status:
    found = _found(given)
    if given.json:
        put(to_json(_report(given, found)))
    else:
        put(in_shell_lines(str(found)))
    if given.screen:
        from emgreview.views.host import serve  # optional and heavy: the user-interface toolkits

        def ready(address: str) -> None:
            tell(given, {"address": address}, f"The screen is at {address}\nEnd with Ctrl-C.")

        serve(er.participants(found), port=given.port, open_browser=given.browser, ready=ready, title="Participants")
    return _status(given, found)


def _status(given: argparse.Namespace, found: Any) -> Status:
    clean = not len(found.flags) and not found.failed and not given.problems and given.as_expected
    return FINE if clean else NOT_FINE


SUMMARISE = Command("summarise", "everybody of a study in one table", _summarise_options, _summarise)
PARTICIPANTS = Command(
    "participants", "who is odd, and why, with --screen in pictures", _participants_options, _participants
)
