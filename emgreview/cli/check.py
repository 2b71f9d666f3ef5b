"""``check``: which channels are fit for use, of recordings that are there, or of each file as it appears."""

import argparse
import dataclasses
import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.checking import CHECKED_S, Checked, twins
from emgreview.cli.beforehand import demand_new
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.cues import cue_of, demand_cue_options
from emgreview.cli.options import add_expect, add_pulses, add_source, number
from emgreview.cli.running import add_running, runner_of
from emgreview.cli.saying import put, say, to_json
from emgreview.cli.source import recordings_of
from emgreview.cli.watching import one_line, watch
from emgreview.cli.words import in_shell_lines
from emgreview.errors import UnknownNameError
from emgreview.fitness import SEARCH_S, Verdicts, judged, of_cues, pages, verdict_in
from emgreview.fitness.judging import CAUTION
from emgreview.many.checked import CheckJob
from emgreview.muscles.wording import card_of
from emgreview.reading.settled import is_told_by_name


def _check_options(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "With --watch: files of the folder and of its subfolders, each once it has stopped growing; what is there at "
        "the start counts as known, and a file that changes is checked again. Hidden ones, and what lies behind links "
        "to folders, are passed over. A file of a BIDS dataset, or of a description (.toml), is checked as a recording "
        "of it; any other by itself."
    )
    add_source(parser)
    parser.add_argument(
        "--cue", help="label of the marker that starts a trial: are cues missing, do heart beats lie where onsets are"
    )
    parser.add_argument(
        "--search",
        nargs=2,
        type=number,
        metavar=("START", "STOP"),
        help=f"where onsets will be searched, in seconds from the cue ({SEARCH_S[0]:g} {SEARCH_S[1]:g})",
    )
    add_expect(parser)
    add_pulses(parser)
    add_running(parser)
    parser.add_argument("--whole", action="store_true", help="look at all of each recording, not at 60 s of it")
    parser.add_argument("--picture", type=Path, metavar="FILE.html", help="write the picture of the verdicts there")
    parser.add_argument(
        "--watch",
        action="store_true",
        help="check each new file of a folder, and of its subfolders, as it appears, until Ctrl-C",
    )


def _check(given: argparse.Namespace) -> Status:
    demand_cue_options(given)
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
    cue = cue_of(given)
    if not given.watch:
        _demand_known(cue, there)
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
        search_s = SEARCH_S if given.search is None else tuple(given.search)
        cues = _cues(rec, checked[name], cue, search_s, given.expect, look_s)
        if given.picture is not None:
            known = cue if cues is not None and cues["found"] else None
            expect = None if known is None else given.expect
            pictures.append(judged(rec, checked[name], cue=known, search_s=search_s, expect=expect, look_s=look_s))
        report: dict[str, Any] = {
            "recording": name,
            "rate_hz": rec.rate_hz,
            "seconds": rec.duration_s,
            "stated_mains_hz": rec.mains_hz,
            "markers": dict(sorted(Counter(marker.label for marker in rec.markers).items())),
            "cues": cues,
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
        put(one_line(reports, given.file) if given.watch else to_json(reports))
    clean = not same and not any(channel["findings"] for report in reports for channel in report["channels"])
    trouble = any(not is_told_by_name(note) for report in reports for note in report["notes"])
    trouble |= any(report["cues"]["notes"] for report in reports if report["cues"])
    return FINE if clean and not given.problems and not trouble else NOT_FINE


CHECK = Command("check", "is each EMG channel fit for use: findings with numbers", _check_options, _check)


def _demand_known(cue: str | None, recordings: Sequence[er.Recording]) -> None:
    """A cue that no recording has was mistyped; one that some lack is told of these."""
    labels = {marker.label for rec in recordings for marker in rec.markers}
    if cue is not None and recordings and cue not in labels:
        raise UnknownNameError("marker", cue, sorted(labels))


def _cues(
    rec: er.Recording,
    found: Checked,
    cue: str | None,
    search_s: tuple[float, float],
    expect: int | None,
    look_s: float | None,
) -> dict[str, Any] | None:
    """What there is to say of the cues of a recording; None where nobody asked."""
    if cue is None:
        return None
    count = sum(marker.label == cue for marker in rec.markers)
    notes = list(of_cues(rec, found, cue=cue, search_s=search_s, expect=expect, look_s=look_s)) if count else []
    if not count:
        others = ", ".join(sorted({marker.label for marker in rec.markers})) or "none"
        wanted = "" if expect is None else f" {expect} cues were expected."
        notes.append(
            f"No marker is called {cue!r} (markers there: {others}): neither its cues nor heart beats in search "
            f"windows were looked for.{wanted}"
        )
    return {"cue": cue, "found": count, "expected": expect, "search_s": search_s, "notes": notes}


def _unread_report(given: argparse.Namespace, name: str) -> dict[str, Any]:
    """What ``check --json`` says of a recording that cannot be read."""
    values: dict[str, Any] = {
        "recording": name,
        "rate_hz": None,
        "seconds": None,
        "stated_mains_hz": None,
        "markers": {},
        "cues": None,
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
    if (cues := report["cues"]) is not None:
        expected = "" if cues["expected"] is None else f", expected {cues['expected']}"
        start, stop = cues["search_s"]
        yield f"  cues {cues['cue']!r}: {cues['found']}{expected}; searched {start:g} to {stop:g} s from each"
        yield from (f"  - {note}" for note in cues["notes"])
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
