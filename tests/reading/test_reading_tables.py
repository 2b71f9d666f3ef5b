"""Excel and Parquet: written by their own libraries, read back sample for sample; hostile ones refused at once."""

import io
import time
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import emgreview as er
from emgreview.errors import FormatError, ParameterError, RateError, UnknownNameError

X = np.random.default_rng(8).normal(size=(600, 2)).round(6)
TABLE = pd.DataFrame({"t (s)": np.arange(600) / 1000, "FCR": X[:, 0], "ECR": X[:, 1]})
HOW = {"rate_hz": 1000, "unit": "mV", "columns": {"t (s)": "time", "FCR": "FCR", "ECR": "ECR"}}


@pytest.fixture(params=[".xlsx", ".parquet"])
def table(request, tmp_path) -> Path:
    path = tmp_path / f"a{request.param}"
    if request.param == ".xlsx":
        TABLE.to_excel(path, index=False)
    else:
        pq.write_table(pa.Table.from_pandas(TABLE.assign(word="a")), path, row_group_size=250)
    return path


def test_columns_by_name_as_pandas_reads_them(table) -> None:
    known = pd.read_excel(table) if table.suffix == ".xlsx" else pd.read_parquet(table)
    rec = er.read(table, **HOW)
    assert rec.labels == ("FCR", "ECR")
    np.testing.assert_allclose(rec.values(), known[["FCR", "ECR"]].to_numpy().T * 1000, rtol=1e-15)
    np.testing.assert_array_equal(rec.source.read(240, 510, [1]), rec.values()[1:, 240:510])
    assert er.read(table, rate_hz=1000, unit="mV", columns=["ECR"]).labels == ("ECR",)
    seen = er.look(table)
    assert seen.how["columns"] == {"t (s)": "time", "FCR": "FCR", "ECR": "ECR"}
    assert seen.how["rate_hz"] == 1000, "as the times have it"
    assert set(seen.asks) == {"columns", "unit"}


def test_what_is_missing_or_does_not_fit_is_told(table) -> None:
    with pytest.raises(RateError, match="states no sampling rate"):
        er.read(table, unit="mV", columns=["FCR"])
    with pytest.raises(RateError):
        er.read(table, **HOW | {"rate_hz": 2000})
    with pytest.raises(UnknownNameError, match="Did you mean 'FCR'"):
        er.read(table, **HOW | {"columns": ["FRC"]})
    whole = table.read_bytes()
    for at in (0, 3, 50, len(whole) // 2, len(whole) - 5):
        table.write_bytes(whole[:at])
        with pytest.raises(FormatError):
            er.read(table, **HOW)


def book(path: Path, rows: list, *more: str) -> Path:
    made = openpyxl.Workbook()
    for row in rows:
        made.active.append(row)
    for name in more:
        made.create_sheet(name)
    made.save(path)
    return path


def test_a_sheet_is_asked_for_where_there_are_several(tmp_path) -> None:
    path = book(tmp_path / "a.xlsx", [["FCR"], [1], [2.5], [-3]], "notes")
    assert "which sheet holds the samples: Sheet" in er.look(path).asks["sheet"]
    with pytest.raises(ParameterError, match=r"2 sheets \(Sheet, notes\), and sheet is missing"):
        er.read(path, rate_hz=1000, unit="uV", columns=["FCR"])
    rec = er.read(path, rate_hz=1000, unit="uV", columns=["FCR"], sheet="Sheet")
    assert rec.values().tolist() == [[1, 2.5, -3]]
    with pytest.raises(UnknownNameError):
        er.read(path, rate_hz=1000, unit="uV", columns=["FCR"], sheet="sheets")


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([["FCR"], [1], ["=A2*2"], [3]], "row 3 of column 'FCR' holds the formula '=A2\\*2' without its value.*save"),
        ([["FCR", "b"], [1, 1], [None, 2], [3, 3]], "row 3 of column 'FCR' holds nothing"),
        ([["FCR"], [1], ["1,5"]], "holds '1,5'; allowed: a finite number"),
        ([["FCR"], [1], [True]], "holds True"),
        ([["FCR"], [1], [], [3]], "1 empty rows stand before row 4"),
        ([[1], [2]], "row 1 holds 1, and no name"),
        ([["FCR"]], "no row of numbers"),
    ],
)
def test_cells_that_are_no_numbers_are_named(tmp_path, rows, said) -> None:
    with pytest.raises(FormatError, match=said):
        er.read(book(tmp_path / "a.xlsx", rows), rate_hz=1000, unit="uV", columns=["FCR"])


def changed(path: Path, member: str, change) -> None:
    made = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(old.read(name)) if name == member else old.read(name))
    path.write_bytes(made.getvalue())


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"<sheetData>", b"<sheetData>" + b" " * (300 << 20), "unpacks to"),
        (b'r="3"', b'r="999999999"', "empty rows|row"),
        (b'"A3"', b'"XFD3"', "column 16384|XFD|row"),
        (b"<worksheet", b'<!DOCTYPE x [<!ENTITY a "b">]><worksheet', "defines words of its own"),
    ],
)
def test_a_workbook_that_grows_beyond_measure_is_refused_at_once(tmp_path, old, new, said) -> None:
    path = book(tmp_path / "a.xlsx", [["FCR"], [1], [2]])
    changed(path, "xl/worksheets/sheet1.xml", lambda xml: xml.replace(old, new))
    begun = time.monotonic()
    with pytest.raises(FormatError, match=said):
        er.read(path, rate_hz=1000, unit="uV", columns=["FCR"])
    assert time.monotonic() - begun < 10


def test_columns_of_parquet_that_are_no_numbers_or_announce_too_much(tmp_path) -> None:
    path = tmp_path / "a.parquet"
    pq.write_table(pa.table({"a": ["x", "y", "z"], "b": [1, None, 3], "c": pa.array([[1.0], [2.0], [3.0]])}), path)
    for name in "ac":
        with pytest.raises(FormatError, match="of type"):
            er.read(path, rate_hz=1000, unit="uV", columns=[name])
    with pytest.warns(er.SignalWarning, match="misses 1 of 3 samples"):
        assert np.isnan(er.read(path, rate_hz=1000, unit="uV", columns=["b"]).values()).tolist() == [
            [False, True, False]
        ]
    pq.write_table(pa.table({"a": np.zeros(20_000_000, np.int8)}), path, row_group_size=20_000_000)
    with pytest.raises(FormatError, match="announces 20000000 rows"):
        er.read(path, rate_hz=1000, unit="uV", columns=["a"])


def test_names_below_other_rows_are_proposed(tmp_path) -> None:
    path = tmp_path / "a.xlsx"
    book = openpyxl.Workbook()
    for row in (["made up", None, None], [], ["t", "FCR", "ECR"], ["s", "mV", "mV"]):
        book.active.append(row)
    for n, (a, b) in enumerate(X[:50].tolist()):
        book.active.append([n / 1000, a, b])
    book.save(path)
    seen = er.look(path)
    assert (seen.how["header"], seen.how["names"]) == (4, 3)
    columns = {"t": "time", "FCR": "FCR", "ECR": "ECR"}
    rec = er.read(path, **(dict(seen.how) | {"rate_hz": 1000, "unit": "mV", "columns": columns}))
    np.testing.assert_allclose(rec.values(), X[:50].T * 1000, rtol=1e-15)
    with pytest.raises(FormatError, match=r"er\.look"):
        er.read(path, rate_hz=1000, unit="mV", columns=["FCR"], header=2, names=2)
