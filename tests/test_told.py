"""What is left out, ignored or assumed is told where the person is: in the cell, on the screen, on the command line."""

import dataclasses
import json
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview.reading.dataset import NAMELESS

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import recording

CUT = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
WHY = "stimulation on, left arm"


def troubled(name="sub-a_task-turn", sub="a", seed=1):
    """A recording with a channel marked bad, samples missing, a note of its own, and a cue too near its end."""
    rec = recording(name, seed)
    x = rec.values()
    x[1, 8000:8020] = np.nan
    channels = [
        dataclasses.replace(one, status="bad", status_description=WHY) if i == 2 else one
        for i, one in enumerate(rec.channels)
    ]
    late = er.Marker(rec.n_samples - 1000, "go")
    rec = er.Recording.from_array(
        x,
        rec.rate_hz,
        labels=rec.labels,
        channels=channels,
        markers=[*rec.markers, late],
        name=name,
        entities={"sub": sub} if sub else {},
    )
    return dataclasses.replace(rec, notes=(f"sub-{sub}_events.tsv: 1 row has no onset, no marker: row 3.",))


def heard(run):
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        made = run()
    assert all(one.filename == __file__ for one in caught), "told at the caller's own line"
    return made, [str(one.message) for one in caught]


def cut(rec):
    return heard(lambda: er.cut_trials(rec, **CUT))[0]


def test_every_note_of_a_cut_is_told_in_the_cell_that_cuts_and_in_what_a_cell_shows():
    rec = troubled()
    trials, told = heard(lambda: er.cut_trials(rec, **CUT))
    assert len(trials.notes) >= 3
    assert told == [f"{rec.name}: {note}" for note in trials.notes]
    for note in (*rec.notes, *trials.notes):
        assert f"note: {note}" in repr(trials)
    assert f"note: {rec.notes[0]}" in repr(rec)
    assert "array(" not in repr(trials) + repr(rec), "samples are no description"


def test_many_trials_beyond_a_recording_are_told_in_few_lines():
    x = np.random.default_rng(1).normal(0, 5, (1, 8000))
    markers = [(7000 + 100 * i, "go") for i in range(9)]
    rec = er.Recording.from_array(x, 2000, labels=["a"], markers=markers)
    trials, told = heard(lambda: er.cut_trials(rec, **CUT))
    assert sum("beyond the recording" in note for note in trials.notes) == 9
    assert len(told) <= 5
    assert "5 more trials" in told[-1]


def test_every_note_of_a_table_is_told_in_the_cell_that_measures(tmp_path):
    trials = cut(troubled())
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        for trial in trials.ids[:-2]:
            session.accept(trial, "biceps")
        decisions = session.decisions()
    calls = (
        lambda: er.measure(trials, decisions),
        lambda: er.compare_channels(trials, decisions, "biceps", "wrist flexors"),
    )
    for call in calls:
        table, told = heard(call)
        assert table.attrs["notes"]
        assert told == table.attrs["notes"]
    found, told = heard(lambda: er.detection_floor(trials, "biceps", decisions=decisions, injections=20))
    assert found.left_out
    assert told == [f"floor of biceps: {note}" for note in (*found.left_out, found.note) if note]


@pytest.mark.filterwarnings("ignore:Notes on .* recordings? may have been told by name:emgreview.errors.SignalWarning")
def test_a_blind_review_of_a_plain_folder_says_once_whom_it_cannot_hide(tmp_path):
    plain, named = cut(troubled("one", "")), cut(troubled())
    with pytest.warns(er.SignalWarning, match="A plain folder does not say who was recorded"):
        session = er.open_review(plain, tmp_path / "1", reviewer="r1", blind=True)
    with session:
        assert session.notices.count(NAMELESS) == 1
        session.unblind("done")
        assert NAMELESS not in session.notices
    with er.open_review(named, tmp_path / "2", reviewer="r1", blind=True) as session:
        assert session.notices == ()
    with er.open_review(plain, tmp_path / "3", reviewer="r1") as session:
        assert session.notices == ()


def test_another_window_cue_or_level_than_the_logs_is_told(tmp_path):
    rec = troubled()
    trials = cut(rec)
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        session.accept(trials.ids[0], "biceps")
    other = heard(lambda: er.cut_trials(rec, cue="go", before_s=0.8, after_s=1.5))[0]
    session, told = heard(lambda: er.open_review(other, tmp_path, reviewer="r1"))
    session.close()
    assert any("were cut from -1 to 1.5 s, and are cut from -0.8 to 1.5 s" in words for words in told)
    warned = heard(lambda: er.cut_trials(rec, cue="warning", before_s=0.8, after_s=1.5))[0]
    session, told = heard(lambda: er.open_review(warned, tmp_path, reviewer="r1"))
    session.close()
    assert any("were cut around 'go', and are cut around 'warning'" in words for words in told)
    assert any("1 trials that were decided on are not here as they were" in words for words in told)


def test_cues_found_at_another_level_are_told(tmp_path):
    rec = recording("sub-a_task-turn", 1)
    session = None
    for level, expected in ((5.0, False), (20.0, True), (20.0, False)):
        cued = er.with_cues(rec, "handle angle", level=level, hold_off_s=0.5, label="turn")
        trials = er.cut_trials(cued, cue="turn", before_s=0.8, after_s=1.0)
        session, told = heard(lambda trials=trials: er.open_review(trials, tmp_path, reviewer="r1"))
        session.close()
        assert any("were found" in words and "level 20" in words for words in told) == expected


@pytest.mark.filterwarnings("ignore:Notes on .* recordings? may have been told by name:emgreview.errors.SignalWarning")
@pytest.mark.parametrize("blind", [False, True])
def test_the_screen_keeps_every_note_and_a_blind_one_names_nobody(tmp_path, blind):
    pytest.importorskip("panel")
    trials = cut(troubled())
    with er.open_review(trials, tmp_path, reviewer="r1", blind=blind) as session:
        setup = json.loads(er.review(session).setup)
        card = json.dumps([channel["notes"] for channel in _card(session, trials)["channels"]])
    said = " ".join(setup["notes"])
    for words in ("1 row has no onset", "lacks samples in", "wrist extensors is marked bad"):
        assert words in said
    assert "marked bad" in card
    for words in ("sub-a", WHY):
        assert (words in said + card) == (not blind), words
    assert "The trial at sample" not in said, "its own card says it"


def _card(session, trials):
    from emgreview.views import cards

    return cards.trial_card(session, trials, session.queue[0], np.zeros(3), 0, 0)


def test_the_long_view_shows_the_notes_of_its_recording(tmp_path):
    pytest.importorskip("panel")
    rec = troubled()
    assert json.loads(er.long_view(rec).setup)["notes"] == list(rec.notes)
    trials = cut(rec)
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        notes = json.loads(er.long_view(rec, session).setup)["notes"]
    assert set(notes) >= {*rec.notes, *trials.notes}


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
@pytest.mark.filterwarnings("ignore:Notes on .* recordings? may have been told by name:emgreview.errors.SignalWarning")
def test_a_blind_screen_holds_not_even_an_example_of_a_name(tmp_path):
    pytest.importorskip("panel")
    trials = cut(troubled("one", ""))
    with er.open_review(trials, tmp_path, reviewer="r1", blind=True) as session:
        notes = json.loads(er.review(session).setup)["notes"]
        assert NAMELESS in repr(session)
    assert sum("A plain folder does not say who was recorded" in words for words in notes) == 1
    assert "sub-0" not in " ".join(notes)


def blank(name):
    """A recording without the cue."""
    rec = recording(name, 3)
    return rec.with_markers([marker for marker in rec.markers if marker.label != "go"])


def test_trials_of_a_blind_review_are_cut_without_names_and_no_note_is_lost(tmp_path):
    people = [troubled("sub-a_task-turn", "a"), troubled("sub-b_task-turn", "b", 2)]
    cut_blind = lambda recordings: er.cut_all(recordings, **CUT, blind=True)  # noqa: E731
    trials, told = heard(lambda: cut_blind([*people, blank("sub-c_task-turn")]))
    _, by_name = heard(lambda: er.cut_all(people, **CUT))
    *notes, left_out = told
    assert left_out.startswith("sub-c_task-turn cannot be cut and is left out"), "it is on no screen, and is to mend"
    assert not any(words in " ".join(notes) + repr(trials) for words in ("sub-a", "sub-b", WHY))
    for words in {words.partition(": ")[2].replace(f" ({WHY})", "") for words in by_name}:
        assert f"2 recordings: {words}" in notes, "each note once, with how many it is about"
    session, told = heard(lambda: er.open_review(trials, tmp_path / "1", reviewer="r1", blind=True))
    session.close()
    assert told == []
    fails_after_one = (part for part in (people[0], None))

    def fail():
        with pytest.raises(er.EmgreviewError, match="recordings came as None"):
            cut_blind(fails_after_one)

    assert len(heard(fail)[1]) >= 3


def test_a_blind_review_says_where_its_notes_were_told_with_names(tmp_path):
    trials = [cut(troubled()), cut(recording("sub-b_task-turn", 2))]
    session, told = heard(lambda: er.open_review(trials, tmp_path, reviewer="r1", blind=True))
    session.close()
    said = [words for words in told if "told by name" in words]
    assert len(said) == 1
    assert said[0].startswith("Notes on 1 of 2 recordings may have been told by name")
    assert "cut_all(…, blind=True)" in said[0]
    assert "sub-a" not in said[0]


@pytest.mark.parametrize("blind", [False, True])
def test_sealing_a_blind_review_names_nobody(tmp_path, blind):
    rec = troubled()
    trials, _ = heard(lambda: er.cut_all([rec], **CUT, blind=blind))
    with er.open_review(trials, tmp_path, reviewer="r1", blind=blind) as session:
        session.accept(trials[0].ids[0], "biceps")
    _, told = heard(lambda: er.seal(tmp_path, [rec], "v1"))
    assert any("lacks samples" in words for words in told)
    assert any("sub-a" in words for words in told) != blind
