"""Channel quality: faults put in on purpose are found with their size, and clean noise is left in peace."""

import json
import os
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from emgreview.errors import RateError, SignalError
from emgreview.signal.filters import bandpass
from emgreview.signal.findings import LIMITS
from emgreview.signal.heart import HEART_PEAK, heart_peak
from emgreview.signal.quality import (
    check_channel,
    clipped_share,
    flat_share,
    step_size,
)
from emgreview.signal.unfit import DEAD_UV, NARROW_HZ, UNDER_HUM, band_level, floor_level, unfit_words
from emgreview.simulation import ARTEFACTS, rest_noise

REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "signal.json").read_text(encoding="utf-8"))
RATE = 2000.0
SOS = signal.butter(2, [20, 450], "bandpass", fs=RATE, output="sos")


def rest(seconds=20, seed=0, rms=5.0):
    """Band-limited noise of a given RMS in µV."""
    x = signal.sosfilt(SOS, np.random.default_rng(seed).standard_normal(round(seconds * RATE)))
    return rms * x / x.std()


def found(x, word):
    return [sentence for sentence in check_channel(x, RATE).findings if word in sentence]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("step", [0.0, 0.03, 0.5])
def test_clean_signal_has_no_findings(seed, step):
    x = rest(seed=seed) + 200
    x = np.round(x / step) * step if step else x
    quality = check_channel(x, RATE, label="m1")
    assert quality.findings == ()
    assert quality.offset == pytest.approx(200, abs=1)
    assert quality.rms == pytest.approx(5, rel=0.01)
    assert quality.seconds == 20
    assert quality.clipped_share == quality.flat_share == quality.missing_share == 0


@pytest.mark.parametrize("row", REFERENCE["converter_step"], ids=lambda row: str(row["bits"]))
def test_step_of_a_converter(row):
    """Range / 2^bits / gain (computed)."""
    exact = 2 * row["half_range_v"] * 1e6 / 2 ** row["bits"] / row["gain"]
    assert exact == pytest.approx(row["step_uv"], rel=0.02)
    x = np.round(rest(rms=20) / exact) * exact + 1234.5
    assert step_size(x) == pytest.approx(exact, rel=1e-6)
    assert step_size(-3 * x) == pytest.approx(3 * exact, rel=1e-6)


def test_no_step_in_continuous_or_constant_values():
    assert np.isnan(step_size(rest()))
    assert np.isnan(step_size(np.ones(100)))
    assert np.isnan(step_size(np.full(3, np.nan)))
    assert np.isnan(step_size(np.empty(0)))


def test_clipped_share():
    x = 100 * np.sin(2 * np.pi * np.arange(20000) / 100)
    step = 0.1
    clipped = np.clip(np.round(x / step) * step, -80, 80)
    expected = np.mean(np.abs(clipped) >= 80 - 1e-9)
    assert clipped_share(clipped, step=step) == pytest.approx(expected, abs=1e-3)
    assert clipped_share(clipped, step=step, rails=(-80, 200)) == pytest.approx(expected / 2, abs=3e-3)
    assert clipped_share(clipped, step=step, rails=(-200, 200)) == 0
    assert len(found(clipped, "clipped")) == 1
    assert clipped_share(rest(), step=np.nan) == 0
    assert clipped_share(np.round(rest()), step=1.0) == 0
    assert np.isnan(clipped_share(np.full(5, np.nan), step=1.0))


@pytest.mark.parametrize("step", [0.1, 1.0, 4.9])
def test_flat_share_tells_a_drop_out_from_a_coarse_converter(step):
    """5 µV RMS in steps of 4.9 µV often stays equal by itself, but not for 0.25 s."""
    x = np.round(rest() / step) * step
    assert flat_share([x], RATE, step=step) == 0
    x[5000:5500] = x[5000]
    assert flat_share([x], RATE, step=step) == pytest.approx(500 / x.size, rel=0.2)
    assert flat_share([np.zeros(100)], RATE, step=step) == 1
    assert np.isnan(flat_share([x], RATE, step=20.0))


def test_flat_stretches_shorter_than_5_ms_are_left_alone():
    x = rest()
    x[1000:1009] = x[1000]
    assert flat_share([x], RATE, step=np.nan) == 0
    x[1000:1010] = x[1000]
    assert flat_share([x], RATE, step=np.nan) == pytest.approx(10 / x.size)


@pytest.mark.parametrize("hz", [50.0, 60.0])
def test_hum_is_found_at_its_own_frequency(hz):
    quality = check_channel(rest() + 5 * np.sin(2 * np.pi * hz * np.arange(40000) / RATE), RATE)
    assert quality.mains_hz == hz
    assert quality.mains_share == pytest.approx(1 / 3, abs=0.05)
    assert "3" in quality.findings[0]
    assert f"Mains at {hz:g} Hz" in quality.findings[0]


def test_drift_missing_coarse_and_dead():
    drift = 20 * np.sin(2 * np.pi * 0.7 * np.arange(40000) / RATE)
    assert len(found(rest() + drift, "below 20 Hz")) == 1
    x = rest()
    x[1000:3000] = np.nan
    assert found(x, "missing") == ["5.00% of samples are missing."]
    assert len(found(np.round(rest() / 10) * 10, "coarse")) == 1
    dead = check_channel(np.zeros(40000), RATE)
    assert dead.findings == ("Constant at 0 µV: disconnected, or switched off.",)
    gone = check_channel(np.full(40000, np.nan), RATE)
    assert gone.findings == ("No samples in the 20 s looked at.",)
    assert gone.missing_share == 1


def test_heart_beats():
    x = rest(30, seed=3)
    assert heart_peak([x], RATE) < 0.2
    beat = 60 * signal.windows.gaussian(80, 12) * np.sin(np.arange(80) / 5)
    for at in np.arange(500, x.size - 100, round(0.8 * RATE)):
        x[at : at + 80] += beat
    assert heart_peak([x], RATE) > 0.8
    assert len(found(x, "heart beats")) == 1
    assert np.isnan(heart_peak([x[:9000]], RATE))


def test_long_contractions_are_no_heart_beats():
    x = rest(40, seed=4)
    x[20000:40000] *= 10
    x[50000:66000] *= 10
    assert heart_peak([x], RATE) < 0.2
    assert found(x, "heart beats") == []


def test_real_heart_beats_in_muscle_noise():
    """Record 208 of the MIT-BIH Arrhythmia Database (Moody & Mark 2001; Goldberger et al. 2000), irregular as it is."""
    folder = os.environ.get("EMGREVIEW_OPEN_DATA")
    if not folder:
        pytest.skip("EMGREVIEW_OPEN_DATA is not set: the open data are not at hand")
    with np.load(Path(folder) / "ecg_odc" / "ecg.dat") as archive:
        beats = archive["ecg"][: 360 * 60].astype(float)
    beats = signal.resample_poly(beats - beats.mean(), 2000, 360)
    beats *= 20 / beats.std()
    assert heart_peak([rest(60) + beats], RATE) > HEART_PEAK


def test_unit_stretches_gain_and_short_signals():
    x = rest(20)
    apart = check_channel(x.reshape(4, -1), RATE)
    assert apart.seconds == 20
    assert apart.findings == ()
    louder, plain = check_channel(-8 * x, RATE), check_channel(x, RATE)
    for name in ("mains_share", "mains_db", "low_share", "heart_peak", "clipped_share", "flat_share"):
        assert getattr(louder, name) == pytest.approx(getattr(plain, name), rel=1e-6)
    assert louder.rms == pytest.approx(8 * plain.rms)
    assert check_channel(np.zeros(100), RATE, unit_label="counts").findings[0].startswith("Constant at 0 counts")
    brief = check_channel(rest(1), RATE)
    assert np.isnan([brief.mains_share, brief.low_share, brief.heart_peak]).all()


def test_bad_input_is_refused():
    with pytest.raises(SignalError, match=r"shape \(2, 2, 50\)"):
        check_channel(np.zeros((2, 2, 50)), RATE)
    with pytest.raises(SignalError, match="not empty"):
        check_channel(np.empty(0), RATE)
    with pytest.raises(RateError, match="rate_hz came as 0"):
        check_channel(rest(1), 0)


def test_the_limit_of_a_dead_channel_is_the_warmth_of_two_skin_contacts():
    # Johnson and Nyquist 1928: sqrt(4 k T R B); k from the SI, two contacts of 7.5 kOhm at 306 K over 430 Hz
    warmth_uv = 1e6 * np.sqrt(4 * 1.380649e-23 * 306 * 2 * 7.5e3 * 430)
    assert warmth_uv == pytest.approx(DEAD_UV, abs=0.005)
    assert LIMITS["dead"].value == DEAD_UV
    assert 0.3 < DEAD_UV <= warmth_uv  # so that "no more than the contacts make" is true of what is called dead
    quiet = 0.3 * np.random.default_rng(1).standard_normal(5000)
    assert "no more than two skin contacts of 7.5 kΩ make by their warmth alone (0.33 µV)" in unfit_words(
        quiet, quiet, RATE
    )


@pytest.mark.parametrize("rate_hz", [200.0, 500.0, 1000.0, 2000.0, 10_000.0])
@pytest.mark.parametrize(("level_uv", "dead"), [(0.15, True), (0.3, True), (0.6, False), (5.0, False)])
def test_a_channel_is_dead_by_its_level_whatever_its_length_rate_offset_and_drift(rate_hz, level_uv, dead):
    for seed, seconds in enumerate((0.2, 0.7, 2.5, 6.0)):
        n = round(seconds * rate_hz)
        banded = level_uv * np.random.default_rng(seed).standard_normal(n)
        raw = banded * np.sqrt(max(1.0, rate_hz / 2 / 430)) + 300 + 40 * np.sin(np.arange(n) / rate_hz)
        words = unfit_words(raw, banded, rate_hz)
        assert words.startswith("dead: ") is dead
        assert words == unfit_words(raw[::-1], banded[::-1], rate_hz) == unfit_words(-raw, -banded, rate_hz)
        assert unfit_words(raw, banded, rate_hz, unit="arbitrary") == ""


def test_the_level_leaves_a_knock_out_and_a_burst_in():
    x = 0.2 * np.random.default_rng(1).standard_normal(5000)
    knocked, active = x.copy(), x.copy()
    knocked[2000:2080] += 500
    active[2000:2600] += 60 * np.random.default_rng(2).standard_normal(600)
    assert band_level(knocked, RATE) == pytest.approx(0.2, rel=0.05)
    assert band_level(active, RATE) > 5
    assert band_level(3 * x, RATE) == pytest.approx(3 * band_level(x, RATE))
    assert np.isnan(band_level(np.full(100, np.nan), RATE))
    holes = x.copy()
    holes[100:1100] = np.nan
    assert band_level(holes, RATE) == pytest.approx(0.2, rel=0.05)


@pytest.mark.parametrize("wrong", [(np.zeros((2, 5)), np.zeros((2, 5))), (np.zeros(5), np.zeros(4)), ([], [])])
def test_a_stretch_is_one_channel(wrong):
    with pytest.raises(SignalError, match="the stretch came with shapes"):
        unfit_words(*wrong, RATE)


@pytest.mark.parametrize("rate_hz", [200.0, 500.0, 1000.0, 2000.0])
def test_the_floor_under_hum_and_heart_beats(rate_hz):
    """That of a dead channel stays below its limit, that of a living one above; gain scales it, sign and offset do not
    change it."""
    rng = np.random.default_rng(int(rate_hz))
    n, limit = int(2.5 * rate_hz), DEAD_UV * (UNDER_HUM if rate_hz >= NARROW_HZ else 1)
    for level_uv, dead in ((0.15, True), (0.25, True), (0.8, False), (5.0, False)):
        plain = rest_noise((20, n), rate_hz, rng, level_uv=level_uv)
        for hum_uv, heart_uv in ((20.0, 0.0), (0.0, 50.0), (10.0, 50.0)):
            x = ARTEFACTS["mains"](plain, rate_hz, rng, level_uv=hum_uv, hz=float(rng.choice([50.0, 60.0])))
            x = ARTEFACTS["heart"](x, rate_hz, rng, level_uv=heart_uv) if heart_uv else x
            floors = np.array([floor_level(row, rate_hz) for row in x])
            assert ((floors <= limit) == dead).all(), (level_uv, hum_uv, heart_uv, floors.min(), floors.max())
    assert floor_level(-3 * x[0] + 1e4, rate_hz) == pytest.approx(3 * floors[0], rel=1e-6)
    assert np.isnan(floor_level(x[0, : int(0.9 * rate_hz)], rate_hz)), "too short"
    assert np.isnan(floor_level(x[0], 150.0)), "nothing to look at"
    x[0, :: int(0.2 * rate_hz)] = np.nan
    assert np.isnan(floor_level(x[0], rate_hz)), "no whole half second"


def test_real_rests_and_bursts_are_not_called_dead_under_hum(counted):
    if "EMGREVIEW_OPEN_DATA" not in os.environ:
        pytest.skip("EMGREVIEW_OPEN_DATA is not set: the open recordings are not at hand")
    looked = called = before = 0
    for path in sorted((Path(os.environ["EMGREVIEW_OPEN_DATA"]) / "forearm_cc0").glob("*.txt")):
        for x in 1000 * np.loadtxt(path, delimiter=",").T:
            for part in np.array_split(x, 2):
                banded = bandpass(part, 1000.0, low_hz=20, high_hz=450, order=2, direction="zero-phase")
                looked, before = looked + 1, before + (band_level(banded, 1000.0) <= DEAD_UV)
                called += unfit_words(part, banded, 1000.0).startswith("dead")
    counted(f"of {looked} real stretches {called} are called dead, {before} of them by their level in the band")
    assert called == before
