"""From the options of :mod:`emgreview.cli.options` to recordings.

read_source         the recording or dataset itself
recordings_of       name and recording, one after the other
dataset_of          the dataset, where its recordings are taken as they are
say_notes           its notes, on standard error
with_added          one with the cues that were added by hand
processing_of       filter and envelope
units               of the channels, by their labels
left_out            sentences on those that could not be used
"""

import argparse
import re
import warnings
from collections.abc import Iterable, Iterator

import emgreview as er
from emgreview.cli.cues import demand_pulses, with_pulses
from emgreview.cli.options import setting
from emgreview.cli.saying import say_of_folder
from emgreview.cli.typed import named
from emgreview.reading.dataset import NAMELESS, Dataset
from emgreview.reading.study import SUFFIX, open_data
from emgreview.reading.study_description import EXPECTS


def recordings_of(given: argparse.Namespace) -> Iterator[tuple[str, er.Recording | None]]:
    """Name and recording; None for one of a folder that cannot be read.

    ``given.notes`` are then the notes of the folder, said on standard error, and ``given.problems`` the errors by name,
    which are said where the command ends, what is the same of many recordings once.
    """
    demand_pulses(given)
    if hasattr(given, "band"):
        processing_of(given)
    data = read_source(given)
    if isinstance(data, er.Recording):
        rec = with_pulses(data, given)
        yield rec.name, rec
        return
    say_notes(given, data)
    for name in data.recordings.names if given.only is None else given.only:
        try:
            rec = with_pulses(data.recordings[name], given)
        except er.EmgreviewError as error:
            given.problems[name] = str(error)
            yield name, None
        else:
            given.as_expected &= not any(EXPECTS in note for note in rec.notes)
            yield name, rec


def dataset_of(given: argparse.Namespace) -> Dataset | None:
    """The dataset, where its recordings are taken as they are, without cues that the command finds; None for
    anything else."""
    if given.pulses is not None or given.codes is not None or not (given.path.is_dir() or _is_study(given)):
        return None
    demand_pulses(given)
    processing_of(given)
    data = read_source(given)
    return None if isinstance(data, er.Recording) else data


def _is_study(given: argparse.Namespace) -> bool:
    return bool(given.path.suffix.lower() == SUFFIX)


def say_notes(given: argparse.Namespace, data: Dataset) -> None:
    """Say the notes of a folder, and keep them as ``given.notes``."""
    given.notes = list(data.notes)
    about_people = hasattr(given, "folder")
    for note in data.notes:
        if note in given.told:  # with an earlier file of the same folder
            continue
        if about_people or note != NAMELESS:
            say_of_folder(note)


def read_source(given: argparse.Namespace) -> er.Recording | Dataset:
    """One recording, or the dataset that a folder holds or a description describes; warnings of these are among its
    notes."""
    how = {"rate_hz": given.rate, "unit": units(given), "columns": given.columns}
    layout = dict(setting(f"{name}={value}") for name, value in given.layout)
    layout |= {} if given.missing is None else {"missing": given.missing}
    if not given.path.is_dir() and given.path.suffix.lower() != SUFFIX:
        return er.read(given.path, **how, **layout)
    if layout:
        came = f"--layout {' '.join(given.layout[0])}" if given.layout else f"--missing {given.missing[0]!r}"
        raise er.EmgreviewError(
            f"{came} came, and {given.path} is no single file; allowed: one file; "
            "describe a folder of such files once: emgreview study FOLDER --pattern P --set NAME=VALUE."
        )
    with warnings.catch_warnings():  # each of them is a note too
        warnings.simplefilter("ignore", er.SignalWarning)
        return open_data(given.path, **how)


def with_added(rec: er.Recording, cue: str, trials: Iterable[str]) -> er.Recording:
    """A recording with the cues that were added by hand and whose trials were reviewed."""
    begin = f"{rec.name}/added/"
    samples = sorted(
        {int(trial.removeprefix(begin)) for trial in trials if re.fullmatch(re.escape(begin) + r"\d+", trial)}
    )
    there = {(marker.sample, marker.label) for marker in rec.markers}
    more = [er.Marker(at, cue, "added") for at in samples if (at, cue) not in there and at < rec.n_samples]
    return rec.with_markers([*rec.markers, *more]) if more else rec


def left_out(given: argparse.Namespace) -> list[str]:
    """Sentences on the recordings that could not be used."""
    return [f"{name} is left out: {named(given, words)}" for name, words in given.problems.items()]


def processing_of(given: argparse.Namespace) -> er.Processing:
    low_hz, high_hz = given.band or (er.Processing().low_hz, er.Processing().high_hz)
    if low_hz is None:
        raise er.EmgreviewError("--band came without a LOW; give its lower edge in Hz: --band 20 none.")
    return er.Processing(low_hz=low_hz, high_hz=high_hz)


def units(given: argparse.Namespace) -> str | dict[str, str] | None:
    """One unit for all, by label, or one a column in the order of ``--columns``."""
    if not isinstance(given.unit, list):
        unit: str | dict[str, str] | None = given.unit
        return unit
    came = ",".join(given.unit)
    if given.columns is None:
        raise er.EmgreviewError(
            f"--unit came as {came!r}, one unit a column, and --columns is missing; give --columns too, or name the "
            "channels: --unit FCR=mV,TRIGGER=V."
        )
    signals = [label for label in given.columns if label is not None and label.casefold() != "time"]
    if len(given.unit) == len(signals):
        return dict(zip(signals, given.unit, strict=True))
    if len(given.unit) != len(given.columns):
        labels = ",".join("-" if label is None else label for label in given.columns)
        raise er.EmgreviewError(
            f"--unit came as {came!r}, {len(given.unit)} units, and --columns as {labels!r}, {len(given.columns)} "
            f"columns, {len(signals)} of them signals; give a unit for each signal in that order, or one unit for all."
        )
    pairs = zip(given.columns, given.unit, strict=True)
    return {label: unit for label, unit in pairs if label in signals}
