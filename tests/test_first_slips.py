"""What a newcomer types in the first hour: each slip is told in words that lead on."""

import re
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview import cli
from emgreview.annotations.convention import LONGEST, read_convention
from emgreview.cli.words import in_shell_words
from emgreview.errors import ParameterError, RateError, ReadError, UnknownNameError

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import recording

TEXT = ["--rate", "1000", "--unit", "mV"]
WINDOW = ["--cue", "go", "--before", "1", "--after", "1.5"]
PULSES = ["--pulses", "TRIGGER", "--level", "2.5", "--hold-off", "0.5"]
COLUMNS = ["time", "FCR", "ECR"]


@pytest.fixture
def run(capsys):
    """Run a command in this process: status, standard output, standard error."""

    def command(*arguments):
        try:
            status = cli.run([str(part) for part in arguments])
        except SystemExit as ended:
            status = ended.code
        return status, *capsys.readouterr()

    return command


def write(path, seed=1, step=0.001, order=(0, 1, 2), n=8000):
    rng = np.random.default_rng(seed)
    table = np.c_[np.arange(n) * step, rng.normal(0, 0.1, (n, 2))]
    np.savetxt(path, table[:, list(order)], delimiter=",", fmt="%.5f")
    return path


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return er.write_demo(tmp_path_factory.mktemp("demo") / "small", participants=2, trials=4)


@pytest.fixture
def sealed(study, tmp_path):
    trials = er.cut_all(er.read_dataset(study), cue="go", before_s=1.0, after_s=1.5, blind=True)
    with er.open_review(trials, tmp_path / "rev", reviewer="r1") as session:
        for trial in session.queue:
            session.accept(trial, "BB")
        session.seal("v1")
    return tmp_path / "rev"


def test_check_of_a_folder_tells_which_recordings_are_one(run, tmp_path):
    write(tmp_path / "p1.csv")
    write(tmp_path / "p2.csv", seed=2)
    shutil.copy(tmp_path / "p1.csv", tmp_path / "p3.csv")
    given = [tmp_path, *TEXT, "--columns", "time,FCR,ECR"]
    status, _, err = run("check", *given)
    assert status == 1
    assert "note: p1, p3 hold the same samples: one file under several names" in err
    assert "p1, p3 hold the same samples" in run("check", *given, "--json")[1]
    (tmp_path / "p3.csv").unlink()
    assert "hold the same samples" not in run("check", *given)[2]


def test_flat_recordings_are_not_called_the_same(run, tmp_path):
    for name in "ab":
        np.savetxt(tmp_path / f"{name}.csv", np.zeros((4000, 2)), delimiter=",")
    assert "the same samples" not in run("check", tmp_path, *TEXT, "--columns", "FCR,ECR")[2]


def test_a_dataset_is_checked_recording_by_recording(study):
    data = er.read_dataset(study)
    trials = er.cut_trials(data.recordings[0], cue="go", before_s=1.0, after_s=1.5)
    for came in (data, trials):
        with pytest.raises(ParameterError, match=r"for rec in data\.recordings: er\.check\(rec\)") as raised:
            er.check(came)
        assert "cut_all" not in str(raised.value)


def test_a_dataset_without_its_description_is_told_so(run, study, tmp_path):
    shutil.copytree(study, tmp_path / "nodd")
    (tmp_path / "nodd" / "dataset_description.json").unlink()
    status, _, err = run("check", tmp_path / "nodd")
    assert status == 1
    assert "its sub-folders (sub-01, sub-02) hold some, as in a BIDS dataset, and dataset_description.json is" in err
    (tmp_path / "nodd" / "dataset_description.json").write_text('{"Name": "my study", "BIDSVersion": "1.10.0"}')
    assert er.read_dataset(tmp_path / "nodd").recordings.names == er.read_dataset(study).recordings.names


def test_the_examples_of_parameters_in_the_help_are_taken(run, study):
    _, out, _ = run("detect", "--help")
    pairs = re.findall(r"(\w+=[\d.]+) of\s+([\w-]+)", out)
    assert [method for _, method in pairs] == ["ramp", "double-threshold"]
    for setting, method in pairs:
        assert run("detect", study, *WINDOW, "--method", method, "--set", setting)[0] == 0
    assert run("detect", study, *WINDOW, "--set", pairs[0][0])[0] == 0, "ramp is the default"


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_unblinding_what_is_not_blind_is_told_with_one_pair_of_dashes(run, study, tmp_path, monkeypatch):
    monkeypatch.setattr("emgreview.views.host.serve", lambda screen, **_: None)
    way = [study, *WINDOW, "--reviewer", "r1", "--folder", tmp_path / "r", "--unblind", "all are decided"]
    _, _, err = run("review", *way)
    assert "note: --unblind came, and no log" in err
    assert "---" not in err


@pytest.mark.parametrize("words", ["unblind came, and", "reference came as 3;", "rate_hz came as 1; unit= says 'mV'"])
def test_a_message_may_be_put_in_shell_words_twice(words):
    assert in_shell_words(in_shell_words(words)) == in_shell_words(words)


def test_a_convention_is_text_of_some_length(tmp_path):
    table = write(tmp_path / "plain.csv")
    with pytest.raises(ReadError, match=f"bytes; allowed: up to {LONGEST} letters"):
        read_convention(table)
    (tmp_path / "short.csv").write_text("0.1,0.2\n0.3,0.4\n")
    with pytest.raises(ParameterError, match="more digits than letters: a table of numbers"):
        read_convention(tmp_path / "short.csv")
    trials = er.cut_trials(recording("one", 1), cue="go", before_s=1.0, after_s=1.5)
    with pytest.raises(ParameterError, match=f"of {LONGEST + 1} letters came; allowed"):
        er.open_review(trials, tmp_path / "r", reviewer="r1", convention="x" * (LONGEST + 1))
    assert not (tmp_path / "r").exists()
    with er.open_review(trials, tmp_path / "r", reviewer="r1", convention="Onset: 2 SD for 30 ms.") as session:
        assert session.convention == "Onset: 2 SD for 30 ms."


@pytest.mark.parametrize(("rate_hz", "upper"), [(1000, "450"), (200, "90")])
def test_the_band_that_is_advised_is_one_that_the_rate_allows(run, tmp_path, rate_hz, upper):
    write(tmp_path / "p.csv", step=1 / rate_hz)
    given = [tmp_path / "p.csv", "--rate", rate_hz, "--unit", "mV", "--columns", "time,FCR,TRIGGER"]
    status, _, err = run("detect", *given, *WINDOW, "--pulses", "TRIGGER", "--level", "0.2", "--hold-off", "0.5")
    if rate_hz == 1000:
        way = [*WINDOW, "--pulses", "TRIGGER", "--level", "0.2", "--hold-off", "0.5"]
        status, _, err = run("detect", *given, *way, "--band", "20", "600")
    assert status == 1
    assert f"(--band 20 {upper}, for example)" in err


def test_a_time_column_in_milliseconds_or_in_another_place_is_told(run, tmp_path):
    how = {"rate_hz": 1000.0, "unit": "mV", "columns": COLUMNS}
    in_ms = write(tmp_path / "ms.csv", step=1.0)
    with pytest.raises(RateError, match="steps of 1, which fits rate_hz=1000 in milliseconds; it must hold seconds"):
        er.read(in_ms, **how)
    with pytest.raises(RateError, match="column 1 was named 'time', and does not rise"):
        er.read(write(tmp_path / "order.csv", order=(1, 2, 0)), **how)
    given = [*TEXT, "--columns", "time,FCR,ECR"]
    assert "leave it out: - for it in --columns." in run("check", in_ms, *given)[2]
    assert "correct the order of --columns." in run("check", tmp_path / "order.csv", *given)[2]
    status, out, err = run("check", in_ms, "--rate", "1", *given[2:])
    assert status == 1
    assert "The rate was told as 1 Hz, at which no EMG can be recorded" in out + err


def test_no_participant_in_a_plain_folder_is_told_blind_as_open(tmp_path):
    trials = er.cut_trials(recording("one", 1), cue="go", before_s=1.0, after_s=1.5, blind=True)
    for blind in (False, True):
        if blind:
            with pytest.warns(er.SignalWarning, match="A plain folder does not say"):
                session = er.open_review(trials, tmp_path / "blind", reviewer="r1", blind=True)
        else:
            session = er.open_review(trials, tmp_path / "open", reviewer="r1")
        with session, pytest.raises(UnknownNameError) as raised:
            session.exclude("ill", participant="01")
        assert "there are: none. No recording names its participant: a plain folder does not" in str(raised.value)


def test_a_marker_or_channel_that_is_nowhere_is_refused_by_measure(run, study, sealed):
    way = ["measure", study, *WINDOW, "--folder", sealed, "--version", "v1"]
    status, _, err = run(*way, "--response", "respnse")
    assert status == 1
    assert "no marker is called 'respnse'" in err
    assert "Did you mean 'response'?" in err
    status, _, err = run(*way, "--normalise", "task maximum", "--reference", "BC=100")
    assert status == 1
    assert "no EMG channel is called 'BC'; there are: " in err
    assert run(*way, "--response", "go")[0] == 0


def test_a_table_is_not_written_as_a_workbook(run, study, tmp_path):
    out = tmp_path / "x.xlsx"
    status, _, err = run("detect", study, *WINDOW, "--out", out)
    assert (status, out.exists()) == (1, False)
    assert "what is written is text, tab-separated, and no .xlsx file" in err
    assert "call it x.tsv" in err
    assert "x.csv is written tab-separated" in run("detect", study, *WINDOW, "--out", out.with_suffix(".csv"))[2]
    assert "tab-separated" not in run("detect", study, *WINDOW, "--out", out.with_suffix(".tsv"))[2]


def test_verify_of_a_folder_that_is_missing_says_so(run, tmp_path):
    status, out, _ = run("verify", tmp_path / "revv")
    assert status == 1
    assert "revv does not exist; a review is a folder that holds 'logs'" in out
    (problem,) = er.verify(write(tmp_path / "a.csv")).problems
    assert "a.csv is a file" in problem


def test_a_path_that_is_nearly_there_is_proposed(run, study):
    assert "did you mean small; give" in run("check", study.with_name("smal"))[2]
    with pytest.raises(ReadError, match="did you mean small; give"):
        er.read_dataset(study.with_name("smal"))


def test_a_blind_review_of_a_plain_folder_says_once_that_it_names_nobody(run, tmp_path, monkeypatch):
    monkeypatch.setattr("emgreview.views.host.serve", lambda screen, **_: None)
    (tmp_path / "csv").mkdir()
    rng, n = np.random.default_rng(1), 20_000
    trigger = np.zeros(n)
    for at in range(3000, n - 3000, 4000):
        trigger[at : at + 50] = 5
    np.savetxt(tmp_path / "csv" / "p1.csv", np.c_[np.arange(n) / 1000, rng.normal(0, 0.1, n), trigger], delimiter=",")
    given = ["--rate", "1000", "--unit", "mV,V", "--columns", "time,FCR,TRIGGER", *WINDOW, *PULSES]
    _, _, err = run("review", tmp_path / "csv", *given, "--reviewer", "r1", "--folder", tmp_path / "r", "--blind")
    assert err.count("A plain folder does not say who was recorded") == 1
