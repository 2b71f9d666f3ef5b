"""States to a tidy table, one row a burst; a channel-trial without a burst that stands has one row too.

Times are seconds from the cue (the corrected one where there is one), beside the sample numbers of the recording;
missing is NaN or NA.

    COLUMNS             every column: its type and its meaning
    Decided, WAYS       who decided a row, and how
    decisions_table     states to a table
    Said                what its attributes say
    describe            what each column of a table means
"""

import bisect
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import pandas as pd

from emgreview.annotations.fields import FIELDS
from emgreview.annotations.state import BurstState, ChannelState, TrialState
from emgreview.model import Marker

_WHERE = {
    "reviewer": ("text", "Code of the reviewer whose table this is; who decided a row stands in decided_by"),
    "participant": ("text", "Participant"),
    "recording": ("text", "Name of the recording"),
    "trial": ("text", "Trial, named by recording, marker source and the cue's sample"),
    "channel": ("text", "Channel"),
    "rate_hz": ("number", "Sampling rate of the recording, in hertz"),
}
_WHO = {
    "reviewed": ("truth", "Whether this channel of this trial is decided: by a person, or in bulk"),
    "in_bulk": ("truth", "Whether the mark was accepted in bulk, by a rule: nobody has looked at it"),
    "decided_by": ("text", "Who decided the mark or, where the signal is unusable, that: codes, between '; '"),
    "decided_how": (
        "text",
        "How that was decided: both agreed, midpoint of two, settled by the third, one reviewer's alone, or accepted "
        "in bulk, which nobody looked at",
    ),
    "decided_otherwise": ("text", "What else of the row others decided, or in another way, between '; '"),
}
_OF_CUE = FIELDS["cue"].columns

COLUMNS: Mapping[str, tuple[str, str]] = {
    **_WHERE,
    **_OF_CUE,
    **_WHO,
    **{name: column for field in FIELDS.values() for name, column in field.columns.items() if name not in _OF_CUE},
}
"""Columns in order: their type and their meaning; what is particular to a field stands in its module."""

BOTH, MIDPOINT, THIRD = "both agreed", "midpoint of two", "settled by the third"
ALONE, BULK = "one reviewer's alone", "accepted in bulk"
WAYS = (BOTH, MIDPOINT, THIRD, ALONE, BULK)
"""The words of "decided_how"."""


class Decided(NamedTuple):
    """Who decided something, and how: a word of WAYS."""

    by: tuple[str, ...]
    how: str

    def __str__(self) -> str:
        return f"{self.how} ({', '.join(self.by)})"


COMPUTED: Mapping[str, tuple[str, str]] = {
    "included": ("truth", "Whether the rule for inclusion takes the row into the analysis"),
    "why_not": ("text", "Every part of the rule that keeps the row out, between '; '"),
}
"""Columns that a rule for inclusion adds at the end."""

KNOWN: Mapping[str, tuple[str, str]] = {**COLUMNS, **COMPUTED}

DTYPES = {"text": "string", "number": "float64", "whole": "Int64", "truth": "boolean"}
_HIDDEN = ("participant",)


def decisions_table(
    states: Iterable[TrialState],
    *,
    reviewer: str,
    cues: Mapping[str, Marker],
    participants: Mapping[str, str | None],
    stops: Mapping[str, int],
    aside: Sequence[tuple[str, str, int, int, tuple[str, ...]]] = (),
    excluded: Sequence[tuple[str, str, str | None, str]] = (),
    decided: Callable[[str, str], Mapping[str, Decided] | None] | None = None,
    blind: bool = False,
    onset_alone: bool = False,
) -> pd.DataFrame:
    """States as a table with the columns of COLUMNS, and after "channel" those of the cues' details (condition …).

    ``cues`` are the recorded cues by trial, ``participants`` by recording, ``stops`` each trial's past-last sample,
    ``aside`` stretches set aside: recording, channel, start and stop samples, reasons. ``decided`` says of a trial and
    channel who decided what, by "mark", "signal", "behaviour" and "cue"; None: all is the reviewer's.
    A detail named like one of our columns is called "cue_<name>". In a blind review details and participant are left
    out. ``onset_alone``: of a burst without an offset ``set_aside`` asks the onset alone, as in versions sealed before
    they had the column "aside_samples".
    """
    rows = []
    states = list(states)
    starts: dict[str, list[int]] = {}
    for state in sorted(states, key=lambda one: one.cue):
        starts.setdefault(state.recording, []).append(state.cue)
    details = [] if blind else sorted({name for cue in cues.values() for name in cue.details})
    renamed = {name: f"cue_{name}" if name in KNOWN else name for name in details}
    for state in states:
        extra = {renamed[name]: cues[state.id].details.get(name) for name in details}
        early, late = _around(state.cue, starts[state.recording])
        late = max(late, stops[state.id])
        for channel in state.channels.values():
            stretches = sorted(
                (start, stop)
                for name, label, start, stop, _ in aside
                if (name, label) == (state.recording, channel.label)
            )
            near = [f"{start} to {stop}" for start, stop in stretches if start < late and early < stop]
            who = _decided(reviewer, channel, decided and decided(state.id, channel.label))
            shown: list[BurstState | None] = [*channel.active]
            if channel.found == "bursts":
                shown += [burst for burst in channel.bursts.values() if burst.origin == "removed"]
            for burst in shown or [None]:
                row = _row(state, channel, burst)
                first, last = _rests_on(state, channel, burst, stops[state.id], onset_alone)
                row["set_aside"] = any(start < last and first < stop for start, stop in stretches)
                row["aside_samples"] = "; ".join(near) or None
                row["participant"] = participants.get(state.recording)
                row["excluded"] = "; ".join(_reasons(row, excluded)) or None
                rows.append({"reviewer": reviewer, **row, **who, **extra})
    names = list(COLUMNS)
    at = names.index("channel") + 1
    names[at:at] = renamed.values()
    table = pd.DataFrame(rows, columns=names)
    table = table.astype({name: DTYPES[COLUMNS[name][0] if name in COLUMNS else "text"] for name in names})
    return table.drop(columns=list(_HIDDEN)) if blind else table


def _decided(reviewer: str, channel: ChannelState, found: Mapping[str, Decided] | None) -> dict[str, str | None]:
    """Who decided a channel-trial, and how, for its rows."""
    if not channel.reviewed:
        return {}
    if found is None:
        found = {"mark": Decided((reviewer,), ALONE)}
    about = "signal" if channel.signal == "unusable" and "signal" in found else "mark"
    if channel.in_bulk and about in found:  # whoever accepted it said nothing more of its signal
        whose = found[about].by
        found = {
            what: one._replace(how=BULK) if what in ("mark", "signal") and one.by == whose else one
            for what, one in found.items()
        }
    main = found.get(about) or next(iter(found.values()), None)
    others = [
        f"{what}: {one}"
        for what, one in found.items()
        if main
        and one != main
        and (one.by, one.how) != (main.by, BOTH)  # that two agreed on the rest goes without saying
    ]
    return {
        "decided_by": "; ".join(main.by) if main else None,
        "decided_how": main.how if main else None,
        "decided_otherwise": "; ".join(others) or None,
    }


def _reasons(row: Mapping[str, Any], excluded: Sequence[tuple[str, str, str | None, str]]) -> Iterator[str]:
    for what, name, channel, reason in excluded:
        if row[what] == name and channel in (None, row["channel"]):
            yield f"{what if channel is None else 'channel'}: {reason}"


def _around(cue: int, cues: Sequence[int]) -> tuple[int, int]:
    """The ones before and after a cue among those of its recording, in order; without one the recording's end."""
    before, after = bisect.bisect_left(cues, cue), bisect.bisect_right(cues, cue)
    return cues[before - 1] if before else 0, cues[after] if after < len(cues) else sys.maxsize


def _rests_on(
    state: TrialState, channel: ChannelState, burst: BurstState | None, stop: int, onset_alone: bool
) -> tuple[int, int]:
    """First and past-last sample that a row rests on: a burst, which without an offset lasts to the next one or to the
    trial's end; where its onset may lie; else all that was searched, since a burst may have lain anywhere in it."""
    if burst is not None:
        later = [other.onset for other in channel.active if other.onset > burst.onset]
        last = burst.onset + 1 if onset_alone else max(min([stop, *later]), burst.onset + 1)
        return burst.onset, last if burst.offset is None else burst.offset
    if channel.earliest is not None and channel.latest is not None:
        return channel.earliest, channel.latest + 1
    return min(state.cue, state.cue if state.corrected_cue is None else state.corrected_cue), stop


def _row(state: TrialState, channel: ChannelState, burst: BurstState | None) -> dict[str, Any]:
    row = {
        "recording": state.recording,
        "trial": state.id,
        "channel": channel.label,
        "rate_hz": state.rate_hz,
        "reviewed": channel.reviewed,
        "in_bulk": channel.in_bulk,
    }
    for field in FIELDS.values():
        row.update(field.cells(state, channel, burst))
    return row


class Said(dict[str, Any]):
    """What ``attrs`` say of a table as a whole, to be read and never written into: pandas copies attributes at every
    step, and a description of hundreds of recordings would make each of them slow; of this the same goes on."""

    def __deepcopy__(self, memo: Any) -> "Said":
        return self


def describe(table: pd.DataFrame) -> dict[str, dict[str, str]]:
    """Type and meaning of every column of a table of decisions."""
    return {
        str(name): {"type": kind, "description": meaning}
        for name in table.columns
        for kind, meaning in [KNOWN.get(str(name), ("text", "From the cue, as recorded"))]
    }
