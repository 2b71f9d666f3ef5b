"""What labs' folders have and a first look stumbled over: described from a shell, without a file being edited."""

import warnings

import edfio
import h5py
import numpy as np
import pandas as pd
import pytest
import scipy.io

import emgreview as er
from emgreview.cli import run
from emgreview.errors import FormatError, ParameterError, ReadError
from emgreview.reading.patterns import Pattern

N = 4000
PULSES = (np.arange(N) % 1000 < 20) * (np.arange(N) > 500) * 5.0
GO = [1000, 2000, 3000]
PULSE_CUES = ["--cue", "go", "--pulses", "key", "--level", "2.5", "--hold-off", "0.5"]


def x_of(seed):
    return np.round(np.random.default_rng(seed).normal(0, 9, N), 3)


def quiet(function, *given, **said):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)
        return function(*given, **said)


def text(path, seed, head="FCR;key"):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"{head}\n" + "".join(f"{a};{t:g}\n" for a, t in zip(x_of(seed), PULSES, strict=True)), "utf-8")


def described(folder, *options):
    assert run(["study", str(folder), *options]) == 0
    return quiet(er.read_study, folder / "study.toml")


def test_a_word_that_comes_twice_in_a_pattern_says_the_same_both_times(tmp_path):
    for who in ("01", "02"):
        text(tmp_path / f"sub-{who}" / f"sub-{who}_press.csv", int(who))
    text(tmp_path / "sub-01" / "sub-02_press.csv", 9)  # in the wrong folder: neither
    data = described(
        tmp_path, "--pattern", "sub-{participant}/sub-{participant}_{task}.csv", "--rate", "1000",
        "--unit", "FCR=uV,key=V", *PULSE_CUES,
    )  # fmt: skip
    assert data.recordings.names == ("sub-01_task-press", "sub-02_task-press")
    for who, rec in zip((1, 2), data.recordings, strict=True):
        np.testing.assert_array_equal(rec.values()[0], x_of(who))
    pattern = Pattern("{participant}/{participant}{run}.csv")
    assert pattern.words == ("participant", "run")
    assert pattern.fill({"participant": "7", "run": "2"}) == "7/72.csv"


def test_what_stands_in_a_matlab_file_is_named_from_a_shell(tmp_path):
    """The rate and the labels that a file holds answer what a look asks for."""
    rec = {"emg": np.c_[x_of(1), x_of(2)], "fs": 1000.0, "chan": np.array(["FDS", "EDC"], dtype=object), "unit": "mV"}
    scipy.io.savemat(tmp_path / "S1.mat", {"D": {"rec": rec}, "go": np.array(GO, float)[:, None] + 1})
    said = {"data": "D.rec.emg", "samples_along": "rows", "rate": "D.rec.fs", "labels": "D.rec.chan", "cues": "go"}
    said |= {"cues_in": "samples from 1", "cue_label": "go"}
    sets = [word for name, value in said.items() for word in ("--set", f"{name}={value}")]
    data = described(tmp_path, "--pattern", "S{participant}.mat", "--unit", "mV", *sets, "--cue", "go")
    (one,) = data.recordings
    assert (one.rate_hz, one.labels, [m.sample for m in one.markers]) == (1000, ("FDS", "EDC"), GO)
    np.testing.assert_allclose(one.values(), 1000 * np.array([x_of(1), x_of(2)]), rtol=1e-12)


@pytest.fixture
def gains(tmp_path):
    """A dataset a channel, each with a gain of its own, and pulses that have none."""
    with h5py.File(tmp_path / "p1.h5", "w") as file:
        for name, gain in (("FDI", 0.5), ("ADM", 0.25)):
            file[f"emg/{name}"] = np.arange(N, dtype=np.int16)
            file[f"emg/{name}"].attrs["gain"] = gain
        file["sync"] = PULSES.astype(np.uint8)
    return tmp_path


SAID = {"rate_hz": 1000, "unit": {"FDI": "uV", "ADM": "uV", "sync": "arbitrary"}, "kinds": {"sync": "TRIG"}}


def test_each_array_of_several_has_a_gain_of_its_own(gains):
    data = ["emg/FDI", "emg/ADM", "sync"]
    rec = er.read(gains / "p1.h5", data=data, gain=["emg/FDI@gain", "emg/ADM@gain", 1], **SAID)
    np.testing.assert_array_equal(rec.values(), [0.5 * np.arange(N), 0.25 * np.arange(N), PULSES])
    sets = ["--set", 'data=["emg/FDI","emg/ADM","sync"]', "--set", 'gain=["emg/FDI@gain","emg/ADM@gain",1]']
    described(
        gains, "--pattern", "p{participant}.h5", "--rate", "1000", "--columns", "FDI,ADM,key",
        "--unit", "uV,uV,arbitrary", *sets, *PULSE_CUES,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("data", "gain", "error", "said"),
    [
        (["emg/FDI", "emg/ADM"], "emg/FDI@gain", FormatError, "the others have another"),
        (["emg/FDI", "sync"], "emg/FDI@gain", FormatError, r"gain=\['emg/FDI@gain', 1\]"),
        (["emg/FDI", "sync"], [1], ParameterError, "one for each array"),
        (["emg/FDI", "sync"], [1, 0], ParameterError, "other than 0"),
        ("emg/FDI", [0.5], ParameterError, "one for all"),
    ],
)
def test_the_gain_of_one_array_is_not_taken_for_another(gains, data, gain, error, said):
    unit = {name: unit for name, unit in SAID["unit"].items() if any(one.endswith(name) for one in data)}
    with pytest.raises(error, match=said):
        er.read(gains / "p1.h5", data=data, gain=gain, rate_hz=1000, unit=unit, columns=None)


def test_tables_number_people_in_their_own_way(tmp_path):
    """ "S4" and 4 in tables where the files say S04; a column "trial", which is left out and told; not in UTF-8."""
    for who in ("04", "11"):
        text(tmp_path / f"S{who}_b1.csv", int(who))
    rows = "".join(f"S{who},{n},{side}\n" for who in (4, 11) for n, side in enumerate(("weit", "n\u00e4her", "weit")))
    (tmp_path / "rows.csv").write_text("subj,trial,side\n" + rows, "cp1252")
    (tmp_path / "people.csv").write_text("code,hand\nsub-11,r\nS4,l\n")
    data = described(
        tmp_path, "--pattern", "S{participant}_b{run}.csv", "--rate", "1000", "--unit", "FCR=uV,key=V", *PULSE_CUES,
        "--trials", "rows.csv", "--trials-of", "participant=subj", "--encoding", "cp1252",
        "--people", "people.csv:code",
    )  # fmt: skip
    for rec in quiet(list, data.recordings):
        assert [marker.details["side"] for marker in rec.markers] == ["weit", "n\u00e4her", "weit"]
        assert not any("trial" in marker.details for marker in rec.markers)
        assert any("Column 'trial' of rows.csv is not taken" in note for note in rec.notes)
    assert [(one["participant_id"], one["hand"]) for one in data.participants] == [("sub-11", "r"), ("sub-04", "l")]
    assert any("'S4' was taken for '04'" in note for note in data.notes)
    assert not any("no row for" in note for note in data.notes)


def test_codes_that_may_be_two_people_are_nobodys(tmp_path):
    for who in ("1", "2"):
        text(tmp_path / f"P{who}.csv", int(who))
    (tmp_path / "people.csv").write_text("code,hand\n01,r\nP1,l\n2,r\n")
    files = {"pattern": "P{participant}.csv", "rate_hz": 1000, "unit": {"FCR": "uV", "key": "V"}, "header": 1}
    path = er.write_study(
        tmp_path / "study.toml", files=files | {"names": 1, "separator": ";"},
        participants={"table": "people.csv", "code": "code"},
    )  # fmt: skip
    notes = quiet(er.read_study, path).notes
    assert any("no row for sub-1." in note for note in notes)
    assert any("no recording of sub-01, sub-P1" in note for note in notes)


def test_units_that_a_file_says_stay_where_a_shell_says_the_rest(tmp_path, capsys):
    text(tmp_path / "P1.csv", 1, head="FCR [uV];port")
    names = ["--pattern", "P{participant}.csv", "--rate", "1000", "--cue", "go", "--pulses", "port", "--level", "2.5"]
    data = described(tmp_path, *names, "--hold-off", "0.5", "--unit", "port=arbitrary")
    assert [channel.unit for channel in data.recordings[0].channels] == ["uV", "arbitrary"]
    (tmp_path / "study.toml").unlink()
    assert run(["study", str(tmp_path), *names, "--hold-off", "0.5", "--unit", "FCR=uV"]) == 1
    assert "does not say the unit of port" in capsys.readouterr().err


def test_markers_of_several_labels_are_cues_with_a_column(tmp_path, capsys):
    """Which of them a cue was is its condition; labels that no file has are named."""
    labels = ["left", "beep", "right", "left"]
    for who, said in (("1", labels), ("2", ["left", "beep"])):
        marks = [edfio.EdfAnnotation(0.5 + at, None, one) for at, one in enumerate(said)]
        edfio.Edf(
            [edfio.EdfSignal(x_of(int(who)), 1000, label="FCR", physical_dimension="uV")], annotations=marks
        ).write(tmp_path / f"P{who}.edf")
    options = ["--pattern", "P{participant}.edf", "--cue", "go", "--marker", "left", "--marker", "right"]
    data = described(tmp_path, *options)
    first, second = quiet(list, data.recordings)
    found = [(one.sample, one.label, one.details.get("marker")) for one in first.markers]
    assert found == [(500, "go", "left"), (1500, "beep", None), (2500, "go", "right"), (3500, "go", "left")]
    assert any("no marker 'right'" in note for note in second.notes)
    cut = quiet(er.cut_trials, first, cue="go", before_s=0.5, after_s=0.4)
    assert len(cut) == 3
    (tmp_path / "study.toml").unlink()
    assert run(["study", str(tmp_path), *options[:4], "--marker", "flash"]) == 1
    assert "'flash'" in capsys.readouterr().out
    (tmp_path / "study.toml").unlink()
    assert run(["study", str(tmp_path), *options, "--pulses", "FCR", "--level", "1", "--hold-off", "1"]) == 1
    assert "allowed: one of them" in capsys.readouterr().err


def test_text_is_read_under_any_ending_and_nothing_else_is(tmp_path):
    path = tmp_path / "S1.dat"
    text(path, 1, head="FCR [uV];key [V]")
    seen = er.look(path)
    assert seen.format == "delimited text"
    assert "the ending '.dat' is that of no format known here" in repr(seen)
    np.testing.assert_array_equal(er.read(path, **seen.how | {"rate_hz": 1000}).values()[0], x_of(1))
    for content in (b"", b"\x01\x02 3 4\n" * 40, bytes(range(256)) * 9, np.arange(999.0).tobytes()):
        path.write_bytes(content)
        with pytest.raises(ReadError, match="no reader knows"):
            er.look(path)
    path.write_bytes(
        "\ufefft\tFCR\n".encode("utf-16-le") + "".join(f"{n / 100}\t{n}\n" for n in range(99)).encode("utf-16-le")
    )
    assert er.look(path).how["columns"] == {"t": "time", "FCR": "FCR"}


def test_a_row_of_units_above_dates_tells_them(tmp_path):
    rows = "".join(f"18.03.2026 14:05:59,{n:03d};{n % 7},5;{n % 3}\n" for n in range(0, 999))
    path = tmp_path / "a.txt"
    for form in ("dd.mm.yyyy hh:mm:ss", "DD.MM.YYYY HH:MM:SS,fff", "hh:mm:ss"):
        path.write_text(f"Zeit;FDI;key\n{form};mV;V\n" + rows, "utf-8")
        seen = er.look(path)
        assert (seen.how["unit"], seen.how["names"], seen.asks) == ({"FDI": "mV", "key": "V"}, 1, {})


@pytest.mark.parametrize("spelled", ["?", None])
def test_what_a_file_says_itself_is_no_open_question(tmp_path, spelled):
    """The proposed call of a look, and beside it what answers its questions."""
    scipy.io.savemat(
        tmp_path / "S1.mat", {"x": np.c_[x_of(1), x_of(2)], "fs": 1000.0, "names": np.array(["A", "B"], object)}
    )
    how = er.look(tmp_path / "S1.mat").how | {"samples_along": "rows", "rate": "fs", "labels": "names", "unit": "uV"}
    how = {name: value for name, value in how.items() if spelled or value != "?"}
    own = er.read_study(er.write_study(tmp_path / "study.toml", files=how | {"pattern": "S{participant}.mat"}))
    assert (own.recordings[0].rate_hz, own.recordings[0].labels) == (1000, ("A", "B"))


@pytest.mark.parametrize("kind", ["row", "names", "ms", "bare", "parquet"])
def test_a_table_tells_units_and_times(tmp_path, kind):
    """Units in a row below the names, or in the names, and the rate by even times; what is not said is asked for."""
    x, scale = x_of(1)[:200], 1 if kind == "ms" else 1000
    rows = [[n / scale, float(a), 5.0 * (n > 90)] for n, a in enumerate(x)]
    names, units = {
        "row": (["Time", "Biceps", "key"], [["s", "\u00b5V", "V"]]),
        "ms": (["Time", "Biceps", "key"], [["ms", "\u00b5V", "V"]]),
        "bare": (["Time", "Biceps", "key"], []),
    }.get(kind, (["Time [s]", "Biceps [uV]", "key (V)"], []))
    path = tmp_path / ("a.parquet" if kind == "parquet" else "a.xlsx")
    if kind == "parquet":
        pd.DataFrame(rows, columns=names).to_parquet(path)
    else:
        pd.DataFrame([names, *units, *rows]).to_excel(path, index=False, header=False)
    seen = er.look(path)
    if kind == "bare":
        assert seen.how["rate_hz"] == seen.how["unit"] == "?"
        assert "1000 Hz if these are seconds" in seen.asks["rate_hz"]
        return
    assert (seen.how["rate_hz"], seen.how["unit"], seen.asks) == (1000, {"Biceps": "uV", "key": "V"}, {})
    np.testing.assert_array_equal(er.read(path, **seen.how).values(), [x, [row[2] for row in rows]])


def test_codes_for_nothing_known_in_a_table_of_trials_are_told_and_taken(tmp_path):
    text(tmp_path / "P1.csv", 1)
    (tmp_path / "T1.csv").write_text("side,rt_ms\nleft,312\nright,-999\nleft,298\n")
    options = ["--pattern", "P{participant}.csv", "--rate", "1000", "--unit", "FCR=uV,key=V", *PULSE_CUES]
    (rec,) = quiet(list, described(tmp_path, *options, "--trials", "T{participant}.csv").recordings)
    assert [marker.details["rt_ms"] for marker in rec.markers] == ["312", "-999", "298"]
    assert sum("-999 stands in column 'rt_ms' of T1.csv" in note for note in rec.notes) == 1
    (tmp_path / "study.toml").unlink()
    options += ["--trials", "T{participant}.csv", "--trials-missing", "-999"]
    (rec,) = quiet(list, described(tmp_path, *options).recordings)
    assert [marker.details["rt_ms"] for marker in rec.markers] == ["312", "n/a", "298"]
    assert not any("-999" in note for note in rec.notes)
