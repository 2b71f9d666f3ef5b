"""The screen of people in a browser: keys and clicks lead from the table to a person, a trial, its review, and back."""

import re

import pytest

INVENTED = "import invented_people, emgreview as er\nfound = invented_people.summary_of({}, trials={})"
SHOW = "er.participants(found)"
REVIEW = """import small_study, emgreview as er
session = small_study.open_session('review')
er.participants([part.recording for part in session.trials], cue="go", session=session)"""
INK = """(canvas) => {
  const {data} = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height)
  const first = data.slice(0, 4).join()
  let other = 0
  for (let i = 0; i < data.length; i += 4) other += Number(data.slice(i, i + 4).join() !== first)
  return other / (data.length / 4)
}"""


class People:
    """The screen on a page."""

    def __init__(self, page):
        self.page = page
        self.root = page.locator(".emgreview.people")
        self.root.wait_for(timeout=60_000)
        self.wait_painted(r"\d+ 0")

    def wait_painted(self, what: str):
        self.page.wait_for_function(
            "([root, what]) => new RegExp(`^${what}$`).test(root.dataset.painted ?? '')",
            arg=[self.root.element_handle(), what],
            timeout=20_000,
        )

    def press(self, *keys: str):
        for key in keys:
            self.page.keyboard.press(key)

    def text(self, selector: str) -> str:
        return " ".join(self.root.locator(selector).inner_text().split())

    def names(self) -> list[str]:
        return self.root.locator("tbody th").all_inner_texts()

    def click(self, picture: str, across: float, down: float):
        """At shares of a picture's width and height."""
        canvas = self.canvas(picture)
        box = canvas.bounding_box()
        canvas.click(position={"x": across * box["width"], "y": down * box["height"]})

    def canvas(self, picture: str):
        return self.root.locator(f"canvas[data-picture={picture}]")


@pytest.fixture
def screen(page, desk):
    desk.show(page, INVENTED.format(9, 8), SHOW)
    screen = People(page)
    screen.root.locator(".chip.keys").click()
    yield screen
    assert page.left_the_machine == []
    assert not [message for message in page.messages if "error" in message.lower()]


def test_keys_lead_from_the_table_to_a_trial(screen):
    assert screen.names()[0] == "001", "who has a flag stands first"
    assert "⚑ late; clipped (FCR)" in screen.text("tbody tr[aria-current=true]"), "in words"
    assert "⚑ clipped, FCR Clipped by invention: 2.0 SD" in screen.text(".reasons")
    screen.press("ArrowDown", "ArrowDown")
    screen.wait_painted("1 0")
    assert screen.text(".reasons") == ""
    screen.press("c", "ArrowRight", "ArrowRight")
    screen.wait_painted("1 1 1")
    words = screen.text(".trial-words")
    assert words.startswith("Trial 2 of 16, run 1 of 2: ")
    assert words.endswith("sub-002_run-1/events/2000")
    assert "002 · ECR" in screen.text(".title")
    for picture in (
        "multiples",
        "raster",
        "heat",
        "rest",
        "spectra",
        "onset_response",
        "onset_level",
        "matrix",
        "rates",
    ):
        assert screen.canvas(picture).evaluate(INK) > 0.01, picture
    assert "16 trials in order of time" in screen.canvas("heat").get_attribute("aria-label")
    assert "broken lines part runs" in screen.canvas("heat").get_attribute("aria-label")
    screen.press("Escape")
    screen.wait_painted("1 1")
    screen.press("End")
    screen.wait_painted("8 1")
    screen.press("Enter")
    assert "No trial is chosen" in screen.text(".notice")
    screen.press("ArrowRight", "Enter")
    screen.page.wait_for_function(
        "root => root.querySelector('.notice').textContent.includes('open_review')", arg=screen.root.element_handle()
    )


def test_the_table_is_sorted_by_key_and_by_its_heads(screen):
    onset = screen.root.locator(".head-cell", has_text=re.compile("^onset$"))
    place = onset.evaluate("head => [...head.closest('tr').children].indexOf(head.parentElement)")

    def column() -> list[float]:
        cells = screen.root.locator(f"tbody tr > :nth-child({place + 1})").all_inner_texts()
        return [float(cell) for cell in cells]

    onset.click()
    assert column() == sorted(column(), reverse=True)
    assert onset.locator("..").get_attribute("aria-sort") == "descending"
    screen.press("Shift+KeyS")
    assert column() == sorted(column())
    screen.press("s")
    screen.page.keyboard.type("study order")
    screen.press("Enter")
    assert screen.names() == [f"{k:03d}" for k in range(1, 10)]
    screen.press("o")
    assert screen.names()[0] == "001"
    screen.press("Slash")
    screen.page.keyboard.type("007")
    screen.press("Enter")
    screen.wait_painted("6 0")
    screen.root.locator("tbody tr", has_text="004").click()
    screen.wait_painted("3 0")
    screen.press("u", "Enter")
    assert screen.text(".title").split(" · ")[0] in screen.text(".unlike li:first-child")
    screen.press("r")
    assert "SD" in screen.text(".told")


def test_a_click_on_a_picture_chooses_what_lies_there(screen):
    screen.press("ArrowDown")
    screen.wait_painted("3 0")
    screen.click("heat", 0.6, 0.5)
    screen.wait_painted(r"3 0 \d+")
    chosen = int(screen.root.get_attribute("data-painted").split()[2])
    assert screen.text(".trial-words").startswith(f"Trial {chosen + 1} of 16")
    screen.click("multiples", 0.2, 0.1)
    screen.wait_painted("0 0")
    screen.click("matrix", 0.4, 0.8)
    screen.wait_painted("0 2")
    assert screen.root.get_attribute("data-keys") == "on"


def test_enter_opens_the_trial_in_the_review_and_shift_enter_leads_back(page, desk):
    desk.show(page, REVIEW)
    screen = People(page)
    screen.root.locator(".chip.keys").click()
    screen.press("ArrowDown", "Digit3", "ArrowRight", "ArrowRight")
    screen.wait_painted("1 2 1")
    screen.press("Enter")
    review = page.locator(".emgreview:not(.people):not(.return)")
    page.locator(".opened[data-open=yes]").wait_for()
    page.wait_for_function("root => root.dataset.painted === '7'", arg=review.element_handle(), timeout=20_000)
    assert "Trial 8 of 12" in review.locator(".title").inner_text()
    assert review.locator(".row[aria-current=true] .name").inner_text() == "wrist extensors"
    page.wait_for_function("root => root.dataset.keys === 'on'", arg=review.element_handle())
    assert not screen.root.is_visible()
    screen.press("f")  # a decision of the review, by its own key
    page.wait_for_function("root => root.dataset.unsaved === '0'", arg=review.element_handle())
    assert '"accept"' in "".join(path.read_text() for path in (desk.folder / "review" / "logs").rglob("*.jsonl"))
    screen.press("Shift+Enter")
    screen.root.wait_for()
    screen.wait_painted("1 2 1")
    assert screen.root.get_attribute("data-keys") == "on"
    screen.press("ArrowRight")
    screen.wait_painted("1 2 2")
    assert page.left_the_machine == []
    assert not [message for message in page.messages if "error" in message.lower()]


def test_many_people_have_pages_and_no_words_are_cut_at_1024(page, desk):
    page.set_viewport_size({"width": 1024, "height": 900})
    desk.show(page, INVENTED.format(40, 4), SHOW)
    screen = People(page)
    screen.root.locator(".chip.keys").click()
    assert "page 1 of" in screen.text(".multiples figcaption")
    screen.press("PageDown")
    page.wait_for_function("root => root.textContent.includes('page 2 of')", arg=screen.root.element_handle())
    width = screen.root.evaluate("root => [root.scrollWidth, root.clientWidth]")
    assert width[0] <= width[1]
    for caption in screen.root.locator("figcaption").all():
        wide = caption.evaluate("one => [one.scrollWidth, one.clientWidth]")
        assert wide[0] <= wide[1]
