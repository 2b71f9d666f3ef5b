"""Both ends of the wire, the browser's own code in a process of its own, joined by links that lose and double messages:
whatever the draw, every decision is taken once, in order, told as refused once, and none is left after ten seconds."""

import heapq
import json
import random
import subprocess
from itertools import count
from pathlib import Path

import pytest

from emgreview.errors import DecisionError

pytest.importorskip("panel", reason="the widgets need the extra [notebook]")
deno = pytest.importorskip("deno")

HERE = Path(__file__).parent
CONFIG = HERE.parent / "emgreview" / "views" / "js" / "deno.json"
TICK_S, KEYS, KEYS_A_S, DRAINED_S = 0.1, 63, 30, 10.0


class Browser:
    """Its end, by lines of JSON; the clock is ours."""

    def __init__(self):
        command = [deno.find_deno_bin(), "run", "--quiet", "--no-remote", "--no-lock", "--config", CONFIG]
        command.append(HERE / "js" / "wire_end.js")
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.now, self.pending, self.stopped, self.refused, self.up = 0.0, 0, "", [], []

    def act(self, **line):
        self.process.stdin.write(json.dumps({"at": 1000 + 1000 * self.now, **line}) + "\n")
        self.process.stdin.flush()
        said = json.loads(self.process.stdout.readline())
        self.pending, self.stopped, self.refused = said["pending"], said["stopped"], said["refused"]
        self.up += said["up"]
        return said["taken"]

    def close(self):
        self.process.stdin.close()
        self.process.wait(10)
        self.process.stdout.close()


def python_end(down):
    """Python's end: notes what it takes; what goes down is appended to ``down``."""
    from emgreview.views.wire import Wire

    class End(Wire):
        def __init__(self):
            self.took = []
            self.start_wire(None)

        def __setattr__(self, name, value):
            super().__setattr__(name, value)
            if name in ("news", "pulse"):
                down.append({"name": name, "value": value})

        def _on_everything(self, data):
            self.tell_settled(data["client"])

        def _apply(self, data):
            self.took.append(data["command"])
            self.tell(cards=[{"command": data["command"], "words": "x" * 2000}])
            if data["command"].startswith("wrong"):
                raise DecisionError("that cannot be.")
            return {}

        def _status(self):
            return {"progress": [len(self.took), KEYS]}

    return End()


def play(seed, *, lost=0.25, doubled=0.25, keys=KEYS, until_s=60.0):
    """One run: both ends, the commands that the browser took, and how long after the last key nothing was pending."""
    draw, order = random.Random(seed), count()
    down, on_the_way, accepted = [], [], []
    browser, python = Browser(), python_end(down)
    ready = {"up": 0.0, "down": 0.0}  # links keep the order

    def put(link, message):
        for _ in range((draw.random() >= lost) + (draw.random() < doubled)):
            ready[link] = max(ready[link], browser.now + draw.uniform(0.005, 0.08))
            heapq.heappush(on_the_way, (ready[link], next(order), link, message))

    def flush():
        for message in browser.up:
            put("up", message)
        for message in down:
            put("down", message)
        browser.up, down[:] = [], []

    try:
        pressed, ticks, last_key = 0, 0, keys / KEYS_A_S
        while browser.now < until_s and (pressed < keys or browser.pending or on_the_way):
            key_s, tick_s = pressed / KEYS_A_S if pressed < keys else 1e9, ticks * TICK_S
            way_s = on_the_way[0][0] if on_the_way else 1e9
            browser.now = max(browser.now, min(key_s, tick_s, way_s))
            if way_s <= min(key_s, tick_s):
                _, _, link, message = heapq.heappop(on_the_way)
                python._handle_msg(message) if link == "up" else browser.act(down=message)
            elif key_s <= tick_s:
                command = f"{'wrong' if pressed % 9 == 4 else 'right'} {pressed}"
                if browser.act(decide={"command": command}):
                    accepted.append(command)
                pressed += 1
            else:
                browser.act(watch=True)
                ticks += 1
            flush()
            if pressed == keys and not browser.pending:
                break
        return browser, python, accepted, browser.now - last_key
    finally:
        browser.close()


@pytest.mark.parametrize("seed", range(8))
def test_decisions_drain_within_ten_seconds_when_every_fourth_message_is_lost_and_every_fourth_doubled(seed):
    browser, python, accepted, took_s = play(seed)
    assert browser.pending == 0, f"{browser.pending} decisions had not drained, {browser.stopped!r}"
    assert took_s <= DRAINED_S
    assert python.took == accepted
    wrong = [n for n, command in enumerate(accepted, 1) if command.startswith("wrong")]
    assert sorted(browser.refused) == wrong, "a refusal is told once"
    assert len(accepted) > KEYS / 3, "keys are taken while messages are lost"


def test_without_loss_nothing_is_sent_twice():
    _, python, accepted, took_s = play(1, lost=0, doubled=0)
    assert len(accepted) == KEYS
    assert python.took == accepted
    assert took_s < 0.5


def test_the_confirmation_of_the_last_decision_may_be_lost():
    """No other news comes that would tell it again: the next beat does."""
    down = []
    browser, python = Browser(), python_end(down)
    try:
        browser.act(decide={"command": "right"})
        python._handle_msg(browser.up.pop())
        down.clear()  # all that Python said is lost
        for tick in range(1, 9):
            browser.now = tick * TICK_S
            browser.act(watch=True)
            for message in browser.up:
                python._handle_msg(message)
            for message in down:
                browser.act(down=message)
            browser.up, down[:] = [], []
    finally:
        browser.close()
    assert browser.pending == 0
    assert python.took == ["right"]
