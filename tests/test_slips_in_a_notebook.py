"""Typical slips of a person at a notebook: each is told what came, what is allowed and what to do."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import emgreview as er
from emgreview.errors import MarkerError, ParameterError, RateError, ReadError, SignalError, UnknownNameError

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import recording

CUT = {"cue": "go", "before_s": 1.0, "after_s": 1.5}


@pytest.fixture(scope="module")
def rec():
    return recording("sub-a_task-turn", 1)


@pytest.fixture(scope="module")
def trials(rec):
    return er.cut_trials(rec, **CUT)


def made(x=None, rate_hz=2000, markers=()):
    return er.Recording.from_array(np.zeros((1, 5000)) if x is None else x, rate_hz, labels=["a"], markers=markers)


@pytest.mark.parametrize(
    ("slip", "error", "words"),
    [
        (lambda: made(rate_hz="2 kHz"), RateError, "rate_hz came as '2 kHz'; needed is a number above 0 Hz; give"),
        (lambda: made(rate_hz=None), RateError, "rate_hz came as None"),
        (lambda: made(x=np.zeros((1, 5000), complex)), SignalError, "they came as complex128"),
        (lambda: made(x=[["a", "b"]]), SignalError, "give an array of numbers, NaN where missing"),
        (lambda: made(markers=[100, 200]), MarkerError, r"came as 100; allowed: \(sample, label\)"),
        (lambda: made(markers=[("go", 100)]), MarkerError, r"came as \('go', 100\); allowed: \(sample, label\)"),
        (lambda: er.Processing(low_hz="20"), ParameterError, "low_hz came as '20'; allowed: a number"),
        (lambda: er.Processing(rest_s=0.5), ParameterError, r"rest_s came as 0.5; allowed: \(start, stop\) seconds"),
        (lambda: er.read(None), ParameterError, "path came as None; allowed: the path of one file"),
        (lambda: er.check("a.edf"), ParameterError, r"rec came as 'a.edf'; allowed: one Recording, as read\(path\)"),
    ],
)
def test_slips_before_there_are_trials(slip, error, words):
    with pytest.raises(error, match=words):
        slip()


def test_slips_at_cutting(rec):
    for came, words in (("rec.edf", "came as 'rec.edf'"), ([rec], "came as a list; .* cut_all cuts many")):
        with pytest.raises(ParameterError, match=words):
            er.cut_trials(came, **CUT)
    for before_s in ("1", None):
        with pytest.raises(ParameterError, match=f"before_s came as {before_s!r}; allowed: a number of seconds"):
            er.cut_trials(rec, **CUT | {"before_s": before_s})
    with pytest.raises(ParameterError, match=r"processing came as a dict; allowed: emgreview\.Processing"):
        er.cut_trials(rec, **CUT, processing={"low_hz": 10})
    with pytest.raises(UnknownNameError, match="Did you mean 'go'"):
        er.cut_trials(rec, **CUT | {"cue": "Go"})
    with pytest.raises(ParameterError, match="level came as '5'; allowed: a number in the channel's unit"):
        er.with_cues(rec, "handle angle", level="5", hold_off_s=0.5)
    with pytest.raises(SignalError, match=r"0.5 to 1.5 .* whole numbers .* round\(seconds \* rate_hz\)"):
        rec.microvolts(0.5, 1.5)
    with pytest.raises(ParameterError, match=r"give \['biceps'\]"):
        rec.microvolts(0, 100, "biceps")


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        (lambda: er.cut_all("study", **CUT), "recordings came as 'study'; allowed: a dataset, its recordings"),
        (lambda: er.cut_all([None], **CUT), "recordings came as None; allowed: a dataset"),
        (lambda: er.verify(None), "folder came as None; allowed: the path of the folder that holds the review"),
        (lambda: er.read_version(None, "v1"), "folder came as None"),
        (lambda: er.diff(3, "v1", "now"), "folder came as 3"),
        (lambda: er.agreement(None, "r1", "r2"), "folder came as None"),
        (lambda: er.seal(None, [], "v1"), "folder came as None"),
        (lambda: er.include(pd.DataFrame(), {"onset_s": (0.1, 1)}), r"rule came as a dict; allowed: a Rule, as Rule\("),
        (lambda: er.include("rv", er.Rule(name="a", version=1)), "table came as 'rv'; allowed: a table of decisions"),
    ],
)
def test_slips_with_folders_and_tables(slip, words):
    with pytest.raises(ParameterError, match=words):
        slip()


def test_markers_are_taken_as_pairs_too_and_anything_else_says_what_it_is(rec):
    pairs = [(9000, "stop"), (4000, "go")]
    assert rec.with_markers(pairs).markers == (er.Marker(4000, "go"), er.Marker(9000, "stop"))
    assert rec.with_markers([]).markers == ()
    for came, words in (
        ([(2.0, "go")], "a marker lies at a sample, a whole number"),
        ([4000], r"a marker came as 4000; allowed: \(sample, label\), or a Marker"),
        ((4000, "go"), r"markers came as \(4000, 'go'\); allowed: a list of markers"),
        (er.Marker(1, "go"), r"markers came as Marker\(.*; allowed: a list"),
        ("go", "markers came as 'go'; allowed: a list of markers"),
        ({"go": 4000}, "markers came as 'a dict'"),
        (None, r"markers came as None; allowed: a list of markers, each \(sample, label\) or a Marker; give"),
    ):
        with pytest.raises(MarkerError, match=words):
            rec.with_markers(came)
        with pytest.raises(MarkerError, match=words):
            made(markers=came)


def test_slips_with_channels_tables_and_points(rec, trials, tmp_path):
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        session.accept(session.queue[0], "biceps")
        session.seal("v1")
        table = session.decisions()
    with pytest.raises(ParameterError, match=r"channel came as a table; .* detection_floor\(trials, 'biceps', deci"):
        er.detection_floor(trials, table)
    for call in (
        lambda: er.detection_floor(trials, ["biceps"]),
        lambda: er.compare_channels(trials, table, table, "biceps"),
        lambda: er.list_bursts(rec, channel=["biceps"]),
        lambda: er.list_bursts(rec, channel=0),
        lambda: er.list_bursts(rec),
    ):
        with pytest.raises(ParameterError, match=r"channel came as .*; allowed: the label of one channel: biceps, "):
            call()
    for point in (2.5, None, ("v1",), True):
        with pytest.raises(
            ParameterError, match=r"a point of the logs came as .*; allowed: .* version \(v1\), the num"
        ):
            er.diff(tmp_path, point)
    with pytest.raises(UnknownNameError, match=r"there are: .*offset_temper, steepness"):
        er.open_review(trials, tmp_path / "new", reviewer="r1", method="ramp", parameters={"k": 6})
    with pytest.raises(ParameterError, match=r"path came as a dict; allowed: the path of a .json or .toml file"):
        er.Rule.read({"name": "main"})
    with pytest.raises(
        ParameterError, match=r"low_hz and high_hz came as 0.02 and 0.45; .* perhaps 20 and 450, if kilo"
    ):
        er.Processing(low_hz=0.02, high_hz=0.45)
    with pytest.raises(
        ParameterError, match=r"not one of 2 .* 2 recordings .* cannot be cut and are left out: no marker"
    ):
        er.cut_all([rec, recording("sub-b_task-turn", 2)], **CUT | {"cue": "stop"})


def test_more_slips_of_the_same_kinds(rec, trials, tmp_path):
    def opened(**options):
        return er.open_review(trials, tmp_path / "new", **{"reviewer": "r1"} | options)

    with er.open_review(trials, tmp_path / "rv", reviewer="r1") as session:
        session.accept(session.queue[0], "biceps")
        table = session.decisions()
        for slip, words in (
            (
                lambda: er.cut_trials(rec, **CUT | {"cue": ["go", "stop"]}),
                "cue came as a list; allowed: the label of one",
            ),
            (lambda: er.cut_trials(rec, **CUT, blind="yes"), "blind came as 'yes'; allowed: True or False"),
            (lambda: er.cut_all([rec], **CUT, blind=1), "blind came as 1; allowed: True or False"),
            (lambda: opened(blind="no"), "blind came as 'no'; allowed: True or False"),
            (
                lambda: opened(method="ramp", parameters=["k"]),
                "parameters came as a list; allowed: a mapping of names to",
            ),
            (
                lambda: er.open_review("trials", tmp_path / "new", reviewer="r1"),
                "trials came as 'trials'; allowed: what",
            ),
            (
                lambda: er.estimate_onsets(trials, 2000, cue_s=1),
                r"x came as Trials; .* give one channel of them: trials.d",
            ),
            (
                lambda: er.list_bursts(trials, channel="biceps"),
                "x came as 'Trials'; allowed: a recording with its channel",
            ),
            (
                lambda: er.with_cues(rec, "handle angle", level=5, hold_off_s=0.5, label=None),
                "label came as None; allowed",
            ),
            (
                lambda: er.measure(trials, "v1"),
                "decisions came as 'str'; allowed: a table of decisions, as read_version",
            ),
            (
                lambda: er.measure(trials, table, reference={"biceps": 3}),
                "normalise as 'none', which divides by nothing",
            ),
            (lambda: er.plan_bulk(session, {"level_above_db": 6}), "rule came as a dict; allowed: a BulkRule, as"),
            (
                lambda: er.plan_bulk(tmp_path, None),
                "session came as a PosixPath; allowed: the session that open_review",
            ),
            (lambda: er.draw_sample(tmp_path), "session came as a PosixPath; allowed: the session that open_review"),
            (lambda: er.plan_self_check(None), "session came as None; allowed: the session that open_review"),
            (lambda: er.write_demo(None), "folder came as None; allowed: the path of a new or empty folder"),
        ):
            with pytest.raises(ParameterError, match=words):
                slip()
    assert not (tmp_path / "new").exists(), "nothing is begun by a slip"
    with pytest.raises(er.EmgreviewError, match="is closed; the decision was not saved; open the review again"):
        session.accept(session.queue[1], "biceps")


def test_slips_with_files_of_odd_shape(tmp_path):
    (tmp_path / "one.csv").write_text("1,2\n3,NaN\n5,6\n")
    (tmp_path / "gone.edf").symlink_to("nowhere.edf")
    data = er.read_dataset(tmp_path, rate_hz=1000, unit="mV", columns=["a", "b"])
    with pytest.raises(UnknownNameError, match=r"no recording is called 7; there are: gone, one.* places from 0"):
        data.recordings[7]
    with pytest.raises(ReadError, match=r"is a link to nowhere\.edf, which is not there"):
        er.read(tmp_path / "gone.edf")
    with pytest.warns(er.SignalWarning, match="misses 1 of 3 samples"):
        rec = er.read(tmp_path / "one.csv", rate_hz=1000, unit="mV", columns=["a", "b"])
    for channel in er.check(rec):
        assert "two channels that carry one signal: 0.003 s, more than 0.06 s needed" in channel.not_looked


def test_slips_at_reviewing(rec, trials, tmp_path):
    for came in (rec, [rec]):
        with pytest.raises(ParameterError, match="trials came as a Recording; allowed: what cut_trials returns"):
            er.open_review(came, tmp_path / "a", reviewer="r1")
    with pytest.raises(ParameterError, match="folder came as None; allowed: the path of the folder"):
        er.open_review(trials, None, reviewer="r1")
    assert not (tmp_path / "a").exists(), "nothing is begun by a slip"
    (tmp_path / "file").write_text("")
    with (
        pytest.warns(er.SignalWarning, match="Nothing can be decided in this review: .* cannot be opened for writing"),
        er.open_review(trials, tmp_path / "file", reviewer="r1") as session,
    ):
        assert session.problem in repr(session)
    pytest.importorskip("panel")
    with pytest.raises(ParameterError, match="session came as a Trials; allowed: the session that open_review"):
        er.review(trials)
    with pytest.raises(ParameterError, match="recording came as a Trials; allowed: one Recording"):
        er.long_view(trials)


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_what_a_cell_shows_of_a_session(trials, tmp_path):
    with er.open_review(trials, tmp_path, reviewer="r1", blind=True) as session:
        session.accept(session.queue[0], "biceps")
        shown = repr(session)
    assert shown.startswith("Review by r1, blind: 1 of 18 reviewed, 6 trials, in ")
    assert "A plain folder does not say who was recorded" in shown


def test_a_misspelt_name_of_the_package_is_guessed():
    with pytest.raises(AttributeError, match="Did you mean 'read_dataset'"):
        _ = er.read_datset
