"""A scripted reviewer: demo trials by real key presses and by mouse in JupyterLab, against the same decisions made by a
plain script. No decision may be wrong, lost or double. 300 and 30 trials in Chromium; a few in the other engines, where
they are installed."""

import json
import random
from itertools import groupby, pairwise
from pathlib import Path

import pandas as pd
import pytest
from driving import Page, Picture, Screen, run_cells
from engines import ENGINES, Chromium, Engine

import emgreview as er

OPEN = """
import emgreview as er
data = er.read_dataset(er.write_demo({study!r}, participants={participants}))
trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.2) for rec in data.recordings]
session = er.open_review(trials, {review!r}, reviewer="r1")
"""
SHOW = "er.review(session, break_after_min=None)"
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
    press = screen.press_buttons

    def picture() -> Picture:
        screen.of(".title", "(e) => e.scrollIntoView({block: 'nearest'})")
        auxiliary = len(cut.auxiliary_labels)
        span_s = (float(cut.time_s[0]), float(cut.time_s[-1]))
        engine = screen.engine
        return Picture(engine, span_s=span_s, rate_hz=cut.rate_hz, channels=len(cut.labels), auxiliary=auxiliary)

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
        screen.settle()  # the added burst is selected
        session.add(trial, channel, onset_s=here.sample(-0.7) / cut.rate_hz)
        here = picture()
        here.click(-0.55, 0)
        press("to_cursor")
        (added,) = [one for one in session.state(trial).channels[channel].active if one.origin == "added"]
        session.move(trial, channel, burst=added.id, offset_s=here.sample(-0.55) / cut.rate_hz)
    if not session.state(trial).channels[channel].reviewed:
        press("accept")
        session.accept(trial, channel)
    press("accept_rest")
    for label in left_open(session, trial):
        press("unusable")
        screen.click(".form .choice", 4)
        screen.click(".form .do")
        session.unusable(trial, label, [FLAT])
    screen.settle()


def cell_sources(engine: Engine) -> list[str]:
    """What stands in the notebook's cells: JupyterLab empties those that are far out of sight."""
    page, cells, found = Page(engine), ".jp-Notebook .jp-CodeCell", []
    for i in range(page.count(cells)):
        page.of(cells, "(cell) => cell.scrollIntoView()", i)
        engine.wait(0.5)
        found.append(page.of(cells, "(cell) => cell.querySelector('.cm-content')?.innerText", i))
    return found


def decided(review: Path) -> dict[str, list[tuple]]:
    """What each log says was done to what: trials in order, and in each what was done, in an order that does not ask
    which of its channels was decided first. Moves of one burst that follow each other count once: on a busy machine
    more than 300 ms pass between two presses of a held-back nudge, which then goes in two parts."""
    done = {}
    for path in sorted((review / "logs").rglob("*.jsonl")):
        events = [json.loads(line) for line in path.read_text().splitlines()]
        steps = [(e["operation"], e["field"], *sorted(e["subject"].items())) for e in events]
        once = [now for before, now in pairwise([None, *steps]) if not (now == before and now[0] == "move")]
        by_trial = groupby(once, key=lambda step: dict(step[2:])["trial"])
        done[path.name] = [step for _, mine in by_trial for step in sorted(mine, key=str)]
    return done


def review_as_a_script(engine: Engine, lab, folder: Path, *, participants: int, by_key: int, by_mouse: int) -> None:
    """The same trials on the screen and by script: the decisions, and every event that made them, must be the same."""
    study, review = f"study-{participants}", f"by-hand-{engine.name}"
    opened = OPEN.format(study=study, review=review, participants=participants)
    name = lab.write_notebook(f"{review}.ipynb", opened, SHOW)
    run_cells(engine, lab, f"/lab/tree/{name}?reset", seconds=180)
    screen = Screen(engine)
    before = cell_sources(engine)
    screen.focus()

    data = er.read_dataset(lab.folder / study)
    trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.2) for rec in data.recordings]
    plan = random.Random(11)
    with er.open_review(trials, folder / "by-script", reviewer="r1") as script:
        for number, trial in enumerate(script.queue[:by_key]):
            screen.wait_painted(number)
            act_out(screen, script, trial, plan)
            if number % 20 == 19:
                screen.settle()
                assert screen.title().startswith(f"Trial {number + 2} of ")
        for number, trial in enumerate(script.queue[by_key : by_key + by_mouse], by_key):
            screen.wait_painted(number)
            act_by_mouse(screen, script, trial, plan)
        screen.settle()
        wanted = script.decisions()

    lab.end_kernels()
    assert er.verify(lab.folder / review).ok
    script_events = decided(folder / "by-script")
    assert decided(lab.folder / review) == script_events
    with er.open_review(trials, lab.folder / review, reviewer="r1") as by_hand:
        pd.testing.assert_frame_equal(by_hand.decisions(), wanted)
        assert by_hand.progress[2] == by_key + by_mouse
    assert cell_sources(engine) == before
    acts = sum(map(len, script_events.values()))
    print(f"{engine.name}: {by_key} trials by key, {by_mouse} by mouse, {acts} events, all as the script decided")


@pytest.mark.filterwarnings("ignore::emgreview.errors.DecisionWarning")
@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # of the study; others ask for them
def test_three_hundred_trials_by_key_and_thirty_by_mouse(page, lab, tmp_path):
    lab.end_kernels()
    review_as_a_script(Chromium(page), lab, tmp_path, participants=9, by_key=300, by_mouse=30)
    assert page.left_the_machine == []


@pytest.mark.filterwarnings("ignore::emgreview.errors.DecisionWarning")
@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
@pytest.mark.parametrize("name", ENGINES)
def test_a_few_trials_in_another_engine(name, lab, tmp_path):
    if missing := ENGINES[name].missing():
        pytest.skip(missing)
    lab.end_kernels()
    engine = ENGINES[name]()
    try:
        review_as_a_script(engine, lab, tmp_path, participants=2, by_key=16, by_mouse=8)
    except BaseException:
        engine.screenshot(tmp_path / "screen.png")
        print(f"the screen as it was: {tmp_path / 'screen.png'}")
        raise
    finally:
        engine.close()
