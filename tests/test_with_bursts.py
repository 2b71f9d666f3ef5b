"""Trials of a recording without cues: a marker before every burst, each of which truth knows."""

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import MarkerError, ParameterError


@pytest.fixture(scope="module")
def recording():
    rng = np.random.default_rng(4)
    x = rng.normal(0, 3, 2000 * 24)
    onsets = (0.1, 3.0, 7.5, 12.25, 19.0)
    for onset in onsets:
        x[round(onset * 2000) : round((onset + 0.5) * 2000)] *= 20
    return er.Recording.from_array(np.stack([x, x[::-1]]), 2000, labels=["FCR", "ECR"], name="turns"), onsets


def test_a_marker_before_every_burst(recording):
    rec, onsets = recording
    with pytest.warns(er.SignalWarning) as caught:
        found = er.with_bursts(rec, "FCR", lead_s=0.5)
    at = np.array([marker.sample for marker in found.markers]) / 2000
    np.testing.assert_allclose(at, np.array(onsets[1:]) - 0.5, atol=0.02)
    assert {marker.source for marker in found.markers} == {"bursts FCR"}
    told = [str(one.message) for one in caught]
    assert found.notes[0] == "Markers 'burst' lie 0.5 s before 4 bursts of FCR: times from them mean nothing."
    assert any("1 of 5 bursts of FCR have no marker" in words for words in told)
    assert len(found.notes) == 2, found.notes
    assert len(er.cut_trials(found, cue="burst", before_s=1.0, after_s=1.5)) == 4


def test_slips_are_told(recording):
    rec, _ = recording
    for slip, error, words in (
        ({"lead_s": -1}, ParameterError, "lead_s"),
        ({"lead_s": 300}, ParameterError, "300"),
        ({"label": 3}, ParameterError, "label"),
    ):
        with pytest.raises(error, match=words):
            er.with_bursts(rec, "FCR", **slip)
    with pytest.raises(MarkerError, match=r"none begins 19\.5 s or more after its start"):
        er.with_bursts(rec, "FCR", lead_s=19.5)
    with pytest.raises(MarkerError, match="has markers 'go' already"):
        er.with_bursts(rec.with_markers([(5, "go")]), "FCR", label="go")


def test_a_review_of_bursts_replays(recording, tmp_path):
    rec, _ = recording
    with pytest.warns(er.SignalWarning, match="1 of 5 bursts"):
        marked = er.with_bursts(rec, "FCR")
    trials = er.cut_trials(marked, cue="burst", before_s=1.0, after_s=1.5)
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        session.accept_rest(session.where)
        session.seal("v1")
    assert er.replay(tmp_path, rec, "v1").same_bytes
