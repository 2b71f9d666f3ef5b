"""The screen of people with 200 people × 6 channels × 80 trials: from a summary in memory to the first picture, and
from a key to the painted person, against the floor of the same run: a key that changes one word.

    python tests/benchmarks/bench_participants.py [--people 200] [--presses 60]

"Painted" is two animation frames after all pictures were drawn. Prints ms and ratios. Budgets: first picture 2 s from
the summary (making the widget, and from its page's address to its pictures); from a key to the painted person p95 100
ms, for the next person of the table (sent ahead) and for one whose trials are not in the browser yet (next page).
"""

import argparse
import os
import pickle
import sys
import tempfile
import time
import urllib.parse
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))
from bench_keys import FLOOR
from conftest import ARGUMENTS, CHROMIUM, Served
from invented_people import summary_of

import emgreview as er

LABELS = ("FCR", "ECR", "BB", "TB", "FDI", "APB")
CELLS = """
import pickle, emgreview as er, invented_people
if "kept" not in vars(invented_people):  # the server goes on from page to page
    invented_people.kept = pickle.load(open("found.pickle", "rb"))
er.participants(invented_people.kept)
"""
WATCH = """(root) => {
  window.seen = []
  let pressed = 0
  window.addEventListener('keydown', (e) => { pressed = e.timeStamp }, true)
  new MutationObserver(() => {
    const painted = root.dataset.painted
    if (painted === 'loading' || !pressed) return
    const from = pressed
    pressed = 0
    const drawn = performance.now() - from
    requestAnimationFrame(() => requestAnimationFrame(() =>
      window.seen.push([drawn, performance.now() - from, Number(root.dataset.drawing)])))
  }).observe(root, {attributes: true, attributeFilter: ['data-painted']})
}"""


def told(what: str, values: list[float]) -> float:
    p50, p95 = np.percentile(values, [50, 95])
    print(f"{what:44} p50 {p50:6.1f} ms   p95 {p95:6.1f} ms   ({len(values)})")
    return float(p95)


def first_picture(page, address: str) -> float:
    """Seconds from a page's address to its pictures."""
    began = time.perf_counter()
    page.goto(address, timeout=600_000)
    root = page.locator(".emgreview.people")
    root.wait_for(timeout=600_000)
    page.wait_for_function(
        "root => root.dataset.painted && root.dataset.painted !== 'loading'", arg=root.element_handle(), timeout=600_000
    )
    return time.perf_counter() - began


def steps(page, root, key: str, presses: int) -> np.ndarray:
    page.evaluate("() => { window.seen = [] }")
    for k in range(presses):
        page.keyboard.press(key)
        page.wait_for_function("n => window.seen.length > n", arg=k, timeout=20_000)
    return np.array(page.evaluate("() => window.seen"))


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--people", type=int, default=200)
    options.add_argument("--presses", type=int, default=60)
    given = options.parse_args()
    print(f"load at the start: {os.getloadavg()[0]:.1f}")
    found = summary_of(given.people, LABELS, 40, 2)
    er.participants(found)  # what is loaded once
    began = time.perf_counter()
    er.participants(found)
    made = time.perf_counter() - began
    folder = Path(tempfile.mkdtemp())
    server = Served(["pages", "{port}"], folder, "/ready")
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
            page = browser.new_page(viewport={"width": 1400, "height": 950})
            (folder / "found.pickle").write_bytes(pickle.dumps(found))
            (folder / "cells.py").write_text(CELLS)
            address = f"{server.base}/page?folder={urllib.parse.quote(str(folder))}"
            first_picture(page, address)  # the summary is made, and the page's own files are fetched
            shown = min(first_picture(page, address) for _ in range(3))
            print(f"making the widget {made:.2f} s; from the address to the first picture, with it, {shown:.2f} s")
            root = page.locator(".emgreview.people")
            root.locator(".chip.keys").click()
            handle = root.element_handle()
            handle.evaluate(WATCH)
            near = steps(page, root, "ArrowDown", given.presses)
            page.keyboard.press("Home")
            page.wait_for_timeout(500)
            far = steps(page, root, "PageDown", 5)
            channel = steps(page, root, "KeyC", 12)
            trial = steps(page, root, "ArrowRight", given.presses)
            page.evaluate(FLOOR)
            for _ in range(given.presses):
                page.keyboard.press("KeyJ")
                page.wait_for_timeout(40)
            floor = page.evaluate("() => window.floor")
            base = told("floor: a key that changes one word", floor)
            for what, values in (
                ("next person", near),
                ("person of the next page, asked for", far),
                ("next channel", channel),
                ("next trial", trial),
            ):
                told(f"{what}: key to drawn", values[:, 0])
                painted = told(f"{what}: key to painted", values[:, 1])
                alone = np.median(values[:, 2])
                print(f"{'':44} of the floor's p95: × {painted / base:.1f}; drawing alone {alone:.1f} ms")
            browser.close()
    finally:
        server.stop()


if __name__ == "__main__":
    main()
