"""Simulated trials: the stated truth holds in the samples themselves."""

import math

import numpy as np
import pytest
from scipy import signal

import emgreview as er
from emgreview.errors import ParameterError, RateError, UnknownNameError
from emgreview.simulation import ARTEFACTS, Condition, Muscle, Spread, artefacts, rest_noise, simulate_study
from emgreview.simulation.pool import FULL_EXCITATION, INTERVAL_CV, Drive, MotorPool

RATE_HZ = 2000.0
LEVELS = {
    "tonic": {"level_uv": 8.0},
    "stray_unit": {"level_uv": 20.0},
    "early_burst": {"level_uv": 12.0},
    "crosstalk": {"level_uv": 10.0},
    "heart": {"level_uv": 60.0},
    "swing": {"level_uv": 40.0},
    "knock": {"level_uv": 80.0},
    "stimulus": {"level_uv": 500.0, "evoked_uv": 300.0},
    "mains": {"level_uv": 6.0},
    "pop": {"level_uv": 150.0},
    "dropout": {},
    "clip": {"share": 0.5},
}


def band_pass(x):
    """An independent road to the band: a steep Butterworth, both ways."""
    return signal.sosfiltfilt(signal.butter(8, [20, 450], "bandpass", fs=RATE_HZ, output="sos"), x, axis=-1)


def rms(x, where):
    return np.sqrt(np.mean(x[where] ** 2))


@pytest.fixture(scope="module")
def fast():
    return er.simulate(30, RATE_HZ, seed=3, snr_db=20.0, rise_s=0.05)


def times(sim):
    return np.arange(sim.x.shape[1]) / sim.rate_hz


def test_same_seed_same_bits_and_another_seed_others(fast):
    again = er.simulate(30, RATE_HZ, seed=3, snr_db=20.0, rise_s=0.05)
    np.testing.assert_array_equal(again.x, fast.x)
    assert not np.array_equal(er.simulate(30, RATE_HZ, seed=4, snr_db=20.0, rise_s=0.05).x, fast.x)


def test_burst_is_exactly_zero_before_the_first_potential_and_after_the_last(fast):
    t = times(fast)
    for burst, onset, offset in zip(fast.burst_uv, fast.onset_s, fast.offset_s, strict=True):
        assert not burst[t < onset - 0.008].any()
        assert not burst[t > offset + 0.008].any()
        assert burst[(t >= onset) & (t < onset + 0.01)].any()


def test_first_potential_has_risen_by_a_tenth_at_the_onset():
    pool = MotorPool.draw(np.random.default_rng(0))
    rate_hz = 200_000.0
    for unit in range(0, 120, 7):
        fired = type(pool.discharges(_drive(1), np.random.default_rng(0)))(
            np.array([0]), np.array([unit]), np.array([0.00512])
        )
        x = np.abs(pool.signal(fired, (1, 8000), rate_hz)[0])
        first_peak = signal.argrelmax(x)[0][0]
        onset = pool.truth(fired, 1)[0][0]
        assert x[round(onset * rate_hz)] == pytest.approx(0.1 * x[first_peak], rel=0.02)
        assert not x[: round(0.00512 * rate_hz)].any()


@pytest.mark.parametrize("onset_s", [1.1, 1.25037])
def test_asked_onset_is_the_first_potential(onset_s):
    sim = er.simulate(12, RATE_HZ, seed=1, onset_s=onset_s, rise_s=0.1)
    np.testing.assert_array_equal(sim.onset_s, onset_s)
    first = np.array([np.flatnonzero(row)[0] for row in sim.burst_uv]) / RATE_HZ
    assert (np.abs(first - onset_s) < 0.008).all()


@pytest.mark.parametrize("snr_db", [5.0, 15.0, 30.0])
def test_level_is_the_burst_alone_over_the_rest(snr_db):
    sim = er.simulate(40, RATE_HZ, seed=8, snr_db=snr_db)
    t = times(sim)
    active = (t >= sim.onset_s[:, None]) & (t <= sim.offset_s[:, None])
    rest = t < 1.0
    rest_rms = rms(band_pass(sim.x)[:, rest], ...)
    assert rest_rms == pytest.approx(sim.noise_uv, rel=0.03)
    alone = rms(band_pass(sim.burst_uv), active)
    assert 20 * np.log10(alone / sim.noise_uv) == pytest.approx(snr_db, abs=0.3)
    together = rms(band_pass(sim.x), active)
    assert together**2 == pytest.approx(alone**2 + rest_rms**2, rel=0.05)
    np.testing.assert_array_equal(sim.level_db, snr_db)


def test_slow_or_weak_rises_become_visible_later(fast):
    lag = {
        name: np.nanmedian(sim.visible_s - sim.onset_s)
        for name, sim in {
            "fast": fast,
            "slow": er.simulate(30, RATE_HZ, seed=3, snr_db=20, rise_s=0.3, duration_s=0.6),
            "slow and weak": er.simulate(30, RATE_HZ, seed=3, snr_db=8, rise_s=0.3, duration_s=0.6),
        }.items()
    }
    assert 0 <= lag["fast"] < lag["slow"] < lag["slow and weak"]
    assert lag["slow and weak"] > 0.02
    assert (fast.drive_s < fast.onset_s).all()


def test_amplitude_grows_over_the_rise():
    sim = er.simulate(60, RATE_HZ, seed=2, snr_db=20, rise_s=0.3, duration_s=0.8, onset_s=1.2)
    t = times(sim)
    early, middle, plateau = (
        rms(sim.burst_uv, (..., (t > 1.2 + a) & (t <= 1.2 + b))) for a, b in ((0.0, 0.05), (0.05, 0.15), (0.3, 0.6))
    )
    assert early < 0.5 * plateau
    assert early < middle < plateau


def test_no_activity_has_no_truth_and_only_noise():
    sim = er.simulate(4, RATE_HZ, seed=0, snr_db=[-math.inf, 20, -math.inf, 10])
    assert sim.present.tolist() == [False, True, False, True]
    for truth in (sim.onset_s, sim.drive_s, sim.visible_s, sim.offset_s, sim.level_db):
        assert np.isnan(truth[~sim.present]).all()
    assert not sim.burst_uv[~sim.present].any()
    assert (sim.x[~sim.present].std(axis=1) > 1).all()


def test_median_frequency_is_that_of_surface_emg():
    """The median frequency of voluntary bursts is commonly 50 to 200 Hz (common practice, no source)."""
    sim = er.simulate(30, RATE_HZ, seed=5, snr_db=25)
    f, power = signal.periodogram(sim.burst_uv, RATE_HZ)
    share = np.cumsum(power.sum(axis=0)) / power.sum()
    assert 80 < f[np.searchsorted(share, 0.5)] < 200


def _drive(rows, rise_s=1.0, hold_s=4.0):
    ones = np.ones(rows)
    return Drive(0 * ones, 0.5 * FULL_EXCITATION * ones, rise_s * ones, hold_s * ones, 0.2 * ones)


def test_units_follow_the_published_rates_and_order():
    """Fuglevand, Winter & Patla 1993 (from memory): recruitment by size, 8 to 35 impulses a second, interval CV 0.2."""
    rng = np.random.default_rng(1)
    pool = MotorPool.draw(rng)
    fired = pool.discharges(_drive(1), rng)
    first = [fired.time_s[fired.unit == unit].min() for unit in np.unique(fired.unit)]
    assert first == sorted(first)
    cvs, rates = [], []
    for unit in np.unique(fired.unit)[:60]:
        steady = np.sort(fired.time_s[(fired.unit == unit) & (fired.time_s > 1.5) & (fired.time_s < 5.0)])
        intervals = np.diff(steady)
        rates.append(1 / intervals.mean())
        cvs.append(intervals.std() / intervals.mean())
    assert min(rates) > 8
    assert max(rates) < 37
    assert np.median(cvs) == pytest.approx(INTERVAL_CV, abs=0.03)


@pytest.mark.parametrize("name", ARTEFACTS)
def test_an_artefact_changes_nothing_but_its_own_part(name):
    plain = er.simulate(3, RATE_HZ, seed=9)
    spoilt = er.simulate(3, RATE_HZ, seed=9, artefacts={name: LEVELS[name]})
    assert not np.array_equal(spoilt.x, plain.x)
    np.testing.assert_array_equal(spoilt.burst_uv, plain.burst_uv)
    np.testing.assert_array_equal(spoilt.onset_s, plain.onset_s)
    both = er.simulate(3, RATE_HZ, seed=9, artefacts={name: LEVELS[name], "mains": LEVELS["mains"]})
    again = er.simulate(3, RATE_HZ, seed=9, artefacts={"mains": LEVELS["mains"], name: LEVELS[name]})
    np.testing.assert_array_equal(both.x, again.x)


def made(name, **levels):
    x = np.zeros((4, 8000))
    return ARTEFACTS[name](x, RATE_HZ, np.random.default_rng(2), **{**LEVELS[name], **levels})


def test_artefacts_have_their_stated_levels():
    np.testing.assert_allclose(np.sqrt(np.mean(made("mains") ** 2, axis=1)), 6.0, rtol=0.05)
    np.testing.assert_allclose(np.sqrt(np.mean(artefacts.in_band(made("tonic"), RATE_HZ) ** 2, axis=1)), 8.0)
    np.testing.assert_allclose(np.abs(made("pop", at_s=1.0)).max(axis=1), 150.0)
    np.testing.assert_allclose(made("heart").max(axis=1), 60.0, rtol=0.05)
    moving = made("swing", at_s=1.0, length_s=0.5)
    assert not moving[:, :2000].any()
    assert not moving[:, 3001:].any()
    np.testing.assert_allclose(np.sqrt(np.mean(moving[:, 2000:3000] ** 2, axis=1)), 40.0, rtol=1e-6)
    arriving = artefacts.in_band(made("crosstalk", at_s=1.0, duration_s=0.4), RATE_HZ)
    np.testing.assert_allclose(np.sqrt(np.sum(arriving**2, axis=1) / 800), 10.0)
    stray = made("stray_unit", at_s=1.0, count=3)
    assert not stray[:, :2000].any()
    np.testing.assert_allclose(np.abs(stray).max(axis=1), 20.0, rtol=0.1)


def test_an_early_burst_begins_where_it_is_said_to():
    at_s = np.array([0.5, np.nan, 1.70033, 2.1])
    x = made("early_burst", at_s=at_s, duration_s=0.08)
    assert not x[1].any()
    for row, at in zip(x[[0, 2, 3]], at_s[[0, 2, 3]], strict=True):
        active = np.flatnonzero(row) / RATE_HZ
        assert active[0] == pytest.approx(at, abs=0.008)
        assert active[-1] - at < 0.12
    np.testing.assert_allclose(made("early_burst", at_s=at_s, level_uv=24.0), 2 * x)


def test_a_knock_and_a_stimulus_have_their_stated_sizes_and_times():
    ringing = made("knock", at_s=1.0)
    assert not ringing[:, :2000].any()
    np.testing.assert_allclose(np.abs(ringing).max(axis=1), 80.0)
    assert np.abs(ringing[:, 2300:]).max() < 0.01 * 80
    spike = made("stimulus", at_s=1.0, evoked_uv=0.0, spike_s=0.003)
    assert not spike[:, :2000].any()
    np.testing.assert_allclose(spike[:, 2000:2006], 500.0)
    assert (np.diff(spike[:, 2006:]) < 0).all()
    evoked = made("stimulus", at_s=1.0, latency_s=0.022) - made("stimulus", at_s=1.0, evoked_uv=0.0)
    np.testing.assert_allclose(np.ptp(evoked, axis=1), 300.0, rtol=0.01)
    first_peak = evoked[0, np.argmax(evoked[0])] if np.argmax(evoked[0]) < np.argmin(evoked[0]) else evoked[0].min()
    reached = np.flatnonzero(np.abs(evoked[0]) >= 0.1 * abs(first_peak))[0] / RATE_HZ
    assert reached == pytest.approx(1.022, abs=1 / RATE_HZ)


def test_fast_bursts_overshoot_their_plateau_and_slow_ones_do_not():
    """That ballistic contractions begin at high rates: Desmedt & Godaux 1977, from memory; sizes are our own."""
    peak = {}
    for rise_s in (0.03, 0.3):
        sims = [
            er.simulate(15, RATE_HZ, seed=seed, rise_s=rise_s, duration_s=1.0, onset_s=1.2, after_s=1.6)
            for seed in range(8)
        ]
        power = np.mean([np.mean(sim.burst_uv**2, axis=0) / np.mean(sim.burst_uv**2) for sim in sims], axis=0)
        smooth = np.convolve(power, np.ones(60) / 60, "same")
        plateau = power[round(1.8 * RATE_HZ) : round(2.05 * RATE_HZ)].mean()
        peak[rise_s] = np.sqrt(smooth[: round(1.8 * RATE_HZ)].max() / plateau)
    assert 1.7 < peak[0.03] < 2.6
    assert peak[0.3] < 1.35


def test_mains_lies_on_its_harmonics_and_the_heart_beats_at_its_rate():
    hum = ARTEFACTS["mains"](np.zeros((1, 40000)), RATE_HZ, np.random.default_rng(0), level_uv=5.0, hz=60.0)
    f, power = signal.periodogram(hum[0], RATE_HZ)
    near = np.abs(f[:, None] - 60.0 * np.arange(1, 8)).min(axis=1) < 2
    assert power[near].sum() > 0.99 * power.sum()
    assert abs(f[power.argmax()] - 60) <= 0.25
    beats = ARTEFACTS["heart"](np.zeros((1, 120_000)), RATE_HZ, np.random.default_rng(0), level_uv=50.0)
    assert len(signal.find_peaks(beats[0], height=30)[0]) == pytest.approx(68, abs=4)


def test_flat_and_clipped_samples_are_flat_and_clipped():
    x = rest_noise((2, 4000), RATE_HZ, np.random.default_rng(0), level_uv=3.0)
    flat = artefacts.dropout(x, RATE_HZ, np.random.default_rng(0), at_s=0.5, length_s=0.05)
    assert not flat[:, 1000:1100].any()
    np.testing.assert_array_equal(flat[:, 1100:], x[:, 1100:])
    clipped = artefacts.clip(x, RATE_HZ, np.random.default_rng(0), share=0.3)
    np.testing.assert_allclose(np.abs(clipped).max(axis=1), 0.3 * np.abs(x).max(axis=1))
    assert (np.abs(clipped) == np.abs(clipped).max(axis=1, keepdims=True)).sum() > 100


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"snr_db": [1.0, 2.0]}, "snr_db .* 3 trials"),
        ({"snr_db": math.nan}, "snr_db .* NaN"),
        ({"rise_s": 0.0}, "rise_s"),
        ({"duration_s": 0.1}, "duration_s .* at least"),
        ({"onset_s": 2.4}, "onset_s .* lengthen after_s"),
        ({"onset_s": -0.1}, "onset_s"),
        ({"effort": 2.0}, "effort"),
        ({"noise_uv": 0.0}, "noise_uv"),
        ({"artefacts": {"mains": {}}}, "states level_uv"),
        ({"artefacts": ["mains"]}, "artefacts came as"),
        ({"artefacts": {"mains": 6.0}}, "states its levels"),
        ({"seed": None}, "seed came as None; allowed: a whole number from 0 up"),
        ({"seed": -1}, "seed came as -1"),
        ({"seed": 1.5}, "seed came as 1.5"),
        ({"before_s": math.inf}, "before_s came as inf"),
        ({"snr_db": "strong"}, "snr_db came as 'strong'"),
    ],
)
def test_values_out_of_range_are_refused(options, words):
    with pytest.raises(ParameterError, match=words):
        er.simulate(3, RATE_HZ, **{"seed": 0, **options})


def test_unknown_names_and_low_rates_are_refused():
    with pytest.raises(UnknownNameError, match="Did you mean 'mains'"):
        er.simulate(3, RATE_HZ, seed=0, artefacts={"main": {"level_uv": 1}})
    with pytest.raises(UnknownNameError, match="level of 'mains'"):
        er.simulate(3, RATE_HZ, seed=0, artefacts={"mains": {"level": 1}})
    with pytest.raises(RateError, match="1000 Hz"):
        er.simulate(3, 500.0, seed=0)
    with pytest.raises(ParameterError, match="n_trials"):
        er.simulate(0, RATE_HZ, seed=0)


# A study


CONDITIONS = (Condition(label="easy"), Condition(label="hard", later_s=0.04, stronger_db=4.0))


@pytest.fixture(scope="module")
def study():
    return simulate_study(
        4,
        30,
        RATE_HZ,
        seed=11,
        muscles=(
            Muscle(label="mover"),
            Muscle(label="antagonist", lag_s=0.05, snr_db=10.0),
            Muscle(label="other hand", snr_db=-math.inf),
        ),
        conditions=CONDITIONS,
        anticipations=0.1,
        no_responses=0.1,
        early_bursts={"other hand": 0.3},
    )


def test_a_study_is_the_same_for_the_same_seed_and_its_people_do_not_depend_on_their_number(study):
    again = simulate_study(**study.parameters)
    fewer = simulate_study(**{**study.parameters, "n_people": 2})
    other = simulate_study(**{**study.parameters, "seed": 12})
    assert [r.fingerprint for r in again.recordings] == [r.fingerprint for r in study.recordings]
    assert [r.fingerprint for r in fewer.recordings] == [r.fingerprint for r in study.recordings[:2]]
    assert other.recordings[0].fingerprint != study.recordings[0].fingerprint
    assert len({r.fingerprint for r in study.recordings}) == 4


def test_truth_of_a_study_stands_in_its_samples(study):
    for person in study.people:
        x, rec = band_pass(person.recording.values()), person.recording
        rest = x[:, : round(2.5 * RATE_HZ)].std(axis=1)
        active = np.flatnonzero(person.behaviour != "no response")
        for trial in active:
            start, stop = (
                round((person.go_s[trial] + times[trial, 0]) * RATE_HZ) for times in (person.onset_s, person.offset_s)
            )
            power = np.mean(x[0, start:stop] ** 2) - rest[0] ** 2
            assert 10 * np.log10(power) - 20 * np.log10(rest[0]) == pytest.approx(person.level_db[trial, 0], abs=1.0)
        assert np.isnan(person.onset_s[person.behaviour == "no response"]).all()
        assert np.isnan(person.onset_s[:, 2]).all()
        assert (np.isnan(person.response_s) == (person.behaviour == "no response")).all()
        responses = [marker.sample / RATE_HZ for marker in rec.markers if marker.label == "response"]
        expected = (person.go_s + person.response_s)[active]
        np.testing.assert_allclose(sorted(responses), np.sort(expected), atol=1e-9)


def test_conditions_and_people_differ_as_asked(study):
    effects, starts = [], []
    for person in study.people:
        good = person.behaviour == "as instructed"
        hard = person.condition == "hard"
        assert hard.sum() == 15
        onset, level = person.onset_s[:, 0], person.level_db[:, 0]
        effects.append(
            [np.mean(value[good & hard]) - np.mean(value[good & ~hard]) for value in (onset, level)],
        )
        starts.append(np.median(onset[good & ~hard]))
        early = person.onset_s[person.behaviour == "anticipation", 0]
        assert ((early > -0.25) & (early < 0.13)).all()
        np.testing.assert_allclose(person.later_s, [0.0, 0.04])
    later, stronger = np.mean(effects, axis=0)
    assert later == pytest.approx(0.04, abs=0.012)
    assert stronger == pytest.approx(4.0, abs=0.9)
    assert np.std(starts) > 0.003


def test_early_bursts_come_before_the_response_in_the_wrong_place(study):
    some = 0
    for person in study.people:
        small = person.early_s[:, 2]
        there = np.isfinite(small)
        before = person.onset_s[there, 0] - small[there]
        assert ((before > 0.0) & (before < 0.2)).all()
        assert np.isnan(person.early_s[:, :2]).all()
        x = band_pass(person.recording.values()[2])
        rest = x[: round(2.5 * RATE_HZ)].std()
        for at in (person.go_s + small)[there]:
            first = round(at * RATE_HZ)
            assert x[first : first + 140].std() > 1.8 * rest
        some += there.sum()
    assert some > 15


def test_crosstalk_of_a_study_is_the_neighbours_burst_and_no_truth():
    silent = (Muscle(label="loud", snr_db=30.0), Muscle(label="quiet", snr_db=-math.inf))
    plain, leaking = (simulate_study(1, 6, RATE_HZ, seed=2, muscles=silent, crosstalk=c) for c in (0.0, 0.1))
    heard = (leaking.people[0].recording.values() - plain.people[0].recording.values())[1]
    loud = plain.people[0].recording.values()[0]
    assert np.isnan(leaking.people[0].onset_s[:, 1]).all()
    np.testing.assert_array_equal(leaking.people[0].onset_s, plain.people[0].onset_s)
    r = [np.corrcoef(loud[: -5 or None], np.roll(heard, -lag)[: -5 or None])[0, 1] for lag in range(5)]
    assert np.argmax(r) == 2, "1 ms later"
    assert max(r) > 0.8
    assert 0.02 < heard.std() / loud.std() < 0.1
    matrix = simulate_study(1, 6, RATE_HZ, seed=2, muscles=silent, crosstalk=[[0, 0], [0.1, 0]])
    np.testing.assert_allclose(matrix.people[0].recording.values(), leaking.people[0].recording.values())


def test_trials_of_a_study_meet_their_truth_by_id(study):
    rows = study.truth()
    assert len(rows) == 4 * 30 * 3
    person = study.people[1]
    trials = er.cut_trials(person.recording, cue="go", before_s=1.0, after_s=1.2)
    assert [row["trial"] for row in rows if row["recording"] == "sub-02" and row["channel"] == "mover"] == list(
        trials.ids
    )
    assert [cue.details["condition"] for cue in trials.cues] == person.condition.tolist()
    found = er.estimate_onsets(trials.data[:, 0], RATE_HZ, cue_s=1.0)
    good = person.behaviour == "as instructed"
    error = found.onset_s[good] - 1.0 - person.onset_s[good, 0]
    assert np.nanmedian(np.abs(error)) < 0.02


def test_spread_of_zero_makes_equal_people():
    none = Spread(
        premotor_people=0,
        premotor_trials=0,
        lag_people_s=0,
        lag_trials_s=0,
        level_people_db=0,
        level_trials_db=0,
        rise_people=0,
        rise_trials=0,
        noise_uv=(3.0, 3.0),
    )
    same = simulate_study(2, 3, RATE_HZ, seed=0, spread=none)
    for person in same.people:
        np.testing.assert_allclose(person.onset_s, [[0.19, 0.23]] * 3)
        np.testing.assert_allclose(person.level_db, [[20.0, 12.0]] * 3)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"n_people": 0}, "n_people"),
        ({"muscles": [Muscle(label="a"), Muscle(label="a")]}, "no label twice"),
        ({"muscles": [Muscle(label="a", rise_s=2.0)]}, "rise_s of 'a'"),
        ({"conditions": [Condition(label="c", later_s=2.0)]}, "later_s of 'c'"),
        ({"anticipations": 0.6, "no_responses": 0.6}, "at most 1"),
        ({"crosstalk": [[0, 0]]}, r"matrix \(2, 2\)"),
        ({"spread": Spread(level_people_db=-1)}, "level_people_db"),
    ],
)
def test_a_study_out_of_range_is_refused(options, words):
    with pytest.raises(ParameterError, match=words):
        simulate_study(**{"n_people": 1, "n_trials": 2, "rate_hz": RATE_HZ, "seed": 0, **options})
    with pytest.raises(UnknownNameError, match="muscle"):
        simulate_study(1, 2, RATE_HZ, seed=0, early_bursts={"nobody": 0.1})
    with pytest.raises(RateError):
        simulate_study(1, 2, 800.0, seed=0)
