"""What changed between two points of the logs: two sealed versions, two commands, or a version and now.

Points are those of ``log_positions``. Only decisions are compared, from the logs alone: what a method proposes where
nobody has decided is in no log. A mark that was moved before anybody had accepted it counts as moved from where the
method had put it.

    compare         every change from one point to another: Change
    in_words        changes as short sentences: "12 onsets moved, median -7 ms"
    old_and_new     the two values of one change, in words: "unusable: clipped"
"""

import re
import statistics
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from emgreview.annotations import scales
from emgreview.annotations import state as states
from emgreview.annotations.events import digest_of
from emgreview.annotations.fields import FIELDS, write
from emgreview.annotations.fields.field import Change as Change
from emgreview.annotations.fields.field import Compared
from emgreview.annotations.log_positions import LogPosition

_OF_FACTS = {
    "processing changed": ("recording under another processing", "recordings under another processing"),
    "detection changed": ("recording under another detection", "recordings under another detection"),
    "scale changed": ("recording in another scale", "recordings in another scale"),
    "convention changed": ("recording under another convention", "recordings under another convention"),
    "packages changed": ("recording under other package versions", "recordings under other package versions"),
}

_OF_FIELDS = {what: said for field in FIELDS.values() for what, said in field.words.items()}

_FIRST = (
    "onset moved", "offset moved", "burst added", "burst removed", "newly none visible", "newly not locatable",
    "verdict taken back", "range changed", "newly unusable", "newly caution", "newly usable", "reasons changed",
    "kind changed", "confidence changed", "half-width changed", "behaviour changed",
)  # fmt: skip
_LAST = (
    "comment changed", "put up for discussion", "discussion closed", "stretch set aside", "stretch taken back",
    "excluded", "readmitted", "newly reviewed", "newly accepted in bulk", "no longer reviewed",
)  # fmt: skip

WORDS: Mapping[str, tuple[str, str]] = {
    **{what: _OF_FIELDS[what] for what in _FIRST},
    **{what: said for what, said in _OF_FIELDS.items() if what not in (*_FIRST, *_LAST)},
    **{what: _OF_FIELDS[what] for what in _LAST},
    **_OF_FACTS,
}
"""Every kind of change, in the order in which they are told, for one and for several; those of a new field come between
marks and comments."""

_NOT_COUNTED = {
    "newly reviewed": ("new", "not counting those only called unusable"),
    "no longer reviewed": ("old", "not counting those only no longer called unusable"),
}
"""What is reviewed counts decisions on activity; a signal called unusable is reviewed too, and told as that."""

DETAILED = frozenset(what for field in FIELDS.values() for what in field.detailed)
"""Changes whose new values are told, with how often each occurs where there are several."""


def compare(first: LogPosition, second: LogPosition) -> list[Change]:
    """Every change from one point to another, by recording, trial and channel. What stands in a recording is the same
    where it is the same, whatever its id."""
    alike = _in_recording(first) & _in_recording(second)
    keys = [
        key
        for key in sorted({*first.values, *second.values}, key=lambda key: tuple(part or "" for part in key))
        if key[3] not in states.IN_RECORDING
        or not any(_named(key, point.values.get(key)) in alike for point in (first, second))
    ]
    changes = list(_of_facts(first, second))
    for key in keys:
        changes += _of_value(key, first, second)
    return changes


def _in_recording(point: LogPosition) -> set[tuple[Any, ...]]:
    return {_named(key, value) for key, value in point.values.items() if key[3] in states.IN_RECORDING and value}


def _named(key: states.Key, value: Any) -> tuple[Any, ...]:
    return key[0], key[2], key[3], digest_of(write(key[3], value))


# Changes ---------------------------------------------------------------------------------------------------------


def _of_facts(first: LogPosition, second: LogPosition) -> Iterator[Change]:
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


def _of_value(key: states.Key, first: LogPosition, second: LogPosition) -> Iterator[Change]:
    recording, trial, channel, name, stretch = key
    old, new = first.value(key), second.value(key)
    if old == new or name not in FIELDS:  # one of a later version
        return
    facts = second.facts.get(str(recording)) or first.facts.get(str(recording), {})
    counter = second.ledger.counter(key) or None

    def change(what: str, before: Any = old, after: Any = new, burst: str | None = stretch) -> Change:
        moved = None
        if what in ("onset moved", "offset moved", "cue corrected"):
            recorded = _recorded_cue(trial) if what == "cue corrected" else None
            start, end = (recorded if sample is None else sample for sample in (before, after))
            moved = None if start is None or end is None else (end - start) / facts["rate_hz"] * 1000
        whose = recording or _of_participant(stretch, first, second)
        before, after = (write(name, value) if value is old or value is new else value for value in (before, after))
        return Change(whose, trial, channel, burst, what, before, after, moved, counter)

    signal = states.Key(recording, trial, channel, "signal")
    seen = Compared(
        old,
        new,
        change,
        signals=(first.value(signal), second.value(signal)),
        in_bulk=second.ledger.was_accepted_in_bulk(key, new),
    )
    yield from FIELDS[name].finds_changes(seen)


def _of_participant(participant: str | None, *points: LogPosition) -> str:
    """The participant's recordings, for what is said of the participant."""
    names = {name for point in points for name, facts in point.facts.items() if facts["participant"] == participant}
    return ", ".join(sorted(names))


def _recorded_cue(trial: str | None) -> int | None:
    """The sample of the recorded cue, with which the id of a trial ends."""
    found = re.search(r"\d+$", trial or "")
    return int(found[0]) if found else None


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
        if what in _NOT_COUNTED:
            words += _apart(changes, *_NOT_COUNTED[what])
        if what in DETAILED:
            values = Counter(_detail(change) for change in alike)
            several_values = len(values) > 1
            words += ": " + ", ".join(
                f"{value} {count}" if several_values else value for value, count in values.most_common()
            )
        sentences.append(words)
    return tuple(sentences)


def _apart(changes: Iterable[Change], end: str, said: str) -> str:
    """What is told beside a count of reviews where signals were called unusable at one ``end`` alone."""
    unusable = (getattr(change, end) for change in changes if change.what != "reasons changed")
    return f", {said}" if any(isinstance(one, Mapping) and one.get("state") == "unusable" for one in unusable) else ""


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
