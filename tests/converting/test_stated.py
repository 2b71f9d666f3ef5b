"""What a converted dataset states beyond BIDS is read, or refused in words where it is broken."""

import json

import numpy as np
import pytest
from converted import P01, SAID, read_again

import emgreview as er
from emgreview.errors import FormatError


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


def test_another_source_than_there_can_be_is_that_of_the_table(folder):
    (path,) = folder.rglob("*_events.tsv")
    path.write_text(path.read_text().replace("given", "elsewhere"))
    (rec,) = read_again(folder)
    assert [one.source for one in rec.markers] == ["events"]
    assert rec.markers[0].details == {"trial_type": "go"}
