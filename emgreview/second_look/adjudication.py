"""Settling what two reviewers disagree on: a third reviewer's session that holds nothing else.

The two decisions come as candidates "A" and "B", without names, in an order drawn anew for every item; the automatic
mark is hidden, because it would tell who had accepted it. Each item is settled by one of them, by both (then what lies
between stands), by a decision of the third reviewer's own through the ordinary commands, or not at all. The third log
names the base and the heads of both others; whose decision stood is in its reasons, which the screen does not show.

What either of the two keeps out of every analysis, or set aside, is kept out here too, unnamed; the third reviewer may
readmit, or say that a cue stands, where one of the two alone keeps it out. A dispute that was settled is open again
where one of the two has decided otherwise since.

    adjudicate      open such a session: Adjudication
    reopen          open a review as its logs say: an adjudication, or an ordinary session
    Adjudication    a Session with disputes and settle
    Dispute         one item: what it is about, and its two candidates; see ``disputes``

Somewhat more than 400 lines: the session with disputes is one object.
"""

import hashlib
import warnings
from collections import ChainMap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from emgreview.annotations import state as states
from emgreview.annotations.events import check_reviewer, check_text
from emgreview.annotations.telling import scales_not_kept
from emgreview.cohort.drawing import new_seed, refuse_seed
from emgreview.cohort.keeping_out import keepers
from emgreview.cohort.marks import Logs, check_reviewed, read_logs
from emgreview.cohort.merged import Conflict, Merge, rule_of
from emgreview.cohort.merging import check_within, decided, merge
from emgreview.cohort.settling import ADJUDICATE, Item, since, stale
from emgreview.errors import DecisionError, ParameterError, SignalWarning, UnknownNameError
from emgreview.model import Trials
from emgreview.second_look.disputes import CHOICES, LETTERS, Candidate, Dispute, began_with, unnamed
from emgreview.session import Ids, Session, one_at_a_time, open_review
from emgreview.tables.decisions import THIRD, Decided

_ROW = (
    ("mark", True, "activity"),
    ("signal", True, "signal"),
    ("behaviour", False, "behaviour"),
    ("cue", False, "cue"),
)
"""What a row of a table of decisions tells who decided: in its words, whether of the channel, and the field."""


def adjudicate(
    trials: Trials | Sequence[Trials],
    folder: str | Path,
    first: str,
    second: str,
    *,
    reviewer: str,
    within_ms: float = 10.0,
    blind: bool = True,
    **options: Any,
) -> "Adjudication":
    """Open a session of a third reviewer about what two others disagree on, or continue it.

    ``trials`` as both reviewed them; ``within_ms``: onsets no further apart count as the same; other options as for
    :func:`emgreview.open_review`. The order of the candidates is drawn, by a seed that is logged and that nobody may
    give: with one of one's own the two could be told apart.

    Raises DecisionError where they disagree on nothing, ParameterError where two of the three reviewers are the same, a
    disputed trial is not among ``trials``, or a seed came, UnknownNameError where a reviewer has no log, LogError where
    a recording is not the one that the two reviewed, or comes in another scale, and what open_review raises.
    """
    if "seed" in options:
        refuse_seed({"seed": options["seed"]}, "the order of the candidates is drawn anew for every adjudication")
    if len({first, second, check_reviewer(reviewer)}) < 3:
        raise ParameterError(f"reviewers {first!r}, {second!r} and {reviewer!r} came; give three that differ.")
    one, two = read_logs(folder, first), read_logs(folder, second)
    rounded, began_s = began_with(folder, reviewer)
    within_s = began_s if began_s is not None and within_ms == 1000 * began_s else check_within(within_ms) / 1000
    merged = merge(one, two, within_s=within_s, rounded=rounded)
    if not merged.conflicts:
        raise DecisionError(
            f"{first!r} and {second!r} disagree on nothing by these rules (onsets within {within_ms:g} ms count as "
            "the same), so there is nothing to settle."
        )
    parts = (trials,) if isinstance(trials, Trials) else tuple(trials)
    for part in parts:
        check_reviewed(one, part.recording)
        check_reviewed(two, part.recording)
    known = {trial for part in parts for trial in part.ids}
    if lost := sorted({conflict.item[1] for conflict in merged.conflicts} - known):
        raise ParameterError(
            f"{len(lost)} disputed trials, {lost[0]!r} the first, are not among the trials that came; give "
            "all that the two reviewed."
        )
    options = {"order": "random", "blind": blind, **options}
    session = Adjudication(parts, Path(folder), one, two, merged, reviewer=reviewer, **options)
    session.tell_notices()
    return session


def reopen(trials: Trials | Sequence[Trials], folder: str | Path, *, reviewer: str, **options: Any) -> Session:
    """Open a review again as its logs say: as an :class:`Adjudication` between the same reviewers, or an ordinary one.
    Options as for :func:`emgreview.open_review`; notices are not told. Raises UnknownNameError without a log."""
    note = read_logs(folder, reviewer).note(ADJUDICATE)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SignalWarning)
        if note is None:
            return open_review(trials, folder, reviewer=reviewer, **options)
        first, second = (note.new[who]["reviewer"] for who in ("first", "second"))
        options["within_ms"] = 1000 * note.new["within_s"]
        return adjudicate(trials, folder, first, second, reviewer=reviewer, **options)


@one_at_a_time
class Adjudication(Session):
    """A :class:`Session` about disputes alone; see :func:`adjudicate`. Front ends need three things more: ``disputes``,
    ``settle`` (also as a command of ``apply``), and no automatic mark where ``hides_automatic`` says so."""

    def __init__(
        self,
        trials: tuple[Trials, ...],
        folder: Path,
        one: Logs,
        two: Logs,
        merged: Merge,
        **options: Any,
    ):
        self._one, self._two, self._merged = one, two, merged
        self._since: dict[Item, float] = {}
        self._stood: tuple[int, Mapping[states.Key, Any]] | None = None
        self._kept = {entry.key: entry.unnamed for entry in merged.kept_out}
        self._conflicts: dict[Item, list[Conflict]] = {}
        for conflict in merged.conflicts:
            self._conflicts.setdefault(conflict.item, []).append(conflict)
        self._items: dict[str, list[Item]] = {}
        for item in self._conflicts:
            self._items.setdefault(item[1], []).append(item)
        super().__init__(trials, folder, **options)
        try:
            self._seed = self._begin()
            self._stood = None
            self._since = {item: after for item, after in since(self.notes, merged.sides).items() if after}
            self.keep_to({trial: [item[2] for item in items if item[2]] for trial, items in self._items.items()})
        except BaseException:
            self.close()
            raise

    # What is in dispute ------------------------------------------------------------------------------------------

    def disputes(self, trial: str | None = None) -> tuple[Dispute, ...]:
        """The disputes of a trial, or all of them in the order of the queue."""
        if trial is not None:
            self._proposals.place(trial)
        trials = self.queue if trial is None else (trial,)
        return tuple(self._dispute(item) for one in trials for item in self._items.get(one, ()))

    def settle(self, trial: str, channel: str | None, choice: str, reason: str | None = None) -> Ids:
        """Settle a dispute by one of CHOICES; the third reviewer's own decision comes by the ordinary commands instead.

        "both acceptable": the midpoint of the two stands where they differ in time, and the more careful state of the
        signal; where they differ in kind nothing lies between, and a DecisionError says so. "cannot be settled":
        nothing stands, and the item is put on the list to discuss.
        """
        item = self._item(trial, channel)
        if choice not in CHOICES:
            raise UnknownNameError("choice", choice, CHOICES)
        said = f"; {check_text(reason)}" if reason else ""
        if choice == "cannot be settled":
            return self._record(
                choice, trial, channel, "discuss", self._value(trial, channel, "discuss"), True, reason=reason
            )
        if choice == "both acceptable":
            words = f"both acceptable: what lies between {self._one.reviewer} and {self._two.reviewer} stands"
            values = self._between(item)
        else:
            chosen = self._behind(item)[LETTERS.index(choice)]
            words = f"{choice}, the decision of {chosen.reviewer}, stands"
            values = self._values(chosen, item)
        if channel is not None:
            return self._many("settle", trial, {channel: values}, words + said)
        ids: Ids = ()
        for field, value in values.items():
            ids += self._record(
                "settle", trial, None, field, self._value(trial, None, field), value, reason=words + said
            )
        return ids[:1]

    # What a session gives, narrowed to the disputes --------------------------------------------------------------

    def apply(self, command: str, trial: str | None = None, channel: str | None = None, **arguments: Any) -> Ids:
        """As :meth:`Session.apply`, with the command "settle" (``choice``, ``reason``) besides."""
        if command == "settle" and trial is not None:
            return self.settle(trial, channel, **arguments)
        return super().apply(command, trial, channel, **arguments)

    def no_cue(self, trial: str, reason: str | None) -> Ids:
        """As :meth:`Session.no_cue`; where both reviewers say that the cue is none, that stands."""
        if reason is None:
            self._refuse_agreed(states.Key(self._proposals.place(trial).recording.name, trial, None, "no cue"))
        return super().no_cue(trial, reason)

    @property
    def notices(self) -> Ids:
        """Those of the session, and that a scale was not kept by one of the two."""
        both = self._one, self._two
        lacking = [
            name
            for name in self._proposals.recordings
            if any(name in logs.fingerprints and name not in logs.scales for logs in both)
        ]
        told = [f"Of the two reviewers: {scales_not_kept(lacking, '')}"] if lacking else []
        return (*super().notices, *told)

    @property
    def bulk_sentences(self) -> Ids:
        """Those of all three reviewers."""
        notes = [*self._one.notes, *self._two.notes]
        others = tuple(note.new["sentence"] for note in notes if note.operation == states.ACCEPTANCE)
        return (*others, *super().bulk_sentences)

    @property
    def progress(self) -> tuple[int, int, int, int]:
        """Disputes settled, disputes, trials whose disputes are all settled, trials."""
        open_ = {trial: [self._how(item) for item in items] for trial, items in self._items.items()}
        done = [sum(map(bool, ways)) for ways in open_.values()]
        return sum(done), len(self._conflicts), sum(all(ways) for ways in open_.values()), len(open_)

    @property
    def counted(self) -> str:
        return "disputes settled"

    @property
    def progress_words(self) -> str:
        return f"{self.progress[0]} of {self.progress[1]} {self.counted}"

    def open_channels(self, trial: str) -> tuple[str, ...]:
        """The channels of a trial whose dispute is not yet settled."""
        return tuple(item[2] for item in self._items.get(trial, ()) if item[2] and not self._how(item))

    def next_unreviewed(self, after: str | None = None) -> str | None:
        """The next trial in the queue with an open dispute, starting after one and going round; or None."""
        start = 0 if after is None else self._rank.get(after, -1) + 1
        around = self.queue[start:] + self.queue[:start]
        return next(
            (trial for trial in around if not all(self._how(item) for item in self._items.get(trial, ()))), None
        )

    def _resume(self) -> str:
        return self.next_unreviewed() or super()._resume()

    def hides_automatic(self, trial: str, channel: str | None = None) -> bool:
        labels = self._proposals.place(trial, channel).labels if channel is None else (channel,)
        disputed = any((trial, label) in self._disputed for label in labels)
        return disputed or super().hides_automatic(trial, channel)

    @property
    def _disputed(self) -> frozenset[tuple[str, str | None]]:
        return frozenset((item[1], item[2]) for item in self._conflicts)

    # Inside ------------------------------------------------------------------------------------------------------

    def _begin(self) -> str:
        """Name base and heads in the log, once and whenever they have changed; the seed is the first one's for ever."""
        last = next((note for note in reversed(self.notes) if note.operation == ADJUDICATE), None)
        plan = {
            "seed": last.new["seed"] if last else new_seed(),
            "within_s": self._merged.within_s,
            **({} if self._merged.rounded else {"rounded": False}),
            "first": {"reviewer": self._one.reviewer, "heads": self._one.heads},
            "second": {"reviewer": self._two.reviewer, "heads": self._two.heads},
            "base": {
                name: {"fingerprint": one.fingerprint.samples, **self._book.method(name)}
                for name, one in self._proposals.recordings.items()
            },
            "disputes": [list(item) for item in self._conflicts],
            "sides": [self._merged.sides[item] for item in self._conflicts],
        }
        if not self.read_only and (last is None or dict(last.new) != plan):
            self.note(ADJUDICATE, plan)
        return str(plan["seed"])

    def _item(self, trial: str, channel: str | None) -> Item:
        recording = self._proposals.place(trial, channel).recording.name
        if (item := (recording, trial, channel)) in self._conflicts:
            return item
        raise DecisionError(
            f"the two reviewers do not disagree on {channel or 'this trial as a whole'} in trial {trial!r}; only "
            "disputes are settled here."
        )

    def _behind(self, item: Item) -> tuple[Logs, Logs]:
        """Whose decisions are A and B."""
        drawn = hashlib.sha256(f"{self._seed}/{item!r}".encode()).digest()[0] % 2
        return (self._two, self._one) if drawn else (self._one, self._two)

    def _values(self, logs: Logs, item: Item) -> dict[str, Any]:
        """What one reviewer decided about an item."""
        fields = ("signal", "activity") if item[2] else tuple(conflict.field for conflict in self._conflicts[item])
        values = {field: decided(logs, item, field) for field in fields}
        return {field: value for field, value in values.items() if value is not None}

    def _between(self, item: Item) -> dict[str, Any]:
        one, two = self._values(self._one, item), self._values(self._two, item)
        values = {**two, **one}
        for field in values.keys() & one.keys() & two.keys():
            if one[field] == two[field]:
                continue
            values[field] = rule_of(field).join(one[field], two[field])
        return values

    def _dispute(self, item: Item) -> Dispute:
        _, trial, channel = item
        conflicts = self._conflicts[item]
        a, b = (self._candidate(letter, logs, item) for letter, logs in zip(LETTERS, self._behind(item), strict=True))
        settled = self._how(item)
        why = [f"{conflict.field}: {conflict.why}" for conflict in conflicts]
        if keepers(self._merged.kept_out, item, self._merged.participants.get(item[0])):
            why.append("one of the two keeps it out")
        if not settled and stale(self._ledger.counter, {item: self._since.get(item, 0)}):
            why.append("settled before, but one of the two has decided otherwise since")
        return Dispute(trial, channel, tuple(conflict.field for conflict in conflicts), "; ".join(why), (a, b), settled)

    def _candidate(self, letter: str, logs: Logs, item: Item) -> Candidate:
        _, trial, channel = item
        place, values = self._proposals.place(trial), self._values(logs, item)
        if channel is None:
            cue = values.get("cue")
            cue_s = None if cue is None else (cue - place.cue) / place.rate_hz
            return Candidate(letter, behaviour=values.get("behaviour"), cue_s=cue_s)
        activity = unnamed(values.get("activity") or states.proposal(None))
        signal = values.get("signal") or states.USABLE
        shown = states.channel_state(channel, signal, activity, None, False, place.cue, place.rate_hz)
        return Candidate(letter, channel=shown)

    def _how(self, item: Item) -> str:
        """How an item was settled, "" where it is open."""
        _, trial, channel = item
        if channel is None:
            done = all(self._value(trial, None, conflict.field) is not None for conflict in self._conflicts[item])
        else:
            done = states.reviewed(self._activity(trial, channel), self._value(trial, channel, "signal"))
        return "settled" if done else "cannot be settled" if self._value(trial, channel, "discuss") else ""

    def _current(self, key: states.Key) -> Any:
        """What stands in the end, see :meth:`Merge.standing`; made anew after every command."""
        if self._stood is None or self._stood[0] != self._book.next_counter:
            standing = self._merged.standing(self._ledger.values, self._ledger.counter, self._since)
            self._stood = self._book.next_counter, standing
        return self._stood[1].get(key)

    @property
    def _rare(self) -> Mapping[states.Key, Any]:
        return ChainMap(self._ledger.rare, self._kept)

    def _in_bulk(self, trial: str, channel: str | None) -> bool:
        item = (self._proposals.place(trial, channel).recording.name, trial, channel)
        return item in self._merged.in_bulk or super()._in_bulk(trial, channel)

    def _decided_by(self, trial: str, channel: str) -> Mapping[str, Decided]:
        recording = self._proposals.place(trial, channel).recording.name
        found: dict[str, Decided] = {}
        for what, label, field in _ROW:
            item = (recording, trial, channel if label else None)
            own = self._decided_here(states.Key(*item, field)) if item in self._conflicts else None
            merged = self._merged.values.get((item, field))
            if own is not None and (merged is None or (field == "signal" and own != merged.value)):
                found[what] = Decided((self.reviewer,), THIRD)
            elif merged is not None and not (item in self._conflicts and merged.value == states.USABLE):
                found[what] = merged.decided
        return found

    def _decided_here(self, key: states.Key) -> Any:
        """What the third reviewer decided, None where nothing, or where it holds no longer."""
        item = (str(key.recording), str(key.trial), key.channel)
        gone = stale(self._ledger.counter, {item: self._since.get(item, 0)})
        return None if key in gone else self._ledger.value(key)

    def _exclude(self, operation: str, new: str | None, *what: Any) -> Ids:
        """As in a session, but that what both reviewers keep out cannot be readmitted."""
        if new is None:
            participant, recording, channel, *_ = what
            key = states.Key(None, None, None, states.OF_PARTICIPANT, participant)
            self._refuse_agreed(states.Key(recording, None, channel, "excluded") if recording else key)
        return super()._exclude(operation, new, *what)

    def _refuse_agreed(self, key: states.Key) -> None:
        if any(entry.key == key and len(entry.by) == 2 for entry in self._merged.kept_out):
            raise DecisionError(
                "both reviewers keep this out; only what one of them alone keeps out can be taken back."
            )

    def _record(
        self, operation: str, trial: str, channel: str | None, field: str, old: Any, new: Any, **more: Any
    ) -> Ids:
        about = new if field == "channels" else [channel]
        if field in ("signal", "activity", "channels", "behaviour", "cue"):
            for label in about:
                item = self._item(trial, label)
                if label is None and field not in (open_ := [conflict.field for conflict in self._conflicts[item]]):
                    raise DecisionError(
                        f"the two reviewers do not disagree on the {field} of trial {trial!r}, only on the "
                        f"{' and the '.join(open_)}; only disputes are settled here."
                    )
        return super()._record(operation, trial, channel, field, old, new, **more)
