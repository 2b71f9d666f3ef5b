"""Recordings before any review: ``demo`` writes the simulated study, ``look`` tells what a file holds, ``check`` which
channels are fit for use."""

import argparse
import dataclasses
import math
import secrets
import socket
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.checking import CHECKED_S, Checked, twins
from emgreview.cli.beforehand import demand_new, demand_package
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_browser, add_pulses, add_source, whole
from emgreview.cli.running import add_running, runner_of
from emgreview.cli.saying import progress, put, say, tell, to_json
from emgreview.cli.source import recordings_of
from emgreview.cli.watching import one_line, watch
from emgreview.cli.words import in_shell_lines
from emgreview.demo import lab
from emgreview.fitness import Verdicts, judged, pages, verdict_in
from emgreview.fitness.judging import CAUTION
from emgreview.many.checked import CheckJob
from emgreview.muscles.wording import card_of
from emgreview.reading.settled import is_told_by_name


def _demo_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", nargs="?", type=Path, default=Path("demo-study"), help="new or empty (demo-study)")
    parser.add_argument("--participants", type=whole, default=16, metavar="N", help="1 to 16 (16)")
    parser.add_argument("--trials", type=whole, default=40, metavar="N", help="trials of each (40)")
    parser.add_argument("--seed", type=whole, default=20, metavar="N", help="another number gives another study (20)")
    parser.add_argument(
        "--contractions", action="store_true", help="with a recording of test contractions of each person"
    )
    parser.add_argument("--open", action="store_true", help="then open the review notebook in JupyterLab")
    add_browser(parser)


def _demo(given: argparse.Namespace) -> Status:
    folder = er.write_demo(
        given.folder,
        participants=given.participants,
        trials=given.trials,
        seed=given.seed,
        contractions=given.contractions,
        progress=progress,
    )
    if given.open:
        return _open_notebook(folder, given)
    tell(given, {"folder": str(folder)}, f"The demo study is in {folder}.")
    return FINE


DEMO = Command("demo", "write the demo study: invented people turn a handle at a light", _demo_options, _demo)


def _open_notebook(folder: Path, given: argparse.Namespace) -> Status:
    """JupyterLab on copies of the notebooks beside the study; this process becomes its server."""
    demand_package("jupyterlab")
    from jupyterlab.labapp import LabApp  # optional and heavy: only this command needs it

    study = lab.demo_of(
        folder.name,
        participants=given.participants,
        trials=given.trials,
        seed=given.seed,
        contractions=given.contractions,
    )
    beside = folder.absolute().parent
    new = lab.copy_notebooks(beside, {"STUDY": study})
    copy, *others = (beside / name for name in lab.NOTEBOOKS)
    if kept := [path.name for path in (copy, *others) if path not in new]:
        say(f"note: {', '.join(kept)} in {beside}: there already, left as it is")
    port, token = given.port or _free_port(), secrets.token_hex(24)
    address = f"http://127.0.0.1:{port}/lab/tree/{copy.name}?token={token}"
    words = (
        f"JupyterLab starts at {address}\nOther notebooks, in its list of files: "
        f"{', '.join(path.name for path in others)}\nEnd it with Ctrl-C."
    )
    tell(given, {"address": address, "folder": str(folder)}, words)
    lab.set_environment()
    LabApp.launch_instance(lab.options(copy, port=port, token=token, browser=given.browser))
    return FINE


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _look_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("path", type=Path, help="one file")


def _look(given: argparse.Namespace) -> Status:
    seen = er.look(given.path)
    report = {
        "path": str(seen.path),
        "format": seen.format,
        "facts": list(seen.facts),
        "how": dict(seen.how),
        "asks": dict(seen.asks),
        "call": seen.call,
        "refused": seen.refused,
    }
    put(to_json(report) if given.json else seen)  # the call is Python's, and is not put into words of a shell
    return NOT_FINE if seen.refused else FINE


LOOK = Command("look", "what a file holds, and the call that reads it", _look_options, _look)


def _check_options(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    add_pulses(parser)
    add_running(parser)
    parser.add_argument("--whole", action="store_true", help="look at all of each recording, not at 60 s of it")
    parser.add_argument("--picture", type=Path, metavar="FILE.html", help="write the picture of the verdicts there")
    parser.add_argument(
        "--watch", action="store_true", help="check each new file of a folder as it appears, until Ctrl-C"
    )


def _check(given: argparse.Namespace) -> Status:
    if given.watch:
        return watch(given, _check_one)
    return _check_one(given)


def _check_one(given: argparse.Namespace) -> Status:
    """Check what ``given.path`` holds."""
    demand_new(given.picture, what="page")
    reports: list[dict[str, Any]] = []
    pictures: list[Verdicts] = []
    look_s = None if given.whole else CHECKED_S
    came = list(recordings_of(given))
    there = [rec for _, rec in came if rec is not None]
    outcomes = runner_of(given, len(there)).run(CheckJob(look_s), there)
    outcomes.tell()
    checked = {one.name: Checked(one.value) for one in outcomes if not one.problem}
    given.problems |= outcomes.failed
    for name, rec in came:
        if rec is None or name in outcomes.failed:
            reports.append(_unread_report(given, name))
            continue
        channels = [
            dataclasses.asdict(quality) | {"verdict": dataclasses.asdict(verdict_in(rec, quality))}
            for quality in checked[name]
        ]
        if given.picture is not None:
            pictures.append(judged(rec, checked[name], look_s=look_s))
        cues = dict(sorted(Counter(marker.label for marker in rec.markers).items()))
        report: dict[str, Any] = {
            "recording": name,
            "rate_hz": rec.rate_hz,
            "seconds": rec.duration_s,
            "stated_mains_hz": rec.mains_hz,
            "markers": cues,
            "notes": list(rec.notes),
            "channels": channels,
            "cards": {one.label: {"words": card_of(one)} for one in rec.channels if one.heard},
            "problem": None,
            "dataset_notes": given.notes,
        }
        reports.append(report)
        if not given.json:
            put(in_shell_lines("\n".join(_check_lines(rec, report))))
    same = twins(checked)
    for note in same:
        say(f"note: {note}")
    given.notes += same
    if pictures:
        with given.picture.open("x", encoding="utf-8") as stream:
            stream.write(pages(pictures))
    if given.json:
        put(one_line(reports) if given.watch else to_json(reports))
    clean = not same and not any(channel["findings"] for report in reports for channel in report["channels"])
    trouble = any(not is_told_by_name(note) for report in reports for note in report["notes"])
    return FINE if clean and not given.problems and not trouble else NOT_FINE


CHECK = Command("check", "is each EMG channel fit for use: findings with numbers", _check_options, _check)


def _unread_report(given: argparse.Namespace, name: str) -> dict[str, Any]:
    """What ``check --json`` says of a recording that cannot be read."""
    values: dict[str, Any] = {
        "recording": name,
        "rate_hz": None,
        "seconds": None,
        "stated_mains_hz": None,
        "markers": {},
    }
    return values | {
        "notes": [],
        "channels": [],
        "cards": {},
        "problem": given.problems[name],
        "dataset_notes": given.notes,
    }


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
    yield from (f"  {label}: {card['words']}" for label, card in report["cards"].items())
    width = max((len(label) for label in rec.emg_labels), default=0)
    for channel in report["channels"]:
        unit = rec.channel(channel["label"]).unit_label
        hum = "mains not measured"
        if not math.isnan(channel["mains_share"]):
            hum = f"{channel['mains_hz']:g} Hz: {channel['mains_share']:.1%} of power, {channel['mains_db']:+z.1f} dB"
        head = (
            f"  {channel['label']:<{width}}  RMS {channel['rms']:.3g} {unit}, at rest {channel['rest_rms']:.3g}; {hum}"
        )
        verdict = channel["verdict"]
        if verdict["word"] == "fit":
            yield f"{head}; nothing stands out"
        else:
            yield head
            yield from (f"  {'':<{width}}  - {why['words']}" for why in verdict["reasons"])
            yield f"  {'':<{width}}  = {verdict['word']}"
            yield from (f"  {'':<{width}}    {do}" for do in dict.fromkeys(why["do"] for why in verdict["reasons"]))
        yield from (f"  {'':<{width}}  ? {asked['words']}" for asked in channel["questions"])
    if any(channel["verdict"]["word"] != "fit" for channel in report["channels"]):
        yield f"  {CAUTION}"
