"""Trials: cut from the filtered recording, exact about where they lie, and open about what is missing."""

import copy
import pickle
import warnings

import numpy as np
import pytest

from emgreview.conditioning import condition, condition_blocks, margin_samples
from emgreview.errors import (
    EmgreviewError,
    MarkerError,
    ParameterError,
    RateError,
    SignalError,
    SignalWarning,
    UnitError,
    UnknownNameError,
)
from emgreview.many.cut import cut_all
from emgreview.model import Channel, Marker, Processing, Recording
from emgreview.rhythm import _holes
from emgreview.signal.envelope import low_pass_envelope
from emgreview.signal.filters import bandpass
from emgreview.simulation import rest_noise
from emgreview.trials import check, cut_trials, notes_on

RATE = 2000.0
PROCESSINGS = {
    "default": Processing(),
    "causal": Processing(direction="causal"),
    "open above, RMS": Processing(high_hz=None, envelope="rms"),
    "slow and steep": Processing(low_hz=2.0, order=4, envelope_hz=5.0, remove_offset=False),
}


def samples(channels=2, seconds=10.0, seed=0):
    """Noise on an offset of 1e5 µV with a random walk and a slow wave of tens of millivolts."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    noise = rng.standard_normal((2, channels, n))
    walk = 3e4 * np.cumsum(noise[1], axis=-1) / np.sqrt(n)
    return 10 * noise[0] + 1e5 + walk + 2e4 * np.sin(2 * np.pi * 0.3 * np.arange(n) / RATE)


def recording(x=None, markers=((4000, "go"), (10000, "go"), (10500, "response")), **more):
    x = samples() if x is None else x
    return Recording.from_array(x, RATE, labels=[f"m{i}" for i in range(len(x))], markers=markers, **more)


def cut(rec, **more):
    return cut_trials(rec, **{"cue": "go", "before_s": 0.6, "after_s": 1.0, **more})


@pytest.mark.parametrize("processing", PROCESSINGS.values(), ids=PROCESSINGS)
@pytest.mark.parametrize("block_s", [0.9, 3.3])
def test_blocks_equal_the_whole_file(processing, block_s):
    """Within 1e-3 µV, the file's ends included, on an offset of 1e5 µV and drift, with missing samples."""
    x = samples(3, seconds=30)
    x[0, 1000:5000] = np.nan
    x[1, [30000, 30050, 30300]] = np.nan
    rec = recording(x)
    whole, outline = condition(rec, 0, rec.n_samples, processing=processing)
    at = 0
    for start, banded, smooth in condition_blocks(rec, processing=processing, block_s=block_s):
        here = slice(start, start + banded.shape[1])
        assert start == at
        assert np.allclose(banded, whole[:, here], rtol=0, atol=1e-6, equal_nan=True)
        assert np.allclose(smooth, outline[:, here], rtol=0, atol=1e-6, equal_nan=True)
        at = here.stop
    assert at == rec.n_samples
    assert margin_samples(RATE, processing) < rec.n_samples / 2


def test_margin_is_needed():
    """With a hundredth of the margin, blocks would differ: the test above can fail."""
    rec = recording()
    whole = condition(rec, 0, rec.n_samples, processing=Processing())[0]
    margin = margin_samples(RATE, Processing()) // 100
    x = rec.values(8000 - margin, 9000 + margin)
    short = bandpass(x, RATE, low_hz=20, high_hz=450, order=2, direction="zero-phase")[:, margin:-margin]
    assert np.abs(short - whole[:, 8000:9000]).max() > 1


def test_whole_recording_is_filtered_as_the_signal_functions_do():
    rec = recording()
    banded, smooth = condition(rec, 0, rec.n_samples, channels=["m1"], processing=Processing())
    expected = bandpass(rec.values()[1:], RATE, low_hz=20, high_hz=450, order=2, direction="zero-phase")
    assert np.array_equal(banded, expected)
    assert np.array_equal(smooth, low_pass_envelope(expected, RATE, corner_hz=50, order=2, direction="zero-phase"))


def test_trials_are_filtered_first_and_cut_afterwards():
    rec = recording()
    trials = cut(rec)
    whole, outline = condition(rec, 0, rec.n_samples, processing=trials.processing)
    assert trials.data.shape == trials.envelope.shape == (2, 2, 3200)
    assert trials.data.dtype == trials.envelope.dtype == np.float32
    for trial, sample in enumerate((4000, 10000)):
        here = slice(sample - 1200, sample + 2000)
        assert np.allclose(trials.data[trial], whole[:, here], atol=1e-3)
        assert np.allclose(trials.envelope[trial], outline[:, here], atol=1e-3)
    assert trials.ids == ("recording/given/4000", "recording/given/10000")
    assert trials.time_s[0] == -0.6
    assert trials.time_s[1200] == 0
    assert trials.before == 1200
    assert trials.time_s[-1] == pytest.approx(1.0 - 1 / RATE)
    assert trials.unit == "uV"
    assert trials.notes == ()
    assert [m.label for m in trials.markers(trials.ids[1])] == ["go", "response"]


@pytest.mark.filterwarnings("ignore:.* trials share samples:emgreview.errors.SignalWarning")
def test_other_cues_change_neither_ids_nor_data():
    x = samples()
    some, more = recording(x), recording(x, markers=[(s, "go") for s in range(2000, 18000, 500)])
    a, b = cut(some), cut(more)
    assert set(a.ids) < set(b.ids)
    for trial, name in enumerate(a.ids):
        assert np.allclose(a.data[trial], b.data[b.index(name)], atol=1e-4)
        assert np.allclose(a.envelope[trial], b.envelope[b.index(name)], atol=1e-4)


@pytest.mark.filterwarnings("ignore:.* trials share samples:emgreview.errors.SignalWarning")
def test_long_recording_is_filtered_in_groups():
    x = samples(1, seconds=100)
    markers = [(s, "go") for s in range(2000, 198000, 3000)]
    trials = cut(recording(x, markers=markers))
    whole = bandpass(x, RATE, low_hz=20, high_hz=450, order=2, direction="zero-phase")
    for trial, (sample, _) in enumerate(markers):
        assert np.allclose(trials.data[trial], whole[:, sample - 1200 : sample + 2000], atol=1e-3)


@pytest.mark.filterwarnings("ignore:.* has a level that no surface EMG has:emgreview.errors.SignalWarning")
def test_shift_gain_and_sign():
    x = samples()
    plain = cut(recording(x, markers=[(10000, "go")]))
    later = cut(recording(x[:, 321:], markers=[(10000 - 321, "go")]))
    assert np.allclose(later.data, plain.data, atol=1e-3)
    louder = cut(recording(-4 * x, markers=[(10000, "go")]))
    assert np.allclose(louder.data, -4 * plain.data, atol=1e-3)
    assert np.allclose(louder.envelope, 4 * plain.envelope, atol=1e-3)


def test_trials_beyond_the_recording_are_kept_and_noted():
    rec = recording(markers=[(400, "go"), (10000, "go"), (19500, "go")])
    with pytest.warns(SignalWarning, match="reaches beyond the recording") as told:
        trials = cut(rec)
    assert [str(one.message) for one in told] == [f"{rec.name}: {note}" for note in trials.notes]
    assert len(trials) == 3
    assert np.isnan(trials.data[0, :, :800]).all()
    assert np.isfinite(trials.data[0, :, 800:]).all()
    assert np.isnan(trials.envelope[2, :, 1700:]).all()
    assert np.isfinite(trials.data[2, :, :1700]).all()
    assert len(trials.notes) == 2
    assert trials.notes[0] == (
        "The trial at sample 400 (0.200 s) reaches beyond the recording: 800 of its 3200 samples are missing."
    )
    whole = condition(rec, 0, rec.n_samples, processing=Processing())[0]
    assert np.allclose(trials.data[0, :, 800:], whole[:, :2400], atol=1e-3)


def test_missing_samples_are_noted():
    x = samples()
    x[1, 4100:4200] = np.nan
    x[1, 4230] = np.nan
    with pytest.warns(SignalWarning) as told:
        trials = cut(recording(x))
    assert [str(one.message).partition(": ")[2] for one in told] == list(trials.notes)
    assert np.isnan(trials.data[0, 1]).sum() == 131
    assert np.isfinite(trials.data[0, 0]).all()
    assert trials.notes == (
        "Channel m1 lacks samples in 1 of 2 trials.",
        "Channel m1 has 30 samples between missing ones that were too few to filter, and are missing from the trials.",
    )


@pytest.mark.parametrize(("value", "words"), [(0.0, "never changes"), (7.0, "never changes"), (np.nan, "no samples")])
def test_dead_channel_is_kept_with_a_warning(value, words):
    x = samples()
    x[1] = value
    with pytest.warns(SignalWarning, match=f"Channel m1 .*{words} in any of the 2 trials") as caught:
        trials = cut(recording(x))
    assert caught[0].filename == __file__
    assert trials.data.shape == (2, 2, 3200)
    assert len(trials.notes) == 1
    assert "Channel m1" in trials.notes[0]


def test_channel_that_is_constant_in_one_trial_only_is_no_dead_channel():
    x = samples()
    x[1, 2000:7000] = 3.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert cut(recording(x)).notes == ()


def test_declared_delay_of_a_device_is_taken_out():
    x = samples()
    delayed = cut(recording(x, channels=[Channel("m0"), Channel("m1", delay_s=0.05)]))
    plain = cut(recording(x, markers=[(4100, "go"), (10100, "go")]))
    assert np.allclose(delayed.data[:, 1], plain.data[:, 1], atol=1e-3)
    assert not np.allclose(delayed.data[:, 0], plain.data[:, 0], atol=1)


def test_auxiliary_channels_stay_as_they_are():
    x = samples(3)
    channels = [
        Channel("m0"),
        Channel("force", kind="MISC", unit="N"),
        Channel("m1", status="bad", status_description="loose lead"),
    ]
    rec = Recording.from_array(
        x, RATE, labels=["m0", "force", "m1"], channels=channels, markers=[(400, "go"), (10000, "go")]
    )
    with pytest.warns(SignalWarning, match="marked bad|beyond the recording"):
        trials = cut(rec)
    assert trials.labels == ("m0", "m1")
    assert trials.auxiliary_labels == ("force",)
    assert trials.auxiliary.shape == (2, 1, 3200)
    assert np.array_equal(trials.auxiliary[1, 0], x[1, 8800:12000])
    assert np.isnan(trials.auxiliary[0, 0, :800]).all()
    assert "Channel m1 is marked bad in the recording (loose lead)." in trials.notes


def test_arbitrary_units_are_kept_apart_from_microvolts():
    assert cut(recording(unit="arbitrary")).unit == "arbitrary"
    mixed = [Channel("m0"), Channel("m1", unit="arbitrary")]
    with pytest.raises(UnitError, match="m0 in 'uV', m1 in 'arbitrary'"):
        cut(recording(channels=mixed))
    with pytest.raises(UnitError, match="m0 in 'N'"):
        cut(recording(samples(1), channels=[Channel("m0", unit="N")]))
    with pytest.raises(SignalError, match=r"no channel of kind EMG, only m0 \(MISC\)"):
        cut(recording(samples(1), channels=[Channel("m0", kind="MISC", unit="N")]))


def test_cues_that_cannot_be_used_are_refused():
    with pytest.raises(UnknownNameError, match="no marker is called 'og'; there are: go, response"):
        cut(recording(), cue="og")
    twice = [Marker(4000, "go"), Marker(4000, "go", source="channel trigger")]
    with pytest.raises(MarkerError, match=r"two markers 'go' lie at sample 4000 .*given, channel trigger"):
        cut(recording(markers=twice))


@pytest.mark.parametrize(
    ("change", "error", "match"),
    [
        ({"before_s": 0.0}, ParameterError, "before_s came as 0.0"),
        ({"after_s": -1.0}, ParameterError, "after_s came as -1.0"),
        ({"after_s": float("nan")}, ParameterError, "after_s came as nan"),
        ({"before_s": 0.3}, ParameterError, r"rest window came as -0.5 to 0 s .* -0.3 to 1 s"),
        ({"processing": Processing(rest_s=(0.5, 1.5))}, ParameterError, "rest window came as 0.5 to 1.5 s"),
        ({"processing": Processing(high_hz=1000.0)}, RateError, "too low for a high_hz of 1000 Hz"),
    ],
)
def test_windows_and_bands_that_do_not_fit_are_refused(change, error, match):
    with pytest.raises(error, match=match):
        cut(recording(), **change)


def test_rest_window_may_be_as_long_as_the_trial():
    assert len(cut(recording(), before_s=0.5, after_s=1.0, processing=Processing(rest_s=(-0.5, 1.0)))) == 2


def test_check_looks_at_every_emg_channel():
    rng = np.random.default_rng(1)
    x = 5 * rng.standard_normal((3, round(200 * RATE)))
    x[1] += 20 * np.sin(2 * np.pi * 60 * np.arange(x.shape[1]) / RATE)
    channels = [Channel("m0"), Channel("m1"), Channel("force", kind="MISC", unit="N")]
    first, second = check(Recording.from_array(x, RATE, labels=["m0", "m1", "force"], channels=channels))
    assert (first.label, second.label) == ("m0", "m1")
    assert first.seconds == second.seconds == 60
    assert first.findings == ()
    assert "Mains at 60 Hz" in second.findings[0]
    short = check(Recording.from_array(x[:, :9000], RATE, labels=["m0", "m1", "force"], mains_hz=50))
    assert [q.seconds for q in short] == [4.5] * 3
    assert short[1].mains_hz == 50


@pytest.mark.parametrize("sample", [3.0, 7.25, "3", None, np.float64(4000)])
def test_a_marker_in_seconds_is_refused_and_not_taken_for_samples(sample):
    with pytest.raises(MarkerError, match="a marker lies at a sample, a whole number"):
        Recording.from_array(np.zeros((1, 8000)), 2000, labels=["m0"], markers=[(sample, "go")])
    assert Marker(np.int64(7), "go").sample == 7


def test_a_rate_too_low_for_the_usual_band_says_so_and_what_to_do():
    slow = Recording.from_array(np.zeros((1, 4000)), 800.0, labels=["FDI"], markers=[(2000, "go")])
    with pytest.raises(RateError) as caught:
        cut_trials(slow, cue="go", before_s=1, after_s=1)
    assert "too low for a high_hz of 450 Hz" in str(caught.value)
    assert "came" not in str(caught.value), "nobody gave it"
    assert "high_hz=None" in str(caught.value)


def cued(intervals_s, others=(), name="recording"):
    """Quiet noise with a cue after each interval, in seconds, and other markers (seconds, label)."""
    at = 2 + np.cumsum([0, *intervals_s])
    markers = sorted([(round(t * RATE), "go") for t in at] + [(round(t * RATE), label) for t, label in others])
    x = np.random.default_rng(2).normal(size=(1, round((at[-1] + 3) * RATE)))
    return Recording.from_array(x, RATE, labels=["m0"], markers=markers, name=name)


def test_more_or_fewer_cues_than_expected_are_told():
    rec = cued([3.0] * 9)
    assert cut(rec, expect=10).notes == ()
    with pytest.warns(SignalWarning, match=r"recording: 12 cues 'go' were expected and 10 are there: 2 are missing"):
        trials = cut(rec, expect=12)
    assert trials.notes == (
        "12 cues 'go' were expected and 10 are there: 2 are missing. The first lies at 2.000 s, the last at 29.000 s "
        "of 32.000 s.",
    )
    with pytest.warns(SignalWarning, match="1 is too many") as caught:
        cut(rec, expect=9)
    assert caught[0].filename == __file__
    for came in (0, 2.5, "40", True):
        with pytest.raises(ParameterError, match=r"expect came as .*allowed: a whole number from 1 up"):
            cut(rec, expect=came)


def test_a_hole_in_the_intervals_between_cues_is_told():
    with pytest.warns(SignalWarning, match="Cues 'go' follow one another after 3 to 3 s, but for"):
        trials = cut(cued([3.0] * 5 + [6.0] + [3.0] * 4 + [12.0] + [3.0] * 3))
    assert trials.notes == (
        "Cues 'go' follow one another after 3 to 3 s, but for 17.000 to 23.000 s (some 1 missing), 35.000 to 47.000 s "
        "(some 3 missing): a pause, or cues that are missing; look there.",
    )


@pytest.mark.parametrize(
    ("low_s", "high_s", "found"), [(4.0, 4.0, 1.0), (3.6, 4.4, 1.0), (3.0, 5.0, 0.95), (2.5, 4.5, 0.9), (2.0, 5.0, 0.6)]
)
def test_single_lost_cues_are_found_and_sound_rhythms_left_alone(low_s, high_s, found, counted):
    """40 cues that jitter evenly: without one, the hole is told and no other; with all, nothing is."""
    rng = np.random.default_rng(7)
    n, told, wrong, false = 200, 0, 0, 0
    for _ in range(n):
        at = np.r_[0, np.cumsum(rng.uniform(low_s, high_s, 39))]
        false += _holes(np.diff(at)).any()
        lost = rng.integers(1, 39)
        holes = _holes(np.diff(np.delete(at, lost)))
        told += holes[lost - 1]
        wrong += np.delete(holes, lost - 1).any()
    counted(f"lost cues, intervals {low_s:g} to {high_s:g} s: {told} of {n} told, {false} of {n} sound rhythms accused")
    assert told >= found * n
    assert false <= 0.01 * n
    assert wrong <= 0.01 * n


def test_trials_of_another_kind_explain_why_a_cue_is_late():
    """Go and no-go by chance, a warning and a response in every trial; then a go that is lost with all that is its."""
    rng = np.random.default_rng(3)
    kinds = ["go", *rng.choice(["go", "nogo"], 58), "go"]
    trials_s = [(2 + 3 * k, kind) for k, kind in enumerate(kinds)]
    gos = [t for t, kind in trials_s if kind == "go"]
    others = [(t, kind) for t, kind in trials_s if kind == "nogo"]
    others += [(t - 1, "warning") for t, _ in trials_s] + [(t + 0.4, "response") for t in gos]
    assert cut(cued(np.diff(gos), others)).notes == ()
    lost = next(t for t, (_, kind) in zip(gos[3:], trials_s, strict=False) if t + 3 in gos and t - 3 in gos)
    left = [t for t in gos if t != lost]
    with pytest.warns(SignalWarning, match=f"{lost - 3:.3f} to {lost + 3:.3f} s .some 1 missing.: a pause"):
        cut(cued(np.diff(left), [one for one in others if abs(one[0] - lost) > 1.1]))


@pytest.mark.parametrize(
    ("window", "said"),
    [
        ((1000, 1500), r"which lasts 10 s; a trial is no longer.*perhaps 1 and 1\.5, if milliseconds were given"),
        ((6, 5), r"which lasts 10 s; a trial is no longer than its recording; give shorter ones\."),
        ((1000, 1.5), r"perhaps before_s=1, if its 1000 were milliseconds"),
        ((1, 500), r"perhaps after_s=0\.5, if its 500 were milliseconds"),
        ((1e12, 1e12), "which lasts 10 s"),
    ],
)
def test_trials_longer_than_the_recording_are_refused_before_anything_is_cut(window, said, monkeypatch):
    monkeypatch.setattr(Recording, "values", None)
    with pytest.raises(ParameterError, match=said):
        cut(recording(), before_s=window[0], after_s=window[1])


def test_trials_that_span_many_cues_are_refused_before_anything_is_cut(monkeypatch):
    """Milliseconds for seconds, in a recording long enough to hold such a trial."""
    rec = Recording.from_array(
        np.zeros((1, 4000 * 20)), 20, labels=["m0"], markers=[(60 * k, "go") for k in range(1, 1300)]
    )
    monkeypatch.setattr(Recording, "values", None)
    with pytest.raises(ParameterError, match=r"a cue comes every 3 s; a trial longer than 60 s .*perhaps 1 and 1\.5"):
        cut(rec, before_s=1000, after_s=1500)


def test_one_recording_that_cannot_be_cut_names_itself_and_stops_no_other():
    good, bad, short = cued([3.0] * 5, name="p1"), recording(markers=(), name="p2"), cued([], name="p3")
    low = Recording.from_array(np.ones((1, 4000)), 200, labels=["m0"], markers=[(2000, "go")], name="p4")
    for rec in (bad, low):
        with pytest.raises(EmgreviewError, match=rf"This was asked of recording '{rec.name}'\."):
            cut(rec)
    with pytest.warns(SignalWarning) as caught:
        found = cut_all([good, bad, short, low], cue="go", before_s=0.6, after_s=1.0)
    assert [trials.recording.name for trials in found] == ["p1", "p3"]
    assert [str(one.message).split(":")[0] for one in caught] == [
        "p2 cannot be cut and is left out",
        "p4 cannot be cut and is left out",
    ]
    assert "no marker is called 'go'; there are: none. " in str(caught[0].message)
    assert "Markers come from annotations" in str(caught[0].message)
    assert "too low for a high_hz of 450 Hz" in str(caught[1].message)
    assert [one.filename for one in caught] == [__file__] * 2
    with pytest.raises(ParameterError, match=r"not one of 1 recordings could be cut.*p2 cannot be cut"):
        cut_all([bad], cue="go", before_s=0.6, after_s=1.0)
    assert len(cut_all(good, cue="go", before_s=0.6, after_s=1.0)) == 1


def test_notes_know_what_they_are_about_also_when_copied():
    x = rest_noise((2, 4000), 1000.0, np.random.default_rng(1), level_uv=3.0)
    x[1, 1500:1600] = np.nan
    rec = Recording.from_array(x, 1000.0, labels=["m", "m :"], markers=[(100, "go"), (1500, "go"), (3900, "go")])
    with pytest.warns(SignalWarning, match="beyond|lacks"):
        trials = cut_trials(rec, cue="go", before_s=0.5, after_s=0.5)
    first, _, last = trials.ids
    assert [note.trial for note in trials.notes if note.trial] == [first, last]
    assert [note.channel for note in trials.notes if note.channel] == ["m :"]
    assert notes_on(trials, first) == (trials.notes[0],)
    assert notes_on(trials, first, "m") == ()
    for note in trials.notes:
        for same in (copy.deepcopy(note), pickle.loads(pickle.dumps(note))):
            assert (same, same.trial, same.channel, same.words) == (note, note.trial, note.channel, note.words)
