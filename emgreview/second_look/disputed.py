"""What a session is about in which a third reviewer settles disputes, and nothing else: its policy.

DisputesAlone   what is in dispute, what is hidden, what may be decided, what stands
"""

from collections import ChainMap
from collections.abc import Mapping, Sequence
from typing import Any

from emgreview.annotations import state as states
from emgreview.annotations.ledger import Key, Ledger
from emgreview.annotations.telling import scales_not_kept
from emgreview.cohort.marks import Logs
from emgreview.cohort.merged import CHANNEL_FIELDS, DECIDED, Conflict, Merge, rule_of
from emgreview.cohort.settling import Item, stale
from emgreview.errors import DecisionError
from emgreview.session import Policy
from emgreview.tables.decisions import THIRD, Decided


class DisputesAlone(Policy):
    """``conflicts`` holds what two reviewers dispute, by item, ``items`` the items by trial, ``channels`` the channels
    that are in dispute, by trial. The automatic mark of these is hidden: it would tell who had accepted it."""

    counted = "disputes settled"
    resumes_at_first_open = True
    others_decided = True

    def __init__(self, one: Logs, two: Logs, merged: Merge):
        self._both, self._merged = (one, two), merged
        self._since: dict[Item, float] = {}
        self._stood: tuple[int, Mapping[Key, Any]] | None = None
        self._kept = {entry.key: entry.unnamed for entry in merged.kept_out}
        self.conflicts: dict[Item, list[Conflict]] = {}
        for conflict in merged.conflicts:
            self.conflicts.setdefault(conflict.item, []).append(conflict)
        self.items: dict[str, list[Item]] = {}
        for item in self.conflicts:
            self.items.setdefault(item[1], []).append(item)
        self.channels = {trial: [item[2] for item in items if item[2]] for trial, items in self.items.items()}

    def hold_since(self, since: Mapping[Item, float]) -> None:
        """From which command on what was settled holds, see :func:`emgreview.cohort.settling.since`."""
        self._since = {item: after for item, after in since.items() if after}
        self._stood = None

    def item(self, trial: str, channel: str | None) -> Item:
        """The item in dispute; DecisionError where none is."""
        recording = self.session.place(trial, channel).recording.name
        if (item := (recording, trial, channel)) in self.conflicts:
            return item
        raise DecisionError(
            f"the two reviewers do not disagree on {channel or 'this trial as a whole'} in trial {trial!r}; only "
            "disputes are settled here."
        )

    def fields(self, item: Item) -> tuple[str, ...]:
        """The fields in dispute of an item."""
        return tuple(conflict.field for conflict in self.conflicts[item])

    def how(self, item: Item) -> str:
        """How an item was settled, "" where it is open."""
        _, trial, channel = item
        session = self.session
        if channel is None:
            done = all(session.value(trial, None, field) is not None for field in self.fields(item))
        else:
            done = states.reviewed(session.activity(trial, channel), session.value(trial, channel, "signal"))
        return "settled" if done else "cannot be settled" if session.value(trial, channel, "discuss") else ""

    def was_settled_before(self, item: Item) -> bool:
        """Whether what was settled of an item no longer holds."""
        return bool(stale(self.session.counter, {item: self._since.get(item, 0)}))

    # What a session asks -----------------------------------------------------------------------------------------

    def hides(self, trial: str, channel: str) -> bool:
        return any(item[2] == channel for item in self.items.get(trial, ()))

    def demand(self, trial: str, channel: str | None, field: str) -> None:
        if field not in (*DECIDED, "channels"):
            return
        open_ = self.fields(self.item(trial, channel))
        if channel is None and field not in open_:
            raise DecisionError(
                f"the two reviewers do not disagree on the {field} of trial {trial!r}, only on the "
                f"{' and the '.join(open_)}; only disputes are settled here."
            )

    def demand_back(self, key: Key) -> None:
        if any(entry.key == key and len(entry.by) == 2 for entry in self._merged.kept_out):
            raise DecisionError(
                "both reviewers keep this out; only what one of them alone keeps out can be taken back."
            )

    def current(self, ledger: Ledger, key: Key) -> Any:
        """What stands in the end, see :meth:`Merge.settled_values`; made anew after every command."""
        now = self.session.next_counter
        if self._stood is None or self._stood[0] != now:
            self._stood = now, self._merged.settled_values(ledger.values, ledger.counter, self._since)
        return self._stood[1].get(key)

    def rare(self, ledger: Ledger) -> Mapping[Key, Any]:
        return ChainMap(ledger.rare, self._kept)

    def in_bulk(self, key: Key) -> bool:
        return (key.recording, key.trial, key.channel) in self._merged.in_bulk

    def decided_by(self, trial: str, channel: str) -> Mapping[str, Decided]:
        recording = self.session.place(trial, channel).recording.name
        found: dict[str, Decided] = {}
        for field in sorted(DECIDED, key=lambda name: name != "activity"):  # the mark comes first
            item = (recording, trial, channel if field in CHANNEL_FIELDS else None)
            own = self._decided_here(Key(*item, field)) if item in self.conflicts else None
            merged = self._merged.values.get((item, field))
            if own is not None and (merged is None or (field == "signal" and own != merged.value)):
                found[rule_of(field).row] = Decided((self.session.reviewer,), THIRD)
            elif merged is not None and not (item in self.conflicts and merged.value == states.USABLE):
                found[rule_of(field).row] = merged.decided
        return found

    def left(self, trial: str) -> tuple[int, int]:
        items: Sequence[Item] = self.items.get(trial, ())
        return sum(not self.how(item) for item in items), len(items)

    def open_channels(self, trial: str) -> tuple[str, ...]:
        return tuple(item[2] for item in self.items.get(trial, ()) if item[2] and not self.how(item))

    @property
    def notices(self) -> tuple[str, ...]:
        """That a scale was not kept by one of the two."""
        lacking = [
            name
            for name in dict.fromkeys(part.recording.name for part in self.session.trials)
            if any(name in logs.fingerprints and name not in logs.scales for logs in self._both)
        ]
        return (f"Of the two reviewers: {scales_not_kept(lacking, '')}",) if lacking else ()

    @property
    def bulk_sentences(self) -> tuple[str, ...]:
        """Those of both reviewers."""
        notes = [note for logs in self._both for note in logs.notes]
        return tuple(note.new["sentence"] for note in notes if note.operation == states.ACCEPTANCE)

    def _decided_here(self, key: Key) -> Any:
        """What the third reviewer decided, None where nothing, or where it holds no longer."""
        item = (str(key.recording), str(key.trial), key.channel)
        gone = stale(self.session.counter, {item: self._since.get(item, 0)})
        return None if key in gone else self.session.own_value(key)
