"""The one door for files of strangers: whatever stands there, an error of our own, at once, or the content."""

import json
import os
import time
from pathlib import Path

import pytest

from emgreview import plain_files
from emgreview.errors import FormatError, ReadError
from emgreview.plain_files import DEEPEST, LARGEST, demand_plain, open_plain, read_json, read_small, read_toml, too_deep


def in_place_of_a_file(folder):
    """Path to the word that a message has for what stands there."""
    (folder / "folder").mkdir()
    os.mkfifo(folder / "pipe")
    (folder / "endless").symlink_to("/dev/zero")
    (folder / "loop").symlink_to("loop")
    (folder / "nowhere").symlink_to("gone")
    (folder / "to a folder").symlink_to("folder")
    return {
        "folder": "a folder",
        "pipe": "a pipe",
        "endless": "a device (behind a link)",
        "loop": "symbolic links",
        "nowhere": "a link to a file that is not there",
        "to a folder": "a folder (behind a link)",
        "absent": "there is no file",
        "zero\0byte": "cannot be read",
        "lone \udcff surrogate \ud800": "cannot be read",
        "x" * 300: "cannot be read",
    }


@pytest.mark.parametrize("look", [demand_plain, open_plain, read_small, read_json, read_toml])
def test_what_is_no_plain_file_is_refused_at_once_and_named(tmp_path, look):
    begun = time.process_time()
    for name, words in in_place_of_a_file(tmp_path).items():
        with pytest.raises(ReadError) as refused:
            look(tmp_path / name)
        assert words in str(refused.value), name
    assert time.process_time() - begun < 2


def test_a_file_that_may_not_be_read_is_an_error_of_ours(tmp_path, monkeypatch):
    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    (tmp_path / "kept").write_text("{}")
    monkeypatch.setattr(plain_files.os, "open", refuse)
    with pytest.raises(ReadError, match="Permission denied"):
        read_small(tmp_path / "kept")


def test_a_link_to_a_plain_file_is_followed(tmp_path):
    (tmp_path / "there").write_bytes(b"[1]")
    (tmp_path / "link").symlink_to("there")
    assert read_json(tmp_path / "link") == [1]


def test_as_many_bytes_as_allowed_are_read_and_not_one_more(tmp_path):
    path = tmp_path / "x"
    path.write_bytes(b"a" * 100)
    assert read_small(path, 100) == b"a" * 100
    with pytest.raises(ReadError, match="more than 99 bytes"):
        read_small(path, 99)


def test_a_file_that_says_no_size_and_has_no_end_is_read_up_to_the_limit():
    path = Path("/proc/self/pagemap")  # plain by its kind, size 0, gigabytes of content
    if not path.is_file():
        pytest.skip("no such file on this system")
    with pytest.raises(ReadError):
        read_small(path, 1 << 16)


@pytest.mark.parametrize(
    "text",
    [
        "[" * 200_000,
        '{"a":' * 100_000,
        "[" * (DEEPEST + 1) + "]" * (DEEPEST + 1),
        '[{"a":' * DEEPEST + "1" + "}]" * DEEPEST,
        '"' + "[" * 100 + '", ' + "[" * 65,
    ],
)
def test_deep_nesting_is_told_before_it_is_read(text):
    with pytest.raises(FormatError, match="nests"):
        read_json(text.encode())


def test_depth_is_counted_outside_of_strings_alone():
    deepest = "[" * DEEPEST + "]" * DEEPEST
    assert read_json(deepest.encode()) is not None
    for text in (json.dumps("[" * 500), json.dumps({'\\"[' * 99: ["}{" * 99] * 70}), json.dumps([[]] * 500)):
        assert read_json(text.encode()) == json.loads(text)


def test_depth_is_told_in_time_that_grows_with_the_length_alone():
    begun = time.process_time()
    for hard in (b'"\\' * 500_000, b'\\"' * 500_000, b'"[' * 500_000, b"[]" * 500_000, b'"' + b'\\"[' * 300_000):
        too_deep(hard)
    assert time.process_time() - begun < 2


@pytest.mark.parametrize("number", ["NaN", "-Infinity", "1e999", "-1e400", "9" * 5000, str(LARGEST + 1), "1" * 400])
def test_numbers_that_are_none_are_refused_or_come_as_text(number):
    text = f'{{"a": {number}, "b": 2}}'.encode()
    with pytest.raises(FormatError, match="number"):
        read_json(text)
    found = read_json(text, odd_numbers_as_text=True)
    assert found["b"] == 2
    assert found["a"] == number if len(number) < 40 else found["a"].startswith(number[:30])


def test_the_largest_whole_numbers_and_small_fractions_are_kept():
    assert read_json(f"[{LARGEST}, {-LARGEST}, 1e308, 1e-999, -0.5]".encode()) == [LARGEST, -LARGEST, 1e308, 0.0, -0.5]


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"\xff\xfe", b"\x00" * 50, b'{"a": 01}', b"nul", "{}\ud800".encode("utf-16", "surrogatepass")],
)
def test_what_is_no_json_is_refused(content):
    with pytest.raises(FormatError):
        read_json(content, name="it")


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 20_000,
        "a" + ".a" * 100 + " = 1",
        "[" + "a." * 20_000 + "a]",
        "a = nan",
        "a = [-inf]",
        "a = 1e999",
        "a = 0x" + "f" * 5000,
        "a = " + "9" * 5000,
        "a = 99999999999999999",
        "\x00",
        "a",
        "a = 2020-99-99",
    ],
)
def test_toml_of_strangers_is_refused_in_our_own_words(tmp_path, text):
    path = tmp_path / "rule.toml"
    path.write_text(text)
    with pytest.raises(FormatError, match=r"rule\.toml"):
        read_toml(path)


def test_toml_is_read(tmp_path):
    path = tmp_path / "rule.toml"
    path.write_text(f'a = "{". " * 600}"\n[b]\nc = [1.5, 2]\n')
    assert read_toml(path) == {"a": ". " * 600, "b": {"c": [1.5, 2]}}
