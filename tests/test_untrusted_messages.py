"""What a browser sends is not trusted: whatever comes, in whatever shape, is answered in words or refused with a
reason, and never ends in a fault of the program; no number that is not finite gets in."""

import itertools
import json
import math

import numpy as np
import pytest

import emgreview as er
from emgreview.session import COMMANDS

pytest.importorskip("panel", reason="the widgets need the extra [notebook]")

from emgreview.views import messages

RATE_HZ = 1000
ODD = [
    None,
    True,
    -1,
    0.5,
    10**400,
    math.nan,
    math.inf,
    "",
    "x" * 200_000,
    "\ud800",
    [],
    [[]],
    [None],
    {},
    {"a": 1},
    (),
]


@pytest.fixture
def session(tmp_path):
    x = np.random.default_rng(1).normal(0, 5, (2, 12 * RATE_HZ))
    markers = [(2000 * k, "go") for k in range(1, 5)]
    rec = er.Recording.from_array(x, RATE_HZ, labels=["FDI", "APB"], markers=markers, name="rec")
    trials = er.cut_trials(rec, cue="go", before_s=0.5, after_s=1.0, processing=er.Processing(high_hz=None))
    with er.open_review(trials, tmp_path / "review", reviewer="r1", method="threshold") as session:
        yield session


@pytest.fixture(params=["review", "long", "people"])
def screen(session, request):
    if request.param == "people":
        return er.participants([session.trials[0].recording], cue="go", before_s=0.5, after_s=1.0, session=session)
    if request.param == "review":
        return er.review(session)
    return er.long_view(session.trials[0].recording, session)


def logged(session) -> str:
    return "".join(path.read_text() for path in (session.folder / "logs").rglob("*.jsonl"))


@pytest.mark.parametrize(
    "odd", [None, 5, "hello", [], {}, {"kind": "hello"}, {"client": "c"}, {"kind": "hello", "client": "c" * 100}]
)
def test_what_is_no_message_is_passed_over(screen, odd):
    before = screen.news
    screen._handle_msg(odd)
    assert screen.news == before or json.loads(screen.news)["updates"][-1]["said"]["client"] == "c"


@pytest.mark.parametrize("kind", ["shutdown", "_handle_msg", "decide()", "", None, 3, "change", ["hello"]])
def test_an_unknown_kind_is_answered_in_words(screen, kind):
    screen._handle_msg({"kind": kind, "client": "c"})
    words = json.loads(screen.news)["updates"][-1]["said"]["words"]
    assert "a message of kind" in words
    assert "allowed: hello, everything" in words
    assert "reload the page" in words


def test_every_part_of_every_kind_is_looked_at(screen):
    whole = {
        "held": [0],
        "trials": [0],
        "which": "not yet reviewed",
        "methods": ["threshold", "likelihood-ratio"],
        "by_s": 0.02,
        "begin": True,
        "index": 0,
        "channel": "FDI",
        "onset_s": 0.1,
        "offset_s": 0.3,
        "for": "x",
        "start_s": 0.0,
        "stop_s": 0.2,
        "n": 1,
        "sent": 0,
        "view": [0, 100],
        "want": [-10, 200],
        "width": 1,
        "kinds": ["raw", "raw"],
        "near": 0,
        "people": [0],
        "person": 0,
        "trial": 0,
    }
    for kind, parts in messages.MESSAGES.items():
        if kind == "decide":
            continue
        good = {name: whole[name] for name in parts}
        for name in parts:
            for odd in [messages.ABSENT, *ODD]:
                message = {"kind": kind, "client": "c", **good, name: odd}
                if odd is messages.ABSENT:
                    del message[name]
                screen._handle_msg(message)


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_no_number_that_is_not_finite_is_taken(screen, session, number):
    before = logged(session)
    base = {"kind": "decide", "client": "c", "index": 0, "channel": "FDI", "seen": None, "visible": {}}
    asked = [
        {"command": "add", "args": {"onset_s": number}},
        {"command": "not_locatable", "args": {"earliest_s": 0.1, "latest_s": number}},
        {"command": "half_width", "args": {"half_width_ms": number, "burst": None}},
        {"command": "mark_burst", "args": {"row": 0, "start_s": number, "stop_s": 3.0}},
        {"command": "add_cue", "args": {"at_s": number, "label": "go"}},
        {"command": "discuss", "args": {}, "visible": {"gain": [number]}},
        {"command": "discuss", "args": {"deep": [[{"a": number}]]}},
        {"command": "accept", "args": {}, "seen": {"FDI": [["b", number, None]]}},
    ]
    for n, one in enumerate(asked, 1):
        screen._handle_msg({**base, **one, "n": n})
        last = json.loads(screen.news)["updates"][-1]
        assert last["settled"] == {"client": "c", "n": n}
        assert "finite" in last["refused"][-1]["words"] or "no decision" in last["refused"][-1]["words"]
    assert logged(session) == before


def test_no_decision_of_any_shape_is_a_fault_of_the_program(screen, session):
    """Every command with every odd value in the place of every argument, and of every part."""
    names = ["burst", "onset_s", "offset_s", "reasons", "kind", "confidence", "text", "trial", "row", "what", "reason"]
    names += ["half_width_ms", "earliest_s", "on", "behaviour", "method", "name", "label", "at_s", "start_s", "stop_s"]
    good = {
        "add": {"onset_s": 0.2},
        "not_locatable": {"earliest_s": 0.1, "latest_s": 0.2},
        "unusable": {"reasons": ["clipped"]},
        "kind": {"kind": "MEP", "burst": None, "row": 0, "trial": session.queue[0]},
        "move": {"burst": None, "onset_s": 0.3, "offset_s": None, "row": 0, "trial": session.queue[0]},
        "exclude": {"what": "channel", "reason": "broken"},
        "mark_burst": {"row": 0, "start_s": 2.0, "stop_s": 2.3},
        "set_aside": {"row": 0, "start_s": 2.0, "stop_s": 2.3, "reasons": ["clipped"]},
        "correct_cue": {"trial": session.queue[0], "at_s": 2.01, "reason": "late"},
        "add_cue": {"at_s": 3.0, "label": "go"},
    }
    base = {"kind": "decide", "client": "c", "index": 0, "channel": "FDI", "seen": None, "visible": {}}
    n = 0
    commands = [*COMMANDS, "seal", "unblind", "change_method", "finish_audit", "__class__", "close", ""]
    for command, odd in itertools.product(commands, (None, True, -1, 0.5, 10**400, math.nan, "odd", [[]], {"a": 1})):
        tried = [{"args": {**good.get(command, {}), name: odd}} for name in names]
        tried += [{"index": odd}, {"channel": odd}, {"seen": odd}, {"seen": {"FDI": odd}}, {"visible": odd}]
        tried += [{"args": odd}, {"visible": {"self": odd}}, {"args": {"self": odd}}, {"args": {"strange": odd}}]
        if command in ("change_method", "seal"):
            tried = tried[-9:]  # these would be done, again and again
        for more in tried:
            n += 1
            screen._handle_msg({**base, "args": good.get(command, {}), **more, "command": command, "n": n})
    last = json.loads(screen.news)["updates"][-1]
    assert last["settled"] == {"client": "c", "n": n}
    assert "fault in the program" not in json.dumps(last["refused"])
    assert er.verify(session.folder).ok


@pytest.mark.parametrize("text", ["x" * 200_000, 10**5000], ids=["long", "a huge number"])
def test_what_comes_early_and_is_large_is_asked_for_again(screen, session, text):
    base = {"kind": "decide", "client": "c", "index": 0, "channel": "FDI", "seen": None, "visible": {}}
    screen._handle_msg({**base, "n": 2, "command": "discuss", "args": {}})
    screen._handle_msg({**base, "n": 3, "command": "comment", "args": {"text": text}})
    screen._handle_msg({"kind": "beat", "client": "c", "n": 1, "sent": 3, "settled": 0})
    assert json.loads(screen.news)["updates"][-1]["gap"]["missing"] == [1, 3]
    screen._handle_msg({**base, "n": 1, "command": "accept", "args": {}})
    screen._handle_msg({**base, "n": 3, "command": "comment", "args": {"text": text}})
    last = json.loads(screen.news)["updates"][-1]
    assert last["settled"] == {"client": "c", "n": 3}
    assert last["refused"][-1]["n"] == 3
