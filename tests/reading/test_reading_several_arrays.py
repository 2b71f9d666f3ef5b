"""Channels in arrays of their own, what a look makes of their names, and odd bytes in MATLAB's files; against scipy's
and h5py's own writers."""

import struct
import zlib

import h5py
import numpy as np
import pytest
import scipy.io

import emgreview as er
from emgreview.cli import run
from emgreview.errors import EmgreviewError, FormatError, ParameterError
from emgreview.reading.matlab import _variables

N = 1200
X = np.random.default_rng(4).integers(-2000, 2000, (N, 3)).astype(np.int16)
PULSES = (np.arange(N) % 400 < 20) * 5.0
SAID = {"rate_hz": 1000, "unit": "uV"}


@pytest.fixture(params=["h5", "mat", "packed"])
def apart(request, tmp_path):
    """A vector a channel, a matrix of two, pulses apart, and numbers and texts that say more."""
    if request.param == "h5":
        with h5py.File(tmp_path / "a.h5", "w") as file:
            for place, name in enumerate(("FCR", "ECR", "BB")):
                file[f"emg/{name}"] = X[:, place]
            file["emg"].attrs.update({"unit": "uV", "gain": 0.5, "offset": 3.0})
            file["both"], file["trigger"], file["short"] = X[:, :2], PULSES, X[:-1, 0]
            file["go"] = [0.1, 0.5, 0.9]
        return tmp_path / "a.h5", "/"
    emg = dict(zip(("FCR", "ECR", "BB"), X.T, strict=True)) | {"unit": "uV", "gain": 0.5, "offset": 3.0}
    more = {"both": X[:, :2], "trigger": PULSES, "short": X[:-1, 0], "go": [0.1, 0.5, 0.9]}
    scipy.io.savemat(tmp_path / "a.mat", {"emg": emg, **more}, do_compression=request.param == "packed")
    return tmp_path / "a.mat", "."


def test_a_vector_a_channel_is_read_as_one_recording(apart):
    path, dot = apart
    names = [f"emg{dot}{name}" for name in ("BB", "FCR")]
    rec = er.read(path, data=names, **SAID)
    assert rec.labels == ("BB", "FCR")
    np.testing.assert_array_equal(rec.values(), X[:, [2, 0]].T)
    np.testing.assert_array_equal(rec.source.digital(100, 300, [1, 0]), X[100:300, [0, 2]].T)
    assert er.read(path, data=names, columns=["arm", "flexor"], **SAID).labels == ("arm", "flexor")
    chosen = er.read(path, data=names, columns={"FCR": "flexor"}, **SAID)
    assert chosen.labels == ("flexor",)
    np.testing.assert_array_equal(chosen.values(), X[:, :1].T)
    assert er.read(path, data=names, gain=f"emg{'@' if dot == '/' else dot}gain", **SAID).source.scale(1) == (0.5, 0.0)


def test_pulses_in_an_array_of_their_own_give_cues(apart):
    path, _ = apart
    rec = er.read(
        path, data=["both", "trigger"], samples_along="rows", columns=["FCR", "ECR", "key"], rate_hz=1000,
        unit={"FCR": "uV", "ECR": "uV", "key": "V"}, kinds={"key": "TRIG"},
    )  # fmt: skip
    np.testing.assert_array_equal(rec.source.digital(0, N, [0, 1, 2]), np.c_[X[:, :2], PULSES].T)
    found = er.with_cues(rec, "key", level=2.5, hold_off_s=0.1, label="go")
    assert [marker.sample for marker in found.markers] == [400, 800]
    with pytest.raises(ParameterError, match=r"names 2 columns, and .* has 3"):
        er.read(path, data=["both", "trigger"], samples_along="rows", columns=["FCR", "ECR"], **SAID)
    with pytest.raises(FormatError, match=r"different lengths \(trigger 1200, short 1199\)"):
        er.read(path, data=["trigger", "short"], **SAID)
    with pytest.raises(ParameterError, match="data came as"):
        er.read(path, data=["trigger", "trigger"], **SAID)


def test_a_look_proposes_what_names_say_and_applies_nothing(apart):
    path, dot = apart
    seen = er.look(path)
    assert f"'emg{dot}ECR'" in seen.asks["data"].partition("a channel each: data=[")[2]
    assert f"'emg{'@' if dot == '/' else dot}unit' says 'uV'" in seen.asks["unit"]
    assert (seen.how["unit"], seen.how["gain"]) == ("uV", "?")
    assert "gain=1 where the samples are in their unit already" in seen.asks["gain"]
    assert any("go rises from 0.1 to 0.9" in fact and "cues='go'" in fact for fact in seen.facts)
    assert any("may have to be added to the samples: reading adds nothing" in fact for fact in seen.facts)
    with pytest.raises(EmgreviewError, match=r"\?"):
        er.read(path, **dict(seen.how))


def test_a_study_may_name_several_arrays(tmp_path, capsys):
    scipy.io.savemat(tmp_path / "P01.mat", {"FCR": X[:, 0], "ECR": X[:, 1], "key": PULSES})
    order = [
        "study",
        str(tmp_path),
        "--pattern",
        "P{participant}.mat",
        "--rate",
        "1000",
        "--unit",
        "FCR=uV,ECR=uV,key=V",
    ]
    order += ["--set", 'data=["FCR","ECR","key"]', "--columns", "FCR,ECR,key", "--cue", "go", "--pulses", "key"]
    assert run([*order, "--level", "2.5", "--hold-off", "0.1"]) == 0, capsys.readouterr().err
    assert "FCR, ECR, key; go 2" in capsys.readouterr().out


# MATLAB's bytes ---------------------------------------------------------------------------------------------------


def element(kind: int, body: bytes) -> bytes:
    return struct.pack("<II", kind, len(body)) + body + bytes(-len(body) % 8)


def matrix(name: bytes, of_class: int, shape: tuple[int, ...], *parts: bytes) -> bytes:
    head = element(6, struct.pack("<II", of_class, 0)) + element(5, struct.pack(f"<{len(shape)}i", *shape))
    return element(14, head + element(1, name) + b"".join(parts))


def written(path, *elements: bytes):
    path.write_bytes(b"MATLAB 5.0 MAT-file".ljust(124) + b"\x00\x01IM" + b"".join(elements))
    return path


@pytest.mark.parametrize(
    ("kind", "body", "said"),
    [
        (4, "F😀".encode("utf-16-le"), "F😀"),
        (4, b"F\x00\x3d\xd8R\x00", "F\ufffdR"),
        (1, b"F\xffR", "F\ufffdR"),
        (16, "Fµ".encode(), "Fµ"),
        (5, struct.pack("<2i", 70, -70), "F\ufffd"),
    ],
)
def test_texts_hold_signs_alone_whatever_codes_there_are(tmp_path, kind, body, said):
    n = {16: 2}.get(kind, len(body) // {1: 1, 4: 2, 5: 4}.get(kind, 1))
    text = matrix(b"t", 4, (1, n), element(kind, body))
    (label,) = _variables(written(tmp_path / "a.mat", text)).texts("t")
    assert label == said
    label.encode("utf-8")


def test_odd_texts_and_cells_are_refused_in_words(tmp_path):
    real = matrix(b"t", 4, (1, 1), element(9, struct.pack("<d", 70.5)))
    with pytest.raises(FormatError, match="data of type 9 in 't'"):
        er.look(written(tmp_path / "a.mat", real))
    odd = matrix(b"", 4, (1, -2), element(16, b"ab"))
    cell = matrix(b"c", 1, (1, 1), odd)
    (entry,) = _variables(written(tmp_path / "a.mat", cell)).entries()
    assert (entry.role, entry.refused) == ("", "its cells hold no text")
    field = element(5, struct.pack("<i", 8)) + element(1, b"name".ljust(8, b"\0"))
    inner = matrix(b"", 2, (1, 1), field, matrix(b"", 4, (1, 3), element(16, b"FCR")))
    (entry,) = _variables(written(tmp_path / "a.mat", matrix(b"c", 1, (1, 1), inner))).entries()
    assert (entry.role, entry.refused) == ("", "its cells hold no text"), "a struct in a cell is no text"


def test_no_damage_of_a_packed_variable_becomes_another_number(tmp_path):
    path = tmp_path / "a.mat"
    scipy.io.savemat(path, {"x": X[:100, 0].astype(float), "s": {"y": X[:40, 1]}}, do_compression=True)
    whole = path.read_bytes()
    read = 0
    for place in range(136, len(whole)):
        for bit in (1, 16):
            path.write_bytes(whole[:place] + bytes([whole[place] ^ bit]) + whole[place + 1 :])
            try:
                found = _variables(path)
                x, y = found.numbers("x"), found.numbers("s.y")
            except (EmgreviewError, KeyError):
                continue
            np.testing.assert_array_equal(x, X[:100, 0])
            np.testing.assert_array_equal(y, X[:40, 1])
            read += 1
    assert read < 20, "hardly any bit means nothing"


def test_a_packed_variable_ends_where_it_says(tmp_path):
    one = matrix(b"x", 6, (1, 200), element(9, np.arange(200.0).tobytes()))
    for more, good in ((b"", True), (b"\0" * 8, False)):
        body = zlib.compress(one + more)
        path = written(tmp_path / "a.mat", struct.pack("<II", 15, len(body)) + body)
        if good:
            np.testing.assert_array_equal(_variables(path).numbers("x"), np.arange(200.0))
        else:
            with pytest.raises(FormatError, match="does not end after"):
                _variables(path).numbers("x")
