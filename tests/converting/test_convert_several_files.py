"""Recordings that a study makes of several files: what any of them says of a person is listed and removed."""

import numpy as np
import pytest
from converted import SAID
from files_on_disk import Layout, Sig, write

import emgreview as er
from emgreview.errors import ParameterError


def test_names_in_the_header_of_any_file_are_listed_and_met_nowhere(tmp_path):
    rng = np.random.default_rng(2)
    for side in ("arm", "leg"):
        who = {"patient": "X X X Anna_Beispiel"} if side == "leg" else {}
        one = Sig(f"{side} 1", rng.integers(-900, 900, 4000).astype(int))
        write(tmp_path / f"P01_{side}.edf", [one], Layout(n_records=4, fields=who))
    study = er.write_study(
        tmp_path / "study.toml",
        files={"pattern": "P{participant}_{side}.edf"},
    )
    data = er.read_study(study)
    listed = str(er.identifying(data))
    assert listed.count("file name") == 2
    assert "header: patient identification" in listed
    made = er.convert(
        data, tmp_path / "out", said=SAID, people={"sub-01": {"sub": "01", "task": "anna"}}, keep=["anna"]
    )
    assert made.ok
    with pytest.raises(ParameterError, match="holds a word that the source has for a person's name"):
        er.convert(data, tmp_path / "no", said=SAID, people={"sub-01": {"sub": "01", "task": "anna"}})
