"""Lists of odd trials: each holds the trial that was made odd, with its reason, and a review steps through the same."""

import numpy as np
import pytest

import emgreview as er
from emgreview.people.lists import LISTS, MOST_UNLIKE, odd_trials, unlikeness
from emgreview.people.person import gathered
from emgreview.people.recorded import RecordedJob
from emgreview.simulation import ARTEFACTS, Muscle
from emgreview.trial_lists import OddTrials, trial_list

WINDOW = {"cue": "go", "before_s": 1.0, "after_s": 1.2}
N = 14


def made(changed=None, markers=None):
    """One muscle, strong bursts, and in what is changed something odd."""
    study = er.simulate_study(1, N, 1000, seed=6, muscles=[Muscle(label="FCR", snr_db=25.0)])
    rec = study.recordings[0]
    x = rec.microvolts().astype(np.float64)
    goes = [m.sample for m in rec.markers if m.label == "go"]
    if changed:
        changed(x, goes)
    return er.Recording.from_array(
        x,
        1000,
        labels=["FCR"],
        markers=markers(rec) if markers else list(rec.markers),
        name="sub-01",
        entities={"sub": "01"},
    )


def found(rec, which):
    job = RecordedJob(**WINDOW)
    trials = er.cut_trials(rec, **WINDOW)
    people = gathered([job.of_trials(trials, tuple(er.check(rec)))])
    return [(trials.ids.index(one.trial), one) for one in odd_trials(people, which)]


def test_a_sound_recording_is_in_no_list_but_that_of_the_most_unlike():
    rec = made()
    for which in LISTS:
        assert bool(found(rec, which)) == (which == MOST_UNLIKE), which


def test_a_trial_without_a_burst_among_trials_with_one():
    def silence(x, goes):
        rng = np.random.default_rng(1)
        x[0, goes[4] : goes[4] + 1500] = rng.normal(0, 2.5, 1500)

    ((at, one),) = found(made(silence), "none found where most have one")
    assert at == 4
    assert "of the person's usable trials have one" in one.reason


def test_a_second_burst():
    def again(x, goes):
        x[0, goes[7] + 850 : goes[7] + 1050] += x[0, goes[8] + 250 : goes[8] + 450]

    assert 7 in [at for at, _ in found(made(again), "a second burst")]


def test_an_onset_far_from_the_person_s_own_or_too_soon_to_be_an_answer():
    def sooner(x, goes):
        whole = x[0, goes[3] : goes[3] + 900].copy()
        x[0, goes[3] - 75 : goes[3] + 825] = whole
        x[0, goes[9] + 400 : goes[9] + 1000] = x[0, goes[9] : goes[9] + 600]
        x[0, goes[9] : goes[9] + 400] = np.random.default_rng(2).normal(0, 2.5, 400)

    seen = dict(found(made(sooner), "onset outside the person's own range"))
    assert {3, 9} <= set(seen)
    assert "sooner than 80 ms" in seen[3].reason
    assert "the person's median is" in seen[9].reason


def test_an_onset_after_the_response():
    def early_press(rec):
        goes = [m.sample for m in rec.markers if m.label == "go"]
        answers = [m for m in rec.markers if m.label == "response" and goes[5] < m.sample < goes[6]]
        return sorted(
            [*(m for m in rec.markers if m not in answers), er.Marker(goes[5] + 30, "response")], key=lambda m: m.sample
        )

    ((at, one),) = found(made(markers=early_press), "onset after the response")
    assert at == 5
    assert "after the response" in one.reason


def test_heart_beats_in_the_search():
    def beating(x, goes):
        x[:] = ARTEFACTS["heart"](x, 1000, np.random.default_rng(3), level_uv=90.0)

    assert len(found(made(beating), "heart beat in the search window")) > N / 2


def test_the_most_unlike_trial_comes_first():
    def strange(x, goes):
        x[0, goes[11] - 800 : goes[11] + 1100] += 60 * np.random.default_rng(4).standard_normal(1900)

    assert found(made(strange), MOST_UNLIKE)[0][0] == 11


def test_unlikeness_does_not_depend_on_gain_and_a_missing_trial_has_none():
    x = np.exp(np.random.default_rng(5).normal(0, 0.3, (12, 40)))
    x[4] *= np.linspace(0.2, 5, 40)
    away = unlikeness(x)
    assert np.argmax(away) == 4
    assert unlikeness(7 * x) == pytest.approx(away)
    gap = x.copy()
    gap[2, 3] = np.nan
    assert np.isnan(unlikeness(gap)[2])
    assert np.isfinite(np.delete(unlikeness(gap), 2)).all()


@pytest.mark.parametrize("which", LISTS)
def test_a_review_steps_through_the_same_trials(which, tmp_path):
    def strange(x, goes):
        x[0, goes[2] : goes[2] + 1500] = np.random.default_rng(1).normal(0, 2.5, 1500)
        x[0, goes[6] + 850 : goes[6] + 1050] += x[0, goes[7] + 250 : goes[7] + 450]

    rec = made(strange)
    with er.open_review([er.cut_trials(rec, **WINDOW)], tmp_path / "review", reviewer="r1") as session:
        expected = {one.trial for _, one in found(rec, which)}
        assert set(trial_list(session, which)) == expected
        search = OddTrials(session, which)
        assert search.share == 0
        assert not search.step()
        assert search.share == 1
        for trial in session.queue:
            if trial in expected and which == "none found where most have one":
                session.unusable(trial, "FCR", reasons=["mains hum"])
        if which == "none found where most have one":
            assert trial_list(session, which) == ()


def test_a_list_of_no_such_name_is_refused(tmp_path):
    with (
        er.open_review([er.cut_trials(made(), **WINDOW)], tmp_path / "review", reviewer="r1") as session,
        pytest.raises(er.EmgreviewError, match="second burst"),
    ):
        OddTrials(session, "second burst")
