"""Check names what is wrong, and nothing where nothing is: planted faults of known kind and size, on plain noise."""

import copy
import dataclasses
import functools
import itertools
import os
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

import emgreview as er
from emgreview import evidence
from emgreview.bench.planted import FAULTS, Made, able, clean
from emgreview.model import Channel
from emgreview.signal.findings import Finding
from emgreview.signal.stuck import constant_stretches
from emgreview.simulation import ARTEFACTS, rest_noise

RATE = 2000.0
OPEN_DATA = os.environ.get("EMGREVIEW_OPEN_DATA")


def noise(channels=1, seconds=20.0, rms=3.0, seed=0, rate_hz=RATE):
    return rest_noise((channels, round(seconds * rate_hz)), rate_hz, np.random.default_rng(seed), level_uv=rms)


def bursts(x, rate_hz=RATE, times=10.0, seed=1):
    """0.5 s of every 2 s that many times louder."""
    band = signal.butter(2, [40, min(200, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    loud = signal.sosfilt(band, np.random.default_rng(seed).standard_normal(x.shape), axis=1)
    on = (np.arange(x.shape[1]) / rate_hz) % 2 > 1.5
    return x + on * loud * times * x.std() / loud.std()


def checked(x, rate_hz=RATE, **options):
    x = np.atleast_2d(x)
    return er.check(er.Recording.from_array(x, rate_hz, labels=[f"m{n}" for n in range(len(x))], **options))


def codes(quality):
    return [one.code for one in quality.found]


def test_a_finding_is_a_frozen_value_whose_words_are_the_findings_of_its_channel():
    quality = checked(noise(rms=0.2))[0]
    (finding,) = quality.found
    assert isinstance(finding, Finding)
    assert (finding.code, finding.channels, finding.unit) == ("dead", ("m0",), "µV")
    assert finding.value == quality.rest_rms < finding.limit
    assert quality.findings == (finding.words,)
    assert "dead channel" in finding.words
    assert f"limit {finding.limit:g} µV" in finding.words
    assert finding.source in finding.words
    with pytest.raises(dataclasses.FrozenInstanceError):
        finding.code = "other"


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0, 2000.0, 10_000.0])
@pytest.mark.parametrize("active", [False, True])
def test_nothing_is_said_of_clean_channels(rate_hz, active):
    x = noise(2, 12, seed=3, rate_hz=rate_hz)
    x = bursts(x, rate_hz) if active else x
    x[1] = np.round((x[1] + 500) / 0.15) * 0.15
    for quality in checked(x, rate_hz):
        assert quality.findings == ()
        assert quality.looked == "all 12 s"


@pytest.mark.parametrize(
    ("factor", "code", "words"),
    [
        (1e-3, "too small", "a thousand times too small"),
        (1e3, "too large", "thousand times"),
        (1e-6, "too small", "a million"),
        (1e6, "too large", "a million"),
    ],
)
@pytest.mark.parametrize("active", [False, True])
def test_a_wrong_unit_is_named(factor, code, words, active):
    x = bursts(noise(seed=4)) if active else noise(seed=4)
    quality = checked(factor * x)[0]
    assert codes(quality) == [code]
    assert words in quality.findings[0]
    assert "unit" in quality.findings[0]


def test_units_of_the_channel_are_respected_and_arbitrary_ones_have_no_physical_limits():
    x = noise(3, seed=5)
    x[1] *= 1e-3
    assert codes(checked(1e-3 * noise(seed=5), unit="mV")[0]) == []
    own = [Channel("m0", unit="mV")]
    assert codes(er.check(er.Recording.from_array(1e-3 * x[:1], RATE, labels=["m0"], channels=own))[0]) == []
    first, second, third = checked(x, unit="arbitrary")
    assert codes(first) == codes(third) == []
    assert codes(second) == ["unlike others"]
    assert "1015 times smaller than the other channels" in second.findings[0]
    assert "no level is impossible" in first.not_looked[0]


@pytest.mark.parametrize("times", [4.0, 8.0, 16.0])
@pytest.mark.parametrize("active", [False, True])
@pytest.mark.parametrize("polarity", [1, -1])
def test_heart_beats_are_found_at_rest_and_between_bursts(times, active, polarity):
    quiet = noise(seconds=30, seed=6)
    beats = ARTEFACTS["heart"](np.zeros_like(quiet), RATE, np.random.default_rng(7), level_uv=3.0 * times)
    quality = checked((bursts(quiet) if active else quiet) + polarity * beats)[0]
    assert codes(quality) == ["heart"]
    assert "heart beats" in quality.findings[0]
    assert quality.heart_per_min == pytest.approx(68, rel=0.15)


def test_rhythmic_bursts_are_no_heart_beats():
    x = noise(seconds=30, seed=8)
    t = np.arange(x.shape[1]) / RATE
    loud = np.random.default_rng(9).standard_normal(x.shape)
    for every_s, long_s in ((0.8, 0.1), (1.0, 0.3), (0.9, 0.05)):
        assert "heart" not in codes(checked(x + 30 * loud * (t % every_s < long_s))[0])


@pytest.mark.parametrize(
    ("gain", "more", "words"),
    [
        (1, 0, "identical to m0"),
        (-1, 0, "the inverse of m0"),
        (0.9, 0.1, "nearly equal to m0"),
        (-1.1, 0.1, "nearly the inverse of m0"),
    ],
)
def test_channels_that_are_one_are_named_in_both(gain, more, words):
    x = noise(4, seed=10) + 40 * np.sin(2 * np.pi * 50 * np.arange(40000) / RATE)
    x[2] = gain * x[0] + more * noise(seed=11)[0]
    found = [[one for one in quality.found if one.code == "same signal"] for quality in checked(x)]
    assert [len(one) for one in found] == [1, 0, 1, 0], "hum that all channels share makes no pair"
    assert found[2][0].channels == ("m2", "m0")
    assert found[0][0].channels == ("m0", "m2")
    assert words in found[2][0].words
    late = noise(2, seed=12)
    late[1] = np.roll(late[0], 20)
    assert "10 ms earlier" in checked(late)[0].findings[0], "m0 is earlier than m1"


@pytest.mark.parametrize("value", [-999.0, -9999.0, 32767.0, -999e3, -7777.5])
@pytest.mark.parametrize("gap", [1, 60])
def test_a_code_is_named_a_code_and_nothing_else(value, gap):
    x = bursts(noise(seed=13))
    rng = np.random.default_rng(14)
    for at in rng.integers(0, x.shape[1] - gap, 12):
        x[0, at : at + gap] = value
    quality = checked(x)[0]
    assert codes(quality) == ["code value"]
    assert f"{value:.6g} µV" in quality.findings[0]
    assert quality.code_share == pytest.approx(12 * gap / x.shape[1], rel=0.2)
    assert quality.rms < 100


@pytest.mark.parametrize("step", [0.0, 0.15])
@pytest.mark.parametrize("times", [5, 89])
def test_repeated_samples(times, step):
    x = bursts(noise(seed=15))
    x = np.round(x / step) * step if step else x
    some = x.copy()
    for at in range(1000, 39000, 3000):
        some[0, at : at + times] = some[0, at]
    quality = checked(some)[0]
    assert codes(quality) == ["repeated"]
    assert f"the longest of {times}" in quality.findings[0] or f"the longest of {times + 1}" in quality.findings[0]
    held = np.repeat(x[:, ::times], times, axis=1)[:, : x.shape[1]]
    assert codes(checked(held)[0])[0] == "held"
    assert f"repeated {times} times" in checked(held)[0].findings[0]


@pytest.mark.parametrize("times", [2, 3, 10])
@pytest.mark.parametrize("step", [0.0, 0.02, 0.15])
def test_a_slower_signal_held_is_told_as_held_and_as_clipped_only_where_it_is(times, step):
    x = bursts(noise(seed=15))
    x = np.round(x / step) * step if step else x
    for limit, also in ((np.inf, []), (40.0, ["clipped"])):
        held = np.repeat(np.clip(x, -limit, limit)[:, ::times], times, axis=1)[:, : x.shape[1]]
        quality = checked(held)[0]
        assert [code for code in codes(quality) if code in ("held", "repeated", "clipped")] == ["held", *also]
        assert quality.held_every == times
        assert (quality.clipped_share > 0) == bool(also)
        assert quality.repeated_share > 0.9
    uneven = x[:, (np.arange(x.shape[1]) / 1.5).astype(int)]
    assert "clipped" not in codes(checked(uneven)[0])


def test_coarse_steps_and_oversampling_are_no_repeated_samples():
    for rate_hz, step in ((2000.0, 1.0), (20_000.0, 0.5), (200.0, 1.0)):
        x = np.round(noise(seconds=10, seed=16, rate_hz=rate_hz) / step) * step
        assert codes(checked(x, rate_hz)[0]) == []


def test_a_channel_that_was_sampled_more_slowly_is_judged_at_its_own_rate():
    slow = noise(seconds=20, seed=17, rate_hz=500.0)
    channels = [Channel("m0", native_rate_hz=500.0)]
    rec = er.Recording.from_array(np.repeat(slow, 4, axis=1), RATE, labels=["m0"], channels=channels)
    assert codes(er.check(rec)[0]) == []


def test_hum_at_another_frequency_than_the_stated_one_is_told():
    x = noise(seed=18) + 8 * np.sin(2 * np.pi * 60 * np.arange(40000) / RATE)
    quality = checked(x, mains_hz=50)[0]
    assert codes(quality) == ["mains"]
    assert "60 Hz (and not at the 50 Hz that the recording states)" in quality.findings[0]


def test_what_was_looked_at_is_told_and_the_whole_recording_can_be():
    x = noise(1, 180, seed=19, rate_hz=500.0)
    x[0, (50 * 500) : (50 * 500) + 200] = -999.0
    part = checked(x, 500.0)[0]
    assert part.looked.startswith("60 of 180 s, in 5 pieces of 12 s")
    rec = er.Recording.from_array(x, 500.0, labels=["m0"])
    whole = er.check(rec, look_s=None)[0]
    assert (whole.looked, codes(whole)) == ("all 180 s", ["code value"])
    with pytest.raises(er.EmgreviewError, match="look_s came as 0"):
        er.check(rec, look_s=0)
    brief = checked(noise(seconds=1.5))[0]
    assert [reason.partition(":")[0] for reason in brief.not_looked] == ["mains, drift", "heart beats"]


@pytest.mark.parametrize("length_s", [0.02, 0.4])
@pytest.mark.parametrize("at_s", [31.0, 60.5, 130.25])
def test_a_stretch_of_one_value_is_found_wherever_it_lies_in_a_long_recording(length_s, at_s):
    x = noise(2, 150, rate_hz=1000.0)
    start = round(1000 * at_s)
    x[1, start : start + round(1000 * length_s)] = x[1, start]
    clean, still = checked(x, 1000.0)
    assert clean.found == ()
    (finding,) = still.found
    assert (finding.code, finding.value) == ("repeated", pytest.approx(1000 * length_s, abs=2))
    assert f"{1000 * length_s:.3g} ms" in finding.words or f"{1000 * length_s + 1:.3g} ms" in finding.words
    assert f"{at_s:.5g} s after" in finding.words


def test_missing_samples_between_the_pieces_looked_at_are_told():
    x = noise(1, 150, rate_hz=1000.0)
    x[0, 20_000:20_100] = np.nan
    (quality,) = checked(x, 1000.0)
    assert codes(quality) == ["missing"]
    assert "0.0667 %" in quality.findings[0]


def test_stretches_of_one_value_are_found_across_the_blocks_that_are_read():
    x = np.random.default_rng(2).integers(0, 3, (2, 400)).astype(float)
    x[0, 90:120] = 1.0
    x[1, 210:] = 2.0
    whole = constant_stretches([x], [8, 8], [(), ()])
    assert [one.longest for one in whole] >= [30, 190]
    for cut in (1, 7, 95, 118):
        blocks = np.split(x, range(cut, 400, cut), axis=1)
        assert constant_stretches(blocks, [8, 8], [(), ()]) == whole
    assert constant_stretches([x], [8, 8], [(1.0,), ()])[0].count == 0


@pytest.mark.parametrize("seed", range(3))
def test_three_equal_samples_in_a_row_are_chance_where_they_are_few(seed):
    x = np.round(noise(1, 30, seed=seed, rate_hz=200.0) / 0.3) * 0.3
    x[0, 1000:1003] = x[0, 1000]
    x[0, 3000:3003] = x[0, 3000]
    assert checked(x, 200.0)[0].found == ()


def test_a_strong_burst_that_hits_a_usual_code_once_holds_no_code():
    x = bursts(noise(1, 20, seed=5, rate_hz=200.0), 200.0, times=1500.0)
    quiet_before_a_burst = round(200 * 3.55)
    x[0, quiet_before_a_burst] = -999.0
    assert "code value" not in codes(checked(x, 200.0)[0])
    x[0, [quiet_before_a_burst - 60, quiet_before_a_burst + 340]] = -999.0
    assert "code value" in codes(checked(x, 200.0)[0])


def test_bursts_that_come_every_second_or_two_are_no_hum():
    x = noise(1, 5, seed=4)
    t = np.arange(x.shape[1]) / RATE
    on = np.isin(np.floor(t), [0, 2, 4])
    assert "mains" not in codes(checked(x + on * 60 * np.sin(2 * np.pi * 50 * t))[0])
    assert "mains" in codes(checked(x + 60 * np.sin(2 * np.pi * 50 * t))[0])


def test_the_delay_of_a_device_leaves_nothing_missing():
    channels = [Channel("m0", delay_s=0.05), Channel("m1")]
    rec = er.Recording.from_array(noise(2, seed=20), RATE, labels=["m0", "m1"], channels=channels)
    assert [codes(one) for one in er.check(rec)] == [[], []]


def test_the_scale_says_what_a_fixed_gain_hides():
    x = noise(4, seed=21)
    x[1] *= 1e-3
    x[2] = 0.07 * x[2]
    x[3] = 0
    rec = er.Recording.from_array(x, RATE, labels=list("abcd"), markers=[(n, "go") for n in range(4000, 36000, 6000)])
    with pytest.warns(er.SignalWarning):
        trials = er.cut_trials(rec, cue="go", before_s=1, after_s=1)
    words = evidence.level_words([trials])
    assert words == ("", "1000 × too small?", "dead channel?", "no signal")
    from emgreview.scroll import Outlines

    outlines = Outlines(rec, processing=er.Processing())
    assert tuple(outlines.level_words(label) for label in "abcd") == words


# The benchmark, reduced: small recordings of the same recipe. Run in full: emgreview bench findings ------------------


@pytest.fixture
def small(monkeypatch):
    from emgreview.bench import planted

    monkeypatch.setattr(planted, "MOST_VALUES", 60_000)
    monkeypatch.setattr(planted, "SECONDS", (8.0, 12.0, 20.0))


def test_the_report_has_its_figures_and_intervals(small, tmp_path):
    report = er.bench_findings(recordings=12, faulty=2, faults=["code -999", "identical"], seed=1)
    assert [row.n for row in report.rows] == [12, 2, 2]
    assert report.reached, report.text()
    assert "0 of 12 (0.0% to 24.2%)" in report.text(), "Wilson 1927"
    assert (report.write(tmp_path / "new") / "findings.tsv").read_text("utf-8").count("\n") == 4


@functools.cache
def drawn(seed, count):
    """The last of so many clean recordings in a row, and the generator as it is after it: most faults begin with the
    same ones, so each is made once. It is written to by nobody."""
    rng = np.random.default_rng([seed, 5]) if count == 1 else copy.deepcopy(drawn(seed, count - 1)[1])
    made: Made = clean(rng, open_data=None if OPEN_DATA is None else Path(OPEN_DATA))
    made.x.flags.writeable = False
    return made, rng


@pytest.mark.parametrize("name", FAULTS)
def test_each_planted_fault_is_named(name, small, counted):
    plant, due = FAULTS[name]
    found = 0
    for seed in range(6):
        made, rng = next(one for count in itertools.count(1) if able(name, (one := drawn(seed, count))[0]))
        rng = copy.deepcopy(rng)
        x, places = plant(made, rng)
        told = checked(x, made.rate_hz)
        found += all(set(codes(told[place])) & set(due) for place in places)
    counted(f"{name}: found in {found} of 6")
    assert found >= 5
