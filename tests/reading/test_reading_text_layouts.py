"""Text as labs have it: headers, names, units, decimal commas, encodings, words, gaps, clocks that jitter; and what a
look at such a file proposes. Numbers are held against what was written, by Python's own float."""

import codecs
import json
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import EmgreviewError, FormatError, ParameterError, RateError, SignalWarning, UnknownNameError
from emgreview.reading.text import TextLayout
from emgreview.reading.time_column import seconds_of

N = 400
X = np.round(np.random.default_rng(5).normal(0, 300, (N, 3)), 3)


def written(path: Path, rows, *, sign=";", decimal=".", header=(), encoding="utf-8", end="\n") -> Path:
    """A file of ``rows`` of cells, numbers in the shortest form that is exact."""

    def cell(value) -> str:
        return value if isinstance(value, str) else repr(float(value)).replace(".", decimal)

    lines = [*header, *(sign.join(map(cell, row)) for row in rows)]
    path.write_bytes("".join(line + end for line in lines).encode(encoding))
    return path


@pytest.mark.parametrize(
    ("sign", "decimal"), [(";", "."), (";", ","), ("\t", ","), (",", "."), ("   ", ","), (" ", ".")]
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("header", ["", "names", "words"])
def test_a_look_proposes_the_call_that_reads_the_numbers_as_written(tmp_path, sign, decimal, encoding, end, header):
    apart = sign if sign.strip() else "  "
    if sign == "\t":
        apart = "\t"
    above = {"": [], "names": [apart.join(("FCR", "ECR", "force"))]}
    above["words"] = ["a key was pressed at a tone", "", *above["names"], apart.join(("mV", "mV", "N"))]
    path = written(
        tmp_path / "p01.txt", X, sign=sign, decimal=decimal, header=above[header], encoding=encoding, end=end
    )
    seen = er.look(path)
    assert seen.refused == ""
    assert seen.how["rate_hz"] == "?", "nothing says it"
    how = dict(seen.how) | {"rate_hz": 1000}
    if header == "names":
        how["unit"] = {"FCR": "mV", "ECR": "mV", "force": "N"}
    elif header == "":
        how |= {"unit": {"FCR": "mV", "ECR": "mV", "force": "N"}, "columns": ["FCR", "ECR", "force"]}
    rec = er.read(path, **how)
    assert (rec.labels, rec.n_samples) == (("FCR", "ECR", "force"), N)
    np.testing.assert_array_equal(rec.source.digital(0, N, [0, 1, 2]), X.T)
    assert [channel.unit for channel in rec.channels] == ["uV", "uV", "N"]


def test_a_decimal_comma_that_may_separate_columns_is_asked_for(tmp_path):
    path = written(tmp_path / "a.txt", X[:, :1], sign=",", decimal=",")
    seen = er.look(path)
    assert seen.how["decimal"] == "?"
    assert "stand before the decimals" in seen.asks["decimal"]
    with pytest.raises(ParameterError, match="decimal came as"):
        er.read(path, **(dict(seen.how) | {"rate_hz": 1000, "unit": "mV"}))
    how = {"rate_hz": 1000, "unit": "uV", "columns": ["FCR"], "decimal": ",", "separator": "blanks"}
    np.testing.assert_array_equal(er.read(path, **how).values()[0], X[:, 0])


def test_columns_are_taken_by_name_wherever_they_stand(tmp_path):
    """One call reads files in which the columns have another order, or which have more of them."""
    how = {"rate_hz": 1000, "unit": "mV", "columns": {"EMG 1": "FCR", "EMG 2": "ECR"}, "header": 1, "names": 1}
    one = er.read(written(tmp_path / "a.csv", X, header=["EMG 1;EMG 2;x"]), **how)
    two = er.read(written(tmp_path / "b.csv", X[:, [2, 1, 0]], header=["x;EMG 2;EMG 1"]), **how)
    np.testing.assert_array_equal(one.values(), two.values())
    assert one.labels == two.labels == ("FCR", "ECR")
    assert "Columns of b.csv that are left out: x." in two.notes
    with pytest.raises(UnknownNameError, match=r"no column is called 'EMG 2'.*Did you mean 'EMG 3'"):
        er.read(written(tmp_path / "c.csv", X, header=["EMG 1;EMG 3;x"]), **how)
    with pytest.raises(FormatError, match="calls 2 columns 'EMG 1'"):
        er.read(written(tmp_path / "d.csv", X, header=["EMG 1;EMG 2;EMG 1"]), **how)
    with pytest.raises(ParameterError, match="names no columns"):
        er.read(written(tmp_path / "e.csv", X), **(how | {"header": 0, "names": None}))


def test_columns_of_words_are_left_out_and_quotes_are_none_of_the_number(tmp_path):
    rows = [
        (f'"{a!r}"', "go; now" if k % 50 == 0 else "", repr(float(b))) for k, (a, b) in enumerate(X[:, :2].tolist())
    ]
    lines = [f'{a};"{word}";{b}' for a, word, b in rows]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines), "utf-8")
    rec = er.read(path, rate_hz=1000, unit="uV", columns=["FCR", None, "ECR"])
    np.testing.assert_array_equal(rec.values(), X[:, :2].T)


@pytest.mark.parametrize("token", ["NA", "", "-999", "n/a", "---"])
@pytest.mark.parametrize("sign", [";", ",", "\t"])
def test_what_stands_for_a_missing_sample_is_one_where_it_is_told_and_else_refused(tmp_path, token, sign):
    rows = [[repr(float(a)), repr(float(b)) if k % 7 else token] for k, (a, b) in enumerate(X[:, :2])]
    path = written(tmp_path / "a.csv", rows, sign=sign)
    how = {"rate_hz": 1000, "unit": "uV", "columns": ["FCR", "ECR"]}
    with pytest.warns(SignalWarning, match="misses 58 of 400 samples"):
        rec = er.read(path, **how, missing=[token])
    np.testing.assert_array_equal(np.isnan(rec.values()[1]), np.arange(N) % 7 == 0)
    np.testing.assert_array_equal(rec.values()[0], X[:, 0])
    if token == "-999":
        assert er.read(path, **how).values()[1, 0] == -999
        assert "add it to missing" in " ".join(er.look(path).facts)
    else:
        with pytest.raises(FormatError, match=r"line 1 .*column 2"):
            er.read(path, **how)
        assert list(er.look(path).how.get("missing", [])) in ([token], [])


@pytest.mark.parametrize("at", [0, 200, N - 1])
@pytest.mark.parametrize("fault", ["short", "long", "word", "blank"])
@pytest.mark.parametrize("header", [0, 3])
@pytest.mark.parametrize("extra", ["nothing", "gaps", "words"])
def test_a_line_that_does_not_fit_is_named_and_never_read_as_missing(tmp_path, at, fault, header, extra):
    rows = [[repr(float(v)) for v in row] for row in X]
    rows[at] = {"short": rows[at][:2], "long": [*rows[at], "1"], "word": [*rows[at][:2], "x"], "blank": []}[fault]
    if extra == "words" and fault == "word":
        rows[at] = ["x", *rows[at][1:]]
    path = written(tmp_path / "a.csv", rows, header=["above"] * header)
    how = {"rate_hz": 1000, "unit": "uV", "columns": ["a", "b", "c"], "header": header, "separator": ";"}
    how |= {"gaps": {"missing": [""]}, "words": {"columns": ["a", "b", None]}, "nothing": {}}[extra]
    if at == N - 1 and fault == "blank":
        assert er.read(path, **how).n_samples == N - 1, "blank lines at the end are none"
        return
    with pytest.raises(FormatError, match=rf"line {header + at + 1}\b"):
        er.read(path, **how)


def test_comments_are_passed_over_wherever_they_stand(tmp_path):
    lines = ["# made up", *(";".join(map(repr, row)) for row in X.tolist())]
    lines.insert(100, "# a pause")
    lines[200] += " # a sneeze"
    path = tmp_path / "a.txt"
    path.write_text("\n".join(lines), "utf-8")
    rec = er.read(path, rate_hz=1000, unit="uV", columns=["a", "b", "c"], comment="#")
    np.testing.assert_array_equal(rec.values(), X.T)
    assert er.look(path).how["comment"] == "#"


@pytest.mark.parametrize(("unit", "scale"), [("s", 1), ("ms", 1e3), ("us", 1e6)])
@pytest.mark.parametrize("rate", [200, 1000, 2000, 2048, 10_000, 20_000])
def test_times_in_each_unit_give_the_rate(tmp_path, unit, scale, rate):
    times = [f"{k / rate * scale:.9g}" for k in range(N)]
    path = written(
        tmp_path / "a.csv", [[t, a] for t, a in zip(times, X[:, 0], strict=True)], header=[f"time [{unit}];FCR [mV]"]
    )
    seen = er.look(path)
    assert (seen.how["rate_hz"], seen.how["time_unit"], seen.how["unit"], dict(seen.asks)) == (rate, unit, "mV", {})
    rec = er.read(path, **seen.how)
    assert (rec.rate_hz, rec.n_samples, rec.labels) == (rate, N, ("FCR",))
    other = {"s": "ms", "ms": "s", "us": "s"}[unit]
    with pytest.raises(RateError):
        er.read(path, **(dict(seen.how) | {"time_unit": other}))


def test_dates_count_from_the_first_and_one_that_is_none_is_named(tmp_path):
    stamps = [
        f"2021-05-04T23:59:59.{k:03d}000Z" if k < 1000 else f"2021-05-05T00:00:00.{k - 1000:03d}Z"
        for k in range(800, 1200)
    ]
    path = written(tmp_path / "a.csv", list(zip(stamps, X[:, 0], strict=True)), header=["when;FCR"])
    how = {
        "rate_hz": 1000,
        "unit": "mV",
        "columns": {"when": "time", "FCR": "FCR"},
        "header": 1,
        "names": 1,
        "time_unit": "iso",
    }
    assert er.read(path, **how).n_samples == N
    assert er.look(path).how["time_unit"] == "iso"
    np.testing.assert_allclose(seconds_of(path, stamps, "iso"), np.arange(N) / 1000, atol=1e-12)
    stamps[7] = "yesterday"
    path = written(tmp_path / "a.csv", list(zip(stamps, X[:, 0], strict=True)), header=["when;FCR"])
    with pytest.raises(FormatError, match="line 9 has the time 'yesterday'"):
        er.read(path, **how)


def test_a_clock_that_jitters_is_let_pass_only_as_far_as_was_said(tmp_path):
    off = np.random.default_rng(2).uniform(-0.0008, 0.0008, N)
    times = np.arange(N) / 1000 + off
    times = np.sort(times)
    path = written(
        tmp_path / "a.csv", [[f"{t:.6f}", a] for t, a in zip(times, X[:, 0], strict=True)], header=["t [s];FCR [mV]"]
    )
    seen = er.look(path)
    assert seen.how["rate_hz"] == 1000
    assert "jitter_s" in seen.asks
    rec = er.read(path, **seen.how)
    (note,) = [note for note in rec.notes if "jitters" in note]
    worst = np.abs(times - np.arange(N) / 1000 - np.median(times - np.arange(N) / 1000)).max()
    assert f"the furthest by {1000 * worst:.3g} ms" in note
    for jitter in (0.0, 0.0005):
        with pytest.raises(RateError, match="jitter_s="):
            er.read(path, **(dict(seen.how) | {"jitter_s": jitter}))


@pytest.mark.parametrize(
    "given",
    [
        {"header": -1}, {"header": 1.5}, {"names": 1}, {"header": 2, "names": 3}, {"separator": "|"}, {"decimal": ";"},
        {"decimal": ",", "separator": ","}, {"comment": "//"}, {"comment": "1"}, {"missing": "NA"}, {"missing": [1]},
        {"time_unit": "min"}, {"jitter_s": -1}, {"jitter_s": "a"}, {"encoding": "klingon"}, {"encoding": 5},
    ],
)  # fmt: skip
def test_a_layout_that_makes_no_sense_is_refused_by_name(given):
    with pytest.raises(ParameterError) as told:
        TextLayout(**given)
    assert any(name in str(told.value) for name in given)
    assert "allowed" in str(told.value)


def test_other_arguments_are_named(tmp_path):
    path = written(tmp_path / "a.csv", X)
    with pytest.raises(UnknownNameError, match=r"'heder'.*Did you mean 'header'"):
        er.read(path, rate_hz=1000, unit="mV", columns=["a", "b", "c"], heder=1)


@pytest.mark.parametrize(
    "content", [b"", b"\n\n", b"no table\nat all\n", b"1;2\n", b"\xff\xfe", codecs.BOM_UTF8, b"a\0b"]
)
def test_a_look_at_what_is_no_table_says_so(tmp_path, content):
    path = tmp_path / "a.txt"
    path.write_bytes(content)
    with suppress(EmgreviewError):
        assert er.look(path).refused


class Called:
    """Stands for the package, and keeps what ``read`` was called with."""

    def read(self, path, **how):
        return how


@pytest.mark.parametrize(("sign", "decimal"), [(";", "."), (";", ","), ("\t", "."), ("\t", ",")])
def test_every_look_is_a_call_that_python_reads_and_plain_json(tmp_path, sign, decimal):
    path = written(tmp_path / "a.txt", X, sign=sign, decimal=decimal, header=[f"a{sign}b{sign}c"])
    seen = er.look(path)
    assert eval(seen.call, {"er": Called()}) == dict(seen.how) == json.loads(json.dumps(dict(seen.how)))


def test_the_caller_says_what_kind_a_channel_is(tmp_path):
    """A voltage that is no muscle keeps its unit, so that levels are in the unit of the file."""
    path = written(tmp_path / "a.csv", X)
    how = {"rate_hz": 1000, "unit": {"a": "mV", "b": "V", "c": "V"}, "columns": ["a", "b", "c"]}
    rec = er.read(path, **how, kinds={"b": "TRIG", "c": "MISC"})
    assert [(channel.kind, channel.unit) for channel in rec.channels] == [("EMG", "uV"), ("TRIG", "V"), ("MISC", "V")]
    np.testing.assert_array_equal(rec.values(channels=["b", "c"]), X[:, 1:].T)
    with pytest.raises(UnknownNameError, match=r"channel type is called 'TRIGGER'.*Did you mean 'TRIG'"):
        er.read(path, **how, kinds={"b": "TRIGGER"})
    with pytest.raises(UnknownNameError, match="named in kinds="):
        er.read(path, **how, kinds={"x": "TRIG"})


@pytest.mark.parametrize("odd", ["1.2;---;3.4", "1.2;inf;3.4", "", "1.2;3.4", "a;b;c", "1.2;1.234,56;3"])
@pytest.mark.parametrize("at", [2, 200, 396])
def test_a_look_takes_no_odd_line_for_the_end_of_a_header(tmp_path, odd, at):
    """What stands before such a line would be lost without a word."""
    rows = [[repr(float(v)) for v in row] for row in X]
    path = written(tmp_path / "a.csv", [*rows[:at], [odd], *rows[at:]], header=["a;b;c"])
    seen = er.look(path)
    assert (seen.how["header"], seen.how["names"]) == (1, 1)
    assert any(f"line {at + 2} does not look like those around it" in fact for fact in seen.facts)
    with pytest.raises(FormatError, match=rf"line {at + 2}\b"):
        er.read(path, **(dict(seen.how) | {"rate_hz": 1000, "unit": "mV"}))


@pytest.mark.parametrize("what", ["a gap", "one sample", "a restart"])
def test_a_look_takes_no_hole_in_the_times_for_another_rate(tmp_path, what):
    at = {
        "a gap": [*range(150), *range(180, 400)],
        "one sample": [*range(150), *range(151, 400)],
        "a restart": [*range(150), *range(200)],
    }[what]
    path = written(
        tmp_path / "a.csv", [[f"{k / 1000:.3f}", X[n, 0]] for n, k in enumerate(at)], header=["time [s];FCR [mV]"]
    )
    seen = er.look(path)
    assert "jitter_s" not in seen.how
    assert "983" not in str(seen)
    if not seen.refused:
        assert seen.how["rate_hz"] == 1000
        with pytest.raises(RateError, match=r"line 15[12]"):
            er.read(path, **seen.how)
    else:
        assert "150th" in seen.refused


def test_a_look_asks_whether_whole_numbers_above_fractions_are_names(tmp_path):
    seen = er.look(written(tmp_path / "a.csv", X + 0.0005, header=["1;2;3"]))
    assert "header" in seen.asks
    assert seen.how["header"] == "?"


@pytest.mark.parametrize("at", [40, 200, 360])
@pytest.mark.parametrize("jitter_s", [1e-6, 0.0005, 0.002])
def test_no_hole_passes_for_jitter(tmp_path, at, jitter_s):
    times = np.r_[np.arange(at), np.arange(at, N) + 2000] / 1000
    rows = [[f"{t:.4f}", a] for t, a in zip(times, X[:, 0], strict=True)]
    path = written(tmp_path / "a.csv", rows, header=["t;FCR"])
    how = {"rate_hz": 1000, "unit": "mV", "columns": {"t": "time", "FCR": "FCR"}, "header": 1, "names": 1}
    with pytest.raises(RateError):
        er.read(path, **how, jitter_s=jitter_s)
