"""Pan and zoom of an hour of 16 channels at 2 kHz in a real browser, against one Bokeh line a channel in the same run.

    python tests/benchmarks/bench_pan.py [--moves 60] [--rounds 3] [--lab] [--serve] [--scale 2] [--file hour.edf]

"Painted" is two animation frames after the paint that shows the move. Prints ms and ratios. Budgets: pan p95 ≤ 60 ms
in panel serve and ≤ 90 ms in JupyterLab, ≤ 0.6 × (serve) and ≤ 0.75 × (Lab) the same figure, markers and their words
included, in lines. The lines alone are shown beside it: they are near what the measure itself takes, one frame's wait
and a frame. Own drawing p50 ≤ 3 ms; peak memory of the kernel ≤ 300 MB above an idle one; first picture < 2 s; all
kinds alike.
"""

import argparse
import os
import sys
import tempfile
from pathlib import Path

import numpy as np
from hour_file import write_edf
from playwright.sync_api import Locator, Page, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))
from conftest import ARGUMENTS, CHROMIUM, JUPYTER, QUIET, Served, run_cells

BEGIN = """import os, sys
from pathlib import Path
memory = next(line.split()[1] for line in Path("/proc/self/status").open() if line.startswith("VmHWM"))
Path("idle.txt").write_text(f"{{os.getpid()}} {{memory}}")  # a kernel that has imported nothing yet
sys.path.insert(0, {here!r})
import emgreview as er"""
READ = """
rec = er.read({path!r})
marks = [er.Marker(int(s * 2000), word) for k in range(int(rec.duration_s // 4))
         for s, word in ((4 * k + 1, "warning"), (4 * k + 2, "go"), (4 * k + 2.4, "response"))]
rec = rec.with_markers(marks)
"""
COMPARED = {
    "lines": "compared(rec, lines=True)",
    "lines with markers": "compared(rec, lines=True, marked=True)",
    "empty": "compared(rec, lines=False)",
}
WATCH = """(root) => {
  window.stop_watching?.()
  window.pan = {painted: [], own: []}
  let waiting = []
  const note = (e) => { if (e.buttons || e.type === 'wheel') waiting.push(e.timeStamp) }
  for (const kind of ['pointermove', 'wheel']) window.addEventListener(kind, note, {capture: true, passive: true})
  const observer = new MutationObserver(() => {
    if (root.dataset.drawing) window.pan.own.push(Number(root.dataset.drawing))
    const shown = waiting
    waiting = []
    if (!shown.length) return
    requestAnimationFrame(() => requestAnimationFrame(() => {
      for (const at of shown) window.pan.painted.push(performance.now() - at)
    }))
  })
  observer.observe(root, {attributes: true, attributeFilter: ['data-paints']})
  window.stop_watching = () => {
    observer.disconnect()
    for (const kind of ['pointermove', 'wheel']) window.removeEventListener(kind, note, {capture: true})
  }
}"""
FRAME = """(root) => {
  const find = (node, test) => {
    for (const e of node.querySelectorAll('*')) {
      if (test(e)) return e
      const inner = e.shadowRoot && find(e.shadowRoot, test)
      if (inner) return inner
    }
  }
  const box = (find(root, (e) => e.classList.contains('bk-events')) ?? root).getBoundingClientRect()
  return [box.left + box.width / 2, box.top + Math.min(300, box.height / 2), box.width]
}"""


def figures(name: str, values: list[float]) -> tuple[float, float]:
    if not values:
        print(f"{name:52s} nothing was measured")
        return float("nan"), float("nan")
    p50, p95 = np.percentile(values, [50, 95])
    print(f"{name:52s} p50 {p50:7.1f}   p95 {p95:7.1f}   n {len(values)}")
    return p50, p95


def pan(page: Page, root: Locator, moves: int, *, step: int = 15) -> dict[str, list[float]]:
    """Drag forward in time by single moves, letting go at the edge and taking hold again, and what the page saw.

    The pauses between moves vary: a hand keeps no step with the screen, and moves in step with it would meet one phase
    of its frames only.
    """
    pauses = np.random.default_rng(16).uniform(4, 20, moves)
    root.scroll_into_view_if_needed()
    x, y, width = root.evaluate(FRAME)
    right, left = x + 0.4 * width, x - 0.4 * width
    page.mouse.move(right, y)
    page.wait_for_timeout(300)
    root.evaluate(WATCH)
    page.mouse.down()
    at = right
    for pause_ms in pauses:
        if at - step < left:
            page.mouse.up()
            page.mouse.move(right, y)
            page.mouse.down()
            at = right
        at -= step
        page.mouse.move(at, y)
        page.wait_for_timeout(pause_ms)
    page.mouse.up()
    page.wait_for_timeout(400)
    return page.evaluate("window.pan")


def wheel(page: Page, root: Locator, turns: int) -> dict[str, list[float]]:
    x, y, _ = root.evaluate(FRAME)
    page.mouse.move(x, y)
    root.evaluate(WATCH)
    for turn in range(turns):
        page.mouse.wheel(0, -100 if (turn // 10) % 2 else 100)
        page.wait_for_timeout(60)
    page.wait_for_timeout(400)
    return page.evaluate("window.pan")


def report(name: str, pages: dict[str, tuple[Page, Locator]], options: argparse.Namespace, limits: tuple) -> None:
    budget, share = limits
    gathered: dict[str, list[float]] = {kind: [] for kind in pages}
    own: list[float] = []
    for _ in range(options.rounds):  # alternating, so that the load of the machine falls on all alike
        for kind, (page, root) in pages.items():
            page.bring_to_front()
            seen = pan(page, root, options.moves)
            gathered[kind] += seen["painted"]
            own += seen["own"]
    found = {
        kind: figures(f"{name}: pan, {'empty figure' if kind == 'empty' else kind}", values)
        for kind, values in gathered.items()
    }
    figures(f"{name}: own drawing", own)
    ours, lines, marked = (found[kind][1] for kind in ("long view", "lines", "lines with markers"))
    print(
        f"{name}: p95 {ours:.0f} ms (budget {budget}); {ours / marked:.2f} × the same figure in lines "
        f"(budget {share}), {ours / lines:.2f} × the lines without markers"
    )

    page, root = pages["long view"]
    page.bring_to_front()
    root.locator(".chip.keys").click()
    for digit, kind in enumerate(("raw", "band-passed", "rectified", "envelope"), 1):
        page.keyboard.press(f"Shift+Digit{digit}")
        page.wait_for_timeout(800)
        seen = pan(page, root, options.moves)
        figures(f"{name}: pan, all channels {kind}", seen["painted"])
        figures(f"{name}: own drawing, {kind}", seen["own"])
    page.keyboard.press("Shift+Digit2")
    page.wait_for_timeout(500)
    figures(f"{name}: fling of 40 px a move", pan(page, root, options.moves, step=40)["painted"])
    figures(f"{name}: wheel zoom", wheel(page, root, options.moves)["painted"])
    blank = root.get_attribute("data-painted")
    print(f"{name}: after all this the picture is {blank}")


def in_serve(playwright, folder: Path, begin: str, options: argparse.Namespace) -> None:
    shows = {"long view": "er.long_view(rec)", **COMPARED}
    for kind, call in shows.items():
        source = f"{begin}\nfrom bench_lines import compared\nview = {call}\nview.servable()\n"
        (folder / f"{kind.replace(' ', '_')}.py").write_text(source)
    names = [f"{kind.replace(' ', '_')}.py" for kind in shows]
    command = ["panel", "serve", *names, "--port={port}", "--address=127.0.0.1"]
    server = Served([*command, "--allow-websocket-origin=127.0.0.1:{port}"], folder, "/")
    try:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        pages = {}
        for kind in shows:
            page = browser.new_page(viewport={"width": 1460, "height": 1150}, device_scale_factor=options.scale)
            page.goto(f"{server.base}/{kind.replace(' ', '_')}")
            root = page.locator(".emgreview" if kind == "long view" else ".compared").first
            root.wait_for(timeout=60_000)
            page.wait_for_timeout(1000)
            pages[kind] = (page, root)
        page, root = pages["long view"]
        root.locator(".chip.keys").click()
        page.keyboard.press("Slash")
        page.keyboard.type("105")
        page.keyboard.press("Enter")
        page.wait_for_timeout(20_000)  # the rest of the file is read meanwhile
        report("panel serve", pages, options, (60, 0.6))
        browser.close()
    finally:
        server.stop()


def in_lab(playwright, folder: Path, begin: str, options: argparse.Namespace) -> None:
    server = Served(["jupyterlab", *JUPYTER, *QUIET], folder, "/api")
    try:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        shows = {"first": "er.long_view(rec)", **COMPARED, "long view": "er.long_view(rec)"}
        pages = {}
        for kind, call in shows.items():  # the long view comes last, because the last kernel's memory is measured
            page = browser.new_page(viewport={"width": 1700, "height": 1300}, device_scale_factor=options.scale)
            cells = (f"{begin}\nfrom bench_lines import compared", "er.long_view", call)
            name = server.write_notebook(f"{kind.replace(' ', '_')}.ipynb", *cells)
            run_cells(page, server, f"/lab/tree/{name}?reset")
            root = page.locator(".compared" if kind in COMPARED else ".emgreview").first
            root.wait_for(timeout=60_000)
            page.wait_for_timeout(1000)
            pages[kind] = (page, root)
            if kind == "first":
                first_picture(page, server, root)
                page.close()
                server.end_kernels()
                del pages[kind]
        page, root = pages["long view"]
        root.locator(".chip.keys").click()
        page.keyboard.press("Slash")
        page.keyboard.type("105")
        page.keyboard.press("Enter")
        page.wait_for_timeout(25_000)
        report("JupyterLab", pages, options, (90, 0.75))
        used = memory_above_idle(folder)
        print(f"JupyterLab: peak memory of the kernel {used:.0f} MB above an idle one (budget 300)")
        browser.close()
    finally:
        server.stop()


def first_picture(page: Page, server: Served, root: Locator) -> None:
    """From running the cell anew to the whole picture."""
    cells = page.locator(".jp-Notebook .jp-CodeCell")
    cells.nth(server.n_cells - 1).locator(".jp-InputPrompt").click()
    root.evaluate("(root) => { root.dataset.old = 'yes' }")
    start = page.evaluate("performance.now()")
    page.keyboard.press("Control+Enter")
    page.wait_for_function(
        """() => {
          const find = (node) => {
            for (const e of node.querySelectorAll('*')) {
              if (e.classList.contains('emgreview') && !e.dataset.old && e.dataset.painted === 'whole') return e
              const inner = e.shadowRoot && find(e.shadowRoot)
              if (inner) return inner
            }
          }
          return find(document)
        }""",
        timeout=60_000,
        polling="raf",
    )
    took = page.evaluate("performance.now()") - start
    print(f"JupyterLab: cell run to whole picture {took / 1000:.2f} s (budget 2)")


def memory_above_idle(folder: Path) -> float:
    """MB that the last kernel took at most, beyond what it took before it imported anything."""
    pid, idle_kb = (folder / "idle.txt").read_text().split()
    status = Path(f"/proc/{pid}/status").read_text().splitlines()
    peak_kb = next(line.split()[1] for line in status if line.startswith("VmHWM"))
    return (int(peak_kb) - int(idle_kb)) / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--moves", type=int, default=60)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--lab", action="store_true")
    parser.add_argument("--serve", action="store_true")
    parser.add_argument("--scale", type=float, default=1.0, help="device pixels a CSS pixel")
    parser.add_argument("--file", type=Path)
    options = parser.parse_args()
    print(f"1-minute load at the start: {os.getloadavg()[0]:.2f}; times in ms")
    with tempfile.TemporaryDirectory() as made, sync_playwright() as playwright:
        folder = Path(made)
        path = options.file or write_edf(folder / "hour.edf", n_channels=16, rate_hz=2000, seconds=3600)
        begin = BEGIN.format(here=str(Path(__file__).parent)) + READ.format(path=str(path.resolve()))
        if options.serve or not options.lab:
            in_serve(playwright, folder, begin, options)
        if options.lab or not options.serve:
            in_lab(playwright, folder, begin, options)


if __name__ == "__main__":
    main()
