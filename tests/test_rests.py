"""A rest that holds marked activity is no rest: what is marked is left out, or the number is missing and says why. Nor
is a peak one of the next burst."""

import json

import numpy as np
import pandas as pd
import pytest

import emgreview as er
from emgreview.errors import DecisionWarning, SignalWarning, VersionError

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # the notes themselves are read here

RATE, CUES, QUIET_UV = 1000.0, [4000, 10_000, 16_000, 22_000], 3.0
LEVEL_DB = 26.0
ACTIVE = "more than half of the rest window lies in marked bursts or stretches set aside"


def noise(bursts, n=28_000):
    """One channel of rest, with bursts of 60 µV from one sample to another."""
    rng = np.random.default_rng(3)
    x = rng.normal(0, QUIET_UV, (1, n))
    for first, last in bursts:
        x[0, first:last] += rng.normal(0, 60.0, last - first)
    return x


def reviewed(folder, moments, *, more=(), cues=CUES, kind="response", mark=None, late=None, **cut):
    """Trials and decisions: in each trial one burst from one moment to another (s from its cue), and ``more`` as
    (number of the trial, onset, offset or None); ``mark`` is a stretch of the recording in s that is marked at last,
    ``late`` how far the cue of the first trial is corrected."""
    bursts = [(cue + round(1000 * on), cue + round(1000 * off)) for cue, (on, off) in zip(cues, moments, strict=True)]
    bursts += [(cues[k] + round(1000 * on), cues[k] + round(1000 * (off or 1.5))) for k, on, off in more]
    bursts += [tuple(round(1000 * edge) for edge in mark)] if mark else []
    markers = [(cue, "go") for cue in cues]
    rec = er.Recording.from_array(noise(bursts), RATE, labels=["A"], markers=markers, name="p")
    trials = er.cut_trials(rec, **{"cue": "go", "before_s": 1.0, "after_s": 1.5} | cut)
    with er.open_review(trials, folder, reviewer="r1") as session:
        for trial, (on, off) in zip(trials.ids, moments, strict=True):
            for burst in list(session.state(trial).channels["A"].bursts):
                session.remove(trial, "A", burst)
            session.add(trial, "A", onset_s=on, offset_s=off)
        for k, on, off in more:
            session.add(trials.ids[k], "A", onset_s=on, offset_s=off, kind=kind)
        if mark:
            session.mark_burst("p", "A", *mark)
        if late is not None:
            session.correct_cue(trials.ids[0], late, "the tone came later")
        table = session.decisions()
        session.seal("v1")
    return trials, table


USUAL = [(0.25, 0.85)] * 4


def firsts(table):
    """The first burst of each trial."""
    return table.sort_values("onset_s").drop_duplicates("trial").sort_index().reset_index(drop=True)


def test_a_marked_burst_that_goes_on_in_the_rest_of_the_next_trial_is_told(tmp_path):
    close = [4000, 7000, 16_000, 22_000]
    said = "A: the burst ends beyond the trial, which does not keep its offset, and goes on in 1 other, whose rest does"
    with pytest.warns(DecisionWarning, match=said):
        trials, table = reviewed(tmp_path, USUAL, cues=close, mark=(5.2, 6.8))
    assert er.measure(trials, table)["rest_rms"].max() > 10 * QUIET_UV, "the next trial's rest holds it"
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        session.set_aside("p", "A", 5.5, 6.8, ["other: activity of the trial before"])
        table = session.decisions()
    found = er.measure(trials, table)["rest_rms"]
    assert found.isna().sum() == 1
    np.testing.assert_allclose(found.dropna(), 2.75, rtol=0.1)


@pytest.mark.filterwarnings("error::emgreview.errors.DecisionWarning")
def test_a_marked_burst_that_ends_between_trials_needs_no_word(tmp_path):
    reviewed(tmp_path, USUAL, mark=(5.2, 6.8))


def test_a_burst_before_its_cue_is_not_in_its_own_rest(tmp_path):
    trials, table = reviewed(tmp_path, [(-0.2, 0.4), *USUAL[1:]])
    found = er.measure(trials, table)
    assert found["rest_rms"].isna().tolist() == found["creep_per_s"].isna().tolist() == [True, False, False, False]
    words = " ".join(found.attrs["notes"])
    assert f"rest_rms, level_db in 1 ({ACTIVE}" in words
    assert "creep_per_s in 1 (a burst that is marked before go touches creep_s" in words
    longer, table = reviewed(tmp_path / "longer", [(-0.2, 0.4), *USUAL[1:]], processing=er.Processing(rest_s=(-1, 0)))
    found = er.measure(longer, table)
    np.testing.assert_allclose(found["rest_rms"], 2.75, rtol=0.1)
    np.testing.assert_allclose(found["level_db"], LEVEL_DB, atol=1)
    assert "In 1 rows a marked burst touches the rest window, or 0.1 s around it" in " ".join(found.attrs["notes"])


def test_a_corrected_cue_leaves_no_burst_in_the_rest(tmp_path):
    trials, table = reviewed(tmp_path, USUAL, late=0.6)
    assert table["onset_s"][0] == pytest.approx(-0.35)
    assert er.measure(trials, table)["level_db"].isna().tolist() == [True, False, False, False]


@pytest.mark.parametrize(("off", "lost"), [(-0.4, False), (-0.15, True), (None, True)])
def test_another_burst_of_the_trial_is_no_rest_whether_or_not_it_counts(off, lost, tmp_path):
    moments = USUAL if off else [(0.95, 1.2), *USUAL[1:]]
    trials, table = reviewed(tmp_path, moments, more=[(0, -0.55, off)], kind="other hand")
    ruled = er.include(table, er.Rule(name="main", version=1))
    unaccepted = table.assign(accepted=table["accepted"] & (table["kind"] == "response"))
    for rows in (ruled, unaccepted):
        found = er.measure(trials, rows)
        assert len(found) == 4
        assert found["level_db"].isna().tolist() == [lost, False, False, False]
        np.testing.assert_allclose(found["level_db"].dropna(), LEVEL_DB, atol=1)
    notes = er.detection_floor(trials, "A", decisions=ruled, injections=20).left_out
    assert any("take no part" in note for note in notes)


def test_a_removed_burst_and_another_channel_s_or_reviewer_s_leave_the_rest_alone(tmp_path):
    trials, table = reviewed(tmp_path, USUAL, more=[(0, -0.55, -0.15)], kind="other hand")
    mine = table["kind"] == "other hand"
    expected = er.measure(trials, table[~mine])["rest_rms"]
    for changed in (table.assign(origin=table["origin"].mask(mine, "removed")), table[~mine]):
        pd.testing.assert_series_equal(er.measure(trials, changed)["rest_rms"], expected)


def test_the_response_of_the_trial_before_is_no_rest(tmp_path):
    cues = list(range(4000, 25_000, 900))
    trials, table = reviewed(tmp_path, [(0.25, 0.8)] * len(cues), cues=cues, before_s=0.6, after_s=0.9)
    found = er.measure(trials, table)
    assert found["rest_rms"].isna().tolist() == [False, *[True] * (len(cues) - 1)]


def test_a_burst_marked_outside_all_trials_is_no_rest(tmp_path):
    how = {"processing": er.Processing(rest_s=(-1, 0)), "mark": (8.5, 9.2)}
    trials, table = reviewed(tmp_path, USUAL, **how)
    mark = {"channel": "A", "onset_sample": 8500, "offset_sample": 9200, "kind": "response"}
    assert table.attrs["outside_trials"] == {"p": {"marked": [mark], "added_cues": []}}
    for rows in (table, er.read_version(tmp_path, "v1")):
        np.testing.assert_allclose(er.measure(trials, rows)["level_db"], LEVEL_DB, atol=1)
    assert er.replay(tmp_path, trials.recording, "v1").same_bytes


def test_a_table_that_does_not_say_what_lies_outside_its_trials_is_told(tmp_path):
    trials, table = reviewed(tmp_path, USUAL)
    assert not any("outside the trials" in note for note in er.measure(trials, table).attrs["notes"])
    old = table.copy()
    del old.attrs["outside_trials"]
    with pytest.warns(SignalWarning, match=r"^Which bursts were marked, and which cues added, outside .*: p\.$"):
        er.measure(trials, old)
    old.attrs = {}
    with pytest.warns(SignalWarning, match="Nor does it say which bursts were marked, and which cues added, outside"):
        er.measure(trials, old)


def test_a_version_that_says_nonsense_of_what_lies_outside_its_trials_is_refused(tmp_path):
    reviewed(tmp_path, USUAL)
    path = tmp_path / "versions" / "v1" / "decisions.json"
    said = json.loads(path.read_text())
    for log in (tmp_path / "logs").rglob("*.jsonl"):
        log.unlink()
    for nonsense in (
        [],
        {"p": []},
        {"p": {"marked": [{}], "added_cues": []}},
        {"p": {"marked": "x", "added_cues": []}},
    ):
        path.write_text(json.dumps(said | {"outside_trials": nonsense}))
        with pytest.raises(VersionError, match="outside_trials"):
            er.read_version(tmp_path, "v1")


@pytest.mark.parametrize("how", [er.Processing(), er.Processing(envelope="rms"), er.Processing(envelope_hz=6.0)])
@pytest.mark.parametrize("times", [10, 30])
def test_a_burst_without_an_offset_has_no_peak_of_the_next_one(times, how, tmp_path):
    """The zero-phase envelope rises before the next burst begins: the peak was 2 to 8 times as large."""
    rng = np.random.default_rng(3)
    x = rng.normal(0, QUIET_UV, (1, 28_000))
    for cue in CUES:
        x[0, cue + 250 : cue + 500] += rng.normal(0, 40.0, 250)
    plain = x.copy()
    x[0, CUES[0] + 900 : CUES[0] + 1200] += rng.normal(0, 40.0 * times, 300)
    markers = [(cue, "go") for cue in CUES]
    found = []
    for number, (samples, off) in enumerate(((plain, 0.5), (x, None))):
        rec = er.Recording.from_array(samples, RATE, labels=["A"], markers=markers, name="p")
        trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=2.0, processing=how)
        with er.open_review(trials, tmp_path / str(number), reviewer="r1") as session:
            for trial in trials.ids:
                for burst in list(session.state(trial).channels["A"].bursts):
                    session.remove(trial, "A", burst)
                session.add(trial, "A", onset_s=0.25, offset_s=off if trial == trials.ids[0] else 0.5)
            session.add(trials.ids[0], "A", onset_s=0.9, offset_s=1.2, kind="other hand")
            table = er.include(session.decisions(), er.Rule(name="main", version=1))
        found.append(er.measure(trials, table, normalise="peak in task"))
    np.testing.assert_allclose(found[1]["burst_peak_percent"][1:], found[0]["burst_peak_percent"][1:], rtol=0.05)


def test_a_burst_that_the_next_one_follows_at_once_does_not_count(tmp_path):
    trials, table = reviewed(tmp_path, [(0.5, 0.9), *USUAL[1:]], more=[(0, 0.45, None)], kind="braking")
    found = er.measure(trials, table, normalise="peak in task")
    assert "peak in task does not count 1 bursts of which no sample was recorded, or that the next burst" in " ".join(
        found.attrs["notes"]
    )


def test_rows_that_were_taken_away_are_told(tmp_path):
    trials, table = reviewed(tmp_path, USUAL, more=[(0, 1.0, 1.2)], kind="other hand")
    ruled = er.include(table, er.Rule(name="main", version=1))
    with pytest.warns(SignalWarning, match=r"^The rule left 1 bursts out, and none of them is in the table that came"):
        er.measure(trials, ruled[ruled["included"]])
    kept = er.include(table[table["kind"] == "response"], er.Rule(name="main", version=1))
    for fine in (ruled, kept[kept["included"]], table):
        assert not any("none of them is in the table" in note for note in er.measure(trials, fine).attrs["notes"])
