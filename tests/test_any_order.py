"""Any commands in any order: decided, taken back, opened again, crashed, sealed, by another method, merged."""

import contextlib
import dataclasses
import tempfile
from collections import Counter
from functools import partial
from pathlib import Path
from typing import ClassVar

import pandas as pd
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test
from scripted_reviews import CHECK, Unflushed, detect, log_lines, make_trials, start, whole

from emgreview.annotations import verify
from emgreview.annotations.state import DEFAULTS, untouched
from emgreview.cohort.keeping_out import OUT, keepers
from emgreview.cohort.marks import read_logs
from emgreview.cohort.merging import merge
from emgreview.errors import DecisionError, UnknownNameError
from emgreview.tables import read_version, to_tsv


class ReviewMachine(RuleBasedStateMachine):
    """Anything in any order, on two recordings of one participant, beside a second reviewer: the state is the replay of
    the logs, undo leads back through every state, what was sealed never changes, and merging loses nothing."""

    trial = st.sampled_from(["rec_given_1000", "rec_given_3000", "rec_given_7000", "two_given_1000", "two_given_3000"])
    recording = st.sampled_from(["rec", "two"])
    label = st.sampled_from(["FDI", "APB"])
    time = st.sampled_from([-0.1, 0.05, 0.2, 0.3, 0.6])
    counts: ClassVar[Counter] = Counter()

    def __init__(self):
        super().__init__()
        self.place = tempfile.TemporaryDirectory()
        self.trials = [make_trials(sub="7"), make_trials("two", n=2, seed=2, sub="7")]
        self.onset_s = 0.2
        self.session = self.open()
        self.other = self.open("r2")
        self.fresh = to_tsv(self.session.decisions())
        self.past, self.future, self.sealed = [], [], {}

    @property
    def folder(self):
        return Path(self.place.name)

    def open(self, reviewer="r1"):
        found = partial(detect, onset_s=self.onset_s)
        return start(self.folder, self.trials, reviewer=reviewer, files=Unflushed(), detect=found)

    def decided(self):
        """Everything that a person has decided, and nothing that a method proposes."""
        values = self.session._ledger.values.items()
        stands = {key: value for key, value in values if value is not None and value != DEFAULTS.get(key[3])}
        return {key: value for key, value in stands.items() if key[3] != "activity" or not untouched(value)}

    def teardown(self):
        while self.session.undo():
            pass
        assert self.decided() == {}
        self.reopen_with(0.2)
        assert to_tsv(self.session.decisions()) == self.fresh, "undoing everything leads back to the first digest"
        self.session.close()
        self.other.close()
        for line in log_lines(self.folder):
            CHECK.validate(line)
        found = verify(self.folder)
        assert found.ok, found.problems
        for name, (sealed, table) in self.sealed.items():
            pd.testing.assert_frame_equal(read_version(self.folder, name, expect=sealed.sha256), table)
        self.place.cleanup()

    def do(self, command, *arguments, **named):
        before, shown = self.decided(), whole(self.session)
        try:
            changed = getattr(self.session, command)(*arguments, **named)
        except (DecisionError, UnknownNameError):
            changed = ()
        self.counts["decisions" if changed else "without change"] += 1
        if changed:
            self.past.append(before)
            self.future.clear()
        else:
            assert whole(self.session) == shown

    @rule(
        trial=trial, label=label, command=st.sampled_from(["accept", "none_visible", "remove", "copy_to_all", "usable"])
    )
    def plain(self, command, trial, label):
        self.do(command, trial, label)

    @rule(trial=trial, label=label, onset=time, offset=st.none() | time)
    def mark(self, trial, label, onset, offset):
        self.do("add", trial, label, onset_s=onset, offset_s=offset)

    @rule(trial=trial, label=label, onset=time, offset=st.none() | time, burst=st.none() | st.just("response"))
    def move(self, trial, label, onset, offset, burst):
        self.do("move", trial, label, onset_s=onset, offset_s=offset, burst=burst)

    @rule(trial=trial, label=label, half_ms=st.sampled_from([None, 4, 0.1]), burst=st.none() | st.just("response"))
    def half_width(self, trial, label, half_ms, burst):
        self.do("half_width", trial, label, half_ms, burst=burst)

    @rule(trial=trial, label=label, earliest=time, latest=time)
    def vague(self, trial, label, earliest, latest):
        self.do("not_locatable", trial, label, earliest_s=earliest, latest_s=latest)

    @rule(trial=trial, label=label, reason=st.sampled_from(["clipped", "mains hum"]))
    def unusable(self, trial, label, reason):
        self.do("unusable", trial, label, [reason])

    @rule(trial=trial)
    def rest(self, trial):
        self.do("accept_rest", trial)

    @rule(trial=trial, text=st.sampled_from(["", "odd", "=1"]), label=st.none() | label)
    def comment(self, trial, text, label):
        self.do("comment", trial, text, label)

    @rule(trial=trial, time_s=st.none() | time)
    def cue(self, trial, time_s):
        self.do("correct_cue", trial, time_s)

    @rule(trial=trial, reason=st.sampled_from([None, "double"]))
    def no_cue(self, trial, reason):
        self.do("no_cue", trial, reason)

    @rule(recording=recording, start=st.sampled_from([0.5, 1.0]), label=label)
    def aside(self, recording, start, label):
        self.do("set_aside", recording, label, start, start + 1, reasons=["clipped"])

    @rule(what=st.sampled_from([{"participant": "7"}, {"recording": "two"}, {"recording": "rec", "channel": "APB"}]))
    def exclude(self, what):
        self.do("exclude", "left early", **what)

    @rule(what=st.sampled_from([{"participant": "7"}, {"recording": "two"}]))
    def readmit(self, what):
        self.do("readmit", **what)

    @precondition(lambda self: self.past)
    @rule()
    def undo(self):
        self.counts["undone"] += 1
        self.future.append(self.decided())
        assert self.session.undo()
        assert self.decided() == self.past.pop()

    @precondition(lambda self: self.future)
    @rule()
    def redo(self):
        self.counts["done again"] += 1
        self.past.append(self.decided())
        assert self.session.redo()
        assert self.decided() == self.future.pop()

    @rule()
    def reopen(self):
        self.counts["reopened"] += 1
        before, next_ = whole(self.session), self.session.where
        self.session.close()
        self.session = self.open()
        assert whole(self.session) == before
        assert self.session.where in (next_, self.session.next_unreviewed(next_))

    @rule(onset_s=st.sampled_from([0.2, 0.21]))
    def reopen_with(self, onset_s):
        self.counts["other parameters"] += 1
        before = self.decided()
        self.session.close()
        self.onset_s = onset_s
        self.session = self.open()
        assert self.decided() == before, "another method changes nothing that was decided"

    @rule(onset_s=st.sampled_from([0.2, 0.21, 0.25]))
    def change_method(self, onset_s):
        self.counts["methods changed"] += 1
        before = self.decided()
        self.session.change_method("ramp", onset_s=onset_s)
        self.onset_s = onset_s
        assert self.decided() == before
        assert self.session.automatic("rec_given_1000", "FDI").onset_s == pytest.approx(onset_s)

    @rule(recording=recording, fragment=st.sampled_from([b"{", b'{"blind":false,"counter"', b"\x00" * 9]))
    def crash(self, recording, fragment):
        self.counts["crashes"] += 1
        before = whole(self.session)
        (path,) = (self.folder / "logs").rglob(f"{recording}_reviewer-r1.jsonl")
        with path.open("ab") as stream:
            stream.write(fragment)
        self.session = self.open()
        assert self.session.notices
        assert whole(self.session) == before

    @rule(trial=trial, label=label, command=st.sampled_from(["accept", "none_visible", "remove", "undo", "no_cue"]))
    def second_reviewer(self, trial, label, command):
        self.counts["of a second reviewer"] += 1
        arguments = {"undo": (), "no_cue": (trial, "knock")}.get(command, (trial, label))
        with contextlib.suppress(DecisionError):
            getattr(self.other, command)(*arguments)

    @rule()
    def merge_with_oneself(self):
        self.counts["merged with oneself"] += 1
        one = read_logs(self.folder, "r1")
        merged = merge(one, dataclasses.replace(one, reviewer="r1-again"), within_s=0.01)
        assert not merged.conflicts
        done = {unit: mark for unit, mark in one.marks().items() if mark.reviewed}
        assert {item: merged.mark(item) for item, name in merged.values if name == "signal"} == done
        decided = self.decided()
        settled = merged.settled_values({}, lambda key: 0, {})
        notes = {key: value for key, value in decided.items() if key[3] in ("comment", "behaviour", "cue", *OUT)}
        assert {
            key: value for key, value in settled.items() if key[3] in ("comment", "behaviour", "cue", *OUT)
        } == notes
        assert all(len(kept.by) == 2 for kept in merged.kept_out)

    @rule()
    def merge_with_another(self):
        self.counts["merged with another"] += 1
        one, two = (read_logs(self.folder, reviewer) for reviewer in ("r1", "r2"))
        there, back = merge(one, two, within_s=0.01), merge(two, one, within_s=0.01)
        assert there.disputed == back.disputed
        for item in {item for item, _ in there.values if item[2]}:
            assert there.mark(item) == back.mark(item)
        for unit in {*one.marks(), *two.marks()}:
            marks = {logs.mark(unit) for logs in (one, two) if logs.mark(unit).reviewed}
            kept = keepers(there.kept_out, unit, "7")
            assert len(marks) != 1 or there.mark(unit) in marks, "what one alone or both alike decided stands"
            assert len(marks) < 2 or unit in there.disputed or there.mark(unit).reviewed or len(kept) == 2

    @rule()
    def seal(self):
        self.counts["sealed"] += 1
        name = self.session.next_version
        if not self.decided():
            with pytest.raises(DecisionError, match="has decided nothing"):
                self.session.seal(name)
            return
        self.sealed[name] = self.session.seal(name), self.session.decisions()


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # notices at opening; test_told.py asks for them
@pytest.mark.filterwarnings("ignore::emgreview.errors.DecisionWarning")
def test_any_commands_in_any_order(counted):
    run_state_machine_as_test(ReviewMachine, settings=settings(max_examples=60, stateful_step_count=30, deadline=None))
    counts = ", ".join(f"{count} {name}" for name, count in ReviewMachine.counts.most_common())
    counted(f"any order: {ReviewMachine.counts.total()} steps: {counts}; every undo led back, every version read back")
