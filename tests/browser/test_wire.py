"""The wire between browser and Python, with messages that are lost on the way: no decision is lost, doubled, or called
saved before it is."""

from pathlib import Path

import pytest

from emgreview.errors import DecisionError
from emgreview.views import wire

SHARED = Path(wire.__file__).parent / "js" / "shared"


def module() -> str:
    """The browser's end as one module, as a page without a server can take it."""
    plain, own = ((SHARED / name).read_text("utf-8") for name in ("plain.js", "wire.js"))
    needs = 'import {not_plain} from "./plain.js"\n'
    assert needs in own
    return own.replace(needs, plain)


class Taking(wire.Wire):
    """Python's side: notes what it takes."""

    def __init__(self):
        self.news = self.pulse = ""
        self.took = []
        self.start_wire(None)

    def _apply(self, data):
        if data["command"] == "wrong":
            raise DecisionError("that cannot be.")
        self.took.append(data["command"])
        return {}

    def _status(self):
        return {}


class Ends:
    """Both ends, and the messages between them, handed over by hand."""

    def __init__(self, page):
        self.page, self.python = page, Taking()
        page.goto("about:blank")
        page.evaluate(
            """async (text) => {
              const {make_wire} = await import(URL.createObjectURL(new Blob([text], {type: "text/javascript"})))
              window.up = []
              window.heard = []
              window.model = {
                news: "", pulse: "", properties: {news: {}, pulse: {}},
                on: (name, f) => { model["on_" + name] = f },
                send_msg: (message) => up.push(message)}
              window.wire = make_wire(model)
              wire.listen((what) => heard.push(what))
            }""",
            module(),
        )

    def decide(self, *commands):
        for command in commands:
            self.page.evaluate("command => wire.decide({command, args: {}, visible: {}})", command)

    def hand_over(self, *, lose=()):
        """What the browser sent goes to Python, but for messages by their places, and the answers come back."""
        sent = self.page.evaluate("up.splice(0)")
        for place, message in enumerate(sent):
            if place in lose:
                continue
            self.python._handle_msg(message)
            self.page.evaluate(
                "([news, pulse]) => { Object.assign(model, {news, pulse}); model.on_news(); model.on_pulse() }",
                [self.python.news, self.python.pulse],
            )
        return sent

    def pending(self):
        return self.page.evaluate("wire.pending.length")

    def stopped(self):
        return self.page.evaluate("wire.stopped")


@pytest.fixture
def ends(page):
    return Ends(page)


@pytest.mark.parametrize("lost", [{0}, {1}, {0, 1}, {0, 2}])
def test_what_was_lost_before_another_is_sent_again_in_order_and_taken_once(ends, lost):
    ends.decide("one", "two", "three")
    ends.hand_over(lose=lost)
    assert ends.pending() == 3 - min(lost)
    for _ in range(3):
        ends.page.wait_for_timeout(520)
        ends.page.evaluate("wire.watch(true)")
        ends.hand_over()
    assert ends.python.took == ["one", "two", "three"]
    assert ends.pending() == 0
    assert ends.stopped() == ""


def test_the_last_one_is_missed_by_the_next_beat(ends):
    ends.decide("one", "two")
    ends.hand_over(lose={1})
    assert ends.pending() == 1
    ends.page.evaluate("wire.watch(false)")  # asked for even while the keys are off
    ends.hand_over()
    ends.hand_over()
    assert (ends.python.took, ends.pending()) == (["one", "two"], 0)


def test_chatter_is_no_confirmation(ends):
    """Other news and answers to beats do not make a decision that is not settled look well."""
    ends.decide("one")
    ends.page.evaluate("up.splice(0)")
    for _ in range(4):
        ends.page.wait_for_timeout(500)
        ends.python.tell(share=0.5)
        ends.page.evaluate("news => { model.news = news; model.on_news() }", ends.python.news)
        ends.page.evaluate("wire.watch(true)")
    assert "has not confirmed 1 decision" in ends.stopped()
    assert ends.page.evaluate("wire.decide({command: 'two'})") is False
    ends.hand_over()
    ends.hand_over()
    assert (ends.python.took, ends.pending(), ends.stopped()) == (["one"], 0, "")


def test_silence_stops_decisions_and_an_answer_lets_them_go_on(ends):
    ends.page.evaluate("wire.watch(true)")
    ends.page.wait_for_timeout(1600)
    ends.page.evaluate("wire.watch(true)")
    assert "does not answer" in ends.stopped()
    ends.hand_over()
    assert ends.stopped() == ""


def test_a_refusal_is_told_once_with_its_decision_even_if_news_was_lost(ends):
    ends.decide("wrong", "two")
    sent = ends.page.evaluate("up.splice(0)")
    for message in sent:
        ends.python._handle_msg(message)
    for _ in range(20):  # all that was told of them is gone from the last news
        ends.python.tell(share=0.5)
    ends.python._on_everything = lambda data: ends.python.tell_settled(data["client"])
    ends.page.evaluate("news => { model.news = news; model.on_news() }", ends.python.news)
    ends.hand_over()
    told = ends.page.evaluate("heard.filter((what) => what.refusal).map((what) => what.refusal)")
    assert [(refusal["n"], refusal["decision"]["command"]) for refusal in told] == [(1, "wrong")]
    assert (ends.python.took, ends.pending()) == (["two"], 0)
