"""The demo study on disk: a BIDS dataset of invented people who turn a handle, its truth known exactly.

Layout (BIDS 1.11, EMG): a BDF+ file, events.tsv and channels.tsv for each person; what is common to all stands once at
the top. The truth of every trial and channel lies in ``sourcedata/truth``, one table a person, its columns described
beside it: open it to score a method, not while you review. ``sourcedata/demo.json`` says what the folder was made of,
and whether it is finished.

    write_demo(folder, ...)     write it, finish it, or find it complete; returns the folder
"""

import json
import os
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import fields
from pathlib import Path

import edfio

from emgreview.checks import kind
from emgreview.demo import contractions as before
from emgreview.demo import words
from emgreview.demo.study import (
    MOST,
    PARTICIPANTS,
    RAIL_UV,
    RATE_HZ,
    TRIALS,
    FloatArray,
    Performance,
    Truth,
    perform,
)
from emgreview.errors import ParameterError
from emgreview.plain_files import read_json

__all__ = ["write_demo"]

CONTRACTIONS = "contractions"
RECIPE = 1
"""Raised whenever the same seed would give other files: an older folder is then another demo."""

Progress = Callable[[int, int, str], None]


def write_demo(
    folder: str | os.PathLike[str],
    *,
    participants: int = PARTICIPANTS,
    trials: int = TRIALS,
    seed: int = 20,
    contractions: bool = False,
    progress: Progress | None = None,
    workers: int = 2,
) -> Path:
    """Write the demo study into a new or empty folder: a BIDS dataset of invented people.

    About 7 MB a person of 40 trials. Same arguments: same bytes.

    Parameters
    ----------
    folder : str or Path
        Where to; new, empty, or one that holds a demo of the same arguments.
    participants : int, default 16
        How many people, 1 to 20. With 16 four are odd (swapped leads, a lost electrode,
        mains hum, tense and late); with fewer, those among them. The four beyond 16 are all
        odd: a duplicate, a wrong unit, an inverted copy of a channel, a weak electrode.
    trials : int, default 40
        Trials of each, 1 to 400.
    seed : int, default 20
        Seed of every draw.
    contractions : bool, default False
        Whether each person also has a recording of test contractions ("task-contractions"),
        with swapped leads, a loud neighbour or a bad site in some people; 5 MB a person more.
        All other recordings stay as they are.
    progress : callable or None
        Called as (done, total, words) after each person, in the calling thread.
    workers : int, default 2
        How many threads share the work.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    ParameterError
        A number is out of range, ``folder`` is no path, or it is not empty and holds something
        else.

    Notes
    -----
    A folder that holds a complete demo of the same arguments is left as it is. An
    interrupted one is finished: files appear whole or not at all, and
    ``sourcedata/demo.json`` says "complete": true only at the very end. Every other folder
    that is not empty is refused.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     data = er.read_dataset(er.write_demo(folder, participants=1, trials=1))
    ...     len(data.recordings)
    1
    """
    for name, came, most in (("participants", participants, MOST), ("trials", trials, 400)):
        if not (isinstance(came, int) and 1 <= came <= most):
            raise ParameterError(f"{name} came as {came!r}; allowed: a whole number from 1 to {most}; correct it.")
    if not (isinstance(workers, int) and workers >= 1):
        raise ParameterError(f"workers came as {workers!r}; allowed: a whole number from 1; correct it.")
    kind("folder", folder, (str, os.PathLike), "the path of a new or empty folder")
    folder = Path(folder)
    kind("contractions", contractions, bool, "True or False")
    made_of = {
        "made_by": "emgreview demo",
        "recipe": RECIPE,
        "participants": participants,
        "trials": trials,
        "seed": seed,
    }
    made_of |= {"contractions": True} if contractions else {}
    if _is_complete(folder, made_of):
        if progress is not None:
            progress(participants, participants, "the demo study is complete already")
        return folder

    card = folder / "sourcedata" / "demo.json"
    _write_json(card, {**made_of, "complete": False})
    top = words.top_files(participants, seed)
    if contractions:
        top["README.md"] += before.README_MORE
        top |= before.top_files(top[f"task-{words.TASK}_emg.json"])
    for name, content in top.items():
        if not (folder / name).exists():
            _write_text(folder / name, content)
    pool = ThreadPoolExecutor(workers, thread_name_prefix="emgreview-demo")
    try:
        waiting = [
            pool.submit(_write_person, folder, number, seed, trials, contractions)
            for number in range(1, participants + 1)
        ]
        for done, future in enumerate(as_completed(waiting), start=1):
            label = future.result()
            if progress is not None:
                progress(done, participants, f"{label} written")
    finally:
        pool.shutdown(cancel_futures=True)
    sizes = {
        path.relative_to(folder).as_posix(): path.stat().st_size
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path != card
    }
    _write_json(card, {**made_of, "complete": True, "bytes": sizes})
    return folder


def _is_complete(folder: Path, made_of: Mapping[str, object]) -> bool:
    """Whether a complete demo of these arguments stands there; False where one may be written or finished."""
    if folder.exists() and not folder.is_dir():
        raise ParameterError(f"{folder} is a file; nothing was written; give a folder that is new or empty.")
    if not folder.exists() or not any(folder.iterdir()):
        return False
    card = folder / "sourcedata" / "demo.json"
    try:
        found = read_json(card)
        stated = {key: found.get(key, False) if key == CONTRACTIONS else found[key] for key in (*made_of, CONTRACTIONS)}
        made_of = {CONTRACTIONS: False, **made_of}
        complete = found["complete"]
    except (OSError, ValueError, KeyError, TypeError):
        raise ParameterError(
            f"{folder} is not empty, and is no demo study of this package; nothing was written; "
            "give a folder that is new or empty."
        ) from None
    if stated != made_of:
        differing = ", ".join(
            f"{key} {stated[key]!r} there, {made_of[key]!r} asked" for key in made_of if stated[key] != made_of[key]
        )
        raise ParameterError(
            f"{folder} holds another demo study ({differing}); nothing was written; "
            "give another folder, or ask for the one that is there."
        )
    if not complete:
        return False
    for name, size in found["bytes"].items():
        path = folder / name
        if not path.is_file() or path.stat().st_size != size:
            raise ParameterError(
                f"{name} of the demo study in {folder} is {'changed' if path.exists() else 'missing'}; nothing was "
                "written, so that no work of yours is lost; give another folder, or remove this one."
            )
    return True


def _write_person(folder: Path, number: int, seed: int, trials: int, contractions: bool) -> str:
    """One person's files, the truth last; a person whose truth is there was written whole."""
    label = f"sub-{number:02d}"
    if contractions:
        _write_contractions(folder, label, number, seed)
    stem = f"{label}_task-{words.TASK}"
    truth = folder / "sourcedata" / "truth" / f"{stem}_truth.tsv"
    if truth.exists():
        return label
    made = perform(number, seed=seed, trials=trials)
    emg = folder / label / "emg"
    _write_bdf(emg / f"{stem}_emg.bdf", made)
    seconds = made.angle_deg.size / RATE_HZ
    _write_json(emg / f"{stem}_emg.json", {"RecordingDuration": seconds})
    _write_text(emg / f"{stem}_channels.tsv", words.channels_tsv())
    rows = [(f"{e.onset_s:.4f}", 0, e.kind, e.grip, e.trial) for e in made.events]
    _write_text(emg / f"{stem}_events.tsv", words.table(("onset", "duration", "trial_type", "grip", "trial"), rows))
    names = tuple(field.name for field in fields(Truth))
    _write_text(truth, words.table(names, ([_cell(getattr(row, name)) for name in names] for row in made.truth)))
    return label


def _write_contractions(folder: Path, label: str, number: int, seed: int) -> None:
    """The same of one person's test contractions."""
    stem = f"{label}_task-{before.TASK}"
    if (folder / "sourcedata" / "truth" / f"{stem}_truth.tsv").exists():
        return
    made = before.contractions_of(number, seed=seed)
    data = dict(zip(made.muscles, made.recording.values(), strict=True))
    _write_signals(folder / label / "emg" / f"{stem}_emg.bdf", data, before.RAIL_UV)
    for name, content in before.person_files(label, made).items():
        _write_text(folder / name, content)


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, float):
        return "n/a" if value != value else f"{value:.6f}"
    return value if value != "" else "n/a"


def _write_bdf(path: Path, made: Performance) -> None:
    _write_signals(path, dict(zip(words.CHANNELS, (*made.emg_uv, made.angle_deg, made.light_v), strict=True)))


def _write_signals(path: Path, data: Mapping[str, FloatArray], rail_uv: float = RAIL_UV) -> None:
    """Every channel at one rate, records of 1 s, no annotations: the events stand in events.tsv alone."""
    ranges = {"uV": rail_uv, "deg": 180.0, "V": 5.0}
    signals = [
        edfio.BdfSignal(
            data[label],
            RATE_HZ,
            label=label,
            transducer_type=channel.transducer,
            physical_dimension=channel.unit,
            physical_range=(-ranges[channel.unit], ranges[channel.unit]),
            digital_range=(-8_388_607, 8_388_607),
            prefiltering=channel.prefiltering,
        )
        for label, channel in words.CHANNELS.items()
        if label in data
    ]
    recording = edfio.Bdf(signals, data_record_duration=1.0, annotations=())
    _replace(path, recording.write)


def _write_json(path: Path, content: Mapping[str, object]) -> None:
    _write_text(path, json.dumps(content, indent=2, ensure_ascii=False) + "\n")


def _write_text(path: Path, content: str) -> None:
    _replace(path, lambda target: target.write_bytes(content.encode("utf-8")))


def _replace(path: Path, write: Callable[[Path], object]) -> None:
    """Write a file under a passing name, then give it its own: it is there whole, or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    passing = path.with_name(path.name + ".part")
    try:
        write(passing)
        passing.replace(path)
    finally:
        passing.unlink(missing_ok=True)
