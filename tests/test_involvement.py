"""Involvement: shares above the person's own rest range, held to what was put in, in sentences that claim no more."""

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest

import emgreview as er
from emgreview.errors import ParameterError, SignalWarning, UnknownNameError
from emgreview.intervals import mcnemar, most_when_none, wilson
from emgreview.signal.measures import rms_cv

RATE_HZ = 1000.0
WINDOW = {"window_s": (0.1, 0.35)}
CUT = {"cue": "go", "before_s": 1.0, "after_s": 1.0}


def trials(active, *, details=None, noise=1.0, seed=1, name="rec", sub=None, burst=8.0):
    """Two channels, FDI and ADM, whose rest is noise; ``active`` (trials, channels) says where a burst follows the
    cue, from 0.05 s to 0.5 s."""
    active = np.asarray(active, dtype=bool)
    rng, n = np.random.default_rng(seed), int((2.5 * len(active) + 2) * RATE_HZ)
    x = rng.normal(0, noise, (2, n))
    markers = []
    for number, row in enumerate(active):
        at = int((1.5 + 2.5 * number) * RATE_HZ)
        x[row, at + 50 : at + 500] *= burst
        markers.append(er.Marker(at, "go", details=details[number] if details else {}))
    entities = {"sub": sub} if sub else {}
    rec = er.Recording.from_array(x, RATE_HZ, labels=["FDI", "ADM"], markers=markers, name=name, entities=entities)
    return er.cut_trials(rec, **CUT)


FEW = "ignore:Rest ranges rest on few:emgreview.errors.SignalWarning"
BEFORE = np.array([[True, False]] * 14 + [[False, False]] * 26)


def row(found, channel, **keys):
    table = found.table[found.table["channel"] == channel]
    for name, value in keys.items():
        table = table[table[name] == value]
    (one,) = table.itertuples()
    return one


def test_the_share_is_that_of_trials_with_a_burst_with_its_wilson_interval():
    found = er.involvement(trials(BEFORE), **WINDOW)
    fdi = row(found, "FDI")
    assert fdi.trials == 40
    assert 14 <= fdi.above <= 18, "and by chance 5 % of 26"
    share = wilson(fdi.above, 40)
    assert (fdi.share, fdi.low, fdi.high) == (share.value, share.low, share.high)
    above = found.trials.query("channel == 'FDI'")["above"].to_numpy(dtype=bool)
    assert above[:14].all()
    assert fdi.pairs == 80
    assert fdi.chance == pytest.approx(0.05)
    words = (
        f"activity over FDI exceeded its own rest range in {fdi.above} of 40 trials ({100 * fdi.share:.0f} %, 95 % CI"
    )
    assert words in found.sentences[0]


def test_by_chance_a_twentieth_of_trials_is_above_and_the_sentence_says_it_may_be_chance():
    parts = [trials(np.zeros((40, 2)), seed=seed, name=f"r{seed}", sub=f"{seed:02d}") for seed in range(4)]
    found = er.involvement(parts, **WINDOW)
    n = 320
    expected = 0.05 * n
    assert abs(found.table["above"].sum() - expected) < 4 * math.sqrt(2 * n * 0.05 * 0.95), "the limits vary, too"
    assert all("chance" in words or "in none of" in words for words in found.sentences)


def test_none_at_all_is_no_proof_of_rest_and_its_bound_is_exact():
    quiet = trials(np.zeros((20, 2)))
    data = quiet.data.copy()
    data[:, :, 1000:] *= 0.5  # always below its rest
    with pytest.warns(SignalWarning, match="40, so that the share above it is shaky|fewer than 60"):
        found = er.involvement(dataclasses.replace(quiet, data=data), **WINDOW)
    fdi = row(found, "FDI")
    assert (fdi.above, fdi.most_if_none) == (0, most_when_none(20))
    assert "in none of 20 trials (0 %, 95 % CI 0 to 16; exact one-sided upper bound 13.9 %)" in found.sentences[0]
    assert "does not show that it was inactive" in found.sentences[0]


@pytest.mark.filterwarnings(FEW)
def test_the_rest_range_is_of_the_same_posture_and_pools_conditions():
    details = [{"posture": ("sitting", "standing")[k % 2], "condition": ("a", "b")[k // 2 % 2]} for k in range(80)]
    found = er.involvement(trials(np.ones((80, 2)), details=details), **WINDOW)
    limits = found.table.groupby(["channel", "posture"])["limit_db"].nunique()
    assert (limits == 1).all()
    assert found.table.query("channel == 'FDI'")["limit_db"].nunique() == 2
    assert set(found.table["pairs"]) == {80}
    assert len(found.table) == 8


def test_levels_are_db_of_response_over_baseline():
    found = er.involvement(trials(np.ones((40, 2)), burst=10.0), **WINDOW)
    one = row(found, "FDI")
    assert one.median_db == pytest.approx(20.0, abs=0.5)
    assert one.median_low_db < one.median_db < one.median_high_db
    rows = found.trials
    assert rows["level_db"].to_numpy() == pytest.approx(20 * np.log10(rows["response_rms"] / rows["baseline_rms"]))


def test_the_order_of_trials_gain_and_sign_change_nothing():
    part = trials(BEFORE)
    rec = part.recording
    other = er.Recording.from_array(
        rec.values() * [[-3.0], [5.0]], RATE_HZ, labels=rec.labels, markers=rec.markers, name="rec"
    )
    one, two = (er.involvement(er.cut_trials(r, **CUT), **WINDOW) for r in (rec, other))
    assert one.sentences == two.sentences
    assert one.trials["level_db"].to_numpy() == pytest.approx(two.trials["level_db"].to_numpy(), abs=1e-3)


def test_a_baseline_too_short_to_say_anything_is_refused_with_its_variation():
    part = trials(BEFORE)
    with pytest.raises(ParameterError, match=r"50 ms varies by 11 % from chance alone .*58.1 ms or more"):
        er.involvement(part, window_s=(0.1, 0.15))
    with pytest.raises(ParameterError, match="a window inside the trials"):
        er.involvement(part, window_s=(0.5, 1.5))
    with pytest.raises(ParameterError, match=r"perhaps \(0.1, 0.35\), if milliseconds"):
        er.involvement(part, window_s=(100, 350))
    with pytest.raises(ParameterError, match="95 or 99"):
        er.involvement(part, percentile=90, **WINDOW)


def test_the_variation_of_a_baseline_is_that_of_noise():
    """1 / sqrt(4 B T), Bendat & Piersol, against the spread of simulated noise."""
    rng = np.random.default_rng(5)
    for window_s in (0.1, 0.25, 0.5):
        x = rng.normal(size=(4000, int(window_s * RATE_HZ)))  # white up to half the rate: B = 500 Hz
        levels = np.sqrt(np.mean(x**2, axis=1))
        assert levels.std() / levels.mean() == pytest.approx(rms_cv(RATE_HZ / 2, window_s), rel=0.05)
    assert er.involvement(trials(BEFORE), **WINDOW).cv == pytest.approx(rms_cv(430, 0.25))


def test_few_pairs_are_told_and_too_few_give_no_share():
    with pytest.warns(SignalWarning, match="fewer than 60, so that the share above it is shaky: ADM of rec 40, FDI of"):
        found = er.involvement(trials(BEFORE[:20]), **WINDOW)
    assert found.table["share"].notna().all()
    with pytest.warns(SignalWarning) as caught:
        found = er.involvement(trials(BEFORE[:8]), **WINDOW)
    assert any("no 95th percentile and no share: ADM of rec 16" in str(one.message) for one in caught)
    assert found.table["share"].isna().all()
    assert "is not known" in found.sentences[0]
    assert any("too few pairs of baseline windows" in note for note in found.notes), "and each missing number is"


def test_what_was_decided_is_left_out_and_counted(tmp_path):
    part = trials(np.ones((40, 2)))
    with er.open_review(part, tmp_path, reviewer="r1") as session:
        one, two, three = part.ids[:3]
        session.unusable(one, "FDI", ["mains hum"])
        session.set_aside("rec", "FDI", start_s=1.5 + 2.5 + 0.2, stop_s=1.5 + 2.5 + 0.3, reasons=["mains hum"])
        session.add(three, "ADM", onset_s=-0.3, offset_s=-0.1, kind="early small")
        table = session.decisions()
    with pytest.warns(SignalWarning) as caught:
        found = er.involvement(part, table, **WINDOW)
    told = " ".join(str(one.message) for one in caught)
    assert "3 trials are left out because of what was decided on a channel" in told
    why = found.trials.set_index(["trial", "channel"])["left_out"].dropna().to_dict()
    assert why == {
        (one, "FDI"): "unusable signal",
        (two, "FDI"): "a stretch set aside touches the window",
        (three, "ADM"): "activity or a stretch set aside in the baseline",
    }
    assert (row(found, "FDI").trials, row(found, "ADM").trials) == (38, 39)
    assert row(found, "FDI").left_out == 2


def test_an_active_antagonist_is_co_activation_and_no_error():
    details = [{"condition": ("flexion", "extension")[k % 2]} for k in range(40)]
    found = er.involvement(trials(np.ones((40, 2)), details=details), antagonists={"flexion": ["ADM"]}, **WINDOW)
    told = [words for words in found.sentences if "co-activation, which is no error" in words]
    assert len(told) == 1
    assert "activity over ADM" in told[0]
    assert "flexion" in told[0]
    with pytest.raises(UnknownNameError, match="no condition of antagonists is called 'flexoin'"):
        er.involvement(trials(BEFORE), antagonists={"flexoin": ["ADM"]}, **WINDOW)
    with pytest.raises(UnknownNameError, match="no channel of antagonists is called 'XX'"):
        er.involvement(trials(BEFORE), antagonists={"flexion": ["XX"]}, **WINDOW)


def test_two_postures_are_compared_pair_by_pair():
    rng = np.random.default_rng(8)
    sitting, standing = rng.random((60, 1)) < 0.8, rng.random((60, 1)) < 0.3
    active = np.zeros((120, 2), dtype=bool)
    active[0::2], active[1::2] = sitting, standing
    details = [{"posture": ("sitting", "standing")[k % 2], "item": str(k // 2)} for k in range(120)]
    found = er.involvement(trials(active, details=details), **WINDOW)
    for pair, words in ((None, "that pairing is an assumption"), ("item", "paired by 'item'")):
        paired = found.compare("posture", "sitting", "standing", pair=pair)
        one = paired.table.query("channel == 'FDI'").iloc[0]
        first, second = one["only sitting"], one["only standing"]
        assert one["pairs"] == 60 == one["both"] + first + second + one["neither"]
        assert one["p"] == mcnemar(first, second) < 0.001
        assert one["difference"] == pytest.approx((first - second) / 60)
        assert any(words in note for note in paired.notes)
    with pytest.raises(UnknownNameError, match="no posture is called 'lying'"):
        found.compare("posture", "sitting", "lying")
    with pytest.raises(ParameterError, match="no cue has such a detail"):
        found.compare("posture", "sitting", "standing", pair="colour")
    with pytest.raises(ParameterError, match="'posture' or 'condition'"):
        found.compare("hand", "left", "right")


def test_a_group_is_of_people_each_counted_once():
    parts = [trials(BEFORE[: 30 + k], seed=k, name=f"r{k}", sub=f"{k:02d}") for k in range(4)]
    found = er.involvement(parts, **WINDOW)
    group = found.groups.set_index("channel").loc["FDI"]
    shares = found.table.query("channel == 'FDI'")["share"]
    assert group["participants"] == 4
    assert group["share"] == pytest.approx(shares.mean())
    assert shares.min() <= group["low"] <= group["share"] <= group["high"] <= shares.max()
    assert group["few"]


def test_a_column_of_conditions_that_no_cue_has_is_refused():
    with pytest.raises(UnknownNameError, match="no detail of the cues is called 'side'"):
        er.involvement(trials(BEFORE), condition="side", **WINDOW)


def test_it_shows_itself():
    found = er.involvement(trials(BEFORE), **WINDOW)
    shown = repr(found)
    assert "own rest range" in shown
    assert "Chance alone varies the RMS of a baseline by 4.8 %" in shown
    assert isinstance(found.table, pd.DataFrame)
