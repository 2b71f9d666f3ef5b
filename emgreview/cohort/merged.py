"""What two reviews merged come to: the values that stand, the conflicts, and both as tables.

Samples are those of the recording; seconds run from the recorded cue, missing where nothing stands.

    Merge               values, conflicts, what is kept out, heads; as tables
    Merge.settled_values      what stands once a third reviewer settles it
    Merged, Conflict    one field that stands, or that does not
"""

from collections import ChainMap
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import pandas as pd

from emgreview.annotations import fields
from emgreview.annotations import state as states
from emgreview.annotations.fields.field import CHANNEL, TRIAL, Merging
from emgreview.cohort.keeping_out import OUT, KeptOut
from emgreview.cohort.marks import Mark, cue_in, mark_of
from emgreview.cohort.settling import FIELDS, Item, stale
from emgreview.tables import Decided


def rule_of(name: str) -> Merging:
    """What becomes of a field where two reviewers have decided."""
    rule = states.FIELDS[name].merging
    assert rule is not None
    return rule


CHANNEL_FIELDS = tuple(name for name in fields.of(CHANNEL) if states.FIELDS[name].merging)
TRIAL_FIELDS = tuple(name for name in fields.of(TRIAL) if states.FIELDS[name].merging)

DECIDED = tuple(name for name in dict.fromkeys((*CHANNEL_FIELDS, *TRIAL_FIELDS)) if rule_of(name).disputable)
"""The fields that can be in dispute; the others are notes, of which both are kept."""

TRIAL_DECISIONS = tuple(name for name in TRIAL_FIELDS if name in DECIDED)


class _Stands(NamedTuple):
    value: Any
    how: str


class Merged(_Stands):
    """The value of a field that stands, and how it came to; beside the two, who decided it in which way."""

    decided: Decided

    def __new__(cls, value: Any, how: str, decided: Decided) -> "Merged":
        made = super().__new__(cls, value, how)
        made.decided = decided
        return made


class Conflict(NamedTuple):
    """A field on which two reviewers disagree: both values, and why they cannot both stand."""

    item: Item
    field: str
    first: Any
    second: Any
    why: str


@dataclass(frozen=True, eq=False)
class Merge:
    """Two reviews merged; :func:`emgreview.merge_reviews` returns it.

    An item is (recording, trial, channel), the channel None for what is about the trial.

    Attributes
    ----------
    first, second : str
        The two reviewers.
    third : str or None
        The reviewer who settled, if any.
    within_s : float
        Onsets no further apart count as the same.
    rounded : bool
        Whether that was compared in whole samples, as the first version of the package did.
    values : mapping of (item, field) to Merged
        What stands, and how it came to.
    conflicts : tuple of Conflict
        What nobody has settled.
    unsettled : tuple of item
        Those of which the third reviewer said that they cannot be.
    reopened : tuple of item
        Those settled before one of the two decided otherwise.
    kept_out : tuple of KeptOut
        What either keeps out.
    in_bulk : frozenset of item
        Those whose mark nobody has looked at.
    sides : mapping of item to str
        A digest of both decisions of every item that the two dispute, settled or not.
    heads : mapping
        The heads of the logs that were read.
    rates_hz : mapping of str to float
        Sampling rate of each recording.
    participants : mapping of str to str or None
        Whose each recording is.
    notes : tuple of str
        What could not be checked: the scale of a log that kept none; who was withdrawn from
        the review, and which versions and copies of logs were passed over.
    """

    first: str
    second: str
    third: str | None
    within_s: float
    rounded: bool
    values: Mapping[tuple[Item, str], Merged]
    conflicts: tuple[Conflict, ...]
    unsettled: tuple[Item, ...]
    reopened: tuple[Item, ...]
    kept_out: tuple[KeptOut, ...]
    in_bulk: frozenset[Item]
    sides: Mapping[Item, str]
    heads: Mapping[str, Mapping[str, Any]]
    rates_hz: Mapping[str, float]
    participants: Mapping[str, str | None]
    notes: tuple[str, ...] = ()

    @property
    def disputed(self) -> tuple[Item, ...]:
        """The items with a conflict, in order."""
        return tuple(dict.fromkeys(conflict.item for conflict in self.conflicts))

    def mark(self, item: Item) -> Mark:
        """What stands of a channel-trial.

        Parameters
        ----------
        item : (str, str, str)
            Recording, trial and channel.

        Returns
        -------
        Mark
        """
        activity, signal = (self.values.get((item, name)) for name in ("activity", "signal"))
        return mark_of(activity and activity.value, signal and signal.value)

    def settled_values(
        self, own: Mapping[states.Key, Any], counter: Callable[[states.Key], int], after: Mapping[Item, float]
    ) -> Mapping[states.Key, Any]:
        """The values that stand where a third reviewer settles this merge of two.

        From the strongest: what the two agree on, or one alone decided; what the third decided,
        unless a dispute is open again; comments, discussion, the signal that both gave alike
        where they dispute the mark, and what is kept out, of which the third may say otherwise.
        Comments on what is in dispute, which could tell whose decision is whose, come back with
        the third's decision.

        Parameters
        ----------
        own : mapping
            The third's values.
        counter : callable
            The number of the command that set one of them.
        after : mapping
            As of :func:`since`.

        Returns
        -------
        mapping
        """
        firm, soft, comments = self._layers
        gone = {key: soft.get(key) for key in stale(counter, after)}
        told = {
            states.Key(*item, "comment"): comment
            for item, comment in comments.items()
            if any(key not in gone and _says(key, own.get(key)) for key in (states.Key(*item, name) for name in FIELDS))
        }
        return ChainMap(firm, gone, own, soft, told)  # type: ignore[arg-type]

    @cached_property
    def _layers(self) -> tuple[dict[states.Key, Any], dict[states.Key, Any], dict[Item, str]]:
        firm: dict[states.Key, Any] = {}
        comments: dict[Item, str] = {}
        soft: dict[states.Key, Any] = {entry.key: entry.unnamed for entry in self.kept_out}
        disputed = set(self.disputed)
        for (item, name), merged in self.values.items():
            if name == "comment" and item in disputed:
                comments[item] = merged.value
            elif name in DECIDED and not (name == "signal" and item in disputed):
                firm[states.Key(*item, name)] = merged.value
            elif name != "discuss" or item not in disputed:
                soft[states.Key(*item, name)] = merged.value
        return firm, soft, comments

    @property
    def disputes(self) -> pd.DataFrame:
        """One row a conflict, with the words of both; onsets and cues in samples, so that nothing is
        rounded.
        """
        sides = [f"said_by_{who}" for who in (self.first, self.second)]
        marks = ["cannot_be_settled", "reopened"]
        names = ["recording", "trial", "channel", "field", "why", *sides, *marks]
        rows = []
        for clash in self.conflicts:
            said = (_said(clash.field, value) for value in (clash.first, clash.second))
            rows.append(
                [*clash.item, clash.field, clash.why, *said, clash.item in self.unsettled, clash.item in self.reopened]
            )
        return pd.DataFrame(rows, columns=names)

    @property
    def left_out(self) -> pd.DataFrame:
        """One row for everything that either keeps out of every analysis, or set aside: what, where
        (samples of the recording), why, and who says so.
        """
        names = [
            "what",
            "participant",
            "recording",
            "trial",
            "channel",
            "start_sample",
            "stop_sample",
            "why",
            "said_by",
        ]
        rows = []
        for (recording, trial, channel, what, participant), value, by in self.kept_out:
            if what in OUT:
                span, why = (None, None), value
            elif what == "set aside":
                span, why, participant = (value.start, value.stop), "; ".join(value.reasons), None
            else:
                continue
            rows.append([what, participant, recording, trial, channel, *span, why, ", ".join(by)])
        return pd.DataFrame(rows, columns=names).astype({"start_sample": "Int64", "stop_sample": "Int64"})

    @property
    def table(self) -> pd.DataFrame:
        """One row a channel-trial: what stands, how it came to, and what is in conflict.

        Seconds from the recorded cue; missing where nothing stands.
        """
        disputes: dict[Item, list[str]] = {}
        for conflict in self.conflicts:
            disputes.setdefault(conflict.item, []).append(f"{conflict.field}: {conflict.why}")
        items = sorted({item for item, _ in self.values if item[2]} | {item for item in disputes if item[2]})
        rows = []
        for item in items:
            mark, cue = self.mark(item), cue_in(item[1])
            onset_s = None if mark.onset is None or cue is None else (mark.onset - cue) / self.rates_hz[item[0]]
            ways = [self.values[item, name].how for name in ("signal", "activity") if (item, name) in self.values]
            rows.append(
                {
                    **dict(zip(("recording", "trial", "channel"), item, strict=True)),
                    "signal": mark.signal,
                    "state": mark.state,
                    "onset_s": onset_s,
                    "onset_sample": mark.onset,
                    "offset_sample": mark.offset,
                    "earliest_sample": mark.earliest,
                    "latest_sample": mark.latest,
                    "in_bulk": item in self.in_bulk,
                    "how": "; ".join(dict.fromkeys(ways)),
                    "conflict": "; ".join(disputes.get(item, [])),
                    "cannot_be_settled": item in self.unsettled,
                }
            )
        names = list(rows[0]) if rows else ["recording", "trial", "channel"]
        whole = {name: "Int64" for name in names if name.endswith("_sample")}
        return pd.DataFrame(rows, columns=names).astype({**whole, **({"onset_s": "float64"} if rows else {})})


def _says(key: states.Key, value: Any) -> bool:
    """Whether a value is more than a default or what a method proposes."""
    return value not in (None, states.DEFAULTS.get(key[3])) and not (key[3] == "activity" and states.untouched(value))


def _said(field: str, value: Any) -> str:
    """One side of a conflict in words."""
    if field == "signal":
        return ": ".join(filter(None, [value.state, "; ".join(value.reasons)]))
    if field != "activity":
        return str(value)
    mark = mark_of(value, None)
    if mark.earliest is not None:
        return f"{mark.state}: {mark.earliest} to {mark.latest}"
    return f"{mark.state}: {mark.onset}" if mark.onset is not None else mark.state
