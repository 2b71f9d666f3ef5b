"""A review folder: ``review`` fills it, ``verify`` and ``diff`` read it, ``seal`` and ``replay`` make versions anew."""

import argparse
import dataclasses
import warnings
from collections.abc import Callable
from pathlib import Path

import emgreview as er
from emgreview.annotations.convention import read_convention
from emgreview.annotations.log_positions import find_position
from emgreview.annotations.unblinding import written_blind
from emgreview.cli.beforehand import demand_package
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_browser, add_parameters, add_source, add_window, number
from emgreview.cli.running import FEW, add_running, cut_later, runner_of, undo_beginning
from emgreview.cli.saying import put, shown, tell
from emgreview.cli.source import dataset_of, left_out, processing_of, recordings_of, say_notes
from emgreview.detecting import METHOD, is_method
from emgreview.reading.settled import listed
from emgreview.reading.study_description import EXPECTS
from emgreview.recutting import method_begun
from emgreview.unnamed import NobodyNamed


def _review_options(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    add_window(parser)
    parser.add_argument("--reviewer", required=True, metavar="CODE", help="your code, never your name")
    parser.add_argument("--folder", required=True, type=Path, help="where decisions are kept, or go on")
    parser.add_argument("--order", default="recorded", help="recorded, random or 'least certain' (recorded)")
    parser.add_argument(
        "--handedness",
        "--hand",
        choices=("right", "left"),
        default="right",
        help="the hand that moves the mark (right)",
    )
    parser.add_argument(
        "--convention",
        type=Path,
        metavar="FILE",
        help="how the study marks an onset, kept in the logs: text, or TOML or JSON with search, start, stray_units "
        "and shortest_burst",
    )
    parser.add_argument(
        "--scale-corrected",
        metavar="WHY",
        help="the recordings come in another unit or gain than before: why the former one was wrong; the logs keep it",
    )
    parser.add_argument("--method", help="onset method (as in the logs, or ramp)")
    add_parameters(parser)
    parser.add_argument(
        "--plausible",
        nargs=2,
        type=number,
        metavar=("START", "STOP"),
        help="shade where responses are expected, in seconds from the cue",
    )
    parser.add_argument(
        "--break-after",
        type=number,
        default=25.0,
        metavar="MIN",
        help="minutes until a break is proposed, 0 never (25)",
    )
    parser.add_argument(
        "--blind", action="store_true", help="hide condition and participant, and shuffle; needed to go on so too"
    )
    parser.add_argument(
        "--log-restored",
        metavar="WHY",
        help="a log lacks lines that a version or another log names: go on from it, and why; the logs keep it",
    )
    parser.add_argument(
        "--unblind", metavar="WHY", help="show what was reviewed blind so far, for ever: why; the logs keep it"
    )
    add_running(parser, beside_review=True)
    add_browser(parser)


def _review(given: argparse.Namespace) -> Status:
    """The screen. What reading and cutting have to say is told before the review is opened, so that none of it is lost
    where that fails; to a blind reviewer without names, as :mod:`emgreview.unnamed` says. Errors name the recording
    even then: it has to be mended, and no screen shows it before it is. So do notes of the folder: they say which files
    and people are there, and nothing of a signal."""
    demand_package("panel")
    from emgreview.views.host import serve  # optional and heavy: the user-interface toolkits
    from emgreview.views.screen_setup import demand_setup

    if given.folder.exists() and not given.folder.is_dir():
        raise er.EmgreviewError(
            f"--folder {given.folder} is a file; decisions are kept in a folder; give the folder of a review, or a new "
            "name."
        )
    break_after_min = given.break_after or None

    fresh = not given.folder.exists()
    try:
        return _open(given, break_after_min, serve, demand_setup)
    except er.EmgreviewError:
        if fresh:
            undo_beginning(given.folder)
        raise


def _open(
    given: argparse.Namespace,
    break_after_min: float | None,
    serve: Callable[..., None],
    check_setup: Callable[..., None],
) -> Status:
    check_setup((-given.before, given.after), given.plausible, break_after_min)  # before the review is begun
    blind = given.blind or (given.unblind is None and written_blind(given.folder, given.reviewer))
    coming = None if blind or _says_why(given) else _coming(given)
    with er.open_review(
        _all_trials(given, blind) if coming is None else coming,
        given.folder,
        reviewer=given.reviewer,
        order=given.order,
        blind=given.blind,
        method=given.method,
        parameters=dict(given.set),
        convention=None if given.convention is None else read_convention(given.convention),
        scale_corrected=given.scale_corrected,
        unblind=given.unblind,
        log_restored=given.log_restored,
    ) as session:
        if session.problem and not (given.folder / "logs").is_dir():  # what can be read is shown, but there is nothing
            raise er.EmgreviewError(f"no review can be begun in {given.folder}: {session.problem}.")
        screen = er.review(
            session, handedness=given.handedness, plausible_s=given.plausible, break_after_min=break_after_min
        )

        def ready(address: str) -> None:
            words = f"The review is at {address}\nDecisions go to {given.folder}. End with Ctrl-C."
            notes = list(dict.fromkeys([*given.notes, *shown()]))
            if session.awaited:
                words = f"{session.awaited} They join by themselves.\n{words}"
            told = {"address": address, "folder": str(given.folder), "notes": notes, "awaited": session.awaited}
            tell(given, told, words)

        serve(screen, port=given.port, open_browser=given.browser, ready=ready)
        if coming is not None:
            given.problems |= session.not_come
            given.as_expected &= not (session.not_come or session.awaited)
            for part in session.trials:
                given.as_expected &= given.expect in (None, len(part))
                given.as_expected &= not any(EXPECTS in note for note in part.recording.notes)
    return FINE if given.as_expected else NOT_FINE


def _says_why(given: argparse.Namespace) -> bool:
    """Whether something is said of the review as a whole, for which all recordings must be there."""
    return any(why is not None for why in (given.unblind, given.scale_corrected, given.log_restored))


def _coming(given: argparse.Namespace) -> er.ArrivingTrials | None:
    """The trials of a folder of many recordings, each when it is ready."""
    data = dataset_of(given)
    if data is None or len(data.recordings) < FEW:
        return None
    say_notes(given, data)
    named = {} if given.method is None and not given.set else {"method": given.method or METHOD}
    return er.cut_as_ready(
        data.recordings,
        cue=given.cue,
        before_s=given.before,
        after_s=given.after,
        processing=processing_of(given),
        expect=given.expect,
        runner=runner_of(given, len(data.recordings), given.folder),
        parameters=dict(given.set) or None,
        **named,
    )


def _all_trials(given: argparse.Namespace, blind: bool) -> list[er.Trials]:
    read: list[er.Recording] = []
    with NobodyNamed(read, blind):  # where --blind was forgotten too: that review is refused
        for name, rec in recordings_of(given):
            if rec is None:
                raise er.EmgreviewError(f"{name} cannot be read, and a review without it would be another; see above.")
            read.append(rec)
        method, parameters = given.method, dict(given.set)
        if method is None and not parameters:
            method, parameters = method_begun(given.folder, given.reviewer)
        elif not is_method(method or METHOD, parameters):
            method = None  # opening says what is wrong with it, after all that cutting has to say
        runner = runner_of(given, len(read), given.folder)
        trials = cut_later(given, read, runner, method=method, parameters=parameters, blind=given.blind)
        if given.problems:
            raise er.EmgreviewError(
                f"{listed(list(given.problems))} cannot be cut, and a review without would be another; see below."
            )
    return trials


REVIEW = Command("review", "the review screen in a browser, on this machine alone", _review_options, _review)


def _verify_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="the folder that holds 'logs'")


def _verify(given: argparse.Namespace) -> Status:
    found = er.verify(given.folder)
    words = f"Events {found.events}, logs {found.logs}, sealed versions {found.versions}: "
    words += "all as written." if found.ok else f"problems {len(found.problems)}."
    tell(
        given,
        dataclasses.asdict(found),
        "\n".join(
            [words, *(f"  {problem}" for problem in (*found.problems, *(f"note: {note}" for note in found.notes)))]
        ),
    )
    return FINE if found.ok else NOT_FINE


VERIFY = Command("verify", "check every log and every sealed version of a review folder", _verify_options, _verify)


def _diff_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="the folder that holds 'logs'")
    parser.add_argument("old", help="a version, a command's number, the SHA-256 of a line, or now")
    parser.add_argument("new", nargs="?", default="now", help="likewise (now)")
    parser.add_argument("--reviewer", metavar="CODE", help="whose logs, where a point does not say")
    parser.add_argument("--table", action="store_true", help="every change as tab-separated text")


def _diff(given: argparse.Namespace) -> Status:
    from emgreview.tables import to_tsv  # heavy: pandas, which the other commands can do without

    found = er.diff(given.folder, given.old, given.new, reviewer=given.reviewer)
    rows = found.table.astype(object).where(found.table.notna(), None).to_dict("records")
    values = {"words": found.words, "old": found.old, "new": found.new, "changes": rows}
    if given.table and not given.json:
        put(to_tsv(found.table).decode(), end="")
    else:
        tell(given, values, "\n".join(found.words or ["nothing changed"]))
    return FINE


DIFF = Command("diff", "what changed between two points of a review", _diff_options, _diff)


def _seal_options(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument("--folder", required=True, type=Path, help="the review folder")
    parser.add_argument("--version", required=True, metavar="NAME", help="a new name, v1 for example")
    parser.add_argument("--reviewer", metavar="CODE", help="whose decisions, where there are several")
    parser.add_argument("--rule", type=Path, metavar="FILE", help="a rule for inclusion, .json or .toml")
    add_running(parser, beside_review=True)


def _seal(given: argparse.Namespace) -> Status:
    rule = None if given.rule is None else er.Rule.read(given.rule)
    recordings: list[er.Recording] = []
    blind = find_position(given.folder, reviewer=given.reviewer).blind
    with NobodyNamed(recordings, blind):  # who seals a blind review may go on with it
        recordings += (rec for _, rec in recordings_of(given) if rec is not None)
    runner = runner_of(given, len(recordings), given.folder)
    sealed = er.seal(given.folder, recordings, given.version, reviewer=given.reviewer, rule=rule, runner=runner)
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
        "notes": [*given.notes, *left_out(given), *shown()],
    }
    of_channels = table.drop_duplicates(["recording", "trial", "channel"])
    reviewed = int(of_channels["reviewed"].fillna(False).sum())
    unlooked = int(of_channels["in_bulk"].fillna(False).sum()) if "in_bulk" in of_channels else 0
    values |= {"reviewed": reviewed, "in_bulk": unlooked, "channels_of_trials": len(of_channels)}
    besides = f", {unlooked} of them in bulk and looked at by nobody" if unlooked else ""
    bulk = [f"Reviewed are {reviewed} of {len(of_channels)} channels of trials{besides}.", *bulk]
    tell(given, values, "\n".join([f"Version {sealed.name} is in {sealed.path}", f"SHA-256 {sealed.sha256}", *bulk]))
    return FINE


SEAL = Command("seal", "seal the decisions as they stand; trials are cut as the logs say", _seal_options, _seal)


def _replay_options(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument("--folder", required=True, type=Path, help="the review folder")
    parser.add_argument("--version", required=True, metavar="NAME", help="the sealed version, v1 for example")
    add_running(parser, beside_review=True)


def _replay(given: argparse.Namespace) -> Status:
    recordings = [rec for _, rec in recordings_of(given) if rec is not None]
    runner = runner_of(given, len(recordings), given.folder)
    found = er.replay(given.folder, recordings, given.version, runner=runner)
    held = {name: value for name, value in vars(found).items() if name != "table"}
    tell(given, {"ok": found.ok, **held, "dataset_notes": [*given.notes, *left_out(given)]}, str(found))
    return FINE if found.ok else NOT_FINE


REPLAY = Command("replay", "rebuild a sealed version from raw recordings and logs", _replay_options, _replay)
