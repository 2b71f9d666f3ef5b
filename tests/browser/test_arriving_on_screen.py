"""A review that opens with its first recording: the others join it on the screen, under the hands of who decides."""

import small_study
from review_screens import FIRST, events, open_page

OPEN = """
import small_study
import emgreview as er
people = [small_study.recording(f"sub-{{code}}_task-turn", seed) for seed, code in enumerate("abcd")]
coming = er.cut_as_ready(people, cue="go", before_s=1.0, after_s=1.5, runner=er.Runner(progress=None))
session = er.open_review(coming, "review", reviewer="r1", order="{order}")
"""
SHOW = "er.review(session)"


def test_the_first_recording_is_reviewed_while_the_others_join(page, desk):
    screen = open_page(page, desk, OPEN.format(order="recorded"), SHOW)
    screen.focus()
    screen.press("g")  # accepts the rest of the trial, and goes on
    screen.settle()
    screen.wait_for(lambda: screen.title().startswith("Trial 2 of 24"), "all trials there", seconds=60)
    screen.wait_for(lambda: screen.root.locator(".awaited").is_hidden(), "nothing is awaited")
    screen.press("g")
    screen.settle()
    decided = [event for event in events(desk.folder) if event["subject"]["trial"]]
    assert len({event["subject"]["trial"] for event in decided}) == 2
    screen.press(*["ArrowRight"] * 5)  # into the recording that has joined
    screen.wait_for(lambda: screen.title().startswith("Trial 8 of 24"), "the next recording")
    screen.wait_painted(7)
    screen.wait_for(lambda: "24" in screen.root.locator(".over-map").get_attribute("aria-label"), "all in the overview")


def test_an_order_that_needs_all_says_so_and_keeps_the_trial_that_is_looked_at(page, desk):
    screen = open_page(page, desk, OPEN.format(order="least certain"), SHOW)
    screen.focus()
    if screen.root.locator(".awaited").is_visible():  # unless all came before somebody could look
        assert "'least certain' needs all" in screen.root.locator(".awaited").inner_text()
    before = screen.root.get_attribute("data-painted")
    screen.wait_for(lambda: " of 24" in screen.title(), "all trials there", seconds=60)
    screen.wait_for(lambda: screen.root.locator(".awaited").is_hidden(), "nothing is awaited")
    assert screen.root.get_attribute("data-painted") == before
    screen.press("g")
    screen.settle()
    told = [event for event in events(desk.folder) if event["subject"]["trial"]]  # of the first recording
    go = [marker.sample for marker in small_study.recording(FIRST, 0).markers if marker.label == "go"]
    assert {event["subject"]["trial"].rpartition("/")[2] for event in told} == {str(go[int(before)])}
