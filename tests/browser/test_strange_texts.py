"""Texts of strangers on the screen: nothing is turned round, hidden or pushed out of its place, all is in reach."""

import re

import pytest
from conftest import Served
from strange_texts import ENDLESS, LABELS

APP = "import strange_texts\nimport emgreview as er\nsession, rec = strange_texts.session()\n"
SHOWS = {"review": "er.review(session).servable()", "long": "er.long_view(rec, session).servable()"}

READ = """(root) => {
  const found = []
  const walk = (node) => {
    for (const child of node.childNodes) {
      if (child.nodeType === 3) found.push(child.data)
      else if (child.nodeType === 1) {
        for (const name of ['title', 'aria-label']) if (child.hasAttribute(name)) found.push(child.getAttribute(name))
        walk(child)
      }
    }
  }
  walk(root)
  return found
}"""

IN_ORDER = """(element) => {
  const text = element.firstChild
  const {0: words, index: at} = text.data.match(/ · cue \\d+ of \\d+ | · \\d+ channels · \\d+ Hz/)
  const lefts = [...words].map((_, i) => {
    const range = document.createRange()
    range.setStart(text, at + i)
    range.setEnd(text, at + i + 1)
    return range.getBoundingClientRect()
  })
  return lefts.every((box, i) => !i || box.top > lefts[i - 1].top || box.left >= lefts[i - 1].left - 0.5)
}"""


@pytest.fixture(params=SHOWS)
def screen(page, tmp_path, request):
    (tmp_path / "app.py").write_text(APP + SHOWS[request.param])
    command = ["panel", "serve", "app.py", "--port={port}", "--address=127.0.0.1"]
    server = Served([*command, "--allow-websocket-origin=127.0.0.1:{port}"], tmp_path, "/app")
    page.goto(server.base + "/app")
    root = page.locator(".emgreview")
    root.wait_for(timeout=60_000)
    page.wait_for_timeout(1000)
    root.locator(".chip.keys").click()
    root.kind = request.param
    yield root
    server.stop()


def is_tame(text: str) -> bool:
    """Nothing turns, hides or breaks, but runs from right to left that are isolated as a whole."""
    bare = re.sub("\u2067[^\u2066-\u2069]*\u2069", "", text)
    return not re.search(
        "[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u061c\u200b\u200e\u200f\u2028-\u202e\u2066-\u2069]", bare
    )


def test_no_text_turns_others_round_or_leaves_its_place(page, screen):
    for width in (1400, 1024):
        page.set_viewport_size({"width": width, "height": 950})
        page.wait_for_timeout(500)
        box = screen.bounding_box()
        assert page.evaluate("() => document.scrollingElement.scrollWidth <= window.innerWidth"), (
            "nothing is pushed out"
        )
        assert box["height"] < 2000
        assert screen.locator(".title").bounding_box()["height"] < 70
        assert screen.locator(".foot").first.bounding_box()["height"] < 90
    texts = screen.evaluate(READ)
    assert [text for text in texts if not is_tame(text)] == []
    assert screen.locator(".title").evaluate(IN_ORDER), "what stands after a name from right to left stays in its order"
    if screen.kind == "long":
        assert "7 channels · 1000 Hz" in screen.locator(".title").inner_text()


def test_every_word_is_in_reach_by_keyboard(page, screen):
    page.keyboard.press("Shift+w")
    form = screen.locator(".form")
    words = form.inner_text()
    assert ENDLESS in words.replace("\n", "")
    assert "line↵break" in words
    assert LABELS[2] in words.replace("\u2067", "").replace("\u2069", "")
    assert form.evaluate("(form) => form.scrollWidth <= form.clientWidth + 1"), "it wraps"
    before = form.evaluate("(form) => form.scrollTop")
    page.keyboard.press("PageDown")
    assert form.evaluate("(form) => form.scrollTop") > before
    page.keyboard.press("Escape")
    assert form.is_hidden()


def test_a_key_is_not_slow_because_a_name_is_long(page, screen):
    if screen.kind == "long":
        pytest.skip("its pace is that of the picture")
    took = page.evaluate(
        """async (root) => {
          const began = performance.now()
          for (let i = 0; i < 20; i++) {
            const code = i % 2 ? 'ArrowLeft' : 'ArrowRight'
            root.dispatchEvent(new KeyboardEvent('keydown', {code, key: code, bubbles: true}))
            await new Promise(requestAnimationFrame)
          }
          return (performance.now() - began) / 20
        }""",
        screen.element_handle(),
    )
    assert took < 150, f"{took:.0f} ms a trial"
