"""Whatever stands in place of a file, and whatever is in it: an error of the package at once, or the content.

Mutated inputs by the thousand, and by name those that went through once.
"""

import json
import os
import time
from pathlib import Path

import pytest
from mutating import CSV, TARGETS, attack, shared

import emgreview as er
from emgreview import cli
from emgreview.annotations.convention import read_convention
from emgreview.errors import FormatError, ParameterError, ReadError
from emgreview.reading.edf_annotations import markers_in

INPUTS = 2000
"""In all; the long campaign is ``tests/benchmarks/attack_files.py``."""


@pytest.mark.parametrize(("name", "count"), shared(INPUTS).items())
def test_mutated_files_raise_errors_of_the_package_alone_and_nothing_hangs(name, count, tmp_path, counted):
    found = attack(name, count, tmp_path)
    assert found.foreign == []
    assert found.hangs == []
    assert found.own > 0
    assert found.fine > 0, "a mutation that leaves the file readable is one, too"
    counted(f"mutated files, {name}: {found}")


def test_the_harness_finds_what_is_wrong(monkeypatch, tmp_path):
    def foreign(folder):
        raise KeyError("x")

    def slow(folder):
        time.sleep(9)

    monkeypatch.setattr("mutating.LONGEST_S", 0.05)
    monkeypatch.setitem(TARGETS, "none", TARGETS["rules"]._replace(looks={"foreign": foreign, "slow": slow}))
    found = attack("none", 12, tmp_path)
    assert len(found.foreign) + len(found.hangs) == found.inputs == 12
    assert found.foreign
    assert found.hangs
    assert found.foreign[0] == attack("none", 1, tmp_path, first=int(found.foreign[0].split()[1][:-1])).foreign[0]


@pytest.fixture
def study(tmp_path):
    for name, content in TARGETS["edf"].files().items():
        path = tmp_path / "study" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return tmp_path / "study"


def spoil(path, what):
    path.unlink(missing_ok=True)
    {
        "a folder": path.mkdir,
        "a pipe": lambda: os.mkfifo(path),
        "an endless device": lambda: path.symlink_to("/dev/zero"),
        "a link to itself": lambda: path.symlink_to(path.name),
        "a link to nothing": lambda: path.symlink_to("gone"),
    }[what]()


PLACES = ("a folder", "a pipe", "an endless device", "a link to itself", "a link to nothing")
STEM = "sub-01/emg/sub-01_task-x"


@pytest.mark.parametrize("what", PLACES)
@pytest.mark.parametrize("ending", ["_emg.edf", "_emg.json", "_channels.tsv", "_events.tsv"])
@pytest.mark.filterwarnings("ignore::emgreview.SignalWarning")
def test_a_dataset_goes_on_past_one_bad_recording_and_tells_it(study, what, ending, capsys):
    spoil(study / f"{STEM}{ending}", what)
    begun = time.monotonic()
    data = er.read_dataset(study)
    if what != "a folder" or ending != "_emg.edf":  # a folder of that name is no recording
        assert data.recordings.names == ("sub-01_task-x", "sub-02_task-x")
        with pytest.raises(ReadError):
            data.recordings["sub-01_task-x"]
        assert "sub-01_task-x" in data.problems()
        assert cli.run(["check", str(study)]) == 1
        assert "sub-01_task-x" in "".join(capsys.readouterr())
    assert [rec.name for rec in data.recordings] == ["sub-02_task-x"]
    assert time.monotonic() - begun < 8


@pytest.mark.parametrize("what", PLACES)
@pytest.mark.parametrize("name", ["participants.tsv", "dataset_description.json"])
def test_what_stands_in_place_of_a_file_of_the_dataset_is_told(study, what, name):
    spoil(study / name, what)
    with pytest.raises(ReadError, match=name):
        er.read_dataset(study)


@pytest.mark.parametrize("what", PLACES)
@pytest.mark.parametrize("name", ["x.edf", "x.csv", "rule.toml", "rule.json", "words.txt"])
def test_a_file_that_is_given_must_be_a_plain_one(tmp_path, what, name):
    path = tmp_path / name
    spoil(path, what)
    looks = {".edf": er.read, ".csv": lambda one: er.read(one, **CSV), ".txt": read_convention}
    with pytest.raises((ReadError, ParameterError), match=r"plain file|is not there|is a folder|symbolic links"):
        looks.get(path.suffix, er.Rule.read)(path)


def test_links_to_plain_files_are_followed_as_people_keep_data_elsewhere(study):
    path = study / f"{STEM}_emg.edf"
    path.rename(study / "kept")
    path.symlink_to(study / "kept")
    assert er.read(path).duration_s == 8


@pytest.mark.parametrize(
    "sidecar",
    [
        "[" * 50_000,
        '{"a": ' * 5000,
        '{"SamplingFrequency": ' + "9" * 5000 + "}",
        '{"PowerLineFrequency": 1e999}',
        "[]",
        "",
    ],
)
def test_a_sidecar_of_any_text_is_an_error_of_ours(study, sidecar):
    (study / f"{STEM}_emg.json").write_text(sidecar)
    with pytest.raises(FormatError):
        er.read(study / f"{STEM}_emg.edf")


def test_a_number_that_is_none_matters_only_where_it_is_asked_for(study):
    path = study / f"{STEM}_emg.json"
    known = json.loads(path.read_text())
    path.write_text(json.dumps(known | {"Weight": float("nan"), "Serial": 10**30, "RecordingDuration": float("inf")}))
    assert er.read(study / f"{STEM}_emg.edf").rate_hz == 200
    path.write_text(json.dumps(known | {"SamplingFrequency": float("nan")}))
    with pytest.raises(FormatError, match="SamplingFrequency 'NaN'"):
        er.read(study / f"{STEM}_emg.edf")


@pytest.mark.parametrize("cell", ["nan", "inf", "1_000", "1e999", "9" * 5000])
@pytest.mark.parametrize("column", ["sampling_frequency", "low_cutoff", "high_cutoff"])
def test_a_number_of_a_table_is_a_finite_one(study, column, cell):
    path = study / f"{STEM}_channels.tsv"
    names, first, *rest = path.read_text().split("\n")
    cells = first.split("\t")
    cells[names.split("\t").index(column)] = cell
    path.write_text("\n".join([names, "\t".join(cells), *rest]))
    with pytest.raises(FormatError, match=f"has {column} "):
        er.read(study / f"{STEM}_emg.edf")


def test_an_annotation_at_no_time_is_an_error_of_ours():
    for text in (b"+" + b"9" * 400 + b"\x14x\x14", b"+1\x15" + b"9" * 400 + b"\x14x\x14"):
        with pytest.raises(FormatError, match="no number of seconds"):
            markers_in(Path("x.edf"), [[text]], 1.0, 0.01, "")


@pytest.mark.filterwarnings("ignore::emgreview.SignalWarning")
def test_every_table_for_people_keeps_a_spreadsheet_from_running_text(study, tmp_path, capsys):
    """``detect`` wrote names as they came."""
    plain = tmp_path / "plain"
    plain.mkdir()
    (plain / "=x.edf").write_bytes((study / f"{STEM}_emg.edf").read_bytes().replace(b"FDI ", b"=1+1", 1))
    options = ["--cue", "go", "--before", "0.6", "--after", "0.6", "--band", "10", "90", "--out"]
    cli.run(["detect", str(plain), *options, str(tmp_path / "out.tsv")])
    said = capsys.readouterr()
    assert (tmp_path / "out.tsv").exists(), said
    cells = [cell for line in (tmp_path / "out.tsv").read_text().splitlines() for cell in line.split("\t")]
    assert "'=x" in cells
    assert "'=1+1" in cells
    assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]
