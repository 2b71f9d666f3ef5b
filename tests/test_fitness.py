"""Verdicts of channels: planted faults weigh what they should, clean ones are fit; pictures, questions, baseline."""

import dataclasses
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

import emgreview as er
from emgreview.fitness.judging import DO, SIGNS
from emgreview.fitness.report import hearts_in
from emgreview.signal import findings
from emgreview.signal.baseline import band_blocks, baseline_of, rms_variation
from emgreview.signal.findings import LIMITS
from emgreview.signal.spectrum import measure_mains
from emgreview.simulation import rest_noise

RATE = 2000.0


def noise(seed=0, seconds=12.0, rms=3.0):
    return rest_noise((1, round(seconds * RATE)), RATE, np.random.default_rng(seed), level_uv=rms)[0]


def recording(*rows, labels=None, **options):
    labels = labels or [f"m{place}" for place in range(len(rows))]
    return er.Recording.from_array(np.stack(rows), RATE, labels=labels, **options)


def verdict(x, **options):
    return er.verdicts(recording(x), **options).channels[0]


def test_planted_faults_get_their_verdict_and_each_says_number_limit_source_and_what_to_do():
    x = noise()
    t = np.arange(x.size) / RATE
    clean, hum, more, flat, dead = (
        verdict(x),
        *map(verdict, (x + 2.5 * np.sin(100 * np.pi * t), x + 9 * np.sin(100 * np.pi * t), 0 * x + 4, x / 20)),
    )
    assert (clean.word, clean.reasons) == ("fit", ())
    assert [one.word for one in (hum, more, flat, dead)] == ["look again", "redo", "redo", "redo"]
    assert [one.reasons[0].code for one in (hum, more, flat, dead)] == ["mains", "mains", "constant", "dead"]
    why = hum.reasons[0]
    assert why.limit == LIMITS["mains"].value < why.value
    assert why.source == LIMITS["mains"].source
    assert "trained staff" in why.do
    assert len({one.sign for one in (clean, hum, more)}) == 3, "told by shape, too"


def test_one_signal_in_two_channels_is_redone_and_a_channel_called_bad_looked_at():
    x = noise(1)
    both = er.verdicts(recording(x, -x, noise(2)))
    assert [one.word for one in both.channels] == ["redo", "redo", "fit"]
    assert any("er.selectivity" in note for note in both.notes)
    bad = er.Channel("m0", status="bad", status_description="lifted off")
    rec = er.Recording.from_array(x[None], RATE, labels=["m0"], channels=[bad])
    (only,) = er.verdicts(rec).channels
    assert (only.word, only.reasons[0].code) == ("look again", "stated bad")
    assert "lifted off" in only.reasons[0].words


def test_every_code_of_a_finding_has_something_to_do():
    assert set(re.findall(r'"([a-z ]+)"', findings.__doc__.split("Codes:")[1])) <= set(DO)


@pytest.mark.parametrize("seconds", [0.05, 0.1, 0.5])
def test_an_rms_varies_by_chance_as_the_formula_says(seconds):
    """White noise up to half the rate has that bandwidth exactly: CV = 1 / sqrt(4 B T)."""
    n = round(seconds * RATE)
    levels = np.sqrt(np.mean(np.random.default_rng(3).standard_normal((4000, n)) ** 2, axis=1))
    assert levels.std() / levels.mean() == pytest.approx(rms_variation(RATE / 2, seconds), rel=0.05)


def test_published_variations_of_an_rms():
    """B = 400 Hz; computed from the formula (Bendat and Piersol, from memory)."""
    assert [round(100 * rms_variation(400, t), 1) for t in (0.05, 0.1, 0.2, 0.5)] == [11.2, 7.9, 5.6, 3.5]


def test_the_baseline_is_that_of_rest_with_its_bandwidth_and_scatter():
    found = []
    for seed in range(60):
        x = np.random.default_rng(seed).standard_normal(8000)
        x[5000:6000] *= 30
        found.append(baseline_of(band_blocks([x], RATE), RATE))
    levels = np.array([one.rms for one in found])
    assert np.median(levels) == pytest.approx(np.sqrt(430 / 1000), rel=0.03), "20 to 450 of 1000 Hz"
    width = np.median([one.bandwidth_hz for one in found])
    assert 430 < width < 558, "its skirts count: the same filter in analogue has (3π√2/16)² c / I₄, c = 450 / 0.802"
    assert levels.std() / levels.mean() == pytest.approx(np.median([one.cv for one in found]), rel=0.3)


def test_a_sine_of_amplitude_a_has_the_power_a_squared_half():
    a, t = 3.0, np.arange(20_000) / RATE
    x = noise(4, 10.0, rms=0.3)
    hum = measure_mains(x + a * np.sin(100 * np.pi * t), RATE, mains_hz=50.0)
    own = measure_mains(x, RATE, mains_hz=50.0)
    assert float(hum.power - own.power) == pytest.approx(a**2 / 2, rel=0.03)


def codes(x, rate_hz=RATE):
    rec = er.Recording.from_array(x[None], rate_hz, labels=["m0"])
    return [one.code for one in er.verdicts(rec).questions]


def test_what_seems_odd_is_asked_and_nothing_is_corrected():
    x = noise(5) * (1 + 20 * (np.arange(24_000) % 4000 > 3000))
    assert codes(x) == []
    assert codes(x + 300) == [], "an offset alone is no rectification"
    assert codes(np.abs(x)) == ["rectified?"]
    envelope = np.convolve(np.abs(x), np.ones(200) / 200, "same")
    assert codes(envelope)[0] == "rectified?"
    assert "smoothed" in er.verdicts(recording(envelope)).questions[0].words
    assert codes(np.round(x / 6) * 6) == ["resolution?"]
    assert codes(rest_noise((1, 6000), 500.0, np.random.default_rng(0), level_uv=3.0)[0], 500.0) == ["bandwidth?"]


def test_heart_beats_in_search_windows_are_counted_of_those_looked_at():
    one = er.check(recording(noise()))[0]
    beating = dataclasses.replace(one, heart_s=(1.1, 2.0, 3.2))
    (words,) = hearts_in([beating], [1.0, 1.8, 3.0, 30.0], (0.0, 0.15), [(0.0, 12.0)])
    assert "1 of the 3 search windows" in words
    assert "from 1.00 s" in words
    assert list(hearts_in([one], [1.0], (0.0, 0.5), [(0.0, 12.0)])) == []
    hidden = dataclasses.replace(one, heart_s=(2.9,), heart_per_min=60.0)  # the others lie under bursts
    (words,) = hearts_in([hidden], [1.0, 4.0, 6.0, 8.0], (0.0, 0.5), [(0.0, 12.0)])
    assert "none of the 4 search windows" in words
    assert "Beats under a burst are not seen: at 60 a minute, 2 may hold one" in words


def test_planted_heart_beats_are_told_with_their_times():
    x = noise(6, 30.0)
    beats = np.arange(0.7, 29, 0.85)
    t = np.arange(x.size) / RATE
    for at in beats:
        x += 60 * np.exp(-(((t - at) / 0.008) ** 2) / 2)
    found = er.check(recording(x))[0]
    assert "heart" in [one.code for one in found.found]
    nearest = [np.abs(beats - at).min() for at in found.heart_s]
    assert len(nearest) > 0.8 * len(beats)
    assert np.median(nearest) < 0.02


def test_cues_are_counted_against_what_was_expected():
    rec = recording(noise(), markers=[(2000 * at, "go") for at in range(1, 9)])
    assert any("9 cues 'go' were expected" in note for note in er.verdicts(rec, cue="go", expect=9).notes)
    assert not any("expected" in note for note in er.verdicts(rec, cue="go", expect=8).notes)
    with pytest.raises(er.EmgreviewError, match="stop"):
        er.verdicts(rec, cue="stop")


@pytest.mark.parametrize("channels", [1, 3])
def test_the_picture_says_every_verdict_and_is_sound(channels):
    hostile = ['<script>alert("x")</script>', "a&b\u202ec", "m"][:channels]
    found = er.verdicts(recording(*(noise(seed) for seed in range(channels)), labels=hostile, name="<b>x"))
    tree = ET.fromstring(found.picture())
    assert tree.get("role") == "img"
    assert f"{SIGNS['fit']} fit" in "".join(tree.itertext())
    assert "fit" in tree.get("aria-label")
    page = found.page()
    assert not [words for words in ("<script", "<b>x", "\u202e", "src=") if words in page]
    assert re.findall("https?://[^\"']+", page) == ["http://www.w3.org/2000/svg"], "asks nothing of any network"
    assert "trained staff" in page
    assert "<script" not in found._repr_html_()


def test_levels_in_the_picture_stand_without_powers_of_ten():
    rng = np.random.default_rng(0)
    x = rng.normal(0, 3, (1, 20_000))
    x[0, 9000:9040] = np.linspace(-1034.0, 1034.0, 40)
    rec = er.Recording.from_array(x, 2000, labels=["FDI"])
    assert "-1034 to 1034 µV" in er.verdicts(rec).picture()


def test_words_of_the_picture_end_before_its_edge():
    """Clipped and flat in shares of many digits; a letter of 13 px is some 6.5 px wide (measured in a browser)."""
    rng = np.random.default_rng(0)
    x = rng.normal(0, 3, (1, 200_000))
    x[0, 9000:9051], x[0, 20_000:20_037] = 30.0, 1.2345
    seen = er.verdicts(er.Recording.from_array(x, 2000, labels=["FDI"]))
    assert seen.measured[0].clipped_share > 0
    for one in ET.fromstring(seen.picture()).iter("{http://www.w3.org/2000/svg}text"):
        assert float(one.get("x")) + 6.5 * len("".join(one.itertext())) < 960, "".join(one.itertext())


def test_the_picture_of_missing_and_constant_channels_says_so():
    found = er.verdicts(recording(np.full(6000, np.nan), np.full(6000, 2.0)))
    assert [one.word for one in found.channels] == ["redo", "redo"]
    assert "no samples" in found.picture()
