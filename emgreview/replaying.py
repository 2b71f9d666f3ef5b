"""A review rebuilt from raw recordings and logs: on any machine, in twenty years, to check a version or to seal one.

The logs say how trials were cut, what was detected and how, and what was decided; the recordings are given. Nothing is
taken on trust: a recording whose fingerprint or scale is not the one that was reviewed is refused, with what differs.

    replay      rebuild the table of a sealed version and say how closely it is the same
    seal        seal a version without a screen
    Replayed    what held

Somewhat more than 400 lines: both commands rest on the same steps, which are of use to nobody else.
"""

import contextlib
import itertools
import re
import tempfile
import warnings
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from emgreview import tables
from emgreview.annotations import scales
from emgreview.annotations.description import demand_whole
from emgreview.annotations.ledger import read_until
from emgreview.annotations.log_positions import LogPosition, find_position
from emgreview.annotations.reviewer_logs import installed, machine
from emgreview.annotations.telling import beside_the_emg, scales_not_kept, sentences
from emgreview.annotations.versions import Sealed, demand_decided, read_sealed
from emgreview.checks import kind, review_folder
from emgreview.cohort.marks import read_logs
from emgreview.detecting import Detect, rebuilt
from emgreview.errors import EmgreviewError, LogError, SignalWarning
from emgreview.model import Marker, Processing, Recording, Trials
from emgreview.reading import find_cues, read, read_dataset
from emgreview.reading.cues import as_cue_channel
from emgreview.reading.dataset import NAMELESS, Dataset
from emgreview.reading.settled import listed
from emgreview.second_look import reopen
from emgreview.showing import Shown
from emgreview.trials import cut_trials
from emgreview.unnamed import NobodyNamed

Data = Dataset | Recording | Iterable[Recording] | str | Path

APART = (
    "; or, where two studies were reviewed into one folder, move the logs of one of them into 'logs' of a folder of "
    "its own, and seal each"
)
"""How a version is sealed where the folder holds logs of another study."""

DIGITS = 9
"""Significant digits to which numbers must agree."""


@dataclass(frozen=True, eq=False, repr=False)
class Replayed(Shown):
    """What held when a version was rebuilt; :func:`emgreview.replay` returns it.

    Attributes
    ----------
    version : str
        Name of the version.
    same_decisions : bool
        Every mark, state and word is identical.
    same_numbers : bool
        All times agree to 9 significant digits.
    same_bytes : bool
        The table, in the columns that were sealed, is the same file.
    same_packages, same_machine : bool
        This was done under the versions of packages, and on the kind of machine, of the
        sealing; then the bytes must be the same.
    differences : tuple of str
        What is not the same.
    notes : tuple of str
        What had to be taken from the log.
    table : DataFrame
        The table as rebuilt.
    """

    version: str
    same_decisions: bool
    same_numbers: bool
    same_bytes: bool
    same_packages: bool
    same_machine: bool
    differences: tuple[str, ...]
    notes: tuple[str, ...]
    table: tables.Table = field(repr=False)

    @property
    def ok(self) -> bool:
        """Whether all holds that must hold here."""
        alike = self.same_packages and self.same_machine
        return self.same_decisions and self.same_numbers and (self.same_bytes or not alike)

    def __str__(self) -> str:
        held = {
            "marks and states identical": self.same_decisions,
            f"numbers to {DIGITS} digits": self.same_numbers,
            "same bytes": self.same_bytes,
            "same package versions": self.same_packages,
            "same kind of machine": self.same_machine,
        }
        lines = [f"{self.version}: " + ", ".join(f"{what}: {'yes' if so else 'no'}" for what, so in held.items())]
        return "\n".join(lines + [f"  {one}" for one in (*self.differences, *self.notes)])

    def _parts(self) -> list[str]:
        return str(self).split("\n")


def replay(folder: str | Path, data: Data, version: str, *, detect: Detect | None = None) -> Replayed:
    """Rebuild the table of a sealed version from raw recordings and the logs, and compare.

    Parameters
    ----------
    folder : str or Path
        The review folder; it is only read.
    data : Dataset, Recording, iterable of Recording, str or Path
        The recordings, or a path to a file or folder of them. Cues that were found in a
        channel are found there again, by the level and hold-off that the log keeps.
    version : str
        Name of the version.
    detect : callable or None
        The detection method, where the review was opened with one of its own.

    Returns
    -------
    Replayed
        What held, with the table as rebuilt.

    Raises
    ------
    LogError
        A log is not the one that was sealed; a recording is missing or is not the one that
        was reviewed, with what differs.
    VersionError
        The version is missing or was changed.
    UnknownNameError
        Something that the log names is not there.
    ReadError
        ``data`` is a path that cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 2, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = session.accept_rest(session.where)
    ...         _ = session.seal("v1")
    ...     er.replay(folder, rec, "v1").same_bytes
    True
    """
    folder = review_folder(folder)
    description, sealed = read_sealed(folder, version)
    demand_whole(description, version)
    point = find_position(folder, version)
    notes: list[str] = []
    types = {name: entry["type"] for name, entry in description["columns"].items()}
    was = tables.from_tsv(sealed, types, guarded="text" in description)
    searches = _searches_told(was)
    trials = _trials(point, data, [(part["recording"], part["cue"]) for part in description["trials"]], notes, searches)
    rule = description["inclusion"] and tables.Rule.from_dict(description["inclusion"]["rule"], sealed=True)
    how = _detection_of(point, trials, detect, notes)
    with tempfile.TemporaryDirectory() as place:
        _copy_logs(folder, Path(place), {where: description["logs"][where] for where in point.lines})
        if settled := read_logs(place, point.reviewer).note("adjudicate"):
            for who in ("first", "second"):
                _copy_logs(folder, Path(place), settled.new[who]["heads"])
        with reopen(
            trials,
            place,
            reviewer=point.reviewer,
            blind=description["blind"],
            unblind=None if description["blind"] else "replay",
            read_only=True,
            **how,
        ) as session:
            rebuilt, now = session.as_version(rule)
            methods = session.methods
    differences = [
        f"the onset method's parameters for {name} were {was['detection']['parameters']}, and are "
        f"{methods[name]['detection']['parameters']} in this version of the package."
        for name, was in description["recordings"].items()
        if was["detection"]["hash"] != methods[name]["detection"]["hash"]
    ]
    for what, then in (("packages", description["packages"]), ("machine", description["machine"])):
        differences += [
            f"{name} was {then.get(name)}, and is {now[what].get(name)} here."
            for name in sorted({*then, *now[what]})
            if then.get(name) != now[what].get(name)
        ]
    table = tables.from_tsv(rebuilt, {name: entry["type"] for name, entry in now["columns"].items()})
    same_decisions = same_numbers = same_bytes = False
    if lost := [str(name) for name in was if name not in table]:
        differences.append(
            f"columns are missing: {', '.join(lost)}; the cues had other details, or the package was another."
        )
    else:
        table = table[list(was)]  # a later version of the package may know more columns
        same_decisions = same_numbers = same_bytes = tables.to_tsv(table) == sealed
        if not same_bytes:
            same_decisions, same_numbers = _compare(was, table, types, differences)
    return Replayed(
        version=version,
        same_decisions=same_decisions,
        same_numbers=same_numbers,
        same_bytes=same_bytes,
        same_packages=description["packages"] == installed(),
        same_machine=description["machine"] == machine(),
        differences=tuple(differences),
        notes=tuple(notes),
        table=table,
    )


def seal(
    folder: str | Path,
    data: Data,
    name: str,
    *,
    reviewer: str | None = None,
    rule: tables.Rule | None = None,
    detect: Detect | None = None,
) -> Sealed:
    """Seal the decisions of a reviewer as they stand, without a screen.

    Trials are cut as the logs say.

    Parameters
    ----------
    folder : str or Path
        The review folder.
    data : Dataset, Recording, iterable of Recording, str or Path
        The recordings, or a path to a file or folder of them.
    name : str
        Name of the new version.
    reviewer : str or None
        Whose decisions; may be left out where there is only one.
    rule : Rule or None
        Also say which rows it includes, and keep the rule.
    detect : callable or None
        The detection method, where the review was opened with one of its own.

    Returns
    -------
    Sealed
        Name, folder and the SHA-256 to quote.

    Raises
    ------
    DecisionError
        The reviewer has decided nothing so far, or has taken it all back.
    LogLockedError
        The review is open elsewhere.
    LogError, VersionError, UnknownNameError, ReadError
        As for :func:`replay`; also, the name is taken.

    Warns
    -----
    SignalWarning
        What has to be known: marks to look at again, cues that the recordings lack, logs
        that did not keep a scale; in a blind review without names, as the one who seals goes
        on reviewing.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 2, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = session.accept_rest(session.where)
    ...     er.seal(folder, rec, "v1").name
    'v1'
    """
    folder = review_folder(folder)
    point = find_position(folder, reviewer=reviewer)
    demand_decided(point.decides, point.reviewer, folder)  # before any recording is read
    notes: list[str] = []
    wanted = [(recording, cut["cue"]) for recording, facts in point.facts.items() for cut in _cuts(recording, facts)]
    blind, known = point.blind, list[Recording]()
    with NobodyNamed(known, blind):
        trials = _trials(point, data, wanted, notes, known=known, apart=APART)
    how = _detection_of(point, trials, detect, notes)
    with reopen(trials, folder, reviewer=point.reviewer, blind=blind, **how) as session:
        for note in dict.fromkeys([*notes, *session.notices]):
            warnings.warn(note if note == NAMELESS else session.neutral(note), SignalWarning, stacklevel=2)
        return session.seal(name, rule)


def _copy_logs(folder: Path, place: Path, heads: Mapping[str, Mapping[str, Any]]) -> None:
    """Copy logs up to the heads that a version, or an adjudication, names."""
    for where, head in heads.items():
        copy = place / where
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(read_until(folder / where, head, lambda event: None))


# Trials as the logs say ------------------------------------------------------------------------------------------


def _trials(
    point: LogPosition,
    data: Data,
    wanted: Sequence[tuple[str, str]],
    notes: list[str],
    told: Mapping[str, Sequence[Mapping[str, Any]]] | None = None,
    known: list[Recording] | None = None,
    apart: str = "",
) -> list[Trials]:
    """The trials of some (recording, cue), cut as at a point of the logs; ``told``, by recording, how cues were found
    where the log does not say it; ``known`` gains the recordings; ``apart`` is added where some are missing."""
    names = list(dict(wanted))
    given, came = _given(data, names)
    if known is not None:
        known += given.values()
    _demand_all(names, given, came, apart)
    trials = []
    if unknown := [name for name in dict(wanted) if name in given and not point.facts[name].get("scales")]:
        notes.append(scales_not_kept(unknown, ""))
    for name, cue in wanted:
        facts = point.facts[name]
        cut = next(cut for cut in _cuts(name, facts) if cut["cue"] == cue)
        source = _with_cue_channels(given[name], cut)
        notes += (note for note in _refuse_another(source, facts, cut) if note not in notes)
        if told and told.get(name) and "searches" not in cut:
            cut = {**cut, "searches": [{**one, "label": cue} for one in told[name]]}
        recording = _with_cues(source, cut, notes)
        rate = recording.rate_hz
        processing = _processing_of(facts["processing"])
        trials.append(
            cut_trials(
                recording,
                cue=cue,
                before_s=cut["before"] / rate,
                after_s=(cut["length"] - cut["before"]) / rate,
                processing=processing,
            )
        )
    return trials


def _given(data: Data, wanted: Iterable[str]) -> tuple[dict[str, Recording], list[str]]:
    """The recordings that are wanted and given, by name, and the names of all that are given."""
    if isinstance(data, (str, Path)):
        data = read_dataset(data) if Path(data).is_dir() else read(data)
    if isinstance(data, Dataset):
        names = list(data.recordings.names)
        return {name: data.recordings[name] for name in names if name in wanted}, names
    kind("data", data, (Recording, Iterable), "a dataset, recordings, or a path to either")
    given = {}
    for one in [data] if isinstance(data, Recording) else data:
        kind("data", one, Recording, "a dataset, recordings, or a path to either")
        given[one.name] = one
    return {name: one for name, one in given.items() if name in wanted}, list(given)


def _demand_all(wanted: Sequence[str], given: Collection[str], came: Sequence[str], apart: str = "") -> None:
    """Raise LogError, with what came and what the review holds, unless all recordings of a review are given."""
    missing = [name for name in wanted if name not in given]
    if not missing:
        return
    which = f"; missing {'is' if len(missing) == 1 else 'are'} {listed(sorted(missing))}" if given else ""
    raise LogError(
        f"the review holds {_counted(wanted)}, and {_counted(came)} came{which}; needed are all recordings of the "
        f"review; give the folder that holds them, or read them under the names that they had{apart if given else ''}."
    )


def _counted(names: Sequence[str]) -> str:
    return f"{len(names)} recording{'' if len(names) == 1 else 's'} ({listed(sorted(names))})" if names else "none"


def _cuts(recording: str, facts: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    cuts: Sequence[Mapping[str, Any]] | None = facts.get("cuts")
    if cuts is None:
        raise LogError(
            f"the log of {recording!r} does not say how its trials were cut, as the first logs did not; open the "
            "review once for writing, with the trials as they were, and it will."
        )
    return cuts


def _refuse_another(recording: Recording, facts: Mapping[str, Any], cut: Mapping[str, Any]) -> list[str]:
    """Raise LogError, with what differs, unless this is the recording that was reviewed, read as it was. Sentences on
    what differs and decides no number."""
    emg = {channel.label: channel.delay_s for channel in recording.channels if channel.kind == "EMG"}
    known = facts["fingerprint"]["samples"]
    came = {
        "labels": list(recording.labels),
        "sampling rate": recording.rate_hz,
        "number of samples": recording.n_samples,
        "samples (SHA-256)": known if recording.is_of(known) else recording.fingerprint.samples,
        "participant": recording.entities.get("sub"),
        "EMG channels": list(emg),
        "delays of the EMG channels": list(emg.values()),
    }
    was = {
        "labels": facts["labels"],
        "sampling rate": facts["rate_hz"],
        "number of samples": facts.get("n_samples", recording.n_samples),
        "samples (SHA-256)": known,
        "participant": facts["participant"],
        "EMG channels": cut["channels"],
        "delays of the EMG channels": cut["delays_s"],
    }
    differing = [f"{what}: reviewed {was[what]}, given {came[what]}" for what in was if was[what] != came[what]]
    if differing:
        raise LogError(
            f"recording {recording.name!r} is not the one that was reviewed, or is read in another way: "
            f"{'; '.join(differing)}; give the recording that was reviewed."
        )
    found = scales.compare(facts.get("scales"), scales.stated(recording))
    advice = (
        "read it as it was (the file's header, channels.tsv, unit=); a corrected scale holds for what was sealed since."
    )
    scales.refuse(found, f"recording {recording.name!r} comes", advice)
    return sentences([(recording.name, beside_the_emg(found))]) if found.beside else []


def _with_cue_channels(recording: Recording, cut: Mapping[str, Any]) -> Recording:
    """The recording with channels in which cues were found as no EMG, where the log has them so."""
    for label in recording.emg_labels:
        if f"channel {label}" in cut["cues"] and label not in cut["channels"]:
            recording = as_cue_channel(recording, label)
    return recording


def _with_cues(recording: Recording, cut: Mapping[str, Any], notes: list[str]) -> Recording:
    """The recording with just the cues that were cut. Those that it does not hold are looked for again in the channel
    in which they were found, as the log says; what is then still missing comes from the log."""
    wanted = {(source, sample) for source, samples in cut["cues"].items() for sample in samples}
    others = [marker for marker in recording.markers if marker.label != cut["cue"]]
    held = [
        marker
        for marker in recording.markers
        if marker.label == cut["cue"] and (marker.source, marker.sample) in wanted
    ]
    missing = sorted(wanted - {(marker.source, marker.sample) for marker in held})
    for search in cut.get("searches", ()) if missing else ():
        found, words = _found_again(recording, search, cut["cue"], set(missing))
        held += found
        missing = sorted(set(missing) - {(marker.source, marker.sample) for marker in found})
        notes += words
    if missing:
        notes.append(
            f"{len(missing)} of {len(wanted)} cues {cut['cue']!r} of {recording.name} are not in the recording as "
            "given and were taken from the log, without further columns."
        )
    known = {sample for _, sample in wanted}
    given = [marker.sample for marker in recording.markers if marker.label == cut["cue"]]
    if more := sum(sample not in known for sample in given):
        notes.append(
            f"{more} of {len(given)} cues {cut['cue']!r} of {recording.name} as given were not cut for the review, and "
            "are left out here too."
        )
    made = [Marker(sample, cut["cue"], source) for source, sample in missing]
    return recording.with_markers([*others, *held, *made])


def _found_again(
    recording: Recording, search: Mapping[str, Any], cue: str, missing: set[tuple[str, int]]
) -> tuple[list[Marker], list[str]]:
    """Those of the missing cues that a search in a channel finds again, and a sentence where it cannot be done."""
    how = ", ".join(f"{name} {value}" for name, value in search.items() if name not in ("channel", "label"))
    try:
        again = find_cues(recording, **search)
    except EmgreviewError as why:
        return [], [f"Cues in channel {search['channel']} of {recording.name} ({how}) could not be found again: {why}"]
    return [one for one in again if one.label == cue and (one.source, one.sample) in missing], []


def _searches_told(table: tables.Table) -> dict[str, list[dict[str, Any]]]:
    """By recording, the levels that a table tells of cues found in a channel, as searches for every crossing: the first
    logs did not say how their cues were found."""
    found: dict[str, list[dict[str, Any]]] = {}
    if not {"level", "edge"} <= set(table):
        return found
    for recording, trial, level in table[["recording", "trial", "level"]].dropna().itertuples(index=False, name=None):
        source = re.fullmatch(r"/channel (.*)/\d+", str(trial).removeprefix(str(recording)))
        number = re.match(r"\S+", str(level))
        with contextlib.suppress(ValueError):
            if source and number:
                search = {"channel": source[1], "level": float(number[0]), "edge": "both", "hold_off_s": 0.0}
                if search not in found.setdefault(recording, []):
                    found[recording].append(search)
    return found


def _processing_of(stored: Mapping[str, Any]) -> Processing:
    """The processing in a log, whose canonical JSON writes 50.0 as 50: the one with the digest that was stored."""
    with contextlib.suppress(TypeError, ValueError, OverflowError):  # what is no parameter has no such digest either
        for found in _processings(stored["parameters"]):
            if found.hash == stored["hash"]:
                return found
    raise LogError(
        "the log names parameters of processing whose SHA-256 this version of the package finds to be another; install "
        "the version that the log names under packages."
    )


def _processings(stored: Mapping[str, Any]) -> Iterator[Processing]:
    """Every processing that canonical JSON writes so."""
    parameters = {name: tuple(part) if isinstance(part, list) else part for name, part in stored.items()}
    if "rest_s" not in parameters or not parameters.keys() <= {part.name for part in fields(Processing)}:
        return
    whole = [name for name, value in parameters.items() if type(value) is int and name != "order"]
    for kinds in itertools.product((float, int), repeat=len(whole)):
        changed = {name: number(parameters[name]) for name, number in zip(whole, kinds, strict=True)}
        for rest in itertools.product((float, int), repeat=2):
            span = tuple(
                number(end) if end == int(end) else end for number, end in zip(rest, parameters["rest_s"], strict=True)
            )
            others: dict[str, Any] = {k: part for k, part in (parameters | changed).items() if k != "rest_s"}
            found = Processing(**others)
            object.__setattr__(found, "rest_s", span)  # as it was logged, whatever a new one may be
            yield found


def _detection_of(
    point: LogPosition, trials: Sequence[Trials], detect: Detect | None, notes: list[str]
) -> dict[str, Any]:
    """The one way of detection of some trials, as options of a review. The parameters of a ``detect`` are its own."""
    ways = {part.recording.name: point.facts[part.recording.name]["detection"] for part in trials}
    if len({way["method"] if detect else way["hash"] for way in ways.values()}) > 1:
        words = "; ".join(f"{name}: {way['method']}, {way['parameters']}" for name, way in ways.items())
        raise LogError(f"the recordings were detected in different ways ({words}); replay them apart.")
    way = next(iter(ways.values()))
    if detect is not None:
        return {"method": way["method"], "detect": detect}
    method, parameters, lost = rebuilt(way)
    notes += lost
    return {"method": method, "parameters": parameters}


# Comparing -------------------------------------------------------------------------------------------------------


def _compare(
    was: tables.Table, now: tables.Table, types: Mapping[str, str], differences: list[str]
) -> tuple[bool, bool]:
    """Whether decisions and numbers are the same; each column that is not, in a sentence."""
    keys = ["recording", "trial", "channel"]
    if len(was) != len(now) or not was[keys].equals(now[keys]):
        differences.append(f"the rows are others: {len(was)} were sealed, {len(now)} were rebuilt.")
        return False, False
    same = {"number": True, "other": True}
    for name, sort in types.items():
        alike = was[name].eq(now[name]) | (was[name].isna() & now[name].isna())
        if sort == "number":
            scale = was[name].abs().combine(now[name].abs(), max)
            alike |= (was[name] - now[name]).abs() <= scale * 10.0**-DIGITS
        alike = alike.fillna(False).astype(bool)
        if alike.all():
            continue
        same["number" if sort == "number" else "other"] = False
        first = (~alike).to_numpy().argmax()
        where = " ".join(str(was[key].iloc[first]) for key in keys[1:])
        differences.append(
            f"{name} differs in {int((~alike).sum())} rows, first in {where}: {was[name].iloc[first]} was sealed, "
            f"{now[name].iloc[first]} was rebuilt."
        )
    return same["other"], same["number"]
