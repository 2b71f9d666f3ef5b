"""Markers of other labels near a stimulus, or between a cue and a response: what they end, and that it is told."""

import numpy as np
import pandas as pd
import pytest

import emgreview as er
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
