"""Bursts that last to the end of their trial are not lost to what the others are divided by; windows hold a sample, and
the floor says what takes no part."""

import warnings

import numpy as np
import pandas as pd
import pytest
from faulty_review import CUT, NONE, SOME, accepted, faulty, heard, rows, sound

import emgreview as er
from emgreview.errors import ParameterError, SignalWarning
from emgreview.measuring import unmeasured
from emgreview.measuring.normalising import reach_back

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # the notes themselves are read here


def stronger(x, markers, times=4):
    """Every third response of "bad" that many times stronger, and until the next trial."""
    x = x.copy()
    for cue in [at for at, label in markers if label == "go"][::3]:
        x[1, cue + 500 : cue + 3200] = times * np.random.default_rng(cue).normal(0, 60, 2700)
    return x


@pytest.mark.parametrize("origin", ["automatic", "added"])
def test_strong_bursts_that_last_to_the_end_count_in_the_peak_in_task(origin):
    x, markers = sound()
    trials = er.cut_trials(heard(stronger(x, markers), markers), **CUT)
    _, _, table = rows(SOME, origin=origin, **NONE)(None, None, accepted().copy())
    with pytest.warns(SignalWarning, match=r"peak in task counts 7 bursts that are not whole .* \(bad of rec 7\)"):
        found = er.measure(trials, table, normalise="peak in task")
    mine = found[found["channel"] == "bad"]
    percent = mine[[name for name in found if name.endswith("percent")]].to_numpy()
    assert np.nanmax(percent) <= 100
    longer = er.cut_trials(heard(stronger(x, markers), markers), **CUT | {"after_s": 1.55})
    ended = table.assign(offset_sample=table["cue_sample"] + 3000, offset_s=1.5).where(table["offset_s"].isna(), table)
    whole = er.measure(longer, ended, normalise="peak in task")
    assert not any("not whole" in note for note in whole.attrs["notes"])
    np.testing.assert_allclose(
        mine["first_30_ms_peak_percent"], whole[whole["channel"] == "bad"]["first_30_ms_peak_percent"], rtol=0.02
    )
    others = found[found["channel"] == "good"]
    assert others["burst_peak_percent"].max() == pytest.approx(100)


def test_bursts_that_last_to_the_end_count_in_the_mean_and_added_ones_without_an_end_do_not():
    x, markers = sound()
    trials = er.cut_trials(heard(stronger(x, markers), markers), **CUT)
    tables = [rows(SOME, origin=origin, **NONE)(None, None, accepted().copy())[2] for origin in ("automatic", "added")]
    with pytest.warns(SignalWarning, match="mean in task counts 7 bursts that are not whole"):
        lasting = er.measure(trials, tables[0], normalise="mean in task")
    with pytest.warns(SignalWarning, match="mean in task does not count 7 bursts of which no sample was recorded, or"):
        unknown = er.measure(trials, tables[1], normalise="mean in task")
    means = []
    for found in (lasting, unknown):
        mine = found[found["channel"] == "bad"]
        means.append(np.nanmedian(100 * mine["first_30_ms_arv"] / mine["first_30_ms_arv_percent"]))
        whole = mine["burst_arv"].mean()
    assert means[1] == pytest.approx(whole)
    assert means[0] == pytest.approx(whole * (13 + 7 * 4) / 20, rel=0.1)


def test_a_burst_that_is_not_whole_ends_at_the_next_one_or_with_its_trial():
    x = np.vstack([np.arange(20.0), np.arange(20.0), -np.arange(20.0)])
    x[2, 15] = np.nan
    onset, following = np.array([5.0, 12.0, 10.0]), np.array([12.0, np.nan, np.nan])
    peak, arv, ends = unmeasured.partial(x, np.abs(x), onset, np.array([np.nan, 30.0, np.nan]), following)
    assert ends.tolist() == [12, 20, 20]
    assert peak.tolist() == [11, 19, 19]
    np.testing.assert_allclose(arv, [8, 15.5, np.mean([10, 11, 12, 13, 14, 16, 17, 18, 19])])
    peak, arv, _ = unmeasured.partial(x[:1], x[:1], np.array([25.0]), np.array([30.0]), np.array([np.nan]))
    assert np.isnan([*peak, *arv]).all()


@pytest.mark.parametrize("how", ["peak in task", "mean in task"])
@pytest.mark.parametrize("left_out", ["by the rule", "not accepted", "another reviewer's"])
def test_a_burst_without_an_offset_ends_at_the_next_one_whether_or_not_that_counts(left_out, how):
    """A much stronger burst of another kind follows at 0.8 s: it is no part of what the others are divided by, nor is
    what the filters carry ahead of it."""
    x, markers = sound()
    x = x.copy()
    cues = [at for at, label in markers if label == "go"]
    for cue in cues[::3]:
        x[1, cue + 1600 : cue + 2200] *= 1000
    trials = er.cut_trials(heard(x, markers), **CUT)
    _, _, table = rows(SOME, origin="automatic", **NONE)(None, None, accepted().copy().assign(included=True))
    open_ones = table[(table["channel"] == "bad") & table["offset_s"].isna()]
    shift = {"onset_s": 0.8, "offset_s": 1.1, "kind": "braking", "burst": "added-99"}
    later = open_ones.assign(**shift, onset_sample=open_ones["cue_sample"] + 1600)
    later["offset_sample"] = later["cue_sample"] + 2200
    if left_out == "by the rule":
        later = later.assign(included=False, why_not="kind braking")
    if left_out == "not accepted":
        later = later.assign(accepted=False)
    if left_out == "another reviewer's":  # two reviewers' bursts do not end each other's
        near = open_ones.assign(reviewer="r2", onset_sample=open_ones["onset_sample"] + 10, accepted=False)
        later = pd.concat([later.assign(accepted=False), near])
    found = er.measure(trials, pd.concat([table, later], ignore_index=True), normalise=how)
    mine = found[found["channel"] == "bad"].reset_index(drop=True)
    name = {"peak in task": "burst_peak", "mean in task": "burst_arv"}[how]
    divided = 100 * mine["first_30_ms_peak"] / mine["first_30_ms_peak_percent"]
    row = {trial: index for index, trial in enumerate(trials.ids)}
    at = [row[trial] for trial in mine["trial"]]
    signal = {"burst_peak": trials.envelope, "burst_arv": np.abs(trials.data)}[name][at, 1]
    stop = 3600 - reach_back(trials)
    parts = [signal[i, 2500 : (stop if np.isnan(mine["offset_s"][i]) else 3200)] for i in range(len(mine))]
    right = np.max([part.max() for part in parts]) if how == "peak in task" else np.mean([p.mean() for p in parts])
    np.testing.assert_allclose(divided, right, rtol=1e-4)


def test_windows_of_less_than_a_sample_are_refused():
    trials, table = faulty("nothing")
    with pytest.raises(ParameterError, match=r"windows_s came as 0.0002.*1 sample or more"):
        er.measure(trials, table, windows_s=(0.0002,))
    with pytest.raises(ParameterError, match=r"creep_s came as 0.0005.*2 samples or more"):
        er.measure(trials, table, creep_s=0.0005)


def test_the_floor_says_which_rests_and_bursts_take_no_part():
    trials, table = faulty("missing in the burst")
    floor = er.detection_floor(trials, "bad", decisions=table, injections=20)
    assert any("7 bursts that reach beyond their trial or lack samples take no part" in note for note in floor.left_out)
    trials, table = faulty("missing in the rest")
    for decisions in (None, table):
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always")
            er.detection_floor(trials, "bad", decisions=decisions, injections=20)
        assert any("7 rests that the default method calls active, flat or missing" in str(one.message) for one in told)
