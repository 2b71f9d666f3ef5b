"""What is held in the browser counts as not saved, and is on disk when the page is left: a nudge, a drag, a form."""

import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from review_screens import CANVAS_BOX, events, open_page, operations
from small_study import RATE_HZ

LONG = "import long_study\nimport emgreview as er\nsession, rec = long_study.session()\n"
LONG += "er.long_view(rec, session)"

NO_WAITING = """() => {
  const real = window.setTimeout
  window.setTimeout = (run, ms, ...more) => (ms === 300 ? 1e9 : real(run, ms, ...more))
}"""
"""A nudge is never sent because its 300 ms are over."""


@pytest.fixture
def screen(page, desk):
    screen = open_page(page, desk)
    screen.folder = desk.folder
    screen.focus()
    return screen


def said(screen) -> str:
    return screen.root.locator(".head .chip[data-state]").inner_text()


def moves(folder: Path) -> list[dict]:
    return [event for event in events(folder) if event["operation"] == "move"]


def leave(screen, n: int):
    """Leave the page: it asks, and while it does what it held is saved."""
    asked = []

    def answer(dialog):
        asked.append(dialog.type)
        end = time.monotonic() + 20
        while len(moves(screen.folder)) < n and time.monotonic() < end:
            time.sleep(0.05)
        dialog.accept()

    screen.page.on("dialog", answer)
    screen.page.goto("about:blank")
    assert asked == ["beforeunload"]
    assert len(moves(screen.folder)) == n


def wait_for_moves(screen, n: int):
    screen.wait_for(lambda: len(moves(screen.folder)) == n, f"{n} moves on disk")


def test_a_nudge_counts_as_not_saved_at_once_and_while_its_key_repeats(screen):
    assert said(screen) == "✓ all saved"
    for _ in range(15):  # a held key
        screen.press("l")
        assert said(screen) == "… not yet saved: 1"
        screen.page.wait_for_timeout(60)
    assert moves(screen.folder) == []
    screen.settle()
    assert said(screen) == "✓ all saved"
    wait_for_moves(screen, 1)


@pytest.mark.parametrize("leaves", ["goes", "hides", "loses the focus", "shows another trial"])
def test_a_held_nudge_is_on_disk_when_the_page(screen, leaves):
    page = screen.page
    page.evaluate(NO_WAITING)
    screen.press("l", "l", "Semicolon")
    assert said(screen) == "… not yet saved: 1"
    if leaves == "goes":
        leave(screen, 1)
    elif leaves == "hides":
        page.evaluate(
            """() => {
              Object.defineProperty(document, 'hidden', {value: true, configurable: true})
              document.dispatchEvent(new Event('visibilitychange'))
            }"""
        )
    elif leaves == "loses the focus":
        page.evaluate(
            "() => { let e = document; while (e) { const a = e.activeElement; e = a?.shadowRoot; if (!e) a.blur() } }"
        )
    else:
        screen.press("ArrowRight")
    wait_for_moves(screen, 1)
    new = moves(screen.folder)[0]["new"]["bursts"]["response"]
    assert new["onset"] - new["automatic"]["onset"] == round(0.012 * RATE_HZ)


def test_a_drag_under_way_counts_and_is_on_disk_when_the_page_goes(screen):
    page = screen.page
    box = page.evaluate(CANVAS_BOX)

    def x_of(seconds):
        return round(box["left"] + (seconds - box["x0"]) / (box["x1"] - box["x0"]) * box["width"])

    y = round(box["top"] + 18 + 0.6 * (box["height"] - 18) / 3.55)
    page.mouse.move(x_of(0.2), y)
    page.mouse.down()
    page.mouse.move(x_of(0.3), y, steps=4)
    assert said(screen) == "… not yet saved: 1"
    leave(screen, 1)
    new = moves(screen.folder)[0]["new"]["bursts"]["response"]
    assert abs((new["onset"] - 4000) / RATE_HZ - 0.3) < 0.02


def test_a_comment_being_typed_counts_stays_and_the_page_asks_before_it_goes(screen):
    page = screen.page
    screen.press("c")
    assert said(screen) == "✓ all saved", "an open form with nothing in it holds nothing"
    page.keyboard.type("wire came off")
    screen.wait_for(lambda: said(screen) == "… not yet saved: 1", "the words count")
    screen.root.locator(".over-map").click(position={"x": 60, "y": 40})  # another trial, by mouse
    assert "Enter confirms them, Esc leaves" in screen.root.locator(".notice").inner_text()
    box = page.evaluate(CANVAS_BOX)
    page.mouse.click(box["left"] + 60, box["top"] + box["height"] * 0.6)
    field = screen.root.locator(".form input")
    assert field.input_value() == "wire came off"
    asked = []

    def answer(dialog):
        asked.append(dialog.type)
        dialog.dismiss()

    page.on("dialog", answer)
    page.evaluate("() => { setTimeout(() => location.reload(), 0) }")
    screen.wait_for(lambda: asked == ["beforeunload"], "the page asks")
    page.keyboard.type(", sorry")
    screen.press("Enter")
    screen.settle()
    assert events(screen.folder)[-1]["new"] == "wire came off, sorry"
    assert events(screen.folder)[-1]["subject"]["channel"] == "biceps"
    assert said(screen) == "✓ all saved"
    page.goto("about:blank")
    assert asked == ["beforeunload"], "nothing is asked where nothing would be lost"


def test_a_comment_that_is_too_long_stays_in_its_form_and_says_so(screen):
    page = screen.page
    screen.press("c")
    page.keyboard.insert_text("x" * 10_001)
    screen.press("Enter")
    notice = screen.root.locator(".notice").inner_text()
    assert "10001 letters; at most 10000 are allowed: shorten it" in notice
    assert len(screen.root.locator(".form input").input_value()) == 10_001
    screen.press("Backspace", "Enter")
    screen.settle()
    assert events(screen.folder)[-1]["new"] == "x" * 10_000


def test_no_number_that_is_not_finite_leaves_a_form(screen):
    screen.press("Shift+h")
    screen.page.keyboard.type("1e999")
    screen.press("Enter")
    assert "half_width_ms = Infinity cannot be sent" in screen.root.locator(".notice").inner_text()
    assert operations(screen.folder) == ["open log"]
    screen.press("Escape")


def test_an_edge_moved_in_the_long_view_is_on_disk_when_the_page_goes(page, desk):
    desk.show(page, LONG)
    root = page.locator(".emgreview")
    page.locator(".emgreview[data-painted=whole]").wait_for(timeout=60_000)
    root.locator(".chip.keys").click()
    for key in ("Home", "i", "Semicolon"):
        page.keyboard.press(key)
    assert root.locator(".chip[data-state]").inner_text() == "… not yet saved: 1"
    leave(SimpleNamespace(page=page, folder=desk.folder), 1)
    new = moves(desk.folder)[0]["new"]["bursts"]["response"]
    assert new["onset"] - new["automatic"]["onset"] == round(0.01 * RATE_HZ)
