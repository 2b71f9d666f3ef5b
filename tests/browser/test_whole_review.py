"""A scripted reviewer: 300 demo trials by real key presses and 30 by mouse in JupyterLab, against the same decisions
made by a plain script. No decision may be wrong, lost or double."""

import random

import pandas as pd
import pytest
from conftest import run_cells
from test_hand import Picture
from test_review import Screen, cell_sources

import emgreview as er

PARTICIPANTS, BY_KEY, BY_MOUSE = 9, 300, 30
OPEN = f"""
import emgreview as er
data = er.read_dataset(er.write_demo("study", participants={PARTICIPANTS}))
trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.2) for rec in data.recordings]
session = er.open_review(trials, "by-hand", reviewer="r1")
"""
FLAT = "flat or missing samples/radio drop-out"
REASONS = {"1": "mains hum", "4": "clipped", "6": "heart beats"}


def act_out(screen: Screen, session, trial: str, plan: random.Random) -> None:
    """One trial: keys on the screen, the same commands in the script."""
    first, second = session.trials[0].labels[:2]
    what = plan.choice(["all", "none", "unusable", "move", "discuss"])
    burst = session.state(trial).channels[first].response
    if what == "none":
        screen.press("d")
        session.none_visible(trial, first)
    elif what == "unusable":
        digit = plan.choice(list(REASONS))
        screen.press("s", digit, "Enter", "f")
        session.unusable(trial, first, [REASONS[digit]])
        session.accept(trial, second)
    elif what == "move" and burst is not None:
        steps = plan.randint(1, 4)
        screen.press(*["l"] * steps, "f")
        session.move(trial, first, onset_s=burst.onset_s + steps / 1000)
        session.accept(trial, first)
    elif what == "discuss":
        screen.press("t", "f")
        session.discuss(trial, first)
        session.accept(trial, first)
    screen.press("g")
    for label in left_open(session, trial):  # the screen goes on to each of them
        screen.press("s", "5", "Enter")
        session.unusable(trial, label, [FLAT])


def left_open(session, trial: str) -> tuple[str, ...]:
    """Accept the rest: the channels that this passes over, which is told (one participant's ECR is dead)."""
    session.accept_rest(trial)
    return session.open_channels(trial)


def act_by_mouse(screen: Screen, session, trial: str, plan: random.Random) -> None:
    """One trial: the pointer on the picture and the buttons, the same commands in the script."""
    cut = session.trials[0]
    channel = cut.labels[0]
    burst = session.state(trial).channels[channel].response

    def press(*commands: str):
        for command in commands:
            screen.root.locator(f"[data-command={command}]").first.click()

    def picture() -> Picture:
        screen.root.locator(".title").scroll_into_view_if_needed()
        auxiliary = len(cut.auxiliary_labels)
        span_s = (float(cut.time_s[0]), float(cut.time_s[-1]))
        return Picture(screen.page, span_s=span_s, rate_hz=cut.rate_hz, channels=len(cut.labels), auxiliary=auxiliary)

    what = plan.choice(["none", "drag", "place", "add"])
    if what == "none" or burst is None:
        press("none_visible")
        session.none_visible(trial, channel)
    elif what == "drag":
        here, earlier_s = picture(), burst.onset_s - plan.uniform(0.03, 0.1)
        here.drag(burst.onset_s, earlier_s, 0)
        by_s = here.seconds(earlier_s) - here.seconds(burst.onset_s)
        session.move(trial, channel, onset_s=round((burst.onset_s + by_s) * cut.rate_hz) / cut.rate_hz)
    elif what == "place":
        here, there_s = picture(), burst.onset_s - plan.uniform(0.05, 0.15)
        here.double_click(there_s, 0)
        session.move(trial, channel, onset_s=here.sample(there_s) / cut.rate_hz)
    else:
        here = picture()
        here.click(-0.7, 0)
        press("add")
        screen.settle()  # the added burst is in hand
        session.add(trial, channel, onset_s=here.sample(-0.7) / cut.rate_hz)
        here = picture()
        here.click(-0.55, 0)
        press("to_cursor")
        (added,) = [one for one in session.state(trial).channels[channel].standing if one.origin == "added"]
        session.move(trial, channel, burst=added.id, offset_s=here.sample(-0.55) / cut.rate_hz)
    if not session.state(trial).channels[channel].reviewed:
        press("accept")
        session.accept(trial, channel)
    press("accept_rest")
    for label in left_open(session, trial):
        press("unusable")
        screen.root.locator(".form .choice").nth(4).click()
        screen.root.locator(".form .do").first.click()
        session.unusable(trial, label, [FLAT])
    screen.settle()


@pytest.mark.filterwarnings("ignore::emgreview.errors.DecisionWarning")
@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # of the study; others ask for them
def test_three_hundred_trials_by_key_and_thirty_by_mouse(page, lab, tmp_path):
    lab.end_kernels()
    name = lab.write_notebook("whole.ipynb", OPEN, "er.review(session, break_after_min=None)")
    run_cells(page, lab, f"/lab/tree/{name}?reset", timeout=180_000)
    screen = Screen(page)
    before = cell_sources(page)
    screen.focus()

    data = er.read_dataset(lab.folder / "study")
    trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.2) for rec in data.recordings]
    plan = random.Random(11)
    with er.open_review(trials, tmp_path / "by-script", reviewer="r1") as script:
        for number, trial in enumerate(script.queue[:BY_KEY]):
            screen.wait_painted(number)
            act_out(screen, script, trial, plan)
            if number % 20 == 19:
                screen.settle()
                assert screen.title().startswith(f"Trial {number + 2} of ")
        for number, trial in enumerate(script.queue[BY_KEY : BY_KEY + BY_MOUSE], BY_KEY):
            screen.wait_painted(number)
            act_by_mouse(screen, script, trial, plan)
        screen.settle()
        wanted = script.decisions()
        script_events = er.verify(tmp_path / "by-script").events

    lab.end_kernels()
    assert er.verify(lab.folder / "by-hand").ok
    assert er.verify(lab.folder / "by-hand").events == script_events
    with er.open_review(trials, lab.folder / "by-hand", reviewer="r1") as by_hand:
        pd.testing.assert_frame_equal(by_hand.decisions(), wanted)
        assert by_hand.progress[2] == BY_KEY + BY_MOUSE
    assert cell_sources(page) == before
    assert page.left_the_machine == []
    print(f"{BY_KEY} trials by key, {BY_MOUSE} by mouse, {script_events} events, all as the script decided")
