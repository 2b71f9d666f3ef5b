"""A plan in a study's folder goes with the recordings it is of, into whatever is made of them."""

import shutil
import warnings

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import SignalWarning

HANDLE = {"BB": "biceps brachii", "BR": "brachioradialis"}


def planned(**said):
    return er.plan("turn a handle", muscles=HANDLE).fill(**said)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return er.write_demo(tmp_path_factory.mktemp("planned") / "study", participants=2, trials=3)


@pytest.fixture
def study(made, tmp_path):
    folder = shutil.copytree(made, tmp_path / "study")
    for path in folder.rglob("*_channels.tsv"):  # what the demo says itself of a channel would stand
        lines = [line.split("\t") for line in path.read_text(encoding="utf-8").splitlines()]
        at = lines[0].index("target_muscle")
        path.write_text("".join("\t".join([*one[:at], *one[at + 1 :]]) + "\n" for one in lines), encoding="utf-8")
    return folder


def over(rec):
    return {one.label: one.over for one in rec.channels if one.label in HANDLE}


def opened(study, place=0):
    """Without the words that a plan of two muscles has for a recording of more."""
    with pytest.warns(SignalWarning):
        return er.read_dataset(study).recordings[place]


def test_a_plan_that_names_nobody_is_of_every_recording(study):
    planned().save(study / "plan.toml")
    for place in range(2):
        rec = opened(study, place)
        assert "biceps brachii" in over(rec)["BB"]
        assert "brachioradialis" in over(rec)["BR"]


def test_a_plan_of_one_person_goes_before_that_of_all_and_to_no_other(study):
    planned().save(study / "plan.toml")
    er.plan("turn a handle", muscles={"BB": "brachialis"}).fill(participant="02").save(study / "plan_sub-02.toml")
    assert "biceps" in over(opened(study, 0))["BB"]
    assert "brachialis" in over(opened(study, 1))["BB"]


def test_what_a_plan_says_stands_on_the_screen_and_in_a_converted_dataset(study, tmp_path):
    from emgreview.views.screen_setup import _channels

    planned().save(study / "plan.toml")
    with warnings.catch_warnings(action="ignore"):
        rec = er.read_dataset(study).recordings[0]
        shown = _channels(er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5))
        er.convert(rec, tmp_path / "out", people={rec.name: {"sub": "01", "task": "turn"}})
    assert {one["label"]: one["over"] for one in shown}["BR"] == "right brachioradialis"
    (table,) = (tmp_path / "out").rglob("*_channels.tsv")
    assert "right brachioradialis" in table.read_text(encoding="utf-8")


def test_plans_that_are_alike_broken_or_of_nobody_are_told_and_none_is_taken(study):
    plain = over(er.read_dataset(study).recordings[0])
    planned().save(study / "plan.toml")
    planned().save(study / "plan_b.toml")
    with pytest.warns(SignalWarning, match=r"plan.toml, plan_b.toml are plans of it alike, and none of them is taken"):
        rec = er.read_dataset(study).recordings[0]
    assert over(rec) == plain
    (study / "plan_b.toml").write_text("version = 1", encoding="utf-8")
    with pytest.warns(SignalWarning, match=r"plan_b.toml is passed over, so that it says nothing of channels: "):
        data = er.read_dataset(study)
    assert any("plan_b.toml is passed over" in note for note in data.notes)
    (study / "plan_b.toml").unlink()
    planned(participant="09").save(study / "plan_09.toml")
    with pytest.warns(SignalWarning, match=r"plan_09.toml is of participant 09, of whom no recording is here"):
        er.read_dataset(study)


def test_a_plan_beside_a_labs_own_files_goes_with_them(tmp_path):
    rng = np.random.default_rng(3)
    for sub in ("a", "b"):
        rows = "\n".join(f"{x:.3f},{y:.3f}" for x, y in rng.normal(0, 5, (4000, 2)))
        (tmp_path / f"{sub}_turn.csv").write_text(f"{rows}\n", encoding="utf-8")
    planned().save(tmp_path / "plan.toml")
    data = er.read_dataset(tmp_path, rate_hz=1000, unit="uV", columns=["BB", "BR"])
    assert len(data.recordings) == 2
    assert not data.left_out
    assert all("brachioradialis" in over(rec)["BR"] for rec in data.recordings)
