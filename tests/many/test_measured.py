"""Measures by a runner: the same table whichever way, each recording once, and one that fails stops no other."""

import copy
import dataclasses
import shutil
import warnings

import pandas as pd
import pytest
from faulty_review import CUT, FAULTS, faulty

import emgreview as er
from emgreview.errors import ParameterError, ReadError, SignalWarning, VersionError

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # the notes themselves are compared
WINDOW = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
HOWS = ({}, {"normalise": "peak in task", "windows_s": (0.05,), "response_from_s": 0.1})


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return er.write_demo(tmp_path_factory.mktemp("measured") / "study", participants=3, trials=4)


@pytest.fixture(scope="module")
def decisions(study, tmp_path_factory):
    """A review in which a stretch is set aside, a cue corrected, a burst added, and a recording left undecided."""
    trials = er.cut_all(er.read_dataset(study), **WINDOW)
    with (
        warnings.catch_warnings(action="ignore"),
        er.open_review(trials, tmp_path_factory.mktemp("review"), reviewer="r1") as session,
    ):
        for trial in session.queue[:8]:
            session.accept_rest(trial)
        first, label = session.queue[0], trials[0].labels[0]
        session.add(first, label, onset_s=1.2)
        session.set_aside(trials[0].recording.name, label, *aside(trials[0]), ["clipped"])
        table = session.decisions()
    assert table["aside_samples"].notna().any()
    return table


def aside(part):
    sample = part.cues[1].sample / part.rate_hz
    return sample - 0.6, sample - 0.2


def later(study, runner=None):
    return er.cut_all(er.read_dataset(study), **WINDOW, runner=er.Runner(progress=None) if runner is None else runner)


def alike(one, other):
    pd.testing.assert_frame_equal(one, other, check_exact=True)
    assert one.attrs == other.attrs


class Seen:
    """Progress that remembers how many recordings were ready from before."""

    def __init__(self):
        self.last = None

    def __call__(self, now):
        self.last = now


@pytest.mark.parametrize("how", HOWS)
def test_a_table_is_the_same_whichever_way_it_was_made(study, decisions, tmp_path, how):
    here = er.measure(er.cut_all(er.read_dataset(study), **WINDOW), decisions, **how)
    assert len(here) > 8
    for runner in (
        er.Runner(progress=None),
        er.Runner(cache=tmp_path / "cache", progress=None),
        er.Runner(cache=tmp_path / "cache", progress=None),  # found again
        er.Runner(2, progress=None),
    ):
        alike(er.measure(later(study), decisions, **how, runner=runner), here)
    alike(er.measure(later(study), decisions, **how), here)


@pytest.mark.parametrize("name", list(FAULTS)[::4])
def test_a_fault_of_a_review_is_told_alike(name):
    """Every fourth fault of the list: each takes seconds."""
    trials, table = faulty(name)
    cut = er.cut_all([trials.recording], **CUT, runner=er.Runner(progress=None))
    how = {"normalise": "mean in task"}
    alike(er.measure(cut, table, **how, runner=er.Runner(progress=None)), er.measure(trials, table, **how))


def test_only_what_was_decided_anew_is_measured_anew(study, decisions, tmp_path):
    seen = Seen()
    runner = er.Runner(cache=tmp_path / "cache", progress=seen)
    trials = later(study)
    er.measure(trials, decisions, runner=runner)
    measured = decisions[decisions["accepted"].fillna(False).astype(bool)]["recording"].nunique()
    assert (seen.last.ready, seen.last.total) == (0, measured)
    er.measure(trials, decisions, runner=runner)
    assert seen.last.ready == seen.last.total
    changed = decisions.copy()
    changed.attrs = decisions.attrs
    row = changed.index[(changed["recording"] == trials[0].recording.name) & changed["onset_sample"].notna()][0]
    changed.loc[row, "onset_sample"] += 4
    er.measure(trials, changed, runner=runner)
    assert seen.last.ready == seen.last.total - 1
    er.measure(trials, decisions, creep_s=0.4, runner=runner)
    assert seen.last.ready == 0


def test_words_that_no_measure_depends_on_make_nothing_anew(study, decisions, tmp_path):
    seen = Seen()
    runner = er.Runner(cache=tmp_path / "cache", progress=seen)
    trials = later(study)
    er.measure(trials, decisions, runner=runner)
    changed = decisions.assign(comment="looked at twice")
    changed.attrs = decisions.attrs
    er.measure(trials, changed, runner=runner)
    assert seen.last.ready == seen.last.total


def test_a_recording_that_cannot_be_read_is_told_and_the_others_go_on(study, decisions, tmp_path):
    copy = tmp_path / "study"
    shutil.copytree(study, copy)
    trials = later(copy)
    whole = er.measure(trials, decisions, runner=er.Runner(progress=None))
    gone = trials[0].recording.name
    trials[0].recording.source.file.unlink()
    again = later(study)
    broken = [*trials[:1], *again[1:]]
    with pytest.warns(SignalWarning, match=rf"bursts of {gone} are left out, as it could not be measured: "):
        found = er.measure(broken, decisions, runner=er.Runner(progress=None))
    assert list(found.attrs["failed"]) == [gone]
    assert any(gone in note and "could not be measured" in note for note in found.attrs["notes"])
    rest = whole[whole["recording"] != gone].reset_index(drop=True)
    pd.testing.assert_frame_equal(found, rest, check_exact=True)
    with pytest.raises(ParameterError, match="not one of 1 recordings could be measured"):
        er.measure(trials[:1], decisions, runner=er.Runner(progress=None))


@pytest.mark.parametrize("workers", [1, 2])
def test_a_file_written_since_it_was_cut_is_not_measured_nor_kept_as_what_it_was(study, decisions, tmp_path, workers):
    copy = tmp_path / "study"
    shutil.copytree(study, copy)
    trials = later(copy)
    assert all(part.recording.digest for part in trials)
    whole = er.measure(later(study), decisions)
    file = trials[0].recording.source.file
    stored = file.read_bytes()
    half = len(stored) // 2
    file.write_bytes(stored[:half] + bytes(byte ^ 1 for byte in stored[half:]))
    runner = er.Runner(workers, cache=tmp_path / "cache", progress=None)
    with pytest.raises(ReadError, match="was written since its trials were cut, and holds other samples"):
        er.measure(trials, decisions)
    name = trials[0].recording.name
    with pytest.warns(SignalWarning, match=rf"bursts of {name} are left out, .* has other samples"):
        found = er.measure(trials, decisions, runner=runner)
    assert list(found.attrs["failed"]) == [name]
    others = whole[whole["recording"] != name].reset_index(drop=True)
    pd.testing.assert_frame_equal(found, others, check_exact=True)
    with pytest.raises(ParameterError, match=r"not one of 1 recordings could be measured; .* has other samples"):
        er.measure(trials[:1], decisions, runner=runner)
    silent = decisions.copy()
    silent.attrs = {}  # nothing is said of the samples that were reviewed
    other = er.measure(trials, silent, runner=runner)
    assert not other["rest_rms"].equals(whole["rest_rms"])
    file.write_bytes(stored)
    pd.testing.assert_frame_equal(er.measure(later(copy), silent, runner=runner), er.measure(later(study), silent))


def test_trials_whose_arrays_were_changed_are_measured_as_they_are(study, decisions):
    """A runner makes arrays anew, which would lose the change."""
    trials = [dataclasses.replace(one, data=2 * one.data) for one in later(study)]
    alike(er.measure(trials, decisions, runner=er.Runner(progress=None)), er.measure(trials, decisions))


def test_a_runner_must_be_one(study, decisions):
    with pytest.raises(ParameterError, match=r"runner came as 2.*a Runner, or None"):
        er.measure(later(study), decisions, runner=2)


def test_columns_called_like_measures_and_endless_samples_are_refused(study, decisions):
    trials = later(study)
    for name in ("rest_rms", "burst_rms", "burst_rms_percent"):
        own = decisions.assign(**{name: 1.0})
        with pytest.raises(ParameterError, match=f"{name}.*called like no measure"):
            er.measure(trials, own)
    endless = decisions.copy()
    endless["onset_sample"] = endless["onset_sample"].astype("float64")
    endless.loc[endless.index[0], "onset_sample"] = float("inf")
    with pytest.raises(ParameterError, match=r"onset_sample came as .*infinite in 1 rows"):
        er.measure(trials, endless)


def test_with_a_runner_a_recording_in_another_scale_is_left_out_by_name_and_the_others_go_on(study, decisions):
    trials = later(study)
    whole, name = er.measure(trials, decisions), trials[1].recording.name
    other = decisions.copy()
    other.attrs = copy.deepcopy(decisions.attrs)
    for channel in other.attrs.get("version", other.attrs)["recordings"][name]["scales"]:
        channel["gain"] = 2 * channel["gain"]
    with pytest.raises(VersionError, match=f"{name}.* comes in another scale"):
        er.measure(trials, other)
    with pytest.warns(SignalWarning, match=rf"bursts of {name} are left out, .* comes in another scale"):
        found = er.measure(trials, other, runner=er.Runner(progress=None))
    assert list(found.attrs["failed"]) == [name]
    others = whole[whole["recording"] != name].reset_index(drop=True)
    pd.testing.assert_frame_equal(found, others, check_exact=True)
