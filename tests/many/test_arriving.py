"""A review that opens with the first recording while the others arrive is, once all are there, the review of all."""

import threading
from dataclasses import dataclass

import pytest

import emgreview as er
from emgreview.errors import DecisionError, LogError, ParameterError
from emgreview.many import cut
from emgreview.many.arriving import Arrivals
from emgreview.views.known_trials import KnownTrials

WINDOW = {"cue": "go", "before_s": 1.0, "after_s": 1.5}


@pytest.fixture(scope="module")
def study():
    return er.simulate_study(6, 3, 1000, seed=4)


class Gate:
    """Lets through the work on one recording after the other, by name."""

    def __init__(self):
        self.open, self._news = set(), threading.Condition()

    def let(self, *names):
        with self._news:
            self.open |= set(names)
            self._news.notify_all()

    def wait(self, name):
        with self._news:
            assert self._news.wait_for(lambda: name in self.open or None in self.open, timeout=60)


@pytest.fixture
def gate(monkeypatch):
    made, run = Gate(), cut.CutJob.__call__

    def gated(self, rec):
        made.wait(rec.name)
        return run(self, rec)

    monkeypatch.setattr(cut.CutJob, "__call__", gated)
    yield made
    made.let(None)


def coming_of(study, **more):
    return er.cut_as_ready(study.recordings, **WINDOW, runner=er.Runner(progress=None), **more)


def names_of(study):
    return [rec.name for rec in study.recordings]


def take_until(session, count):
    while len(session.trials) < count:
        assert session._coming.wait()
        session.take_arrived()


@pytest.mark.parametrize("order", ["recorded", "random", "least certain"])
def test_it_ends_as_the_review_of_all(study, tmp_path, order):
    whole = er.cut_all(study.recordings, **WINDOW)
    with er.open_review(coming_of(study), tmp_path / "one", reviewer="r1", order=order) as session:
        session.wait_for_all()
        arrived = session.queue, session.decisions(), session.methods, session.awaited
    with er.open_review(whole, tmp_path / "one", reviewer="r1", order=order) as session:
        assert arrived[0] == session.queue
        assert arrived[1].equals(session.decisions())
        assert arrived[2:] == (session.methods, "")
    assert er.verify(tmp_path / "one").ok


def test_decisions_taken_before_the_others_came_stand_and_can_be_undone_in_their_order(study, tmp_path, gate):
    first, *others = names_of(study)
    gate.let(first)
    with er.open_review(coming_of(study), tmp_path, reviewer="r1") as session:
        assert {session.state(trial).recording for trial in session.queue} == {first}
        early = session.queue
        session.accept_rest(early[0])
        assert "5 of 6 recordings are still to come" in session.awaited
        assert "left" not in session.awaited  # one recording says nothing of how long the others take
        gate.let(*others[:2])
        take_until(session, 3)
        assert session.queue[: len(early)] == early  # nothing behind the reviewer has changed
        late = session.queue[-1]
        session.accept_rest(late)
        gate.let(None)
        session.wait_for_all()
        assert session.undo() == (late,)
        assert session.undo() == (early[0],)
        session.redo()
        assert session.progress[2] == 1
        sealed = session.seal("v1")
    table = er.read_version(tmp_path, "v1", expect=sealed.sha256)
    assert table["recording"].nunique() == 6
    assert set(table.loc[table["reviewed"], "trial"]) == {early[0]}


def test_a_review_gone_on_with_begins_where_it_was_left_and_undoes_what_was_decided_before(study, tmp_path, gate):
    gate.let(None)
    with er.open_review(er.cut_all(study.recordings, **WINDOW), tmp_path, reviewer="r1") as session:
        before = next(trial for trial in session.queue if session.state(trial).recording == names_of(study)[1])
        last = next(trial for trial in session.queue if session.state(trial).recording == names_of(study)[3])
        session.accept_rest(before)
        session.accept_rest(last)
    gate.open.clear()
    gate.let(names_of(study)[3])
    with er.open_review(coming_of(study), tmp_path, reviewer="r1") as session:
        assert session.state(session.where).recording == names_of(study)[3]
        assert session.progress[2] == 1
        assert session.undo() == (last,)
        gate.let(None)
        session.wait_for_all()
        assert [part.recording.name for part in session.trials] == names_of(study)
        assert session.undo() == (before,)  # of a log that came after that of the later command
        assert session.redo() == (before,)
        assert session.progress[2] == 1


def test_what_needs_all_is_refused_until_they_are_there(study, tmp_path, gate):
    gate.let(names_of(study)[0])
    with er.open_review(coming_of(study), tmp_path, reviewer="r1", order="least certain") as session:
        session.accept_rest(session.queue[0])
        assert "'least certain' needs all" in session.awaited
        for refused in (
            lambda: session.seal("v1"),
            lambda: session.change_method("threshold"),
            lambda: session.keep_to({session.queue[0]: ["prime mover"]}),
            lambda: er.plan_self_check(session),
        ):
            with pytest.raises(DecisionError, match=r"needs all recordings.*5 of 6.*wait_for_all"):
                refused()
        with pytest.warns(er.SignalWarning, match="not of all"):
            table = session.decisions()
        assert set(table["recording"]) == {names_of(study)[0]}
        assert "5 of 6" in session.progress_words
        gate.let(None)
        session.wait_for_all()
        session.seal("v1")


def test_a_review_that_hides_or_is_blind_waits_for_all(study, tmp_path):
    with er.open_review(coming_of(study), tmp_path / "blind", reviewer="r1", blind=True) as session:
        assert len(session.trials) == 6
        assert session.complete
    with er.open_review(er.cut_all(study.recordings, **WINDOW), tmp_path / "checked", reviewer="r1") as session:
        er.plan_self_check(session)
        queue = session.queue
    with er.open_review(coming_of(study), tmp_path / "checked", reviewer="r1") as session:
        assert session.queue == queue


def test_one_that_fails_is_told_and_stops_none(study, tmp_path):
    recordings = [*study.recordings[:2], study.recordings[2].with_markers([]), *study.recordings[3:]]
    coming = er.cut_as_ready(recordings, **WINDOW, runner=er.Runner(progress=None))
    with er.open_review(coming, tmp_path, reviewer="r1") as session:
        with pytest.warns(er.SignalWarning, match=f"{recordings[2].name} cannot be cut and is left out"):
            session.wait_for_all()
        assert len(session.trials) == 5
        told = next(note for note in session.notices if "cannot be cut" in note)
        assert recordings[2].name in told
        session.accept_rest(session.queue[0])
        with pytest.warns(er.SignalWarning, match=f"The version is not of all: {recordings[2].name} cannot be cut"):
            session.seal("v1")


def test_an_interrupt_before_the_first_is_there_leaves_nothing_at_work(study, tmp_path, gate, monkeypatch):
    begun, wait = [], Arrivals.wait

    def interrupted(arrivals):
        begun.append(arrivals)
        threading.Timer(0.2, gate.let, [None]).start()
        raise KeyboardInterrupt

    monkeypatch.setattr(Arrivals, "wait", interrupted)
    with pytest.raises(KeyboardInterrupt):
        er.open_review(coming_of(study), tmp_path / "review", reviewer="r1")
    monkeypatch.setattr(Arrivals, "wait", wait)
    begun[0].until_over()
    assert "stopped after" in begun[0].problem
    assert not (tmp_path / "review").exists()


def test_all_of_them_at_once_are_those_that_cut_all_cuts(study):
    whole = er.cut_all(study.recordings, **WINDOW)
    assert [one.ids for one in coming_of(study).all()] == [one.ids for one in whole]
    bare = [*study.recordings[:2], study.recordings[2].with_markers([])]
    with pytest.warns(er.SignalWarning, match="cannot be cut and is left out"):
        assert len(er.cut_as_ready(bare, **WINDOW, runner=er.Runner(progress=None)).all()) == 2


def test_none_that_can_be_cut(study, tmp_path):
    bare = [rec.with_markers([]) for rec in study.recordings]
    coming = er.cut_as_ready(bare, **WINDOW, runner=er.Runner(progress=None))
    with pytest.raises(ParameterError, match="not one of 6 recordings could be cut"):
        er.open_review(coming, tmp_path / "none", reviewer="r1")
    assert not (tmp_path / "none").exists()


def test_the_log_of_another_recording_stops_the_rest_and_not_what_is_there(study, tmp_path, gate):
    gate.let(None)
    other = er.simulate_study(6, 3, 1000, seed=5)
    with er.open_review(er.cut_all(other.recordings[4:5], **WINDOW), tmp_path, reviewer="r1") as session:
        session.accept_rest(session.queue[0])
    with pytest.raises(LogError, match="belongs to another recording"):  # it is the one that was decided on last
        er.open_review(coming_of(study), tmp_path, reviewer="r1")
    with pytest.warns(er.SignalWarning, match="did not come"):
        session = er.open_review(er.cut_all(study.recordings[:1], **WINDOW), tmp_path, reviewer="r1")
    session.accept_rest(session.queue[0])
    session.close()
    with er.open_review(coming_of(study), tmp_path, reviewer="r1") as session:
        with pytest.raises(LogError, match="belongs to another recording"):
            session.wait_for_all()
        assert "did not join" in session.awaited
        assert session.accept_rest(session.queue[1])
        with pytest.raises(DecisionError, match=r"Sealing needs all.*did not join.*Open the review again"):
            session.seal("v1")
    assert er.verify(tmp_path).ok


def test_another_method_than_that_of_the_trials_is_refused(study, tmp_path):
    coming = coming_of(study, method="threshold")
    with pytest.raises(ParameterError, match="come with onsets by 'threshold'"):
        er.open_review(coming, tmp_path, reviewer="r1", method="ramp")


def test_the_runner_can_be_used_again_and_stops_when_it_is_told(study, tmp_path, gate):
    runner = er.Runner(progress=None)
    gate.let(names_of(study)[0])
    coming = er.cut_as_ready(study.recordings, **WINDOW, runner=runner)
    session = er.open_review(coming, tmp_path, reviewer="r1")
    threading.Timer(0.2, gate.let, [None]).start()
    session.close()  # before all have come
    assert "have not come: stopped after" in session.awaited
    assert not runner.cancel.is_set()
    assert len(er.cut_all(study.recordings, **WINDOW, runner=runner)) == 6
    with er.open_review(coming, tmp_path, reviewer="r1") as session:  # a cell that is run again
        session.wait_for_all()
        assert len(session.trials) == 6


# What browsers know ----------------------------------------------------------------------------------------------


@dataclass
class OneReview:
    """As much of a session as is asked for."""

    trials: tuple
    queue: tuple

    def source(self, trial):
        return trial


def test_numbers_of_trials_stay_whatever_joins(study):
    parts = er.cut_all(study.recordings[:3], **WINDOW)
    last, rest = parts[2], parts[:2]
    session = OneReview((last,), last.ids)
    known = KnownTrials(session)
    numbers = dict(known.number)
    assert known.order is None
    session.trials, session.queue = (*rest, last), (*rest[0].ids, *rest[1].ids, *last.ids)
    assert known.behind
    assert known.take() == []
    assert not known.behind
    assert {trial: known.number[trial] for trial in numbers} == numbers
    assert [known.at(number) for number in known.order] == list(session.queue)
    assert known.rank[last.ids[0]] == 6
    assert known.around(last.ids[0], 1, 1) == [last.ids[0], rest[1].ids[-1], last.ids[1]]
    session.queue = session.queue[:4]  # narrowed: the screen is to be opened anew
    assert not known.behind
