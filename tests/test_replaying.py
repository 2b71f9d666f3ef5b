"""A review rebuilt from raw recordings and logs, and what is refused."""

import dataclasses
import itertools
import json

import numpy as np
import pytest
from scripted_reviews import detect

import emgreview as er
from emgreview import replaying
from emgreview.detecting import rebuilt
from emgreview.errors import LogError, ParameterError, VersionError

RATE = 1000.0


def recording(name="rec", n=6, seed=1, labels=("FDI", "APB"), gain=1.0, **entities):
    """Invented noise with a stronger stretch after each cue."""
    x = np.random.default_rng(seed).normal(size=(len(labels), (n + 1) * 2000))
    markers = [er.Marker(2000 * k + 1000, "go", details={"condition": "near" if k % 2 else "far"}) for k in range(n)]
    for marker in markers:
        x[:, marker.sample + 200 : marker.sample + 500] *= 8
    return er.Recording.from_array(x * gain, RATE, labels=labels, markers=markers, name=name, entities=entities)


def open_(folder, recordings, **options):
    processing = er.Processing(low_hz=25, rest_s=(-0.4, 0))
    trials = [er.cut_trials(one, cue="go", before_s=0.5, after_s=1.0, processing=processing) for one in recordings]
    return er.open_review(trials, folder, **{"reviewer": "r1", "method": "threshold", **options})


@pytest.fixture
def recordings():
    return [recording("b", seed=1, sub="2"), recording("a", seed=2, sub="1")]


@pytest.fixture
def folder(tmp_path, recordings):
    with open_(tmp_path, recordings) as session:
        q = session.queue
        session.accept_rest(q[0])
        session.move(q[1], "FDI", onset_s=0.123)
        session.accept(q[1], "FDI")
        session.unusable(q[2], "APB", ["clipped"])
        session.comment(q[7], "=1\u202e µ", channel="FDI")
        session.correct_cue(q[8], 0.0125)
        session.exclude("re-applied", recording="a", channel="APB")
        session.seal("v1", er.Rule(name="main", version=1))
        session.none_visible(q[9], "APB")
        session.undo()
        session.accept_rest(q[3])
    return tmp_path


def test_the_same_bytes_under_the_same_pins_and_processor(folder, recordings, counted):
    found = er.replay(folder, recordings, "v1")
    assert found.ok
    assert (found.same_bytes, found.same_packages, found.same_machine) == (True, True, True)
    assert (found.differences, found.notes) == ((), ())
    assert "same bytes: yes" in str(found)
    assert found.table["included"].any()
    assert er.replay(folder, iter(reversed(recordings)), "v1").same_bytes, "the order given does not matter"
    counted(f"replay: {len(found.table)} rows from recordings and logs, the same bytes twice")


def test_other_pins_are_told_and_the_rest_must_hold(folder, recordings, monkeypatch):
    monkeypatch.setattr(replaying, "installed", lambda: {"numpy": "9.9"})
    monkeypatch.setattr("emgreview.session.publishing.installed", lambda: {"numpy": "9.9"})
    found = er.replay(folder, recordings, "v1")
    assert (found.ok, found.same_bytes, found.same_packages) == (True, True, False)
    assert any(line.startswith("numpy was") and line.endswith("and is 9.9 here.") for line in found.differences)


def test_a_method_that_finds_another_mark_is_told(folder, recordings):
    found = er.replay(folder, recordings, "v1", detect=detect)
    assert (found.ok, found.same_decisions, found.same_bytes) == (False, False, False)
    assert any("onset_sample differs in" in line for line in found.differences)
    assert any("parameters" in line for line in found.differences)


def test_numbers_within_the_stated_digits_hold(folder, recordings):
    found = er.replay(folder, recordings, "v1")
    types = {name: ("number" if name == "onset_s" else "text") for name in ("onset_s", "trial")}
    for factor, same in ((1 + 1e-12, True), (1 + 1e-6, False)):
        differences = []
        other = found.table.assign(onset_s=found.table["onset_s"] * factor)
        assert replaying._compare(found.table, other, types, differences) == (True, same)
        assert bool(differences) != same


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda one: recording("a", seed=3, sub="1"), r"samples \(SHA-256\)"),
        (lambda one: recording("a", seed=2, n=5, sub="1"), "number of samples: reviewed 14000, given 12000"),
        (lambda one: recording("a", seed=2, sub="1", labels=("FDI", "ADM")), "labels: reviewed .*APB.*given .*ADM"),
        (lambda one: dataclasses.replace(one, rate_hz=2000.0), "sampling rate: reviewed 1000, given 2000"),
        (lambda one: recording("a", seed=2, sub="9"), "participant: reviewed 1, given 9"),
        (
            lambda one: dataclasses.replace(
                one, channels=tuple(dataclasses.replace(channel, delay_s=0.01) for channel in one.channels)
            ),
            r"delays of the EMG channels: reviewed \[0, 0\]",
        ),
        (
            lambda one: recording("z", seed=2, sub="1"),
            r"2 recordings \(a, b\), and 2 recordings \(b, z\) came; missing is a;",
        ),
    ],
    ids=["samples", "number of samples", "labels", "sampling rate", "participant", "delays", "name"],
)
def test_another_recording_is_refused_with_what_differs(folder, recordings, change, words, counted, request):
    with pytest.raises(LogError, match=words):
        er.replay(folder, [recordings[0], change(recordings[1])], "v1")
    counted(f"replay refused, because of other {request.node.callspec.id}, which is named")


def test_sealing_with_other_recordings_says_which_came_and_which_the_review_holds(folder):
    with pytest.raises(LogError, match=r"holds 2 recordings \(a, b\), and 1 recording \(z\) came; needed are all"):
        er.seal(folder, [recording("z", seed=2)], "v2", reviewer="r1")
    with pytest.raises(LogError, match=r"holds 2 recordings \(a, b\), and none came; needed are all"):
        er.seal(folder, [], "v2", reviewer="r1")
    for came in (None, ["a.edf"]):
        with pytest.raises(ParameterError, match="data came as"):
            er.seal(folder, came, "v2", reviewer="r1")


def test_cues_that_the_recording_does_not_hold_come_from_the_log(folder, recordings):
    bare = [one.with_markers([]) for one in recordings]
    found = er.replay(folder, bare, "v1")
    assert "6 of 6 cues 'go' of b are not in the recording" in found.notes[0]
    assert not found.same_bytes, "what stood beside the cues is missing"
    more = [one.with_markers([*one.markers, er.Marker(20, "go"), er.Marker(30, "warn")]) for one in recordings]
    again = er.replay(folder, more, "v1")
    assert again.same_bytes, "cues that were not reviewed do not matter"
    assert "1 of 7 cues 'go' of b as given were not cut for the review" in " ".join(again.notes)


def test_a_log_that_is_not_the_sealed_one_is_refused(folder, recordings):
    path = next((folder / "logs").rglob("b_reviewer-r1.jsonl"))
    path.write_bytes(path.read_bytes().replace(b'"clipped"', b'"clippeD"'))
    with pytest.raises(LogError, match="not the one that was sealed"):
        er.replay(folder, recordings, "v1")
    with pytest.raises(VersionError, match="no version"):
        er.replay(folder, recordings, "v7")


def test_from_a_dataset_of_files_on_a_clean_machine(tmp_path):
    study = er.write_demo(tmp_path / "study", participants=1, trials=4)
    data = er.read_dataset(study)
    trials = [er.cut_trials(one, cue="go", before_s=1.0, after_s=1.5) for one in data.recordings]
    with er.open_review(trials, tmp_path / "review", reviewer="r1", blind=True) as session:
        for trial in session.queue[:3]:
            session.accept_rest(trial)
        session.seal("v1")
        session.unblind()
        session.seal("v2")
    for version in ("v1", "v2"):
        assert er.replay(tmp_path / "review", study, version).same_bytes


def test_hidden_marks_and_narrowed_reviews_are_rebuilt_too(tmp_path, recordings):
    with open_(tmp_path, recordings) as session:
        a, b, c, *_ = session.queue
        session.note("hide", {"hide": [[a, "FDI"], [b, "FDI"]], "show_again": [[a, c]]})
        session.add(a, "FDI", onset_s=0.2)
        session.accept(c, "FDI")
        session.seal("v1")
    assert er.replay(tmp_path, recordings, "v1").same_bytes


def test_sealing_without_a_screen(folder, recordings):
    with pytest.raises(VersionError, match="exists already"):
        er.seal(folder, recordings, "v1")
    sealed = er.seal(folder, recordings, "v2")
    assert er.read_version(folder, "v2", expect=sealed.sha256)["reviewed"].sum() == 6
    assert er.verify(folder).ok
    assert str(er.diff(folder, "v1", "v2")) == "2 newly reviewed"
    assert er.replay(folder, recordings, "v2").same_bytes
    lines = [json.loads(line) for path in (folder / "logs").rglob("*.jsonl") for line in path.read_bytes().splitlines()]
    assert not {"change method", "continue log"} & {line["operation"] for line in lines}, "cut and found as before"
    with open_(folder, recordings[:1], reviewer="r2"):
        pass
    with pytest.raises(ParameterError, match="r1, r2"):
        er.seal(folder, recordings, "v3")


def test_a_log_that_does_not_say_how_trials_were_cut_is_refused(tmp_path, recordings):
    logs = tmp_path / "logs"
    logs.mkdir()
    stored = (__import__("pathlib").Path(__file__).parent / "files" / "log-1.jsonl").read_bytes()
    (logs / "sample_reviewer-r1.jsonl").write_bytes(stored)
    with pytest.raises(LogError, match="does not say how its trials were cut"):
        er.seal(tmp_path, recordings, "v1")


def test_an_adjudicated_version_is_rebuilt_from_all_three_logs(folder, recordings):
    with open_(folder, recordings, reviewer="r2") as session:
        for trial in session.queue:
            session.accept_rest(trial)
    trials = [
        er.cut_trials(one, cue="go", before_s=0.5, after_s=1.0, processing=er.Processing(low_hz=25, rest_s=(-0.4, 0)))
        for one in recordings
    ]
    with er.adjudicate(trials, folder, "r1", "r2", reviewer="r3", method="threshold") as session:
        for dispute, choice in zip(session.disputes(), itertools.cycle(["A", "B", "cannot be settled"])):
            session.settle(dispute.trial, dispute.channel, choice)
        session.seal("settled")
    with open_(folder, recordings) as session:  # what the first reviewer says later is not what was settled
        session.none_visible(session.queue[0], "FDI")
    found = er.replay(folder, recordings, "settled")
    assert found.ok
    assert found.same_bytes
    assert found.table["reviewed"].any()
    assert "channel: re-applied (one of two)" in set(found.table["excluded"])
    again = er.seal(folder, recordings, "once-more", reviewer="r3")
    assert er.read_version(folder, again.name)["reviewed"].any()


def test_parameters_and_a_change_in_mid_review_are_replayed(tmp_path, recordings):
    with open_(tmp_path, recordings, method="threshold", parameters={"k": 4.0, "envelope_hz": 40.0}) as session:
        session.accept_rest(session.queue[0])
        session.seal("v1")
        session.change_method("double-threshold", shortest_s=0.05)
        session.accept_rest(session.queue[1])
        session.seal("v2")
    for version in ("v1", "v2"):
        found = er.replay(tmp_path, recordings, version)
        assert (found.ok, found.same_bytes, found.differences) == (True, True, ()), version
    assert er.seal(tmp_path, recordings, "v3").name == "v3"
    lines = (tmp_path / "logs" / "sub-1" / "a_reviewer-r1.jsonl").read_text().splitlines()
    assert [json.loads(line)["operation"] for line in lines].count("change method") == 1, "sealed as it was detected"


def test_parameters_that_cannot_be_rebuilt_are_told():
    stored = {"method": "threshold", "parameters": {"k": 4, "run_s": None, "gone": 1}}
    method, parameters, lost = rebuilt(stored)
    assert (method, parameters, type(parameters["k"])) == ("threshold", {"k": 4.0}, float)
    assert ["run_s" in lost[0], "gone = 1" in lost[1]] == [True, True]


def test_a_method_of_ones_own_must_be_given_to_replay(tmp_path, recordings):
    with open_(tmp_path, recordings, method="mine", detect=detect) as session:
        session.accept_rest(session.queue[0])
        session.seal("v1")
    with pytest.raises(LogError, match="give that function as detect="):
        er.replay(tmp_path, recordings, "v1")
    assert er.replay(tmp_path, recordings, "v1", detect=detect).ok
