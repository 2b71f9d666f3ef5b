"""Markers of other labels near a stimulus, or between a cue and a response: what they end, and that it is told."""

import numpy as np
import pandas as pd
import pytest

import emgreview as er
from emgreview.cli.source import with_added
from emgreview.cli.words import in_shell_words
from emgreview.errors import ParameterError, UnknownNameError

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # the notes themselves are read here

RATE = 5000
TESTS = list(range(10_000, 140_000, 20_000))


def paired(labels, isi_s, extra=()):
    """Seven test pulses with a potential of 200 µV, 22 ms on; before every second one, at ``isi_s``, a conditioning
    pulse with one of 3 mV. Labels: of the test pulse, of the other."""
    x = np.random.default_rng(1).normal(0, 5, (1, 150_000))
    potential = np.sin(np.arange(50) * 2 * np.pi / 50)
    first = [at - round(isi_s * RATE) for at in TESTS[1::2]]
    for at in TESTS:
        x[0, at + 110 : at + 160] += 100 * potential
    for at in first:
        x[0, at + 110 : at + 160] += 1500 * potential
    markers = [*((at, labels[0]) for at in TESTS), *((at, labels[1]) for at in first), *extra]
    rec = er.Recording.from_array(x, RATE, labels=["FDI"], markers=sorted(markers), name="pairs")
    return er.cut_trials(rec, cue=labels[0], before_s=1.0, after_s=1.0)


@pytest.mark.parametrize("isi_s", [0.01, 0.03])
def test_a_stimulus_of_another_name_counts_as_one_of_another_number_does(isi_s):
    found, numbered = (
        er.measure_evoked(paired(labels, isi_s), stimulus=labels[0]) for labels in (("TS", "CS"), ("TS 1", "TS 2"))
    )
    for name in ("peak_to_peak", "latency_s", "background_rms", "silent_period_s", "mixed", "decay"):
        np.testing.assert_array_equal(found[name].isna(), numbered[name].isna())
        np.testing.assert_array_equal(found[name].dropna(), numbered[name].dropna())
    assert found["mixed"].tolist() == [False, True] * 3 + [False]
    assert found["latency_s"][1::2].isna().all()
    words = " ".join(found.attrs["notes"])
    assert "Within around_s of 3 of 7 stimuli lie other markers, which count as other stimuli: 'CS' 3." in words
    assert "not_stimuli=['CS']" in words
    assert "other markers, which count" not in " ".join(numbered.attrs["notes"])


def test_the_other_way_round_the_size_of_the_first_is_missing():
    trials = paired(("TS", "CS"), 0.03)
    found = er.measure_evoked(trials, stimulus="CS")
    assert found["peak_to_peak"].isna().all()
    assert "another stimulus follows before window_s ends" in " ".join(found.attrs["notes"])


def test_markers_that_are_no_stimuli_change_nothing_once_they_are_named():
    plain = er.measure_evoked(paired(("TS", "CS"), 0.03), stimulus="TS")
    seen = [(at - 250, "eye") for at in TESTS] + [(at + 200, "press") for at in TESTS]
    trials = paired(("TS", "CS"), 0.03, seen)
    missing = er.measure_evoked(trials, stimulus="TS")
    assert missing[["peak_to_peak", "background_rms"]].isna().all(axis=None)
    assert "'CS' 3, 'eye' 7, 'press' 7" in " ".join(missing.attrs["notes"])
    named = er.measure_evoked(trials, stimulus="TS", not_stimuli=["eye", "press"])
    for name in ("peak_to_peak", "latency_s", "background_rms", "mixed"):
        np.testing.assert_array_equal(named[name].isna(), plain[name].isna())
        np.testing.assert_array_equal(named[name].dropna(), plain[name].dropna())
    with pytest.raises(UnknownNameError, match="marker of not_stimuli is called 'eyes'"):
        er.measure_evoked(trials, stimulus="TS", not_stimuli=["eyes"])
    for wrong in (["TS"], "eye", [1]):
        with pytest.raises(ParameterError, match="not_stimuli came as"):
            er.measure_evoked(trials, stimulus="TS", not_stimuli=wrong)


def test_stimuli_go_by_the_decisions_of_one_reviewer_alone(tmp_path):
    trials = paired(("TS", "CS"), 0.03)
    tables = []
    for code in ("r1", "r2"):
        with er.open_review(trials, tmp_path, reviewer=code) as session:
            if code == "r2":
                session.unusable(session.queue[0], "FDI", ["mains hum"])
            tables.append(session.decisions())
    assert er.measure_evoked(trials, stimulus="TS", decisions=tables[1])["signal"][0] == "unusable"
    for both in (tables, tables[::-1]):
        with pytest.raises(ParameterError, match="holds decisions of r1 and r2 on one channel"):
            er.measure_evoked(trials, stimulus="TS", decisions=pd.concat(both))


def test_a_stimulus_that_was_added_by_hand_counts(tmp_path):
    trials = paired(("TS", "CS"), 0.03)
    bare = trials.recording.with_markers([one for one in trials.recording.markers if one.label == "TS"])
    cut = er.cut_trials(bare, cue="TS", before_s=1.0, after_s=1.0)
    with er.open_review(cut, tmp_path, reviewer="r1") as session:
        session.add_cue("pairs", (TESTS[1] - 150) / RATE, "CS", "the trigger missed it")
        table = session.decisions()
    assert not er.measure_evoked(cut, stimulus="TS")["mixed"].any()
    assert er.measure_evoked(cut, stimulus="TS", decisions=table)["mixed"].tolist() == [False, True] + [False] * 5


PRESSED = [(4000, "left"), (6200, "right"), (6700, "press"), (12_000, "left"), (12_500, "press"), (20_000, "left")]
PRESSED += [(20_500, "press")]


def pressed(folder, markers=PRESSED, added=None, none=None, **cut):
    """Trials and decisions of a muscle that answers every "left" after 0.25 s, and the next marker "right" too."""
    x = np.random.default_rng(3).normal(0, 3, (1, 30_000))
    for at, label in markers:
        if label != "press":
            x[0, at + 250 : at + 700] += np.random.default_rng(at).normal(0, 60, 450)
    rec = er.Recording.from_array(x, 1000.0, labels=["A"], markers=markers, name="p")
    trials = er.cut_trials(rec, **{"cue": "left", "before_s": 1.0, "after_s": 3.0} | cut)
    with er.open_review(trials, folder, reviewer="r1") as session:
        for trial in trials.ids:
            session.accept(trial, "A")
        if added:
            session.add_cue("p", added[0] / 1000, added[1], "the trigger missed it")
        if none is not None:
            session.no_cue(trials.ids[none], "double")
        session.seal("v1")
        return trials, session.decisions()


def averaged(trials, table, **how):
    return er.average_envelopes(trials, table, to="response", response="press", before_s=0.2, after_s=0.2, **how)["A"]


@pytest.mark.parametrize("after_s", [1.5, 3.0])
def test_a_response_to_the_cue_of_another_condition_is_not_that_of_this_trial(after_s, tmp_path):
    trials, table = pressed(tmp_path, after_s=after_s)
    found = er.measure(trials, table, response="press")
    np.testing.assert_allclose(found["reaction_s"], [np.nan, 0.5, 0.5])
    mean = averaged(trials, table)
    assert mean.n.max() == 2
    if after_s == 3.0:
        words = "p: of 1 rows the search for 'press' ended at another marker before one came: 'right' 1; it may be"
        for notes in (found.attrs["notes"], mean.notes):
            assert any(note.startswith(words) and "not_cues=['right']" in note for note in notes)
        named = er.measure(trials, table, response="press", not_cues=["right"])
        np.testing.assert_allclose(named["reaction_s"], [2.7, 0.5, 0.5])
        assert averaged(trials, table, not_cues=["right"]).n.max() == 3


def test_a_code_that_is_no_cue_may_be_named_and_no_other_name_passes(tmp_path):
    codes = [(at, {"left": "S 1", "right": "S 7"}.get(label, label)) for at, label in PRESSED]
    trials, table = pressed(tmp_path, codes, cue="S 1")
    for more, first in ({}, np.nan), ({"not_cues": ["S 7"]}, 2.7):
        found = er.measure(trials, table, response="press", **more)
        np.testing.assert_allclose(found["reaction_s"], [first, 0.5, 0.5])
        assert ("count as cues" in " ".join(found.attrs["notes"])) == (not more)
    for call in (
        lambda **how: er.measure(trials, table, response="press", **how),
        lambda **how: averaged(trials, table, **how),
    ):
        with pytest.raises(UnknownNameError, match="marker of not_cues is called 'S 9'"):
            call(not_cues=["S 9"])
        for wrong in (["S 1"], ["press"], "S 7"):
            with pytest.raises(ParameterError, match="not_cues came as"):
                call(not_cues=wrong)


@pytest.mark.parametrize("label", ["left", "right"])
def test_a_cue_that_was_added_by_hand_ends_the_search(label, tmp_path):
    missed = [one for one in PRESSED if one[1] != "right"]
    trials, table = pressed(tmp_path, missed, added=(6200, label))
    for decisions in (table, er.read_version(tmp_path, "v1")):
        np.testing.assert_allclose(er.measure(trials, decisions, response="press")["reaction_s"], [np.nan, 0.5, 0.5])
        assert averaged(trials, decisions).n.max() == 2


def test_a_row_goes_by_the_cues_and_bursts_of_its_own_reviewer(tmp_path):
    doubled = [(at, "left" if label == "right" else label) for at, label in PRESSED]
    trials, one = pressed(tmp_path / "one", doubled)
    _, two = pressed(tmp_path / "two", doubled, none=1)
    one, two = one.assign(reviewer="r1"), two.assign(reviewer="r2", offset_s=two["offset_s"], channel=two["channel"])
    how = {"response": "press", "normalise": "peak in task"}
    apart = [er.measure(trials, table, **how) for table in (one, two)]
    assert np.isnan(apart[0]["reaction_s"][0])
    assert apart[1]["reaction_s"][0] == pytest.approx(2.7)
    both = er.measure(trials, pd.concat([one, two], ignore_index=True), **how)
    for code, alone in zip(("r1", "r2"), apart, strict=True):
        mine = both[both["reviewer"] == code].reset_index(drop=True)
        for name in ("reaction_s", "rest_rms", "burst_peak_percent"):
            np.testing.assert_array_equal(mine[name], alone[name])


def test_the_shell_says_by_which_option_a_marker_is_no_cue():
    words = "Of markers that are no cues, say so: not_cues=['S 7', 'end']."
    assert in_shell_words(words) == 'Of markers that are no cues, say so: --not-cue "S 7" --not-cue "end".'
    assert in_shell_words("touches creep_s, or 0.1 s around it; give a shorter creep_s").endswith("around it")


def test_the_shell_cuts_a_cue_that_was_added_by_hand(tmp_path):
    """Before, measure ended with the ids that the trials had, and no word on the cue."""
    rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    cues = [one.sample for one in rec.markers if one.label == "go"]
    rec = rec.with_markers([er.Marker(at, "go") for at in cues[:2]])
    cut = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
    with er.open_review(er.cut_trials(rec, **cut), tmp_path, reviewer="r1") as session:
        session.add_cue(rec.name, cues[2] / 1000, "go", "the trigger missed it")
        more = session.with_added_cues(rec.name)
    with er.open_review(er.cut_trials(more, **cut), tmp_path, reviewer="r1") as session:
        for trial in session.queue:
            session.accept_rest(trial)
        session.seal("v1")
    table = er.read_version(tmp_path, "v1")
    given = with_added(rec, "go", table["trial"])
    assert [one.sample for one in given.markers] == cues[:3]
    assert len(er.measure(er.cut_trials(given, **cut), table)) == int(table["burst"].notna().sum())
    assert with_added(more, "go", table["trial"]) is more
    with pytest.raises(UnknownNameError, match=r"lack 1 of the .* trials .*add_cue"):
        er.measure(er.cut_trials(rec, **cut), table)
