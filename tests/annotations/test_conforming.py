"""Every line is checked against the schema where it is read: wrong types are refused, unknown parts passed over."""

import copy
import hashlib
import json
import re
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_pieces import fields
from scripted_reviews import log_lines, make_trials, start

import emgreview as er
from emgreview.annotations.conforming import misfit, schema
from emgreview.annotations.events import canonical
from emgreview.cohort.marks import read_logs
from emgreview.errors import LogBrokenError, ParameterError

CHECK = jsonschema.Draft202012Validator(schema())
FILES = Path(__file__).parents[1] / "files"
LINES = [json.loads(line) for path in sorted(FILES.rglob("*.jsonl")) for line in path.read_bytes().splitlines()]


def places(value, path=()):
    """Every path into a value."""
    yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, part in inner:
        yield from places(part, (*path, name))


def changed(line, path, new):
    """A line with something else at a path; ``...`` takes it out."""
    line = copy.deepcopy(line)
    *above, last = path
    where = line
    for name in above:
        where = where[name]
    if new is ...:
        del where[last]
    else:
        where[last] = new
    return line


def signed_anew(path, number, change):
    """A log in which one line was changed, and every digest from there on made anew."""
    lines, head = [], "0" * 64
    for place, stored in enumerate(path.read_bytes().splitlines()):
        line = json.loads(stored)
        if place == number:
            line = change(line)
        line |= {"prev": head, "self": "0" * 64}
        line["self"] = hashlib.sha256(canonical(line)).hexdigest()
        lines.append(canonical(line))
        head = hashlib.sha256(lines[-1]).hexdigest()
    path.write_bytes(b"".join(line + b"\n" for line in lines))


def test_every_stored_line_fits():
    assert len(LINES) > 400
    for line in LINES:
        assert misfit(line) == ""


@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_it_says_what_the_reference_reader_of_schemas_says(data):
    line = data.draw(st.sampled_from(LINES))
    path = data.draw(st.sampled_from([path for path in places(line) if path and path[0] not in ("prev", "self")]))
    others = [..., None, True, -1, 0, 7, 0.5, "", "x", "unusable", [], ["x"], [["t", "c"]], {}, {"x": 1}]
    line = changed(line, path, data.draw(st.sampled_from(others)))
    assert (misfit(line) == "") == CHECK.is_valid(line), (path, misfit(line), next(CHECK.iter_errors(line), None))


@pytest.fixture
def review(tmp_path):
    with start(tmp_path) as session:
        for trial in session.queue:
            session.accept(trial, "FDI")
    return tmp_path


def log_of(folder):
    (path,) = (folder / "logs").rglob("*.jsonl")
    return path


@pytest.mark.parametrize(
    ("path", "new", "words"),
    [
        (
            ("new", "bursts", "response", "onset"),
            "early",
            'new.bursts.response.onset came as "early"; allowed: a whole',
        ),
        (("new", "bursts", "response", "kind"), "odd", 'kind came as "odd"; allowed: response, early small'),
        (("new", "bursts", "response", "automatic"), None, "automatic came as null; allowed: an object"),
        (("new", "bursts", "response", "offset"), ..., "new.bursts.response.offset is missing"),
        (("new",), "text", 'new came as "text"; allowed: an object'),
        (("counter",), "2", 'counter came as "2"; allowed: a whole number, 1 or more'),
        (("subject", "trial"), None, "subject.trial came as null; allowed: text"),
        (("subject",), 7, "subject came as 7; allowed: an object"),
        (("showing",), 0, "showing came as 0; allowed: a whole number, 1 or more"),
        (("visible",), None, "visible came as null; allowed: an object"),
        (("time",), "yesterday", "time came as"),
        (("target",), 1, "target"),
    ],
)
def test_a_line_signed_anew_with_wrong_types_is_refused_in_words(review, path, new, words):
    signed_anew(log_of(review), 2, lambda line: changed(line, path, new))
    with pytest.warns(er.errors.SignalWarning, match="line 3"):
        session = start(review)
    with session:
        assert session.read_only
        assert words in session.problem
        assert log_of(review).name in session.problem
        assert session.progress[0] == 1, "the lines before it are good"
    assert words in er.verify(review).problems[0]
    with pytest.raises(LogBrokenError, match="line 3"):
        read_logs(review, "r1")
    with pytest.raises(LogBrokenError, match="line 3"):
        er.diff(review, 1)


def test_an_old_value_signed_anew_is_refused_by_whoever_reads_it(review):
    """Opening has no use for what was decided before; undo, comparing and verifying have."""
    words = 'line 5.*old came as "text"; allowed: an object'
    signed_anew(log_of(review), 4, lambda line: changed(line, ("old",), "text"))
    before = log_lines(review)
    with start(review) as session:
        assert session.progress[0] == len(session.queue)
        with pytest.raises(LogBrokenError, match=words):
            session.undo()
        assert session.progress[0] == len(session.queue), "nothing has changed"
    assert log_lines(review) == before
    with pytest.raises(LogBrokenError, match=words):
        read_logs(review, "r1")
    (problem,) = er.verify(review).problems
    assert re.search(words, problem)


def test_the_old_value_of_a_note_is_checked_when_a_log_is_opened(review):
    scale = {"field": "log", "operation": "correct scale", "new": {"scales": {}}, "old": 3}
    signed_anew(log_of(review), 4, lambda line: line | scale)
    with pytest.warns(er.errors.SignalWarning, match="line 5"):
        session = start(review)
    session.close()


@pytest.mark.parametrize("operation", ["seal", "adjudicate", "plan audit", "bulk acceptance", "correct scale", "any"])
def test_a_note_that_lacks_what_its_readers_need_is_refused(review, operation):
    signed_anew(log_of(review), 3, lambda line: line | {"field": "log", "operation": operation, "new": 3, "old": None})
    assert "line 4" in er.verify(review).problems[0]
    assert "allowed: an object" in er.verify(review).problems[0]


def test_parts_and_fields_of_a_later_version_are_passed_over(review):
    def more(line):
        line["new"]["bursts"]["response"]["of_later"] = {"a": 1}
        line["new"]["of_later"] = line["subject"]["of_later"] = line["of_later"] = "?"
        return line

    signed_anew(log_of(review), 2, more)
    signed_anew(log_of(review), 3, lambda line: line | {"field": "of later", "new": [1], "old": None})
    assert er.verify(review).ok
    with start(review) as session:
        assert not session.read_only
        assert session.progress[0] == len(session.queue) - 1
        assert session.state(session.queue[1]).channels["FDI"].response.accepted
        session.move(session.queue[1], "FDI", onset_s=0.3)
        session.undo()
        assert session.state(session.queue[1]).channels["FDI"].response.accepted
        session.decisions()
        session.seal("v1")


def test_nothing_is_written_that_could_not_be_read(tmp_path):
    with start(tmp_path, make_trials()) as session:
        before = len(log_lines(tmp_path))
        with pytest.raises(ParameterError, match=r"new.hide came as 3; allowed: a list"):
            session.note("hide marks", {"hide": 3})
        assert len(log_lines(tmp_path)) == before
        session.accept(session.queue[0], "FDI")
    assert er.verify(tmp_path).ok


def test_a_number_that_json_schema_takes_for_whole_is_not():
    line = fields(2) | {"seq": 1.0, "prev": "0" * 64, "self": "0" * 64, "time": "2026-01-01T00:00:00.000Z"}
    assert misfit(line).startswith("seq came as 1.0; allowed: a whole number")
