"""A review rebuilt from raw recordings and logs: on any machine, in twenty years, to check a version or to seal one.

The logs say how trials were cut, what was detected and how, and what was decided; the recordings are given, and trials
are cut from them anew (:mod:`emgreview.recutting`).

    replay      rebuild the table of a sealed version and say how closely it is the same
    seal        seal a version without a screen
    Replayed    what held
"""

import tempfile
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from emgreview import tables
from emgreview.annotations.environment import installed, machine
from emgreview.annotations.ledger import read_until
from emgreview.annotations.log_positions import find_position
from emgreview.annotations.places import recording_in
from emgreview.annotations.versions import Sealed, demand_decided, read_sealed
from emgreview.annotations.withdrawals import Withdrawal, withdrawn
from emgreview.annotations.withdrawing import keep_notes
from emgreview.checks import review_folder
from emgreview.cohort.marks import read_logs
from emgreview.detecting import Detect
from emgreview.errors import LogError, SignalWarning
from emgreview.legible import one_line
from emgreview.model import Recording
from emgreview.reading.dataset import NAMELESS
from emgreview.recutting import Data, cuts_of, detection_of, searches_told, trials_of
from emgreview.running import Runner
from emgreview.second_look import reopen
from emgreview.showing import Shown
from emgreview.unnamed import NobodyNamed

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
        What had to be taken from the log; which rows are not rebuilt, as their logs were
        withdrawn. These are in no comparison.
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
        return "\n".join(lines + [f"  {one_line(one)}" for one in (*self.differences, *self.notes)])

    def _parts(self) -> list[str]:
        return str(self).split("\n")


def replay(
    folder: str | Path, data: Data, version: str, *, detect: Detect | None = None, runner: Runner | None = None
) -> Replayed:
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
    runner : Runner or None
        Where the work on many recordings runs and is kept; None: here, kept nowhere.

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
    EmgreviewError
        What reading and cutting ``data`` as the log says raises, and what
        :func:`emgreview.adjudicate` raises where a third reviewer's is replayed.

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
    read = read_sealed(folder, version)
    description, sealed = read.whole, read.table
    point = find_position(folder, version)
    notes = list(read.notes)
    gone = withdrawn(folder)
    kept = _with_logs(version, description, gone)
    types = {name: entry["type"] for name, entry in description["columns"].items()}
    was = tables.from_tsv(sealed, types, guarded="text" in description)
    if len(rest := was[was["recording"].isin(kept)]) < len(was):
        notes.append(f"{len(was) - len(rest)} of {len(was)} rows are of logs that were withdrawn, and not rebuilt.")
        was, sealed = rest.reset_index(drop=True), tables.to_tsv(rest)
    searches = searches_told(was)
    trials = trials_of(
        point,
        data,
        [(part["recording"], part["cue"]) for part in description["trials"] if part["recording"] in kept],
        notes,
        searches,
        runner=runner,
    )
    rule = description["inclusion"] and tables.Rule.from_dict(description["inclusion"]["rule"], sealed=True)
    how = detection_of(point, trials, detect, notes)
    with tempfile.TemporaryDirectory() as place:
        _copy_logs(folder, Path(place), {where: description["logs"][where] for where in point.lines})
        if point.carried:
            keep_notes(Path(place) / min(point.lines), point.carried)
        if settled := read_logs(place, point.reviewer, whole=False).note("adjudicate"):
            for who in ("first", "second"):
                heads = settled.new[who]["heads"]
                _copy_logs(folder, Path(place), {where: heads[where] for where in heads if where not in gone})
        with reopen(
            trials,
            place,
            reviewer=point.reviewer,
            blind=description["blind"],
            unblind=None if description["blind"] else "replay",
            read_only=True,
            whole=False,  # they were copied up to the heads, which is checked
            **how,
        ) as session:
            rebuilt, now = session.as_version(rule, onset_alone="aside_samples" not in was, sealed=True)
            methods = session.methods
    differences = [
        f"the onset method's parameters for {name} were {was['detection']['parameters']}, and are "
        f"{methods[name]['detection']['parameters']} in this version of the package."
        for name, was in description["recordings"].items()
        if name in kept and was["detection"]["hash"] != methods[name]["detection"]["hash"]
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
    runner: Runner | None = None,
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
    runner : Runner or None
        Where the work on many recordings runs and is kept; None: here, kept nowhere.

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
    LogError, VersionError, UnknownNameError, ReadError, EmgreviewError
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
    wanted = [(recording, cut["cue"]) for recording, facts in point.facts.items() for cut in cuts_of(recording, facts)]
    blind, known = point.blind, list[Recording]()
    with NobodyNamed(known, blind):
        trials = trials_of(point, data, wanted, notes, known=known, apart=APART, runner=runner)
    how = detection_of(point, trials, detect, notes)
    with reopen(trials, folder, reviewer=point.reviewer, blind=blind, **how) as session:
        for note in dict.fromkeys([*notes, *session.notices]):
            warnings.warn(note if note == NAMELESS else session.neutral(note), SignalWarning, stacklevel=2)
        return session.seal(name, rule)


def _with_logs(version: str, description: Mapping[str, Any], gone: Mapping[str, Withdrawal]) -> set[str]:
    """The recordings of a version but for those whose log its reviewer no longer has, as it was withdrawn."""
    own = f"_reviewer-{description['reviewer']}.jsonl"
    lost = {recording_in(Path(where).name) for where in description["logs"] if where.endswith(own) and where in gone}
    kept: set[str] = set(description["recordings"]) - lost
    if not kept:
        raise LogError(f"every log that version {version!r} rests on was withdrawn; nothing is left to be rebuilt.")
    return kept


def _copy_logs(folder: Path, place: Path, heads: Mapping[str, Mapping[str, Any]]) -> None:
    """Copy logs up to the heads that a version, or an adjudication, names."""
    for where, head in heads.items():
        if not head["lines"]:  # of an empty log: nothing rests on it
            continue
        copy = place / where
        if ".." in copy.parts or not copy.is_relative_to(place):
            raise LogError(f"a log is named {where!r}, which leads out of the review folder; nothing was read from it.")
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(read_until(folder / where, head, lambda event: None))


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
