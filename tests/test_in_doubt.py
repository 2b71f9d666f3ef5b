"""What a screen is told of a decision of which nobody knows whether it is on disk."""

import json

import pytest

from emgreview.errors import DecisionError, LogWriteError
from emgreview.views.wire import Wire


class Screen(Wire):
    """A widget whose every decision ends the same way."""

    def __init__(self, why):
        self.news, self.pulse, self._why = "", "", why
        self.start_wire(None)

    def _apply(self, data):
        raise self._why

    def _status(self):
        return {"problem": None}


def failed(in_doubt):
    why = LogWriteError("the disk said no")
    why.in_doubt = in_doubt
    return why


@pytest.mark.parametrize(
    ("why", "doubt"),
    [
        (failed(True), True),
        (failed(False), None),
        (DecisionError("no"), None),
        (KeyError("x"), True),
        (KeyboardInterrupt(), True),
    ],
)
def test_a_refusal_says_whether_the_decision_may_be_on_disk(why, doubt):
    screen = Screen(why)
    message = {"kind": "decide", "client": "c", "n": 1, "command": "accept", "args": {}, "visible": {}}
    if isinstance(why, KeyError | KeyboardInterrupt):  # a fault, or an interrupt, goes on to whoever looks for it
        with pytest.raises(type(why)):
            screen._handle_msg(message)
    else:
        screen._handle_msg(message)
    (told,) = json.loads(screen.news)["updates"][-1]["refused"]
    assert (told["n"], told.get("doubt")) == (1, doubt)
