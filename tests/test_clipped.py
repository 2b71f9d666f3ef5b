"""A clipped burst has an onset and no size: found at every rate, said where it is accepted unseen, told by measures."""

import os
import re
import warnings
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from one_bad_channel import N, quiet, recording, review
from scripted_reviews import detect

import emgreview as er
from emgreview.errors import DecisionWarning, SignalError, SignalWarning
from emgreview.second_look import BulkRule, plan_bulk
from emgreview.signal.clip import at_rail, headroom
from emgreview.signal.filters import bandpass
from emgreview.signal.unfit import HEADROOM, unfit_words

RATES_HZ = (200.0, 500.0, 1000.0, 2000.0, 20000.0)


def trial(rng, rate_hz, burst_uv, high_hz=150.0):
    """2.5 s with a rest of 3 µV and a burst of 0.3 s; its samples, and where the burst lies."""
    n = int(2.5 * rate_hz)
    high_hz = high_hz if high_hz < 0.45 * rate_hz else None
    noise = bandpass(rng.normal(size=(2, n + 2000)), rate_hz, low_hz=20, high_hz=high_hz, order=2, direction="causal")
    rest, burst = noise[:, 2000:] / noise[:, 2000:].std(axis=1, keepdims=True)
    here = slice(int(1.2 * rate_hz), int(1.5 * rate_hz))
    x = 3 * rest
    x[here] += burst_uv * burst[here]
    return x, here


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_samples_at_a_rail_are_found_and_no_others(rate_hz, counted):
    rng = np.random.default_rng(int(rate_hz))
    found = tried = false = 0
    for gain in (0.1, 1.0, 20.0):
        for step in (np.nan, 0.3, 4.0):
            for share in (0.0, 0.1, 0.3, 0.7, 0.95):
                for high_hz in (150.0, 450.0):
                    x, here = trial(rng, rate_hz, 500.0, high_hz)
                    limit = np.quantile(np.abs(x[here]), 1 - share) if share else np.inf
                    if not np.isnan(step) and limit < 60 * step:  # too few steps for a rail to be seen
                        continue
                    cut = np.abs(x) >= limit - (0.0 if np.isnan(step) else step)
                    x = np.clip(x, -limit, limit)
                    x = gain * (x if np.isnan(step) else np.round(x / step) * step) + 700.0
                    at = at_rail(x)
                    tried, found, false = (
                        tried + bool(share),
                        found + bool(share and at.any()),
                        false + (~cut & at).sum(),
                    )
                    if share >= 0.3:
                        assert at[here].mean() == pytest.approx(cut[here].mean(), abs=0.04)
    assert found >= (0.95 if rate_hz > 200 else 0.9) * tried
    assert false == 0
    counted(f"clipped bursts at {rate_hz:g} Hz found: {found} of {tried}")


def test_a_rail_is_at_the_same_samples_whatever_sign_and_gain():
    x, _ = trial(np.random.default_rng(1), 2000.0, 400.0)
    x = np.maximum(np.round(x), -300)
    x[7] = np.nan
    at = at_rail(x)
    assert at.any()
    assert not at[7]
    assert set(x[at]) == {-300.0}
    np.testing.assert_array_equal(at, at_rail(-0.01 * x - 3))
    np.testing.assert_array_equal(at[::-1], at_rail(x[::-1]))
    assert not at_rail(np.zeros(9)).any()
    assert not at_rail(np.full(9, np.nan)).any()
    assert at_rail([]).size == 0
    slow = np.round(400 * np.sin(np.arange(20000) * 2 * np.pi / 20000))
    assert not at_rail(slow).any(), "the round top of a slow wave is no rail"
    assert at_rail(np.minimum(slow, 380.0)).any()
    with pytest.raises(SignalError, match="one channel of one trial"):
        at_rail(np.zeros((2, 3)))


@pytest.mark.parametrize("ratio", [1.1, 1.5, 2, 2.048, 3, 10])
@pytest.mark.parametrize("step", [np.nan, 0.02, 0.3])
def test_a_slower_signal_held_is_not_clipped_unless_it_was_before(ratio, step):
    for seed in range(10):
        x, here = trial(np.random.default_rng(seed), 1000.0, 500.0, 450.0)
        at = np.minimum((np.arange(int(x.size * ratio)) / ratio + 1e-9).astype(int), x.size - 1)
        for limit in (np.inf, np.quantile(np.abs(x[here]), 0.9)):
            cut = np.clip(x, -limit, limit)
            cut = cut if np.isnan(step) else np.round(cut / step) * step
            np.testing.assert_array_equal(at_rail(cut[at]), at_rail(cut)[at])
            assert at_rail(cut).any() == np.isfinite(limit)


@pytest.mark.filterwarnings("ignore:rec has no marker 'response'")
@pytest.mark.filterwarnings("ignore:Missing numbers of")
@pytest.mark.parametrize("times", [2, 3])
def test_held_signals_are_measured_listed_and_taken_in_bulk_as_not_clipped(tmp_path, times):
    rec = recording(lambda rng, x, cues: np.repeat(x[::times], times)[: x.size])
    with review(tmp_path, rec, detect=partial(detect, absent=()), method="threshold") as session:
        rule = BulkRule(interval_below_s=0.9, level_above_db=0.0)
        assert sum(rule.meets(session, name, "bad") for name in session.queue) > N / 2
        for name in session.queue:
            for channel in ("good", "bad"):
                session.accept(name, channel)
        found = er.measure(session.trials[0], session.decisions())
    assert (found["burst_clipped_share"] == 0).all()
    assert listed(rec)[1] == []


def test_strong_real_bursts_are_not_called_clipped(counted):
    if "EMGREVIEW_OPEN_DATA" not in os.environ:
        pytest.skip("EMGREVIEW_OPEN_DATA is not set: the open recordings are not at hand")
    root = Path(os.environ["EMGREVIEW_OPEN_DATA"])
    called = looked = 0
    for path in sorted((root / "forearm_cc0").glob("*_[23].txt"))[::2]:
        for x in np.loadtxt(path, delimiter=",").T:
            for part in np.array_split(x, 2):
                called, looked = called + at_rail(part).any(), looked + 1
    with np.load(root / "fingers_mit" / "trials_int8.npz") as stored:
        parts = [x for name in stored.files if stored[name].ndim == 3 for x in stored[name][::10].astype(float)]
    for x in (row for part in parts for row in part if np.abs(row).max() < 126):  # at ±127 the source itself is cut
        called, looked = called + at_rail(x).any(), looked + 1
    assert called <= 0.002 * looked
    counted(f"real stretches called clipped: {called} of {looked}")


def test_the_onset_is_judged_by_how_far_the_rail_lies_from_the_rest():
    x, here = trial(np.random.default_rng(3), 2000.0, 3000.0, 450.0)
    rest = slice(0, 2000)
    far, near = np.clip(x, -40, 40), np.clip(x, -8, 8)
    assert at_rail(far)[here].mean() > 0.9
    assert headroom(far, rest) > 3 * HEADROOM > HEADROOM > headroom(near, rest) > 2
    assert headroom(x, rest) == headroom(np.minimum(x, 8), rest) == np.inf, "it can still rise to the other side"
    words = [unfit_words(y, y, 2000.0, rest=rest) for y in (far, near)]
    assert words[0] == ""
    assert words[1].startswith("clipped at 2.")


def cut_at(limit_uv, gain=100.0):
    """The bursts of "bad" made stronger, and cut: over a rest of 5 µV."""

    def fault(rng, x, cues):
        out = x.copy()
        for cue in cues:
            out[cue + 500 : cue + 1200] *= gain
        return np.clip(out, -limit_uv, limit_uv)

    return fault


def test_accepting_the_rest_says_which_bursts_are_clipped(tmp_path):
    with review(tmp_path, recording(cut_at(300.0)), detect=detect, method="threshold") as session:
        one, two = session.queue[:2]
        with pytest.warns(DecisionWarning, match=r"accepted: bad \(clipped in \d+% of its burst: onset usable, size"):
            session.accept_rest(one)
        assert session.unfit(one, "bad") == session.clipped(one, "good") == ""
        assert session.state(one).reviewed
        session.none_visible(two, "good")
        with pytest.warns(DecisionWarning, match=r"copied to: bad \(clipped"):
            session.copy_to_all(two, "good")
    near = recording(cut_at(16.0))
    with (
        review(tmp_path / "near", near, detect=detect, method="threshold") as session,
        pytest.warns(DecisionWarning, match=r"left open: bad \(clipped at 3\.\d SD of its rest"),
    ):
        session.accept_rest(session.queue[0])

    def nothing(x, rate_hz, **given):
        found = detect(x, rate_hz, **given)
        nan = np.full(len(x), np.nan)
        return replace(found, onset_s=nan, offset_s=nan, present=np.zeros(len(x)))

    with review(tmp_path / "none", recording(cut_at(300.0)), detect=nothing) as session:
        assert session.unfit(session.queue[0], "bad").endswith("of its samples, and no burst was found")
        assert session.unfit(session.queue[0], "good") == ""


def test_bulk_acceptance_leaves_clipped_bursts_out_or_says_how_many(tmp_path):
    with review(tmp_path, recording(cut_at(300.0)), detect=detect, method="threshold") as session:
        wide = {"interval_below_s": 0.9, "level_above_db": 0.0}
        clean, any_ = BulkRule(**wide), BulkRule(**wide, clean=False)
        assert not clean.meets(session, session.queue[0], "bad")
        assert any_.meets(session, session.queue[0], "bad")
        audit = plan_bulk(session, any_, at_most=0.5)
        for trial_, channel in audit.open:
            onset_s = session._proposals.automatic(trial_, channel).onset_s
            session.add(trial_, channel, onset_s=onset_s)
            session.accept(trial_, channel)
        audit.finish()
        sentence = audit.accept()
        cut = sum(channel == "bad" for _, channel in audit.lot) - sum(channel == "bad" for _, channel in audit.sample)
        assert cut
        assert f"clipped, and so without a size: {cut} of the" in sentence


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # many others; those of clipping are asked for
def test_every_measure_tells_what_rests_on_clipped_samples(tmp_path):
    with review(tmp_path, recording(cut_at(300.0)), detect=partial(detect, absent=()), method="threshold") as session:
        for name in session.queue:
            for channel in ("good", "bad"):
                session.accept(name, channel)
        table, trials = session.decisions(), session.trials[0]
    with pytest.warns(SignalWarning, match=f"{N} of {2 * N} bursts are clipped") as told:
        found = er.measure(trials, table, normalise="peak in task")
    share = found.groupby("channel")[["burst_clipped_share", "first_100_ms_clipped_share"]].agg(["min", "max"])
    assert (share.loc["good"] == 0).all()
    assert (share.loc["bad"] > 0.3).all()
    assert any("peak in task rests on clipped bursts too" in str(one.message) for one in told)
    assert set(found.columns) == set(found.attrs["columns"])
    with pytest.warns(SignalWarning, match=f"bad: {N} of {N} responses are clipped"):
        averages = er.average_envelopes(trials, table, to="onset", before_s=0.2, after_s=0.3)
    assert not averages["good"].notes
    with pytest.warns(SignalWarning, match=f"In {N} trials good or bad is clipped"):
        er.compare_channels(trials, table, "good", "bad")
    with pytest.warns(SignalWarning, match="bursts that stand for this person's are clipped"):
        er.detection_floor(trials, "bad", decisions=table, injections=20)


def listed(rec):
    """Bursts of channel "bad", and what was told."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        return er.list_bursts(rec, channel="bad"), [str(one.message) for one in caught]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (quiet(0.3), r"6 of 6 stretches of bad of rec cannot be judged \(dead 6\)"),
        (lambda rng, x, cues: np.full_like(x, 12.5), r"\(flat 6\)"),
        (lambda rng, x, cues: np.where(np.arange(x.size) > x.size // 2, np.nan, x), r"3 of 6 .*\(missing 3\)"),
        (lambda rng, x, cues: np.where(np.arange(x.size) >= x.size // 2, 7.0, x), r"3 of 6 .*\(flat 3\)"),
        (cut_at(10.0), r"6 of 6 .*\(clipped down to its rest 6\)"),
        (cut_at(300.0), r"^20 of 20 bursts of bad of rec are clipped"),
        (lambda rng, x, cues: x, ""),
        (lambda rng, x, cues: np.round(x), ""),
    ],
)
def test_listed_bursts_say_what_they_rest_on(fault, words, monkeypatch):
    rec = recording(fault)
    found, told = listed(rec)
    assert bool(words) == any(re.search(words, note) for note in told)
    assert bool(told) == bool(words)
    monkeypatch.setattr("emgreview.signal.onset.bursts.look", lambda *given, **options: None)
    again, nothing = listed(rec)
    assert not nothing
    assert repr(found) == repr(again), "no burst changes"


@pytest.mark.filterwarnings("ignore:1 of 3 bursts of the signals begin or end beside:emgreview.errors.SignalWarning")
def test_listed_bursts_of_arrays_say_what_can_be_seen_there():
    x, _ = trial(np.random.default_rng(4), 1000.0, 300.0)
    missing = np.where(np.arange(x.size) < 1300, np.nan, x)
    with pytest.warns(SignalWarning, match=r"2 of 4 stretches of the signals cannot be judged \(flat 1, missing 1\)"):
        assert er.list_bursts([x, 0 * x, missing, 1e-6 * x], 1000.0)[1] == []
    with pytest.warns(SignalWarning, match="1 of 1 bursts of the signal are clipped"):
        er.list_bursts(np.clip(x, -100, 100), 1000.0)
