"""Maximal efforts: the best half second against known levels, and what is told before anything is divided by it."""

import numpy as np
import pytest

import emgreview as er
from emgreview.contractions.maximal import CAUTION, best_window
from emgreview.errors import MarkerError, SignalWarning

RATE_HZ = 1000.0


def efforts(levels, *, every_s=40.0, hump=1.0, rest=0.05):
    """One channel whose efforts of 4 s have these RMS in the band, ``hump`` times as much for 0.5 s in their middle."""
    n = int((every_s * len(levels) + 10) * RATE_HZ)
    x = np.random.default_rng(1).normal(0, np.sqrt(RATE_HZ / 2 / 430), n)
    scale, markers = np.full(n, rest), []
    for number, level in enumerate(levels):
        at = int((2 + every_s * number) * RATE_HZ)
        scale[at : at + 4000] = level
        scale[at + 1500 : at + 2000] = hump * level
        markers.append(er.Marker(at, "maximal FDI", duration_s=4.0))
    return er.Recording.from_array((x * scale)[np.newaxis], RATE_HZ, labels=["FDI"], markers=markers, name="efforts")


def test_the_reference_is_the_best_half_second_of_all_efforts():
    found = er.maximal_efforts(efforts([300.0, 320.0, 310.0], hump=1.5))
    assert found.reference["FDI"] == pytest.approx(1.5 * 320, rel=0.06)
    best = found.table["best_at_s"] - found.table["start_s"]
    assert best.to_numpy() == pytest.approx(1.5, abs=0.05)
    assert found.findings == ()
    assert found.table["effort"].tolist() == [1, 2, 3]


def test_the_best_window_is_that_of_a_slow_search():
    x = np.random.default_rng(3).normal(size=400) * np.linspace(0.2, 2, 400)
    slow = [np.sqrt(np.mean(x[at : at + 50] ** 2)) for at in range(351)]
    level, first = best_window(x, 50)
    assert (level, first) == (pytest.approx(max(slow)), int(np.argmax(slow)))
    x[380] = np.nan
    level, first = best_window(x, 50)
    assert first <= 330
    assert np.isfinite(level)
    assert best_window(np.full(400, np.nan), 50)[1] == -1


@pytest.mark.parametrize(
    ("rec", "words"),
    [
        (lambda: efforts([300.0, 310.0]), "2 efforts; with fewer than 3"),
        (lambda: efforts([300.0, 310.0, 400.0]), "efforts still rise: the last is .* % above the best before it"),
        (lambda: efforts([300.0, 150.0, 310.0]), "1 of 3 efforts lie below 70 % of the best"),
        (
            lambda: efforts([10.0, 10.5, 10.0], rest=3.0),
            r"the best effort stands 1\d\.\d dB over rest; below 20 dB that is little",
        ),
        (lambda: efforts([300.0, 310.0, 300.0], every_s=15.0), "15 s from the start of one effort to that of the next"),
    ],
    ids=["few", "rising", "far below", "hardly above rest", "no rest"],
)
def test_what_makes_a_reference_doubtful_is_told(rec, words):
    with pytest.warns(SignalWarning, match=words):
        found = er.maximal_efforts(rec())
    assert len(found.findings) == 1


def test_a_clipped_best_window_is_told():
    rec = efforts([300.0, 310.0, 305.0])
    cut = er.Recording.from_array(
        np.clip(rec.values(), -400, 400), RATE_HZ, labels=rec.labels, markers=rec.markers, name="cut"
    )
    with pytest.warns(SignalWarning, match="the best window is clipped"):
        er.maximal_efforts(cut)


def test_it_asks_nobody_for_an_effort_and_carries_its_caution():
    shown = repr(er.maximal_efforts(efforts([300.0, 320.0, 310.0])))
    assert CAUTION in shown
    for word in ("pain", "medical advice", "trained person", "not a medical device"):
        assert word in CAUTION
    with pytest.raises(MarkerError, match="no maximal effort"):
        er.maximal_efforts(er.simulate_contractions(RATE_HZ, seed=1, muscles=["A", "B"], quiet=0).recording)


def test_the_reference_serves_to_normalise(tmp_path):
    rec = efforts([300.0, 320.0, 310.0])
    reference = er.maximal_efforts(rec).reference
    trials = er.cut_trials(rec, cue="maximal FDI", before_s=1.0, after_s=4.5)
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        for trial in session.queue:
            for burst in list(session.state(trial).channels["FDI"].bursts):
                session.remove(trial, "FDI", burst)
            session.add(trial, "FDI", onset_s=0.2, offset_s=3.8)
            session.accept(trial, "FDI")
        table = session.decisions()
    with pytest.warns(SignalWarning):  # no marker of a response
        measured = er.measure(trials, table, normalise="isometric maximum", reference=dict(reference))
    assert measured["burst_rms_percent"].between(80, 102).all()
