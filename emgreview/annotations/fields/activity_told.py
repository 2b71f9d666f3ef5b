"""What is told of activities: what changed between two points of the logs, and the columns of a table of decisions.

FIELD       the field "activity"
"""

import math
from collections.abc import Iterator, Mapping
from typing import Any

from emgreview.annotations.fields import activity as activities
from emgreview.annotations.fields.activity import RESPONSE, VERDICTS, Activity, reviewed, stands
from emgreview.annotations.fields.field import CHANNEL, Change, Compared, Field, Merging
from emgreview.annotations.fields.signal import USABLE

WORDS = {
    "onset moved": ("onset moved", "onsets moved"),
    "offset moved": ("offset moved", "offsets moved"),
    "burst added": ("burst added", "bursts added"),
    "burst removed": ("burst removed", "bursts removed"),
    "newly none visible": ("newly none visible", "newly none visible"),
    "newly not locatable": ("newly not locatable", "newly not locatable"),
    "verdict taken back": ("verdict taken back", "verdicts taken back"),
    "range changed": ("range of an onset changed", "ranges of onsets changed"),
    "kind changed": ("burst of another kind", "bursts of another kind"),
    "confidence changed": ("confidence changed", "confidences changed"),
    "half-width changed": ("half-width of an onset changed", "half-widths of onsets changed"),
    "newly reviewed": ("newly reviewed", "newly reviewed"),
    "newly accepted in bulk": ("newly accepted in bulk, looked at by nobody",) * 2,
    "no longer reviewed": ("no longer reviewed", "no longer reviewed"),
}

_PARTS = {
    "onset": "onset moved",
    "offset": "offset moved",
    "kind": "kind changed",
    "confidence": "confidence changed",
    "half_width": "half-width changed",
}


def _changes(seen: Compared) -> Iterator[Change]:
    old, new, change = seen.old, seen.new, seen.change
    decided = [value is not None and reviewed(value, USABLE) for value in (old, new)]
    done = [
        (value is not None and reviewed(value, signal)) or signal.state == "unusable"
        for value, signal in zip((old, new), seen.signals, strict=True)
    ]
    if decided[0] != decided[1] and done[0] != done[1]:
        newly = "newly accepted in bulk" if seen.in_bulk else "newly reviewed"
        yield change(newly if done[1] else "no longer reviewed", *done)
    was, now = ("" if value is None else value.found for value in (old, new))
    if now in VERDICTS and now != was:
        yield change(f"newly {now}", was or None, now)
    elif was in VERDICTS and now != was:
        yield change("verdict taken back", was, now or None)
    elif now == was == "not locatable":
        spans = [[value.earliest, value.latest] for value in (old, new)]
        if spans[0] != spans[1]:
            yield change("range changed", *spans)
    if now in VERDICTS and now == was and old.confidence != new.confidence:
        yield change("confidence changed", old.confidence, new.confidence)
    if now not in VERDICTS and was not in VERDICTS:
        yield from _of_bursts(_told(old, new), _told(new, old), change)


def _told(activity: Activity | None, other: Activity | None) -> dict[str, Mapping[str, Any]]:
    """Of the bursts that stand what is compared; where nobody had decided, of those that the method had proposed when
    somebody did."""
    if activity is not None:
        return {
            name: {part: getattr(burst, part) for part in _PARTS}
            for name, burst in activity.bursts.items()
            if stands(burst)
        }
    assert other is not None
    return {
        name: {"onset": burst.automatic.onset, "offset": burst.automatic.offset, "kind": "response"}
        for name, burst in other.bursts.items()
        if burst.automatic
    }


def _of_bursts(old: Mapping[str, Any], new: Mapping[str, Any], change: Any) -> Iterator[Change]:
    for name in sorted(old.keys() - new.keys()):
        yield change("burst removed", old[name]["onset"], None, burst=name)
    for name in sorted(new.keys() - old.keys()):
        yield change("burst added", None, new[name]["onset"], burst=name)
    for name in sorted(old.keys() & new.keys()):
        for part, what in _PARTS.items():
            before, after = old[name].get(part), new[name].get(part)
            if before != after:
                yield change(what, before, after, burst=name)


COLUMNS = {
    "activity": ("text", "Activity: bursts, none detected (nobody has looked), none visible, not locatable"),
    "burst": ("text", "Burst: response for the automatic one, added-n for added ones"),
    "kind": ("text", "Kind of burst"),
    "origin": ("text", "Origin of the mark: automatic, moved, added, removed"),
    "accepted": ("truth", "Whether the mark is accepted where it stands: by a person, or in bulk"),
    "confidence": ("text", "Confidence: sure, fairly, unsure"),
    "half_width_s": ("number", "How far the onset may lie to either side by the reviewer's own word, in seconds"),
    "onset_s": ("number", "Onset, in seconds from the cue"),
    "offset_s": ("number", "Offset, in seconds from the cue"),
    "earliest_s": ("number", "Earliest possible onset where it is not locatable, in seconds from the cue"),
    "latest_s": ("number", "Latest possible onset where it is not locatable, in seconds from the cue"),
    "automatic_onset_s": ("number", "Onset by the method, in seconds from the cue"),
    "automatic_low_s": ("number", "Start of the method's 90 % interval of the onset, in seconds from the cue"),
    "automatic_high_s": ("number", "End of the method's 90 % interval of the onset, in seconds from the cue"),
    "automatic_offset_s": ("number", "Offset by the method, in seconds from the cue"),
    "onset_sample": ("whole", "Onset, as a sample of the recording"),
    "offset_sample": ("whole", "Offset, as a sample of the recording"),
    "earliest_sample": ("whole", "Earliest possible onset, as a sample of the recording"),
    "latest_sample": ("whole", "Latest possible onset, as a sample of the recording"),
    "automatic_onset_sample": ("whole", "Onset by the method, as a sample of the recording"),
    "automatic_offset_sample": ("whole", "Offset by the method, as a sample of the recording"),
}


def _cells(trial: Any, channel: Any, burst: Any) -> dict[str, Any]:
    cue = trial.cue if trial.corrected_cue is None else trial.corrected_cue

    def seconds(sample: int | None) -> float:
        return math.nan if sample is None else (sample - cue) / trial.rate_hz

    known = burst or channel.bursts.get(RESPONSE)
    automatic: Mapping[str, int | None] = (known.automatic if known else None) or {}
    removed = burst is not None and burst.origin == "removed"
    onset = None if burst is None or removed else burst.onset
    offset = None if burst is None or removed else burst.offset
    return {
        "activity": channel.found,
        "burst": burst.id if burst else None,
        "kind": burst.kind if burst else None,
        "origin": burst.origin if burst else None,
        "accepted": burst.accepted if burst else None,
        "confidence": burst.confidence if burst else channel.confidence,
        "half_width_s": math.nan if burst is None or removed or burst.half_width_s is None else burst.half_width_s,
        "onset_s": seconds(onset),
        "offset_s": seconds(offset),
        "earliest_s": seconds(channel.earliest),
        "latest_s": seconds(channel.latest),
        "automatic_onset_s": seconds(automatic.get("onset")),
        "automatic_low_s": seconds(automatic.get("low")),
        "automatic_high_s": seconds(automatic.get("high")),
        "automatic_offset_s": seconds(automatic.get("offset")),
        "onset_sample": onset,
        "offset_sample": offset,
        "earliest_sample": channel.earliest,
        "latest_sample": channel.latest,
        "automatic_onset_sample": automatic.get("onset"),
        "automatic_offset_sample": automatic.get("offset"),
    }


FIELD = Field(
    name="activity",
    of=CHANNEL,
    read=activities.read,
    write=activities.write,
    words=WORDS,
    detailed=("kind changed",),
    changes=_changes,
    columns=COLUMNS,
    cells=_cells,
    merging=Merging(
        join=activities.midpoint,
        how="within the tolerance: midpoint",
        clash=activities.clash,
        midway=lambda a, b: activities.times(a) != activities.times(b),
        disputable=True,
        row="mark",
    ),
)
