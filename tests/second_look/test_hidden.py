"""What is not shown: hidden automatic marks and trials that come again, in an ordinary session."""

import contextlib
import json
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_reviews import make_trials, mark_all, place_mark, start

import emgreview.annotations
from emgreview.annotations import state as states
from emgreview.annotations import verify
from emgreview.annotations.hidden import mask, unmask
from emgreview.errors import DecisionError, UnknownNameError
from emgreview.tables import read_version

SCHEMA = json.loads((Path(emgreview.annotations.__file__).parent / "schema" / "event-1.json").read_text())
CHECK = jsonschema.Draft202012Validator(SCHEMA)


def lines(folder):
    found = [json.loads(line) for path in sorted(folder.rglob("*.jsonl")) for line in path.read_bytes().splitlines()]
    assert found
    return found


@pytest.fixture
def hiding(tmp_path):
    with start(tmp_path, make_trials()) as session:
        a, b, *_ = session.queue
        session.note("plan", {"hide": [[a, "FDI"]], "show_again": [[b, session.queue[5]]]})
        yield session, a, b


def channel(session, trial, label="FDI"):
    return session.state(trial).channels[label]


def test_a_hidden_mark_is_not_shown_and_cannot_be_accepted(hiding):
    session, a, _ = hiding
    assert session.hides_automatic(a)
    assert session.hides_automatic(a, "FDI")
    assert not session.hides_automatic(a, "APB")
    assert (channel(session, a).found, dict(channel(session, a).bursts)) == ("none detected", {})
    assert str(session.automatic(a, "FDI").onset_s) == "nan"
    assert session.automatic(a, "APB").onset_s == pytest.approx(0.2)
    accepts = (
        lambda: session.accept(a, "FDI"),
        lambda: session.accept(a, "FDI", burst="response"),
        lambda: session.accept_rest(a),
    )
    for refused in accepts:
        with pytest.raises(DecisionError, match=r"automatic mark of FDI is hidden .* mark the onset yourself"):
            refused()
    for refused in (lambda: session.move(a, "FDI", onset_s=0.3), lambda: session.remove(a, "FDI")):
        with pytest.raises(DecisionError, match="no response"):
            refused()
    row = session.decisions().query("trial == @a and channel == 'FDI'").iloc[0]
    assert row.filter(like="automatic").isna().all()


def test_ones_own_mark_takes_the_hidden_ones_place_in_the_log_alone(hiding, tmp_path):
    session, a, _ = hiding
    session.add(a, "FDI", onset_s=0.25)
    burst = channel(session, a).response
    assert (burst.id, burst.origin, burst.accepted, burst.automatic) == ("response", "added", True, None)
    assert channel(session, a).reviewed
    assert session.decisions().query("trial == @a and channel == 'FDI'")["automatic_onset_s"].isna().all()
    event = lines(tmp_path)[-1]
    logged = event["new"]["bursts"]["response"]
    assert (logged["origin"], logged["automatic"]["onset"], logged["onset"]) == ("moved", 1200, 1250)
    assert event["visible"]["automatic"] is False
    session.move(a, "FDI", onset_s=0.2, offset_s=0.5)
    assert channel(session, a).response.accepted
    assert lines(tmp_path)[-1]["new"]["bursts"]["response"]["origin"] == "automatic"
    session.undo()
    assert lines(tmp_path)[-1]["visible"]["automatic"] is False
    session.remove(a, "FDI")
    assert dict(channel(session, a).bursts) == {}
    assert not channel(session, a).reviewed
    session.add(a, "FDI", onset_s=0.1, kind="early small")
    logged = lines(tmp_path)[-1]["new"]["bursts"]
    assert (logged.pop("response")["origin"], [burst["origin"] for burst in logged.values()]) == ("removed", ["added"])
    session.none_visible(a, "FDI")
    assert channel(session, a).found == "none visible"


def test_a_sealed_version_tells_the_hidden_mark_once_ones_own_stands(hiding):
    session, a, _ = hiding
    session.discuss(a)
    session.seal("before")
    row = read_version(session.folder, "before").query("trial == @a and channel == 'FDI'").iloc[0]
    assert (row["activity"], str(row["automatic_onset_s"])) == ("none detected", "nan")
    session.add(a, "FDI", onset_s=0.25)
    session.seal("after")
    row = read_version(session.folder, "after").query("trial == @a and channel == 'FDI'").iloc[0]
    assert (row["origin"], row["automatic_onset_s"], row["onset_s"]) == ("moved", 0.2, 0.25)


def test_a_repeat_is_a_trial_like_any_other_and_touches_nothing(hiding, tmp_path):
    session, _, b = hiding
    again = session.queue[6]
    assert session.source(again) == b
    assert len(session.queue) == 9
    assert session.progress == (0, 18, 0, 9)
    place_mark(session, b, "FDI", 5)
    before = session.decisions()
    assert channel(session, again).response.origin == "automatic", "it comes as if nobody had seen it"
    place_mark(session, again, "FDI", 9)
    session.comment(again, "seen twice?")
    assert lines(tmp_path)[-1]["showing"] == 2
    assert session.where == again
    assert session.decisions().equals(before)
    assert session.state(b).comment is None
    assert channel(session, b).response.onset_s == pytest.approx(0.206)
    assert channel(session, again).response.onset_s == pytest.approx(0.21)
    assert session.progress[0] == 2


def test_undo_goes_through_repeats_too(hiding):
    session, _, b = hiding
    again = session.queue[6]
    session.accept(b, "FDI")
    session.accept(again, "FDI")
    assert session.undo() == (again,)
    assert not channel(session, again).reviewed
    assert channel(session, b).reviewed
    assert session.redo() == (again,)
    assert session.undo() == (again,)
    assert session.undo() == (b,)
    assert session.progress[0] == 0


def test_a_review_opened_again_hides_and_repeats_the_same(hiding, tmp_path):
    session, a, _ = hiding
    again = session.queue[6]
    place_mark(session, again, "FDI", 9)
    session.accept(again, "APB")
    queue, progress, state = session.queue, session.progress, session.state(again)
    session.close()
    with start(tmp_path, make_trials()) as opened:
        assert (opened.queue, opened.progress, opened.state(again)) == (queue, progress, state)
        assert opened.hides_automatic(a, "FDI")
        assert opened.where == queue[7], "goes on after the repeat, where the reviewer was"
        opened.note("reveal", {"reveal": [[a, "FDI"]]})
        assert channel(opened, a).response.onset == 1200


def test_every_line_fits_the_schema_and_the_chain(hiding, tmp_path):
    session, a, _ = hiding
    session.add(a, "FDI", onset_s=0.25)
    place_mark(session, session.queue[6], "FDI", 9)
    session.undo()
    for line in lines(tmp_path):
        CHECK.validate(line)
    assert verify(tmp_path).ok


def test_a_narrowed_review_holds_nothing_else(tmp_path):
    with start(tmp_path, make_trials()) as session:
        a, b, c, *_ = session.queue
        session.keep_to({b: ["FDI"], a: ["FDI", "APB"]})
        assert session.queue == (a, b)
        assert session.progress == (0, 3, 0, 2)
        session.accept_rest(b)
        assert [channel.reviewed for channel in session.state(b).channels.values()] == [True, False]
        assert session.next_unreviewed(b) == a
        assert session.next_unreviewed(c) == a
        mark_all(session)
        assert session.progress == (3, 3, 2, 2)
        assert session.next_unreviewed() is None
        with pytest.raises(UnknownNameError, match="no channel is called 'X'"):
            session.keep_to({a: ["X"]})


AUTOMATIC = {"onset": 500, "offset": 900, "low": 490, "high": 510}
STEPS = {
    "accept": states.accept,
    "move": lambda now: states.move(now, None, 520, None),
    "back": lambda now: states.move(now, None, 500, 900),
    "add": lambda now: states.add(now, f"added-{len(now['bursts'])}", 530, None, "response"),
    "early": lambda now: states.add(now, "added-early", 450, 460, "early small"),
    "remove": lambda now: states.remove(now, None),
    "none": states.none_visible,
    "between": lambda now: states.not_locatable(now, 480, 540),
}


@settings(deadline=None)
@given(st.lists(st.sampled_from(sorted(STEPS)), max_size=8))
def test_what_is_shown_after_a_step_is_what_was_decided(steps):
    """mask(unmask(x)) shows the same times and verdicts as x; the log keeps the method's values; nothing leaks."""
    truth = states.proposal(AUTOMATIC)
    for step in steps:
        seen = mask(truth)
        assert all(burst["automatic"] is None for burst in seen["bursts"].values())
        assert not any(burst["onset"] == 500 and not burst["accepted"] for burst in seen["bursts"].values())
        try:
            decided = STEPS[step](seen)
        except DecisionError:
            continue
        truth = unmask(decided, truth)
        assert truth["bursts"]["response"]["automatic"]._asdict() == AUTOMATIC
        shown = mask(truth)
        assert shown["found"] == decided["found"] or not any(map(states.stands, decided["bursts"].values()))
        if decided["found"] == "bursts":
            times = [
                sorted(b["onset"] for b in part["bursts"].values() if states.stands(b)) for part in (shown, decided)
            ]
            assert times[0] == times[1]
        assert states.reviewed(shown, states.USABLE) == states.reviewed(truth, states.USABLE)


COMMANDS = {
    "accept": lambda s, t: s.accept(t, "FDI"),
    "rest": lambda s, t: s.accept_rest(t),
    "move": lambda s, t: s.move(t, "FDI", onset_s=0.31),
    "add": lambda s, t: s.add(t, "FDI", onset_s=0.25),
    "early": lambda s, t: s.add(t, "APB", onset_s=0.05, kind="early small"),
    "remove": lambda s, t: s.remove(t, "FDI"),
    "none": lambda s, t: s.none_visible(t, "APB"),
    "unusable": lambda s, t: s.unusable(t, "FDI", ["clipped"]),
    "copy": lambda s, t: s.copy_to_all(t, "APB"),
    "comment": lambda s, t: s.comment(t, "=1", "FDI"),
    "sure": lambda s, t: s.confidence(t, "FDI", "sure"),
    "half-width": lambda s, t: s.half_width(t, "FDI", 4),
    "late": lambda s, t: s.behaviour(t, "late"),
    "cue": lambda s, t: s.correct_cue(t, 0.01),
    "undo": lambda s, t: s.undo(),
    "redo": lambda s, t: s.redo(),
}


@pytest.mark.filterwarnings("ignore::emgreview.errors.DecisionWarning")
@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.sampled_from(sorted(COMMANDS)), st.integers(0, 5)), max_size=25))
def test_any_commands_come_back_after_opening_again_and_undo_takes_all_of_them_back(tmp_path_factory, steps):
    folder, trials = tmp_path_factory.mktemp("any"), make_trials(n=4)

    def whole(session):
        return [session.state(trial) for trial in session.queue], session.progress, session.decisions().to_csv()

    with start(folder, trials) as session:
        a, b, c, d = session.queue
        session.note("plan", {"hide": [[a, "FDI"], [b, "APB"]], "show_again": [[a, c], [c, d]]})
        assert len(session.queue) == 6
        untouched = whole(session)
        for command, place in steps:
            with contextlib.suppress(DecisionError):
                COMMANDS[command](session, session.queue[place])
            for trial in session.queue:
                for label, state in session.state(trial).channels.items():
                    leaks = [burst.automatic for burst in state.bursts.values() if burst.automatic]
                    assert not (leaks and session.hides_automatic(trial, label))
        now = whole(session)
    assert verify(folder).ok
    with start(folder, trials) as session:
        assert whole(session) == now
        while session.undo():
            pass
        assert whole(session) == untouched
