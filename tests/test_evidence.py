"""What stands beside the trace: known truth and relations."""

import numpy as np
import pytest

import emgreview as er
from emgreview import evidence

RATE_HZ = 2000.0


def trials_of(n_trials: int = 8, gain: float = 1.0, burst_hz: float = 120.0, name="recording", **entities) -> er.Trials:
    """Rest noise and, 0.2 to 0.6 s after the cue, a burst of one frequency."""
    rng = np.random.default_rng(3)
    n = int(RATE_HZ * 3 * (n_trials + 1))
    x = rng.normal(0, 2, n)
    markers = []
    for trial in range(n_trials):
        cue = int(RATE_HZ * (2 + 3 * trial))
        start, stop = cue + 400, cue + 1200
        x[start:stop] += 50 * np.sin(2 * np.pi * burst_hz * np.arange(stop - start) / RATE_HZ)
        markers.append((cue, "go"))
    rec = er.Recording.from_array(
        gain * x[np.newaxis], RATE_HZ, labels=["one"], markers=markers, name=name, entities=entities
    )
    return er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.0)


def test_full_scale_follows_the_gain_and_is_one_without_signal():
    assert evidence.full_scale([trials_of(gain=10)]) == pytest.approx(10 * evidence.full_scale([trials_of()]))
    rec = er.Recording.from_array(np.zeros((1, 8000)), RATE_HZ, labels=["one"], markers=[(4000, "go")])
    with pytest.warns(er.SignalWarning):
        flat = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.0)
    assert evidence.full_scale([flat]) == 1.0


def test_what_has_the_same_electrodes_has_one_scale_one_typical_envelope_and_one_usual_rest():
    first, second = (trials_of(5, gain=g, name=f"run-{g}", sub="01", ses="1") for g in (1, 3))
    other = trials_of(5, gain=9, name="again", sub="01", ses="2")
    nameless = [trials_of(5, name=name) for name in ("a", "b")]
    rough = er.cut_trials(first.recording, cue="go", before_s=1.0, after_s=1.0, processing=er.Processing(envelope_hz=6))
    groups = evidence.same_electrodes([first, other, second, *nameless, rough])
    assert groups == ((first, second), (other,), (nameless[0],), (nameless[1],), (rough,))
    low, both, high = (evidence.full_scale(group)[0] for group in ([first], [first, second], [second]))
    assert low < both < high
    assert both == evidence.full_scale([second, first])[0]
    assert evidence.typical_envelope([(first, [0, 1]), (second, [2, 3])], "one") is None
    pooled = evidence.typical_envelope([(first, [0, 1]), (second, [0, 1, 2])], "one")
    apart = [evidence.typical_envelope([(one, range(5))], "one") for one in (first, second)]
    assert pooled.n_trials == 5
    assert np.all(pooled.upper >= apart[0].lower)
    assert apart[0].median.max() < pooled.median.max() < 1.1 * apart[1].median.max()
    z = evidence.rest_z([first, second])[:, 0]
    assert len(z) == 10
    assert np.max(z[:5]) < np.min(z[5:]), "a louder run stands out against the whole session"


def test_typical_envelope_is_high_in_the_burst_and_needs_five_trials():
    trials = trials_of()
    assert evidence.typical_envelope([(trials, range(4))], "one") is None
    typical = evidence.typical_envelope([(trials, range(8))], "one")
    inside = (trials.time_s > 0.3) & (trials.time_s < 0.5)
    outside = trials.time_s < 0.1
    assert typical.median[inside].min() > 8 * typical.median[outside].max()
    assert np.all(typical.lower <= typical.median)
    assert np.all(typical.median <= typical.upper)


def test_spectra_peak_where_the_burst_is():
    trials = trials_of(burst_hz=120)
    found = evidence.spectra(trials, 0, "one", onset_s=0.2, offset_s=0.6)
    assert found.frequency_hz[np.argmax(found.burst)] == pytest.approx(120, abs=found.frequency_hz[1])
    assert found.burst.max() > 100 * found.rest.max()
    with pytest.raises(er.EmgreviewError, match="a spectrum needs 32"):
        evidence.spectra(trials, 0, "one", onset_s=0.2, offset_s=0.205)


def test_the_envelope_step_shows_which_way_a_filter_smears():
    time_s, both_ways = evidence.envelope_step(er.Processing(), RATE_HZ)
    at_zero = np.searchsorted(time_s, 0.0)
    assert both_ways[at_zero] == pytest.approx(0.5, abs=0.05)
    assert both_ways[0] == pytest.approx(0, abs=0.01)
    assert both_ways[-1] == pytest.approx(1, abs=0.01)
    _, causal = evidence.envelope_step(er.Processing(direction="causal"), RATE_HZ)
    assert np.all(causal[:at_zero] == 0)
    _, slow = evidence.envelope_step(er.Processing(envelope_hz=6), RATE_HZ)
    assert np.ptp(slow) < np.ptp(both_ways)


def test_one_tense_rest_stands_out():
    trials = trials_of()
    trials.data[3, 0, :1800] *= 6
    z = evidence.rest_z([trials])[:, 0]
    assert np.argmax(z) == 3
    assert z[3] > 3.5  # the limit of Iglewicz and Hoaglin 1993, from memory
    assert np.abs(np.delete(z, 3)).max() < 3.5


def test_sound_is_limited_and_keeps_its_length():
    trials = trials_of()
    trials.data[0, 0, 2500] = 1e6
    sound, rate = evidence.listening(trials, 0, "one", start_s=-0.5, stop_s=0.9, full=100.0)
    assert rate == 8000
    assert len(sound) == pytest.approx(1.4 * rate, abs=8)
    assert np.abs(sound).max() <= evidence.LOUDEST
