"""Whole studies by a runner: what comes is what each recording gives by itself, and trials cut later are the same."""

import dataclasses
import gc
import pickle
import weakref

import numpy as np
import pytest

import emgreview as er
from emgreview import evidence
from emgreview.detecting import find_onsets, onsets_of
from emgreview.errors import ParameterError
from emgreview.model import Trials
from emgreview.trials import LaterTrials, later

WINDOW = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
ARRAYS = ("data", "envelope", "auxiliary")


@pytest.fixture(scope="module")
def data(tmp_path_factory):
    return er.read_dataset(er.write_demo(tmp_path_factory.mktemp("many") / "study", participants=3, trials=4))


@pytest.fixture
def runner(tmp_path):
    return er.Runner(cache=tmp_path / "cache", progress=None)


def cut(data, **how):
    return er.cut_all(data, **WINDOW, **how)


def test_trials_cut_later_are_those_cut_now(data, runner):
    for way in (runner, runner, er.Runner(2, progress=None)):  # made, found again, made elsewhere
        now, then = cut(data), cut(data, runner=way)
        assert all(isinstance(one, LaterTrials) for one in then)
        for one, other in zip(now, then, strict=True):
            for name in Trials.__dataclass_fields__:
                if name in (*ARRAYS, "time_s"):
                    np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
                elif name != "recording":
                    assert getattr(one, name) == getattr(other, name), name
            assert [vars(note) for note in one.notes] == [vars(note) for note in other.notes]
            assert repr(one) == repr(other)


def test_notes_are_told_alike_now_later_and_again(data, runner):
    def told(**how):
        with pytest.warns(er.SignalWarning) as caught:
            cut(data, expect=5, **how)
        return [str(one.message) for one in caught]

    assert any("5" in words for words in told())
    assert told() == told(runner=runner) == told(runner=runner)


def test_a_blind_cut_names_nobody(data, runner):
    for _ in range(2):
        with pytest.warns(er.SignalWarning) as caught:
            trials = cut(data, expect=5, blind=True, runner=runner)
        assert caught
        assert not any("sub-0" in str(one.message) for one in caught)
        assert all(one.blind for one in trials)


def test_onsets_found_by_a_runner_are_those_found_here_and_are_not_found_twice(data, runner, monkeypatch):
    now, then = cut(data), cut(data, runner=runner, method="ramp")
    wanted = find_onsets(now, "ramp", {})
    monkeypatch.setattr("emgreview.detecting.estimate_onsets", None)
    found = find_onsets(then, "ramp", {})
    assert [label for _, label in wanted] == [label for _, label in found]
    for one, other in zip(wanted.values(), found.values(), strict=True):
        np.testing.assert_array_equal(one.onset_s, other.onset_s)
        assert one.parameters == other.parameters
    with pytest.raises(TypeError):
        find_onsets(then, "threshold", {})


def test_samples_of_few_recordings_stay_in_memory(data, runner, monkeypatch):
    monkeypatch.setattr(later, "AT_HAND_MB", 0.0)
    trials = cut(data, runner=runner)
    held = [weakref.ref(one.data) for one in trials]
    gc.collect()
    assert [ref() is not None for ref in held] == [False, True, True]
    np.testing.assert_array_equal(trials[0].data, cut(data)[0].data)


def test_trials_cut_later_travel(data, runner):
    one = cut(data, runner=runner, method="ramp")[0]
    other = pickle.loads(pickle.dumps(one))
    np.testing.assert_array_equal(one.data, other.data)
    assert other.detected.keys() == one.detected.keys()
    with pytest.raises(AttributeError, match="no 'nothing'"):
        _ = one.nothing


def test_a_copy_of_trials_cut_later_with_other_fields_is_that_of_those_cut_now(data, runner):
    now, later = cut(data)[0], cut(data, runner=runner, method="ramp")[0]
    for changed in (
        {"blind": True},
        {"processing": er.Processing(rest_s=(-0.9, -0.4))},
        {"data": now.data * 2},
        {"recording": dataclasses.replace(now.recording, name="other")},
    ):
        one, other = (dataclasses.replace(trials, **changed) for trials in (now, later))
        assert repr(one) == repr(other)
        for label in now.labels:
            ours, theirs = (onsets_of(trials, label) for trials in (one, other))
            np.testing.assert_array_equal(ours.onset_s, theirs.onset_s)
        np.testing.assert_array_equal(evidence.glance(one).peaks, evidence.glance(other).peaks)


def test_a_file_that_changes_meanwhile_is_told(tmp_path, runner):
    study = er.read_dataset(er.write_demo(tmp_path / "study", participants=2, trials=2))
    path = study.recordings.files[study.recordings.names[0]]

    def change(now):
        content = bytearray(path.read_bytes())
        content[-100] ^= 1
        path.write_bytes(content)

    meddled = er.Runner(cache=runner.cache, progress=lambda now: change(now) if now.done == 1 else None)
    with pytest.warns(er.SignalWarning, match="changed while it was worked on; it must stay as it is; run this again"):
        assert len(cut(study, runner=meddled)) == 1


def test_a_file_written_while_its_trials_are_reviewed_is_not_shown_as_what_was_cut(tmp_path, runner):
    """Before, the reviewer saw other samples than those that the log names, under the onsets of the first."""
    study = er.read_dataset(er.write_demo(tmp_path / "study", participants=2, trials=2))
    path = study.recordings.files[study.recordings.names[0]]
    trials, stored = cut(study, runner=runner), path.read_bytes()
    path.write_bytes(stored[:-100] + bytes(byte ^ 1 for byte in stored[-100:]))
    for _ in range(2):  # also when its new digest is known
        with pytest.raises(er.errors.ReadError, match="was written since its trials were cut"):
            _ = trials[0].data
    assert trials[1].data.size
    path.write_bytes(stored)
    assert np.array_equal(trials[0].data, cut(study)[0].data, equal_nan=True)


def test_a_review_of_trials_cut_later_seals_and_replays_as_any_other(data, runner, tmp_path):
    tables = []
    for place, trials in enumerate((cut(data), cut(data, runner=runner, method="ramp"))):
        folder = tmp_path / str(place)
        with er.open_review(trials, folder, reviewer="r1") as session:
            for trial in session.queue[:5]:
                session.accept_rest(trial)
            session.seal("v1")
        assert er.replay(folder, data, "v1").same_bytes
        assert er.replay(folder, data, "v1", runner=runner).same_bytes
        with pytest.warns(er.SignalWarning):
            tables.append(er.measure(trials, er.read_version(folder, "v1")))
    assert tables[0].equals(tables[1])


def test_every_recording_is_checked_as_by_itself(data, runner):
    found = er.check_all(data, runner=runner)
    for rec in data.recordings:
        assert repr(list(found[rec.name])) == repr(list(er.check(rec)))
    assert list(found) == list(data.recordings.names)
    assert "with a finding" in repr(found)
    assert er.check_all(data, runner=runner).ready == len(found)


def test_detected_onsets_are_one_table(data, runner):
    table = er.detect_all(data, **WINDOW)
    assert table.equals(er.detect_all(data, **WINDOW, runner=runner))
    trials = cut(data)
    assert len(table) == sum(len(one) * len(one.labels) for one in trials)
    one = trials[0]
    found = find_onsets([one], "ramp", {})[one, one.labels[0]]
    mine = table[(table["recording"] == one.recording.name) & (table["channel"] == one.labels[0])]
    np.testing.assert_allclose(mine["onset_s"], found.onset_s - 1.0, atol=1e-6, equal_nan=True)


def test_a_method_belongs_to_a_runner(data):
    with pytest.raises(ParameterError, match="without a runner"):
        cut(data, method="ramp")


def test_a_screen_of_trials_cut_later_shows_what_it_shows_of_those_cut_now(data, runner):
    """Scales, words on levels, limits and the spread of rests are counted by the runner, and samples left alone."""
    now, then = cut(data), cut(data, runner=runner, method="ramp")
    for one, other in zip(now, then, strict=True):
        for name in ("full_scale", "auxiliary_limits", "rest_z"):
            ask = getattr(evidence, name)
            np.testing.assert_array_equal(ask([one]), ask([other]))
        assert evidence.level_words([one]) == evidence.level_words([other])
        assert id(other) not in later._HAND._held
