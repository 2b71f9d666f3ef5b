"""Files as a stranger, a bad disk or a slip might hand them over: intact ones, mutated by fixed seeds, then looked at.

A target is a folder of intact files and the looks at it: everything of the package that reads them. One input is one
mutation of one file, or another thing in its place, and one look. Its outcome is that the look went well, raised an
error of the package, raised anything else (a foreign traceback), or took longer than LONGEST_S (a hang).

To have a further format or a further reading attacked, add a line to TARGETS, or to the looks of one.

    TARGETS         what is attacked
    attack          so many inputs of one target: Counts
    shared          how many inputs of each target make up so many in all
"""

import json
import random
import shutil
import signal
import sys
import traceback
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

sys.path.append(str(Path(__file__).parent / "reading"))
from files_on_disk import Layout, Sig, write
from mutated_formats import FORMATS, file_of
from mutated_labs import OTHERWISE, study, study_of_kinds, text_otherwise
from mutations import spoil
from scripted_reviews import Unflushed, detect
from stored_reviews import cut, first_recordings

import emgreview as er
from emgreview.annotations.convention import read_convention
from emgreview.annotations.log import Log
from emgreview.annotations.scales import last_stated
from emgreview.annotations.unblinding import last_line
from emgreview.cohort.marks import read_logs
from emgreview.contractions.asked import asked_of, read_asked
from emgreview.errors import EmgreviewError
from emgreview.many.cut import CutJob
from emgreview.plain_files import read_small
from emgreview.reading.beside import beside
from emgreview.running.values import decode, encode, unseal

LONGEST_S = 10.0
"""A look that takes longer is a hang."""

SAMPLES = Path(__file__).parent / "files"


class Target(NamedTuple):
    """``files``: name to bytes; ``attacked``: those whose bytes are mutated, by their endings; ``looks`` by name;
    ``share``: of a long campaign, more for one whose looks are quick."""

    files: Callable[[], Mapping[str, bytes]]
    attacked: tuple[str, ...]
    looks: Mapping[str, Callable[[Path], object]]
    share: int = 2


@dataclass
class Counts:
    """What became of the inputs; ``foreign`` and ``hangs`` say look, seed and where."""

    inputs: int = 0
    fine: int = 0
    own: int = 0
    foreign: list[str] = field(default_factory=list)
    hangs: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.inputs} inputs, {self.fine} read, {self.own} own errors, {len(self.foreign)} foreign tracebacks, "
            f"{len(self.hangs)} hangs over {LONGEST_S:g} s"
        )


class _TooLong(BaseException):
    """No error: no handler of the package may take it for one."""


def attack(
    name: str, count: int, place: Path, *, first: int = 0, tell: Callable[[str], object] | None = None
) -> Counts:
    """Inputs ``first`` to ``first + count`` of a target, in a folder of their own; each follows from its number."""
    target, counts = TARGETS[name], Counts()
    files = target.files()
    for number in range(first, first + count):
        chance = random.Random(f"{name}/{number}")
        folder = place / "it"
        shutil.rmtree(folder, ignore_errors=True)
        _lay_out(files, folder)
        how = spoil(files, target.attacked, folder, chance)
        look = chance.choice(sorted(target.looks))
        outcome, where = _outcome(target.looks[look], folder)
        counts.inputs += 1
        said = f"{name} {number}: {look} after {how}: {where}"
        if outcome == "foreign":
            counts.foreign.append(said)
        elif outcome == "hang":
            counts.hangs.append(said)
        else:
            setattr(counts, outcome, getattr(counts, outcome) + 1)
        if tell is not None and outcome in ("foreign", "hang"):
            tell(said)
    return counts


def _outcome(look: Callable[[Path], object], folder: Path) -> tuple[str, str]:
    try:
        with _no_longer_than(LONGEST_S), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            look(folder)
    except EmgreviewError:
        return "own", ""
    except _TooLong as why:
        return "hang", _where(why)
    except BaseException as why:
        if isinstance(why, KeyboardInterrupt):
            raise
        return "foreign", f"{type(why).__name__}: {str(why)[:100]} at {_where(why)}"
    return "fine", ""


def _where(why: BaseException) -> str:
    frames = [one for one in traceback.extract_tb(why.__traceback__) if "emgreview/" in one.filename]
    return " < ".join(f"{Path(one.filename).name}:{one.lineno}" for one in frames[:-4:-1]) or "the look itself"


@contextmanager
def _no_longer_than(seconds: float) -> Iterator[None]:
    def end(*_: object) -> None:
        raise _TooLong

    before = signal.signal(signal.SIGALRM, end)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _lay_out(files: Mapping[str, bytes], folder: Path) -> None:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


# What is attacked ----------------------------------------------------------------------------------------------------


def _stored(name: str) -> Callable[[], Mapping[str, bytes]]:
    folder = SAMPLES / name
    return lambda: {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    }


@cache
def _cut(name: str) -> tuple[er.Trials, ...]:
    if name == "review-1":
        return tuple(er.cut_trials(one, cue="go", before_s=0.5, after_s=1.0) for one in first_recordings())
    return tuple(cut()[: {"review-1c": 1, "review-1g": 2}.get(name)])


def _verified(folder: Path) -> None:
    try:
        er.verify(folder)
    except EmgreviewError as why:
        raise AssertionError(f"verify raised {why}") from why


def _opened(name: str, reviewer: str, **options: Any) -> Callable[[Path], object]:
    def look(folder: Path) -> None:
        opened = er.open_review(_cut(name), folder, reviewer=reviewer, detect=detect, files=Unflushed(), **options)
        with opened as session:
            _ = session.progress, session.excluded, session.convention, session.notices, session.where
            for trial in session.queue[:3]:
                _ = session.state(trial), session.open_channels(trial)
            _ = session.decisions()
            if not session.read_only:
                for _ in range(3):
                    session.undo()
                    session.redo()
                with suppress(EmgreviewError):
                    session.accept_rest(session.queue[0])
                session.comment(session.queue[0], "seen")

    return look


def _settled(name: str) -> Callable[[Path], object]:
    def look(folder: Path) -> None:
        with er.adjudicate(_cut(name), folder, "r1", "r2", reviewer="r3", detect=detect, files=Unflushed()) as session:
            for dispute in session.disputes()[:2]:
                _ = dispute.candidates, dispute.settled
            _ = session.progress

    return look


def _audited(folder: Path) -> None:
    with er.open_review(
        _cut("review-1b"), folder, reviewer="r1", detect=detect, files=Unflushed(), blind=False
    ) as session:
        audit = er.bulk_audit(session)
        _ = str(audit), audit.open


def _replayed(name: str, *versions: str) -> Mapping[str, Callable[[Path], object]]:
    recordings = [one.recording for one in _cut(name)]
    return {
        f"replay {version}": lambda folder, version=version: er.replay(folder, recordings, version, detect=detect)
        for version in versions
    }


def _withdrew(folder: Path) -> None:
    with suppress(EmgreviewError):
        str(er.withdraw(folder, "2", reviewer="r1", reason="seen"))
    with suppress(EmgreviewError):
        str(er.withdraw(folder, None, recordings=["early"], reviewer="r2", reason="seen", versions=["settled"]))


def _of_review(name: str, versions: tuple[str, ...], reviewers: tuple[str, ...]) -> dict[str, Callable[[Path], object]]:
    """The looks at a review folder."""
    looks: dict[str, Callable[[Path], object]] = {"verify": _verified, "verify again": _verified}
    for version in versions:
        looks[f"read_version {version}"] = lambda folder, version=version: er.read_version(folder, version)
        looks[f"diff {version}"] = lambda folder, version=version: str(er.diff(folder, version, "now"))
        looks[f"include {version}"] = lambda folder, version=version: er.include(
            er.read_version(folder, version), er.Rule(name="main", version=1)
        )
    for reviewer in reviewers:
        looks[f"diff 1 of {reviewer}"] = lambda folder, who=reviewer: str(er.diff(folder, 1, reviewer=who))
        looks[f"open as {reviewer}"] = _opened(name, reviewer)
        looks[f"read only as {reviewer}"] = _opened(name, reviewer, read_only=True)
    if len(reviewers) > 1:
        looks["agreement"] = lambda folder: str(er.agreement(folder, "r1", "r2"))
        looks["merge"] = lambda folder: er.merge_reviews(folder, "r1", "r2", "r3").table
        looks["merge of two"] = lambda folder: er.merge_reviews(folder, "r1", "r2").disputes
        looks["adjudicate"] = _settled(name)
    looks["withdraw"] = lambda folder: (_withdrew(folder), _verified(folder))
    looks["self-check"] = lambda folder: str(er.self_check(folder, "r1"))
    looks["seal"] = lambda folder: er.seal(
        folder, [one.recording for one in _cut(name)], "new", reviewer="r1", detect=detect
    )
    return looks


CHANNELS = "name\ttype\tunits\tsampling_frequency\tlow_cutoff\thigh_cutoff\tstatus\ttarget_muscle\n" + "".join(
    f"{name}\tEMG\tuV\t200\t20\t90\tgood\t{name}\n" for name in ("FDI", "APB")
)
EVENTS = "onset\tduration\ttrial_type\tsample\n" + "".join(f"{1 + 2 * n}\t0\tgo\t{200 + 400 * n}\n" for n in range(3))
SIDECAR = {"SamplingFrequency": 200, "PowerLineFrequency": 50, "RecordingDuration": 8, "EMGChannelCount": 2}


@cache
def _edf(bdf: bool) -> bytes:
    import tempfile

    noise = np.random.default_rng(1).integers(-900, 900, (2, 8 * 200))
    layout = Layout(
        n_records=8,
        bdf=bdf,
        reserved="BDF+C" if bdf else "EDF+C",
        annotations=[[b"+%d\x14\x14" % n, b"+%d.5\x14go\x14" % n] for n in range(8)],
    )
    with tempfile.TemporaryDirectory() as folder:
        return write(Path(folder) / "x.edf", [Sig("FDI", noise[0]), Sig("APB", noise[1])], layout).read_bytes()


def _dataset(ending: str) -> Callable[[], Mapping[str, bytes]]:
    def files() -> Mapping[str, bytes]:
        made = {
            "dataset_description.json": b'{"Name": "x", "BIDSVersion": "1.10.0"}',
            "participants.tsv": b"participant_id\tage\nsub-01\t30\nsub-02\tn/a\n",
        }
        for sub in ("01", "02"):
            stem = f"sub-{sub}/emg/sub-{sub}_task-x"
            made[f"{stem}_emg{ending}"] = _edf(ending == ".bdf")
            made[f"{stem}_emg.json"] = json.dumps(SIDECAR).encode()
            made[f"{stem}_channels.tsv"] = CHANNELS.encode()
            made[f"{stem}_events.tsv"] = EVENTS.encode()
        return made

    return files


def _text() -> Mapping[str, bytes]:
    x = np.random.default_rng(2).normal(size=(400, 2))
    return {"it.csv": "".join(f"{n / 200:.3f},{a:.4f},{b:.4f}\n" for n, (a, b) in enumerate(x)).encode()}


def _used(rec: er.Recording) -> None:
    """Everything that a recording is read for."""
    _ = repr(rec), rec.fingerprint, rec.scales, rec.duration_s
    er.check(rec)
    with suppress(EmgreviewError):
        trials = er.cut_trials(
            rec, cue="go", before_s=0.6, after_s=0.6, processing=er.Processing(low_hz=10, high_hz=90)
        )
        _ = trials.notes


def _first(folder: Path, ending: str) -> Path:
    return next(folder.rglob(f"*_emg{ending}"), folder / "sub-01" / "emg" / f"sub-01_task-x_emg{ending}")


def _of_dataset(ending: str) -> Mapping[str, Callable[[Path], object]]:
    def named(folder: Path) -> Path:
        return folder / "sub-01" / "emg" / f"sub-01_task-x_emg{ending}"

    def problems(folder: Path) -> None:
        data = er.read_dataset(folder)
        assert set(data.problems()) <= set(data.recordings.names)
        assert list(data.recordings), "one of the two is intact"

    return {
        "read": lambda folder: er.read(named(folder)),
        "read and use": lambda folder: _used(er.read(named(folder))),
        "dataset": problems,
    }


def _studied(folder: Path) -> None:
    data = er.read_study(folder / "study.toml")
    data.problems()
    for rec in data.recordings:
        _ = repr(rec), [marker.details for marker in rec.markers]


CSV = {"rate_hz": 200, "unit": "uV", "columns": ["time", "FDI", "APB"]}
RULE = b'name = "main"\nversion = 1\nsignal = ["usable", "caution"]\nonset_s = [0.05, 0.6]\n'
RULE_JSON = b'{"name": "main", "version": 1, "signal": ["usable"], "onset_s": [0.05, 0.6]}'
WORDS = b'onset = "first lasting rise"\noffset = "last return"\n'


def _written(folder: Path) -> None:
    """The log, opened and written to, below a session."""
    events: list[Any] = []
    log = Log(folder / LOG, events.append, files=Unflushed())
    try:
        _ = len(log), log.header, [log.event(number) for number in range(len(log))]
        if log.header is not None and not log.read_only:
            again = events[-1]._asdict() | {"counter": log.counter + 1}
            del again["digest"], again["target"]
            log.append(again)
    finally:
        log.close()


LOG = "logs/it_reviewer-r1.jsonl"


@cache
def _kept() -> dict[str, bytes]:
    """A result as a runner makes it, and what says that a folder is a cache."""
    job = CutJob("go", 0.5, 1.0, er.Processing(rest_s=(-0.4, 0.0)), method="threshold")
    known = job(cut()[0].recording)
    about = b'{"emgreview cache": 1, "id": "%s"}\n' % (b"0" * 32)
    return {"it.result": encode((known, ["a note"])), "cache/about-this-cache.json": about}


CARDS = b"""{"format": "channel cards of test contractions", "version": 1, "cards": [{"channel": "FCR", "over": "wrist",
"participant": "01", "session": "", "heard": [["BR", {"value": 0.6, "low": 0.4, "high": null, "n": 6}]], "own_db": 21.5,
"findings": ["While BR is contracted"], "recordings": ["it"]}]}"""
ASKED = b"recording\ttarget\tstart_s\tstop_s\tkind\nit\tFCR\t1\t3.5\ttest\nit\tn/a\t4\t6\trest\n"
PLAN = b"""format = "recording plan"
version = 1
movement = "turn the handle"
movements = ["elbow flexion"]
side = "right"
postures = ["palm up"]
notes = ["as asked"]
[session]
participant = "01"
rate_hz = 2000.0
[[channel]]
label = "FCR"
muscle = "flexor_carpi_radialis"
side = "right"
part = ""
"""


def _silence() -> er.Recording:
    return er.Recording.from_array(np.zeros((1, 2000)), 200, labels=["FCR"], name="it")


TARGETS: dict[str, Target] = {
    "kept result": Target(
        _kept,
        (".result", ".json"),
        {
            "read": lambda folder: decode(read_small(folder / "it.result"), CutJob.classes),
            "unsealed": lambda folder: unseal(read_small(folder / "it.result"), b"key"),
            "cache": lambda folder: repr(er.Cache(folder / "cache")),
        },
        share=30,
    ),
    "log": Target(
        lambda: {LOG: (SAMPLES / "log-1.jsonl").read_bytes()},
        (".jsonl",),
        {
            "verify": _verified,
            "open": _written,
            "all that it adds up to": lambda folder: read_logs(folder, "r1").marks(),
            "diff": lambda folder: str(er.diff(folder, 1)),
            "self-check": lambda folder: str(er.self_check(folder, "r1")),
            "last stated": lambda folder: (last_stated(folder / LOG), last_line(folder / LOG)),
        },
        share=30,
    ),
    "review-1": Target(
        _stored("review-1"),
        (".jsonl", ".json", ".tsv"),
        _of_review("review-1", ("v1", "v2"), ("r1",)) | dict(_replayed("review-1", "v1", "v2")),
    ),
    "review-1b": Target(
        _stored("review-1b"),
        (".jsonl",),
        _of_review("review-1b", ("first", "settled"), ("r1", "r2", "r3")) | {"audit": _audited},
    ),
    "review-1c": Target(
        _stored("review-1c"),
        (".jsonl", ".json", ".tsv"),
        _of_review("review-1c", ("of-r1", "of-r2", "settled"), ("r1", "r2", "r3")),
    ),
    "review-1g": Target(
        _stored("review-1g"),
        (".jsonl", ".json", ".tsv"),
        _of_review("review-1g", ("of-r1", "settled", "settled-anew"), ("r1", "r2", "r3"))
        | dict(_replayed("review-1g", "of-r1", "settled-anew")),
    ),
    "edf": Target(_dataset(".edf"), (".edf", ".json", ".tsv"), _of_dataset(".edf"), share=3),
    "bdf": Target(_dataset(".bdf"), (".bdf", ".json", ".tsv"), _of_dataset(".bdf"), share=2),
    "text": Target(
        _text,
        (".csv",),
        {
            "read": lambda folder: _used(er.read(folder / "it.csv", **CSV)),
            "read with a column": lambda folder: er.read(folder / "it.csv", rate_hz=200, unit="uV"),
            "read with gaps": lambda folder: er.read(
                folder / "it.csv", **CSV, missing=["", "-"], comment="#", jitter_s=0.1, separator=","
            ),
            "look": lambda folder: str(er.look(folder / "it.csv")),
            "dataset": lambda folder: er.read_dataset(folder, **CSV).problems(),
        },
        share=10,
    ),
    "text, otherwise": Target(
        text_otherwise,
        (".csv",),
        {
            "read": lambda folder: _used(er.read(folder / "it.csv", **OTHERWISE)),
            "read one": lambda folder: er.read(folder / "it.csv", **OTHERWISE, columns={"time": "time", "EMG.2": "b"}),
            "look": lambda folder: str(er.look(folder / "it.csv")),
        },
        share=5,
    ),
    "study of several kinds": Target(
        study_of_kinds,
        (".csv", ".toml", ".mat"),
        {
            "read": _studied,
            "confirm": lambda folder: er.confirm_alignment(folder / "study.toml", "sub-00", reason="x"),
        },
        share=5,
    ),
    "study": Target(
        study,
        (".csv", ".toml"),
        {
            "read": _studied,
            "confirm": lambda folder: er.confirm_alignment(folder / "study.toml", "sub-00_task-x", reason="x"),
        },
        share=10,
    ),
    "rules": Target(
        lambda: {"it.toml": RULE, "it.json": RULE_JSON, "words.toml": WORDS, "words.txt": WORDS},
        (".toml", ".json", ".txt"),
        {
            "rule in TOML": lambda folder: er.Rule.read(folder / "it.toml"),
            "rule in JSON": lambda folder: er.Rule.read(folder / "it.json"),
            "convention": lambda folder: read_convention(folder / "words.toml"),
            "convention as text": lambda folder: read_convention(folder / "words.txt"),
        },
        share=60,
    ),
    "test contractions": Target(
        lambda: {"contractions.json": CARDS, "asked.tsv": ASKED},
        (".json", ".tsv"),
        {
            "cards": lambda folder: str(er.read_channel_cards(folder)),
            "table": lambda folder: asked_of([_silence()], read_asked(folder / "asked.tsv")),
        },
        share=60,
    ),
    "recording plan": Target(
        lambda: {"plan.toml": PLAN},
        (".toml",),
        {
            "read": lambda folder: str(er.read_plan(folder / "plan.toml")),
            "beside a study": lambda folder: str(beside(folder, [("01", "")])[0].on(_silence())),
        },
        share=60,
    ),
}

TARGETS |= {
    name: Target(
        lambda name=name, one=one: {f"it{one.ending}": file_of(name)},
        (one.ending,),
        {
            "look": lambda folder, one=one: str(er.look(folder / f"it{one.ending}")),
            "read": lambda folder, one=one: er.read(folder / f"it{one.ending}", **one.how).values(),
            "read and use": lambda folder, one=one: _used(er.read(folder / f"it{one.ending}", **one.how)),
        },
        share=one.share,
    )
    for name, one in FORMATS.items()
}


def shared(count: int, names: Iterable[str] = tuple(TARGETS)) -> dict[str, int]:
    """Inputs of each target, ``count`` in all or hardly less."""
    shares = {name: TARGETS[name].share for name in names}
    return {name: count * share // sum(shares.values()) for name, share in shares.items()}
