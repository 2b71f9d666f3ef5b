"""Marks and cursor by mouse alone and by keys alone; what is in the log afterwards is what was meant."""

import json
import re

import pytest
from review_screens import BLIND, CANVAS_BOX, SHOW, Screen, events, open_page, operations
from small_study import RATE_HZ

CUE = 4000  # sample of the first one


class Picture:
    """Places on the picture of a screen, in whole pixels as a real mouse points: times across, EMG channels down."""

    def __init__(self, page, *, span_s=(-1, 1.5 - 1 / RATE_HZ), rate_hz=RATE_HZ, channels=3, auxiliary=1):
        self.page, self.rate_hz = page, rate_hz
        self.start_s, self.length_s = span_s[0], span_s[1] - span_s[0]
        self.box = page.evaluate(CANVAS_BOX)
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
        self.page.mouse.click(*self.at(seconds, row))

    def double_click(self, seconds: float, row: int):
        self.page.mouse.dblclick(*self.at(seconds, row))

    def drag(self, from_s: float, to_s: float, row: int):
        self.page.mouse.move(*self.at(from_s, row))
        self.page.mouse.down()
        self.page.mouse.move(*self.at(to_s, row), steps=4)
        self.page.mouse.up()


def cursor_of(screen: Screen) -> int:
    return round(float(screen.root.get_attribute("data-cursor")) * RATE_HZ)


def the_last(folder, operation: str) -> dict:
    """What the last event, which must be this operation, left behind."""
    event = events(folder)[-1]
    assert event["operation"] == operation
    return event["new"]


def added_to(folder, operation: str) -> tuple[int, int | None]:
    """Onset and offset of the one added burst after the last event, in samples from the first cue."""
    (burst,) = [burst for burst in the_last(folder, operation)["bursts"].values() if burst["origin"] == "added"]
    return burst["onset"] - CUE, burst["offset"] and burst["offset"] - CUE


def test_marks_are_placed_and_added_by_mouse_where_one_clicked(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    picture = Picture(page)
    picture.click(1.0, 2)
    assert cursor_of(screen) == picture.sample(1.0)
    assert screen.root.locator(".row").nth(2).get_attribute("aria-current") == "true"
    page.mouse.move(*picture.at(-0.5, 1), steps=8)  # hovering sets nothing
    assert cursor_of(screen) == picture.sample(1.0)
    screen.root.locator("[data-command=add]").click()  # the way there crosses the picture
    screen.settle()
    assert added_to(desk.folder, "add") == (picture.sample(1.0), None)
    assert "offset selected, not yet placed" in screen.root.locator(".detail").inner_text()
    picture.click(1.25, 2)
    screen.root.locator("[data-command=to_cursor]").click()
    screen.settle()
    assert added_to(desk.folder, "move") == (picture.sample(1.0), picture.sample(1.25))

    picture.double_click(0.0, 0)  # another channel: the onset of its response is selected
    screen.settle()
    assert the_last(desk.folder, "move")["bursts"]["response"]["onset"] - CUE == picture.sample(0.0)
    screen.root.locator("[data-command=remove]").click()
    screen.settle()
    picture.double_click(0.1, 0)  # none is left: an onset is added
    screen.settle()
    assert added_to(desk.folder, "add") == (picture.sample(0.1), None)


def test_a_press_that_pans_sets_no_cursor(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    picture = Picture(page)
    before = cursor_of(screen)
    page.mouse.move(*picture.at(1.0, 1))
    page.mouse.down()
    page.mouse.move(*picture.at(0.7, 1), steps=5)
    page.mouse.up()
    assert cursor_of(screen) == before
    assert "time span moved" in screen.root.locator(".differs").inner_text()


def test_bursts_and_offsets_are_placed_by_keys_alone(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("r", *["Shift+Semicolon"] * 6, "Shift+KeyJ", "Shift+KeyL", "Shift+KeyL", "Shift+KeyK")
    assert cursor_of(screen) == 602  # from 0.25 s: 50 ms and 1 ms later
    screen.press("e")
    screen.settle()
    screen.press("l")
    assert "no offset yet" in screen.root.locator(".notice").inner_text()
    screen.press(*["Shift+Semicolon"] * 12, "m")
    screen.settle()
    screen.press("l", "o", "k", "k")  # the offset 1 ms later, then the onset 2 ms earlier
    screen.settle()
    assert operations(desk.folder)[1:] == ["remove", "add", "move", "move", "move"]
    assert added_to(desk.folder, "move") == (602 - 4, 602 + 240 + 2)

    screen.press("o", *["Shift+KeyJ"] * 15, "m")  # the offset before the onset
    said = screen.root.locator(".notice").inner_text()
    assert "Trial 1, biceps: not taken: the offset would not come after its onset" in said
    screen.settle()
    assert len(operations(desk.folder)) == 6


SLOW = """import small_study, emgreview as er
fast = small_study.recording("sub-a_task-turn", 1)
markers = [er.Marker(marker.sample // 4, marker.label) for marker in fast.markers]
x, labels = fast.values()[:, ::4], fast.labels
slow = er.Recording.from_array(x, 500.0, labels=labels, channels=fast.channels, markers=markers, name=fast.name)
trials = er.cut_trials(slow, cue="go", before_s=1.0, after_s=1.5, processing=er.Processing(high_hz=200.0))
session = er.open_review(trials, "review", reviewer="r1")"""


def test_a_nudge_moves_a_sample_at_least(page, desk):
    screen = open_page(page, desk, SLOW, SHOW)
    screen.focus()
    screen.press("l")
    screen.settle()
    burst = the_last(desk.folder, "move")["bursts"]["response"]
    assert burst["onset"] - burst["automatic"]["onset"] == 1
    screen.press("k", "k")
    screen.settle()
    burst = the_last(desk.folder, "move")["bursts"]["response"]
    assert burst["onset"] - burst["automatic"]["onset"] == -1


def test_a_hidden_read_out_hides_every_time_and_the_log_says_so(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    shown = [screen.root.locator(place) for place in (".detail", ".live")]
    assert all(" ms" in place.text_content() for place in shown)
    screen.press("Backslash", "l")
    width = "90 % interval: [^;]* ms around its mark"  # says nothing of a time
    words = [re.sub(width, "", place.text_content()) for place in shown]
    assert not [said for said in words if " ms" in said]
    screen.press("w")  # without a form of numbers
    assert screen.root.locator(".form").is_hidden()
    screen.settle()
    assert events(desk.folder)[-1]["operation"] == "not locatable"
    assert [event["visible"]["read_out"] for event in events(desk.folder)[1:]] == [False, False]
    screen.press("Backslash")
    assert " ms" in shown[0].text_content()


@pytest.mark.parametrize("blind", [False, True])
def test_an_interval_is_placed_and_moved_by_keys_alone(page, desk, blind):
    screen = open_page(page, desk, *([BLIND, SHOW] if blind else []))
    screen.focus()
    screen.press("w") if blind else screen.press("w", "Enter", "ArrowUp")  # the form goes on to the next channel
    screen.settle()
    ends = interval_of(desk.folder)
    screen.press("k", "k", "Semicolon", "o", "Semicolon")  # not before 8 ms later, not after 10 ms later
    screen.settle()
    moved = interval_of(desk.folder)
    assert [after - before for before, after in zip(ends, moved, strict=True)] == [16, 20]
    if not blind:
        screen.press("w")  # starts from the interval as it is now
        shown = [float(box.input_value()) for box in screen.root.locator(".form input").all()]
        assert [round(ms * 2) for ms in shown] == moved
        screen.press("Escape")
    screen.press("w") if blind else None
    screen.press(*["Shift+Semicolon"] * 30, "m")  # not after to the cursor
    screen.settle()
    assert interval_of(desk.folder) == [moved[0], cursor_of(screen)]
    screen.press("f")
    screen.settle()
    assert screen.states()[0] == "not locatable" or blind


def interval_of(folder) -> list[int]:
    """Not before and not after of the last such decision, in samples from its trial's cue."""
    logs = (folder / "review" / "logs").rglob("*.jsonl")
    found = [json.loads(line) for log in logs for line in log.read_text().splitlines()]
    last = max((event for event in found if event["operation"] == "not locatable"), key=lambda event: event["counter"])
    cue = int(last["subject"]["trial"].split("/")[-1])
    return [last["new"][end] - cue for end in ("earliest", "latest")]


def test_more_contrast_and_larger_text_reach_the_canvases(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    if screen.root.locator(".overview").is_hidden():
        screen.press("Comma")
    page.wait_for_timeout(800)
    inks = ("#6b6b70", "#0b5394", "#003a70")  # faint words, envelope, envelope with more contrast
    usual = [page.evaluate(PIXELS, ink) for ink in inks]
    assert usual[1] > 50
    assert not usual[2]
    page.emulate_media(contrast="more")
    page.wait_for_timeout(800)
    assert [page.evaluate(PIXELS, ink) > 50 for ink in inks] == [False, False, True]

    height = screen.root.locator(".map").bounding_box()["height"]
    page.evaluate("() => { document.documentElement.style.fontSize = '200%' }")
    screen.press("ArrowRight")
    page.wait_for_timeout(800)
    assert screen.root.locator(".map").bounding_box()["height"] == 2 * height
    screen.root.locator(".over-map").click(position={"x": 40, "y": 24 * 4 + 12})  # the fifth row, now 24 px high
    screen.wait_painted(4)


PIXELS = """(ink) => {
  const find = (node) => [...node.querySelectorAll('*')].flatMap((e) => [
    ...(e.tagName === 'CANVAS' && e.style.pointerEvents === 'none' && e.style.left ? [e] : []),
    ...(e.shadowRoot ? find(e.shadowRoot) : [])])
  const [canvas] = find(document)
  const pixels = new Uint32Array(canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data.buffer)
  const [r, g, b] = [1, 3, 5].map((i) => parseInt(ink.slice(i, i + 2), 16))
  const wanted = ((255 << 24) | (b << 16) | (g << 8) | r) >>> 0
  return pixels.filter((pixel) => pixel === wanted).length
}"""
