"""The bytes of a line: canonical, digested, and read back without being written again."""

import hashlib

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from emgreview.annotations.events import (
    BEHAVIOURS,
    CAUTIONS,
    REASONS,
    ZEROS,
    canonical,
    check_name,
    check_reasons,
    check_reviewer,
    check_text,
    decode,
    encode,
    to_event,
)
from emgreview.errors import DecisionError, LogBrokenError, ParameterError, UnknownNameError


def values(floats):
    scalars = st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | floats | st.text()
    return st.recursive(
        scalars,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
        max_leaves=12,
    )


def fields(**changes):
    subject = dict.fromkeys(("dataset", "participant", "recording", "channel", "trial", "burst"))
    whole = {
        "seq": 3,
        "prev": ZEROS,
        "time": "2026-01-02T03:04:05.678Z",
        "counter": 7,
        "reviewer": "r1",
        "operation": "comment",
        "subject": subject,
        "showing": 1,
        "field": "comment",
        "old": None,
        "new": "looks odd",
        "reason": None,
        "visible": {"span_s": [-0.5, 1.0]},
        "blind": False,
    }
    return {**whole, **changes}


@given(values(st.floats(allow_nan=False, allow_infinity=False)))
def test_both_ways_of_writing_give_the_canonical_bytes(value):
    # The outside check is the package rfc8785, an implementation of RFC 8785.
    assert canonical(value) == rfc8785.dumps(value)


def test_keys_are_in_the_order_of_utf_16():
    # RFC 8785, section 3.2.3: U+10000 (D800 DC00) comes before U+FFFF, unlike in the order of code points.
    assert canonical({"\uffff": 1, "\U00010000": 2}) == '{"\U00010000":2,"\uffff":1}'.encode()


@given(values(st.floats(-1e15, 1e15)), st.text().filter(lambda text: '"self"' not in text))
def test_a_line_is_canonical_and_reads_back(value, text):
    given = fields(new={"kept": value}, reason=text)
    line, event = encode(given)
    assert line == rfc8785.dumps({**given, "self": event.digest})
    assert b"\n" not in line
    found, whole, _ = decode(line)
    assert whole
    assert to_event(found) == event


def test_the_digest_is_that_of_the_bytes_with_its_own_digits_zeroed():
    line, event = encode(fields())
    zeroed = line.replace(event.digest.encode(), ZEROS.encode())
    assert hashlib.sha256(zeroed).hexdigest() == event.digest
    assert decode(line.replace(b"odd", b"fine"))[1] is False


def test_text_that_looks_like_a_digest_of_its_own_is_only_text():
    line, _ = encode(fields(new='"self":"' + ZEROS))
    assert to_event(decode(line)[0]).new == '"self":"' + ZEROS
    with pytest.raises(ParameterError, match='key called "self"'):
        encode(fields(visible={"self": "me"}))


@pytest.mark.parametrize("value", [float("nan"), 2**53, {1: 2}, {"a": object()}, "\ud800"])
def test_what_json_cannot_hold_is_refused(value):
    with pytest.raises(ParameterError, match="cannot be written"):
        encode(fields(new=value))


@pytest.mark.parametrize("line", [b"", b"[]", b'{"self":"' + b"0" * 64 + b'"', b"{}", b'"self":"\xff"'])
def test_what_is_no_line_is_broken(line):
    with pytest.raises(LogBrokenError):
        to_event(decode(line)[0])


@pytest.mark.parametrize("code", ["", "a/b", "..", "r 1", "é", "r\n", "x" * 33, "-r", None])
def test_reviewer_codes_that_are_no_file_name_are_refused(code):
    with pytest.raises(ParameterError, match="reviewer code"):
        check_reviewer(code)


@pytest.mark.parametrize("name", ["", ".", "a/b", "a\\b", "a\tb", "..", "con:", "a ", "é" * 100, "a\u2028b"])
def test_recording_names_that_are_no_file_name_are_refused(name):
    with pytest.raises(ParameterError, match="recording name"):
        check_name("recording name", name)


def test_ordinary_names_pass():
    assert check_name("recording name", "sub-01_task-reach_emg")
    assert check_name("recording name", "Übung 3")


@pytest.mark.parametrize("text", ["a\nb", "a\tb", "\x00", "a\x85b", "a\u2028b", "\x1b[31m"])
def test_control_characters_in_comments_are_refused(text):
    with pytest.raises(DecisionError, match="control character or line break"):
        check_text(text)


@pytest.mark.parametrize("text", ["=1+1", '"quoted", and \\', "µV 😀 ‮", "n/a", "<b>&amp;"])
def test_any_other_text_is_kept_as_it_is(text):
    assert check_text(text) == text


def test_reasons_are_words_of_the_list_the_main_one_first():
    assert check_reasons(["clipped", "mains hum", "clipped"], REASONS) == ["clipped", "mains hum"]
    assert check_reasons(["other: strap  slipped"], REASONS) == ["other: strap  slipped"]
    with pytest.raises(DecisionError, match="without text"):
        check_reasons(["other"], REASONS)
    with pytest.raises(DecisionError, match="at least one"):
        check_reasons([], CAUTIONS)
    with pytest.raises(UnknownNameError, match="Did you mean 'clipped'"):
        check_reasons(["clippd"], REASONS)


def test_lists_are_numbered_from_one():
    for choices in (REASONS, CAUTIONS, BEHAVIOURS):
        assert [choice.number for choice in choices] == list(range(1, len(choices) + 1))
    assert REASONS[1].words == "lead or movement swing (<20 Hz)"
