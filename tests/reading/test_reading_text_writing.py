"""How texts write numbers, dates and names: marks of thousands, D exponents, day and month, a name twice. Numbers are
held against those that were written, and against pandas with its own arguments for marks of thousands."""

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest

import emgreview as er
from emgreview.cli import run
from emgreview.errors import FormatError, ParameterError, SignalWarning
from emgreview.reading.dates import orders_of
from emgreview.reading.text_numbers import Plainly

N = 300
X = np.round(np.random.default_rng(8).normal(0, 9000, (N, 2)), 3)
MV = {"unit": "mV"}


def marked(value: float, mark: str, decimal: str) -> str:
    return f"{value:,.3f}".replace(",", "_").replace(".", decimal).replace("_", mark)


MARKS = [(".", ","), (",", "."), ("'", "."), ("’", "."), ("\u202f", ",")]
WRITINGS = [
    (separator, mark, decimal)
    for separator in (";", "\t", ",", "  ")
    for mark, decimal in MARKS
    if decimal != separator and not (mark.isspace() and separator == "  ")
]


@pytest.mark.parametrize(("separator", "mark", "decimal"), WRITINGS)
def test_marks_of_thousands_are_seen_where_nothing_else_fits_and_read_as_written(tmp_path, separator, mark, decimal):
    quote = '"' if separator == mark else ""
    rows = [separator.join(f"{quote}{marked(v, mark, decimal)}{quote}" for v in row) for row in X]
    path = tmp_path / "p01.txt"
    path.write_text(separator.join(("FCR [mV]", "ECR [mV]")) + "\n" + "\n".join(rows) + "\n", encoding="utf-8")
    if separator == "  ":
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    seen = er.look(path)
    assert seen.how["thousands"] == mark
    assert f"{mark!r} marks thousands" in str(seen)
    how = dict(seen.how) | {"rate_hz": 1000} | MV
    how |= {"columns": ["FCR", "ECR"]} if separator == "  " else {}
    rec = er.read(path, **how)
    np.testing.assert_array_equal(rec.source.digital(0, N, [0, 1]), X.T)
    if separator != "  ":
        theirs = pd.read_csv(path, sep=separator, thousands=mark, decimal=decimal, encoding="utf-8", engine="python")
        np.testing.assert_allclose(theirs.to_numpy().T, rec.source.digital(0, N, [0, 1]), rtol=1e-12)


@pytest.mark.parametrize("cell", ["1.2,5", "1.2345,6", "12.34", "1.234.56,7", ".123,4", "1..234"])
def test_a_mark_that_does_not_stand_before_three_digits_is_no_number(tmp_path, cell):
    path = tmp_path / "a.csv"
    path.write_text(f"1.234,5;1\n{cell};2\n")
    how = {"rate_hz": 1000, "columns": ["FCR", "ECR"], "separator": ";", "decimal": ","} | MV
    with pytest.raises(FormatError, match=r"line 2 .*column 1 holds"):
        er.read(path, thousands=".", **how)


def test_one_mark_alone_is_never_taken_for_one_of_thousands(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("".join(f"1.{n:03d};2.{n:03d}\n" for n in range(N)))
    seen = er.look(path)
    assert "thousands" not in seen.how
    rec = er.read(path, **(dict(seen.how) | {"rate_hz": 1000, "columns": ["FCR", "ECR"]} | MV))
    assert rec.source.digital(5, 6, [0])[0, 0] == 1.005
    told = er.read(
        path, rate_hz=1000, columns=["FCR", "ECR"], separator=";", decimal=",", thousands=".", **MV
    )  # and the same file where it was told
    assert told.source.digital(5, 6, [0])[0, 0] == 1005


def test_marks_that_were_not_told_are_named(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("0,5;1\n1.234,5;2\n")
    how = {"rate_hz": 1000, "columns": ["FCR", "ECR"], "separator": ";", "decimal": ","} | MV
    with pytest.raises(FormatError, match=r"holds '1.234,5': where '\.' marks thousands, say thousands='\.'"):
        er.read(path, **how)


@pytest.mark.parametrize(
    "given",
    [
        {"thousands": "."},
        {"thousands": ".", "separator": ";"},
        {"thousands": "x", "separator": ";"},
        {"thousands": " ", "separator": "blanks"},
        {"exponent": "F"},
    ],
)
def test_a_way_of_writing_that_makes_no_sense_is_refused(tmp_path, given):
    (tmp_path / "a.csv").write_text("1;2\n" * 5)
    with pytest.raises(ParameterError, match=r"(thousands|exponent) came as"):
        er.read(tmp_path / "a.csv", rate_hz=1000, columns=["FCR", "ECR"], **MV, **given)


def test_numbers_are_the_same_wherever_a_text_is_cut():
    class Slow:
        def __init__(self, text: str) -> None:
            self.text = text

        def read(self, _: int = -1) -> str:
            piece, self.text = self.text[:3], self.text[3:]
            return piece

    written = "1.234,5D-03;24.03.2026 14:05:06,123\n-12.345.678;2D2\n"
    for size in (1, 2, 7, 1000):
        text, read = Plainly(Slow(written), ";", ",", ".", "D"), []
        while piece := text.read(size):
            read.append(piece)
        assert "".join(read) == "1234,5e-03;24.03.2026 14:05:06,123\n-12345678;2e2\n"


@pytest.mark.parametrize("letter", ["D", "d"])
@pytest.mark.parametrize("separator", ["   ", ";"])
def test_exponents_as_fortran_writes_them(tmp_path, letter, separator):
    path = tmp_path / "p01.dat.txt"
    path.write_text("".join(separator.join(f"{v:.8E}".replace("E", letter) for v in row) + "\n" for row in X))
    seen = er.look(path)
    assert seen.how["exponent"] == "D"
    assert "as Fortran writes them" in str(seen)
    how = dict(seen.how) | {"rate_hz": 1000, "columns": ["FCR", "ECR"]} | MV
    np.testing.assert_array_equal(er.read(path, **how).source.digital(0, N, [0, 1]), X.T)
    del how["exponent"]
    with pytest.raises(FormatError, match="say exponent='D'"):
        er.read(path, **how)


FORMS = {
    "dmy": ["%d.%m.%Y %H:%M:%S,{}", "%d/%m/%Y %H:%M:%S.{}", "%d-%m-%Y %H:%M:%S:{}"],
    "mdy": ["%m/%d/%Y %I:%M:%S.{} %p", "%m/%d/%Y, %H:%M:%S.{}"],
    "ymd": ["%Y/%m/%d %H:%M:%S.{}"],
    "iso": ["%Y-%m-%dT%H:%M:%S.{}"],
}


@pytest.mark.parametrize(("order", "form"), [(order, form) for order, forms in FORMS.items() for form in forms])
@pytest.mark.parametrize("begin", [datetime(2026, 3, 24, 23, 59, 59, 700_000), datetime(2026, 4, 3, 11, 59, 59)])
def test_dates_in_each_order_give_the_rate_and_either_is_asked_for(tmp_path, order, form, begin):
    moments = [begin + timedelta(milliseconds=2 * n) for n in range(N)]
    times = [at.strftime(form.replace("{}", f"{at.microsecond // 1000:03d}")) for at in moments]
    path = tmp_path / "p01.txt"
    lines = [f"{at}\t{a}\t{b}" for at, (a, b) in zip(times, X, strict=True)]
    path.write_text("time\tFCR\tECR\n" + "\n".join(lines) + "\n")
    seen = er.look(path)
    assert seen.how["rate_hz"] == 500
    doubtful = begin.day <= 12 and order in ("dmy", "mdy")
    assert seen.how["time_unit"] == ("?" if doubtful else order)
    if doubtful:
        assert "'dmy' (day, month and year), or 'mdy' (month, day and year)" in seen.asks["time_unit"]
        with pytest.raises(ParameterError, match="time_unit came as"):
            er.read(path, **(dict(seen.how) | MV))
    rec = er.read(path, **(dict(seen.how) | MV | {"time_unit": order}))
    np.testing.assert_array_equal(rec.source.digital(0, N, [0, 1]), X.T)
    assert rec.notes == (), "nothing jitters"
    path.write_text("time\tFCR\tECR\n" + "\n".join([*lines[:99], "24.13.2026 9:00" + lines[99][8:], *lines[100:]]))
    with pytest.raises(FormatError, match=rf"line 101 has the time .* with time_unit='{order}'"):
        er.read(path, **(dict(seen.how) | MV | {"time_unit": order}))


def test_an_order_is_one_in_which_time_does_not_go_back():
    assert orders_of(["03/04/2026 1:00:00", "04/04/2026 1:00:00"]) == ["dmy", "mdy"]
    assert orders_of(["03/04/2026 1:00:00", "02/05/2026 1:00:00"]) == ["dmy"]
    assert orders_of(["03/31/2026 1:00:00", "04/01/2026 1:00:00"]) == ["mdy"]
    assert orders_of(["03/31/26 1:00:00"]) == []
    assert orders_of(["tone"]) == []


def test_a_name_that_stands_twice_has_its_number_and_is_chosen_by_it(tmp_path):
    path = tmp_path / "p01.csv"
    y = np.column_stack([X, X[:, 0] + 1, X[:, 0] + 2])
    rows = "\n".join(";".join(map(str, row)) for row in y)
    path.write_text(f"EMG [mV];EMG.2 [mV];EMG [mV];EMG [mV]\n{rows}\n")
    seen = er.look(path)
    labels = list(seen.how["columns"].values())
    assert len(set(labels)) == 4
    rec = er.read(path, **(dict(seen.how) | {"rate_hz": 1000}))
    np.testing.assert_array_equal(rec.source.digital(0, N, range(4)), y.T)
    assert sum("is called 'EMG [mV]', as column 1 is" in note for note in rec.notes) == 2
    path.write_text(f"EMG;EMG.2;EMG;EMG\n{rows}\n")
    how = {"rate_hz": 1000, "header": 1, "names": 1} | MV
    rec = er.read(path, columns=["EMG.4", "EMG", "EMG.3"], **how)
    np.testing.assert_array_equal(rec.source.digital(0, N, range(3)), y[:, [3, 0, 2]].T)
    assert "Column 3 of p01.csv is called 'EMG', as column 1 is: it is 'EMG.3' here." in rec.notes
    with pytest.raises(FormatError, match=r"calls 3 columns 'EMG'.*they are 'EMG', 'EMG.3', 'EMG.4' here"):
        er.read(path, columns=["EMG"], **how)
    rec = er.read(path, columns={"EMG": "FCR", "EMG.3": None}, **how)
    np.testing.assert_array_equal(rec.source.digital(0, N, [0])[0], y[:, 0])


def test_a_line_that_names_every_column_otherwise_goes_before_one_of_kinds(tmp_path):
    path = tmp_path / "p01.csv"
    path.write_text("FCR;ECR\nEMG;EMG\n" + "\n".join(f"{a};{b}" for a, b in X) + "\n")
    seen = er.look(path)
    assert (seen.how["names"], seen.how["header"], list(seen.how["columns"])) == (1, 2, ["FCR", "ECR"])


def test_what_stands_for_a_missing_sample_is_said_as_a_shell_takes_it(tmp_path):
    path = tmp_path / "p01.csv"
    rows = [f"{a};{b}" for a, b in X]
    rows[5], rows[8] = f"{X[5, 0]};", f"NA;{X[8, 1]}"
    path.write_text("FCR;ECR\n" + "\n".join(rows) + "\n")
    seen = er.look(path)
    assert "--missing '' --missing NA" in seen.asks["missing"]
    with pytest.warns(SignalWarning, match="misses 1 of 300"):
        rec = er.read(path, **(dict(seen.how) | {"rate_hz": 1000} | MV))
    assert np.isnan(rec.source.digital(5, 6, [1])).all()


def test_a_sheet_that_names_two_columns_alike_is_read_by_their_numbers(tmp_path):
    path = tmp_path / "p01.xlsx"
    pd.DataFrame(X, columns=["EMG", "EMG"]).to_excel(path, index=False)
    seen = er.look(path)
    assert seen.how["columns"] == {"EMG": "EMG", "EMG.2": "EMG.2"}
    assert "it is 'EMG.2' here" in str(seen)
    rec = er.read(path, rate_hz=1000, columns=seen.how["columns"], **MV)
    np.testing.assert_array_equal(rec.source.digital(0, N, [0, 1]), X.T)
    with pytest.raises(FormatError, match="calls 2 columns 'EMG'"):
        er.read(path, rate_hz=1000, columns=["EMG"], **MV)


def test_a_shell_says_what_stands_for_a_missing_sample(tmp_path, capsys):
    rows = [f"{a};{b}" for a, b in X]
    rows[5], rows[8] = f"{X[5, 0]};", f"-999;{X[8, 1]}"
    path = tmp_path / "P01.csv"
    path.write_text("FCR;ECR\n" + "\n".join(rows) + "\n")
    told = ["--rate", "1000", "--unit", "mV", "--missing", "", "--missing", "-999"]
    layout = ["--layout", "header", "1", "--layout", "names", "1"]
    run(["check", str(path), *told, *layout])
    assert "misses 1 of 300 samples" in capsys.readouterr().out
    assert run(["study", str(tmp_path), "--pattern", "P{participant}.csv", *told]) == 0
    assert 'missing = [\n    "",\n    "-999",\n]' in (tmp_path / "study.toml").read_text()
    assert run(["check", str(tmp_path / "study.toml"), "--missing", "NA"]) == 1
    assert "--missing 'NA' came" in capsys.readouterr().err
