"""Copies of EDF and BDF, what is asked for, and folders that are whole or not there; then the shell."""

import dataclasses
import json
import os
import signal
import subprocess
import sys

import edfio
import numpy as np
import pytest
from converted import P01, SAID, read_again
from files_on_disk import Layout, Sig, decode, noise, write
from official_validator import errors_of

import emgreview as er
from emgreview.converting import signals
from emgreview.errors import ParameterError, ReadError


def source(tmp_path, *, bdf=False, **more) -> er.Recording:
    """A file with a channel of a quarter of the rate, odd limits, and an annotation."""
    bits = 24 if bdf else 16
    top = str((1 << bits - 1) - 1)
    limits = (f"-{int(top) + 1}", top)
    signals = [
        Sig(
            "EMG FCR",
            noise(1, 4000, bits),
            physical=("-3276.8", "3276.7"),
            digital=limits,
            prefilter="HP:20Hz LP:450Hz",
        ),
        Sig("EMG ECR", noise(2, 4000, bits), unit="mV", physical=("2.5", "-1.25"), digital=limits),
        Sig("ANGLE", noise(3, 1000, bits), unit="deg", physical=("0", "360"), digital=limits),
        *([Sig("Status", noise(4, 4000, bits), unit="Boolean", digital=limits)] if bdf else []),
    ]
    layout = Layout(bdf=bdf, reserved="BDF+C" if bdf else "EDF+C", **more)
    layout.annotations = [[f"+{n}\x14\x14".encode(), *([b"+2.5\x14go\x14"] if n == 2 else [])] for n in range(4)]
    return er.read(write(tmp_path / f"p01.{'bdf' if bdf else 'edf'}", signals, layout))


@pytest.mark.parametrize("bdf", [False, True])
def test_stored_numbers_and_limits_are_copied(tmp_path, bdf):
    rec = source(tmp_path, bdf=bdf)
    done = er.convert(rec, tmp_path / "out", people=P01, said=SAID)
    assert all(one.copied and one.largest_error == 0 for one in done.losses)
    (path,) = (one for one in (tmp_path / "out").rglob("*_emg.*df"))
    assert path.suffix == (".bdf" if bdf else ".edf")
    before = [one for one in decode(rec.source.file) if "Annotations" not in one[0]]
    assert decode(path) == before
    (again,) = read_again(tmp_path / "out")
    assert again.fingerprint.samples == rec.fingerprint.samples
    assert again.scales == rec.scales
    assert again.channels == rec.channels
    assert [(one.sample, one.source) for one in again.markers] == [(2500, "annotations")]
    assert errors_of(tmp_path / "out") == []
    if not bdf:  # another reader, which knows the format by itself
        other = edfio.read_edf(path)
        assert [one.digital.tolist() for one in other.signals] == [one[1] for one in before]


def test_chosen_channels_are_copied_alone(tmp_path):
    path = source(tmp_path).source.file
    rec = er.read(path, columns={"ANGLE": "HANDLE", "EMG ECR": "ECR"})
    er.convert(rec, tmp_path / "out", people=P01, said=SAID)
    (again,) = read_again(tmp_path / "out")
    assert again.labels == ("HANDLE", "ECR")
    np.testing.assert_array_equal(again.values(), rec.values())
    assert again.fingerprint.samples == rec.fingerprint.samples


def test_a_slow_channel_is_written_at_its_own_rate(tmp_path):
    """Read from a file and given a delay, so that its numbers are chosen anew."""
    rec = source(tmp_path)
    late = tuple(dataclasses.replace(one, delay_s=0.003 if one.label == "EMG ECR" else 0.0) for one in rec.channels)
    rec = dataclasses.replace(rec, channels=late)
    er.convert(rec, tmp_path / "out", people=P01, said=SAID)
    (again,) = read_again(tmp_path / "out")
    np.testing.assert_allclose(again.values(), rec.values(), rtol=0, atol=1e-3, equal_nan=True)
    assert again.channel("ANGLE").native_rate_hz == 250
    (path,) = (tmp_path / "out").rglob("*_emg.bdf")
    sizes = {one[0]: len(one[1]) for one in decode(path)}
    assert sizes["ANGLE"] * 4 == sizes["EMG FCR"]


# Asked for ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"people": None}, r"people does not say sub of 'p01'; task of 'p01'"),
        ({"people": {"p01": {"sub": "01"}}}, r"people does not say task of 'p01'"),
        ({"people": {"p02": {"sub": "01"}}}, r"no recording is called so"),
        ({"people": {"p01": {"sub": "0 1", "task": "press"}}}, r"allowed: letters a to z and digits"),
        ({"people": {"p01": {"sub": "01", "task": "press", "space": "x"}}}, r"BIDS allows of EMG: sub, ses, task"),
        ({"people": {"p01": {"sub": "01", "task": "press", "run": "b"}}}, r"a whole number"),
        ({"people": ["p01"]}, r"people came as a list"),
        ({"said": None}, r"said does not give EMGPlacementScheme .*; EMGReference"),
        ({"said": SAID | {"EMGPlacementScheme": "other"}}, r"allowed: 'Measured', 'ChannelSpecific' or 'Other'"),
        ({"said": SAID | {"EMGPlacementScheme": "Other"}}, r"EMGPlacementSchemeDescription"),
        ({"keep": "go"}, r"keep came as 'go'"),
        ({"scrub": "no"}, r"scrub"),
    ],
)
def test_what_nobody_said_is_asked_for_and_nothing_is_written(tmp_path, more, words):
    rec = er.Recording.from_array(np.ones((1, 100)), 1000, labels=["A"], name="p01")
    with pytest.raises(ParameterError, match=words):
        er.convert(rec, tmp_path / "new" / "out", **({"people": P01, "said": SAID} | more))
    assert list(tmp_path.iterdir()) == []


def test_recordings_may_come_one_by_one_and_by_names_that_differ(tmp_path):
    recs = [er.Recording.from_array(np.ones((1, 9)), 1000, labels=["A"], name=name) for name in ("p01", "p02", "p01")]
    people = P01 | {"p02": {"sub": "02", "task": "press"}}
    done = er.convert((rec for rec in recs[:2]), tmp_path / "out", people=people, said=SAID)
    assert list(done.names.values()) == ["sub-01_task-press", "sub-02_task-press"]
    with pytest.raises(ParameterError, match="several recordings of data are called 'p01'"):
        er.convert(recs, tmp_path / "again", people=people, said=SAID)


def test_what_is_no_recording_is_refused(tmp_path):
    with pytest.raises(ParameterError, match="data came as a str"):
        er.convert("study", tmp_path / "out")
    with pytest.raises(ParameterError, match="data holds a int"):
        er.identifying([3])


# Folders -----------------------------------------------------------------------------------------------------------


def test_only_a_new_or_empty_folder_is_taken(tmp_path):
    rec = er.Recording.from_array(np.ones((1, 100)), 1000, labels=["A"], name="p01")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine").write_text("mine")
    (tmp_path / "file").write_text("mine")
    (tmp_path / "empty").mkdir()
    for name in ("full", "file"):
        with pytest.raises(ParameterError, match="give a folder that is new or empty"):
            er.convert(rec, tmp_path / name, people=P01, said=SAID)
    er.convert(rec, tmp_path / "empty", people=P01, said=SAID)
    assert (tmp_path / "empty" / "participants.tsv").is_file()
    assert sorted(one.name for one in tmp_path.iterdir()) == ["empty", "file", "full"]


def test_where_nothing_can_be_converted_nothing_is_left(tmp_path):
    rec = er.Recording.from_array(np.full((1, 9), np.inf), 1000, labels=["A"], name="p01")
    with pytest.raises(ReadError, match="none of 1 recordings can be converted"):
        er.convert(rec, tmp_path / "out", people=P01, said=SAID)
    assert list(tmp_path.iterdir()) == []


SLOW = """
import sys, time, numpy as np, emgreview as er
rec = er.Recording.from_array(np.ones((1, 100)), 1000, labels=["A"], name="p01")
def wait(*_):
    print("written", flush=True)
    time.sleep(60)
er.convert(rec, sys.argv[1], people={"p01": {"sub": "01", "task": "press"}},
           said={"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"}, progress=wait)
"""


def test_a_conversion_that_is_killed_leaves_nothing_that_looks_whole(tmp_path):
    run = subprocess.Popen([sys.executable, "-c", SLOW, tmp_path / "out"], stdout=subprocess.PIPE, text=True)
    assert run.stdout.readline() == "written\n"
    os.kill(run.pid, signal.SIGKILL)
    run.wait()
    run.stdout.close()
    (left,) = tmp_path.iterdir()
    assert left.name.startswith(".out.")
    assert "unfinished" in (left / "dataset_description.json").read_text()
    assert not (left / "participants.tsv").exists()
    rec = er.Recording.from_array(np.ones((1, 100)), 1000, labels=["A"], name="p01")
    done = er.convert(rec, tmp_path / "out", people=P01, said=SAID)
    assert any(left.name in note for note in done.notes)


def test_a_file_that_is_not_what_was_written_is_found_out(tmp_path, monkeypatch):
    kept = signals.write

    def spoilt(rec, path, labels, head):
        written = kept(rec, path, labels, head)
        raw = bytearray(path.read_bytes())
        raw[-1] ^= 64
        path.write_bytes(raw)
        return written

    monkeypatch.setattr(signals, "write", spoilt)
    with pytest.raises(ReadError, match=r"is not its source at sample 3996"):
        er.convert(source(tmp_path), tmp_path / "out", people=P01, said=SAID)
    assert not (tmp_path / "out").exists()


# The shell ---------------------------------------------------------------------------------------------------------


SAY = ["--say", "EMGReference=bipolar", "--say", "EMGPlacementScheme=Measured"]


def test_convert_in_a_shell(run, tmp_path):
    path = source(tmp_path).source.file
    (tmp_path / "people.tsv").write_text("recording\tsub\ttask\trun\np01\t01\tpress\tn/a\n")
    people = ["--people", tmp_path / "people.tsv"]
    status, out, err = run("convert", path, tmp_path / "out", *people, *SAY, "--key", tmp_path / "key.json")
    assert status == 0, err
    assert "1 recording converted" in out
    assert "trial_ids" not in out
    assert json.loads((tmp_path / "key.json").read_text())["recordings"] == {"p01": "sub-01_task-press"}
    status, out, _ = run("convert", path, tmp_path / "two", *people, *SAY, "--json")
    values = json.loads(out)
    assert (status, values["recordings"], values["problems"]) == (0, {"p01": "sub-01_task-press"}, {})
    assert values["losses"][0]["copied"]
    status, _, err = run("convert", path, tmp_path / "two", *people, *SAY)
    assert (status, "new or empty" in err) == (1, True)
    status, _, err = run("convert", path, tmp_path / "three", *SAY)
    assert (status, "give --people TABLE.tsv" in err, "people=" in err) == (1, True, False)
    status, _, err = run("convert", path, tmp_path / "three", *people)
    assert (status, "give --say EMGPlacementScheme=" in err, "said" in err) == (1, True, False)
    status, _, err = run("convert", path)
    assert (status, "--list" in err) == (1, True)


def test_list_in_a_shell(run, tmp_path):
    path = source(tmp_path, fields={"patient": "H-1 F 02-MAY-1961 Orsolya_Quillfeather"}).source.file
    status, out, _ = run("convert", path, "--list")
    assert status == 0
    assert "header: patient identification" in out
    assert "Quillfeather" not in out
    assert "A machine cannot judge" in out
    status, out, _ = run("convert", path, "--list", "--json")
    assert {"where", "what", "shown", "becomes"} == set(json.loads(out)["traces"][0])


def test_a_folder_of_which_one_cannot_be_read(run, tmp_path):
    folder = tmp_path / "plain"
    folder.mkdir()
    source(folder)
    (folder / "p02.edf").write_bytes((folder / "p01.edf").read_bytes()[:-100])
    (tmp_path / "people.tsv").write_text("recording\tsub\ttask\np01\t01\tpress\np02\t02\tpress\n")
    status, out, _ = run("convert", folder, tmp_path / "out", "--people", tmp_path / "people.tsv", *SAY)
    assert status == 1
    assert "p02 is left out" in out
    assert errors_of(tmp_path / "out") == []


def test_one_task_for_all_and_columns_that_are_lost_are_told(tmp_path):
    """Of two people a condition stands often enough in one recording alone: the report says where it is not."""
    people = [
        er.Recording.from_array(
            np.arange(4000.0).reshape(1, -1), 1000, labels=["FCR"], name=f"sub-{who}",
            markers=[er.Marker(500 * n + 100, "go", "given", details={"grip": grip}) for n, grip in enumerate(grips)],
        )
        for who, grips in (("1", ["precision"] * 3 + ["power"] * 3), ("2", ["precision"] * 4 + ["power"] * 2))
    ]  # fmt: skip
    people = [dataclasses.replace(one, entities={"sub": one.name[4:]}) for one in people]
    for number, one in enumerate(people):
        with pytest.raises(ParameterError, match=r"one task for all is said by said=\{'TaskName'"):
            er.convert(one, tmp_path / f"out-{number}", said=SAID)
        done = er.convert(one, tmp_path / f"out-{number}", said=SAID | {"TaskName": "grasp it"})
        (back,) = read_again(tmp_path / f"out-{number}")
        assert back.entities["task"] == "graspit"
        assert all(("grip" in marker.details) == (number == 0) for marker in back.markers)
        told = [note for note in done.notes if "column 'grip'" in note]
        assert len(told) == number
        assert all("keep=['grip']" in note and "power" not in note for note in told)
