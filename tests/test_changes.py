"""What changed between two points: in words, as a table, from the logs alone."""

import dataclasses
import json

import pytest
from scripted_reviews import detect, log_lines, make_trials, start

import emgreview as er
from emgreview.annotations.differences import WORDS, Change, old_and_new
from emgreview.errors import LogBrokenError, LogError, ParameterError, UnknownNameError


@pytest.fixture
def review(tmp_path):
    with start(tmp_path, make_trials(n=12)) as session:
        yield session


def test_two_versions_in_words_and_as_a_table(review, tmp_path):
    for trial in review.queue[:6]:
        review.accept_rest(trial)
    review.seal("v1")
    for number, trial in enumerate(review.queue[:3]):
        review.move(trial, "FDI", onset_s=0.2 - (6 + number) / 1000)
        review.accept(trial, "FDI")
    review.unusable(review.queue[4], "FDI", ["clipped", "mains hum"])
    review.unusable(review.queue[5], "APB", ["clipped"])
    review.seal("v2")
    found = er.diff(tmp_path, "v1", "v2")
    assert str(found) == "3 onsets moved, median -7 ms; 2 newly unusable: clipped"
    moved = found.table[found.table["what"] == "onset moved"]
    assert list(moved["moved_ms"]) == [-6.0, -7.0, -8.0]
    assert list(moved["old"].astype(int) - moved["new"].astype(int)) == [6, 7, 8]
    assert set(moved["burst"]) == {"response"}
    counters = {line["counter"]: line["operation"] for line in log_lines(tmp_path)}
    assert {counters[number] for number in moved["counter"]} == {"accept"}
    back = er.diff(tmp_path, "v2", "v1")
    assert str(back) == "3 onsets moved, median +7 ms; 2 newly usable"
    assert str(er.diff(tmp_path, "v1", "v1")) == "nothing changed"
    assert er.diff(tmp_path, "v1", "v1").table.empty


def test_a_mark_moved_before_anybody_accepted_it_counts_from_the_method_s(review, tmp_path):
    one = review.queue[0]
    review.discuss(one)
    review.seal("v1")
    review.move(one, "FDI", onset_s=0.25)
    review.accept(one, "FDI")
    review.accept(one, "APB")
    assert str(er.diff(tmp_path, "v1")) == "1 onset moved, +50 ms; 2 newly reviewed"


def test_what_is_newly_reviewed_says_what_it_does_not_count(review, tmp_path):
    """A signal called unusable is reviewed in the table, and is told as unusable: the words add up to the column."""
    a, b, c, *_ = review.queue
    review.discuss(a)
    review.seal("v1")
    review.accept(a, "FDI")
    review.unusable(b, "FDI", ["clipped"])
    review.accept(c, "FDI")
    review.unusable(c, "FDI", ["clipped"])
    review.seal("v2")
    was, now = (er.read_version(tmp_path, name)["reviewed"].sum() for name in ("v1", "v2"))
    assert now - was == 3
    words = er.diff(tmp_path, "v1", "v2").words
    assert words[0] == "2 newly unusable: clipped"
    assert words[-1] == "2 newly reviewed, not counting those only called unusable"
    back = er.diff(tmp_path, "v2", "v1").words
    assert back[0] == "2 newly usable"
    assert back[-1] == "2 no longer reviewed, not counting those only no longer called unusable"


@pytest.mark.filterwarnings("ignore:Cut or filtered otherwise than before:emgreview.errors.SignalWarning")
def test_every_kind_of_change_has_its_words(tmp_path):
    trials = make_trials(n=12, sub="7")
    with start(tmp_path, trials, convention="one") as session:
        a, b, c, d, *_ = session.queue
        session.not_locatable(c, "FDI", earliest_s=0.1, latest_s=0.2)
        session.none_visible(d, "FDI")
        session.discuss(d)
        session.caution(a, "FDI", ["weak"])
        session.unusable(b, "FDI", ["clipped"])
        session.set_aside("rec", "FDI", 1, 2, ["clipped"])
        session.exclude("broken lead", recording="rec", channel="APB")
        session.accept(a, "APB")
        session.no_cue(session.queue[5], "double")
        session.seal("v1")
    other = lambda *x, **named: detect(*x, **named, onset_s=0.21)  # noqa: E731
    trials = dataclasses.replace(trials, processing=er.Processing(low_hz=30.0))
    with start(tmp_path, trials, convention="two", detect=other) as session:
        session.move(a, "APB", onset_s=0.3, offset_s=0.6)
        session.kind(a, "APB", "braking", burst="response")
        session.confidence(a, "APB", "sure", burst="response")
        session.half_width(a, "APB", 5, burst="response")
        session.add(a, "FDI", onset_s=0.05, kind="early small")
        session.remove(b, "FDI")
        session.usable(b, "FDI")
        session.not_locatable(c, "FDI", earliest_s=0.1, latest_s=0.3)
        session.none_visible(c, "APB")
        session.not_locatable(d, "APB", earliest_s=0.1, latest_s=0.3)
        session.add(d, "FDI", onset_s=0.1)
        session.discuss(d)
        session.discuss(c)
        session.caution(a, "FDI", ["tremor/rhythmic"])
        session.caution(c, "FDI", ["weak"])
        session.unusable(c, "APB", ["clipped"])
        session.behaviour(a, "late")
        session.comment(a, "=1")
        session.correct_cue(a, 0.01)
        session.set_aside("rec", "FDI", 3, 4, ["clipped"])
        session.exclude("left early", participant="7")
        session.readmit(recording="rec", channel="APB")
        session.no_cue(session.queue[5], None)
        session.no_cue(session.queue[6], "double")
        session.add_cue("rec", 0.25, "go", "missing")
        session.mark_burst("rec", "FDI", 0.1, 0.2)
    found = er.diff(tmp_path, "v1")
    elsewhere = {"no longer reviewed", "packages changed", "scale changed", "newly accepted in bulk"}
    taken_back = {"stretch taken back", "added cue taken back", "mark outside trials taken back"}
    assert not set(WORDS) - set(found.table["what"]) - taken_back - elsewhere
    assert "1 exclusion: left early" in found.words
    assert "1 behaviour changed: late" in found.words
    assert "1 cue corrected, +10 ms" in found.words
    assert "1 half-width of an onset changed" in found.words
    assert len(found.words) == len(set(found.table["what"]))
    assert taken_back <= set(er.diff(tmp_path, "now", "v1").table["what"])
    values = {
        row.what: (row.old, row.new) for row in found.table.astype(object).where(found.table.notna(), None).itertuples()
    }
    assert {
        what: values[what] for what in ("processing changed", "detection changed", "newly usable", "cue added")
    } == {
        "processing changed": ("low_hz 20", "low_hz 30"),
        "detection changed": ("onset_s 0.2", "onset_s 0.21"),
        "newly usable": ("unusable: clipped", "usable"),
        "cue added": (None, "go at 250"),
    }
    assert values["range changed"] == ("5100 to 5200", "5100 to 5300")
    assert values["stretch set aside"] == (None, "3000 to 4000: clipped")
    assert values["burst marked outside trials"] == (None, "100 to 200: response")
    assert values["newly reviewed"] == ("no", "yes")
    cells = [cell for pair in values.values() for cell in pair if cell]
    assert not [cell for cell in cells if cell[0] in "[{" or cell in ("true", "false")], "words, never JSON"


def test_of_settings_those_that_differ_are_told():
    def told(old, new):
        return old_and_new(Change("rec", None, None, None, "packages changed", old, new, None, None))

    assert told({"numpy": "2.1", "scipy": "1.14"}, {"numpy": "2.2", "scipy": "1.14"}) == ("numpy 2.1", "numpy 2.2")
    assert told({}, {"numpy": "2.2"}) == ("numpy none", "numpy 2.2")
    assert told(
        {"hash": "ab", "parameters": {"rest_s": [-1, 0]}}, {"hash": "cd", "parameters": {"rest_s": [-2, 0]}}
    ) == (
        "rest_s -1 to 0",
        "rest_s -2 to 0",
    )
    assert told({"hash": "ab"}, {"hash": "cd"}) == ("hash ab", "hash cd")


def test_any_two_points(review, tmp_path):
    a, b, *_ = review.queue
    review.accept(a, "FDI")
    review.seal("v1")
    review.accept(b, "FDI")
    review.move(b, "FDI", onset_s=0.3)
    lines = log_lines(tmp_path)
    assert str(er.diff(tmp_path, 2, 4)) == "1 newly reviewed"
    assert str(er.diff(tmp_path, "2", lines[3]["self"])) == "1 newly reviewed"
    assert str(er.diff(tmp_path, lines[2]["prev"][:12], lines[4]["prev"])) == "1 newly reviewed"
    (path,) = (tmp_path / "logs").glob("*.jsonl")
    head = json.loads((tmp_path / "versions" / "v1" / "decisions.json").read_text())["logs"]
    assert er.diff(tmp_path, 2, "v1").new["lines"] == {path.relative_to(tmp_path).as_posix(): 2}
    assert str(er.diff(tmp_path, next(iter(head.values()))["sha256"], "v1")) == "nothing changed"
    assert str(er.diff(tmp_path, 0)) == "1 onset moved, +100 ms; 1 newly reviewed"
    for wrong, error in (("v9", UnknownNameError), ("0" * 63 + "f", ParameterError), (True, ParameterError)):
        with pytest.raises(error):
            er.diff(tmp_path, wrong)


def test_of_several_reviewers_one_must_be_named(review, tmp_path):
    review.accept(review.queue[0], "FDI")
    review.seal("v1")
    with start(tmp_path, make_trials(n=12), reviewer="r2") as other:
        other.move(review.queue[0], "FDI", onset_s=0.19)
        other.accept(review.queue[0], "FDI")
        other.seal("w1")
    assert str(er.diff(tmp_path, "v1", "w1")) == "1 onset moved, -10 ms"
    with pytest.raises(ParameterError, match="r1, r2"):
        er.diff(tmp_path, "v1", "now")
    assert str(er.diff(tmp_path, "v1", "now", reviewer="r1")) == "nothing changed"
    with pytest.raises(UnknownNameError, match="r3"):
        er.diff(tmp_path, "v1", "now", reviewer="r3")


def test_a_log_that_is_not_the_sealed_one_is_refused(review, tmp_path):
    review.accept(review.queue[0], "FDI")
    review.seal("v1")
    review.close()
    (path,) = (tmp_path / "logs").glob("*.jsonl")
    whole = path.read_bytes()
    path.write_bytes(whole.splitlines(keepends=True)[0])
    with pytest.raises(LogError, match="cut short"):
        er.diff(tmp_path, "v1")
    path.write_bytes(whole.replace(b'"accepted":true', b'"accepted":tru2'))
    with pytest.raises(LogBrokenError, match="line 2"):
        er.diff(tmp_path, 1, 2)
    path.unlink()
    with pytest.raises(LogError, match="holds no log of a review"):
        er.diff(tmp_path, "v1", "v1")
