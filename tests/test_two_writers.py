"""Two reviewers of one folder in any order, each of whom may be opened twice, be torn off, or be tried by another
process: nobody's decisions change but by their own commands, and every version holds what it was sealed with."""

import os
import shutil
import tempfile
import warnings
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test
from scripted_reviews import Unflushed, make_trials, start

import emgreview as er
from emgreview.errors import DecisionError, LogLockedError, LogReadOnlyError

TRIALS = make_trials(n=3, labels=("FDI",))
CODES = st.sampled_from(["r1", "r2"])
WORDS = st.text("abcdefgh =+\"'µ", min_size=1, max_size=8).filter(str.strip)


class TwoWriters(RuleBasedStateMachine):
    def __init__(self):
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.open = {}
        self.past = {"r1": [{}], "r2": [{}]}  # the comments after each command that stands
        self.torn = set()
        self.sealed = {}

    def teardown(self):
        for session in self.open.values():
            session.close()
        shutil.rmtree(self.folder)

    def log(self, code):
        return self.folder / "logs" / f"rec_reviewer-{code}.jsonl"

    def begin(self, code):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", er.SignalWarning)  # an unfinished line that is kept beside
            return start(self.folder, TRIALS, reviewer=code, files=Unflushed())

    @rule(code=CODES)
    def opens(self, code):
        """Also while it is open: the former session then takes nothing more."""
        former, self.open[code] = self.open.get(code), self.begin(code)
        self.torn.discard(code)
        if former:
            with pytest.raises(LogReadOnlyError):
                former.comment(TRIALS.ids[0], "late")

    @precondition(lambda self: self.open)
    @rule(code=CODES, place=st.integers(0, 2), words=WORDS)
    def comments(self, code, place, words):
        if code in self.open:
            trial = TRIALS.ids[place]
            if self.open[code].comment(trial, words):
                self.past[code].append({**self.past[code][-1], trial: words})

    @precondition(lambda self: self.open)
    @rule(code=CODES)
    def takes_back(self, code):
        if code in self.open and len(self.past[code]) > 1:
            self.open[code].undo()
            self.past[code].pop()

    @precondition(lambda self: self.open)
    @rule(code=CODES)
    def seals(self, code):
        if code not in self.open:
            return
        session, now = self.open[code], self.past[code][-1]
        name = session.next_version
        if now:
            session.seal(name)
            self.sealed[name] = (code, now)
        else:
            with pytest.raises(DecisionError):
                session.seal(name)

    @precondition(lambda self: self.open)
    @rule(code=CODES)
    def is_torn_off(self, code):
        """Closed, with half a line behind it, as a killed process leaves it."""
        if code in self.open:
            self.open.pop(code).close()
            if self.log(code).exists():
                with self.log(code).open("ab") as log:
                    log.write(b'{"blind":fal')
                self.torn.add(code)

    @precondition(lambda self: self.open)
    @rule(code=CODES)
    def is_tried_by_another_process(self, code):
        if code not in self.open:
            return
        if (child := os.fork()) == 0:
            try:
                self.begin(code)
            except LogLockedError:
                os._exit(7)
            os._exit(0)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 7

    @invariant()
    def each_has_what_each_decided(self):
        for code, session in self.open.items():
            said = {trial: words for trial in TRIALS.ids if (words := session.state(trial).comment)}
            assert said == self.past[code][-1], code
        found = er.verify(self.folder)
        real = [problem for problem in found.problems if "unfinished" not in problem and "no annotation" not in problem]
        assert not real
        assert len(found.problems) - len(real) <= len(self.torn) + 1

    @invariant()
    def versions_stay(self):
        for name, (code, comments) in self.sealed.items():
            table = er.read_version(self.folder, name)
            said = dict(zip(table["trial"], table["trial_comment"], strict=True))
            assert set(table["reviewer"]) == {code}
            assert {trial: words for trial, words in said.items() if isinstance(words, str)} == comments


def test_two_writers_in_any_order():
    run_state_machine_as_test(
        TwoWriters,
        settings=settings(
            max_examples=12, stateful_step_count=18, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
