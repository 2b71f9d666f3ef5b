"""Delimited text: what is read, and every fault named by its line. Open files cited at each test."""

import os
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import FormatError, ParameterError, RateError, SignalWarning, UnitError

OPEN_DATA = os.environ.get("EMGREVIEW_OPEN_DATA")
needs_open_data = pytest.mark.skipif(OPEN_DATA is None, reason="EMGREVIEW_OPEN_DATA is unset: no open data at hand")


def text(folder: Path, content: str, name: str = "a.csv") -> Path:
    path = folder / name
    path.write_text(content, encoding="utf-8", newline="")
    return path


@pytest.mark.parametrize(
    "content",
    [
        "1,2\n-3,4e-1\n.5,+6.\n",
        "1;2\n-3;4e-1\n.5;+6.\n",
        "1\t2\r\n-3\t4e-1\r\n.5\t+6.\r\n",
        "1 2\n-3   4e-1\n  .5 +6.",
        "1, 2\n-3, 4e-1\n.5, +6.\n\n\n",
        "\ufeff1,2\n-3,4E-1\n.5,+6.\n",
    ],
)
def test_each_separator_gives_the_same_numbers(tmp_path: Path, content: str) -> None:
    rec = er.read(text(tmp_path, content), rate_hz=1000, unit="mV", columns=["FDI", "APB"])
    np.testing.assert_allclose(rec.microvolts(), np.array([[1, -3, 0.5], [2, 0.4, 6]]) * 1e3)
    assert (rec.labels, rec.rate_hz, rec.n_samples, rec.name) == (("FDI", "APB"), 1000, 3, "a")


def test_every_number_comes_back_as_written(tmp_path: Path) -> None:
    x = np.random.default_rng(3).normal(0, 100, (500, 3))
    path = text(tmp_path, "\n".join(",".join(repr(float(v)) for v in row) for row in x))
    rec = er.read(path, rate_hz=2000, unit="uV", columns=["a", "b", "c"])
    np.testing.assert_array_equal(rec.values(), x.T)
    np.testing.assert_array_equal(rec.values(17, 400, ["c", "a"]), x[17:400, [2, 0]].T)


def test_columns_are_left_out_by_none_and_time_is_held_against_the_rate(tmp_path: Path) -> None:
    path = text(tmp_path, "0.000,1,7\n0.001,2,8\n0.002,3,9\n0.003,4,6\n")
    rec = er.read(path, rate_hz=1000, unit="uV", columns=["time", None, "FDI"])
    np.testing.assert_array_equal(rec.values(), [[7, 8, 9, 6]])
    with pytest.raises(RateError, match=r"line 3 has the time 0.002 s, but with rate_hz=2000 .* 0.001 s.*1000 Hz"):
        er.read(path, rate_hz=2000, unit="uV", columns=["Time", None, "FDI"])


def test_gap_in_the_time_column_names_its_line(tmp_path: Path) -> None:
    times = np.r_[np.arange(50), np.arange(53, 80)] / 1000
    path = text(tmp_path, "\n".join(f"{t:.3f};{i}" for i, t in enumerate(times)))
    with pytest.raises(RateError, match=r"line 51 has the time 0\.053 s.*split the file where samples are missing"):
        er.read(path, rate_hz=1000, unit="uV", columns=["time", "FDI"])


def stamps(rate_hz: float, decimals: int, how: str, start_s: float, left_out: int = 0) -> list[str]:
    """Times of 8,000 lines as a writer rounds them, with samples missing (or doubled, below 0) in the middle."""
    at = np.arange(8000)
    at[4000:] += left_out
    unit_s = 10.0**-decimals
    units = start_s / unit_s + at / (rate_hz * unit_s)
    whole = {"even": np.rint, "up": lambda x: np.floor(x + 0.5 + 1e-9), "down": lambda x: np.floor(x + 1e-9)}[how](
        units
    )
    return [f"{value * unit_s:.{decimals}f}" for value in whole]


@pytest.mark.parametrize("how", ["even", "up", "down"])
@pytest.mark.parametrize("start_s", [0.0, 1.0, 12.3456])
@pytest.mark.parametrize(
    ("rate_hz", "decimals"), [(1000, 3), (1000, 4), (2000, 3), (2000, 4), (2048, 3), (1000, 2), (2000, 2), (1259, 2)]
)
def test_every_missing_sample_shows_in_the_time_column_or_is_said_not_to(
    tmp_path: Path, rate_hz: float, decimals: int, start_s: float, how: str
) -> None:
    def read(left_out: int) -> er.Recording:
        times = stamps(rate_hz, decimals, how, start_s, left_out)
        path = text(tmp_path, "\n".join(f"{t};{i % 7}" for i, t in enumerate(times)))
        return er.read(path, rate_hz=rate_hz, unit="uV", columns=["time", "FDI"])

    whole = read(0)
    assert whole.n_samples == 8000
    coarse = any("one sample that is missing or doubled may not show" in note for note in whole.notes)
    assert coarse == (rate_hz * 10.0**-decimals > 1 + 1e-6)
    for left_out in (-1, 1):
        if not coarse:  # else one sample may hide, as was said
            with pytest.raises(RateError):
                read(left_out)
    for left_out in (-10, -2, 2, 10):
        with pytest.raises(RateError, match=r"the time column must run in equal steps|does not rise"):
            read(left_out)


@pytest.mark.parametrize(("rate_hz", "decimals"), [(1000, 3), (2000, 3), (2000, 2), (2000, 4)])
@pytest.mark.parametrize("left_out", [-1, 1])
def test_one_missing_sample_is_told_where_times_are_rounded_as_most_writers_do(
    tmp_path: Path, rate_hz: float, decimals: int, left_out: int
) -> None:
    times = stamps(rate_hz, decimals, "even", 0.0, left_out)
    path = text(tmp_path, "\n".join(f"{t};{i % 7}" for i, t in enumerate(times)))
    with pytest.raises(RateError):
        er.read(path, rate_hz=rate_hz, unit="uV", columns=["time", "FDI"])


def test_time_rounded_by_its_writer_is_no_gap(tmp_path: Path) -> None:
    path = text(tmp_path, "\n".join(f"{i / 2048:.3f},{i % 7}" for i in range(4000)))
    assert er.read(path, rate_hz=2048, unit="uV", columns=["time", "FDI"]).n_samples == 4000


def test_units_by_column(tmp_path: Path) -> None:
    path = text(tmp_path, "1,2,3\n4,5,6\n")
    rec = er.read(
        path, rate_hz=100, unit={"FDI": "mV", "Force": "N", "Trigger": "V"}, columns=["FDI", "Force", "Trigger"]
    )
    assert [(c.kind, c.unit) for c in rec.channels] == [("EMG", "uV"), ("MISC", "N"), ("TRIG", "V")]
    np.testing.assert_array_equal(rec.values(), [[1000, 4000], [2, 5], [3, 6]])
    rec = er.read(path, rate_hz=100, unit="arbitrary", columns=["FDI", "APB", None])
    assert {channel.unit for channel in rec.channels} == {"arbitrary"}
    np.testing.assert_array_equal(rec.values(), [[1, 4], [2, 5]])


@pytest.mark.parametrize(
    ("options", "error", "said"),
    [
        (
            {"unit": "uV", "columns": ["a", "b"]},
            RateError,
            r"states no rate, unit or names itself: rate_hz is missing; give rate_hz=2000",
        ),
        ({"unit": "uV", "columns": ["a", "b"], "rate_hz": 0}, RateError, r"rate_hz came as 0"),
        ({"unit": "uV", "columns": ["a", "b"], "rate_hz": float("nan")}, RateError, r"rate_hz came as nan"),
        ({"rate_hz": 100, "columns": ["a", "b"]}, UnitError, r"a\.csv has no unit for channel 'a'; allowed: V, mV"),
        ({"rate_hz": 100, "columns": ["a", "b"], "unit": "furlong"}, UnitError, r"unit 'furlong' is not known"),
        (
            {"rate_hz": 100, "unit": "uV"},
            ParameterError,
            r"columns is missing; give columns=.* \(one label for each column",
        ),
        ({"rate_hz": 100, "unit": "uV", "columns": ["time", None]}, ParameterError, r"name at least one signal"),
        ({"rate_hz": 100, "unit": "uV", "columns": "ab"}, ParameterError, r"columns came as 'ab'"),
        ({"rate_hz": 100, "unit": "uV", "columns": ["a", "a"]}, ParameterError, r"columns names 'a' twice"),
        (
            {"rate_hz": 100, "unit": "uV", "columns": ["a"]},
            FormatError,
            r"line 1 reads '1,2' and holds 2 numbers.*names 1",
        ),
    ],
)
def test_what_the_caller_must_say(tmp_path: Path, options: dict, error: type, said: str) -> None:
    with pytest.raises(error, match=said):
        er.read(text(tmp_path, "1,2\n3,4\n"), **options)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("FDI,APB\n1,2\n", r"line 1 reads 'FDI,APB' and holds no number: a header line\?.*remove the line"),
        ("time (s),emg\n1,2\n", r"line 1 .*header line"),
        ("1,2\n3,4,5\n", r"line 2 reads '3,4,5' and holds 3 numbers \(separator: comma\), but columns= names 2"),
        ("1,2\n3\n", r"line 2 reads '3' and holds 1 numbers"),
        ("1,2\n3,\n", r"line 2 reads '3,'; column 2 is empty; allowed: a number, or nan"),
        ("1,2\n\n3,4\n", r"line 2 is empty; every line must hold 2 numbers"),
        ("1,2\n3,x\n", r"line 2 reads '3,x'; column 2 holds 'x'; allowed: a finite number"),
        ("1,2\n3,inf\n", r"line 2 .*column 2 holds 'inf'"),
        ("1,2\n3,1_0\n", r"line 2 .*column 2 holds '1_0'"),
        ("1,2\n3,0x10\n", r"line 2 .*column 2 holds '0x10'"),
        ("1,2\n3,n/a\n", r"line 2 .*column 2 holds 'n/a'.*nan for a missing sample"),
        ("1,2\n# note\n3,4\n", r"line 2 .*'# note'"),
        ("1,5;2,5\n", r"line 1 .*both semicolon and comma.*decimal comma"),
        ("1,5\t2,5\n", r"line 1 .*both tab and comma.*decimal comma"),
        ("1,5 2,5\n", r"line 1 .*both comma and spaces.*decimal comma"),
        ("1;2\n1,5;2\n", r"line 2 .*column 1 holds '1,5': a decimal comma\? Numbers need a decimal point"),
        ("1,5,2,5\n", r"holds 4 numbers.*names 2.*Twice as many as named: a decimal comma"),
        ("1;2\t3\n", r"both semicolon and tab, so the separator is in doubt; allowed: one of comma"),
        ("1,2\n3;4\n", r"line 2 reads '3;4'; column 1 holds '3;4'"),
        ("", r"holds no line with numbers"),
        ("\n \n", r"holds no line with numbers"),
    ],
)
def test_each_fault_names_its_line_what_came_and_what_to_do(tmp_path: Path, content: str, said: str) -> None:
    with pytest.raises(FormatError, match=said):
        er.read(text(tmp_path, content), rate_hz=100, unit="uV", columns=["a", "b"])


def test_other_encodings_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_bytes("1,2\n3,µ\n".encode("cp1252"))
    with pytest.raises(FormatError, match=r"not text in UTF-8 .*say its encoding.*save it again as UTF-8"):
        er.read(path, rate_hz=100, unit="uV", columns=["a", "b"])


def test_missing_samples_and_flat_channels_are_said(tmp_path: Path) -> None:
    path = text(tmp_path, "1,0,nan\nnan,0,NaN\n3,0,nan\nnan,0,nan\n")
    with pytest.warns(SignalWarning) as caught:
        rec = er.read(path, rate_hz=100, unit="V", columns=["FDI", "APB", "ADM"])
    assert [str(warning.message) for warning in caught] == [
        "a: Channel 'FDI' misses 2 of 4 samples (NaN), the first at 0.01 s.",
        "a: Channel 'APB' is flat: every sample is 0.",
        "a: Channel 'ADM' misses all samples (NaN), the first at 0 s.",
    ]
    assert len(rec.notes) == 3
    np.testing.assert_array_equal(rec.values()[0], [1e6, np.nan, 3e6, np.nan])


@needs_open_data
def test_forearm_files_of_the_open_set() -> None:
    """Surface EMG of hand movements, CC0; 1000 Hz and mV are inferred, not stated by the source."""
    files = sorted(Path(OPEN_DATA or "", "forearm_cc0").glob("*_*_*.txt"))
    assert len(files) == 180
    for path in files[::20]:
        rec = er.read(path, rate_hz=1000, unit="mV", columns=["flexors", "extensors"])
        rows = [line.split(",") for line in path.read_text().split()]
        assert rec.n_samples == len(rows) > 4000
        np.testing.assert_allclose(rec.microvolts(), np.array(rows, float).T * 1e3, rtol=1e-15)
        assert 10 < rec.microvolts().std() < 2000  # in mV, that is a plausible surface EMG


@needs_open_data
def test_biceps_file_of_the_open_set() -> None:
    """Leitner 2021, example data of an open tutorial on EMG filtering, CC BY 4.0: 40,400 samples, 1000 Hz."""
    path = Path(OPEN_DATA or "", "biceps_ccby4", "bbcontractions.csv")
    rec = er.read(path, rate_hz=1000, unit="arbitrary", columns=["biceps"])
    assert (rec.n_samples, rec.duration_s) == (40_400, 40.4)
    assert rec.values(0, 3)[0].tolist() == [-10.361, -10.358, -10.357]


@needs_open_data
def test_three_bursts_file_of_the_open_set() -> None:
    """Duarte, open notes on biomechanics and motor control, CC BY 4.0: time (s, written 1E-3) and volt, 1000 Hz."""
    path = Path(OPEN_DATA or "", "three_bursts_ccby4", "emg.csv")
    rec = er.read(path, rate_hz=1000, unit="V", columns=["time", "EMG"])
    assert (rec.n_samples, rec.labels) == (3360, ("EMG",))
    np.testing.assert_allclose(rec.microvolts(0, 4)[0], [0, -21970, -14650, -4880])
    with pytest.raises(RateError, match="2000"):
        er.read(path, rate_hz=2000, unit="V", columns=["time", "EMG"])
