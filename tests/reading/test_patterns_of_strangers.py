"""Patterns and folders of a stranger's study: told at once, whatever they hold, and otherwise as before."""

import random
import re
from contextlib import suppress

import pytest

import emgreview as er
from emgreview.errors import EmgreviewError, FormatError, ParameterError
from emgreview.reading import patterns
from emgreview.reading.patterns import Pattern

NAME = "a" * 200


def expression(text, lazy):
    """The same as a regular expression, which on some texts takes years."""
    more, made, seen = "?" if lazy else "", "", set()
    for piece in filter(None, re.split(r"(\{[^{}]*\}|\*)", text)):
        if piece.startswith("{"):
            made += f"(?P={piece[1:-1]})" if piece in seen else f"(?P<{piece[1:-1]}>[^/]+{more})"
            seen.add(piece)
        else:
            made += f"[^/]*{more}" if piece == "*" else re.escape(piece)
    return re.compile(made)


def test_a_path_fits_as_it_fits_a_regular_expression():
    chance, outcomes = random.Random(1), {"none": 0, "one": 0, "two": 0}
    pieces = ["{participant}", "{task}", "{run}", "*", "a", "b", "_", "/", "ab", "."]
    for _ in range(8000):
        text = "".join(chance.choice(pieces) for _ in range(chance.randrange(1, 8)))
        if text.startswith("/") or ".." in text:
            continue
        path = "".join(chance.choice("aab_/.") for _ in range(chance.randrange(10)))
        short, long = (expression(text, lazy).fullmatch(path) for lazy in (True, False))
        if short is not None and short.groupdict() != long.groupdict():
            outcomes["two"] += 1
            with pytest.raises(FormatError, match="in two ways"):
                Pattern(text).match(path)
        else:
            outcomes["one" if short else "none"] += 1
            assert Pattern(text).match(path) == (short and short.groupdict()), (text, path)
    assert min(outcomes.values()) > 50, outcomes


@pytest.mark.parametrize(
    "pattern",
    [
        "*a" * 12 + "*b.csv",
        "{participant}a{session}a{task}a{run}a{acquisition}a{recording}ab.csv",
        "{participant}{session}{task}{run}{acquisition}b.csv",
        "{participant}{session}{participant}{session}{task}{task}{run}*b.csv",
        "*" * 39 + "b*",
    ],
)
def test_whether_a_name_fits_is_told_or_refused_in_so_many_tries(pattern, monkeypatch):
    tries = []
    inner = patterns._Matching._from
    monkeypatch.setattr(patterns._Matching, "_from", lambda self, *at: tries.append(1) or inner(self, *at))
    with suppress(FormatError):
        assert Pattern(pattern).match(f"{NAME}.csv") is None
    assert len(tries) < 2 * patterns.MOST_TRIES + 10


@pytest.mark.parametrize("pattern", ["*/" * 3000 + "*.csv", "{participant}" * 3000, "*" * 100])
def test_a_pattern_without_end_is_refused(pattern):
    with pytest.raises(ParameterError, match="allowed: 20 folders, and 40 of the others"):
        Pattern(pattern)


def test_links_that_lead_round_in_a_circle_are_gone_once(tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "P1.csv").write_text("0\n")
    for name in ("a", "b", "data/up"):
        (tmp_path / name).symlink_to("." if name != "data/up" else "..")
    found = Pattern("*/" * 19 + "P{participant}.csv").files(tmp_path)
    assert found == []
    assert [path.relative_to(tmp_path).as_posix() for path, _ in Pattern("*/P{participant}.csv").files(tmp_path)] == [
        "data/P1.csv"
    ]


def test_folders_that_are_many_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(patterns, "MOST_LOOKED", 50)
    for level in range(4):
        for one in range(4):
            (tmp_path / f"{level}").mkdir(exist_ok=True)
            (tmp_path / f"{level}" / f"{one}").symlink_to(f"../{level + 1}")
    (tmp_path / "4").mkdir()
    with pytest.raises(FormatError, match="more than 50 files and folders"):
        Pattern("0/*/*/*/*/x.csv").files(tmp_path)


def test_a_study_of_a_stranger_is_read_or_refused(tmp_path):
    (tmp_path / f"{NAME}.csv").write_text("0,1\n")
    (tmp_path / "study.toml").write_text('name = "x"\n[files]\npattern = "' + "*a" * 12 + '*b.csv"\nrate_hz = 100\n')
    with pytest.raises(EmgreviewError):
        er.read_study(tmp_path / "study.toml")
