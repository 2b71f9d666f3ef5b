"""A scripted reviewer: 300 demo trials by real key presses and 30 by mouse in JupyterLab, against the same decisions
made by a plain script. No decision may be wrong, lost or double."""

import random

import pandas as pd
from conftest import run_cells
from test_review import Screen, cell_sources

import emgreview as er

PARTICIPANTS, BY_KEY, BY_MOUSE = 9, 300, 30
OPEN = f"""
import emgreview as er
data = er.read_dataset(er.write_demo("study", participants={PARTICIPANTS}))
trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.2) for rec in data.recordings]
session = er.open_review(trials, "by-hand", reviewer="r1")
"""
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
    session.accept_rest(trial)


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
        for trial in script.queue[BY_KEY : BY_KEY + BY_MOUSE]:
            screen.root.locator("[data-command=none_visible]").click()
            screen.root.locator("[data-command=accept_rest]").click()
            script.none_visible(trial, script.trials[0].labels[0])
            script.accept_rest(trial)
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
