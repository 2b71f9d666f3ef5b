"""Results as bytes: whole, the same, and never more than values."""

import math
import pickle
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emgreview.errors import FormatError
from emgreview.model import Note, Onsets
from emgreview.running.values import decode, encode, seal, unseal

PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.tuples(inner, inner) | st.dictionaries(st.text() | st.integers(), inner),
    max_leaves=20,
)


def same(one, other):
    if isinstance(one, float) and math.isnan(one):
        return isinstance(other, float) and math.isnan(other)
    if type(one) is not type(other):
        return False
    if isinstance(one, list | tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, dict):
        return list(one) == list(other) and all(same(one[key], other[key]) for key in one)
    return one == other


@given(PLAIN)
def test_plain_values_come_back_whole(value):
    content = encode(value)
    assert same(decode(content), value)
    assert encode(decode(content)) == content, "the same bytes again"


@pytest.mark.parametrize("dtype", ["f4", "f8", "i8", "?", "<U7", ">f8"])
def test_arrays_come_back_whole(dtype):
    array = np.arange(12).reshape(3, 4).astype(dtype)
    found = decode(encode({"a": array, "b": [array[:, ::2]]}))
    np.testing.assert_array_equal(found["a"], array)
    np.testing.assert_array_equal(found["b"][0], array[:, ::2])
    assert found["a"].dtype == array.dtype


def test_what_is_not_finite_and_odd_texts_come_back():
    value = [math.nan, math.inf, -math.inf, -0.0, 5e-324, 1 << 80, "\ud800", "\x00", {"of": "x"}, {"number": "1"}]
    assert same(decode(encode(value)), value)
    assert math.copysign(1, decode(encode(-0.0))) == -1


def test_named_classes_come_back_and_others_do_not():
    note = Note("Channel A", "is flat.", trial="t", channel="A")
    one = np.zeros(2)
    onsets = Onsets(one, one, one, one, one, one, one, one, one, np.array(["", "x"]), "ramp", {"a": (1, 2.0)})
    found, again = decode(encode((note, onsets)), (Note, Onsets))
    assert (found, found.trial, found.channel, found.words) == (note, "t", "A", "is flat.")
    assert again.parameters == {"a": (1, 2.0)}
    assert again.baseline_note.tolist() == ["", "x"]
    with pytest.raises(FormatError, match="Note"):
        decode(encode(note), (Onsets,))


def test_what_is_no_value_is_refused():
    @dataclass
    class Own:
        part: object

    for value in (object(), Own(object()), np.array([object()]), {1, 2}, b"bytes"):
        with pytest.raises(TypeError):
            encode(value)


def test_no_code_comes_from_bytes():
    hostile = pickle.dumps(print)
    for content in (hostile, b"\x02" + bytes(7) + b"[]" + hostile, b"", b"\xff" * 40, encode([1]) + b"\x93NUMPY"):
        with pytest.raises(FormatError):
            decode(content)


def test_every_bit_of_a_sealed_result_counts():
    sealed = bytearray(seal(encode({"a": 1.5}), b"key"))
    assert decode(unseal(bytes(sealed), b"key")) == {"a": 1.5}
    with pytest.raises(FormatError):
        unseal(bytes(sealed), b"another")
    for at in range(len(sealed)):
        sealed[at] ^= 1
        with pytest.raises(FormatError):
            unseal(bytes(sealed), b"key")
        sealed[at] ^= 1
    for stop in range(len(sealed)):
        with pytest.raises(FormatError):
            unseal(bytes(sealed[:stop]), b"key")
