"""A participant's exclusion holds for every recording of that participant, whichever of them are open."""

import pytest
from scripted_reviews import CHECK, log_lines, make_trials, start

import emgreview as er


@pytest.fixture
def parts():
    return [
        make_trials(name, n=2, seed=seed, sub=sub) for seed, (name, sub) in enumerate(zip("abc", "778", strict=True))
    ]


def excluded(session):
    return session.decisions().groupby("recording")["excluded"].first().to_dict()


@pytest.mark.filterwarnings("ignore:.* also holds (a log|logs) of:emgreview.errors.SignalWarning")  # test_one_folder.py
def test_it_holds_for_recordings_opened_alone_and_later(tmp_path, parts):
    a, b, c = parts
    with start(tmp_path, [a]) as session:
        session.exclude("ill", participant="7")
    for trials in ([b], [a, b], [b, a]):
        with start(tmp_path, trials) as session:
            assert set(excluded(session).values()) == {"participant: ill"}
            assert session.exclude("ill", participant="7") == (), "it stands already"
    with start(tmp_path, [c]) as session:
        assert session.excluded == ()
    with start(tmp_path, [b]) as session:
        assert session.undo() == (), "a decision in a log that is not open is not taken back from here"
        session.seal("b-alone", er.Rule(name="all", version=1))
    table = er.read_version(tmp_path, "b-alone")
    assert not table["included"].any()


def test_the_last_word_holds_in_whichever_log_it_stands(tmp_path, parts):
    a, b, _ = parts
    with start(tmp_path, [a]) as session:
        session.exclude("ill", participant="7")
    with start(tmp_path, [b]) as session:
        session.readmit("well again", participant="7")
        assert not session.excluded
    for trials in ([a], [b], [a, b]):
        with start(tmp_path, trials) as session:
            assert not session.excluded
    with start(tmp_path, [b]) as session:
        session.undo()
        assert session.excluded == (("participant", "7", None, "ill"),)
    with start(tmp_path, [a, b]) as session:
        assert set(excluded(session).values()) == {"participant: ill"}
        while session.undo():
            pass
        assert not session.excluded
    for line in log_lines(tmp_path):
        CHECK.validate(line)
    found = er.diff(tmp_path, 2)
    assert "exclusion taken back" in str(found)
    assert list(found.table["recording"]) == ["a, b"]


@pytest.mark.filterwarnings(
    "ignore:Whether the participant was excluded there is not known:emgreview.errors.SignalWarning"
)
def test_a_broken_log_of_the_same_participant_is_told(tmp_path, parts):
    a, b, _ = parts
    with start(tmp_path, [a]) as session:
        session.exclude("ill", participant="7")
    path = next((tmp_path / "logs").rglob("a_reviewer-r1.jsonl"))
    path.write_bytes(path.read_bytes().replace(b'"ill"', b'"ilL"'))
    with start(tmp_path, [b]) as session:
        assert not session.read_only
        assert any(
            "Whether the participant was excluded there is not known: a_reviewer-r1.jsonl" in one
            for one in session.notices
        )


def test_the_order_of_commands_does_not_change_what_is_told_after_reopening(tmp_path, parts):
    a, b, _ = parts
    with start(tmp_path, [a, b]) as session:
        session.exclude("ill", participant="7")
        session.set_aside("b", "FDI", 1.0, 2.0, ["clipped"])
        session.exclude("hum", recording="b", channel="FDI")
        session.set_aside("a", "FDI", 1.0, 2.0, ["clipped"])
        session.exclude("loose", recording="a")
        told = session.excluded, session.aside
        before = er.tables.to_tsv(session.decisions())
    with start(tmp_path, [a, b]) as session:
        assert (session.excluded, session.aside) == told
        assert er.tables.to_tsv(session.decisions()) == before
