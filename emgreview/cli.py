"""The command line: each command is one public function with files around it. ``emgreview COMMAND --help`` tells more.

    demo        write the demo study, and open the review notebook on it
    check       are the EMG channels of a recording, or of a folder of them, fit for use
    detect      onsets of every trial and channel, as a table
    review      the review screen in a browser, without a notebook
    measure     measures of every burst of a sealed version, as a table
    agreement   how far two reviewers of a folder agree, in words and in time
    adjudicate  what two reviewers disagree on, and what a third has settled, as a table
    verify      check every log and every sealed version of a review folder
    diff        what changed between two versions, or any two points of the logs
    seal        seal a version without a screen, with or without a rule for inclusion
    replay      rebuild a sealed version from raw recordings and logs, and compare
    bench       how accurate the onset methods are, and what check finds, where the truth is known

Text for people goes to standard output, or JSON with ``--json``; notes and errors go to standard error, one line each.
The exit status is 0 only when all is well, 1 when something was found, left out, not as expected or failed, 2 when the
command was mistyped. Over 400 lines, because the commands, their arguments and their words are looked for in one place.
"""

import argparse
import dataclasses
import difflib
import importlib.util
import json
import math
import os
import secrets
import socket
import sys
import warnings
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence, Set
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.annotations.convention import read_convention
from emgreview.annotations.log_positions import find_position
from emgreview.annotations.unblinding import written_blind
from emgreview.cells import MISSING, guard
from emgreview.checking import CHECKED_S, Checked, twins
from emgreview.demo import lab
from emgreview.detecting import METHOD, onsets_of
from emgreview.errors import ReadError, UnknownNameError
from emgreview.plain_files import read_json
from emgreview.reading.dataset import NAMELESS
from emgreview.reading.settled import is_told_by_name, listed
from emgreview.shell_options import Parser, names_settings, parsed
from emgreview.shell_words import answer, in_shell_lines, in_shell_words
from emgreview.signal.onset import METHODS, checked_method
from emgreview.unnamed import NobodyNamed, alike

Status = int
FINE, NOT_FINE = 0, 1

_RESPONSE = "response"
"""The marker of the response, where none is named."""

ONSET_COLUMNS = ("onset_s", "low_s", "high_s", "offset_s", "offset_low_s", "offset_high_s")


_SHOWN: dict[str, None] = {}
"""Notes that this command has said, each once; but for those of the folder."""

_OF_FOLDER: set[str] = set()
"""Notes of the folder that it has said, which a blind review would tell again."""


def main() -> None:
    """Run the command in ``sys.argv``; ends the process with its exit status."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: Sequence[str]) -> Status:
    """Run one command and return its exit status; errors of the package become one line on standard error."""
    given = parsed(_parser(), _held_together(arguments))
    given.notes, given.problems, given.as_expected = [], {}, True
    with warnings.catch_warnings():
        warnings.simplefilter("always", er.SignalWarning)
        warnings.simplefilter("always", er.DecisionWarning)
        warnings.showwarning = _show_warning
        _SHOWN.clear()
        _OF_FOLDER.clear()
        try:
            try:
                status: Status = given.run(given)
            finally:
                for whose, words in alike(given.problems).items():
                    _say(f"emgreview: {whose}: {_named(given, words)}")
            sys.stdout.flush()
        except er.EmgreviewError as error:
            _say(f"emgreview: {_named(given, str(error))}")
            return NOT_FINE
        except KeyboardInterrupt:
            _say("emgreview: ended by the keyboard")
            return NOT_FINE
        except BrokenPipeError:  # the reader of our output has gone; nothing more can be said to it
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return NOT_FINE
        except OSError as error:
            where = f" of {error.filename}" if error.filename else ""
            _say(
                f"emgreview: the system says {error.strerror or error!r}{where}; the command did not end its work; "
                "look whether that place exists, is of the right kind, may be read and written, and has room, and run "
                "it again."
            )
            return NOT_FINE
    return status


def _held_together(arguments: Sequence[str]) -> list[str]:
    """``--columns -,FDI`` as ``--columns=-,FDI``: what begins with a dash would be taken for an option."""
    joined: list[str] = []
    for argument in arguments:
        if joined and joined[-1] in ("--columns", "--unit") and (argument == "-" or argument.startswith("-,")):
            joined[-1] += f"={argument}"
        else:
            joined.append(argument)
    return joined


# Commands --------------------------------------------------------------------------------------------------------


def _demo(given: argparse.Namespace) -> Status:
    folder = er.write_demo(
        given.folder, participants=given.participants, trials=given.trials, seed=given.seed, progress=_progress
    )
    if given.open:
        return _open_notebook(folder, given)
    _tell(given, {"folder": str(folder)}, f"The demo study is in {folder}.")
    return FINE


def _check(given: argparse.Namespace) -> Status:
    reports: list[dict[str, Any]] = []
    checked: dict[str, Checked] = {}
    for name, rec in _recordings(given):
        if rec is None:
            reports.append(_unread_report(given, name))
            continue
        checked[name] = er.check(rec, look_s=None if given.whole else CHECKED_S)
        channels = [dataclasses.asdict(quality) for quality in checked[name]]
        cues = dict(sorted(Counter(marker.label for marker in rec.markers).items()))
        report: dict[str, Any] = {
            "recording": name,
            "rate_hz": rec.rate_hz,
            "seconds": rec.duration_s,
            "stated_mains_hz": rec.mains_hz,
            "markers": cues,
            "notes": list(rec.notes),
            "channels": channels,
            "problem": None,
            "dataset_notes": given.notes,
        }
        reports.append(report)
        if not given.json:
            print(in_shell_lines("\n".join(_check_lines(rec, report))))
    same = twins(checked)
    for note in same:
        _say(f"note: {note}")
    given.notes += same
    if given.json:
        print(_to_json(reports))
    clean = not same and not any(channel["findings"] for report in reports for channel in report["channels"])
    trouble = any(not is_told_by_name(note) for report in reports for note in report["notes"])
    return FINE if clean and not given.problems and not trouble else NOT_FINE


def _detect(given: argparse.Namespace) -> Status:
    _demand_new(given.out, as_json=given.json)
    checked_method(given.method, dict(given.set))  # before anything is read: it would be the same for every recording
    rows: list[dict[str, Any]] = []
    for name, rec in _recordings(given):
        try:
            if rec is not None:
                rows += _onset_rows(_cut(rec, given), given.method, dict(given.set), with_notes=given.json)
        except er.EmgreviewError as error:
            given.problems[name] = str(error)
    if not rows:
        raise er.EmgreviewError("no recording could be used, so there are no onsets; see above.")
    for row in rows if given.json else ():
        row["dataset_notes"] = [*given.notes, *_left_out(given)]
    text = _to_json(rows) + "\n" if given.json else _to_tsv(rows)
    if given.out is None:
        sys.stdout.write(text)
    else:
        with given.out.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
        found = sum(not math.isnan(row["onset_s"]) for row in rows)
        print(f"{len(rows)} channels of trials, {found} with an onset: {given.out}")
    return FINE if not given.problems and given.as_expected else NOT_FINE


def _review(given: argparse.Namespace) -> Status:
    """The screen. What reading and cutting have to say is told before the review is opened, so that none of it is lost
    where that fails; to a blind reviewer without names, as :mod:`emgreview.unnamed` says. Errors name the recording
    even then: it has to be mended, and no screen shows it before it is. So do notes of the folder: they say which files
    and people are there, and nothing of a signal."""
    _demand_package("panel")
    from emgreview.views.host import serve  # optional and heavy: the user-interface toolkits
    from emgreview.views.trial_review import demand_setup

    if given.folder.exists() and not given.folder.is_dir():
        raise er.EmgreviewError(
            f"--folder {given.folder} is a file; decisions are kept in a folder; give the folder of a review, or a new "
            "name."
        )
    break_after_min = given.break_after or None

    trials: list[er.Trials] = []
    read: list[er.Recording] = []
    blind = given.blind or (given.unblind is None and written_blind(given.folder, given.reviewer))
    with NobodyNamed(read, blind):  # where --blind was forgotten too: that review is refused
        for name, rec in _recordings(given):
            if rec is None:
                raise er.EmgreviewError(f"{name} cannot be read, and a review without it would be another; see above.")
            read.append(rec)
            trials.append(dataclasses.replace(_cut(rec, given), blind=given.blind))
    demand_setup(trials, given.plausible, break_after_min)  # before the review is begun
    with er.open_review(
        trials,
        given.folder,
        reviewer=given.reviewer,
        order=given.order,
        blind=given.blind,
        method=given.method,
        parameters=dict(given.set),
        convention=None if given.convention is None else read_convention(given.convention),
        scale_corrected=given.scale_corrected,
        unblind=given.unblind,
    ) as session:
        if session.problem and not (given.folder / "logs").is_dir():  # what can be read is shown, but there is nothing
            raise er.EmgreviewError(f"no review can be begun in {given.folder}: {session.problem}.")
        screen = er.review(
            session, handedness=given.handedness, plausible_s=given.plausible, break_after_min=break_after_min
        )

        def ready(address: str) -> None:
            words = f"The review is at {address}\nDecisions go to {given.folder}. End with Ctrl-C."
            notes = list(dict.fromkeys([*given.notes, *_SHOWN]))
            _tell(given, {"address": address, "folder": str(given.folder), "notes": notes}, words)

        serve(screen, port=given.port, open_browser=given.browser, ready=ready)
    return FINE if given.as_expected else NOT_FINE


def _measure(given: argparse.Namespace) -> Status:
    from emgreview.tables import to_tsv  # heavy: pandas, which the other commands can do without

    _demand_new(given.out, as_json=given.json)
    decisions = er.read_version(given.folder, given.version)
    reviewed = set(decisions["recording"])
    came = list(_recordings(given))
    recordings = [(name, rec) for name, rec in came if rec is None or rec.name in reviewed]
    _demand_in_recordings(given, [rec for _, rec in recordings if rec is not None])
    trials = [_cut(rec, given) for _, rec in recordings if rec is not None]
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
        included_only=not given.left_out_too,
    )
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    columns = table.attrs["columns"]
    notes = [
        *given.notes,
        *_left_out(given),
        *decisions.attrs["notes"],
        *table.attrs["notes"],
        *(f"{one.recording.name}: {note}" for one in trials for note in (*one.recording.notes, *one.notes)),
    ]
    values = {"columns": columns, "notes": list(dict.fromkeys(notes)), "rows": rows}
    text = _to_json(values) + "\n" if given.json else to_tsv(table).decode()
    if given.out is None:
        sys.stdout.write(text)
    else:
        with given.out.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
        print(f"{len(table)} bursts measured: {given.out}")
    return FINE if len(trials) == len(recordings) == len(reviewed) and given.as_expected else NOT_FINE


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


def _agreement(given: argparse.Namespace) -> Status:
    found = er.agreement(given.folder, given.first, given.second)
    _tell(given, found.to_dict(), str(found))
    return FINE


def _adjudicate(given: argparse.Namespace) -> Status:
    from emgreview.tables import to_tsv  # heavy: pandas, which the other commands can do without

    merged = er.merge_reviews(given.folder, given.first, given.second, given.third, within_ms=given.within)
    table = merged.disputes
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    print(_to_json(rows) if given.json else to_tsv(table).decode(), end="\n" if given.json else "")
    if given.third and not any(log.endswith(f"_reviewer-{given.third}.jsonl") for log in merged.heads):
        _say(f"{given.third} has no log here yet, and has settled nothing.")
    if merged.disputed:
        _say(
            f"{len(merged.disputed)} disputes are left, {len(merged.unsettled)} of them said to be beyond settling, "
            f"{len(merged.reopened)} open again after a change; a session in a notebook settles them."
        )
    else:
        _say("No dispute is left.")
    if len(kept := merged.left_out):
        both = int(kept["said_by"].str.contains(", ").sum())
        _say(f"Kept out of every analysis, or set aside: {both} by both, {len(kept) - both} by one alone; all stand.")
    return NOT_FINE if merged.disputed else FINE


def _verify(given: argparse.Namespace) -> Status:
    found = er.verify(given.folder)
    words = f"Events {found.events}, logs {found.logs}, sealed versions {found.versions}: "
    words += "all as written." if found.ok else f"problems {len(found.problems)}."
    _tell(given, dataclasses.asdict(found), "\n".join([words, *(f"  {problem}" for problem in found.problems)]))
    return FINE if found.ok else NOT_FINE


def _diff(given: argparse.Namespace) -> Status:
    from emgreview.tables import to_tsv  # heavy: pandas, which the other commands can do without

    found = er.diff(given.folder, given.old, given.new, reviewer=given.reviewer)
    rows = found.table.astype(object).where(found.table.notna(), None).to_dict("records")
    values = {"words": found.words, "old": found.old, "new": found.new, "changes": rows}
    if given.table and not given.json:
        sys.stdout.write(to_tsv(found.table).decode())
    else:
        _tell(given, values, "\n".join(found.words or ["nothing changed"]))
    return FINE


def _seal(given: argparse.Namespace) -> Status:
    rule = None if given.rule is None else er.Rule.read(given.rule)
    recordings: list[er.Recording] = []
    blind = find_position(given.folder, reviewer=given.reviewer).blind
    with NobodyNamed(recordings, blind):  # who seals a blind review may go on with it
        recordings += (rec for _, rec in _recordings(given) if rec is not None)
    sealed = er.seal(given.folder, recordings, given.version, reviewer=given.reviewer, rule=rule)
    with warnings.catch_warnings():  # what reading it back has to say is part of the answer, or was told at sealing
        warnings.simplefilter("ignore", er.SignalWarning)
        table = er.read_version(given.folder, sealed.name, sealed.sha256)
    about = table.attrs["version"]
    bulk = about["bulk"]
    scales = {name: one["scales"] for name, one in about["recordings"].items()}
    values = {
        "version": sealed.name,
        "folder": str(sealed.path),
        "sha256": sealed.sha256,
        "bulk": bulk,
        "scales": scales,
        "scale_notes": about["scale_notes"],
        "notes": [*given.notes, *_left_out(given), *_SHOWN],
    }
    of_channels = table.drop_duplicates(["recording", "trial", "channel"])
    reviewed = int(of_channels["reviewed"].fillna(False).sum())
    unlooked = int(of_channels["in_bulk"].fillna(False).sum()) if "in_bulk" in of_channels else 0
    values |= {"reviewed": reviewed, "in_bulk": unlooked, "channels_of_trials": len(of_channels)}
    besides = f", {unlooked} of them in bulk and looked at by nobody" if unlooked else ""
    bulk = [f"Reviewed are {reviewed} of {len(of_channels)} channels of trials{besides}.", *bulk]
    _tell(given, values, "\n".join([f"Version {sealed.name} is in {sealed.path}", f"SHA-256 {sealed.sha256}", *bulk]))
    return FINE


def _replay(given: argparse.Namespace) -> Status:
    recordings = [rec for _, rec in _recordings(given) if rec is not None]
    found = er.replay(given.folder, recordings, given.version)
    held = {name: value for name, value in vars(found).items() if name != "table"}
    _tell(given, {"ok": found.ok, **held, "dataset_notes": [*given.notes, *_left_out(given)]}, str(found))
    return FINE if found.ok else NOT_FINE


def _bench(given: argparse.Namespace) -> Status:
    _demand_new(given.out, "folder")
    seed = {} if given.seed is None else {"seed": given.seed}
    if given.what == "findings":
        found = er.bench_findings(recordings=given.trials, open_data=given.open_data, progress=_progress, **seed)
        _tell(given, found.to_dict(), found.text())
        if given.out is not None:
            _say(f"written to {found.write(given.out)}")
        return FINE if found.reached else NOT_FINE
    asked = seed | ({} if given.part is None else {"parts": given.part})
    report = er.bench_onsets(trials=given.trials, open_data=given.open_data, progress=_progress, **asked)
    figures = [dataclasses.asdict(figure) for figure in report.figures]
    _tell(given, {"facts": report.facts} | report.tables | {"figures": figures}, report.text())
    if given.out is not None:
        _say(f"written to {report.write(given.out)}")
    return FINE if report.figures and all(figure.reached for figure in report.figures) else NOT_FINE


# The notebook ----------------------------------------------------------------------------------------------------


def _open_notebook(folder: Path, given: argparse.Namespace) -> Status:
    """JupyterLab on copies of the notebooks beside the study; this process becomes its server."""
    _demand_package("jupyterlab")
    from jupyterlab.labapp import LabApp  # optional and heavy: only this command needs it

    constants = {"STUDY": folder.name, "PARTICIPANTS": given.participants, "TRIALS": given.trials, "SEED": given.seed}
    beside = folder.absolute().parent
    new = lab.copy_notebooks(beside, constants)
    copy, *others = (beside / name for name in lab.NOTEBOOKS)
    if kept := [path.name for path in (copy, *others) if path not in new]:
        _say(f"note: {', '.join(kept)} in {beside}: there already, left as it is")
    port, token = given.port or _free_port(), secrets.token_hex(24)
    address = f"http://127.0.0.1:{port}/lab/tree/{copy.name}?token={token}"
    words = (
        f"JupyterLab starts at {address}\nOther notebooks, in its list of files: "
        f"{', '.join(path.name for path in others)}\nEnd it with Ctrl-C."
    )
    _tell(given, {"address": address, "folder": str(folder)}, words)
    lab.set_environment()
    LabApp.launch_instance(lab.options(copy, port=port, token=token, browser=given.browser))
    return FINE


# Recordings and trials -------------------------------------------------------------------------------------------


def _recordings(given: argparse.Namespace) -> Iterator[tuple[str, er.Recording | None]]:
    """Name and recording; None for one of a folder that cannot be read.

    ``given.notes`` are then the notes of the folder, said on standard error, and ``given.problems`` the errors by name,
    which are said where the command ends, what is the same of many recordings once.
    """
    _demand_pulses(given)
    if hasattr(given, "band"):
        _processing(given)
    how = {"rate_hz": given.rate, "unit": _units(given), "columns": given.columns}
    path = given.path
    if not path.is_dir():
        rec = _with_pulses(er.read(path, **how), given)
        yield rec.name, rec
        return
    with warnings.catch_warnings():  # each of them is a note too
        warnings.simplefilter("ignore", er.SignalWarning)
        data = er.read_dataset(path, **how)
    given.notes = list(data.notes)
    about_people = hasattr(given, "folder")
    for note in data.notes:
        if about_people or note != NAMELESS:
            _say(f"note: {note}")
            _OF_FOLDER.add(in_shell_words(note))
    for name in data.recordings.names:
        try:
            rec = _with_pulses(data.recordings[name], given)
        except er.EmgreviewError as error:
            given.problems[name] = str(error)
            yield name, None
        else:
            yield name, rec


def _cut(rec: er.Recording, given: argparse.Namespace) -> er.Trials:
    for note in rec.notes:  # those that reading has told already are not said again
        warnings.warn(f"{rec.name}: {note}", er.SignalWarning, stacklevel=2)
    trials = er.cut_trials(
        rec,
        cue=given.cue,
        before_s=given.before,
        after_s=given.after,
        processing=_processing(given),
        expect=given.expect,
    )
    given.as_expected &= given.expect in (None, len(trials))
    return trials


def _processing(given: argparse.Namespace) -> er.Processing:
    low_hz, high_hz = given.band or (er.Processing().low_hz, er.Processing().high_hz)
    if low_hz is None:
        raise er.EmgreviewError("--band came without a LOW; give its lower edge in Hz: --band 20 none.")
    return er.Processing(low_hz=low_hz, high_hz=high_hz)


def _left_out(given: argparse.Namespace) -> list[str]:
    """Sentences on the recordings that could not be used."""
    return [f"{name} is left out: {_named(given, words)}" for name, words in given.problems.items()]


def _named(given: argparse.Namespace, words: str) -> str:
    """A message with the parameters of the onset method as the command line names them."""
    settings = dict(getattr(given, "set", ()))
    method = getattr(given, "method", None) or METHOD
    known = [field.name for field in dataclasses.fields(METHODS[method][1])] if method in METHODS else []
    return names_settings(words, settings, known)


_SPREADSHEETS = (".xlsx", ".xls", ".xlsm", ".xlsb", ".ods", ".numbers")
"""Endings of files that are no text."""


def _demand_new(out: Path | None, what: str = "file", *, as_json: bool = False) -> None:
    """What is written is new, and its folder is there: told before anything is done."""
    if out is None:
        return
    if what == "file" and out.suffix.lower() in _SPREADSHEETS:
        form, ending = ("JSON", ".json") if as_json else ("tab-separated", ".tsv")
        raise er.EmgreviewError(
            f"--out came as {out}; what is written is text, {form}, and no {out.suffix} file: the program that "
            f"opens those would refuse it; nothing was written; call it {out.with_suffix(ending).name}."
        )
    if what == "file" and out.suffix.lower() == ".csv" and not as_json:
        _say(f"note: {out} is written tab-separated, as a file ending in .tsv is expected to be.")
    if out.exists():
        undone = "run" if what == "folder" else "written"
        raise er.EmgreviewError(f"{out} exists already; nothing was {undone}; give the name of a new {what}.")
    if not out.absolute().parent.is_dir():
        raise er.EmgreviewError(
            f"{out} lies in {out.absolute().parent}, which is no folder; nothing was written; make it first, or give "
            "another place."
        )


def _units(given: argparse.Namespace) -> str | dict[str, str] | None:
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


def _demand_pulses(given: argparse.Namespace) -> None:
    """All that a search for pulses, or for codes, needs, or nothing of it."""
    said = {"--level": given.level, "--edge": given.edge, "--mask": given.mask, "--hold-off": given.hold_off}
    came = [option for option, value in said.items() if value is not None]
    if given.pulses is not None and given.codes is not None:
        raise er.EmgreviewError(
            f"--pulses {given.pulses} and --codes {given.codes} both came; cues are found in one channel, by a level "
            "or by its codes; leave one of the two out."
        )
    if given.pulses is None and given.codes is None:
        if came:
            raise er.EmgreviewError(
                f"{', '.join(came)} came without --pulses or --codes; they tell how cues are found in a channel; name "
                "the channel: --pulses CHANNEL, or --codes CHANNEL where it holds digital codes."
            )
        return
    if given.codes is not None:
        if wrong := [option for option in came if option in ("--level", "--edge")]:
            raise er.EmgreviewError(
                f"{', '.join(wrong)} came with --codes {given.codes}; codes have neither level nor edge; leave that "
                f"out, or search for pulses: --pulses {given.codes}."
            )
        if given.hold_off is None:
            raise er.EmgreviewError(
                f"--codes {given.codes} came without --hold-off; needed are the seconds within which several changes "
                "are one code, a little more than its lines take to switch; give it: --hold-off 0.005, or 0."
            )
        _code_name(given)
        return
    if given.mask is not None:
        raise er.EmgreviewError(
            f"--mask came with --pulses {given.pulses}; pulses have a level and no bits; leave it out, or search for "
            f"codes: --codes {given.pulses}."
        )
    if missing := [option for option in ("--level", "--hold-off") if said[option] is None]:
        raise er.EmgreviewError(
            f"--pulses {given.pulses} came without {' and '.join(missing)}; needed are --level, in the channel's own "
            "unit, between rest and pulse, and --hold-off, in seconds, a little less than the shortest time between "
            "two cues; give both."
        )


def _code_name(given: argparse.Namespace) -> str:
    """What codes are called before their number: 'go' where the cue is 'go 5', 'cue' where no cue is asked for."""
    cue = getattr(given, "cue", None)
    if cue is None:
        return "cue"
    name, _, code = cue.rpartition(" ")
    if not (name.strip() and code.isdecimal()):
        raise er.EmgreviewError(
            f"--cue came as {cue!r}; with --codes a cue is a name of your choice and a code: --cue 'go 5'; give both "
            "(emgreview check with the same --codes and --hold-off lists the codes)."
        )
    return str(name)


def _with_pulses(rec: er.Recording, given: argparse.Namespace) -> er.Recording:
    """The recording with the cues of its channel of pulses, or of codes, where one is named."""
    if given.pulses is None and given.codes is None:
        return rec
    if given.codes is not None:
        name = _code_name(given)
        how = {} if given.mask is None else {"mask": given.mask}
        found = er.with_cues(rec, given.codes, codes=True, hold_off_s=given.hold_off, label=name, **how)
        new = {marker.label for marker in found.markers if marker.source == f"channel {given.codes}"}
        _demand_names_of_their_own(rec, f"--codes {given.codes}", new, "'code 5'")
        return found
    label = getattr(given, "cue", "cue")
    rec.channel(given.pulses)
    _demand_names_of_their_own(rec, f"--pulses {given.pulses}", {label}, "pulse")
    return er.with_cues(
        rec, given.pulses, level=given.level, edge=given.edge or "rising", hold_off_s=given.hold_off, label=label
    )


def _demand_names_of_their_own(rec: er.Recording, option: str, labels: Set[str], other: str) -> None:
    """Cues found in a channel are called otherwise than the markers that the recording holds."""
    own = Counter(marker.label for marker in rec.markers if marker.label in labels)
    if not own:
        return
    label, n = own.most_common(1)[0]
    raise er.EmgreviewError(
        f"{rec.name} holds {n} markers {label!r} of its own, and {option} would add cues of that name; every trial "
        f"would be there twice; leave that option out, or call the cues otherwise: --cue {other}."
    )


def _unread_report(given: argparse.Namespace, name: str) -> dict[str, Any]:
    """What ``check --json`` says of a recording that cannot be read."""
    values: dict[str, Any] = {
        "recording": name,
        "rate_hz": None,
        "seconds": None,
        "stated_mains_hz": None,
        "markers": {},
    }
    return values | {"notes": [], "channels": [], "problem": given.problems[name], "dataset_notes": given.notes}


def _onset_rows(
    trials: er.Trials, method: str, parameters: Mapping[str, Any], *, with_notes: bool = False
) -> list[dict[str, Any]]:
    """One row a trial and channel, times in seconds from the cue, searched as a review does: from the cue onward. With
    notes, each row has those of its recording and of its cut."""
    rows: list[dict[str, Any]] = []
    notes = [*trials.recording.notes, *trials.notes]
    cue_s = trials.before / trials.rate_hz
    for label in trials.labels:
        found = onsets_of(trials, label, method=method, parameters=parameters)
        for place, (trial, cue) in enumerate(zip(trials.ids, trials.cues, strict=True)):
            times = {name: float(getattr(found, name)[place]) - cue_s for name in ONSET_COLUMNS}
            rows.append(
                {"recording": trials.recording.name, "trial": trial, "channel": label, "cue_sample": cue.sample}
                | {name: round(value, 6) for name, value in times.items()}
                | {name: round(float(getattr(found, name)[place]), 6) for name in ("rise_s", "level_db", "present")}
                | {"baseline_note": str(found.baseline_note[place]) or None, "method": found.method}
                | ({"notes": notes} if with_notes else {})
            )
    return sorted(rows, key=lambda row: row["cue_sample"])


# Words -----------------------------------------------------------------------------------------------------------


def _check_lines(rec: er.Recording, report: Mapping[str, Any]) -> Iterator[str]:
    mains = "mains not stated" if rec.mains_hz is None else f"mains {rec.mains_hz:g} Hz as stated"
    markers = ", ".join(f"{label} {n}" for label, n in report["markers"].items()) or "none"
    yield f"{rec.name}: {len(rec.emg_labels)} EMG channels, {rec.rate_hz:g} Hz, {rec.duration_s:.1f} s, {mains}"
    yield f"  markers: {markers}"
    yield from (f"  note: {note}" for note in rec.notes)
    yield from (f"  looked at: {words}" for words in sorted({channel["looked"] for channel in report["channels"]}))
    gaps: dict[str, list[str]] = {}
    for channel in report["channels"]:
        for reason in channel["not_looked"]:
            gaps.setdefault(reason, []).append(channel["label"])
    for reason, labels in gaps.items():
        everywhere = len(labels) == len(report["channels"])
        yield f"  not looked for in {'any channel' if everywhere else ', '.join(labels)}: {reason}"
    width = max((len(label) for label in rec.emg_labels), default=0)
    for channel in report["channels"]:
        unit = rec.channel(channel["label"]).unit_label
        hum = "mains not measured"
        if not math.isnan(channel["mains_share"]):
            hum = f"{channel['mains_hz']:g} Hz: {channel['mains_share']:.1%} of power, {channel['mains_db']:+.1f} dB"
        head = (
            f"  {channel['label']:<{width}}  RMS {channel['rms']:.3g} {unit}, at rest {channel['rest_rms']:.3g}; {hum}"
        )
        if not channel["findings"]:
            yield f"{head}; nothing stands out"
            continue
        yield head
        yield from (f"  {'':<{width}}  - {finding}" for finding in channel["findings"])


def _to_tsv(rows: Sequence[Mapping[str, Any]]) -> str:
    lines = ["\t".join(rows[0])]
    lines += ["\t".join(_cell(value) for value in row.values()) for row in rows]
    return "\n".join(lines) + "\n"


def _cell(value: object) -> str:
    """Text so that no spreadsheet runs it, numbers as they are."""
    if value is None or value != value:
        return MISSING
    return guard(value) if isinstance(value, str) else str(value)


def _to_json(value: Any) -> str:
    return json.dumps(_plain(answer(value)), ensure_ascii=False, allow_nan=False, indent=1)


def _plain(value: Any) -> Any:
    """Missing numbers as null, tuples as lists."""
    if isinstance(value, Mapping):
        return {str(name): _plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _tell(given: argparse.Namespace, values: Mapping[str, object], words: str) -> None:
    print(_to_json(values) if given.json else in_shell_lines(words), flush=True)


def _say(line: str) -> None:
    print(in_shell_words(line), file=sys.stderr, flush=True)


def _show_warning(message: Warning | str, category: type[Warning], *_: object, **__: object) -> None:
    line = in_shell_words(message)
    if issubclass(category, er.SignalWarning | er.DecisionWarning) and line not in _OF_FOLDER and line not in _SHOWN:
        _SHOWN[line] = None
        print(f"note: {line}", file=sys.stderr, flush=True)  # in shell words already


def _progress(done: int, total: int, words: str) -> None:
    """One line that is written over itself in a terminal, and a line each elsewhere."""
    if sys.stderr.isatty():
        print(f"\r{done} of {total}: {words:<40}", end="\n" if done == total else "", file=sys.stderr, flush=True)
    else:
        _say(f"{done} of {total}: {words}")


def _demand_package(name: str) -> None:
    if importlib.util.find_spec(name) is None:
        raise er.EmgreviewError(
            f"{name} is not installed, and this command needs it; install the notebook extra: "
            "pip install 'emgreview[notebook]', or pip install '.[notebook]' in a checkout."
        )


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


# Arguments -------------------------------------------------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = Parser(prog="emgreview", description="Review surface EMG trial by trial.")
    parser.set_defaults(parser=parser)
    parser.add_argument("--version", action="version", version=f"emgreview {er.__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    demo = _command(commands, "demo", _demo, "write the demo study: invented people turn a handle at a light")
    demo.add_argument("folder", nargs="?", type=Path, default=Path("demo-study"), help="new or empty (demo-study)")
    demo.add_argument("--participants", type=_whole, default=16, metavar="N", help="1 to 16 (16)")
    demo.add_argument("--trials", type=_whole, default=40, metavar="N", help="trials of each (40)")
    demo.add_argument("--seed", type=_whole, default=20, metavar="N", help="another number gives another study (20)")
    demo.add_argument("--open", action="store_true", help="then open the review notebook in JupyterLab")
    _browser(demo)

    check = _command(commands, "check", _check, "is each EMG channel fit for use: findings with numbers")
    _source(check)
    _pulses(check)
    check.add_argument("--whole", action="store_true", help="look at all of each recording, not at 60 s of it")

    detect = _command(commands, "detect", _detect, "onsets of every trial and channel, as tab-separated text")
    detect.epilog = (
        "Column present: an index from 0 to 1 of how much of a stretch stands out from the rest; 0.5 and more is "
        "activity. It is no probability."
    )
    _source(detect)
    _window(detect)
    detect.add_argument("--method", default="ramp", help="onset method (ramp)")
    _parameters(detect)
    detect.add_argument("--out", type=Path, metavar="FILE", help="a new file, instead of standard output")

    review = _command(commands, "review", _review, "the review screen in a browser, on this machine alone")
    _source(review)
    _window(review)
    review.add_argument("--reviewer", required=True, metavar="CODE", help="your code, never your name")
    review.add_argument("--folder", required=True, type=Path, help="where decisions are kept, or go on")
    review.add_argument("--order", default="recorded", help="recorded, random or 'least certain' (recorded)")
    review.add_argument(
        "--handedness",
        "--hand",
        choices=("right", "left"),
        default="right",
        help="the hand that moves the mark (right)",
    )
    review.add_argument(
        "--convention",
        type=Path,
        metavar="FILE",
        help="how the study marks an onset, kept in the logs: text, or TOML or JSON with search, start, stray_units "
        "and shortest_burst",
    )
    review.add_argument(
        "--scale-corrected",
        metavar="WHY",
        help="the recordings come in another unit or gain than before: why the former one was wrong; the logs keep it",
    )
    review.add_argument("--method", help="onset method (as in the logs, or ramp)")
    _parameters(review)
    review.add_argument(
        "--plausible",
        nargs=2,
        type=_number,
        metavar=("START", "STOP"),
        help="shade where responses are expected, in seconds from the cue",
    )
    review.add_argument(
        "--break-after",
        type=_number,
        default=25.0,
        metavar="MIN",
        help="minutes until a break is proposed, 0 never (25)",
    )
    review.add_argument(
        "--blind", action="store_true", help="hide condition and participant, and shuffle; needed to go on so too"
    )
    review.add_argument(
        "--unblind", metavar="WHY", help="show what was reviewed blind so far, for ever: why; the logs keep it"
    )
    _browser(review)

    measure = _command(commands, "measure", _measure, "measures of every burst of a sealed version, as a table")
    _source(measure)
    _window(measure)
    measure.add_argument("--folder", required=True, type=Path, help="the review folder")
    measure.add_argument("--version", required=True, metavar="NAME", help="the sealed version, v1 for example")
    measure.add_argument("--normalise", default="none", metavar="HOW", help="'peak in task', for example (none)")
    measure.add_argument(
        "--reference", action="append", type=_reference, metavar="LABEL=VALUE", help="a channel's value to divide by"
    )
    measure.add_argument(
        "--left-out-too", action="store_true", help="also bursts that the rule the version was sealed with leaves out"
    )
    measure.add_argument("--response", default=_RESPONSE, metavar="LABEL", help="marker of the response (response)")
    measure.add_argument("--out", type=Path, metavar="FILE", help="a new file, instead of standard output")

    agreement = _command(commands, "agreement", _agreement, "how far two reviewers agree, in words and in time")
    _two_reviewers(agreement)

    adjudicate = _command(commands, "adjudicate", _adjudicate, "what two reviewers disagree on, as a table")
    _two_reviewers(adjudicate)
    adjudicate.add_argument("--third", metavar="CODE", help="the reviewer who settles: show what is left")
    adjudicate.add_argument("--within", type=_number, default=10, metavar="MS", help="onsets so near are the same (10)")

    verify = _command(commands, "verify", _verify, "check every log and every sealed version of a review folder")
    verify.add_argument("folder", type=Path, help="the folder that holds 'logs'")

    diff = _command(commands, "diff", _diff, "what changed between two points of a review")
    diff.add_argument("folder", type=Path, help="the folder that holds 'logs'")
    diff.add_argument("old", help="a version, a command's number, the SHA-256 of a line, or now")
    diff.add_argument("new", nargs="?", default="now", help="likewise (now)")
    diff.add_argument("--reviewer", metavar="CODE", help="whose logs, where a point does not say")
    diff.add_argument("--table", action="store_true", help="every change as tab-separated text")

    seal = _command(commands, "seal", _seal, "seal the decisions as they stand; trials are cut as the logs say")
    _source(seal)
    seal.add_argument("--folder", required=True, type=Path, help="the review folder")
    seal.add_argument("--version", required=True, metavar="NAME", help="a new name, v1 for example")
    seal.add_argument("--reviewer", metavar="CODE", help="whose decisions, where there are several")
    seal.add_argument("--rule", type=Path, metavar="FILE", help="a rule for inclusion, .json or .toml")

    replay = _command(commands, "replay", _replay, "rebuild a sealed version from raw recordings and logs")
    _source(replay)
    replay.add_argument("--folder", required=True, type=Path, help="the review folder")
    replay.add_argument("--version", required=True, metavar="NAME", help="the sealed version, v1 for example")

    bench = _command(commands, "bench", _bench, "how accurate the onset methods are, or what check finds")
    bench.add_argument(
        "what",
        choices=("onsets", "findings"),
        help="onsets: every onset method; findings: what check finds, and misses",
    )
    bench.add_argument(
        "--trials",
        type=_whole,
        default=500,
        metavar="N",
        help="trials a cell of the grid, or clean recordings (onsets, 500: an hour or so)",
    )
    bench.add_argument(
        "--part",
        action="append",
        metavar="NAME",
        help="this part, may be given again: grid, troubles, quiet, untrusted, rates, shapes, others, filters (all)",
    )
    bench.add_argument("--seed", type=_whole, metavar="N", help="other trials than those of the table in the pages")
    bench.add_argument("--open-data", type=Path, metavar="FOLDER", help="holds the open forearm recordings")
    bench.add_argument("--out", type=Path, metavar="FOLDER", help="a new folder for report, tables and figures")
    return parser


def _command(commands: Any, name: str, function: Any, words: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=words, description=f"{words[0].upper()}{words[1:]}."
    )
    parser.set_defaults(run=function, parser=parser)
    parser.add_argument("--json", action="store_true", help="JSON instead of text for people")
    return parser


def _source(parser: argparse.ArgumentParser) -> None:
    parser.set_defaults(
        pulses=None, codes=None, level=None, edge=None, mask=None, hold_off=None
    )  # of the commands that have them
    parser.add_argument("path", type=Path, help="one recording, a BIDS dataset, or a folder of recordings")
    parser.add_argument("--rate", type=_number, metavar="HZ", help="sampling rate; text files must be told")
    parser.add_argument(
        "--unit",
        type=_unit,
        metavar="UNIT",
        help="V, mV, uV, nV or arbitrary; text files must be told; or one a column, in the order of --columns: "
        "mV,mV,V; or by channel: FCR=mV,TRIGGER=V",
    )
    parser.add_argument(
        "--columns",
        type=_columns,
        metavar="A,B,-",
        help="labels of a text file's columns, - for one to leave out; elsewhere, of those to keep",
    )


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} came; give a number, with a point and no unit: 1.5") from None


def _whole(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} came; give a whole number: 40") from None


def _port(text: str) -> int:
    if text.isdecimal() and int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} came; give a port from 1024 to 65535, or 0 for a free one")


def _columns(text: str) -> list[str | None]:
    return [None if label.strip() == "-" else label.strip() for label in text.split(",")]


def _unit(text: str) -> str | list[str] | dict[str, str]:
    parts = [part.strip() for part in text.split(",")]
    if not any("=" in part for part in parts):
        return parts if len(parts) > 1 else parts[0]
    if bare := [part for part in parts if "=" not in part]:
        raise argparse.ArgumentTypeError(
            f"{text!r} names the channel of some units and not of {', '.join(bare)}; give one unit for all (mV), one "
            "a column (mV,mV,V), or one by channel (FCR=mV,TRIGGER=V)"
        )
    return {label.strip(): unit.strip() for label, _, unit in (part.rpartition("=") for part in parts)}


def _two_reviewers(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="the folder that holds 'logs'")
    parser.add_argument("first", metavar="FIRST", help="the code of one reviewer")
    parser.add_argument("second", metavar="SECOND", help="the code of the other")


def _reference(text: str) -> tuple[str, float]:
    label, _, value = text.rpartition("=")
    try:
        if label.strip():
            return label.strip(), float(value)
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"{text!r} came; give a channel and its value: --reference BB=120.5")


def _setting(text: str) -> tuple[str, Any]:
    name, sign, value = text.partition("=")
    if not (name.strip() and sign and value.strip()):
        raise argparse.ArgumentTypeError(
            f"{text!r} came; give a parameter and its value: --set shortest_s=0.05 with --method double-threshold"
        )
    try:
        return name.strip(), read_json(value.encode(errors="replace"))
    except ReadError:  # no JSON: text
        return name.strip(), value.strip()


def _parameters(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        type=_setting,
        metavar="NAME=VALUE",
        help="a parameter of the method: resolution_s=0.002 of ramp, shortest_s=0.05 of double-threshold, for example; "
        "may be given again",
    )


def _window(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cue", required=True, help="label of the marker that starts a trial")
    parser.add_argument("--before", required=True, type=_number, metavar="S", help="seconds before the cue")
    parser.add_argument("--after", required=True, type=_number, metavar="S", help="seconds after the cue")
    parser.add_argument(
        "--expect",
        type=_whole,
        metavar="N",
        help="cues of each recording: where there are more or fewer it is told, and the exit status is 1",
    )
    parser.add_argument(
        "--band",
        nargs=2,
        type=_edge_hz,
        metavar=("LOW", "HIGH"),
        help="band-pass in Hz, none as HIGH for no upper edge (20 450); recordings of 200 or 500 Hz need a lower HIGH, "
        "20 90 or 20 200 for example",
    )
    _pulses(parser)


def _edge_hz(text: str) -> float | None:
    if text.casefold() == "none":
        return None
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no frequency; give two numbers in Hz: --band 20 200") from None


def _pulses(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--pulses", metavar="CHANNEL", help="find the cues in this channel of pulses; needs --level and --hold-off"
    )
    parser.add_argument(
        "--codes",
        metavar="CHANNEL",
        help="find the cues in this channel of digital codes, called by a name and the code: --cue 'go 5'; needs "
        "--hold-off",
    )
    parser.add_argument(
        "--level", type=_number, metavar="X", help="level that a pulse crosses, in the channel's own unit"
    )
    parser.add_argument("--edge", choices=("rising", "falling", "both"), help="which crossings are cues (rising)")
    parser.add_argument(
        "--mask", type=_mask, metavar="BITS", help="the bits of a code that count, 255 or 0xff for example (0xffff)"
    )
    parser.add_argument(
        "--hold-off",
        type=_number,
        metavar="S",
        help="seconds after a cue in which crossings count for nothing; of codes, in which several changes are one",
    )


def _mask(text: str) -> int:
    try:
        if (bits := int(text, 0)) > 0:
            return bits
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"{text!r} came; give the bits as a whole number above 0: --mask 255, or 0xff")


def _browser(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--no-browser", dest="browser", action="store_false", help="print the address, open nothing")
    parser.add_argument("--port", type=_port, default=0, metavar="N", help="a free one unless told")
