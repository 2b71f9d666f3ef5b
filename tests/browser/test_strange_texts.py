"""Texts of strangers on the screen: nothing is turned round, hidden or pushed out of its place, all is in reach. That a
key is not slow because a name is long is measured in `benchmarks/bench_keys.py`."""

import re

import pytest
from strange_texts import ENDLESS, LABELS

OPEN = "import strange_texts\nimport emgreview as er\nsession, rec = strange_texts.session()"
SHOWS = {"review": "er.review(session)", "long": "er.long_view(rec, session)"}

PAINTED = ".emgreview[data-painted]:not([data-painted=loading], [data-painted=reading])"
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
def screen(page, desk, request):
    desk.show(page, OPEN, SHOWS[request.param])
    root = page.locator(".emgreview")
    page.locator(PAINTED).wait_for(timeout=60_000)
    root.locator(".chip.keys").click()
    root.kind = request.param
    return root


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
