"""Stretches set aside are asked of whatever a number rests on: burst, first windows, rest, window compared, average,
rests of the floor, and what surrounds a stimulus."""

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import ParameterError, SignalWarning

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # the notes themselves are read here

RATE, CUES = 1000.0, [3000, 8000, 13_000, 18_000, 23_000]
CUT = {"cue": "go", "before_s": 1.0, "after_s": 1.5}


def measured(tmp_path, at=(), *, size=3000.0, offset_s=0.55):
    """Trials and decisions of two channels that answer five cues from 0.25 to 0.55 s, and an artefact that is set aside
    in "A" from one to another moment after the second cue."""
    rng = np.random.default_rng(8)
    x = rng.normal(0, 3, (2, 28_000))
    for cue in CUES:
        x[:, cue + 250 : cue + 550] += rng.normal(0, 60, (2, 300))
    if at:
        first, last = (8000 + round(1000 * part) for part in at)
        x[0, first + 20 : last - 20] += size * rng.normal(size=last - first - 40)
    markers = [(cue, "go") for cue in CUES]
    rec = er.Recording.from_array(x, RATE, labels=["A", "B"], markers=markers, name="p")
    trials = er.cut_trials(rec, **CUT)
    with er.open_review(trials, tmp_path / f"review{at}{size}", reviewer="r") as session:
        for number, trial in enumerate(trials.ids):
            for label in "AB":
                for burst in list(session.state(trial).channels[label].bursts):
                    session.remove(trial, label, burst)
                session.add(trial, label, onset_s=0.25, offset_s=offset_s if number == 1 and label == "A" else 0.55)
        if at:
            session.set_aside("p", "A", 8 + at[0], 8 + at[1], ["mains hum"])
        return trials, session.decisions()


def of_a(table):
    return table[table["channel"] == "A"].reset_index(drop=True)


def test_a_stretch_in_the_window_compared_counts_in_no_largest_value(tmp_path):
    right = er.compare_channels(*measured(tmp_path), "A", "B")
    found = er.compare_channels(*measured(tmp_path, (0.03, 0.13)), "A", "B")
    assert found["set_aside"].tolist() == [False, True, False, False, False]
    others = [0, 2, 3, 4]
    np.testing.assert_allclose(found["common_area_percent"][others], right["common_area_percent"][others], atol=10)
    assert any(
        "1 trials whose signal is unusable or set aside in A or B are measured" in n for n in found.attrs["notes"]
    )
    outside = er.compare_channels(*measured(tmp_path, (-0.32, -0.18)), "A", "B")
    assert not outside["set_aside"].any(), "nothing that is compared lies there"


def test_a_stretch_within_what_is_averaged_leaves_the_response_out(tmp_path):
    how = {"to": "onset", "before_s": 0.25, "after_s": 0.3}
    found = er.average_envelopes(*measured(tmp_path, (0.03, 0.13)), **how)
    assert found["A"].mean[:200].max() < 10
    assert (int(found["A"].n.max()), int(found["B"].n.max())) == (4, 5)
    assert (
        "1 responses take no part because a stretch set aside lies within what is averaged, or 0.1 s of it."
        in found["A"].notes
    )
    near = er.average_envelopes(*measured(tmp_path, (-0.32, -0.18)), **how)
    assert int(near["A"].n.max()) == 5


def test_a_rest_rests_on_what_was_not_set_aside(tmp_path):
    right = of_a(er.measure(*measured(tmp_path)))
    found = er.measure(*measured(tmp_path, (-0.52, -0.44)))
    mine = of_a(found)
    np.testing.assert_allclose(mine["rest_rms"], right["rest_rms"], rtol=0.1)
    np.testing.assert_allclose(mine["level_db"], right["level_db"], atol=1)
    assert mine["creep_per_s"].isna().tolist() == [False, True, False, False, False]
    words = " ".join(found.attrs["notes"])
    assert "In 1 rows a stretch set aside touches the rest window, or 0.1 s around it: rest_rms and level_db" in words
    assert "creep_per_s in 1 (a stretch set aside touches creep_s before go, or 0.1 s around it; A of p 1)" in words


def test_a_rest_of_which_most_was_set_aside_is_missing(tmp_path):
    found = er.measure(*measured(tmp_path, (-0.9, -0.05)))
    mine = of_a(found)
    assert mine["rest_rms"].isna().tolist() == mine["level_db"].isna().tolist() == [False, True, False, False, False]
    assert (
        "more than half of the rest window was set aside, or lies within 0.1 s of that; cut trials with a longer rest"
        in " ".join(found.attrs["notes"])
    )


def test_a_window_beyond_a_short_burst_is_missing_where_a_stretch_lies_in_it(tmp_path):
    found = er.measure(*measured(tmp_path, (0.3, 0.4), offset_s=0.29))
    mine = of_a(found)
    assert not mine["set_aside"].any()
    assert mine["burst_rms"].notna().all()
    assert mine["first_30_ms_rms"].notna().all()
    for name in [name for name in found if name.startswith("first_100_ms_")]:
        assert mine[name].isna().tolist()[1], name
    assert "a stretch set aside touches the first 100 ms, beyond the burst; A of p 1" in " ".join(found.attrs["notes"])


def test_a_burst_without_an_offset_is_named_where_a_stretch_touches_it(tmp_path):
    trials, table = measured(tmp_path, (0.3, 0.4), offset_s=None)
    found = er.measure(trials, table, normalise="peak in task")
    assert of_a(found)["set_aside"].tolist() == [False, True, False, False, False]
    assert of_a(found)["burst_peak_percent"].max() == pytest.approx(100)
    assert any(note.startswith("1 bursts in stretches that were set aside") for note in found.attrs["notes"])


def test_a_floor_takes_no_rest_and_no_burst_that_a_stretch_touches(tmp_path):
    for at, words in (
        ((-0.32, -0.18), "p: 1 rests that a stretch set aside touches take no part."),
        ((0.3, 0.5), "p: 1 bursts that a stretch set aside touches take no part."),
    ):
        trials, table = measured(tmp_path, at, size=5.0)
        assert words in er.detection_floor(trials, "A", decisions=table, injections=20).left_out


def test_what_surrounds_a_stimulus_is_asked(tmp_path):
    for at, touched in (((-0.09, -0.02), True), ((0.03, 0.13), True), ((0.7, 0.9), False)):
        trials, table = measured(tmp_path, at)
        found = er.measure_evoked(trials, stimulus="go", decisions=table)
        assert of_a(found)["set_aside"].tolist() == [False, touched, False, False, False]
        assert any("channels of stimuli that a stretch" in note for note in found.attrs["notes"]) == touched


def test_stretches_are_those_of_the_row_s_reviewer(tmp_path):
    trials, table = measured(tmp_path, (-0.32, -0.18))
    again = table.assign(reviewer="other", aside_samples=None)
    found = er.measure(trials, er.tables.pd.concat([table, again], ignore_index=True))
    own = of_a(found[found["reviewer"] == "other"])
    assert own["creep_per_s"].notna().all()


def test_a_table_that_does_not_tell_its_stretches_says_so(tmp_path):
    trials, table = measured(tmp_path, (0.3, 0.4))
    old = table.drop(columns="aside_samples")
    with pytest.warns(SignalWarning, match="whether they touch rests, windows or averages is not known"):
        er.measure(trials, old)
    quiet = old.assign(set_aside=False)
    assert not any("not known" in note and "stretch" in note for note in er.measure(trials, quiet).attrs["notes"])
    with pytest.raises(ParameterError, match=r"'aside_samples' came with 'no'; allowed: stretches like '8030 to 8130'"):
        er.measure(trials, table.assign(aside_samples="no"))
