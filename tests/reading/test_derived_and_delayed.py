"""Differences of channels equal those of their samples; delays that were planted are found and put right."""

import dataclasses

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import ParameterError, RateError, UnitError

RATE = 1000.0
X = np.random.default_rng(0).standard_normal((4, 3000))


def recording(**options):
    return er.Recording.from_array(X, RATE, labels=["A", "B", "C", "D"], **options)


def test_differences_are_those_of_the_samples_and_lazy():
    rec = er.derive(recording(markers=[(5, "go")]), {"AB": ("A", "B"), "ABC": ("A", "B", "C")})
    assert rec.labels == ("AB", "ABC", "D")
    assert np.array_equal(rec.microvolts(10, 90, ["AB"])[0], X[0, 10:90] - X[1, 10:90])
    assert np.allclose(rec.values(), [X[0] - X[1], (X[0] - X[1]) - (X[1] - X[2]), X[3]], atol=1e-12)
    assert rec.markers == recording(markers=[(5, "go")]).markers
    assert any("A - B" in note for note in rec.notes)
    assert any("A - 2 × B + C" in note for note in rec.notes)
    assert er.derive(recording(), {"AB": ("A", "B")}, keep=True).labels == ("AB", "A", "B", "C", "D")
    assert rec.digest != er.derive(recording(), {"AB": ("B", "A"), "ABC": ("A", "B", "C")}).digest


def test_delays_are_taken_out_before_and_missing_stays_missing():
    channels = [er.Channel("A"), er.Channel("B", delay_s=0.01)]
    x = X[:2].copy()
    x[0, 50] = np.nan
    rec = er.Recording.from_array(x, RATE, labels=["A", "B"], channels=channels)
    made = er.derive(rec, {"AB": ("A", "B")}).values()[0]
    assert np.isnan(made[50])
    assert np.isnan(made[-10:]).all()
    assert np.array_equal(made[100:200], X[0, 100:200] - X[1, 110:210])


@pytest.mark.parametrize(
    ("channels", "what"),
    [
        ({}, "new labels"),
        ({"AB": "AB"}, "two or three"),
        ({"AB": ("A", "A")}, "differ"),
        ({"C": ("A", "B")}, "already"),
        ({" ": ("A", "B")}, "not empty"),
    ],
)
def test_what_cannot_be_derived_is_refused(channels, what):
    with pytest.raises(ParameterError, match=what):
        er.derive(recording(), channels)


def test_units_and_rates_must_agree():
    def with_second(**changes):
        first, second, *rest = recording().channels
        return dataclasses.replace(recording(), channels=(first, dataclasses.replace(second, **changes), *rest))

    with pytest.raises(UnitError, match="one kind and unit"):
        er.derive(with_second(unit="arbitrary"), {"AB": ("A", "B")})
    with pytest.raises(RateError, match="500 Hz"):
        er.derive(with_second(native_rate_hz=500.0), {"AB": ("A", "B")})


def lights(delays, markers):
    x = np.zeros((1, 30_000))
    for at, delay in zip(markers, delays, strict=True):
        x[0, at + delay : at + delay + 300] = 5.0
    cues = [(at, "go") for at in markers]
    return er.Recording.from_array(x, RATE, labels=["LIGHT"], unit="arbitrary", markers=cues)


def test_a_planted_delay_is_found_and_put_right():
    markers = list(range(1000, 28_000, 2000))
    rec = lights([33 + (place % 3 == 0) for place in range(14)], markers)
    delay = er.measure_delay(rec, "LIGHT", cue="go", level=2.5)
    assert (delay.median_s, delay.range_s, delay.cues, delay.constant) == (0.033, (0.033, 0.034), 14, True)
    moved = delay.apply(rec)
    assert [one.sample for one in moved.markers] == [at + 33 for at in markers]
    assert "+33 ms" in moved.notes[-1]
    assert "delay_ms = 33" in repr(delay)
    early = er.measure_delay(lights([-20] * 14, markers), "LIGHT", cue="go", level=2.5)
    assert early.median_s == -0.02


def test_a_delay_that_is_not_constant_and_missing_crossings_are_told():
    markers = list(range(1000, 28_000, 2000))
    with pytest.warns(er.SignalWarning, match="not constant"):
        delay = er.measure_delay(
            lights([20 + 4 * (place % 5) for place in range(14)], markers), "LIGHT", cue="go", level=2.5
        )
    assert not delay.constant
    rec = lights([33] * 14, markers)
    more = rec.with_markers([*rec.markers, er.Marker(29_500, "go")])
    with pytest.warns(er.SignalWarning, match="1 of 15 markers"):
        er.measure_delay(more, "LIGHT", cue="go", level=2.5)
    with pytest.raises(er.EmgreviewError, match=r"within 0\.01 s"):
        er.measure_delay(rec, "LIGHT", cue="go", level=2.5, within_s=0.01)
