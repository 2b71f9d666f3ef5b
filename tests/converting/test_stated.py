"""What a converted dataset states beyond BIDS is read, or refused in words where it is broken."""

import json

import numpy as np
import pytest
from converted import P01, SAID, read_again

import emgreview as er
from emgreview.errors import FormatError, LogError, SignalWarning, VersionError


@pytest.fixture
def folder(tmp_path):
    x = np.round(np.random.default_rng(1).normal(0, 40, (1, 5001)), 2)
    x[0, 7] = np.nan
    rec = er.Recording.from_array(x, 2048, labels=["FCR"], name="p01", markers=[(5, "go")])
    er.convert(rec, tmp_path / "out", people=P01, said=SAID)
    return tmp_path / "out"


def change(folder, **fields):
    (path,) = folder.rglob("*_emg.json")
    path.write_text(json.dumps(json.loads(path.read_text()) | fields))


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"SamplesRecorded": 0}, "SamplesRecorded 0; allowed: a whole number from 1 to 5024"),
        ({"SamplesRecorded": 9999}, "SamplesRecorded 9999"),
        ({"SamplesRecorded": "5001"}, "SamplesRecorded '5001'"),
        ({"SamplesRecorded": True}, "SamplesRecorded True"),
        ({"MissingSampleCodes": [1]}, "MissingSampleCodes"),
        ({"MissingSampleCodes": {"FCR": 0.5}}, "MissingSampleCodes"),
    ],
)
def test_broken_statements_are_refused(folder, fields, words):
    change(folder, **fields)
    with pytest.raises(FormatError) as caught:
        _ = er.read_dataset(folder).recordings[0]
    assert words in str(caught.value)


def test_without_them_the_file_speaks_for_itself(folder):
    (path,) = folder.rglob("*_emg.json")
    content = json.loads(path.read_text())
    assert content.pop("SamplesRecorded") == 5001
    assert content.pop("MissingSampleCodes") == {"FCR": -8388608}
    content.pop("RecordingDuration")
    path.write_text(json.dumps(content))
    (rec,) = read_again(folder)
    assert rec.n_samples == 5024
    assert rec.values()[0, 7] < rec.values()[0, 8:].min()


def test_codes_of_a_channel_that_is_not_there_are_told(folder):
    change(folder, MissingSampleCodes={"FCR": -8388608, "fcr": -8388608})
    with pytest.warns(SignalWarning, match="names channels that are not there: 'fcr'"):
        rec = er.read_dataset(folder).recordings[0]
    assert np.isnan(rec.values()[0, 7])


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
@pytest.mark.parametrize("now", [{}, {"FCR": -7}])
def test_a_review_knows_which_stored_values_were_missing_samples(folder, tmp_path, now):
    """An edited sidecar makes voltages of what was missing, far from any that a muscle has, or the other way round."""
    cut = {"cue": "go", "before_s": 0.6, "after_s": 0.5}
    (rec,) = read_again(folder)
    with er.open_review(er.cut_trials(rec, **cut), tmp_path, reviewer="r1") as session:
        _ = [session.none_visible(trial, "FCR") for trial in session.queue]
        session.seal("v1")
    change(folder, MissingSampleCodes=now)
    (rec,) = read_again(folder)
    other, words = er.cut_trials(rec, **cut), f"missing sample was -8388608, and is {now.get('FCR', 'none')}"
    for attempt, arguments in (
        (er.open_review, {"trials": other, "reviewer": "r1"}),
        (er.replay, {"data": [rec], "version": "v1"}),
        (er.seal, {"data": [rec], "name": "v2"}),
    ):
        with pytest.raises(LogError, match=words):
            attempt(folder=tmp_path, **arguments)
    with pytest.raises(VersionError, match=words):
        er.measure(other, er.read_version(tmp_path, "v1"))
    with er.open_review(other, tmp_path, reviewer="r1", scale_corrected="the sidecar was wrong") as session:
        session.seal("v2")
    assert er.replay(tmp_path, [rec], "v2").same_bytes
    change(folder, MissingSampleCodes={"FCR": -8388608})
    first = er.cut_trials(read_again(folder)[0], **cut)
    with pytest.raises(LogError, match=f"missing sample was {now.get('FCR', 'none')}, and is -8388608"):
        er.open_review(first, tmp_path, reviewer="r1")


def test_another_source_than_there_can_be_is_that_of_the_table(folder):
    (path,) = folder.rglob("*_events.tsv")
    path.write_text(path.read_text().replace("given", "elsewhere"))
    (rec,) = read_again(folder)
    assert [one.source for one in rec.markers] == ["events"]
    assert rec.markers[0].details == {"trial_type": "go"}
