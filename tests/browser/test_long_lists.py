"""In a real browser: lists of any length by key and by mouse; a dead channel and another response, told."""

import pytest
from conftest import Desk, Served
from review_screens import OPEN, SHOW, Screen, events, open_page

DEAD = f"""import numpy as np
import small_study
import emgreview as er
whole = small_study.recording({"sub-a_task-turn"!r}, 0)
x = whole.values()
x[1] = np.random.default_rng(5).normal(0, 0.45, x.shape[1])  # 0.3 µV between 20 and 450 Hz
rec = er.Recording.from_array(x, small_study.RATE_HZ, labels=whole.labels, channels=whole.channels,
                              markers=whole.markers, name=whole.name)
trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
session = er.open_review(trials, "review", reviewer="r1")"""


@pytest.fixture(scope="module")
def server_of_many(tmp_path_factory):
    """Pages of a process of its own, in which the lists of the package are changed."""
    server = Served(["pages", "{port}"], tmp_path_factory.mktemp("many"), "/ready")
    yield server
    server.stop()


@pytest.fixture
def many(server_of_many, tmp_path):
    return Desk(server_of_many, tmp_path)


def texts(screen: Screen) -> list[str]:
    return screen.root.locator(".form .choice").all_inner_texts()


def test_every_reason_is_reached_however_many_there_are(page, many):
    screen = open_page(page, many, "import many_reasons", OPEN, SHOW)
    screen.focus()
    screen.press("s")
    assert len(texts(screen)) == 72
    assert "other" in texts(screen)[-1]
    screen.press("ArrowUp", "ArrowUp", "Space", "q", "Enter")  # the last but one by arrows, the 13th by its letter
    screen.settle()
    assert events(many.folder)[-1]["new"]["reasons"] == ["our own reason 59", "our own reason 1"]


def test_other_is_reached_at_the_end_of_the_list_by_key_and_by_mouse(page, many):
    screen = open_page(page, many, "import many_reasons", OPEN, SHOW)
    screen.focus()
    screen.press("s", "ArrowUp", "Space")
    page.keyboard.type("strap slipped")
    screen.press("Enter")
    screen.settle()
    assert events(many.folder)[-1]["new"]["reasons"] == ["other: strap slipped"]
    screen.press("s")
    screen.root.locator(".form .choice").last.click()
    page.keyboard.type("strap slipped again")
    screen.press("ArrowUp", "Space", "Enter")  # and on by arrows, from the field
    screen.settle()
    said = events(many.folder)[-1]["new"]["reasons"]
    assert said == ["other: strap slipped again", "our own reason 59"]
    screen.press("b", "ArrowDown", "ArrowDown", "Enter")  # of a list with keys for all: arrows and Enter
    screen.settle()
    assert events(many.folder)[-1]["new"] == "anticipation"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_dead_channel_is_said_and_stays_open(page, desk, theme, tmp_path):
    screen = open_page(page, desk, DEAD, SHOW)
    if theme == "dark":
        page.evaluate("document.body.dataset.jpThemeLight = 'false'")
    screen.focus()
    assert screen.states()[1].startswith("dead · ")
    screen.press("g")
    screen.settle()
    notice = screen.root.locator(".notice")
    screen.wait_for(lambda: "Trial 1, left open: wrist flexors (dead: 0." in notice.inner_text(), "what was left open")
    assert screen.title().startswith("Trial 1 "), "the screen goes on to the channel that is left"
    assert screen.root.locator(".row[aria-current=true] .name").inner_text() == "wrist flexors"
    assert "✕ dead: 0." in screen.root.locator(".detail").inner_text()
    page.screenshot(path=tmp_path / f"dead-{theme}.png")
    event = events(desk.folder)[-1]
    assert (event["operation"], sorted(event["new"])) == ("accept rest", ["biceps", "wrist extensors"])
    screen.press("s", "5", "Enter")  # unusable: flat
    screen.settle()
    assert screen.title().startswith("Trial 2 ")


def test_another_response_and_a_burst_inside_another_are_said(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    notice = screen.root.locator(".notice")
    screen.press("e")  # at the cursor, 250 ms: inside the burst from 195 ms on
    screen.settle()
    screen.wait_for(lambda: "biceps: burst 2 of 2 lies inside burst 1 of 2." in notice.inner_text(), "said")
    screen.press("r")
    for _ in range(10):
        screen.press("Shift+J")
    screen.press("e")
    screen.settle()
    screen.wait_for(lambda: "the response is now burst 1 of 2" in notice.inner_text(), "said of the response")
    assert "burst 1, the response" in screen.root.locator(".detail").inner_text()
