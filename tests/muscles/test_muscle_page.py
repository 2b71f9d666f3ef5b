"""The page of the reference and the command: self-contained, escaped, whole, and thin."""

import html
import json
import re
from html.parser import HTMLParser

import pytest

import emgreview as er
from emgreview.errors import ParameterError
from emgreview.muscles import CAUTION, Fact, Source, all_muscles
from emgreview.muscles.page import page, write_page


class Elements(HTMLParser):
    """Every element of a page with its attributes, and the text outside styles and scripts."""

    def __init__(self, text):
        super().__init__()
        self.found, self.words, self.inside = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        self.inside.append(tag)

    def handle_endtag(self, tag):
        while self.inside and self.inside.pop() != tag:
            pass

    def handle_data(self, data):
        if not {"style", "script"} & set(self.inside):
            self.words.append(data)


@pytest.fixture(scope="module")
def whole():
    return page(er.muscles())


def test_a_page_asks_nothing_of_any_network(whole):
    assert "default-src 'none'" in whole
    for tag, attributes in Elements(whole).found:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base"), tag
        assert "src" not in attributes
        assert all(not name.startswith("on") for name in attributes)
        assert attributes.get("href", "#").startswith("#")
    assert "http://" not in whole
    assert "https://" not in whole
    assert "url(" not in whole


def test_every_muscle_has_its_place_with_every_fact_and_every_link_leads_somewhere(whole):
    elements = Elements(whole)
    ids = {attributes["id"] for tag, attributes in elements.found if tag == "article"}
    assert ids == set(all_muscles())
    links = {attributes["href"][1:] for tag, attributes in elements.found if tag == "a"}
    assert links <= ids
    words = re.sub(r"\s+", " ", " ".join(elements.words))
    for one in all_muscles().values():
        assert f"Warning: {one.warning}." in re.sub(r" +", " ", words) or not one.warning
        for _, fact, said in one.facts():
            assert fact.by in words
            assert said in words or fact in (*one.hears, *one.antagonists)


def test_the_caution_stands_before_everything_else(whole):
    assert whole.index(html.escape(CAUTION)) < whole.index("<nav") < whole.index("<article")
    assert 'role="note"' in whole


def test_whatever_a_fact_holds_is_text():
    import dataclasses

    bad = "</p><script>alert(1)</script>\u202e\x1b[2J\" onload='x'"
    one = all_muscles()["brachialis"]
    odd = dataclasses.replace(
        one, name=bad, warning=bad, side=bad, site=(Fact(bad, (Source("read", bad),)),), synonyms=(bad,)
    )
    text = page([odd], title=bad)
    assert text.count("<script") == 1
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert all("onload" not in attributes for _, attributes in Elements(text).found)


def test_a_drawing_is_put_where_one_is_made():
    text = page(
        [all_muscles()["biceps_brachii"], all_muscles()["brachialis"]],
        drawing=lambda key: f"<svg id='{key}'/>" if key == "brachialis" else "",
    )
    assert text.count('<figure class="drawing">') == 1
    assert "<figure class=\"drawing\"><svg id='brachialis'/></figure>" in text
    assert text.index('id="brachialis"') < text.index("<svg id='brachialis'/>")


def test_a_page_is_written_once(tmp_path):
    path = write_page(tmp_path / "muscles.html", er.muscles("triceps"))
    assert path.read_text(encoding="utf-8").count("<article") == 3
    with pytest.raises(ParameterError, match="exists already"):
        write_page(path, er.muscles())
    with pytest.raises(ParameterError, match="cannot be written"):
        write_page(tmp_path / "no" / "x.html", er.muscles())


# The command -------------------------------------------------------------------------------------------------------


def test_the_command_answers_words_and_options(run):
    status, out, err = run("muscles", "bend", "the", "elbow", "--superficial")
    assert (status, err) == (0, "")
    assert out.startswith("elbow flexion; superficial: 3 muscles")
    assert "emgreview muscles NAME shows one" in out
    assert "not a medical device" in out
    status, out, _ = run("muscles", "--heard-by", "BR")
    assert (status, "biceps brachii (BB)" in out) == (0, True)
    status, out, _ = run("muscles", "--hears", "heart", "--json")
    assert status == 0
    assert "infraspinatus" in [one["key"] for one in json.loads(out)["muscles"]]
    status, out, _ = run("muscles", "BB")
    assert out.startswith("biceps brachii: upper arm")
    assert run("muscles", "thumb IP flexion", "--heard-by", "BR")[0] == 1  # nothing fits


def test_the_command_writes_a_page_once(run, tmp_path):
    path = tmp_path / "elbow.html"
    status, _out, err = run("muscles", "--movement", "elbow extension", "--page", path)
    assert (status, err) == (0, f"written to {path}\n")
    assert path.read_text(encoding="utf-8").count("<article") == 3
    status, _, err = run("muscles", "--page", path)
    assert status == 1
    assert "exists already" in err


def test_the_command_matches_labels_and_asks(run):
    status, out, _ = run("muscles", "--match", "BB,ED,TRIGGER")
    assert status == 1
    assert "Is it extensor digitorum or extensor digiti minimi?" in out
    assert "--say 'ED=extensor_digitorum'" in out
    status, out, _ = run("muscles", "--match", "BB,ED", "--say", "ED=EDC", "--json")
    assert (status, [row["key"] for row in json.loads(out)["labels"]]) == (0, ["biceps_brachii", "extensor_digitorum"])
    status, _, err = run("muscles", "BB", "--match", "BB")
    assert (status, "labels alone" in err) == (1, True)


def test_slips_are_one_line(run):
    for arguments in (
        ("muscles", "whistle"),
        ("muscles", "--heard-by", "DI"),
        ("muscles", "--match", "ED", "--say", "X=BB"),
    ):
        status, out, err = run(*arguments)
        assert (status, out, err.count("\n")) == (1, "", 1)
        assert "heard_by" not in err
