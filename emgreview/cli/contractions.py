"""Which muscle is heard where, and does it take part: ``contractions`` of test contractions, ``involvement``."""

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_band, add_pulses, add_source, add_window, number, whole
from emgreview.cli.running import add_running, cut_later, runner_of
from emgreview.cli.saying import put, to_json
from emgreview.cli.source import left_out, processing_of, recordings_of, with_added
from emgreview.cli.words import in_shell_lines
from emgreview.errors import MarkerError
from emgreview.reading.settled import listed


def _contractions_options(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "Markers that name a contraction are called 'test FCR', 'quiet FCR', 'rest' or 'maximal FCR', or events.tsv "
        "has columns contraction and target. Maximal efforts stop on pain and are supervised by a trained person; this "
        "command describes what was recorded."
    )
    add_source(parser)
    add_pulses(parser)
    add_band(parser)
    parser.add_argument(
        "--table",
        type=Path,
        metavar="FILE",
        help="when what was contracted, tab-separated: recording, target, start_s, stop_s, and kind (test, quiet, "
        "rest, maximal)",
    )
    parser.add_argument(
        "--marker",
        action="append",
        type=_meaning,
        metavar="LABEL=MEANING",
        help="what a marker means: --marker A=FCR --marker B='quiet FCR' --marker pause=rest",
    )
    parser.add_argument(
        "--lasting", type=number, metavar="S", help="how long contractions last whose markers do not say it"
    )
    parser.add_argument(
        "--cards", type=Path, metavar="FOLDER", help="write the channels' cards there, contractions.json"
    )


def _meaning(text: str) -> tuple[str, Any]:
    from emgreview.contractions.asked import KINDS

    label, sign, meaning = text.rpartition("=")
    kind, _, target = meaning.strip().partition(" ")
    if not (label.strip() and sign and kind):
        raise argparse.ArgumentTypeError(f"{text!r} came; give a marker and what it means: --marker A=FCR")
    if meaning.strip() == "rest":
        return label.strip(), "rest"
    return label.strip(), (kind, target.strip()) if kind in KINDS and target.strip() else meaning.strip()


def _contractions(given: argparse.Namespace) -> Status:
    from emgreview.contractions.asked import read_asked  # heavy: pandas, which the other commands can do without

    how = processing_of(given)
    said: Any = dict(given.marker) if given.marker else None
    if given.table is not None:
        if said is not None:
            raise er.EmgreviewError("--table and --marker came both; a table says it all; leave --marker out.")
        said = read_asked(given.table)
    groups: dict[tuple[str, str], list[er.Recording]] = {}
    for name, rec in recordings_of(given):
        if rec is not None and (said is None or isinstance(said, list) or _has(rec, said)):
            whose = rec.entities.get("sub") or name, rec.entities.get("ses", "")
            groups.setdefault(whose, []).append(rec)
    reports, cards, clean = [], [], True
    none: list[str] = []
    for whose, recs in groups.items():
        found = _selectivity(recs, said, given.lasting, how)
        efforts = _efforts(recs, said, given.lasting, how)
        if found is None and efforts is None:
            none.append(" ".join(filter(None, whose)))
            continue
        clean &= found is None or not found.findings
        clean &= efforts is None or not efforts.findings
        cards += [] if found is None else list(found.cards.values())
        reports.append(_report(whose, recs, found, efforts))
        if not given.json:
            put(
                in_shell_lines(
                    "\n".join([f"{', '.join(rec.name for rec in recs)}", *map(repr, filter(None, (found, efforts)))])
                )
            )
    if not reports:
        raise MarkerError(
            f"no contraction was found in {listed(none) or given.path}; name them by markers ('test FCR', with a "
            "duration), with --marker LABEL=MEANING, or with --table FILE.tsv (recording, target, start_s, stop_s)."
        )
    if none:
        given.notes.append(f"No contraction is in the recordings of {listed(none)}.")
    if given.cards is not None:
        er.write_channel_cards(cards, given.cards)
    if given.json:
        put(to_json({"notes": [*given.notes, *left_out(given)], "people": reports}))
    return FINE if clean and not given.problems else NOT_FINE


def _has(rec: er.Recording, said: Mapping[str, Any]) -> bool:
    return any(marker.label in said for marker in rec.markers)


def _of(recs: Sequence[er.Recording], said: Any) -> Any:
    """What of the meanings of markers these recordings have."""
    if not isinstance(said, Mapping):
        return said
    labels = {marker.label for rec in recs for marker in rec.markers}
    return {label: meaning for label, meaning in said.items() if label in labels}


def _asked_kinds(recs: Sequence[er.Recording], said: Any, lasting_s: float | None) -> set[str]:
    from emgreview.contractions.asked import asked_of

    try:
        return {one.kind for one in asked_of(recs, _of(recs, said), lasting_s=lasting_s)[0]}
    except MarkerError as error:
        if "does not say how long" in str(error):
            raise
        return set()


def _selectivity(recs: Sequence[er.Recording], said: Any, lasting_s: float | None, how: er.Processing) -> Any:
    if "test" not in _asked_kinds(recs, said, lasting_s):
        return None
    return er.selectivity(recs, _of(recs, said), lasting_s=lasting_s, processing=how)


def _efforts(recs: Sequence[er.Recording], said: Any, lasting_s: float | None, how: er.Processing) -> Any:
    if "maximal" not in _asked_kinds(recs, said, lasting_s):
        return None
    return er.maximal_efforts(recs, _of(recs, said), lasting_s=lasting_s, processing=how)


def _report(whose: tuple[str, str], recs: Sequence[er.Recording], found: Any, efforts: Any) -> dict[str, Any]:
    from emgreview.contractions.matrix import CAUTION
    from emgreview.contractions.maximal import CAUTION as MAXIMAL_CAUTION

    report: dict[str, Any] = {"participant": whose[0], "session": whose[1], "recordings": [rec.name for rec in recs]}
    if found is not None:
        report |= {
            "unit": found.unit,
            "rows": found.table.to_dict("records"),
            "rest_rms": dict(zip(found.channels, map(float, found.rest_rms), strict=True)),
            "found": [
                {"channel": one.channel, "code": one.code, "other": one.other, "words": str(one)}
                for one in found.findings
            ],
            "cards": {label: {"words": card.sentence} for label, card in found.cards.items()},
            "notes": [*found.hints, *found.notes, CAUTION],
        }
    if efforts is not None:
        report["maximal"] = {
            "unit": efforts.unit,
            "reference": dict(efforts.reference),
            "rows": efforts.table.to_dict("records"),
            "findings": list(efforts.findings),
            "notes": [*efforts.notes, MAXIMAL_CAUTION],
        }
    return report


CONTRACTIONS = Command(
    "contractions",
    "test contractions: who hears whom, exchanged leads, weak sites, maximal efforts",
    _contractions_options,
    _contractions,
)


def _involvement_options(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    add_window(parser)
    parser.add_argument(
        "--window",
        required=True,
        nargs=2,
        type=number,
        metavar=("START", "STOP"),
        help="the response window in seconds from the cue; the baseline is as long",
    )
    parser.add_argument(
        "--percentile", type=whole, choices=(95, 99), default=95, help="of the rest range, 95 or 99 (95)"
    )
    parser.add_argument(
        "--condition", default="condition", metavar="NAME", help="the events' column of conditions (condition)"
    )
    parser.add_argument("--posture", default="posture", metavar="NAME", help="the events' column of postures (posture)")
    parser.add_argument(
        "--antagonist",
        action="append",
        default=[],
        type=_antagonist,
        metavar="CONDITION=CHANNEL",
        help="a channel over the antagonist in a condition: what is active there is co-activation",
    )
    parser.add_argument(
        "--compare",
        nargs=3,
        metavar=("FACTOR", "A", "B"),
        help="compare two postures or conditions, pair by pair: --compare posture sitting standing",
    )
    parser.add_argument("--folder", type=Path, help="the review folder, whose version says what is unusable")
    parser.add_argument("--version", metavar="NAME", help="the sealed version, v1 for example")
    add_running(parser, beside_review=False)


def _antagonist(text: str) -> tuple[str, str]:
    condition, _, label = text.rpartition("=")
    if not (condition.strip() and label.strip()):
        raise argparse.ArgumentTypeError(f"{text!r} came; give a condition and a channel: --antagonist flexion=ECR")
    return condition.strip(), label.strip()


def _involvement(given: argparse.Namespace) -> Status:
    if (given.folder is None) != (given.version is None):
        raise er.EmgreviewError("--folder and --version go together; give both, or neither.")
    decisions = None if given.folder is None else er.read_version(given.folder, given.version)
    recordings = [rec for _, rec in recordings_of(given) if rec is not None]
    if decisions is not None:
        reviewed = set(decisions["recording"])
        recordings = [with_added(rec, given.cue, decisions["trial"]) for rec in recordings if rec.name in reviewed]
    trials = cut_later(given, recordings, runner_of(given, len(recordings)))
    if not trials:
        raise er.EmgreviewError("no recording could be used, so nothing is known; see above.")
    opposed: dict[str, list[str]] = {}
    for condition, label in given.antagonist:
        opposed.setdefault(condition, []).append(label)
    found = er.involvement(
        trials,
        decisions,
        window_s=tuple(given.window),
        percentile=given.percentile,
        condition=given.condition,
        posture=given.posture,
        antagonists=opposed or None,
    )
    paired = None if given.compare is None else found.compare(*given.compare)
    if given.json:
        values = {
            "rows": found.table.to_dict("records"),
            "groups": found.groups.to_dict("records"),
            "compared": [] if paired is None else paired.table.to_dict("records"),
            "cv": found.cv,
            "words": list(found.sentences),
            "notes": [*given.notes, *left_out(given), *found.notes, *(() if paired is None else paired.notes)],
        }
        put(to_json(values))
    else:
        put(in_shell_lines("\n".join(map(repr, filter(None, (found, paired))))))
    return FINE if not given.problems and given.as_expected else NOT_FINE


INVOLVEMENT = Command(
    "involvement",
    "in how many trials activity over each muscle exceeds the person's own rest range",
    _involvement_options,
    _involvement,
)
