"""A second reviewer's sample: its strata, what it was drawn by, the first reviewer's marks unseen."""

import dataclasses

import pytest
from small_reviews import make_trials, mark_all, start

from emgreview.errors import DecisionError, ParameterError, SignalWarning, UnknownNameError
from emgreview.second_look import draw_sample


@pytest.fixture
def parts():
    return [make_trials(f"rec-{k}", n=40, labels=("FDI",), seed=k, sub=f"0{k}") for k in (1, 2)]


def test_every_stratum_gives_its_share_and_the_log_says_so(tmp_path, parts):
    with start(tmp_path, parts, "r2", blind=True) as session:
        drawn = draw_sample(session, share=0.25)
        (note,) = (note for note in session.notes if note.operation == "draw sample")
        assert len(drawn) == 20
        assert set(session.queue) == set(drawn)
        assert session.progress == (0, 20, 0, 20)
    assert note.new["only"] == list(drawn)
    assert (note.new["share"], note.new["by"]) == (0.25, ["participant", "condition", "certainty"])
    assert note.new["drawn_by"] == {part.recording.name: part.recording.channel_digests for part in parts}
    strata = {tuple(row["stratum"]): (row["trials"], row["drawn"]) for row in note.new["strata"]}
    assert {stratum: count for stratum, (count, _) in strata.items()} == {
        (who, where, width): n
        for who in ("01", "02")
        for where, width, n in (("far", "narrow", 20), ("near", "narrow", 10), ("near", "wide", 10))
    }
    assert all(abs(taken - 0.25 * n) < 1 for n, taken in strata.values())


def test_the_review_opened_again_is_about_the_same_trials(tmp_path, parts):
    with start(tmp_path, parts, "r2") as session:
        drawn = draw_sample(session, share=0.2)
        mark_all(session, trials=drawn[:3])
    with start(tmp_path, parts, "r2") as session:
        assert set(session.queue) == set(drawn)
        assert session.progress == (3, 16, 3, 16)
        with pytest.raises(DecisionError, match="a second draw would be a choice"):
            draw_sample(session)


def test_the_draw_does_not_look_at_the_first_reviewer(tmp_path, parts):
    with start(tmp_path / "a", parts, "r2") as session:
        alone = draw_sample(session)
    with start(tmp_path / "b", parts, "r1") as session:
        mark_all(session, 9, session.queue[:30])
    with start(tmp_path / "b", parts, "r2") as session:
        assert draw_sample(session) == alone
        assert session.state(alone[0]).channels["FDI"].response.origin == "automatic"


def test_everything(tmp_path, parts):
    with start(tmp_path, parts, "r2") as session:
        assert len(draw_sample(session, share=1, by=("participant",))) == 80


def test_what_makes_no_sense(tmp_path, parts):
    with start(tmp_path, parts, "r2") as session:
        with pytest.raises(UnknownNameError, match="no stratum is called 'group'; there are: certainty, condition"):
            draw_sample(session, by=("group",))
        with pytest.raises(ParameterError, match="share came as 0"):
            draw_sample(session, share=0)
        session.accept(session.queue[0], "FDI")
        with pytest.raises(DecisionError, match="1 channel-trials are decided already"):
            draw_sample(session)


def test_people_are_not_sampled_where_recordings_do_not_name_them(tmp_path, parts):
    plain = [make_trials(f"rec-{k}", n=40, labels=("FDI",), seed=k) for k in (1, 2)]
    for number, trials in enumerate((plain, [parts[0], plain[1]])):
        with start(tmp_path / str(number), trials, "r2") as session:
            for by in ({}, {"by": ("participant",)}):
                with pytest.raises(DecisionError, match=r"do not name theirs.*plain folder.*rec-2;.*by=.'recording'"):
                    draw_sample(session, **by)
            assert not any(note.operation == "draw sample" for note in session.notes)
            assert len(draw_sample(session, by=("recording",), share=0.25)) == 20
    with start(tmp_path / "one", plain[:1], "r2") as session:
        assert len(draw_sample(session, share=0.25)) == 10


def test_cues_without_a_condition_are_told(tmp_path, parts):
    bare = [
        dataclasses.replace(part, cues=tuple(dataclasses.replace(cue, details={}) for cue in part.cues))
        for part in parts
    ]
    with start(tmp_path, bare, "r2") as session:
        with pytest.raises(UnknownNameError, match="no stratum is called 'condition'"):
            draw_sample(session, by=("participant", "condition"))
        with pytest.warns(SignalWarning, match=r"No cue says its condition: .* only by participant and certainty\."):
            drawn = draw_sample(session, share=0.25)
        (note,) = (note for note in session.notes if note.operation == "draw sample")
    assert len(drawn) == 20
    assert {len(row["stratum"]) for row in note.new["strata"]} == {2}
