"""Tables of bursts: ``detect`` of what a method finds, ``measure`` of what was reviewed and sealed."""

import argparse
import difflib
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.cli.beforehand import demand_new
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_parameters, add_source, add_window
from emgreview.cli.running import add_running, cut_later, runner_of
from emgreview.cli.saying import put, rows_to_tsv, to_json
from emgreview.cli.source import left_out, recordings_of, with_added
from emgreview.detecting import rebuilt
from emgreview.errors import UnknownNameError
from emgreview.many.detected import onset_rows
from emgreview.plain_files import write_new
from emgreview.reading.settled import listed
from emgreview.signal.onset import METHODS, checked_method

_RESPONSE = "response"
"""The marker of the response, where none is named."""


def _detect_options(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "Column present: an index from 0 to 1 of how much of a stretch stands out from the rest; 0.5 and more is "
        "activity. It is no probability."
    )
    add_source(parser)
    add_window(parser)
    parser.add_argument("--method", default="ramp", help="onset method (ramp)")
    add_parameters(parser)
    add_running(parser)
    parser.add_argument("--out", type=Path, metavar="FILE", help="a new file, instead of standard output")


def _detect(given: argparse.Namespace) -> Status:
    demand_new(given.out, as_json=given.json)
    checked_method(given.method, dict(given.set))  # before anything is read: it would be the same for every recording
    recordings = [rec for _, rec in recordings_of(given) if rec is not None]
    trials = cut_later(given, recordings, runner_of(given, len(recordings)), method=given.method)
    rows: list[dict[str, Any]] = []
    for part in trials:
        notes = {"notes": [*part.recording.notes, *part.notes]} if given.json else {}
        rows += [row | notes for row in onset_rows(part, given.method, dict(given.set))]
    if not rows:
        raise er.EmgreviewError("no recording could be used, so there are no onsets; see above.")
    for row in rows if given.json else ():
        row["dataset_notes"] = [*given.notes, *left_out(given)]
    text = to_json(rows) + "\n" if given.json else rows_to_tsv(rows)
    if given.out is None:
        put(text, end="")
    else:
        write_new(given.out, text)
        found = sum(not math.isnan(row["onset_s"]) for row in rows)
        put(f"{len(rows)} channels of trials, {found} with an onset: {given.out}")
    return FINE if not given.problems and given.as_expected else NOT_FINE


DETECT = Command("detect", "onsets of every trial and channel, as tab-separated text", _detect_options, _detect)


def _measure_options(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    add_window(parser)
    parser.add_argument("--folder", required=True, type=Path, help="the review folder")
    parser.add_argument("--version", required=True, metavar="NAME", help="the sealed version, v1 for example")
    parser.add_argument("--normalise", default="none", metavar="HOW", help="'peak in task', for example (none)")
    parser.add_argument(
        "--reference", action="append", type=_reference, metavar="LABEL=VALUE", help="a channel's value to divide by"
    )
    parser.add_argument(
        "--left-out-too", action="store_true", help="also bursts that the rule the version was sealed with leaves out"
    )
    parser.add_argument("--response", default=_RESPONSE, metavar="LABEL", help="marker of the response (response)")
    parser.add_argument(
        "--not-cue", action="append", default=[], metavar="LABEL", help="a marker that is no cue: it ends no search"
    )
    add_running(parser, beside_review=True)
    parser.add_argument("--out", type=Path, metavar="FILE", help="a new file, instead of standard output")


def _measure(given: argparse.Namespace) -> Status:
    from emgreview.tables import to_tsv  # heavy: pandas, which the other commands can do without

    demand_new(given.out, as_json=given.json)
    decisions = er.read_version(given.folder, given.version)
    by_recording = decisions["trial"].groupby(decisions["recording"])
    decided = {str(name): list(trials) for name, trials in by_recording}
    reviewed = set(decided)
    came = list(recordings_of(given))
    recordings = [(name, rec) for name, rec in came if rec is None or rec.name in reviewed]
    _demand_in_recordings(given, [rec for _, rec in recordings if rec is not None])
    there = [with_added(rec, given.cue, decided[rec.name]) for _, rec in recordings if rec is not None]
    runner = runner_of(given, len(there), given.folder)
    method, parameters = _reviewed_by(decisions) if runner.cache is not None else (None, None)
    trials = cut_later(given, there, runner, method=method, parameters=parameters)
    if not trials:
        raise er.EmgreviewError(
            f"no recording of {given.path} ({listed([name for name, _ in came])}) can be read and is part of version "
            f"{given.version!r}, which holds {listed(sorted(reviewed))}; give the recordings that were reviewed, or "
            "another version."
        )
    reference = dict(given.reference) if given.reference else None
    table = er.measure(
        trials,
        decisions,
        normalise=given.normalise,
        reference=reference,
        response=given.response,
        not_cues=given.not_cue,
        included_only=not given.left_out_too,
        runner=runner,
    )
    given.problems |= table.attrs["failed"]
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    columns = table.attrs["columns"]
    notes = [
        *given.notes,
        *left_out(given),
        *decisions.attrs["notes"],
        *table.attrs["notes"],
        *(f"{one.recording.name}: {note}" for one in trials for note in (*one.recording.notes, *one.notes)),
    ]
    values = {"columns": columns, "notes": list(dict.fromkeys(notes)), "rows": rows}
    text = to_json(values) + "\n" if given.json else to_tsv(table).decode()
    if given.out is None:
        put(text, end="")
    else:
        write_new(given.out, text)
        put(f"{len(table)} bursts measured: {given.out}")
    whole = len(trials) == len(recordings) == len(reviewed) and not table.attrs["failed"]
    return FINE if whole and given.as_expected else NOT_FINE


MEASURE = Command("measure", "measures of every burst of a sealed version, as a table", _measure_options, _measure)


def _reviewed_by(decisions: Any) -> tuple[str | None, dict[str, Any] | None]:
    """Method and parameters of the review: what was kept of its trials is then found again. None of several ways, or of
    one that the package does not have."""
    ways = {way["hash"]: way for one in decisions.attrs["version"]["recordings"].values() if (way := one["detection"])}
    way = next(iter(ways.values()), {"method": ""})
    if len(ways) != 1 or way["method"] not in METHODS:
        return None, None
    return rebuilt(way)[:2]


def _demand_in_recordings(given: argparse.Namespace, recordings: Sequence[er.Recording]) -> None:
    """What --response and --reference name is in one recording at least. A marker that nothing there is spelt like may
    be missing: the table says so."""
    markers = sorted({marker.label for rec in recordings for marker in rec.markers})
    slip = given.response not in markers and difflib.get_close_matches(given.response, markers, n=1)
    if slip and given.response != _RESPONSE:
        raise UnknownNameError("marker", given.response, markers, "--response")
    labels = list(dict.fromkeys(label for rec in recordings for label in rec.emg_labels))
    for label in dict(given.reference or ()) if recordings else ():
        if label not in labels:
            raise UnknownNameError("EMG channel", label, labels, "--reference")


def _reference(text: str) -> tuple[str, float]:
    label, _, value = text.rpartition("=")
    try:
        if label.strip():
            return label.strip(), float(value)
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"{text!r} came; give a channel and its value: --reference BB=120.5")
