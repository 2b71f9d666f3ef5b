"""A lab's own files as a study: ``study`` writes its description, shows what it makes, and confirms alignments."""

import argparse
import warnings
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_missing, add_pulses, number, whole
from emgreview.cli.options import columns as columns_of
from emgreview.cli.options import setting as setting_of
from emgreview.cli.options import unit as unit_of
from emgreview.cli.saying import tell
from emgreview.cli.source import units
from emgreview.reading.patterns import Pattern
from emgreview.reading.settled import is_told_by_name
from emgreview.reading.study_description import ANSWERS, EXPECTS, load

NAME = "study.toml"


def _options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("path", type=Path, help="a description (.toml); or, with --pattern, a folder to describe")
    parser.add_argument("--pattern", metavar="P", help="how its files are called: 'P{participant}_{task}_run{run}.csv'")
    parser.add_argument("--name", metavar="WORDS", help="name of the study (that of the folder)")
    parser.add_argument(
        "--rate", type=number, metavar="HZ", help="sampling rate, where a look at a file does not tell it"
    )
    parser.add_argument("--unit", type=unit_of, metavar="UNIT", help="mV for all; mV,mV,V by column; FCR=mV,KEY=V")
    parser.add_argument(
        "--columns",
        type=columns_of,
        metavar="A,B,-",
        help="labels in order, - for one to leave out; or 'EMG 1=FCR,Trig=KEY'",
    )
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        type=setting_of,
        metavar="NAME=VALUE",
        help="what else read() is told of each file: --set header=2 --set decimal=, for example, a list as JSON: "
        '--set \'data=["emg","pulse"]\'; may be given again',
    )
    add_missing(parser)
    parser.add_argument("--cue", metavar="LABEL", help="what cues are called: the label of markers, or for those found")
    parser.add_argument(
        "--marker",
        action="append",
        metavar="LABEL",
        help="a label of markers that are cues, where there are several; may be given again: --cue go --marker go_left "
        "--marker go_right; each keeps its own in the column 'marker'",
    )
    add_pulses(parser)
    parser.add_argument("--expect", type=whole, metavar="N", help="cues of each recording")
    parser.add_argument("--muscle", action="append", default=[], metavar="LABEL=MUSCLE", help="may be given again")
    parser.add_argument("--people", metavar="TABLE:COLUMN", help="table of participants, and its column of their codes")
    parser.add_argument("--trials", metavar="P", help="tables of trials, one row a cue: 'behaviour/P{participant}.csv'")
    parser.add_argument("--trial-columns", type=columns_of, metavar="A,B", help="those of its columns to take (all)")
    parser.add_argument(
        "--trials-missing",
        action="append",
        metavar="TEXT",
        help="what stands in it for nothing known: --trials-missing -999; may be given again",
    )
    parser.add_argument(
        "--trials-of",
        metavar="WORD=COLUMN,…",
        help="of one table of several recordings, the columns that say what the pattern says: "
        "--trials-of participant=subject,run=block",
    )
    parser.add_argument(
        "--encoding", metavar="NAME", help="how these tables are written, where they are not UTF-8: cp1252, for example"
    )
    parser.add_argument("--time", metavar="COLUMN", help="its column of times")
    parser.add_argument("--time-unit", choices=("s", "ms", "us"), help="their unit (s)")
    parser.add_argument(
        "--confirm", metavar="RECORDING", help="confirm how its cues and rows belong together; needs --reason"
    )
    parser.add_argument("--rows", metavar="1,-,2", help="for each cue the number of its row, - for none (as proposed)")
    parser.add_argument("--reason", metavar="WHY", help="why that is right; the description keeps it")


def _run(given: argparse.Namespace) -> Status:
    path = given.path
    if given.pattern is not None:
        path = _write(given)
    elif path.is_dir():
        path = path / NAME
    if given.confirm is not None:
        _confirm(path, given)
    return _show(path, given)


def _write(given: argparse.Namespace) -> Path:
    folder = given.path
    if not folder.is_dir():
        raise er.EmgreviewError(f"{folder} is no folder; with --pattern a folder is described; give it.")
    found = Pattern(given.pattern).files(folder)
    if not found:
        raise er.EmgreviewError(f"no file below {folder} fits the pattern {given.pattern!r}; correct it.")
    files: dict[str, Any] = {"pattern": given.pattern, **_how(found[0][0], given)}
    cues = {
        "label": given.cue,
        "markers": given.marker,
        "channel": given.pulses or given.codes,
        "level": given.level,
        "edge": given.edge,
    }
    cues |= {
        "hold_off_s": given.hold_off,
        "codes": given.codes is not None or None,
        "mask": given.mask,
        "expect": given.expect,
    }
    trials = {"table": given.trials, "columns": given.trial_columns, "time": given.time, "time_unit": given.time_unit}
    trials |= _columns_of(given.trials_of)
    trials["missing"] = given.trials_missing
    if given.encoding is not None:
        trials["encoding"] = given.encoding if given.trials else None
    table, _, column = (given.people or "").rpartition(":")
    if given.people and not (table and column):
        raise er.EmgreviewError(
            f"--people came as {given.people!r}; give the table and its column: --people people.csv:code."
        )
    muscles = dict(one.partition("=")[::2] for one in given.muscle)
    if bare := [label for label, muscle in muscles.items() if not muscle]:
        raise er.EmgreviewError(
            f"--muscle came as {bare[0]!r}; give a label and its muscle: --muscle 'FCR=flexor carpi radialis'."
        )
    return er.write_study(
        folder / NAME,
        name=given.name,
        files=files,
        channels={label: {"muscle": muscle} for label, muscle in muscles.items()} or None,
        cues=_said(cues),
        participants=_said({"table": table, "code": column, "encoding": given.encoding}) if given.people else None,
        trials=_said(trials),
    )


def _columns_of(text: str | None) -> dict[str, str]:
    """Words of the pattern, and the columns that say them too."""
    pairs = [one.partition("=") for one in text.split(",")] if text else []
    if not all(word.strip() and column.strip() for word, _, column in pairs):
        raise er.EmgreviewError(
            f"--trials-of came as {text!r}; give words of the pattern and columns: --trials-of participant=subject."
        )
    return {word.strip(): column.strip() for word, _, column in pairs}


def _said(parts: Mapping[str, Any]) -> dict[str, Any] | None:
    return {name: value for name, value in parts.items() if value is not None} or None


def _how(path: Path, given: argparse.Namespace) -> dict[str, Any]:
    """What read() is told of each file: what a look at the first one proposes, and what was said. EmgreviewError while
    a person has to say something."""
    seen = er.look(path)
    if seen.refused:
        raise er.EmgreviewError(f"{path.name} cannot be read: {seen.refused}.")
    how = dict(seen.how) | dict(given.set)
    said: set[str] = {name for name, _ in given.set}
    said |= {name for name, instead in ANSWERS.items() if instead in said}  # it stands in the file, and was named
    if given.missing is not None:
        how["missing"] = given.missing
        said.add("missing")
    if given.columns is not None:
        how["columns"] = _by_name(given.columns)
        said.add("columns")
    if given.rate is not None:
        how["rate_hz"] = given.rate
        said.add("rate_hz")
    if given.unit is not None:
        labels = how.get("columns")
        given.columns = list(labels.values()) if isinstance(labels, Mapping) else labels
        told, came = how.get("unit"), units(given)
        how["unit"] = {**told, **came} if isinstance(told, Mapping) and isinstance(came, Mapping) else came
        if open_ := [
            label for label, unit in (how["unit"].items() if isinstance(came, Mapping) else ()) if unit == "?"
        ]:
            raise er.EmgreviewError(
                f"{path.name} does not say the unit of {', '.join(open_)}, and --unit came without it; give it too: "
                f"--unit {open_[0]}=mV, whichever it is, or {open_[0]}=arbitrary."
            )
        said.add("unit")
    if left := {name: words for name, words in seen.asks.items() if name not in said}:
        words = "; ".join(f"{name}: {words}" for name, words in left.items())
        raise er.EmgreviewError(
            f"{path.name} does not say all, and this has to be said or confirmed ({words}); give each, by "
            "--rate, --unit, --columns, --missing, or --set NAME=VALUE for the others."
        )
    return how


def _by_name(labels: list[str | None]) -> Any:
    """Labels in order, or a mapping where each is name=label."""
    if not all(label is not None and "=" in label for label in labels):
        return labels
    return {name: label for name, _, label in (str(one).rpartition("=") for one in labels)}


def _confirm(path: Path, given: argparse.Namespace) -> None:
    if not given.reason:
        raise er.EmgreviewError("--confirm came without --reason; say why cues and rows belong together so.")
    rows = None
    if given.rows is not None:
        try:
            rows = [None if row.strip() == "-" else int(row) for row in given.rows.split(",")]
        except ValueError:
            raise er.EmgreviewError(
                f"--rows came as {given.rows!r}; allowed: numbers from 1, - for a cue without a row: --rows 1,-,2."
            ) from None
    er.confirm_alignment(path, given.confirm, reason=given.reason, rows=rows)


def _show(path: Path, given: argparse.Namespace) -> Status:
    study = load(path)
    with warnings.catch_warnings():  # each of them is a note too
        warnings.simplefilter("ignore", er.SignalWarning)
        data = er.read_study(path)
    reports = []
    for name, parts in study.files.items():
        report: dict[str, Any] = {"recording": name, "files": [file.name for file, _ in parts], "problem": None}
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", er.SignalWarning)
                rec = data.recordings[name]
        except er.EmgreviewError as why:
            reports.append(report | {"problem": str(why)})
            continue
        cues = [marker for marker in rec.markers if study.cue_of(marker.label)]
        columns = sorted({column for cue in cues for column in cue.details if column not in ("edge", "level", "code")})
        reports.append(
            report
            | {
                "participant": rec.entities.get("sub"),
                "rate_hz": rec.rate_hz,
                "seconds": rec.duration_s,
                "channels": {channel.label: channel.over or channel.kind for channel in rec.channels},
                "markers": dict(sorted(Counter(marker.label for marker in rec.markers).items())),
                "cues": len(cues),
                "columns": {
                    column: dict(sorted(Counter(cue.details.get(column, "n/a") for cue in cues).items()))
                    for column in columns
                },
                "notes": list(rec.notes),
            }
        )
    lines = [f"{data.name}: {len(reports)} recordings, as {path} says", *(f"  note: {note}" for note in data.notes)]
    for report in reports:
        lines += _lines(report)
    tell(
        given,
        {"study": data.name, "description": str(path), "notes": list(data.notes), "recordings": reports},
        "\n".join(lines),
    )
    trouble = any(report["problem"] or any(EXPECTS in note for note in report.get("notes", ())) for report in reports)
    return NOT_FINE if trouble else FINE


def _lines(report: Mapping[str, Any]) -> list[str]:
    if report["problem"]:
        return [f"  {report['recording']}: cannot be read: {report['problem']}"]
    markers = ", ".join(f"{label} {n}" for label, n in report["markers"].items()) or "no markers"
    lines = [
        f"  {report['recording']}: {report['rate_hz']:g} Hz, {report['seconds']:.1f} s, "
        f"{', '.join(report['channels'])}; {markers}"
    ]
    lines += [f"    note: {note}" for note in report["notes"] if not is_told_by_name(note)]
    for column, counts in report["columns"].items():
        few = len(counts) <= 8
        words = ", ".join(f"{value} {n}" for value, n in counts.items()) if few else f"{len(counts)} values"
        lines.append(f"    {column}: {words}")
    return lines


STUDY = Command("study", "describe a folder of a lab's own files, and show what it makes", _options, _run)
