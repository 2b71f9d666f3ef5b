"""``check`` with cues, ``check --watch`` below a folder, and ``delay``: the same as in Python, and every slip told."""

import json
import os
import shutil

import numpy as np
import own_studies
import pytest

import emgreview as er
from emgreview import cli
from emgreview.cli import watching
from emgreview.cli.watching import SETTLED, Newcomers


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Two people, ten trials, and test contractions, which have other markers."""
    return er.write_demo(tmp_path_factory.mktemp("check") / "study", participants=2, trials=10, contractions=True)


def turns(study):
    return study / "sub-02" / "emg" / "sub-02_task-turnhandle_emg.bdf"


def test_check_says_of_cues_what_python_says(run, study):
    """The notes of er.verdicts, word for word, for a recording with heart beats and one cue too few."""
    rec = er.read_dataset(study).recordings["sub-02_task-turnhandle"]
    seen = er.verdicts(rec, cue="go", expect=11, search_s=(0.05, 0.6))
    how = ["--cue", "go", "--expect", "11", "--search", "0.05", "0.6"]
    status, out, _ = run("check", study, *how, "--json")
    report = next(one for one in json.loads(out) if one["recording"] == rec.name)
    assert status == 1
    assert report["cues"] | {"notes": None} == {
        "cue": "go",
        "found": 10,
        "expected": 11,
        "search_s": [0.05, 0.6],
        "notes": None,
    }
    assert report["cues"]["notes"] == [note for note in seen.notes if note in report["cues"]["notes"]]
    assert any("11 cues 'go' were expected and 10 are there" in note for note in report["cues"]["notes"])
    assert any("a heart beat was seen in" in note and "0.05 to 0.6 s" in note for note in report["cues"]["notes"])
    text = run("check", study, *how)[1]
    assert "cues 'go': 10, expected 11; searched 0.05 to 0.6 s from each" in text
    assert all(note in text for note in report["cues"]["notes"])


def test_a_recording_without_the_cue_is_checked_all_the_same_and_told(run, study):
    _, out, _ = run("check", study, "--cue", "go", "--json")
    reports = {one["recording"]: one for one in json.loads(out)}
    bare = reports["sub-01_task-contractions"]
    assert len(bare["channels"]) == 6
    assert bare["cues"]["found"] == 0
    assert "No marker is called 'go'" in bare["cues"]["notes"][0]
    assert json.loads(run("check", study, "--json")[1])[0]["cues"] is None, "nobody asked"


def test_what_was_expected_decides_the_status(run, tmp_path):
    """A sound recording: fine with as many cues as there are, not fine with another number."""
    path = own_studies.beeps(tmp_path / "beeps")
    plain = run("check", path)[0]
    assert run("check", path, "--cue", "beep", "--expect", "8", "--search", "-0.2", "-0.1")[0] == plain
    assert run("check", path, "--cue", "beep", "--expect", "9")[0] == 1


def test_the_picture_tells_of_the_cues_too(run, study, tmp_path):
    page = tmp_path / "check.html"
    run("check", study, "--cue", "go", "--expect", "11", "--picture", page)
    assert "11 cues" in page.read_text("utf-8")


def test_cues_found_in_a_channel_need_no_name(run, study):
    pulses = ["--pulses", "LIGHT", "--level", "2.1", "--hold-off", "1"]
    path = turns(study)
    report = json.loads(run("check", path, *pulses, "--expect", "10", "--json")[1])[0]
    assert (report["cues"]["cue"], report["cues"]["found"]) == ("cue", 10)
    report = json.loads(run("check", path, *pulses, "--cue", "green", "--json")[1])[0]
    assert (report["cues"]["cue"], report["cues"]["found"], report["markers"]["green"]) == ("green", 10, 10)
    assert json.loads(run("check", path, *pulses, "--json")[1])[0]["markers"]["cue"] == 10


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--expect", "40"], "--expect came without --cue; it counts cues; name the cue: --cue go"),
        (["--search", "0", "1"], "--search came without --cue"),
        (["--cue", "go", "--expect", "-1"], "--expect came as -1"),
        (["--cue", "go", "--search", "0.5", "0.1"], "--search came as [0.5, 0.1]; allowed: START and STOP in seconds"),
        (["--cue", "go", "--search", "0", "500"], "if milliseconds were given"),
        (["--cue", "goo"], "no marker is called 'goo'"),
    ],
)
def test_slips_in_what_is_said_of_cues(run, study, arguments, words):
    status, out, err = run("check", study, *arguments)
    assert (status, out) == (1, "")
    assert words in err
    assert "_s" not in err.split("milliseconds")[0]
    assert err.splitlines()[-1].startswith("emgreview: ")


# Beside the recording --------------------------------------------------------------------------------------------


def watched(monkeypatch, turns_of):
    """A watch whose pauses do ``turns_of[n]()`` and that is ended by the keyboard after the last."""
    turn = iter(range(max(turns_of) + 8))

    def pause(_):
        now = next(turn, None)
        if now is None:
            raise KeyboardInterrupt
        turns_of.get(now, lambda: None)()

    monkeypatch.setattr(watching, "pause", pause)


def rows(seed):
    return "".join(f"{value:.4f}\n" for value in np.random.default_rng(seed).standard_normal(6000) * 3)


HOW = ["--rate", "2000", "--unit", "uV", "--columns", "FDI"]


def test_files_in_subfolders_appear_too(run, tmp_path, monkeypatch):
    """Also in a subfolder that comes later; hidden ones and links to folders are passed over."""
    (tmp_path / "day 1").mkdir()
    (tmp_path / "day 1" / "old.csv").write_text(rows(0))
    elsewhere = tmp_path.parent / f"{tmp_path.name}-elsewhere"
    elsewhere.mkdir()

    def appear():
        (tmp_path / "day 1" / "a.csv").write_text(rows(1))
        (tmp_path / "day 2" / "left").mkdir(parents=True)
        (tmp_path / "day 2" / "left" / "a.csv").write_text(rows(2))
        (tmp_path / ".hidden").mkdir()
        (tmp_path / ".hidden" / "c.csv").write_text(rows(3))
        (elsewhere / "d.csv").write_text(rows(4))
        (tmp_path / "link").symlink_to(elsewhere, target_is_directory=True)
        (tmp_path / "folder.csv").mkdir()

    watched(monkeypatch, {1: appear})
    _, out, err = run("check", tmp_path, "--watch", "--json", *HOW)
    reports = [json.loads(line) for line in out.splitlines()]
    assert [one["file"] for one in reports] == ["day 1/a.csv", "day 2/left/a.csv"]
    assert all(one["channels"] for one in reports)
    assert "1 files are there already" in err


def test_a_subfolder_that_nobody_may_look_at_is_told_once(run, tmp_path, monkeypatch):
    closed, inside = tmp_path / "closed", watching.inside
    closed.mkdir()

    def listed(place):
        if place == closed:
            raise watching.ReadError(f"{place} cannot be listed")
        return inside(place)

    monkeypatch.setattr(watching, "inside", listed)
    watched(monkeypatch, {1: lambda: (tmp_path / "a.csv").write_text(rows(1))})
    status, out, err = run("check", tmp_path, "--watch", "--json", *HOW)
    assert status == 1
    assert err.count("closed cannot be listed") == 1
    assert len(out.splitlines()) == 1, "the others go on"


def test_newcomers_of_a_subfolder_wait_until_they_have_stopped_growing(tmp_path):
    newcomers = Newcomers(tmp_path)
    path = tmp_path / "deep" / "down" / "now.csv"
    path.parent.mkdir(parents=True)
    for length in range(1, 4):
        path.write_text("1\n" * length)
        assert newcomers.ready() == []
    assert [newcomers.ready() for _ in range(SETTLED)] == [[]] * (SETTLED - 1) + [[path]]


def test_a_file_of_a_dataset_is_checked_as_its_recording(run, study, tmp_path, monkeypatch):
    """With the units, markers and notes of its sidecars, which are no recordings themselves."""
    folder = tmp_path / "study"
    shutil.copytree(study, folder, ignore=shutil.ignore_patterns("sub-02"))
    new = folder / "sub-02" / "emg"

    def appear():
        shutil.copytree(study / "sub-02", folder / "sub-02")

    watched(monkeypatch, {1: appear})
    status, out, err = run("check", folder, "--watch", "--cue", "go", "--expect", "10", "--json")
    reports = {one["recording"]: one for one in map(json.loads, out.splitlines())}
    assert set(reports) == {"sub-02_task-contractions", "sub-02_task-turnhandle"}
    turned = reports["sub-02_task-turnhandle"]
    assert (turned["file"], turned["cues"]["found"]) == ("sub-02/emg/sub-02_task-turnhandle_emg.bdf", 10)
    assert turned["stated_mains_hz"] == 50
    assert reports["sub-02_task-contractions"]["cues"]["found"] == 0, "checked, and told"
    assert status == 1
    assert "events.tsv" not in err
    assert new.is_dir()


def test_a_file_of_a_description_is_checked_as_it_says(run, tmp_path, monkeypatch):
    path = own_studies.beeps(tmp_path / "beeps")
    folder, kept = path.parent, tmp_path / "kept.csv"
    (folder / "person2_lift.csv").rename(kept)

    def appear():
        shutil.copy(kept, folder / "person2_lift.csv")
        (folder / "other.csv").write_text(rows(1))

    watched(monkeypatch, {1: appear})
    status, out, err = run("check", path, "--watch", "--cue", "beep", "--json")
    reports = [json.loads(line) for line in out.splitlines()]
    assert [(one["recording"], one["file"]) for one in reports] == [("sub-2_task-lift", "person2_lift.csv")]
    assert reports[0]["cues"]["found"] == 8
    assert "other.csv belongs to no recording of" in err
    assert status == 1


def test_a_description_that_is_wrong_is_told_before_anybody_waits(run, tmp_path):
    path = tmp_path / "study.toml"
    path.write_text("nonsense")
    status, _, err = run("check", path, "--watch")
    assert status == 1
    assert "study.toml" in err
    assert "End with Ctrl-C" not in err


def test_watch_tells_what_is_wrong_with_pulses_before_anybody_waits(run, tmp_path):
    status, _, err = run("check", tmp_path, "--watch", "--pulses", "LIGHT")
    assert status == 1
    assert "--pulses LIGHT came without --level" in err


# Delays ----------------------------------------------------------------------------------------------------------


def late(folder, delays_ms, name="late"):
    """A recording as a dataset whose light comes so much later than each marker."""
    at = [2000 + 4000 * n for n in range(len(delays_ms))]
    x = np.zeros((2, at[-1] + 3000))
    x[0] = np.random.default_rng(0).normal(0, 5, x.shape[1])
    for start, delay_ms in zip(at, delays_ms, strict=True):
        if delay_ms is not None:
            x[1, start + delay_ms : start + delay_ms + 200] = 1000.0
    rec = er.Recording.from_array(x, 1000, labels=["FDI", "LIGHT"], name=name, markers=[(n, "go") for n in at])
    said = {"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"}
    er.convert(rec, folder, people={name: {"sub": "01", "task": "press"}}, said=said)
    return folder


DELAY = ["--channel", "LIGHT", "--cue", "go", "--level", "500"]


@pytest.mark.filterwarnings("ignore::emgreview.SignalWarning")
def test_delay_measures_what_was_planted(run, tmp_path):
    folder = late(tmp_path / "late", [30] * 6)
    status, out, _ = run("delay", folder, *DELAY, "--json")
    [found] = json.loads(out)["recordings"]
    assert status == 0
    assert found["median_s"] == pytest.approx(0.03)
    assert (found["seen"], found["cues"], found["constant"]) == (6, 6, True)
    status, out, _ = run("delay", folder, *DELAY)
    assert "6 of 6" in out
    assert "delay_ms = 30" in out
    assert "rec =" not in out, "that is Python's"


@pytest.mark.filterwarnings("ignore::emgreview.SignalWarning")
@pytest.mark.parametrize(
    ("delays_ms", "words"), [([5, 20, 40, 60, 80, 100], "not constant"), ([30] * 5 + [None], "1 of 6")]
)
def test_a_delay_that_is_no_constant_is_in_the_status(run, tmp_path, delays_ms, words):
    folder = late(tmp_path / "late", delays_ms)
    status, out, _ = run("delay", folder, *DELAY, "--json")
    assert status == 1
    assert any(words in note for note in json.loads(out)["recordings"][0]["notes"])
    assert "er.with_cues" not in out


@pytest.mark.filterwarnings("ignore::emgreview.SignalWarning")
@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"--channel": "LAMP"}, "no channel is called 'LAMP'"),
        ({"--cue": "stop"}, "no marker is called 'stop'"),
        ({"--near": "200"}, "--near came as 200"),
        ({"--near": "0.01"}, "choose --level, --edge or --near anew"),
    ],
)
def test_slips_of_delay(run, tmp_path, change, words):
    given = dict(zip(DELAY[::2], DELAY[1::2], strict=True)) | change
    status, _, err = run("delay", late(tmp_path / "late", [30] * 6), *(part for pair in given.items() for part in pair))
    assert status == 1
    assert words in err
    assert "within_s" not in err


def test_delay_names_what_is_missing(capsys):
    with pytest.raises(SystemExit) as ended:
        cli.run(["delay", f"x{os.sep}y"])
    assert ended.value.code == 2
    assert "--channel, --cue, --level" in capsys.readouterr().err
