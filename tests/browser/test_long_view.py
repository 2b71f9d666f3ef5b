"""The long view in real hosts: what is shown is what was asked, nothing that was read before stands under new times."""

import json
import time
from pathlib import Path

import pytest
from conftest import run_cells
from long_study import SPIKE_S

import emgreview as er

OPEN = "import long_study\nimport emgreview as er\nrec = long_study.recording()"
SHOW = "er.long_view(rec, processing=long_study.processing())"
DECIDE = "import long_study\nimport emgreview as er\nsession, rec = long_study.session()"
SHOW_DECIDE = "er.long_view(rec, session)"


class Screen:
    """The long view on a page."""

    def __init__(self, page):
        self.page = page
        self.root = page.locator(".emgreview").first
        self.root.wait_for(timeout=60_000)
        self.wait_for(lambda: self.painted() == "whole", "first picture")

    def focus(self):
        self.root.locator(".chip.keys").click()
        assert self.root.get_attribute("data-keys") == "on"

    def press(self, *keys: str):
        for key in keys:
            self.page.keyboard.press(key)

    def type_into_form(self, words: str):
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(words)
        self.page.keyboard.press("Enter")

    def painted(self) -> str | None:
        return self.root.get_attribute("data-painted")

    def view(self) -> tuple[float, float]:
        start, stop = map(float, self.root.get_attribute("data-view").split())
        return start, stop

    def settle(self, what: str = "whole"):
        self.page.wait_for_timeout(150)
        self.wait_for(lambda: self.painted() == what, f"picture {what}")
        self.page.wait_for_timeout(120)  # words follow the picture after 60 ms

    def saved(self):
        """Wait until all is saved and decisions are taken: on a busy machine Python answers late, and they stop."""
        self.wait_for(
            lambda: self.root.evaluate(
                "root => root.dataset.unsaved === '0' && root.querySelector('[data-state=saved]') !== null"
            ),
            "all saved",
        )

    def notice(self) -> str:
        return self.root.locator(".notice").inner_text()

    def read_out(self) -> str:
        return self.root.locator(".read-out").inner_text()

    def box(self) -> dict:
        return self.root.evaluate(
            """(root) => {
              const find = (node) => {
                for (const e of node.querySelectorAll('*')) {
                  if (e.tagName === 'CANVAS' && e.style.pointerEvents === 'none' && e.style.left) return e
                  const inner = e.shadowRoot && find(e.shadowRoot)
                  if (inner) return inner
                }
              }
              window.long_canvas = find(root)
              const box = window.long_canvas.getBoundingClientRect()
              return {left: box.left, top: box.top, width: box.width, height: box.height}
            }"""
        )

    def wait_for(self, condition, what: str, seconds: float = 20):
        end = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < end, f"{what}: not within {seconds} s; painted: {self.painted()}; {self.notice()}"
            self.page.wait_for_timeout(20)


@pytest.fixture
def working(lab):
    """JupyterLab's folder without earlier reviews; no kernel runs."""
    lab.end_kernels()
    for path in sorted((lab.folder / "review").rglob("*"), reverse=True):
        path.unlink() if path.is_file() else path.rmdir()
    return lab


def open_in_lab(page, lab, *cells: str) -> Screen:
    name = lab.write_notebook("long.ipynb", *(cells or (OPEN, SHOW, "answer = 6 * 7")))
    run_cells(page, lab, f"/lab/tree/{name}?reset")
    return Screen(page)


def cell_sources(page) -> list[str]:
    return page.locator(".jp-Notebook .jp-CodeCell .cm-content").all_inner_texts()


def log(folder: Path) -> list[dict]:
    (path,) = (folder / "review" / "logs").rglob("sub-a_task-turn_reviewer-r1.jsonl")
    return [json.loads(line) for line in path.read_text().splitlines()]


@pytest.fixture
def served(page, desk):
    """A served page with the long view of the file."""
    desk.show(page, OPEN, SHOW)
    return Screen(page)


def test_moving_about_by_keyboard_in_jupyterlab(page, working):
    screen = open_in_lab(page, working)
    before = cell_sources(page)
    screen.focus()
    assert screen.view() == (0, 10)
    screen.press("ArrowRight", "Shift+ArrowRight")
    screen.settle()
    assert screen.view() == (12.5, 22.5)
    screen.press("n")
    screen.settle()
    assert screen.read_out().startswith("cursor 20.0000 s · one, band-passed:")
    screen.press("n", "n", "b")
    screen.settle()
    assert screen.read_out().startswith("cursor 60.0000 s")
    assert screen.view()[0] < 60 < screen.view()[1]
    screen.press("Minus")
    screen.settle()
    assert screen.view()[1] - screen.view()[0] == pytest.approx(20, abs=0.2)
    screen.press("ArrowDown", "4")
    screen.settle()
    assert "two, envelope" in screen.read_out()
    screen.press("Shift+Digit1")
    screen.settle()
    assert screen.root.locator("button.kind").all_inner_texts() == ["raw"] * 3
    screen.press("x")
    screen.settle()
    assert screen.root.locator(".gain").all_inner_texts() == ["", "× 2", ""]
    assert "differs from the usual gain: 1 of 3" in screen.root.locator(".differs").inner_text()
    screen.press("0", "Slash")
    screen.type_into_form("2:03.456")
    screen.settle()
    assert screen.read_out().startswith(f"cursor {SPIKE_S:.4f} s")
    screen.press("Slash")
    screen.type_into_form("301")
    assert "is no time of this recording" in screen.notice()
    assert screen.root.locator(".form input").input_value() == "301", "what was typed stays to be mended"
    screen.press("Escape", "t")
    page.keyboard.type("cue 26")
    screen.press("Enter")
    screen.settle()
    assert screen.read_out().startswith("cursor 260.0000 s")
    screen.press("End")
    screen.settle()
    assert screen.view()[1] == 300
    screen.press("w")
    screen.settle()
    assert screen.view() == (0, 300)
    screen.press(*"ddxx", "Escape", "a", "0", "0", "Enter", "Space", "Shift+Slash", "Escape")
    page.wait_for_timeout(500)
    assert cell_sources(page) == before
    assert page.locator(".jp-Dialog").count() == 0
    assert page.left_the_machine == []


def test_dragging_and_the_wheel(page, served):
    screen = served
    box = screen.box()
    x, y = box["left"] + box["width"] / 2, box["top"] + box["height"] / 3
    page.mouse.move(x, y)
    page.mouse.wheel(0, 300)
    page.wait_for_timeout(300)
    assert screen.view() == (0, 10), "without the focus the wheel belongs to the page"
    page.mouse.down()
    page.mouse.move(x - box["width"] / 4, y, steps=8)
    page.mouse.up()
    screen.settle()
    assert screen.view()[0] == pytest.approx(2.5, abs=0.11)
    assert screen.root.get_attribute("data-keys") == "on"
    page.mouse.wheel(0, 300)
    screen.settle()
    start, stop = screen.view()
    assert stop - start == pytest.approx(20, abs=0.3)
    ribbon = screen.root.locator(".ribbon").bounding_box()
    page.mouse.click(ribbon["x"] + ribbon["width"] * 0.5, ribbon["y"] + 20)
    screen.settle()
    assert sum(screen.view()) / 2 == pytest.approx(150, abs=1)
    screen.root.locator("button.kind").nth(2).click()
    screen.settle()
    assert screen.root.locator("button.kind").all_inner_texts() == ["band-passed", "band-passed", "rectified"]
    assert screen.root.get_attribute("data-keys") == "on", "a click on a button took the keys away"


def test_the_cursor_stands_where_it_was_put_and_steps_by_a_sample_at_least(page, served):
    screen = served
    box = screen.box()
    at = box["left"] + box["width"] * 0.3, box["top"] + box["height"] / 2
    page.mouse.move(*at)
    page.mouse.down()
    page.mouse.up()
    page.mouse.move(box["left"] + box["width"] * 0.8, at[1])
    page.wait_for_timeout(200)
    assert screen.read_out().startswith("pointer 8.0")
    page.mouse.move(box["left"] + box["width"] * 0.5, box["top"] - 60, steps=4)  # to the buttons
    page.wait_for_timeout(200)
    assert screen.read_out().startswith("cursor 3.0")
    screen.press("Home", "n", "l")  # 1 ms at 500 Hz
    page.wait_for_timeout(200)
    assert screen.read_out().startswith("cursor 20.0020 s")


def test_letters_follow_the_page_and_no_label_is_cut(page, served):
    screen = served
    screen.focus()
    height = screen.box()["height"]
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    screen.settle()
    page.wait_for_timeout(800)
    cut = screen.root.locator(".channel").evaluate_all("all => all.map((e) => e.scrollHeight - e.clientHeight)")
    assert max(cut) <= 0
    size = screen.root.locator(".channel .name").first.evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
    assert size == pytest.approx(23, abs=0.1)
    sized = page.evaluate("window.long_canvas.getContext('2d').font")
    assert sized.startswith("22px")
    assert screen.box()["height"] >= 0.9 * height


def test_more_contrast_reaches_the_traces(page, served):
    screen = served
    screen.focus()
    screen.box()
    darkest = """() => {
      const canvas = window.long_canvas
      const part = [20, canvas.height * 0.4, canvas.width - 40, canvas.height * 0.2] // the second channel
      const {data} = canvas.getContext('2d').getImageData(...part)
      let least = 255
      for (let i = 0; i < data.length; i += 4) if (data[i + 3] === 255) least = Math.min(least, data[i + 2])
      return least
    }"""
    page.mouse.move(5, 5)
    assert page.evaluate(darkest) == 0x30
    page.emulate_media(contrast="more")
    screen.settle()
    assert page.evaluate(darkest) == 0


def test_one_sample_is_never_lost_at_any_zoom(page, served):
    screen = served
    screen.focus()
    screen.press("Shift+Digit1", "Slash")
    screen.type_into_form(str(SPIKE_S))
    highest = []
    for _ in range(6):
        screen.settle()
        box = screen.box()
        start, stop = screen.view()
        column = int((SPIKE_S - start) / (stop - start) * box["width"])
        rows = page.evaluate(
            """([column, from, until]) => {
              const canvas = window.long_canvas
              const data = canvas.getContext('2d').getImageData(Math.max(0, column - 40), from, 80, until - from).data
              let count = 0
              for (let i = 3; i < data.length; i += 4) if (data[i] > 200) { count = 1; break }
              return count
            }""",
            [column, int(box["height"] * 0.36), int(box["height"] * 0.40)],
        )
        highest.append(rows)
        screen.press("Minus")
    assert highest == [1] * 6


def test_the_far_is_blank_until_it_is_there_and_little_goes_to_python(page, working):
    sent = []
    page.on("websocket", lambda socket: socket.on("framesent", lambda frame: sent.append(len(frame))))
    screen = open_in_lab(page, working)
    screen.focus()
    page.wait_for_timeout(3000)  # the file is read meanwhile
    sent.clear()
    for _ in range(10):
        screen.press("Shift+ArrowRight")
        page.wait_for_timeout(120)
    screen.settle()
    assert sum(sent) < 1024 * 30, f"{sum(sent)} bytes went to Python for ten keys"
    assert max(sent) < 4096, "what came down was echoed up"


def test_a_killed_kernel_is_noticed_and_nothing_old_is_shown(page, working):
    import psutil

    screen = open_in_lab(page, working)
    screen.focus()
    page.wait_for_timeout(1500)
    (kernel,) = working.kernels()
    victims = [p for p in psutil.process_iter(["cmdline"]) if kernel["id"] in " ".join(p.info["cmdline"] or ())]
    assert victims
    for victim in victims:
        victim.kill()
    start = time.monotonic()
    screen.press("Shift+End", "End")
    assert screen.view()[1] == 300
    assert screen.painted() == "loading"
    screen.wait_for(lambda: "Python does not answer" in screen.notice(), "silence noticed", 4)
    assert time.monotonic() - start < 3.5
    assert screen.painted() == "loading"


def test_a_file_that_is_gone_for_a_while(page, desk):
    benchmarks = Path(__file__).parents[1] / "benchmarks"
    written = (
        f"import sys, pathlib, emgreview as er\nsys.path.append({str(benchmarks)!r})\n"
        "import hour_file\npath = pathlib.Path('hour.edf')\n"
        "hour_file.write_edf(path, n_channels=2, rate_hz=1000, seconds=900)"
    )
    desk.show(page, written, "er.long_view(er.read(path))")
    screen = Screen(page)
    screen.focus()
    (desk.folder / "hour.edf").rename(desk.folder / "away.edf")
    screen.press("End")
    screen.wait_for(lambda: "cannot be read" in screen.notice(), "notice", 3)
    assert screen.painted() == "loading"
    (desk.folder / "away.edf").rename(desk.folder / "hour.edf")
    screen.settle()
    assert "cannot be read" not in screen.notice()


def test_deciding_by_keyboard_and_mouse(page, desk):
    desk.show(page, DECIDE, SHOW_DECIDE)
    screen = Screen(page)
    screen.focus()
    screen.press("Home", "n", "n")  # the first go, at 2 s
    screen.settle()
    assert screen.read_out().startswith("cursor 2.0000 s")
    screen.press("BracketLeft", *["Semicolon"] * 4)  # the end goes with the cursor
    screen.settle()
    assert "selected stretch: 2.0000 to 2.0400 s" in screen.read_out()
    screen.press("Slash")
    screen.type_into_form("4")
    screen.press("BracketLeft", "Semicolon")  # past its end: another stretch
    screen.settle()
    assert "selected stretch: 4.0000 to 4.0100 s" in screen.read_out()
    screen.press("s")
    box = screen.box()
    page.mouse.click(
        box["left"] + 0.2 * box["width"], box["top"] + 40
    )  # the question goes with the hand's turning away
    assert screen.root.locator(".form").is_hidden()
    screen.press("Slash")
    screen.type_into_form("2")
    screen.press("BracketRight", "BracketLeft", *["Semicolon"] * 4)
    screen.settle()
    assert "selected stretch: 2.0000 to 2.0400 s" in screen.read_out()
    screen.press("e")
    screen.saved()
    assert "carried over to 1 trial" in screen.notice()

    box = screen.box()
    band = box["top"] + 18 + (box["height"] - 18) / 3.7 * 1.5  # the second of three channels and an angle
    page.keyboard.down("Shift")
    page.mouse.move(box["left"] + box["width"] * 0.5, band)
    page.mouse.down()
    page.mouse.move(box["left"] + box["width"] * 0.56, band, steps=5)
    page.mouse.up()
    page.keyboard.up("Shift")
    screen.press("s", "4", "Enter")  # clipped
    screen.saved()

    screen.press("Slash")
    screen.type_into_form("5.01")
    screen.press("m")
    screen.type_into_form("photodiode")
    screen.saved()
    screen.press("Slash")
    screen.type_into_form("8")
    screen.press("q", "Enter")
    screen.saved()
    screen.press("Slash")
    screen.type_into_form("9.5")
    screen.press("y", "Enter")
    screen.saved()
    for key in ("u", "Shift+u"):  # on a busy machine a decision waits for the one before it
        screen.press(key)
        screen.saved()

    events = log(desk.folder)
    assert [event["operation"] for event in events[1:]] == [
        "add", "set aside", "correct cue", "no cue", "add cue", "undo", "redo",
    ]  # fmt: skip
    added = next(burst for burst in events[1]["new"]["bursts"].values() if burst["origin"] == "added")
    assert (added["onset"], added["offset"]) == (4000, 4080)
    assert events[1]["subject"]["channel"] == "biceps"
    aside = events[2]["new"]
    assert aside["reasons"] == ["clipped"]
    assert aside["stop"] - aside["start"] == pytest.approx(0.06 * 20_000, abs=60)
    assert events[2]["subject"]["channel"] == "wrist flexors"
    assert (events[3]["new"], events[3]["reason"]) == (10_020, "photodiode")
    assert events[4]["new"] == "double"
    assert events[5]["new"] == {"label": "go", "sample": 19_000}
    assert all(event["visible"]["shown"] == ["band-passed"] * 3 + ["raw"] for event in events[1:6])
    assert er.verify(desk.folder / "review").ok

    screen.press("w", "Home")
    screen.settle()
    screen.press("v", "Home", "ArrowUp", "ArrowUp", "i")
    page.wait_for_timeout(300)
    assert "selected burst: 2.0000 to 2.0400 s" in screen.read_out()
    screen.press("l", "l")
    screen.saved()
    moved = log(desk.folder)[-1]
    assert moved["operation"] == "move"
    name = moved["subject"]["burst"]
    assert moved["new"]["bursts"][name]["onset"] == 4004


def test_a_host_that_knows_ipywidgets_alone(page, voila):
    voila.write_notebook("long.ipynb", OPEN, SHOW)
    page.goto(voila.base + "/voila/render/long.ipynb")
    screen = Screen(page)
    screen.focus()
    screen.press("End", "Digit4")
    screen.settle()
    assert screen.view()[1] == 300
    assert [url for url in page.left_the_machine if "panel" in url or "bokeh" in url] == []
