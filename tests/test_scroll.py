"""Outlines of long recordings: the same extremes as the whole recording conditioned at once, in bounded memory."""

import numpy as np
import pytest

from emgreview import scroll
from emgreview.conditioning import condition
from emgreview.errors import ParameterError, RateError, UnknownNameError
from emgreview.model import Channel, Processing, Recording
from emgreview.scroll import KINDS, Outlines, reduce

RATE_HZ = 1000.0
SECONDS = 100
LABELS = ("one", "two", "angle")
EMG = [(label, kind) for kind in KINDS for label in LABELS[:2]]


def recording(seconds: float = SECONDS, *, gap: slice | None = None) -> Recording:
    rng = np.random.default_rng(5)
    n = int(seconds * RATE_HZ)
    x = rng.normal([[40.0], [-300.0]], 5, (2, n))
    for start in range(1500, n - 900, 4000):
        x[:, start : start + 600] += rng.normal(0, 80, (2, 600))
    x[1, n // 3] += 4000.0  # one sample that no picture may lose
    if gap is not None:
        x[0, gap] = np.nan
    angle = np.zeros((1, n))
    angle[0, n // 2 : n // 2 + 50] = 25.0
    channels = [Channel("one"), Channel("two"), Channel("angle", "MISC", "deg")]
    return Recording.from_array(np.vstack([x, angle]), RATE_HZ, labels=LABELS, channels=channels)


def whole(rec: Recording, processing: Processing) -> dict[tuple[str, str], np.ndarray]:
    """Every trace of the recording, conditioned in one go."""
    banded, smooth = condition(rec, 0, rec.n_samples, processing=processing)
    raw = rec.values()
    found = {("angle", "raw"): raw[2]}
    for row, label in enumerate(LABELS[:2]):
        kinds = (raw[row], banded[row], np.abs(banded[row]), smooth[row])
        found |= {(label, kind): x for kind, x in zip(KINDS, kinds, strict=True)}
    return found


def columns_of(x: np.ndarray, start: int, stop: int, width: int, what) -> np.ndarray:
    return np.array([what(x[at : min(at + width, stop)]) for at in range(start, stop, width)])


@pytest.fixture(scope="module")
def rec():
    return recording()


@pytest.fixture(scope="module")
def truth(rec):
    return whole(rec, Processing())


@pytest.fixture
def outlines(rec):
    return Outlines(rec, processing=Processing())


def read_all(outlines: Outlines, near: int = 0) -> int:
    blocks = 0
    while outlines.read_on(near):
        blocks += 1
    return blocks


@pytest.mark.parametrize("width", [1, 2, 16, 64, 256, 4096])
def test_columns_hold_the_extremes_of_the_whole_recording_conditioned_at_once(outlines, truth, width):
    read_all(outlines)
    traces = [*EMG, ("angle", "raw")]
    found = outlines.stretch((7_777, 9_001), (0, 60_000), width=width, traces=traces)
    assert found.width == width
    assert found.start <= 7_777 < 9_001 <= found.stop
    assert found.start % width == 0
    assert found.unread == ()
    for row, trace in enumerate(traces):
        for values, what in ((found.low, np.min), (found.high, np.max)):
            expected = columns_of(truth[trace], found.start, found.stop, width, what)
            np.testing.assert_allclose(values[row], expected, atol=1e-3, rtol=1e-6)


def test_a_single_sample_is_in_the_picture_of_the_whole(outlines, rec):
    read_all(outlines)
    found = outlines.stretch((0, rec.n_samples), (0, rec.n_samples), width=1024, traces=[("two", "raw")])
    column = (rec.n_samples // 3) // 1024
    assert found.high[0, column] > 3000
    assert np.sum(found.high[0] > 3000) == 1


def test_tiles_of_a_longer_recording_agree_with_the_samples(rec, truth, monkeypatch):
    monkeypatch.setattr(scroll, "COARSE_BYTES", 8 * 9 * 100)  # room for so few columns that they are 1,024 samples wide
    outlines = Outlines(rec, processing=Processing())
    assert outlines.coarsest == 1024
    for width in (32, 128, 512):
        found = outlines.stretch((20_000, 40_000), (20_000, 40_000), width=width, traces=EMG)
        for row, trace in enumerate(EMG):
            expected = columns_of(truth[trace], found.start, found.stop, width, np.max)
            np.testing.assert_allclose(found.high[row], expected, atol=1e-3, rtol=1e-6)


def test_what_was_not_read_is_missing_and_listed_never_invented(outlines, rec):
    n = rec.n_samples
    ask = {"width": 128, "traces": [("one", "envelope")]}
    found = outlines.stretch((0, n), (0, n), **ask)
    assert found.unread == ((0, n),)
    assert np.isnan(found.low).all()
    outlines.read_on(near=n // 2)
    found = outlines.stretch((0, n), (0, n), **ask)
    (_, before), (after, _) = found.unread
    assert before < n // 2 < after, "the block nearest to where one looks comes first"
    known = ~np.isnan(found.low[0])
    at = np.arange(known.size) * found.width
    np.testing.assert_array_equal(known, (at >= before) & (at < after))
    assert 0 < outlines.share < 1


def test_reading_on_ends_and_says_so(outlines):
    assert read_all(outlines, near=50_000) == -(-outlines.rec.n_samples // outlines.block)
    assert outlines.share == 1
    assert not outlines.read_on(0)


def test_missing_samples_stay_missing_and_their_neighbours_keep_their_extremes():
    rec = recording(30, gap=slice(10_000, 12_000))
    outlines = Outlines(rec, processing=Processing())
    read_all(outlines)
    for width in (1, 16, 128):
        traces = [("one", "raw"), ("one", "band-passed")]
        found = outlines.stretch((8_192, 14_336), (8_192, 14_336), width=width, traces=traces)
        inside = [at for at in range(found.start, found.stop, width) if at >= 10_000 and at + width <= 12_000]
        columns = [(at - found.start) // width for at in inside]
        assert np.isnan(found.low[:, columns]).all()
        assert not np.isnan(np.delete(found.low, columns, axis=1)).any()


def test_the_view_comes_whole_and_what_lies_around_it_little_by_little(outlines):
    view, want = (40_000, 50_000), (0, 100_000)
    reached = []
    for _ in range(5):
        found = outlines.stretch(view, want, width=8, traces=EMG)
        assert found.start <= view[0] < view[1] <= found.stop
        reached.append(found.stop - found.start)
    assert reached == sorted(reached)
    assert reached[0] < reached[-1] == want[1] - want[0]


def test_memory_stays_within_its_bounds(rec, monkeypatch):
    monkeypatch.setattr(scroll, "SAMPLES_BYTES", 1 << 20)
    outlines = Outlines(rec, processing=Processing())
    for start in range(0, 90_000, 5_000):
        outlines.stretch((start, start + 10_000), (0, 100_000), width=4, traces=EMG)
        assert outlines._samples._bytes <= 1 << 20
        assert outlines._samples._bytes == sum(kept.nbytes for kept in outlines._samples._kept.values())


def test_a_view_of_too_many_columns_gets_wider_ones(outlines, monkeypatch):
    monkeypatch.setattr(scroll, "MOST_COLUMNS", 1_000)
    found = outlines.stretch((0, 16_000), (0, 16_000), width=1, traces=EMG)
    assert found.width == 16
    assert found.low.shape[1] == 1_000


def test_usual_scales_are_those_of_the_signal_not_of_an_artefact(outlines, truth):
    for trace in EMG:
        x = truth[trace] - np.median(truth[trace]) * (trace[1] == "raw")
        assert 0.25 * np.percentile(np.abs(x), 99.9) < outlines.full_scale(*trace) < 1500
    assert outlines.middle("two") == pytest.approx(-300, abs=2)


def test_limits_of_an_auxiliary_channel_are_exact_once_all_was_read(outlines):
    read_all(outlines)
    assert outlines.limits("angle") == (0.0, 25.0)


@pytest.mark.parametrize(("view", "width"), [((5, 5), 1), ((-1, 5), 1), ((0, 100_001), 1), ((0, 10), 0), ((10, 0), 1)])
def test_impossible_views_are_refused(outlines, view, width):
    with pytest.raises(ParameterError, match=r"start before stop, both within 0 to 100000"):
        outlines.stretch(view, view, width=width, traces=EMG)


def test_unknown_traces_and_too_low_rates_are_refused(outlines, rec):
    with pytest.raises(UnknownNameError, match="no trace is called 'one / smooth'"):
        outlines.stretch((0, 10), (0, 10), width=1, traces=[("one", "smooth")])
    with pytest.raises(RateError, match="must lie below half of it, 500 Hz"):
        Outlines(rec, processing=Processing(high_hz=600))


def test_a_recording_without_emg_is_shown_as_recorded():
    rec = Recording.from_array(
        np.arange(4000.0)[np.newaxis], RATE_HZ, labels=["force"], channels=[Channel("force", "MISC", "N")]
    )
    outlines = Outlines(rec, processing=Processing())
    found = outlines.stretch((0, 4000), (0, 4000), width=16, traces=[("force", "raw")])
    np.testing.assert_array_equal(found.low[0], np.arange(0, 4000, 16))
    np.testing.assert_array_equal(found.high[0], np.arange(15, 4000, 16))


@pytest.mark.parametrize("n", [64, 65, 127, 1000])
@pytest.mark.parametrize("width", [1, 2, 64])
def test_reduce_against_a_loop(n, width):
    x = np.random.default_rng(n).normal(size=(3, n)).astype(np.float32)
    x[1, 3:70] = np.nan
    low, high = reduce(x, width)
    for row in range(3):
        for column, at in enumerate(range(0, n, width)):
            part = x[row, at : at + width]
            part = part[~np.isnan(part)]
            expected = (part.min(), part.max()) if part.size else (np.nan, np.nan)
            np.testing.assert_array_equal([low[row, column], high[row, column]], expected)
