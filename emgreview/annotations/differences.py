"""What changed between two points of the logs: two sealed versions, two commands, or a version and now.

Points are those of ``points``. Only decisions are compared, from the logs alone: what a method proposes where nobody
has decided is in no log. A mark that was moved before anybody had accepted it counts as moved from where the method had
put it.

    compare         every change from one point to another: Change
    in_words        changes as short sentences: "12 onsets moved, median -7 ms"
    old_and_new     the two values of one change, in words: "unusable: clipped"
"""

import re
import statistics
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from emgreview.annotations import scales
from emgreview.annotations import state as states
from emgreview.annotations.events import digest_of
from emgreview.annotations.points import Point


class Change(NamedTuple):
    """One change. ``what`` is a word of WORDS; ``old`` and ``new`` are values as in the log (samples, words), None
    where there is none; ``moved_ms`` for marks and cues; ``counter`` the command that the newer value stems from."""

    recording: str
    trial: str | None
    channel: str | None
    burst: str | None
    what: str
    old: Any
    new: Any
    moved_ms: float | None
    counter: int | None


WORDS: Mapping[str, tuple[str, str]] = {
    "onset moved": ("onset moved", "onsets moved"),
    "offset moved": ("offset moved", "offsets moved"),
    "burst added": ("burst added", "bursts added"),
    "burst removed": ("burst removed", "bursts removed"),
    "newly none visible": ("newly none visible", "newly none visible"),
    "newly not locatable": ("newly not locatable", "newly not locatable"),
    "verdict taken back": ("verdict taken back", "verdicts taken back"),
    "range changed": ("range of an onset changed", "ranges of onsets changed"),
    "newly unusable": ("newly unusable", "newly unusable"),
    "newly caution": ("newly with caution", "newly with caution"),
    "newly usable": ("newly usable", "newly usable"),
    "reasons changed": ("signal with other reasons", "signals with other reasons"),
    "kind changed": ("burst of another kind", "bursts of another kind"),
    "confidence changed": ("confidence changed", "confidences changed"),
    "half-width changed": ("half-width of an onset changed", "half-widths of onsets changed"),
    "behaviour changed": ("behaviour changed", "behaviours changed"),
    "cue corrected": ("cue corrected", "cues corrected"),
    "cue is none": ("cue that is none", "cues that are none"),
    "cue stands": ("cue that stands after all", "cues that stand after all"),
    "cue added": ("cue added", "cues added"),
    "added cue taken back": ("added cue taken back", "added cues taken back"),
    "burst marked outside trials": ("burst marked outside trials", "bursts marked outside trials"),
    "mark outside trials taken back": ("mark outside trials taken back", "marks outside trials taken back"),
    "comment changed": ("comment changed", "comments changed"),
    "put up for discussion": ("put up for discussion", "put up for discussion"),
    "discussion closed": ("discussion closed", "discussions closed"),
    "stretch set aside": ("stretch set aside", "stretches set aside"),
    "stretch taken back": ("stretch taken back", "stretches taken back"),
    "excluded": ("exclusion", "exclusions"),
    "readmitted": ("exclusion taken back", "exclusions taken back"),
    "newly reviewed": ("newly reviewed", "newly reviewed"),
    "newly accepted in bulk": ("newly accepted in bulk, looked at by nobody",) * 2,
    "no longer reviewed": ("no longer reviewed", "no longer reviewed"),
    "processing changed": ("recording under another processing", "recordings under another processing"),
    "detection changed": ("recording under another detection", "recordings under another detection"),
    "scale changed": ("recording in another scale", "recordings in another scale"),
    "convention changed": ("recording under another convention", "recordings under another convention"),
    "packages changed": ("recording under other package versions", "recordings under other package versions"),
}
"""Every kind of change, in the order in which they are told, for one and for several."""

DETAILED = ("newly unusable", "newly caution", "excluded", "behaviour changed", "kind changed")
"""Changes whose new values are told, with how often each occurs where there are several."""


def compare(first: Point, second: Point) -> list[Change]:
    """Every change from one point to another, by recording, trial and channel. What stands in a recording is the same
    where it is the same, whatever its id."""
    alike = _in_recording(first) & _in_recording(second)
    keys = [
        key
        for key in sorted({*first.standing, *second.standing}, key=lambda key: tuple(part or "" for part in key))
        if key[3] not in states.IN_RECORDING
        or not any(_named(key, point.standing.get(key)) in alike for point in (first, second))
    ]
    changes = list(_of_facts(first, second))
    for key in keys:
        changes += _of_value(key, first, second)
    return changes


def _in_recording(point: Point) -> set[tuple[Any, ...]]:
    return {_named(key, value) for key, value in point.standing.items() if key[3] in states.IN_RECORDING and value}


def _named(key: states.Key, value: Any) -> tuple[Any, ...]:
    return key[0], key[2], key[3], digest_of(value)


# Changes ---------------------------------------------------------------------------------------------------------


def _of_facts(first: Point, second: Point) -> Iterator[Change]:
    for recording in sorted({*first.facts, *second.facts}):
        old, new = first.facts.get(recording, {}), second.facts.get(recording, {})
        if not old or not new:
            continue
        for fact in ("processing", "detection", "convention", "packages"):
            if old.get(fact) != new.get(fact):
                yield Change(recording, None, None, None, f"{fact} changed", old.get(fact), new.get(fact), None, None)
        found = scales.compare(old.get("scales"), new.get("scales"))
        if found.decisive or found.beside:
            before, after = (scales.in_words(facts["scales"]) for facts in (old, new))
            yield Change(recording, None, None, None, "scale changed", before, after, None, None)


def _of_value(key: states.Key, first: Point, second: Point) -> Iterator[Change]:
    recording, trial, channel, name, stretch = key
    old, new = first.value(key), second.value(key)
    if old == new:
        return
    facts = second.facts.get(str(recording)) or first.facts.get(str(recording), {})
    counter = second.replay.counters.get(key)

    def change(what: str, before: Any = old, after: Any = new, burst: str | None = stretch) -> Change:
        moved = None
        if what in ("onset moved", "offset moved", "cue corrected"):
            recorded = _recorded_cue(trial) if what == "cue corrected" else None
            start, end = (recorded if sample is None else sample for sample in (before, after))
            moved = None if start is None or end is None else (end - start) / facts["rate_hz"] * 1000
        return Change(
            recording or _of_participant(stretch, first, second),
            trial,
            channel,
            burst,
            what,
            before,
            after,
            moved,
            counter,
        )

    if name == "activity":
        signal = (recording, trial, channel, "signal", None)
        in_bulk = second.replay.bulk.get(key) is not None and second.replay.bulk[key] == new
        yield from _of_activity(old, new, first.value(signal), second.value(signal), change, in_bulk)
    elif name == "signal":
        yield change("reasons changed" if old["state"] == new["state"] else f"newly {new['state']}")
    elif name == "discuss":
        yield change("put up for discussion" if new else "discussion closed")
    elif name == "set aside":
        yield change("stretch set aside" if new else "stretch taken back")
    elif name == "marked burst":
        yield change("burst marked outside trials" if new else "mark outside trials taken back")
    elif name == "added cue":
        yield change("cue added" if new else "added cue taken back")
    elif name == "no cue":
        yield change("cue is none" if new else "cue stands")
    elif name in states.EXCLUDED:
        yield change("excluded" if new else "readmitted")
    elif name == "cue":
        yield change("cue corrected")
    else:
        yield change(f"{name} changed")


def _of_participant(participant: str | None, *points: Point) -> str:
    """The participant's recordings, for what is said of the participant."""
    names = {name for point in points for name, facts in point.facts.items() if facts["participant"] == participant}
    return ", ".join(sorted(names))


def _recorded_cue(trial: str | None) -> int | None:
    """The sample of the recorded cue, with which the id of a trial ends."""
    found = re.search(r"\d+$", trial or "")
    return int(found[0]) if found else None


def _of_activity(old: Any, new: Any, signal: Any, new_signal: Any, change: Any, in_bulk: bool) -> Iterator[Change]:
    decided = [value is not None and states.reviewed(value, states.USABLE) for value in (old, new)]
    reviewed = [
        (value is not None and states.reviewed(value, one)) or one["state"] == "unusable"
        for value, one in ((old, signal), (new, new_signal))
    ]
    if decided[0] != decided[1] and reviewed[0] != reviewed[1]:
        newly = "newly accepted in bulk" if in_bulk else "newly reviewed"
        yield change(newly if reviewed[1] else "no longer reviewed", *reviewed)
    was, now = ("" if value is None else value["found"] for value in (old, new))
    if now in states.VERDICTS and now != was:
        yield change(f"newly {now}", was or None, now)
    elif was in states.VERDICTS and now != was:
        yield change("verdict taken back", was, now or None)
    elif now == was == "not locatable":
        spans = [[value["earliest"], value["latest"]] for value in (old, new)]
        if spans[0] != spans[1]:
            yield change("range changed", *spans)
    if now in states.VERDICTS and now == was and old["confidence"] != new["confidence"]:
        yield change("confidence changed", old["confidence"], new["confidence"])
    if now not in states.VERDICTS and was not in states.VERDICTS:
        yield from _of_bursts(_standing(old, new), _standing(new, old), change)


def _standing(activity: Any, other: Any) -> dict[str, Mapping[str, Any]]:
    """The bursts that stand; where nobody had decided, those that the method had proposed when somebody did."""
    if activity is not None:
        return {name: burst for name, burst in activity["bursts"].items() if states.stands(burst)}
    automatic = {name: burst["automatic"] for name, burst in other["bursts"].items() if burst["automatic"]}
    return {name: {**values, "kind": "response", "confidence": None} for name, values in automatic.items()}


def _of_bursts(old: Mapping[str, Any], new: Mapping[str, Any], change: Any) -> Iterator[Change]:
    for name in sorted(old.keys() - new.keys()):
        yield change("burst removed", old[name]["onset"], None, burst=name)
    for name in sorted(new.keys() - old.keys()):
        yield change("burst added", None, new[name]["onset"], burst=name)
    parts = {
        "onset": "onset moved",
        "offset": "offset moved",
        "kind": "kind changed",
        "confidence": "confidence changed",
        "half_width": "half-width changed",
    }
    for name in sorted(old.keys() & new.keys()):
        for part, what in parts.items():
            before, after = old[name].get(part), new[name].get(part)
            if before != after:
                yield change(what, before, after, burst=name)


# Words -----------------------------------------------------------------------------------------------------------


def in_words(changes: Iterable[Change]) -> tuple[str, ...]:
    """Changes as short sentences, one a kind, in the order of WORDS."""
    changes = list(changes)
    counts = Counter(change.what for change in changes)
    sentences = []
    for what, (one, several) in WORDS.items():
        if not counts[what]:
            continue
        words = f"{counts[what]} {one if counts[what] == 1 else several}"
        alike = [change for change in changes if change.what == what]
        moved = [change.moved_ms for change in alike if change.moved_ms is not None]
        if moved:
            words += f", {'median ' if len(moved) > 1 else ''}{round(statistics.median(moved), 1) + 0.0:+g} ms"
        if what in DETAILED:
            values = Counter(_detail(change) for change in alike)
            several_values = len(values) > 1
            words += ": " + ", ".join(
                f"{value} {count}" if several_values else value for value, count in values.most_common()
            )
        sentences.append(words)
    return tuple(sentences)


def old_and_new(change: Change) -> tuple[str | None, str | None]:
    """Both values of a change in words, None where there is none: samples as numbers, "1100 to 1200"; yes or no; a
    signal's state with its reasons; of settings those that differ."""
    old, new = change.old, change.new
    if isinstance(old, Mapping) and isinstance(new, Mapping) and "state" not in new:
        parts = [_settings(value) for value in (old, new)]
        names = sorted(name for name in {*parts[0], *parts[1]} if parts[0].get(name) != parts[1].get(name))
        named = [name for name in names if name != "hash"] or names
        first, second = ("; ".join(f"{name} {_value(one.get(name)) or 'none'}" for name in named) for one in parts)
        return first, second
    return _value(old), _value(new)


def _settings(value: Mapping[str, Any]) -> dict[str, Any]:
    """Settings in groups, as one."""
    return {name: part for name, part in value.items() if not isinstance(part, Mapping)} | {
        name: part for group in value.values() if isinstance(group, Mapping) for name, part in group.items()
    }


def _value(value: Any) -> str | None:
    match value:
        case None | str():
            return value
        case bool():
            return "yes" if value else "no"
        case {"state": state, "reasons": reasons}:
            return f"{state}: {', '.join(reasons)}" if reasons else str(state)
        case {"start": start, "stop": stop, **more}:
            said = [", ".join(part) if isinstance(part, list | tuple) else str(part) for part in more.values() if part]
            return (f"{start}" if stop is None else f"{start} to {stop}") + (f": {'; '.join(said)}" if said else "")
        case {"label": label, "sample": sample}:
            return f"{label} at {sample}"
        case [first, second]:
            return f"{first} to {second}"
    return str(value)


def _detail(change: Change) -> str:
    """What a change came to, in a word: the main reason of a signal, the reason of an exclusion, the new word."""
    if isinstance(change.new, dict):
        return str(dict(change.new)["reasons"][0])
    return "cleared" if change.new is None else str(change.new)
