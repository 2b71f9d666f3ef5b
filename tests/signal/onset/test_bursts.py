"""Bursts: made signals with known bursts, and open recordings."""

import dataclasses
import os
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

import emgreview as er
from emgreview.errors import ParameterError, RateError, SignalError, SignalWarning, UnknownNameError
from emgreview.signal.filters import bandpass

RATE_HZ = 1000.0
SPANS_S = [(1.0, 1.4), (2.0, 2.15), (3.0, 4.2)]


def made(n: int = 6, *, spans_s=SPANS_S, level_db: float = 20.0, seed: int = 2, length_s: float = 6.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    samples = int(length_s * RATE_HZ)
    time_s = np.arange(samples) / RATE_HZ
    noise = band(rng.standard_normal((n, samples)))
    muscle = signal.sosfiltfilt(
        signal.butter(2, [50, 160], "bandpass", fs=RATE_HZ, output="sos"), rng.standard_normal((n, samples))
    )
    gain = sum(
        (np.clip((time_s - a) / 0.02, 0, 1) * np.clip((b - time_s) / 0.02, 0, 1) for a, b in spans_s), 0 * time_s
    )
    return noise / noise.std() + band(muscle / muscle.std() * gain) * 10 ** (level_db / 20)


def band(x: np.ndarray) -> np.ndarray:
    return bandpass(x, RATE_HZ, low_hz=20.0, high_hz=450.0, order=2, direction="zero-phase")


def times(bursts: list[er.Burst]) -> np.ndarray:
    return np.array([(burst.onset_s, burst.offset_s) for burst in bursts]).reshape(-1, 2)


@pytest.mark.parametrize("level_db", [20.0, 40.0, 50.0, 60.0])
@pytest.mark.parametrize("rest_s", [None, (0.1, 0.9)])
def test_made_bursts_are_found_where_they_are(rest_s, level_db):
    for bursts in er.list_bursts(made(level_db=level_db), RATE_HZ, rest_s=rest_s):
        assert len(bursts) == 3
        np.testing.assert_allclose(times(bursts)[:, 0], [a for a, _ in SPANS_S], atol=0.025)
        np.testing.assert_allclose(times(bursts)[:, 1], [b for _, b in SPANS_S], atol=0.04)
        for burst in bursts:
            assert burst.low_s <= burst.onset_s <= burst.high_s < burst.offset_s
            assert level_db - 3 < burst.level_db < level_db + 3


@pytest.mark.parametrize("level_db", [15.0, 20.0, 25.0, 30.0, 35.0])
@pytest.mark.parametrize("apart_s", [0.57, 0.83, 3.07])
def test_a_level_does_not_depend_on_how_dense_bursts_are(level_db, apart_s):
    """Stretches at the edges of bursts, and what a filter smears of strong ones, are no rest."""
    spans = [(float(start), float(start) + 0.3) for start in np.arange(1.0, 24.0, apart_s)]
    x = made(2, spans_s=spans, level_db=level_db, length_s=25.0)
    still = np.ones(x.shape[1], bool)
    for start, stop in spans:  # 0.1 s further, where a zero-phase filter smears less than 40 dB
        still[int((start - 0.1) * RATE_HZ) : int((stop + 0.1) * RATE_HZ)] = False
    rest = np.mean(x[:, still] ** 2, axis=1)
    for row, power, bursts in zip(x, rest, er.list_bursts(x, RATE_HZ), strict=True):
        assert len(bursts) == len(spans)
        errors = [
            one.level_db
            - 10 * np.log10(np.mean(row[int(one.onset_s * RATE_HZ) : int(one.offset_s * RATE_HZ)] ** 2) / power - 1)
            for one in bursts
        ]
        assert abs(np.median(errors)) < 0.5


def dense(rate_hz: float, level_db: float, gap_s: float, *, ends_s: float = 1.0, seed: int = 8) -> np.ndarray:
    """Bursts of 0.3 s of white noise, ``gap_s`` apart, throughout 24 s but for ``ends_s`` at either end."""
    rng = np.random.default_rng(seed)
    n = round(24 * rate_hz)
    edges = {"low_hz": 20, "high_hz": min(450, 0.45 * rate_hz), "order": 2, "direction": "zero-phase"}
    active = np.zeros(n)
    for start in np.arange(ends_s, 24 - ends_s - 0.29, 0.3 + gap_s):
        active[round(start * rate_hz) : round((start + 0.3) * rate_hz)] = 1
    rest, muscle = (bandpass(x, rate_hz, **edges) for x in (rng.normal(size=n), rng.normal(size=n) * active))
    return rest / rest.std() + muscle / np.sqrt(np.mean(muscle**2) / np.mean(active)) * 10 ** (level_db / 20)


@pytest.mark.parametrize(("rate_hz", "gap_s"), [(500.0, 0.15), (500.0, 0.2), (2000.0, 0.12), (2000.0, 0.2)])
@pytest.mark.parametrize("level_db", [40.0, 50.0, 60.0])
def test_a_strong_burst_is_as_strong_as_it_is_however_near_the_next(rate_hz, level_db, gap_s, monkeypatch):
    """What a zero-phase filter carries into short gaps made it 2 to 19 dB less."""
    x = dense(rate_hz, level_db, gap_s)
    listed = er.list_bursts(x, rate_hz)
    levels = [burst.level_db for burst in listed]
    assert len(levels) == len(np.arange(1.0, 24 - 1.29, 0.3 + gap_s))
    assert abs(np.median(levels) - level_db) < 1.5
    monkeypatch.setattr("emgreview.signal.onset.bursts.CHUNK_SAMPLES", 5000)
    assert [burst.level_db for burst in er.list_bursts(x, rate_hz)] == pytest.approx(levels, abs=0.3), "in pieces, too"


@pytest.mark.filterwarnings("ignore:.*nearly cease in between:emgreview.errors.SignalWarning")
def test_a_rest_that_holds_a_swing_is_not_measured_from_the_mean_of_it():
    """Of a rest gathered from a few stretches that are rung into, the mean is not that of the signal."""
    x = dense(500.0, 60.0, 0.12)
    assert abs(np.median([burst.level_db for burst in er.list_bursts(x, 500.0)]) - 60) < 5


def test_what_dense_bursts_hide_is_told():
    with pytest.warns(SignalWarning, match="Beside the bursts of the signal too little rest is left"):
        levels = [burst.level_db for burst in er.list_bursts(dense(2000.0, 60.0, 0.12, ends_s=0.0), 2000)]
    assert np.median(levels) < 57, "the test asks for a level that cannot be told"
    with pytest.warns(SignalWarning, match="No burst is listed in the signal, though levels lie far apart there"):
        assert er.list_bursts(dense(500.0, 50.0, 0.08, ends_s=0.05), 500) == []
    with pytest.warns(SignalWarning, match="of the signal nearly cease in between"):
        listed = er.list_bursts(dense(200.0, 50.0, 0.12), 200)
    assert len(listed) < 52, "the test asks for bursts that are run together"


@pytest.mark.parametrize("rate_hz", [500.0, 1000.0])
def test_no_burst_is_told_only_where_levels_differ(rate_hz):
    """Under hum nothing stands out, though the muscle is active; a rest has nothing to be told, heart beats or not."""
    edges = {"low_hz": 20, "high_hz": min(450, 0.45 * rate_hz), "order": 2, "direction": "zero-phase"}
    rng, n = np.random.default_rng(4), round(20 * rate_hz)
    noise, time_s = rng.normal(size=n), np.arange(n) / rate_hz
    beats = 4 * (time_s % 0.8 < 0.08) * np.sin(2 * np.pi * 12 * time_s)
    for x in (noise, noise + beats):
        er.list_bursts(bandpass(x, rate_hz, **edges), rate_hz)
    muscle = noise * np.where(time_s % 3 > 2.5, 10, 1)
    hums = pytest.warns(SignalWarning, match="Hum stands above the rest of the signal")
    with hums, pytest.warns(SignalWarning, match=r"No burst is listed in the signal.*under hum"):
        assert er.list_bursts(bandpass(muscle + 12 * np.sin(100 * np.pi * time_s), rate_hz, **edges), rate_hz) == []


def under_hum(rate_hz: float, hum: float) -> np.ndarray:
    """Six bursts of 20 dB in 20 s, one in 3 s, and a line at 50 Hz of so many times the rest's SD."""
    edges = {"low_hz": 20, "high_hz": min(450, 0.45 * rate_hz), "order": 2, "direction": "zero-phase"}
    rng, time_s = np.random.default_rng(4), np.arange(round(20 * rate_hz)) / rate_hz
    muscle = rng.normal(size=len(time_s)) * np.where(time_s % 3 > 2.5, 10, 1)
    return bandpass(muscle + hum * np.sqrt(2) * np.sin(100 * np.pi * time_s), rate_hz, **edges)


@pytest.mark.parametrize("rate_hz", [200.0, 2000.0])
def test_bursts_that_hum_hides_are_told(rate_hz):
    """One to three of six were listed without a word."""
    assert len(er.list_bursts(under_hum(rate_hz, 0.0), rate_hz)) == 6
    x = under_hum(rate_hz, 12.0)
    with pytest.warns(SignalWarning, match=r"Hum stands above the rest of the signal in 2 of 2 stretches, by up to"):
        assert len(er.list_bursts(x, rate_hz)) < 6, "the test asks for bursts that are taken for rest"


def test_one_signal_gives_a_list_and_trials_a_list_of_lists_with_the_same_bursts():
    x = made(3)
    lists = er.list_bursts(x, RATE_HZ)
    for row, bursts in zip(x, lists, strict=True):
        alone = er.list_bursts(row, RATE_HZ)
        np.testing.assert_allclose(times(bursts), times(alone), atol=1e-4)


@pytest.mark.parametrize(
    "change", [lambda x: -x, lambda x: 1e-6 * x, lambda x: x + 500.0], ids=["sign", "gain", "offset"]
)
def test_gain_sign_and_offset_do_not_matter(change):
    x = made(2)
    for a, b in zip(er.list_bursts(x, RATE_HZ), er.list_bursts(change(x), RATE_HZ), strict=True):
        np.testing.assert_allclose(times(a), times(b), atol=1e-4)


@pytest.mark.filterwarnings("ignore:2 of 3 stretches of the signals cannot be judged:emgreview.errors.SignalWarning")
def test_quiet_flat_and_missing_signals_have_no_bursts():
    x = made(3, spans_s=[])
    x[1] = 4.0
    x[2] = np.nan
    assert er.list_bursts(x, RATE_HZ) == [[], [], []]
    part = made(1)[0]
    part[2400:2800] = np.nan
    assert len(er.list_bursts(part, RATE_HZ)) == 3


def test_close_bursts_merge_and_short_ones_are_left_out():
    x = made(4, spans_s=[(1.0, 1.4), (1.6, 2.0), (3.0, 3.1)])
    assert [len(bursts) for bursts in er.list_bursts(x, RATE_HZ)] == [3] * 4
    assert [len(bursts) for bursts in er.list_bursts(x, RATE_HZ, merge_s=0.35)] == [2] * 4
    assert [len(bursts) for bursts in er.list_bursts(x, RATE_HZ, shortest_s=0.2)] == [2] * 4


def test_activity_at_the_ends_has_no_onset_or_no_offset():
    first, last = er.list_bursts(made(1, spans_s=[(-1.0, 0.5), (5.0, 9.0)])[0], RATE_HZ)
    assert np.isnan(first.onset_s)
    assert first.offset_s == pytest.approx(0.5, abs=0.05)
    assert np.isnan(last.offset_s)
    assert last.onset_s == pytest.approx(5.0, abs=0.03)


def test_errors_say_what_to_do():
    with pytest.raises(SignalError, match="shape"):
        er.list_bursts(np.zeros((2, 2, 900)), RATE_HZ)
    with pytest.raises(SignalError, match=r"at least 0\.5 s"):
        er.list_bursts(np.zeros(300), RATE_HZ)
    with pytest.raises(RateError, match="at least 100 Hz"):
        er.list_bursts(np.zeros(3000), float("nan"))
    with pytest.raises(ParameterError, match="shortest_s came as -1"):
        er.list_bursts(np.zeros(3000), RATE_HZ, shortest_s=-1)
    with pytest.raises(ParameterError, match="rest_s"):
        er.list_bursts(np.zeros(3000), RATE_HZ, rest_s=(0.0, 9.0))


@pytest.fixture
def open_data() -> Path:
    root = os.environ.get("EMGREVIEW_OPEN_DATA")
    if not root:
        pytest.skip("EMGREVIEW_OPEN_DATA is not set: the open recordings are not at hand")
    return Path(root)


def test_three_bursts_of_an_open_recording(open_data):
    """M. Duarte, open notes on biomechanics and motor control, CC BY 4.0: onsets by eye."""
    x = np.loadtxt(open_data / "three_bursts_ccby4" / "emg.csv", delimiter=",")[:, 1]
    bursts = er.list_bursts(band(x), RATE_HZ)
    np.testing.assert_allclose([burst.onset_s for burst in bursts], [0.39, 1.36, 2.40], atol=0.05)


def test_two_contractions_of_an_open_recording(open_data):
    """C. Leitner, example data of an open tutorial, CC BY 4.0; a large offset, and a rest that differs in level."""
    x = np.loadtxt(open_data / "biceps_ccby4" / "bbcontractions.csv")
    bursts = er.list_bursts(band(x), RATE_HZ)
    np.testing.assert_allclose(times(bursts), [[9.35, 19.5], [28.1, 39.6]], atol=0.2)


ACTIVE_AT_REST = {
    ("10_3_5", 1),  # 0 to 3.6 s: one motor unit fires at about 6/s, then stops
    ("11_1_5", 1),  # 3.0 s, and 3.4 to 4.3 s: two swells
    ("13_3_5", 1),  # 0.2 to 1.3 s: single large potentials, then quiet
    ("15_1_5", 0),  # from the start to 0.4 s: end of the movement before
    ("15_1_5", 1),  # the same
    ("16_3_5", 0),  # from the start to 0.5 s: the same
    ("16_3_5", 1),  # the same to 1.1 s; 4.55 s to the end: a burst
    ("17_1_5", 1),  # 0.1 to 0.3 s: the same
    ("17_2_5", 1),  # from the start to 1.4 s: the same; 4.7 s: a burst of 0.1 s
    ("4_1_5", 1),  # 2.5 to 3.5 s: a burst and single large potentials
    ("6_1_5", 1),  # 5.0 to 5.4 s: a burst, 5 times the amplitude of the rest
    ("6_3_5", 1),  # 0.4 s: a burst of 0.07 s, 10 times the amplitude of the rest
    ("7_1_5", 0),  # 0.2 to 0.9 s: end of the movement before
    ("7_1_5", 1),  # the same
    ("7_2_5", 1),  # from the start to 0.6 s: the same; 5.6 s to the end: a burst
    ("8_2_5", 1),  # 4.9 s: a burst of 0.07 s, 10 times the amplitude of the rest
}
"""Rest recordings (name, channel) whose traces show activity in a picture; only those with bursts were looked at."""


def test_real_rest_has_hardly_a_burst(open_data):
    """Forearm recordings, CC0, movement 5 (relaxation), 1000 Hz inferred: at most one burst in 100 s of real rest."""
    paths = sorted((open_data / "forearm_cc0").glob("*_5.txt"))
    assert len(paths) == 60
    seconds, found = 0.0, []
    for path in paths:
        x = band(np.loadtxt(path, delimiter=",").T)
        for channel, bursts in enumerate(er.list_bursts(x, RATE_HZ)):
            if (path.stem, channel) not in ACTIVE_AT_REST:
                seconds += x.shape[1] / RATE_HZ
                found += [(path.stem, channel, burst) for burst in bursts]
    assert seconds > 500
    assert len(found) <= seconds / 100, found


def test_finger_trials_at_200_hz_run(open_data):
    """SIET 2018, MIT licence: 150 samples at 200 Hz (inferred), arbitrary unit; another band than usual."""
    with np.load(open_data / "fingers_mit" / "trials_int8.npz") as file:
        name = next(key for key in file.files if file[key].ndim == 3)
        x = file[name][:40, 0].astype(float) / 128
    found = er.estimate_onsets(x, 200.0, cue_s=0.2, rest_s=(-0.2, 0.0))
    known = np.isin(found.baseline_note, ["too short", "flat"])
    assert known.all()
    with pytest.raises(ParameterError, match=r"at least 0\.1 s are needed"):
        er.estimate_onsets(x, 200.0, cue_s=0.05, rest_s=(-0.05, 0.0))
    with pytest.raises(ParameterError, match="cut longer trials"):
        er.estimate_onsets(x, 200.0, cue_s=0.2)


def test_a_merged_burst_has_the_level_of_the_whole_and_no_gap_shorter_than_asked():
    """A burst of 20 dB, a gap of 0.15 s, one of 30 dB: whatever ``merge_s``, two bursts lie apart, or one is both."""
    weak, strong = made(3, spans_s=[(1.0, 1.4)]), made(3, spans_s=[(1.55, 1.95)], level_db=30.0)
    x = weak + strong - made(3, spans_s=[])
    mean_db = 10 * np.log10((0.4 * 10**2 + 0.4 * 10**3) / 0.95)
    seen = set()
    for merge_s in np.arange(0.08, 0.24, 0.01):
        for bursts in er.list_bursts(x, RATE_HZ, merge_s=merge_s):
            seen.add(len(bursts))
            if len(bursts) == 1:
                assert bursts[0].offset_s == pytest.approx(1.95, abs=0.03)
                assert bursts[0].level_db == pytest.approx(mean_db, abs=1.5)
            else:
                assert bursts[1].onset_s - bursts[0].offset_s >= merge_s
    assert seen == {1, 2}


def test_a_short_part_merges_before_short_bursts_are_left_out():
    """0.3 s of activity, a gap, 0.06 s of activity: with a shortest burst of 0.2 s the short part still extends it."""
    x = made(6, spans_s=[(1.0, 1.3), (1.4, 1.48)], level_db=26.0)
    for merge_s in (0.09, 0.1, 0.11, 0.12, 0.15):
        for bursts in er.list_bursts(x, RATE_HZ, merge_s=merge_s, shortest_s=0.2):
            assert len(bursts) == 1
            gap_s = 1.4 - 1.3
            if merge_s > gap_s + 0.03:
                assert bursts[0].offset_s == pytest.approx(1.48, abs=0.03)
    assert all(len(bursts) == 2 for bursts in er.list_bursts(x, RATE_HZ, shortest_s=0.05))


@pytest.mark.filterwarnings("ignore:1 of 12 bursts of the signal begin:emgreview.errors.SignalWarning")
@pytest.mark.parametrize("rest_s", [None, (0.1, 0.9)])
@pytest.mark.parametrize("piece", [1500, 7000])
def test_a_long_signal_read_in_pieces_gives_the_bursts_of_the_whole(monkeypatch, rest_s, piece):
    x = np.hstack([made(1, seed=seed) for seed in range(4)])[0] + 40.0
    x[9000:9050] = np.nan
    x[13_500:14_500] += 60 * np.sin(2 * np.pi * 6 * np.arange(1000) / RATE_HZ) * np.hanning(1000)  # a swing
    whole = er.list_bursts(x, RATE_HZ, rest_s=rest_s)
    monkeypatch.setattr("emgreview.signal.onset.bursts.CHUNK_SAMPLES", piece)
    pieces = er.list_bursts(x, RATE_HZ, rest_s=rest_s)
    assert len(whole) == 12
    for a, b in zip(whole, pieces, strict=True):
        np.testing.assert_allclose(dataclasses.astuple(a), dataclasses.astuple(b), atol=1e-5)


@pytest.mark.filterwarnings("ignore:2 of 2 stretches of flat:emgreview.errors.SignalWarning")
def test_a_recording_is_read_lazily_and_gives_the_bursts_of_the_filtered_whole(monkeypatch):
    raw = np.hstack([made(1, seed=seed) for seed in range(4)]) * 5 + 3000.0
    rec = er.Recording.from_array(np.vstack([raw, 0 * raw]), RATE_HZ, labels=["FDI", "flat"])
    how = er.Processing(low_hz=30.0)
    filters = {"low_hz": 30.0, "high_hz": 450.0, "order": 2, "direction": "zero-phase"}
    whole = er.list_bursts(bandpass(raw[0], RATE_HZ, **filters), RATE_HZ)
    longest = []
    read = er.Recording.values

    def counted(self, start=0, stop=None, channels=None):
        longest.append(stop - start)
        assert channels == ["FDI"]
        return read(self, start, stop, channels)

    monkeypatch.setattr(er.Recording, "values", counted)
    monkeypatch.setattr("emgreview.signal.onset.bursts.CHUNK_SAMPLES", 4000)
    found = er.list_bursts(rec, channel="FDI", processing=how)
    assert max(longest) < 4000 + 4000, "a piece and its margins"
    for a, b in zip(whole, found, strict=True):
        np.testing.assert_allclose(dataclasses.astuple(a), dataclasses.astuple(b), atol=1e-4)
    monkeypatch.undo()
    assert er.list_bursts(rec, channel="flat") == []
    for options, error, words in (
        ({}, ParameterError, "channel came as None"),
        ({"channel": "FDJ"}, UnknownNameError, "Did you mean 'FDI'"),
        ({"channel": "FDI", "rate_hz": 1000.0}, ParameterError, "None with a recording"),
    ):
        with pytest.raises(error, match=words):
            er.list_bursts(rec, **options)
    with pytest.raises(ParameterError, match="unless a recording is given"):
        er.list_bursts(raw[0], RATE_HZ, channel="FDI")


@pytest.mark.filterwarnings("ignore:.* bursts of the signal are clipped:emgreview.errors.SignalWarning")
def test_memory_is_bounded_by_the_piece(monkeypatch):
    """Nearly three times the signal takes hardly more: energies and levels, no copy of the samples (8 bytes each)."""
    monkeypatch.setattr("emgreview.signal.onset.bursts.CHUNK_SAMPLES", 50_000)
    x = np.tile(made(1)[0], 60)
    tracemalloc.start()
    er.list_bursts(x[:150_000], RATE_HZ)
    short = tracemalloc.get_traced_memory()[1]
    tracemalloc.reset_peak()
    found = er.list_bursts(x, RATE_HZ)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(found) == 180
    assert peak - short < 4 * (x.size - 150_000)


def test_a_rest_without_an_end_is_refused():
    with pytest.raises(ParameterError, match=r"rest_s came as \(0, None\)"):
        er.list_bursts(made(1)[0], RATE_HZ, rest_s=(0, None))
    with pytest.raises(ParameterError, match="merge_s came as 'x'"):
        er.list_bursts(made(1)[0], RATE_HZ, merge_s="x")


@pytest.mark.parametrize("level_db", [20.0, 30.0, 40.0, 60.0])
def test_brief_bursts_are_found_and_knocks_are_none(level_db):
    """Sudden bursts of 60 ms at any level; spikes of 4 ms up to 40 dB are none of 50 ms."""
    rng = np.random.default_rng(int(level_db))
    time_s = np.arange(2600) / RATE_HZ
    onset_s = 1.3 + rng.uniform(-0.1, 0.1, (60, 1))
    noise, active = rng.standard_normal((2, 60, 2600))
    inside = (time_s >= onset_s) & (time_s < onset_s + 0.06)
    found = er.list_bursts(band(noise + 10 ** (level_db / 20) * active * inside), RATE_HZ, rest_s=(0.1, 0.8))
    assert np.mean([len(bursts) == 1 for bursts in found]) > 0.96
    errors = np.array([times(bursts)[0] - (on, on + 0.06) for bursts, on in zip(found, onset_s[:, 0], strict=True)
        if bursts])  # fmt: skip
    assert (np.abs(np.median(errors, axis=0)) < 0.015).all()
    knock = 10 ** (min(level_db, 40.0) / 20) * ((time_s >= onset_s) & (time_s < onset_s + 0.004))
    assert sum(map(len, er.list_bursts(band(noise + knock), RATE_HZ, rest_s=(0.1, 0.8)))) <= 1


@pytest.mark.filterwarnings("ignore:.*nearly cease in between:emgreview.errors.SignalWarning")
@pytest.mark.parametrize("level_db", [20.0, 40.0, 50.0])
def test_what_a_filter_rings_between_strong_bursts_does_not_join_them(level_db):
    rng = np.random.default_rng(int(level_db))
    time_s = np.arange(5200) / 2000
    start_s = 1.1 + rng.uniform(-0.1, 0.1, (40, 1))
    noise, active = rng.standard_normal((2, 40, 5200))
    for gap_s, one in ((0.1, (0, 0.2)), (0.02, (0.95, 1))):
        since_s = time_s - start_s
        inside = ((since_s >= 0) & (since_s < 0.25)) | ((since_s >= 0.25 + gap_s) & (since_s < 0.5 + gap_s))
        x = bandpass(noise + 10 ** (level_db / 20) * active * inside, 2000, low_hz=20, high_hz=450, order=2,
            direction="zero-phase")  # fmt: skip
        share = np.mean([len(bursts) == 1 for bursts in er.list_bursts(x, 2000, rest_s=(0.1, 0.8))])
        assert one[0] <= share <= one[1], gap_s


def test_a_rest_is_found_beside_strong_and_weak_bursts_and_where_the_signal_was_away():
    """Rest, weak and strong bursts are three levels, and zeros a fourth. Before, weak bursts were taken for rest, and
    what a filter leaves of zeros too, silently."""
    rng = np.random.default_rng(8)
    time_s = np.arange(round(60 * RATE_HZ)) / RATE_HZ
    x, spans = 5 * rng.standard_normal(time_s.size), np.arange(1.5, 59, 2.0)
    for k, start_s in enumerate(spans):
        inside = (time_s >= start_s) & (time_s < start_s + 0.5)
        x += 5 * 10 ** ((45 if k % 3 == 0 else 15) / 20) * rng.standard_normal(x.size) * inside
    assert len(er.list_bursts(band(x), RATE_HZ)) == len(spans)
    away = (time_s >= 2.2) & (time_s < 3.4)
    x[away] = 0
    found = er.list_bursts(band(x), RATE_HZ)
    assert len(found) == len(spans)
    assert max(burst.level_db for burst in found) < 50


def test_a_hole_within_a_burst_is_told():
    x = made(1)[0]
    bursts = er.list_bursts(x, RATE_HZ)
    middle = round(RATE_HZ * (bursts[0].onset_s + bursts[0].offset_s) / 2)
    hole = round(0.08 * RATE_HZ)
    x[middle - hole : middle + hole] = np.nan
    with pytest.warns(er.SignalWarning, match=r"2 of \d bursts of the signal begin or end beside missing samples"):
        assert len(er.list_bursts(x, RATE_HZ)) == len(bursts) + 1
