"""Evoked potentials where the filters begin or end near what is measured: the whole recording filtered is the truth."""

import numpy as np
import pytest
from scipy import signal

import emgreview as er

RATE = 2000
STIMULI = [3000 + 6000 * place for place in range(6)]


def recording(*, drift_uv=0.0, potential_s=0.01, at_s=0.02, markers=(), active_uv=0.0):
    n = STIMULI[-1] + 4000
    x = np.random.default_rng(4).normal(0, 3, n) + drift_uv * np.sin(2 * np.pi * 1.3 * np.arange(n) / RATE)
    length, first = int(potential_s * RATE), int(at_s * RATE)
    activity = active_uv * np.random.default_rng(5).normal(0, 1, n)
    for at in STIMULI:
        activity[at + first + length : at + 240] = 0  # silent until 0.12 s
    x += activity
    for at in STIMULI:
        wave = np.sin(2 * np.pi * np.arange(length) / length) * np.hanning(length)
        x[at + first : at + first + length] += 1000 * wave
    return er.Recording.from_array(
        x[np.newaxis], RATE, labels=["FDI"], markers=sorted([*((at, "pulse") for at in STIMULI), *markers])
    )


def cut(rec, **named):
    return er.cut_trials(rec, cue="pulse", before_s=1.0, after_s=1.0, processing=er.Processing(**named))


@pytest.mark.parametrize(
    ("around_s", "background_s", "low_hz"),
    [((0.1, 0.6), (-0.1, -0.005), 20.0), ((0.5, 0.6), (-0.5, -0.4), 20.0), ((0.5, 0.6), (-0.1, -0.005), 1.0)],
)
@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_background_is_that_of_a_filter_that_has_settled(around_s, background_s, low_hz):
    rec = recording(drift_uv=1000.0)
    found = er.measure_evoked(cut(rec, low_hz=low_hz), stimulus="pulse", around_s=around_s, background_s=background_s)
    x = rec.values(0, rec.n_samples)[0]
    x -= x[0]
    once = signal.sosfilt(signal.butter(2, (low_hz, 450), "bandpass", fs=RATE, output="sos"), x)
    early, late = (round(edge * RATE) for edge in background_s)
    truth = [np.sqrt(np.mean(once[at + early : at + late] ** 2)) for at in STIMULI]
    np.testing.assert_allclose(found["background_rms"][1:], truth[1:], rtol=0.02)


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_potential_that_goes_on_after_the_window_keeps_its_size_in_it():
    trials = cut(recording(potential_s=0.03, at_s=0.04))
    short, whole = (
        er.measure_evoked(trials, stimulus="pulse", around_s=around_s)["peak_to_peak"]
        for around_s in ((0.1, 0.06), (0.5, 0.6))
    )
    first, last = trials.before + round(0.012 * RATE), trials.before + round(0.06 * RATE)
    np.testing.assert_allclose(whole, np.ptp(trials.data[:, 0, first:last], axis=1), rtol=0.01)
    np.testing.assert_allclose(short, whole, rtol=0.01)


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_what_is_read_for_the_filters_alone_ends_no_silent_period():
    trials = cut(recording(active_uv=50.0))
    found = er.measure_evoked(trials, stimulus="pulse")
    np.testing.assert_allclose(found["silent_period_s"], 0.12, atol=0.01)
    short = er.measure_evoked(trials, stimulus="pulse", around_s=(0.1, 0.1))
    assert set(short["pause"]) == {"no return"}
    assert short["silent_period_s"].isna().all()


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_stimulus_of_another_name_beyond_around_s_does_not_ring_into_the_background():
    trials = cut(recording(markers=[(at - 220, "CS") for at in STIMULI]))
    found = er.measure_evoked(trials, stimulus="pulse", around_s=(0.1, 0.6))
    assert found["background_rms"].isna().all()
    words = " ".join(found.attrs["notes"])
    assert "s after it that the filters need, of 6 of 6 stimuli lie other markers" in words
    named = er.measure_evoked(trials, stimulus="pulse", around_s=(0.1, 0.6), not_stimuli=["CS"])
    assert named["background_rms"].notna().all()


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_stimulus_near_an_end_of_the_recording_is_told_where_the_filters_cannot_settle():
    x = np.random.default_rng(4).normal(0, 3, (1, 20_000))
    rec = er.Recording.from_array(
        x, RATE, labels=["FDI"], markers=[(1050, "pulse"), (9000, "pulse"), (15_000, "pulse")]
    )
    words = "lie so near an end of the recording that the filters have not settled"
    for background_s, told in (((-0.5, -0.4), True), ((-0.1, -0.005), False)):
        notes = er.measure_evoked(cut(rec), stimulus="pulse", background_s=background_s).attrs["notes"]
        assert any(note.startswith("1 stimuli") and words in note for note in notes) == told
