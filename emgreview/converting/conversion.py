"""Recordings to a BIDS dataset: prepared, written one after the other, read back, and only then given its name.

Everything is written into a passing folder beside the one that was asked for, whose description calls it unfinished
until the end; a conversion that is killed leaves that folder, and nothing under the name that was asked for.
"""

import os
import secrets
import shutil
import stat
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path

from emgreview.cells import tab_separated
from emgreview.checks import kind
from emgreview.converting import signals, tables, words
from emgreview.converting.origins import Origin, people_of
from emgreview.converting.people import stem
from emgreview.converting.plan import Plan, prepared
from emgreview.converting.report import Converted, Loss
from emgreview.converting.rules import Rules
from emgreview.converting.traces import LOOK, SHIFTED, each, people_rows, traces_in_dataset, traces_of
from emgreview.converting.verifying import read_back
from emgreview.errors import EmgreviewError, ParameterError, ReadError
from emgreview.model import Recording
from emgreview.reading import Dataset

Progress = Callable[[int, int, str], None]


def convert(
    data: Dataset | Recording | Iterable[Recording],
    folder: str | Path,
    *,
    people: Mapping[str, Mapping[str, str]] | None = None,
    said: Mapping[str, object] | None = None,
    labels: Mapping[str, str] | None = None,
    keep: Collection[str] = (),
    scrub: bool = True,
    shift_days: int | Mapping[str, int] | None = None,
    name: str | None = None,
    progress: Progress | None = None,
) -> Converted:
    """Write recordings as a valid BIDS dataset of EMG, without what says who they are of.

    Every recording is read back and compared with its source, sample by sample, before it
    counts as converted.

    Parameters
    ----------
    data : Dataset, Recording or iterable of Recording
        What :func:`read_dataset` or :func:`read` returned.
    folder : str or Path
        Where to; new or empty.
    people : mapping of str to mapping or None
        By name of recording its entities, such as ``{"sub": "01", "task": "press",
        "run": "1"}``. Needed where the source does not name them; elsewhere they win, so
        that codes can replace names.
    said : mapping or None
        Fields of emg.json for all recordings. BIDS requires EMGPlacementScheme and
        EMGReference; they are asked for where no source has them. TaskName is also the task
        of recordings whose names have none.
    labels : mapping of str to str or None
        New labels of channels by their old ones.
    keep : collection of str, default ()
        Labels of markers, columns and fields that are kept although they may say who a
        person is.
    scrub : bool, default True
        Whether what may say who a person is is removed; :func:`identifying` lists it.
    shift_days : int, mapping of str to int, or None
        Days by which dates are moved back, for all or by participant; 0 keeps the dates.
        None draws a number for each participant that brings the dates to 1900 to 1924.
    name : str or None
        Name of the dataset; None for that of the source, if it has one, which is not taken with
        ``scrub``, for it may name a person, unless ``keep`` holds "Name".
    progress : callable or None
        Called as (done, total, words) after each recording.

    Returns
    -------
    Converted
        What was written, lost, removed and kept, and new ids of trials.

    Raises
    ------
    ParameterError
        Something is missing or not allowed; the message names it. Nothing was written.
    ReadError
        No recording could be converted. Nothing was written.

    Notes
    -----
    The stored numbers of EDF and BDF are copied, with their scale. Other sources become BDF
    of 24 bits: without loss where all values of a channel are multiples of one step, else to
    the nearest of 16 million steps from its lowest to its highest value; the report has the
    largest error of each channel. Missing samples stay missing. A recording that cannot be
    converted is listed in ``failed``, and stops no other.

    Examples
    --------
    >>> import tempfile
    >>> import numpy as np
    >>> import emgreview as er
    >>> rec = er.Recording.from_array(np.arange(-500.0, 500.0).reshape(1, -1) / 10, 1000,
    ...                               labels=["FCR"], markers=[(200, "go")], name="p01")
    >>> said = {"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"}
    >>> people = {"p01": {"sub": "01", "task": "press"}}
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     done = er.convert(rec, folder, people=people, said=said)
    ...     again = er.read_dataset(folder).recordings[0]
    >>> done.losses[0].largest_error, done.trial_ids
    (0.0, {'p01/given/200': 'sub-01_task-press/given/200'})
    """
    kind("folder", folder, (str, os.PathLike), "the path of a new or empty folder")
    folder = Path(folder)
    _demand_new(folder)
    if not isinstance(data, Dataset | Recording | Sequence):
        data = [rec for _, rec in each(data) if isinstance(rec, Recording)]
    plan = prepared(data, people, said, labels, keep, scrub, shift_days)
    _make(folder.absolute().parent)
    passing = folder.absolute().with_name(f".{folder.absolute().name}.{secrets.token_hex(4)}.part")
    title = _title(data, name, plan.rules)
    _make(passing)
    try:
        _write(passing / "dataset_description.json", words.to_json(words.description("unfinished conversion", {})))
        done = _Done()
        for number, (old, rec) in enumerate(each(data), start=1):
            try:
                if isinstance(rec, EmgreviewError):
                    raise rec
                if old in plan.failed:
                    raise ReadError(plan.failed[old])
                _one(passing, rec, plan, done)
            except (EmgreviewError, OSError) as why:
                done.failed[old] = str(why)
            if progress is not None:
                progress(number, plan.count, f"{old} {'failed' if old in done.failed else 'converted'}")
        if not done.names:
            few = " ".join(f"{old}: {why}" for old, why in list(done.failed.items())[:3])
            raise ReadError(f"none of {plan.count} recordings can be converted, and nothing was written. {few}")
        _top(passing, data, title, plan, done)
        if folder.is_dir():
            folder.rmdir()
        passing.rename(folder)
    finally:
        if passing.exists():
            shutil.rmtree(passing)
    left = [one.name for one in folder.absolute().parent.glob(f".{folder.absolute().name}.*.part")]
    if left:
        done.notes.append(f"Left by a conversion that was ended, or still runs: {', '.join(left)}; remove what is old.")
    return Converted(
        folder,
        done.names,
        tuple(done.losses),
        done.ids,
        done.labels,
        dict(done.changed),
        tuple(f"{what}: {', '.join(shown)}" for what, shown in done.kept.items()),
        plan.shifts,
        done.failed,
        tuple(done.notes),
    )


@dataclass
class _Done:
    """What was done so far; ``subs`` are new codes with the old ones, ``scans`` rows by folder."""

    names: dict[str, str] = field(default_factory=dict)
    losses: list[Loss] = field(default_factory=list)
    ids: dict[str, str] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)
    changed: Counter[tuple[str, str]] = field(default_factory=Counter)
    kept: dict[str, dict[str, None]] = field(default_factory=dict)
    failed: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    subs: dict[str, str] = field(default_factory=dict)
    scans: dict[Path, list[tuple[str, str]]] = field(default_factory=dict)


def _one(passing: Path, rec: Recording, plan: Plan, done: _Done) -> None:
    """Write one recording, read it back, and note what was done; on an error its files are removed."""
    origin, own = plan.origins[rec.name], plan.entities[rec.name]
    rules = replace(plan.rules, codes=origin.codes)
    named = signals.labels_for(rec, plan.labels)
    for old, new in zip(rec.labels, named, strict=True):
        if rules.names_a_person(new):
            raise ParameterError(
                f"the label of channel {rec.labels.index(old) + 1} holds a word that the source has for a person's "
                "name; labels must not name anybody; give labels={old: new}, or keep=[that label] where it is none."
            )
    above = passing / f"sub-{own['sub']}"
    above = above / f"ses-{own['ses']}" if "ses" in own else above
    base = above / "emg" / stem(own)
    _make(base.parent)
    path = base.with_name(f"{base.name}_emg{signals.extension(rec)}")
    try:
        written = signals.write(rec, path, named, _head(origin, plan.shifts.get(own["sub"], 0), rules))
        names, rows, about = tables.events_of(rec, rules, origin, named)
        channels, more = tables.channel_table(rec, written, rules, origin)
        beside = {
            "emg.json": words.to_json(tables.sidecar(rec, own, written, rules, origin, plan.said)),
            "channels.tsv": channels,
            "channels.json": words.to_json(more),
            "events.tsv": tab_separated(names, rows),
            "events.json": words.to_json(about),
        }
        for suffix, content in beside.items():
            _write(base.with_name(f"{base.name}_{suffix}"), content)
        back = read_back(path, rec, named, written, rules)
    except BaseException:
        for file in base.parent.glob(f"{base.name}_*"):
            file.unlink()
        _prune(base.parent, passing)
        raise
    _note(rec, back, written, plan, done)
    if origin.day is not None:
        day = origin.day - timedelta(days=plan.shifts[own["sub"]])
        done.scans.setdefault(above, []).append((f"emg/{path.name}", day.isoformat(timespec="seconds")))


def _note(rec: Recording, back: Recording, written: signals.WrittenFile, plan: Plan, done: _Done) -> None:
    """What one recording adds to the report."""
    origin, own = plan.origins[rec.name], plan.entities[rec.name]
    done.names[rec.name] = back.name
    done.subs[f"sub-{own['sub']}"] = plan.olds[f"sub-{own['sub']}"]
    for one, channel in zip(written.channels, rec.channels, strict=True):
        done.losses.append(Loss(back.name, one.label, channel.unit, one.largest_error, one.missing, one.copied))
        if one.label != channel.label:
            done.labels[channel.label] = one.label
        if tables.kind_of(channel.kind) != channel.kind:
            done.notes.append(
                f"{back.name}: channel {one.label!r} of type {channel.kind} is called MISC, as BIDS wants."
            )
    for was, now in zip(rec.markers, back.markers, strict=True):
        old, new = f"{rec.name}/{was.source}/{was.sample}", f"{back.name}/{now.source}/{now.sample}"
        if old != new:
            done.ids[old] = new
    for label in dict.fromkeys(marker.label for marker in rec.markers):
        if (plain := tables.told_label(label)) != label:
            done.notes.append(
                f"{back.name}: no table holds the label {label!r} of markers as it is: it is {plain!r} there."
            )
    if written.filled:
        done.notes.append(
            f"{back.name}: the last data record is filled up with {written.filled} samples; SamplesRecorded in its "
            f"emg.json states the {rec.n_samples} that were recorded."
        )
    if abs(written.header_hz - rec.rate_hz) > 1e-12 * rec.rate_hz:
        done.notes.append(
            f"{back.name}: no header of eight characters holds the rate {rec.rate_hz!r} Hz; it says "
            f"{written.header_hz!r} Hz, and SamplingFrequency in emg.json the rate itself."
        )
    done.notes += [f"{back.name}: {note}" for note in rec.notes if "left out" in note]
    for name, why in tables.columns_removed(rec, plan.rules).items():
        done.notes.append(
            f"{back.name}: the column {name!r} of the events is not there, as {why}; look at it, or keep=['{name}'] "
            "keeps it."
        )
    if not plan.rules.scrub:
        return
    for trace in traces_of(rec, origin, replace(plan.rules, codes=origin.codes)):
        becomes = trace.becomes
        if becomes == SHIFTED and not plan.shifts[own["sub"]]:
            becomes = "kept as it is"
        if becomes == LOOK:
            done.kept.setdefault(trace.what, {}).update(dict.fromkeys(trace.shown.split(", ")))
        else:
            done.changed[trace.what, becomes] += 1


def _head(origin: Origin, shift: int, rules: Rules) -> signals.Head:
    """What the header says of person and day: nothing, or, where that is wanted, what the source says."""
    if not rules.scrub:
        header = origin.header
        plain = signals.Head()
        return signals.Head(
            header.get("patient identification") or plain.patient,
            header.get("recording identification") or plain.recording,
            header.get("start date") or plain.date,
            header.get("start time") or plain.time,
            True,
        )
    transducers = bool({"transducer", "transducers", "header: transducer type"} & rules.keep)
    if origin.day is None or shift or not 1985 <= origin.day.year < 2085:
        return signals.Head(transducers=transducers)
    day = origin.day
    return signals.Head(
        "X X X X",
        f"Startdate {day.strftime('%d-%b-%Y').upper()} X X X",
        day.strftime("%d.%m.%y"),
        day.strftime("%H.%M.%S"),
        transducers,
    )


def _top(passing: Path, data: object, title: str, plan: Plan, done: _Done) -> None:
    """The files that belong to the whole dataset; its description last."""
    folder = data.folder if isinstance(data, Dataset) else None
    about = people_of(folder) if folder is not None and isinstance(data, Dataset) and data.participants else {}
    people, described, removed = tables.participant_table(done.subs, people_rows(data), about, plan.rules)
    _write(passing / "participants.tsv", people)
    _write(passing / "participants.json", words.to_json(described))
    if removed:
        done.notes.append(f"Columns of participants.tsv that are not kept: {len(removed)}.")
    for above, rows in done.scans.items():
        stems = "_".join(above.relative_to(passing).parts)
        _write(above / f"{stems}_scans.tsv", tab_separated(["filename", "acq_time"], sorted(rows)))
    kept: dict[str, object] = {}
    if isinstance(data, Dataset):
        if plan.rules.scrub:
            for trace in traces_in_dataset(data, plan.rules):
                if trace.becomes == LOOK:
                    done.kept.setdefault(trace.where, {})[trace.what] = None
                else:
                    done.changed[f"{trace.where}: {trace.what}", trace.becomes] += 1
        wanted = ("License", *(plan.rules.keep if plan.rules.scrub else data.description))
        kept = {key: data.description[key] for key in wanted if key in data.description}
    _write(passing / "README.md", words.readme(title, plan.rules.scrub))
    _write(passing / "dataset_description.json", words.to_json(words.description(title, kept)))


def _title(data: object, name: str | None, rules: Rules) -> str:
    if name is not None:
        kind("name", name, str, "the name of the dataset, a text")
        return name
    own = data.description.get("Name") if isinstance(data, Dataset) else None
    return str(own) if own and (not rules.scrub or "Name" in rules.keep) else "Converted recordings"


def _demand_new(folder: Path) -> None:
    if folder.is_symlink() or (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))):
        what = "is not empty" if folder.is_dir() and not folder.is_symlink() else "is no folder"
        raise ParameterError(f"{folder} {what}; nothing was written; give a folder that is new or empty.")


def _make(folder: Path) -> None:
    """A folder and those above it, open to those to whom the one above is."""
    if not folder.is_dir():
        _make(folder.parent)
        folder.mkdir(0o700 | (stat.S_IMODE(folder.parent.stat().st_mode) & 0o777), exist_ok=True)


def _prune(folder: Path, top: Path) -> None:
    """Remove empty folders from here up to the top."""
    while folder != top and not any(folder.iterdir()):
        folder.rmdir()
        folder = folder.parent


def _write(path: Path, content: str) -> None:
    path.write_text(content, encoding="utf-8", newline="\n")
