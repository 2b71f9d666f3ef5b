"""A review on a real screen, driven by any engine: what the widget says, its keys, and places on its picture.

run_cells   open a notebook and run its cells
Screen      the widget on a page, found through all shadow roots
Picture     times and channels as places on the picture
"""

import time
from collections.abc import Callable
from typing import Any

from engines import Engine

EVERY = """(node, selector) => {
  const every = (node) => [...node.querySelectorAll(selector),
    ...[...node.querySelectorAll('*')].flatMap((e) => e.shadowRoot ? every(e.shadowRoot) : [])]
  return every(node)
}"""
WIDGET = f"""() => {{
  if (!window.known_widget?.isConnected) window.known_widget = ({EVERY})(document, '.emgreview')[0]
  return window.known_widget
}}"""
"""The first widget of a page, however deep."""
ALL = f"(selector, within) => ({EVERY})(within ? ({WIDGET})() : document, selector)"
"""All elements of a page, or of its first widget, that a selector fits."""
BOX = """(element) => {
  element.scrollIntoView({block: 'nearest', inline: 'nearest'})
  const box = element.getBoundingClientRect()
  return {left: box.left, top: box.top, width: box.width, height: box.height}
}"""
TEXT = "(element) => element.innerText ?? element.textContent"


class Page:
    """Elements of a page by selector: their words, attributes and places."""

    def __init__(self, engine: Engine, within: bool = False):
        self.engine, self.within = engine, within

    def of(self, selector: str, what: str, nth: int = 0, *more: Any) -> Any:
        """What a JavaScript function says of one element, None where there is none."""
        find = f"(selector, within, nth, ...more) => {{ const one = ({ALL})(selector, within)[nth];"
        return self.engine.evaluate(
            f"{find} return one ? ({what})(one, ...more) : null }}", selector, self.within, nth, *more
        )

    def count(self, selector: str) -> int:
        return self.engine.evaluate(f"(...given) => ({ALL})(...given).length", selector, self.within)

    def text(self, selector: str, nth: int = 0) -> str:
        return (self.of(selector, TEXT, nth) or "").strip()

    def texts(self, selector: str) -> list[str]:
        return self.engine.evaluate(f"(...given) => ({ALL})(...given).map({TEXT})", selector, self.within)

    def click(self, selector: str, nth: int = 0):
        box = self.of(selector, BOX, nth)
        assert box, f"nothing on the page is {selector!r}"
        self.engine.click(box["left"] + box["width"] / 2, box["top"] + box["height"] / 2)

    def wait_for(self, condition: Callable[[], Any], what: str, seconds: float = 20):
        end = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < end, f"{what}: not within {seconds} s in {self.engine.name}"
            self.engine.wait(0.01)


def run_cells(engine: Engine, server: Any, path: str, seconds: float = 90):
    """Open a notebook in JupyterLab or Notebook and run its cells, one after the other."""
    page = Page(engine)
    engine.goto(f"{server.base}{path}")
    page.wait_for(lambda: page.count(".jp-Notebook .jp-Cell"), "the notebook's cells", 60)
    engine.wait(1)
    if page.count(".jp-Dialog .jp-mod-accept"):  # a server that has just ended a kernel may ask for one
        page.click(".jp-Dialog .jp-mod-accept")
    prompt = ".jp-Notebook .jp-CodeCell .jp-InputPrompt"
    for i in range(server.n_cells):
        for turn in range(400):
            if "".join(page.text(prompt, i).split()) != "[]:":
                break
            if turn % 20 == 0:  # a kernel that is still starting ignores the first request
                page.click(prompt, i)
                engine.press("Control+Enter")
            engine.wait(0.05)
        page.wait_for(lambda i=i: any(c.isdigit() for c in page.text(prompt, i)), f"cell {i} run", seconds)


class Screen(Page):
    """The widget on a page: what it says, its keys and its buttons."""

    def __init__(self, engine: Engine):
        super().__init__(engine, within=True)
        self.wait_for(lambda: engine.evaluate(f"() => Boolean(({WIDGET})())"), "the widget", 60)

    def attribute(self, name: str) -> str | None:
        """An attribute of the widget itself."""
        return self.engine.evaluate(f"(name) => ({WIDGET})().getAttribute(name)", name)

    def focus(self):
        self.wait_painted(0)
        self.click(".chip.keys")
        self.wait_for(lambda: self.attribute("data-keys") == "on", "keys on")

    def press(self, *keys: str):
        self.wait_taken()
        self.engine.press(*keys)

    def press_buttons(self, *commands: str):
        for command in commands:
            self.wait_taken()
            self.click(f"[data-command={command}]")

    def wait_taken(self):
        """Wait while no decision is taken: on a busy machine Python answers late, and the screen stops till then."""
        self.wait_for(lambda: "stopped" not in self.text(".chip[data-state]"), "decisions taken", 60)

    def wait_painted(self, index: int):
        self.wait_for(lambda: self.attribute("data-painted") == str(index), f"trial {index} painted")

    def settle(self):
        """Wait until everything pressed so far is said to be saved; what is held, as a nudge is, counts at once."""
        self.wait_for(lambda: self.attribute("data-unsaved") == "0", "all saved")

    def wait_for(self, condition: Callable[[], Any], what: str, seconds: float = 20):
        try:
            super().wait_for(condition, what, seconds)
        except AssertionError as late:
            said = [self.text(part) for part in (".title", ".notice", ".chip[data-state]", ".live", ".form h4")]
            raise AssertionError(f"{late}; the screen says {said}") from None

    def title(self) -> str:
        return self.text(".title")


CANVAS = "(e) => e.style.pointerEvents === 'none' && e.style.left"
PICTURE_BOX = f"""() => {{
  const canvas = ({ALL})('canvas', true).find({CANVAS})
  const {{left, top, width, height}} = canvas.getBoundingClientRect()
  return {{left, top, width, height}}
}}"""


class Picture:
    """Places on the picture of a screen, in whole pixels as a real mouse points: times across, EMG channels down."""

    def __init__(
        self, engine: Engine, *, span_s: tuple[float, float], rate_hz: float, channels: int, auxiliary: int = 1
    ):
        self.engine, self.rate_hz = engine, rate_hz
        self.start_s, self.length_s = span_s[0], span_s[1] - span_s[0]
        self.box = engine.evaluate(PICTURE_BOX)
        self.row_px = (self.box["height"] - 18) / (channels + 0.55 * auxiliary)

    def at(self, seconds: float, row: int) -> tuple[int, int]:
        x = self.box["left"] + (seconds - self.start_s) / self.length_s * self.box["width"]
        return round(x), round(self.box["top"] + 18 + (row + 0.6) * self.row_px)

    def seconds(self, seconds: float) -> float:
        """The time of the pixel that lies nearest to a time."""
        return self.start_s + (self.at(seconds, 0)[0] - self.box["left"]) / self.box["width"] * self.length_s

    def sample(self, seconds: float) -> int:
        """The sample, from the cue, that a click there means."""
        return round(self.seconds(seconds) * self.rate_hz)

    def click(self, seconds: float, row: int):
        self.engine.click(*self.at(seconds, row))

    def double_click(self, seconds: float, row: int):
        self.engine.double_click(*self.at(seconds, row))

    def drag(self, from_s: float, to_s: float, row: int):
        self.engine.drag(self.at(from_s, row), self.at(to_s, row))
