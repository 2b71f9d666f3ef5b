"""A signal that stands still for a while, as where packets were lost: every table of measures tells it."""

import re
import warnings

import numpy as np
import pytest

import emgreview as er
from emgreview.signal.still import longest_still

RATE = 1000
CUES = [2000 + 3000 * place for place in range(6)]
WORDS = "where the signal stands still for a while, somewhere in the trial"


def recording(*, lost=(), value=0.0, offset_uv=0.0):
    rng = np.random.default_rng(3)
    x = rng.normal(offset_uv, 5, (2, CUES[-1] + 3000))
    for cue in CUES:
        x[:, cue + 200 : cue + 600] += rng.normal(0, 100, (2, 400))
    for cue in CUES[:3]:
        for start, stop in lost:
            x[0, cue + start : cue + stop] = value
    markers = sorted([(cue, "go") for cue in CUES] + [(cue + 700, "pulse") for cue in CUES])
    return er.Recording.from_array(x, RATE, labels=["FCR", "ECR"], markers=markers)


def reviewed(tmp_path, rec):
    trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.2)
    with er.open_review(trials, tmp_path / "review", reviewer="r1") as session:
        for trial in session.queue:
            for channel in session.open_channels(trial):
                if not session.activity(trial, channel).bursts:  # nothing is found after a rest that stands still
                    session.add(trial, channel, onset_s=0.2, offset_s=0.6)
                session.accept(trial, channel)
        return trials, session.decisions()


def tables(trials, decisions):
    with warnings.catch_warnings(action="ignore"):
        yield er.measure(trials, decisions).attrs["notes"]
        yield er.compare_channels(trials, decisions, "FCR", "ECR").attrs["notes"]
        yield er.measure_evoked(trials, stimulus="pulse", decisions=decisions).attrs["notes"]
        yield er.average_envelopes(trials, decisions, to="go", before_s=0.2, after_s=0.4)["FCR"].notes
        yield er.detection_floor(trials, "FCR", decisions=decisions, injections=20).left_out


@pytest.mark.parametrize("lost", [(-400, -200), (300, 400)])
@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning", "ignore::emgreview.errors.DecisionWarning")
def test_a_standstill_in_rest_or_burst_is_told_by_every_table(tmp_path, lost):
    trials, decisions = reviewed(tmp_path, recording(lost=[lost]))
    for notes in tables(trials, decisions):
        words = next(note for note in notes if WORDS in note)
        assert re.search(rf"FCR of recording \d \(up to {lost[1] - lost[0]} ms\)", words)
        assert "ECR" not in words


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning", "ignore::emgreview.errors.DecisionWarning")
def test_a_rest_of_lost_packets_is_too_small_and_a_whole_signal_says_nothing(tmp_path):
    (tmp_path / "lost").mkdir()
    levels = []
    for name, lost in (("whole", ()), ("lost", [(-400, -200)])):
        trials, decisions = reviewed(tmp_path / name, recording(lost=lost))
        table = er.measure(trials, decisions)
        first = table[(table["channel"] == "FCR") & table["trial"].isin(trials.ids[:3])]
        levels.append(first["rest_rms"].median())
        assert any(WORDS in note for note in table.attrs["notes"]) == bool(lost)
    assert levels[1] < 0.85 * levels[0]


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning", "ignore::emgreview.errors.DecisionWarning")
def test_who_calls_the_signal_unusable_is_not_told(tmp_path):
    rec = recording(lost=[(300, 400)])
    trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.2)
    with er.open_review(trials, tmp_path / "review", reviewer="r1") as session:
        for trial in session.queue:
            session.accept_rest(trial)
        for trial in trials.ids[:3]:
            session.unusable(trial, "FCR", ["other: packets lost"])
        table = er.measure(trials, session.decisions())
    assert not any(WORDS in note for note in table.attrs["notes"])


def test_a_list_of_bursts_tells_where_a_signal_stands_still():
    with pytest.warns(
        er.SignalWarning, match=r"stands still in \d of \d stretches, for up to 100 ms, as where packets"
    ):
        cut_in_two = er.list_bursts(recording(lost=[(350, 450)]), channel="FCR")
    assert len(cut_in_two) == len(CUES) + 3
    assert len(er.list_bursts(recording(), channel="FCR")) == len(CUES)


@pytest.mark.parametrize("rate_hz", [200, 1000, 5000])
@pytest.mark.parametrize("step", [0.0, 0.1, 1.0, 2.0])
def test_rounding_holding_and_clipping_are_no_standstill(rate_hz, step):
    rng = np.random.default_rng(7)
    for _ in range(20):
        x = rng.normal(0, 1, int(2.5 * rate_hz))
        x[rate_hz : rate_hz + rate_hz // 3] *= 10
        x = np.round(x / step) * step if step else x
        assert longest_still(x, rate_hz) == 0
        assert step > 1 or longest_still(np.repeat(x[::10], 10), rate_hz) == 0
        high = np.clip(x, -8, 8)
        high[100 : 100 + rate_hz // 10] = 8
        assert longest_still(high, rate_hz) == 0


def test_a_standstill_is_as_long_as_it_is():
    x = np.random.default_rng(1).normal(0, 1, 2500)
    x[700:750] = x[699]
    x[1200:1300] = np.nan
    assert longest_still(x, 1000) == 51
    assert longest_still(np.zeros(2500), 1000) == 0
    assert longest_still(np.full(2500, np.nan), 1000) == 0
