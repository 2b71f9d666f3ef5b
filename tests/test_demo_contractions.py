"""The demo's test contractions: only where they are asked for; faults are found; nothing else changes."""

import hashlib
import warnings

import pytest

import emgreview as er
from emgreview.demo.contractions import FAULTS, contractions_of
from emgreview.errors import ParameterError


def digests(folder):
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*turnhandle*") if p.is_file()}


def test_they_change_no_other_recording_and_are_another_demo(tmp_path):
    plain = er.write_demo(tmp_path / "plain", participants=1, trials=1)
    more = er.write_demo(tmp_path / "more", participants=1, trials=1, contractions=True)
    assert digests(plain) == digests(more)
    assert er.read_dataset(plain).recordings.names == ("sub-01_task-turnhandle",)
    data = er.read_dataset(more)
    assert data.recordings.names == ("sub-01_task-contractions", "sub-01_task-turnhandle")
    assert data.recordings[0].markers[1].details == {"trial_type": "test BB", "contraction": "test", "target": "BB"}
    assert er.write_demo(more, participants=1, trials=1, contractions=True) == more
    for folder, asked in ((plain, True), (more, False)):
        with pytest.raises(ParameterError, match="holds another demo study"):
            er.write_demo(folder, participants=1, trials=1, contractions=asked)


@pytest.mark.parametrize(("number", "code"), [(2, "neighbour"), (3, "weak"), (4, "exchanged")])
def test_the_planted_faults_are_found(number, code):
    made = contractions_of(number, seed=20)
    with warnings.catch_warnings(action="ignore"):
        seen = er.selectivity(made.recording)
    (fault, *_) = FAULTS[number]
    assert code in {one.code for one in seen.findings if one.channel == fault.channel}
