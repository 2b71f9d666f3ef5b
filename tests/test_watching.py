"""Files are checked once they have stopped growing, and what cannot be read stops nothing."""

import json

import numpy as np
import pytest

from emgreview import cli
from emgreview.cli import watching
from emgreview.cli.watching import SETTLED, Newcomers

ROWS = [f"{value:.4f}\n" for value in np.random.default_rng(0).standard_normal(6000) * 3]


def test_a_growing_file_waits_and_a_changed_one_comes_again(tmp_path):
    (tmp_path / "before.csv").write_text("1\n")
    newcomers = Newcomers(tmp_path)
    path = tmp_path / "now.csv"
    for length in range(1, 5):
        path.write_text("1\n" * length)
        assert newcomers.ready() == []
    assert [newcomers.ready() for _ in range(SETTLED + 2)] == [[]] * (SETTLED - 1) + [[path]] + [[]] * 2
    (tmp_path / "note.docx").write_text("no recording")
    path.write_text("1\n" * 9)
    assert [found for _ in range(SETTLED + 1) for found in newcomers.ready()] == [path]


def test_watch_tells_each_new_file_as_a_line_of_json_and_ends_with_ctrl_c(tmp_path, monkeypatch, capsys):
    turns = iter(range(20))

    def pause(_):
        turn = next(turns)
        if turn < 3:
            with (tmp_path / "a.csv").open("a") as stream:
                stream.writelines(ROWS[turn * 2000 : (turn + 1) * 2000])
        if turn == 3:
            (tmp_path / "b.edf").write_bytes(b"no recording")
        if turn == 12:
            raise KeyboardInterrupt

    monkeypatch.setattr(watching, "pause", pause)
    how = ["--rate", "2000", "--unit", "uV", "--columns", "FDI"]
    status = cli.run(["check", str(tmp_path), "--watch", "--json", *how])
    out, err = capsys.readouterr()
    reports = [json.loads(line) for line in out.splitlines()]
    by_name = {report["recording"]: report for report in reports}
    assert len(reports) == 2
    assert by_name["a"]["channels"][0]["label"] == "FDI"
    assert by_name["b.edf"]["problem"]
    assert "b.edf" in err
    assert status == 1
    assert (tmp_path / "a.csv").read_text() == "".join(ROWS), "never changed"


def test_watch_needs_a_folder(tmp_path, capsys):
    path = tmp_path / "a.csv"
    path.write_text("1\n")
    assert cli.run(["check", str(path), "--watch"]) == 1
    assert "allowed: a folder" in capsys.readouterr().err


@pytest.mark.parametrize("label", ["FDI", "<i>x"])
def test_check_writes_a_picture_once(tmp_path, capsys, label):
    path, picture = tmp_path / "a.csv", tmp_path / "check.html"
    path.write_text("".join(ROWS))
    how = ["check", str(path), "--rate", "2000", "--unit", "uV", "--columns", label, "--picture", str(picture)]
    cli.run(how)
    page = picture.read_text("utf-8")
    assert "<svg" in page
    assert "<i>x" not in page
    capsys.readouterr()
    assert cli.run(how) == 1
    assert "exists already" in capsys.readouterr().err
