"""Recordings to a BIDS dataset: ``convert`` writes it, or lists what may say who was recorded."""

import argparse
import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_source, whole
from emgreview.cli.saying import progress, say_of_folder, tell, to_json
from emgreview.cli.source import read_source
from emgreview.errors import ParameterError, ReadError
from emgreview.plain_files import read_json, write_new
from emgreview.reading.bids import read_table


def _options(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument("folder", nargs="?", type=Path, help="where to; new or empty")
    parser.add_argument(
        "--people",
        type=Path,
        metavar="TABLE.tsv",
        help="a table of tabs: recording, sub, task, and ses, run, acq where needed; a row for each recording",
    )
    parser.add_argument("--list", action="store_true", help="only list what may say who a person is, and write nothing")
    parser.add_argument(
        "--say",
        action="append",
        default=[],
        type=_field,
        metavar="FIELD=VALUE",
        help="a field of emg.json: EMGReference=bipolar, EMGPlacementScheme=Measured; may be given again",
    )
    parser.add_argument(
        "--label", action="append", default=[], type=_field, metavar="OLD=NEW", help="a new label of a channel; again"
    )
    parser.add_argument(
        "--keep",
        action="append",
        default=[],
        metavar="NAME",
        help="a label, column or field to keep; may be given again",
    )
    parser.add_argument("--keep-dates", action="store_true", help="leave dates as they are")
    parser.add_argument("--shift-days", type=whole, metavar="N", help="days by which dates go back (drawn for each)")
    parser.add_argument("--no-scrub", dest="scrub", action="store_false", help="remove nothing")
    parser.add_argument(
        "--key",
        type=Path,
        metavar="FILE.json",
        help="write what leads back to the source (names, ids of trials, days) into a new file, apart from the dataset",
    )
    parser.add_argument("--name", help="name of the dataset")


def _convert(given: argparse.Namespace) -> Status:
    data = read_source(given)
    if isinstance(data, er.Recording):
        notes: tuple[str, ...] = ()
    else:
        notes = data.notes
        given.notes = list(notes)
    for note in notes:
        say_of_folder(note)
    if given.list:
        found = er.identifying(data)
        values = {"traces": [dataclasses.asdict(one) for one in found.traces], "problems": dict(found.failed)}
        tell(given, values, repr(found))
        return NOT_FINE if found.failed else FINE
    if given.folder is None:
        raise ParameterError("no folder came; the dataset is written into a new or empty one; name it, or give --list.")
    if given.keep_dates and given.shift_days is not None:
        raise ParameterError("--keep-dates and --shift-days both came; allowed: one of them; leave the other out.")
    if given.key is not None and (given.key.exists() or not given.key.absolute().parent.is_dir()):
        what = "is there already" if given.key.exists() else "lies in no folder"
        raise ParameterError(f"--key came as {given.key}, which {what}; allowed: a new file; name another.")
    done = er.convert(
        data,
        given.folder,
        people=None if given.people is None else _people(given.people),
        said={key: _value(value) for key, value in given.say},
        labels=dict(given.label),
        keep=given.keep,
        scrub=given.scrub,
        shift_days=0 if given.keep_dates else given.shift_days,
        name=given.name,
        progress=progress,
    )
    if given.key is not None:
        names = ("recordings", "trial_ids", "labels", "shift_days")
        write_new(given.key, to_json({name: part for name, part in _values(done).items() if name in names}) + "\n")
    tell(given, _values(done), repr(done))
    return FINE if done.ok else NOT_FINE


CONVERT = Command(
    "convert", "write recordings as a BIDS dataset, without what says who was recorded", _options, _convert
)


def _values(done: er.Converted) -> dict[str, Any]:
    return {
        "folder": str(done.folder),
        "recordings": dict(done.names),
        "losses": [dataclasses.asdict(one) for one in done.losses],
        "trial_ids": dict(done.trial_ids),
        "labels": dict(done.labels),
        "changed": [{"what": what, "became": became, "times": n} for (what, became), n in done.changed.items()],
        "kept": list(done.kept),
        "shift_days": dict(done.shift_days),
        "problems": dict(done.failed),
        "notes": list(done.notes),
    }


def _people(path: Path) -> Mapping[str, Mapping[str, str]]:
    rows = read_table(path)
    if not rows or "recording" not in rows[0]:
        raise ParameterError(
            f"{path.name} has no column 'recording' or no row; allowed: a row for each recording with its name, sub "
            "and task; add them."
        )
    found: dict[str, dict[str, str]] = {}
    for row in rows:
        name = row["recording"]
        if name in found:
            raise ParameterError(f"{path.name} has two rows for {name!r}; allowed: one for each; remove the other.")
        keys = {"recording_entity": "recording"}
        found[name] = {keys.get(key, key): value for key, value in row.items() if key != "recording" and value != "n/a"}
    return found


def _field(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not (sign and name.strip() and value.strip()):
        raise argparse.ArgumentTypeError(f"{text!r} came; give a name and its value: EMGReference=bipolar")
    return name.strip(), value.strip()


def _value(text: str) -> object:
    """A value for JSON: a number or an object where it is one, else text."""
    try:
        return read_json(text.encode(errors="replace"))
    except ReadError:
        return text
