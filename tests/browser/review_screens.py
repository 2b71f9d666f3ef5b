"""The review widget as the browser tests meet it, in JupyterLab or on a page: its cells, what it says, its log."""

import json
import time
from pathlib import Path

import pytest
from conftest import run_cells

OPEN = "import small_study\nsession = small_study.open_session('review')"
SHOW = "import emgreview as er\ner.review(session)"
BLIND = "import small_study\nsession = small_study.open_session('review', blind=True)"
FIRST, SECOND = "sub-a_task-turn", "sub-b_task-turn"


class Screen:
    """The widget on a page: what it says, and its keys."""

    def __init__(self, page):
        self.page = page
        self.root = page.locator(".emgreview").first
        self.root.wait_for(timeout=60_000)
        self.page.wait_for_function("() => window.document.querySelector('body') !== null")

    def focus(self):
        self.root.locator(".chip.keys").click()
        self.wait_painted(0)
        assert self.root.get_attribute("data-keys") == "on"

    def wait_painted(self, index: int):
        self.wait_for(lambda: self.root.get_attribute("data-painted") == str(index), f"trial {index} painted")

    def press(self, *keys: str):
        for key in keys:
            self.page.keyboard.press(key)

    def settle(self):
        """Wait until everything pressed so far is said to be saved; what is held, as a nudge is, counts at once."""
        self.wait_for(lambda: self.root.get_attribute("data-unsaved") == "0", "all saved")

    def title(self) -> str:
        return self.root.locator(".title").inner_text()

    def states(self) -> list[str]:
        return self.root.locator(".row .state").all_inner_texts()

    def wait_for(self, condition, what: str, seconds: float = 20):
        end = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < end, f"{what}: not within {seconds} s; the screen says {self.title()!r}"
            self.page.wait_for_timeout(20)


def events(folder: Path, recording: str = FIRST) -> list[dict]:
    (path,) = (folder / "review" / "logs").rglob(f"{recording}_reviewer-r1.jsonl")
    return [json.loads(line) for line in path.read_text().splitlines()]


def operations(folder: Path, recording: str = FIRST) -> list[str]:
    return [event["operation"] for event in events(folder, recording)]


@pytest.fixture
def working(lab):
    """JupyterLab's folder, emptied of earlier reviews; no kernel runs."""
    lab.end_kernels()
    for path in sorted((lab.folder / "review").rglob("*"), reverse=True):
        path.unlink() if path.is_file() else path.rmdir()
    return lab


def open_in_lab(page, lab, *cells: str) -> Screen:
    name = lab.write_notebook("review.ipynb", *(cells or (OPEN, SHOW, "answer = 6 * 7")))
    run_cells(page, lab, f"/lab/tree/{name}?reset")
    return Screen(page)


def open_page(page, desk, *cells: str) -> Screen:
    """The widget on a served page, where the host is not the matter."""
    desk.show(page, *(cells or (OPEN, SHOW)))
    return Screen(page)


def cell_sources(page) -> list[str]:
    return page.locator(".jp-Notebook .jp-CodeCell .cm-content").all_inner_texts()


CANVAS_BOX = """() => {
  function find(node, test) {
    for (const e of node.querySelectorAll('*')) {
      if (test(e)) return e
      const inner = e.shadowRoot && find(e.shadowRoot, test)
      if (inner) return inner
    }
  }
  const canvas = find(document, (e) => e.tagName === 'CANVAS' && e.style.pointerEvents === 'none' && e.style.left)
  const box = canvas.getBoundingClientRect()
  return {left: box.left, top: box.top, width: box.width, height: box.height, x0: -1, x1: 1.5 - 1 / 2000}
}"""
