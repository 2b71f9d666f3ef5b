"""Conversion keeps samples, length, rate and markers: copied, without loss, or with a loss that is stated."""

import numpy as np
import pyedflib
import pytest
from converted import P01, SAID, read_again
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from official_validator import errors_of

import emgreview as er
from emgreview.converting import grid
from emgreview.converting.records import choose

RATES = [1000.0, 2048.0, 1925.93, 200.0, 20000.0, 500.0, 2148.1481, 44100.0]


def recording(x, rate_hz=1000.0, **more):
    labels = [f"C{place}" for place in range(1, len(x) + 1)]
    return er.Recording.from_array(x, rate_hz, labels=labels, name="p01", **more)


def converted(rec, folder, **more):
    done = er.convert(rec, folder, people=P01, said=SAID, **more)
    assert done.ok
    (again,) = read_again(folder)
    return done, again


def loss_of(done, label="C1"):
    return next(one for one in done.losses if one.channel == label)


# Length and rate ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("n_samples", [10_001, 10_007, 8_192])
def test_length_rate_and_markers_are_those_of_the_source(tmp_path, rate_hz, n_samples):
    x = np.round(np.random.default_rng(3).normal(0, 40, (2, n_samples)), 2)
    samples = [0, 1, 777, n_samples // 2, n_samples - 1]
    rec = recording(x, rate_hz, markers=[(sample, "go") for sample in samples])
    done, again = converted(rec, tmp_path / "out")
    assert (again.n_samples, again.rate_hz) == (n_samples, rate_hz)
    assert [marker.sample for marker in again.markers] == samples
    assert loss_of(done).largest_error == 0
    np.testing.assert_allclose(again.values(), x, rtol=0, atol=1e-10)
    (path,) = (tmp_path / "out").rglob("*.bdf")
    with pyedflib.EdfReader(str(path)) as file:  # an independent reader: no sample lost, the rest filled up
        assert file.getSampleFrequency(0) == pytest.approx(rate_hz, rel=1e-8)
        held = file.readSignal(0)
    np.testing.assert_allclose(held[:n_samples], x[0], rtol=0, atol=1e-9)
    filled = len(held) - n_samples
    assert filled == 0 or any(f"filled up with {filled} samples" in note for note in done.notes)


@given(st.sampled_from(RATES) | st.floats(50, 50_000), st.integers(1, 100_000), st.integers(1, 200))
def test_records_hold_all_samples_in_a_header_of_eight_characters(rate_hz, n_samples, n_bytes):
    records = choose(rate_hz, n_samples, bytes_a_sample=n_bytes)
    assert len(records.duration) <= 8
    assert 0 <= records.filled(n_samples) < records.n
    half_a_digit = 0.5e-6 / float(records.duration)  # of many channels a record is short, and its duration is rounded
    assert records.rate_hz == pytest.approx(rate_hz, rel=max(1e-5, 1.001 * half_a_digit))


@pytest.mark.parametrize("n_samples", [1, 2, 3, 31])
def test_the_shortest_recordings_are_whole(tmp_path, n_samples):
    _, again = converted(recording(np.arange(n_samples, dtype=float)[np.newaxis], 2048), tmp_path / "out")
    assert again.values()[0].tolist() == list(range(n_samples))


# Values ------------------------------------------------------------------------------------------------------------

STEPS = [0.001, 0.25, 1 / 3, 2000 / 65535, 5 / 3 / 4096 * 1000, 0.2861022949, 17.0, 1e-7]


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("shift", [0.0, 0.5])
def test_multiples_of_one_step_are_kept_without_loss(tmp_path, step, shift):
    x = (np.random.default_rng(4).integers(-30_000, 30_000, (1, 4000)) + shift) * step
    done, again = converted(recording(x), tmp_path / "out")
    assert loss_of(done).largest_error == 0
    np.testing.assert_allclose(again.values(), x, rtol=0, atol=1e-12 * np.abs(x).max())


def test_other_values_lose_less_than_half_a_step_and_the_report_says_how_much(tmp_path):
    x = np.random.default_rng(5).normal(0, 50, (2, 5000)) * [[1.0], [1e-3]]
    done, again = converted(recording(x), tmp_path / "out")
    for row, label in enumerate(("C1", "C2")):
        stated = loss_of(done, label).largest_error
        measured = np.abs(again.values()[row] - x[row]).max()
        assert 0 < measured <= stated * (1 + 1e-6)
        assert stated <= np.ptp(x[row]) / 2**25 * 1.01 + 1e-12
        table = next((tmp_path / "out").rglob("*_channels.tsv")).read_text().split("\n")
        assert float(table[row + 1].split("\t")[-1]) == pytest.approx(stated, rel=0.01)
    assert "2 rounded" in repr(done)


@given(
    arrays.arrays(
        np.float64,
        st.integers(1, 60),
        elements=st.floats(-9e6, 9e6) | st.just(np.nan),
    )
)
def test_no_value_is_off_by_more_than_half_of_what_24_bits_allow(x):
    survey = grid.Survey()
    for part in np.array_split(x, 3):
        survey.add(part)
    limits = survey.range()
    codes = limits.stored(x)
    back = limits.values(codes)
    assert (np.isnan(back) == np.isnan(x)).all()
    assert all(len(text) <= 8 for text in (limits.low, limits.high))
    here = x[~np.isnan(x)]
    if here.size:
        span = float(limits.high) - float(limits.low)
        assert np.abs(back[~np.isnan(x)] - here).max() <= max(span / 2**24 * 0.51, 1e-12 * np.abs(here).max()) + 1e-300


def test_missing_samples_stay_missing(tmp_path):
    x = np.round(np.random.default_rng(6).normal(0, 50, (3, 4001)), 1)
    x[0, 100:220], x[1, -1], x[2] = np.nan, np.nan, np.nan
    done, again = converted(recording(x), tmp_path / "out")
    np.testing.assert_array_equal(np.isnan(again.values()), np.isnan(x))
    np.testing.assert_allclose(again.values(), x, atol=1e-10)
    assert [one.missing for one in done.losses] == [120, 1, 4001]
    assert errors_of(tmp_path / "out") == []
    second = er.convert(again, tmp_path / "twice", said=SAID)
    (twice,) = read_again(tmp_path / "twice")
    np.testing.assert_array_equal(twice.values(), again.values())
    assert second.losses[0].copied


def test_what_no_header_holds_is_refused_and_stops_no_other(tmp_path):
    good = er.Recording.from_array(np.ones((1, 100)), 1000, labels=["A"], name="good")
    endless = er.Recording.from_array(np.full((1, 100), np.inf), 1000, labels=["A"], name="endless")
    huge = er.Recording.from_array(np.linspace(0, 1e12, 99)[np.newaxis] ** 1.01, 1000, labels=["A"], name="huge")
    people = {name: {"sub": code, "task": "press"} for name, code in (("endless", "1"), ("huge", "2"), ("good", "3"))}
    done = er.convert([endless, huge, good], tmp_path / "out", people=people, said=SAID)
    assert not done.ok
    assert list(done.names) == ["good"]
    assert "infinite" in done.failed["endless"]
    assert "larger unit" in done.failed["huge"]
    assert sorted(one.name for one in (tmp_path / "out").glob("sub-*")) == ["sub-3"]
    assert errors_of(tmp_path / "out") == []


# Text, units, kinds ------------------------------------------------------------------------------------------------


def test_text_is_kept_to_its_last_digit(tmp_path):
    rng = np.random.default_rng(7)
    mv, volts = rng.normal(0, 0.05, 5000), np.where(np.arange(5000) % 1000 < 50, 5.0, 0.0)
    lines = "".join(f"{n / 2000:.4f},{x:.6f},{v:.2f}\n" for n, (x, v) in enumerate(zip(mv, volts, strict=True)))
    path = tmp_path / "p01.csv"
    path.write_text(lines)
    rec = er.read(path, rate_hz=2000, unit={"FCR": "mV", "TRIGGER": "V"}, columns=["time", "FCR", "TRIGGER"])
    rec = er.with_cues(rec, "TRIGGER", level=2.5, hold_off_s=0.2, label="go")
    done, again = converted(rec, tmp_path / "out")
    assert [one.largest_error for one in done.losses] == [0, 0]
    np.testing.assert_allclose(again.values(), rec.values(), rtol=0, atol=1e-9)
    assert [(one.kind, one.unit) for one in again.channels] == [("EMG", "uV"), ("TRIG", "V")]
    assert [one.source for one in again.markers] == ["channel TRIGGER"] * 4
    assert done.trial_ids["p01/channel TRIGGER/1000"] == "sub-01_task-press/channel TRIGGER/1000"


def test_channels_keep_what_is_known_of_them(tmp_path):
    channels = [
        er.Channel("FCR", over="wrist flexor", low_cutoff_hz=10, high_cutoff_hz=500),
        er.Channel("a label longer than sixteen", status="bad", status_description="fell off"),
        er.Channel("HEART", kind="ECG"),
        er.Channel("ANGLE", kind="MISC", unit="deg"),
        er.Channel("unscaled", unit="arbitrary"),
        er.Channel("Status", kind="TRIG", unit="V"),
        er.Channel("Z", kind="ACCEL", unit="m/s2", delay_s=0.01),
    ]
    x = np.round(np.random.default_rng(8).normal(0, 9, (7, 999)), 3)
    rec = er.Recording.from_array(
        x, 1000, labels=[one.label for one in channels], channels=channels, name="p01", mains_hz=50
    )
    done, again = converted(rec, tmp_path / "out", keep=["status_description"])
    assert errors_of(tmp_path / "out") == []
    assert again.channels[0] == channels[0]
    assert (again.channels[1].status, again.channels[1].status_description) == ("bad", "fell off")
    assert [one.unit for one in again.channels] == ["uV", "uV", "uV", "deg", "arbitrary", "V", "m/s2"]
    assert [one.kind for one in again.channels] == ["EMG", "EMG", "ECG", "MISC", "EMG", "TRIG", "MISC"]
    assert again.mains_hz == 50
    assert done.labels == {"a label longer than sixteen": again.labels[1], "Status": again.labels[5]}
    np.testing.assert_allclose(again.values(), rec.values(), atol=1e-9)


def test_markers_keep_their_details_and_sources(tmp_path):
    markers = [
        er.Marker(10, "go", "events", 0.25, {"trial_type": "go", "grip": "small", "trial": "1"}),
        er.Marker(10, "go", "annotations"),
        er.Marker(700, "stop", "given", None, {"grip": "large"}),
    ]
    done, again = converted(recording(np.ones((1, 1000)), markers=markers), tmp_path / "out")
    assert [(one.sample, one.label, one.source, one.duration_s) for one in again.markers] == [
        (one.sample, one.label, one.source, one.duration_s) for one in markers
    ]
    assert [one.details.get("grip") for one in again.markers] == ["small", None, "large"]
    assert again.markers[0].details == markers[0].details
    assert set(done.trial_ids.values()) == {f"{again.name}/{one.source}/{one.sample}" for one in markers}


def test_trials_and_onsets_are_those_of_the_source(tmp_path):
    """Of a study that is copied, to the last bit; of the same numbers rounded anew, to a microsecond."""
    demo = er.read_dataset(er.write_demo(tmp_path / "demo", participants=1, trials=4))
    er.convert(demo, tmp_path / "copied")
    rec, (copied,) = demo.recordings[0], read_again(tmp_path / "copied")
    assert copied.fingerprint.samples == rec.fingerprint.samples  # reviews of the source go on
    assert (copied.name, copied.markers, copied.channels) == (rec.name, rec.markers, rec.channels)
    odd = er.Recording.from_array(
        rec.values() * 1.0000123, rec.rate_hz, labels=rec.labels, channels=rec.channels, markers=rec.markers, name="p01"
    )
    done, again = converted(odd, tmp_path / "rounded")
    assert any(one.largest_error for one in done.losses)
    for one, other in ((rec, copied), (odd, again)):
        trials, new = (er.cut_trials(each, cue="go", before_s=1.0, after_s=1.5) for each in (one, other))
        assert [done.trial_ids.get(name, name) for name in trials.ids] == list(new.ids)
        first, second = (er.estimate_onsets(each.data[:, 0], each.rate_hz, cue_s=1.0) for each in (trials, new))
        np.testing.assert_allclose(second.onset_s, first.onset_s, rtol=0, atol=0 if one is rec else 1e-6)
