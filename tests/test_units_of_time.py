"""Milliseconds for seconds, and seconds for milliseconds: refused where they come in, with what was probably meant."""

import re
import sys
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview import checks
from emgreview.errors import DecisionError, ParameterError
from emgreview.signal import envelope, evoked

sys.path.insert(0, str(Path(__file__).parent / "second_look"))
from small_reviews import make_trials, start

RATE = 1000.0


def recording(seconds=60, pulses=None):
    """Noise with cues every 2 s, and a channel of pulses of 50 ms in which each contact bounces once after 8 ms."""
    n = round(seconds * RATE)
    x = np.random.default_rng(1).normal(0, 5, (2, n))
    x[1] = 0
    for at in np.arange(1500, n - 1500, 2000) if pulses is None else pulses:
        x[1, at : at + 50] = 5
        x[1, at + 5 : at + 8] = 0
    markers = [(at, "go") for at in range(1500, n - 1500, 2000)]
    channels = [er.Channel("FDI"), er.Channel("TRIG", kind="TRIG", unit="V")]
    return er.Recording.from_array(x, RATE, labels=["FDI", "TRIG"], channels=channels, markers=markers, name="one")


def cut(**options):
    return er.cut_trials(recording(), cue="go", before_s=1, after_s=1, **options)


SLIPS = {
    "rest of a processing": (lambda: er.Processing(rest_s=(-500, 0)), "(-0.5, 0)"),
    "window of an envelope": (lambda: er.Processing(envelope="rms", envelope_window_s=50), "0.05"),
    "rest that no trial holds": (lambda: cut(processing=er.Processing(rest_s=(-50, 0))), "(-0.05, 0)"),
    "onsets of a rule": (lambda: er.Rule(name="a", version=1, onset_s=(80, 800)), "(0.08, 0.8)"),
    "search": (lambda: er.estimate_onsets(cut().data[:, 0], RATE, cue_s=1.0, search_s=(80, 800)), "(0.08, 0.8)"),
    "open search": (lambda: er.estimate_onsets(cut().data[:, 0], RATE, cue_s=1.0, search_s=(80, None)), "(0.08, None)"),
    "rest": (lambda: er.estimate_onsets(cut().data[:, 0], RATE, cue_s=1.0, rest_s=(-500, 0)), "(-0.5, 0)"),
    "cue": (lambda: er.estimate_onsets(cut().data[:, 0], RATE, cue_s=1000), "1"),
    "shortest burst": (
        lambda: er.estimate_onsets(cut().data[:, 0], RATE, cue_s=1.0, method="double-threshold", shortest_s=50),
        "0.05",
    ),
    "bursts listed": (lambda: er.list_bursts(recording(), channel="FDI", shortest_s=50), "0.05"),
    "gap that is merged": (lambda: er.list_bursts(recording(), channel="FDI", merge_s=50), "0.05"),
    "hold-off": (lambda: er.find_cues(recording(), "TRIG", level=2.5, hold_off_s=50), "0.05"),
    "hold-off beyond the recording": (lambda: er.find_cues(recording(), "TRIG", level=2.5, hold_off_s=500), "0.5"),
    "blanked stretch": (
        lambda: evoked.blank(np.zeros((2, 900)), RATE, 300, before_s=1, after_s=8),
        "(0.001, 0.008)",
    ),
    "evoked window": (
        lambda: evoked.measure_evoked(np.zeros((2, 900)), RATE, 300, window_s=(12, 60)),
        "(0.012, 0.06)",
    ),
    "envelope": (lambda: envelope.rms_envelope(np.zeros(900), RATE, window_s=50), "0.05"),
    "two channels": (
        lambda: er.compare_channels(make_trials(), None, "FDI", "APB", window_s=(0, 500)),
        "(0, 0.5)",
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_milliseconds_for_seconds_are_refused_with_what_was_meant(slip):
    act, meant = SLIPS[slip]
    with pytest.raises(ParameterError, match=re.escape(f"perhaps {meant}, if milliseconds were given")) as told:
        act()
    assert "allowed" in str(told.value) or "must" in str(told.value) or "holds" in str(told.value)


def test_seconds_for_milliseconds_are_refused_with_what_was_meant(tmp_path):
    meant = "perhaps 10, if seconds were given"
    for option in ("relook_ms", "relook_offset_ms"):
        with pytest.raises(ParameterError, match=meant):
            start(tmp_path, make_trials(), **{option: 0.01})
    for code in ("r1", "r2"):
        with start(tmp_path, make_trials(), reviewer=code) as session:
            session.accept_rest(session.queue[0])
            if code == "r2":
                session.none_visible(session.queue[1], "FDI")
    with pytest.raises(ParameterError, match=meant):
        er.merge_reviews(tmp_path, "r1", "r2", within_ms=0.01)
    with pytest.raises(ParameterError, match=meant):
        er.adjudicate(make_trials(), tmp_path, "r1", "r2", reviewer="r3", within_ms=0.01)
    with pytest.raises(ParameterError, match=re.escape("perhaps (5, 10), if seconds were given")):
        er.agreement(tmp_path, "r1", "r2", within_ms=(0.005, 0.01))
    er.merge_reviews(tmp_path, "r1", "r2", within_ms=0)
    er.merge_reviews(tmp_path, "r1", "r2", within_ms=0.5)


def test_a_review_refuses_times_in_milliseconds(tmp_path):
    with start(tmp_path, make_trials()) as session:
        with pytest.raises(DecisionError, match=re.escape("perhaps 0.21, if milliseconds were given")):
            session.move(session.queue[0], "FDI", onset_s=210)
        with pytest.raises(DecisionError, match=r"cut longer trials\.$"):
            session.move(session.queue[0], "FDI", onset_s=2)
        session.accept_rest(session.queue[0])
        rule = er.BulkRule(interval_below_s=30, level_above_db=6)
        with pytest.raises(ParameterError, match=re.escape("perhaps 0.03, if milliseconds were given")):
            er.plan_bulk(session, rule)
        with pytest.raises(ParameterError, match=re.escape("perhaps 0.01, if milliseconds were given")):
            er.plan_bulk(session, er.BulkRule(interval_below_s=0.03, level_above_db=6), moved_by_s=10)
        for span in ((80, 800), (20, 50)):
            with pytest.raises(ParameterError, match="if milliseconds were given"):
                er.review(session, plausible_s=span)
        session.seal("v1")
    table = er.read_version(tmp_path, "v1")
    with pytest.raises(ParameterError, match=re.escape("perhaps (0.03, 0.1), if milliseconds were given")):
        er.measure(make_trials(), table, windows_s=(30, 100))
    with pytest.raises(ParameterError, match=re.escape("perhaps 0.5, if milliseconds were given")):
        er.measure(make_trials(), table, creep_s=500)


def test_a_rule_is_held_against_the_onsets_of_its_table(tmp_path):
    with start(tmp_path, make_trials()) as session:
        session.move(session.queue[0], "FDI", onset_s=0.035)
        session.accept(session.queue[0], "FDI")
        session.seal("v1")
    table = er.read_version(tmp_path, "v1")
    with pytest.raises(ParameterError, match=re.escape("perhaps (0.02, 0.05), if milliseconds were given")):
        er.include(table, er.Rule(name="reflex", version=1, onset_s=(20, 50)))
    sealed = er.Rule.from_dict({"name": "old", "version": 1, "onset_s": [80, 800]}, sealed=True)
    assert sealed.onset_s == (80.0, 800.0)  # what was sealed with it can be replayed


def test_long_times_that_are_meant_pass():
    pulses = [5_000, 35_000, 65_000, 95_000]
    rec = recording(120, pulses)
    assert len(er.find_cues(rec, "TRIG", level=2.5, hold_off_s=25)) == 4
    trains = [at + more for at in pulses for more in (0, 3000)]
    with pytest.warns(er.SignalWarning, match="passes over 4 of 8 changes that lie 1 s or more after the one before"):
        assert len(er.find_cues(recording(120, trains), "TRIG", level=2.5, hold_off_s=25)) == 4
    assert er.Processing(rest_s=(-30, 0)).rest_s == (-30, 0)
    assert er.Rule(name="a", version=1, onset_s=(0, 15)).onset_s == (0, 15)


@pytest.mark.parametrize(("value", "words"), [(float("nan"), ""), ("x", ""), (None, ""), ((0, None), "")])
def test_what_is_no_number_is_left_to_others(value, words):
    checks.likely_unit("x_s", value)
    checks.likely_unit("x_ms", value, most_s=None)
