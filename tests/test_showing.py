"""What a terminal and a notebook show of results: short, with units, the same in both, safe whatever a label holds."""

import html
import re
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview.showing import MOST_ROWS, WIDE, Prose, Sheet
from emgreview.simulation import rest_noise

STORED = Path(__file__).parent / "files"
WORST = "<script>alert('1')</script> & \"µ\""


def in_text(page):
    """The cells and sentences of a page, without its marks."""
    return [html.unescape(part) for part in re.findall(r">([^<>]+)<", page)]


def small(labels=("biceps", "flexor")):
    x = rest_noise((len(labels), 8000), 1000.0, np.random.default_rng(0), level_uv=3.0)
    return er.Recording.from_array(x, 1000.0, labels=list(labels))


def test_check_is_a_short_table_with_units_and_still_a_list():
    found = er.check(small())
    assert isinstance(found, list)
    assert [one.label for one in found] == ["biceps", "flexor"]
    lines = repr(found).splitlines()
    head = ["channel", "rest (RMS)", "loudest (RMS)", "mains (%)", "below 20 Hz (%)", "missing (%)", "stands out"]
    assert re.split(r"\s{2,}", lines[0]) == head
    assert re.match(r"biceps +2\.\d+ µV +3\.\d+ µV ", lines[1])
    assert "Nothing stands out." in lines
    assert "Looked at: all 8 s." in lines
    assert len(repr(found)) < 700
    assert repr(found[0]).splitlines()[1].split()[0] == "biceps"


def test_a_terminal_and_a_notebook_say_the_same():
    found = er.check(small())
    text = re.split(r"\s{2,}|\n", repr(found))
    assert [part.strip() for part in in_text(found._repr_html_()) if part.strip()] == [part for part in text if part]


def test_a_label_is_text_whatever_it_holds():
    page = er.check(small([WORST, "b"]))._repr_html_()
    assert "<script" not in page
    assert WORST in in_text(page)


def test_long_tables_are_cut_and_say_so():
    sheet = Sheet("Title", ("a", "b"), [(str(n), "x") for n in range(MOST_ROWS + 7)])
    for page in (sheet.text(), sheet.html()):
        assert "and 7 more rows" in page
        assert str(MOST_ROWS) not in re.findall(r"\b\d+\b", page.replace("7 more", ""))


def test_columns_stand_under_their_names_whatever_signs_they_hold():
    lines = Sheet("", ("channel", "µV"), [("a", "3"), ("伸筋", "12"), ("e\u0301", "7")]).text().splitlines()
    assert lines[1:] == ["a         3", "伸筋     12", "e\u0301         7"]


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # scales that old logs did not keep
def test_results_of_two_reviewers_and_differences_are_tables():
    found = er.agreement(STORED / "review-1b", "r1", "r2")
    text = repr(found)
    for words in ("In words", "In time, r2 minus r1", "kappa", "ICC(2,1)", "limits of agreement (ms)", " ms"):
        assert words in text
        assert words in html.unescape(found._repr_html_())
    assert len(text) < 2500
    changed = er.diff(STORED / "review-1b", "first", "first-again", reviewer="r1")
    assert repr(changed).startswith(str(changed))
    if len(changed.table):
        assert "moved (ms)" in repr(changed)


def test_prose_is_lines_in_a_terminal_and_a_whole_table_in_a_notebook():
    rows = [("BB", "flexion", "a book"), ("BB", "supination " * 20, ""), (WORST, "x", "y")]
    prose = Prose("Title", ("muscle", "action", "source"), rows)
    lines = prose.text().splitlines()
    assert lines[:4] == ["Title", "BB", "    flexion", "    source: a book"]
    assert lines.count("BB") == 1
    assert max(map(len, lines)) <= WIDE
    assert "more rows" not in Prose("", ("a", "b"), [(str(n), "x") for n in range(MOST_ROWS + 7)]).html()
    assert "<script" not in prose.html()
    assert WORST in in_text(prose.html())
    assert prose.html().count("<tr>") == 1 + len(rows)
