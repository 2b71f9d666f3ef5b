"""Several files of one recording: the same samples, markers and onsets as if they had been one file."""

from itertools import pairwise

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import ParameterError, RateError

X = np.random.default_rng(1).normal(0, 20, (4, 9000))
MARKS = [(1500, "go"), (4000, "go"), (7000, "go")]
LABELS = ["BB", "TB", "FDI", "APB"]


def rec(x=X, labels=LABELS, markers=(), name="p01", rate=1000.0):
    return er.Recording.from_array(x, rate, labels=labels, markers=markers, name=name)


def test_side_by_side_is_one_recording():
    whole = rec(markers=MARKS)
    joined = er.join_channels([rec(X[:2], LABELS[:2], MARKS, "p01"), rec(X[2:], LABELS[2:], (), "p01_hand")])
    assert (joined.labels, joined.name, joined.markers) == (whole.labels, "p01", whole.markers)
    np.testing.assert_array_equal(
        joined.microvolts(123, 4567, ["FDI", "BB"]), whole.microvolts(123, 4567, ["FDI", "BB"])
    )
    assert joined.fingerprint.samples == whole.fingerprint.samples
    cut = {"cue": "go", "before_s": 0.5, "after_s": 1.0}
    assert er.cut_trials(joined, **cut).ids == er.cut_trials(whole, **cut).ids


@pytest.mark.parametrize("cuts", [(3000,), (1, 8999), (2500, 4000, 4001)])
def test_one_after_another_is_one_recording(cuts):
    edges = [0, *cuts, X.shape[1]]
    parts = [
        rec(X[:, a:b], markers=[(at - a, label) for at, label in MARKS if a <= at < b], name=f"p01_{a}")
        for a, b in pairwise(edges)
    ]
    whole, joined = rec(markers=MARKS), er.join_in_time(parts, name="p01")
    assert [(m.sample, m.label) for m in joined.markers] == MARKS
    np.testing.assert_array_equal(joined.microvolts(), X)
    np.testing.assert_array_equal(joined.microvolts(2400, 4100, ["APB"]), whole.microvolts(2400, 4100, ["APB"]))
    assert joined.fingerprint.samples == whole.fingerprint.samples
    assert len([note for note in joined.notes if "follows" in note]) == len(cuts)


class Gained:
    """A source of somebody's own that does not say its scale: ``gain`` µV a stored unit."""

    file = None

    def __init__(self, stored, gain, offset=0.0):
        self.stored, self.gain, self.offset = stored, gain, offset

    @property
    def n_samples(self):
        return self.stored.shape[1]

    def read(self, start, stop, channels):
        return self.digital(start, stop, channels) * self.gain + self.offset

    def digital(self, start, stop, channels):
        return self.stored[list(channels), start:stop]


def foreign(gain, labels, name="p01", stored=None, offset=0.0):
    stored = np.rint(X[: len(labels)]) if stored is None else stored
    return er.Recording(name, tuple(er.Channel(label) for label in labels), 1000.0, Gained(stored, gain, offset))


def test_what_is_joined_keeps_the_scale_of_sources_that_do_not_say_theirs():
    side = er.join_channels([foreign(0.5, ["BB"]), foreign(3.0, ["TB"], "p01_b", offset=7.0), rec(X[:1], ["FDI"])])
    assert [(one.gain, one.offset) for one in side.scales] == [(0.5, 0.0), (3.0, pytest.approx(7.0)), (1.0, 0.0)]
    still = np.full((1, 50), 4.0)
    row = er.join_in_time(
        [foreign(0.5, ["BB"], stored=still), foreign(0.5, ["BB"], "p02"), foreign(0.5, ["BB"], "p03")]
    )
    assert row.scales[0].gain == 0.5, "told by a part in which the channel changes"
    shorter = er.join_channels([foreign(0.5, ["BB"]), foreign(2.0, ["TB"], "b", stored=X[:1, :5000])], ends="first")
    assert [one.gain for one in shorter.scales] == [0.5, pytest.approx(2.0)]
    with pytest.raises(ParameterError, match="'BB' is stored in p02 in another scale than in p01"):
        er.join_in_time([foreign(0.5, ["BB"]), foreign(1.5, ["BB"], "p02")])


def test_what_does_not_fit_is_refused_by_name():
    with pytest.raises(ParameterError, match=r"different lengths.*p01 9000, p02 100 .*ends='first'"):
        er.join_channels([rec(X[:2], LABELS[:2]), rec(X[2:, :100], LABELS[2:], name="p02")])
    joined = er.join_channels([rec(X[:2], LABELS[:2], MARKS), rec(X[2:, :5000], LABELS[2:], name="p02")], ends="first")
    assert joined.n_samples == 5000
    assert [marker.sample for marker in joined.markers] == [1500, 4000]
    assert "The last 4 s of p01 are left out: another file ended there." in joined.notes
    np.testing.assert_array_equal(joined.microvolts(), X[:, :5000])
    with pytest.raises(ParameterError, match="two recordings have a channel 'BB'"):
        er.join_channels([rec(), rec(name="p02")])
    for join in (er.join_channels, er.join_in_time):
        with pytest.raises(RateError, match=r"p01 1000 Hz, p02 2000 Hz"):
            join([rec(X[:2], LABELS[:2]), rec(X[2:], LABELS[2:], name="p02", rate=2000.0)])
        with pytest.raises(ParameterError, match="came empty"):
            join([])
        with pytest.raises(ParameterError, match="a list of recordings"):
            join(rec())
    with pytest.raises(ParameterError, match="other channels"):
        er.join_in_time([rec(), rec(labels=LABELS[::-1], name="p02")])
