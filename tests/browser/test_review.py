"""The review widget in real hosts, by real key presses and a real mouse.

Every test asserts what is in the files afterwards, not only what the screen says.
"""

import json
from pathlib import Path

import pandas as pd
import pytest
from conftest import panel_serve, run_cells
from review_screens import (
    BLIND,
    CANVAS_BOX,
    FIRST,
    OPEN,
    SECOND,
    SHOW,
    Screen,
    cell_sources,
    events,
    open_in_lab,
    open_page,
    operations,
)
from review_screens import working as working

import emgreview as er


def test_a_review_by_keyboard_in_jupyterlab(page, working):
    screen = open_in_lab(page, working)
    before = cell_sources(page)
    screen.focus()

    screen.press("f")  # trial 1, first channel: accept
    screen.press("l", "l", "l", "Semicolon", "f")  # second: 13 ms later, then the same single key confirms
    screen.press("d")  # third: none visible; goes on to trial 2
    screen.settle()
    assert screen.title().startswith("Trial 2 of 12")
    screen.press("s", "4", "Enter")  # unusable: clipped
    screen.press("f", "f")
    screen.settle()
    assert screen.title().startswith("Trial 3 of 12")
    screen.press("f")
    screen.settle()
    screen.press("u")  # takes the last accept back, and shows where
    screen.settle()
    assert screen.states() == ["open", "open", "open"]
    screen.press("ArrowLeft", "ArrowLeft", "n")  # from trial 1 to the next one that is not reviewed
    screen.settle()
    assert screen.title().startswith("Trial 3 of 12")
    screen.press("y")
    page.keyboard.press("Control+a")
    page.keyboard.type("first look")
    screen.press("Enter")
    screen.settle()
    sealed = working.folder / "review" / "versions" / "first look"
    screen.wait_for(sealed.exists, "version sealed")

    log = events(working.folder)
    assert operations(working.folder) == [
        "open log", "accept", "move", "accept", "none visible", "unusable", "accept", "accept", "accept", "undo",
        *operations(working.folder)[10:],
    ]  # fmt: skip
    move = log[2]["new"]["bursts"]["response"]
    assert move["onset"] - move["automatic"]["onset"] == round(0.013 * 2000)
    assert log[5]["new"] == {"state": "unusable", "reasons": ["clipped"]}
    for event in log:
        if event["operation"] == "accept":
            seen = event["visible"]
            assert (seen["gain"], seen["walk"]) == (1, None)
            assert 0 <= seen["seconds"] < 60
            start_s, stop_s = seen["span_s"]
            assert 500 < (stop_s - start_s) * 1000 / seen["ms_per_px"] < 1400, "the width of the picture"
            assert 20 < seen["full_scale"] < 300, "bursts of 60 µV fill the band"
    assert er.verify(working.folder / "review").ok

    table = er.read_version(working.folder / "review", "first look")
    rows = table[table["trial"] == f"{FIRST}/given/4000"].set_index("channel")
    assert rows.loc["biceps", "accepted"]
    assert rows.loc["wrist flexors", "origin"] == "moved"
    assert rows.loc["wrist extensors", "activity"] == "none visible"
    assert int(table["reviewed"].sum()) == 6
    tsv = pd.read_csv(sealed / "decisions.tsv", sep="\t", na_values="n/a")
    assert len(tsv) == len(table)

    assert cell_sources(page) == before
    assert page.left_the_machine == []


def test_stray_keys_never_reach_the_notebook(page, working):
    screen = open_in_lab(page, working)
    before = cell_sources(page)
    screen.focus()
    screen.press(*"axddzdd00bhc", "Escape", "Escape", "d", "d", "x", "Enter", "Space", "Shift+Slash", "0", "0")
    page.wait_for_timeout(800)
    assert cell_sources(page) == before
    assert page.locator(".jp-Dialog").count() == 0


def test_keys_are_off_when_the_focus_is_lost_and_the_screen_says_so(page, working):
    screen = open_in_lab(page, working)
    screen.focus()
    page.locator(".jp-Notebook .jp-CodeCell").nth(2).locator(".jp-InputPrompt").click()
    assert screen.root.get_attribute("data-keys") == "off"
    assert "click here" in screen.root.locator(".chip.keys").inner_text()


def test_a_killed_kernel_loses_nothing_that_was_confirmed_and_review_goes_on(page, working):
    screen = open_in_lab(page, working)
    screen.focus()
    screen.press("f", "f", "f", "f")
    screen.settle()
    confirmed = operations(working.folder).count("accept")
    assert confirmed == 4

    kill = "import os, signal; os.kill(os.getpid(), signal.SIGKILL)"
    (kernel,) = working.kernels()
    import psutil

    victims = [
        p for p in psutil.process_iter(["cmdline"]) if kernel["id"] in " ".join(p.info["cmdline"] or ())
    ]  # its connection file carries the kernel's id
    assert victims, kill
    for victim in victims:
        victim.kill()
    screen.press("f")
    screen.wait_for(
        lambda: "decisions stopped" in screen.root.locator(".chip[data-state]").inner_text(), "stop shown", 4
    )
    unsaved = int(screen.root.get_attribute("data-unsaved"))
    assert unsaved == 1
    screen.press("ArrowRight", "f")
    assert int(screen.root.get_attribute("data-unsaved")) == unsaved, "a decision was taken after the stop"
    assert operations(working.folder).count("accept") == confirmed

    working.end_kernels()
    again = open_in_lab(page, working)
    again.root.locator(".chip.keys").click()
    again.wait_painted(1)
    assert again.title().startswith("Trial 2 of 12")
    assert again.states() == ["accepted", "open", "open"]
    again.press("f")
    again.settle()
    assert operations(working.folder).count("accept") == confirmed + 1


def test_marks_by_mouse(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    burst_s = page.evaluate(BURST_S)
    box = page.evaluate(CANVAS_BOX)

    def x_of(seconds):
        return box["left"] + (seconds - box["x0"]) / (box["x1"] - box["x0"]) * box["width"]

    y = box["top"] + 20
    page.mouse.move(x_of(burst_s), y)
    page.mouse.down()
    page.mouse.move(x_of(burst_s + 0.05), y, steps=6)
    page.mouse.up()
    screen.settle()
    (event,) = [event for event in events(desk.folder) if event["operation"] == "move"]
    moved = event["new"]["bursts"]["response"]
    assert (moved["onset"] - moved["automatic"]["onset"]) / 2000 == pytest.approx(0.05, abs=0.004)

    screen.root.locator("[data-command=accept]").click()
    screen.root.locator("[data-command=none_visible]").click()
    screen.settle()
    assert operations(desk.folder)[-2:] == ["accept", "none visible"]
    assert screen.root.get_attribute("data-keys") == "on", "a click on a button took the keys away"


def test_samples_are_not_echoed_back_to_python(page, working):
    sent = []
    page.on("websocket", lambda socket: socket.on("framesent", lambda frame: sent.append(len(frame))))
    screen = open_in_lab(page, working)
    screen.focus()
    page.wait_for_timeout(1500)
    sent.clear()
    screen.press(*["ArrowRight"] * 8)
    screen.press("f")
    screen.settle()
    assert sum(sent) < 1024 * 9 + 4096, f"{sum(sent)} bytes went to Python for nine keys"


def test_a_held_key_navigates_on_but_decides_once(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    for _ in range(4):
        page.keyboard.down("ArrowRight")  # pressed again without a release: auto-repeat
    page.keyboard.up("ArrowRight")
    assert screen.title().startswith("Trial 5 of 12")
    for _ in range(4):
        page.keyboard.down("f")
    page.keyboard.up("f")
    screen.settle()
    assert operations(desk.folder).count("accept") == 1


def test_notebook_7(page, notebook):
    notebook.write_notebook("review.ipynb", OPEN, SHOW)
    run_cells(page, notebook, "/notebooks/review.ipynb")
    review_two_channels(Screen(page), notebook.folder)
    assert page.left_the_machine == []


def test_panel_serve(page, tmp_path):
    (tmp_path / "app.py").write_text(f"{OPEN}\nimport emgreview as er\ner.review(session).servable()\n")
    server = panel_serve(tmp_path, "app.py")
    try:
        page.goto(server.base + "/app")
        review_two_channels(Screen(page), tmp_path)
        assert page.left_the_machine == []
    finally:
        server.stop()


def test_a_host_that_knows_ipywidgets_alone(page, voila):
    # Voila renders ipywidgets and no notebook extension; its own page asks for styles of its own from elsewhere.
    voila.write_notebook("review.ipynb", OPEN, SHOW)
    page.goto(voila.base + "/voila/render/review.ipynb")
    review_two_channels(Screen(page), voila.folder)
    assert [url for url in page.left_the_machine if "panel" in url or "bokeh" in url] == []


def review_two_channels(screen: Screen, folder: Path):
    screen.focus()
    screen.press("f", "d")
    screen.settle()
    assert operations(folder) == ["open log", "accept", "none visible"]
    assert screen.states() == ["accepted", "none visible", "open"]


BURST_S = """() => {
  const root = document.querySelector('.emgreview') ?? find(document)
  function find(node) {
    for (const e of node.querySelectorAll('*')) {
      if (e.classList.contains('emgreview')) return e
      const inner = e.shadowRoot && find(e.shadowRoot)
      if (inner) return inner
    }
  }
  return Number(/onset (-?[0-9.]+) ms/.exec(root.querySelector('.detail').textContent)[1]) / 1000
}"""


def test_lists_overview_and_pictures_on_demand(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("t")  # the first channel of trial 1: to discuss
    screen.settle()
    screen.press("ArrowRight", "ArrowRight", "Backquote", "6")
    screen.wait_painted(0)
    assert "to discuss (1)" in screen.root.locator(".stepping").inner_text()
    screen.press("ArrowRight")
    assert screen.title().startswith("Trial 1 of 12"), "left the list at its end"
    screen.press("Backquote", "1", "ArrowRight")
    screen.wait_painted(1)

    if screen.root.locator(".overview").is_hidden():
        screen.press("Comma")
    page.wait_for_timeout(1000)  # the picture makes room for the overview
    box = screen.root.locator(".over-map").bounding_box()
    page.mouse.click(box["x"] + 40, box["y"] + 9 * 12 + 3)  # the tenth row
    screen.wait_painted(9)
    screen.press("Period", "PageUp")  # sorted by time: the trial before, the same channel
    screen.wait_for(lambda: "time of recording" in screen.root.locator(".over-title").inner_text(), "the order")
    assert "● accepted" in screen.root.locator(".legend").inner_text()
    assert " Mains measured in this recording, biceps: at 50 Hz" in screen.root.locator(".foot").inner_text()
    screen.wait_for(lambda: screen.root.get_attribute("data-painted") != "9", "the row above")

    screen.press("BracketLeft")
    assert screen.root.locator(".spectrum").is_visible()
    screen.press("Quote")
    screen.wait_for(lambda: screen.root.get_attribute("data-heard"), "the stretch heard")
    heard_s = float(screen.root.get_attribute("data-heard").split()[0])
    assert 0.4 < heard_s < 0.8, "not the burst of 0.35 s with a little around it"
    screen.press("x")
    assert "gain × 2" in screen.root.locator(".differs").inner_text()
    screen.press("z", "v")
    assert "close-up" in screen.root.locator(".differs").inner_text()
    assert page.left_the_machine == []


def test_the_next_open_trial_is_one_of_those_stepped_through(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("t", *["ArrowRight"] * 4, "t")  # trials 1 and 5: to discuss
    screen.settle()
    screen.press("Backquote", "6")
    screen.wait_for(lambda: "to discuss (2)" in screen.root.locator(".stepping").inner_text(), "the list")
    screen.press("ArrowLeft", "n")
    screen.wait_painted(4)
    screen.press("n")
    screen.wait_painted(0)


def test_the_bulk_audit_is_stepped_through_and_finished_on_the_screen(page, desk):
    plan = (
        "import emgreview as er\nrule = er.BulkRule(interval_below_s=0.1, level_above_db=6)\n"
        "audit = er.plan_bulk(session, rule, at_most=0.3, moved_by_s=0.1, expected=0.0)"
    )
    screen = open_page(page, desk, OPEN, plan, SHOW)
    screen.focus()
    screen.press("Backquote", "Equal")
    screen.wait_for(lambda: "bulk audit" in screen.root.locator(".stepping").inner_text(), "the list")
    form = screen.root.locator(".form")
    for _ in range(36):
        screen.press("d")  # none visible: counts as moved
        screen.settle()
        page.wait_for_timeout(200)
        if form.is_visible():
            break
    log = [event for name in (FIRST, SECOND) for event in events(desk.folder, name)]
    (drawn,) = [event["new"]["hide"] for event in log if event["operation"] == "draw audit"]
    decided = [[e["subject"]["trial"], e["subject"]["channel"]] for e in log if e["operation"] == "none visible"]
    assert sorted(decided) == sorted(drawn)
    assert f"All {len(drawn)} channel-trials of the audit are decided" in form.inner_text()
    screen.press("1")
    screen.wait_for(lambda: "The audit failed" in form.inner_text(), "the result")
    screen.press("Escape")
    assert screen.root.locator(".stepping").is_hidden()
    assert "audit result" in operations(desk.folder)


def test_a_recording_is_excluded_readmitted_and_a_trial_put_up_for_discussion(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("Shift+x", "2", "Enter")  # this recording, without a reason: stays in the form
    assert "needs its reason" in screen.root.locator(".notice").inner_text()
    page.keyboard.type("fell asleep")
    screen.press("Enter")
    screen.settle()
    screen.wait_for(lambda: "✕ recording excluded: fell asleep" in screen.title(), "the sign")
    screen.press("Shift+t")
    screen.settle()
    screen.wait_for(lambda: "to discuss" in screen.title(), "the sign of the discussion")
    screen.press("Shift+x")
    assert "readmit this recording, all channels (excluded: fell asleep)" in screen.root.locator(".form").inner_text()
    screen.press("2", "Enter")
    screen.settle()
    screen.wait_for(lambda: "excluded" not in screen.title(), "the sign gone")
    screen.press("u")
    screen.settle()
    screen.wait_for(lambda: "✕ recording excluded" in screen.title(), "readmission undone")
    assert operations(desk.folder) == ["open log", "exclude", "discuss", "readmit", "undo"]


def test_two_methods_are_compared_while_the_review_goes_on(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("Backquote", "m", "1", "9")  # what is proposed, and the last in the list
    page.keyboard.press("Control+a")
    page.keyboard.type("1")
    screen.press("Enter", "f")
    stepping = screen.root.locator(".stepping")
    screen.wait_for(lambda: stepping.is_visible(), "the list")
    assert stepping.inner_text().startswith("stepping through: as proposed and threshold differ by more than 1 ms")
    screen.settle()
    assert operations(desk.folder) == ["open log", "accept"]


def test_the_method_is_changed_in_mid_review(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    foot = screen.root.locator(".foot")
    assert "Onsets by ramp." in foot.inner_text()
    screen.press("l", "l", "f")
    screen.settle()
    screen.press("Shift+KeyM")
    form = screen.root.locator(".form")
    assert "Onsets are found by ramp." in form.inner_text()
    assert "given by script" in form.inner_text()
    form.locator(".choice").last.click()  # threshold: the last by name
    screen.settle()
    notice = screen.root.locator(".notice")
    screen.wait_for(lambda: "Onsets are now found by threshold." in notice.inner_text(), "what was changed")
    assert "eviewed mark" in notice.inner_text()
    screen.wait_for(lambda: "Onsets by threshold." in foot.inner_text(), "the method in the foot")
    assert screen.states()[0] == "moved", "what was decided stays"
    screen.press("f")
    screen.settle()
    assert operations(desk.folder) == ["open log", "move", "accept", "change method", "accept"]


def test_the_half_width_of_an_onset_is_given_and_taken_back(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    detail = screen.root.locator(".detail")
    screen.press("Shift+KeyH")
    page.keyboard.type("a few")
    screen.press("Enter")
    assert "no number of ms" in screen.root.locator(".notice").inner_text()
    page.keyboard.press("Control+a")
    page.keyboard.type("7.5")
    screen.press("Enter")
    screen.settle()
    screen.wait_for(lambda: "onset ± 7.5 ms" in detail.inner_text(), "the half-width in words")
    screen.press("Backslash")
    assert "ms" not in detail.inner_text()
    screen.press("Backslash", "Shift+KeyH")
    page.keyboard.press("Control+a")
    screen.press("Delete", "Enter")
    screen.settle()
    widths = [event["new"]["bursts"]["response"].get("half_width") for event in events(desk.folder)[1:]]
    assert widths == [15, None]


def test_keys_for_a_burst_just_added_wait_for_it(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("e", "Shift+Semicolon", "Shift+Semicolon", "m", "h", "4", "1", "f", "f")
    screen.settle()
    log = events(desk.folder)
    assert [event["operation"] for event in log] == [
        "open log",
        "add",
        "move",
        "kind",
        "confidence",
        "accept",
        "accept",
    ]
    added = log[1]["subject"]["burst"]
    assert [event["subject"]["burst"] for event in log[2:5]] == [added] * 3
    burst = log[4]["new"]["bursts"][added]
    assert (burst["offset"] - burst["onset"], burst["kind"], burst["confidence"]) == (40, "braking", "sure")
    assert {event["subject"]["channel"] for event in log[5:]} == {"biceps", "wrist flexors"}


def test_a_long_sign_is_whole_in_the_panel(page, desk):
    name = f"session.exclude('the strap slipped and was put on again', recording={FIRST!r}, channel='biceps')"
    screen = open_page(page, desk, f"{OPEN}\n{name}", SHOW)
    screen.focus()
    whole = screen.root.locator(".detail")
    assert "○ open ✕ channel excluded: the strap slipped and was put on again" in whole.inner_text()
    screen.press("ArrowDown")
    screen.wait_for(lambda: "excluded" not in whole.inner_text(), "the words of the other channel")


def test_reasons_again_comments_and_an_interval(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("s", "1", "6", "Enter", "Shift+KeyS")
    screen.settle()
    logged = events(desk.folder)
    assert logged[-1]["new"] == logged[-2]["new"] == {"state": "unusable", "reasons": ["mains hum", "heart beats"]}
    screen.press("w")
    page.keyboard.type("210")
    screen.press("Tab")
    page.keyboard.type("290")
    screen.press("Enter")
    screen.settle()
    interval = events(desk.folder)[-1]
    assert interval["operation"] == "not locatable"
    assert [interval["new"][end] - 4000 for end in ("earliest", "latest")] == [420, 580]
    screen.press("Shift+KeyC")
    page.keyboard.type("=2+2 <b>not markup</b>")
    screen.press("Enter")
    screen.settle()
    said = events(desk.folder)[-1]
    assert (said["subject"]["channel"], said["new"]) == (None, "=2+2 <b>not markup</b>")
    assert screen.root.locator("b").count() == 0


def test_a_blind_review_shows_no_name_and_unblinding_asks(page, desk):
    screen = open_page(page, desk, BLIND, SHOW)
    screen.focus()
    assert "sub-" not in screen.root.inner_text()
    assert "onset" not in screen.root.locator(".detail").inner_text()
    screen.press("f")
    screen.settle()
    screen.press("Shift+KeyB")
    page.keyboard.type("all trials reviewed")
    screen.press("Enter")
    screen.settle()
    screen.wait_for(lambda: "sub-" in screen.title(), "the name after unblinding")
    both = [event for name in (FIRST, SECOND) for event in events(desk.folder, name)]
    (accept,) = [event for event in both if event["operation"] == "accept"]
    assert accept["blind"] is True
    assert accept["visible"]["response"] is False
    assert "unblind" in {event["operation"] for event in both}


TWO = "import emgreview as er\nother = small_study.open_session('other')\ner.review(other)"


def test_notes_stay_on_the_screen_and_unfold(page, desk):
    """Long after the notice at the start has gone; a click beside the keys never takes them away."""
    noted = (
        "import dataclasses, emgreview as er, small_study\n"
        "recs = [dataclasses.replace(small_study.recording(n, i), notes=('a column was ignored', n + ' has no mains'))"
        " for i, n in enumerate(('sub-a', 'sub-b'))]\n"
        "session = er.open_review([er.cut_trials(r, cue='go', before_s=1.0, after_s=1.5) for r in recs], 'review',"
        " reviewer='r1', blind=True)"
    )
    screen = open_page(page, desk, noted, SHOW)
    screen.focus()
    page.wait_for_timeout(8500)
    notes = screen.root.locator(".notes")
    assert notes.locator("button").inner_text() == "3 notes"
    assert "A plain folder does not say who was recorded" in notes.locator(".first").inner_text()
    assert not notes.locator("ul").is_visible()
    notes.locator("button").click()
    said = notes.locator("li").all_inner_texts()
    assert said[1:] == ["2 recordings: a column was ignored", "2 recordings: a recording has no mains"]
    assert screen.root.get_attribute("data-keys") == "on"
    assert "sub-" not in screen.root.inner_text()


def test_two_widgets_in_one_notebook_are_independent(page, working):
    screen = open_in_lab(page, working, OPEN, SHOW, TWO)
    page.locator(".emgreview").nth(1).wait_for()
    screen.focus()
    screen.press("f", "f")
    screen.settle()
    second = page.locator(".emgreview").nth(1)
    second.locator(".chip.keys").click()
    assert second.get_attribute("data-keys") == "on"
    assert screen.root.get_attribute("data-keys") == "off"
    screen.press("d")
    screen.wait_for(lambda: (working.folder / "other" / "logs").exists(), "the other log")
    page.wait_for_timeout(800)
    assert operations(working.folder)[1:] == ["accept", "accept"]
    (log,) = (working.folder / "other" / "logs").rglob(f"{FIRST}*.jsonl")
    assert '"none visible"' in log.read_text()


def test_a_disk_that_fails_stops_decisions_and_nothing_is_called_saved(page, working):
    screen = open_in_lab(page, working)
    screen.focus()
    screen.press("f")
    screen.settle()
    page.locator(".jp-Notebook .jp-CodeCell").nth(2).locator(".cm-content").click()
    page.keyboard.press("Control+a")
    page.keyboard.type("import os\ndef full(*_): raise OSError(28, 'No space left on device')\nos.fsync = full")
    page.keyboard.press("Control+Enter")
    page.wait_for_timeout(1000)
    screen.root.locator(".chip.keys").click()
    screen.press("f")
    screen.wait_for(lambda: "decisions stopped" in screen.root.inner_text(), "stop shown", 5)
    assert "No space left" in screen.root.locator(".notice").inner_text()
    assert "perhaps saved: 1" in screen.root.inner_text(), "its line may be on disk, whatever the flush said"
    screen.press("f", "f")
    assert operations(working.folder).count("accept") <= 2
    assert "all saved" not in screen.root.inner_text()


def drag(page, from_s: float, to_s: float, *, release: bool = True) -> None:
    """Press on the first channel at one time, move to another."""
    box = page.evaluate(CANVAS_BOX)

    def x_of(seconds):
        return box["left"] + (seconds - box["x0"]) / (box["x1"] - box["x0"]) * box["width"]

    page.mouse.move(x_of(from_s), box["top"] + 45)
    page.mouse.down()
    page.mouse.move(x_of(to_s), box["top"] + 45, steps=5)
    if release:
        page.mouse.up()


def test_a_refused_move_is_undone_on_screen_and_nothing_else_is_accepted(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    onset_s = page.evaluate(BURST_S)
    drag(page, onset_s, 1.0)  # past the offset
    screen.wait_for(lambda: "not taken" in screen.root.locator(".notice").inner_text(), "the refusal")
    assert "Trial 1, biceps" in screen.root.locator(".notice").inner_text()
    screen.settle()
    assert page.evaluate(BURST_S) == onset_s
    screen.press("f")
    screen.settle()
    assert operations(desk.folder)[1:] == ["accept"]


def test_a_click_beside_a_mark_moves_nothing_and_keys_wait_for_a_drag(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    onset_s = page.evaluate(BURST_S)
    drag(page, onset_s + 0.004, onset_s + 0.005)
    screen.settle()
    assert operations(desk.folder)[1:] == []
    drag(page, onset_s, onset_s + 0.05, release=False)
    screen.press("f", "ArrowRight")  # neither decides nor leaves
    assert screen.title().startswith("Trial 1 of 12")
    screen.press("Escape")
    page.mouse.up()
    screen.settle()
    assert operations(desk.folder)[1:] == []
    assert page.evaluate(BURST_S) == onset_s


def test_undo_goes_back_to_the_channel_that_it_concerns(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("f", "f")
    screen.settle()
    screen.press("u")
    screen.settle()
    screen.press("d")
    screen.settle()
    last = events(desk.folder)[-1]
    assert (last["operation"], last["subject"]["channel"]) == ("none visible", "wrist flexors")


def test_a_form_never_acts_on_another_channel_and_takes_no_blank_number(page, desk):
    screen = open_page(page, desk)
    screen.focus()
    screen.press("s", "4")
    screen.wait_for(lambda: screen.root.get_attribute("data-unsaved") == "1", "what is chosen is not saved")
    box = page.evaluate(CANVAS_BOX)
    page.mouse.click(box["left"] + 20, box["top"] + 0.75 * box["height"])  # another channel: leaves the form
    screen.press("Enter")
    screen.settle()
    assert operations(desk.folder)[1:] == []
    screen.press("w")
    page.keyboard.press("Backspace")
    screen.press("Enter")
    assert "no number" in screen.root.locator(".notice").inner_text()
    screen.press("Escape")
    screen.settle()
    assert operations(desk.folder)[1:] == []


def test_the_trial_stays_in_place_while_a_form_asks_and_the_page_follows_the_channel_in_hand(page, working):
    screen = open_in_lab(page, working)
    screen.focus()
    top = page.evaluate(CANVAS_BOX)["top"]
    screen.press("s")
    screen.root.locator(".form").wait_for()
    assert page.evaluate(CANVAS_BOX)["top"] == top
    screen.press("Escape")
    head = screen.root.locator(".head").bounding_box()["height"]
    page.evaluate("document.querySelector('.jp-Notebook').focus()")
    screen.wait_for(lambda: screen.root.get_attribute("data-keys") == "off", "keys off")
    assert screen.root.locator(".head").bounding_box()["height"] == head, "nothing moves when the focus goes"
    screen.root.locator(".chip.keys").click()
    high = page.evaluate(CANVAS_BOX)["height"]
    page.set_viewport_size({"width": 1400, "height": 420})  # lower than the picture
    screen.wait_for(lambda: page.evaluate(CANVAS_BOX)["height"] < high, "a picture that fits the window better")
    screen.press("ArrowDown", "ArrowDown")

    def seen(share):  # a height in the picture, between the edges of the notebook
        box, notebook = page.evaluate(CANVAS_BOX), page.locator(".jp-WindowedPanel-outer").bounding_box()
        y = box["top"] + share * box["height"]
        return notebook["y"] - 1 <= y <= notebook["y"] + notebook["height"] + 1

    assert seen(0.8), "the foot of the third of four bands"
    screen.press("ArrowUp", "ArrowUp")
    assert seen(0.05)


def test_a_page_that_is_loaded_again_shows_what_stands(page, tmp_path):
    (tmp_path / "shared.py").write_text(
        "import small_study, emgreview as er\nscreen = er.review(small_study.open_session('review'))\n"
    )
    (tmp_path / "app.py").write_text("import shared\nshared.screen.servable()\n")
    server = panel_serve(tmp_path, "app.py")
    try:
        page.goto(server.base + "/app")
        screen = Screen(page)
        screen.focus()
        screen.press("l", "f", "f", "f", "f")
        screen.settle()
        page.reload()
        again = Screen(page)
        again.root.locator(".chip.keys").click()
        again.wait_painted(1)
        assert again.states() == ["accepted", "open", "open"]
        again.press("ArrowLeft")
        again.wait_painted(0)
        assert again.states() == ["moved", "accepted", "accepted"]
    finally:
        server.stop()


CONVENTION = """import small_study
words = "Onset: first lasting rise.\\nStray units: none."
session = small_study.open_session("review", convention=words)"""


def test_the_marking_convention_is_read_before_the_first_decision(page, desk):
    screen = open_page(page, desk, CONVENTION, SHOW)
    screen.wait_painted(0)
    screen.root.locator(".chip.keys").click()
    told = screen.root.locator(".form .told").inner_text()
    assert told.split("\n\n") == ["Onset: first lasting rise.", "Stray units: none."]
    screen.press("f")  # goes nowhere while the text is open
    assert "Esc or Enter closes it" in screen.root.locator(".notice").inner_text()
    screen.press("Escape", "f")
    screen.settle()
    assert operations(desk.folder)[1:] == ["accept"]
    screen.press("Shift+KeyQ")
    assert "first lasting rise" in screen.root.locator(".form").inner_text()


def test_a_first_click_on_the_picture_opens_the_convention_and_does_no_more(page, desk):
    screen = open_page(page, desk, CONVENTION, SHOW)
    screen.wait_painted(0)
    box = page.evaluate(CANVAS_BOX)
    page.mouse.dblclick(box["left"] + 0.7 * box["width"], box["top"] + 0.5 * box["height"])
    assert "first lasting rise" in screen.root.locator(".form .told").inner_text()
    screen.settle()
    assert operations(desk.folder)[1:] == []
    screen.press("Shift+Slash")  # keys wait
    assert screen.root.locator(".card").is_hidden()
    screen.press("Escape", "Shift+Slash")
    assert screen.root.locator(".card").is_visible()
    screen.root.locator("[data-command=go_to]").dispatch_event("click")
    assert screen.root.locator(".card").is_hidden(), "nothing lies over a question"
    assert screen.root.locator(".form").is_visible()


SETTLE = """import small_study, emgreview as er
for reviewer, later in (("r1", 0.0), ("r2", 0.04)):
    with small_study.open_session("review", reviewer=reviewer) as one:
        for trial in one.queue:
            one.accept_rest(trial)
        first, second = one.queue[:2]
        one.move(first, "biceps", onset_s=0.2 + later)
        one.accept(first, "biceps")
        if later:
            one.none_visible(second, "wrist flexors")
print(er.agreement("review", "r1", "r2"))
session = small_study.settle("review")"""


def test_two_reviewers_are_settled_through_the_screen_without_names(page, desk):
    screen = open_page(page, desk, SETTLE, SHOW)
    screen.root.locator(".chip.keys").click()
    screen.wait_painted(0)
    assert screen.title().startswith("Trial 1 of 2")
    detail = screen.root.locator(".detail").inner_text()
    assert "Disputed" in detail
    assert "r1" not in screen.root.inner_text().replace("reviewer", "")
    screen.press("Space", "a")
    screen.settle()
    screen.wait_painted(1)
    screen.press("Space", "d")  # cannot be settled
    screen.settle()
    paths = (desk.folder / "review" / "logs").rglob("*_reviewer-r3.jsonl")
    said = [json.loads(line) for path in paths for line in path.read_text().splitlines()]
    assert sorted(event["operation"] for event in said if event["subject"]["trial"]) == ["cannot be settled", "settle"]
    assert er.verify(desk.folder / "review").ok
    assert page.left_the_machine == []


BESIDE = """import threading, time
def comment():
    while not session.progress[0]:  # a review opens where the last decision was
        time.sleep(0.02)
    for n in range(40):
        for trial in session.queue[4:]:
            session.comment(trial, str(n))
            time.sleep(0.01)
beside = threading.Thread(target=comment)
beside.start()"""


def test_a_thread_and_the_screen_decide_at_the_same_time(page, working):
    """As a running cell does, where the host brings a screen's messages on a thread of their own."""
    screen = open_in_lab(page, working, OPEN, SHOW, BESIDE)
    screen.focus()
    screen.press("f", "f", "d", "f", "f", "d")
    screen.settle()
    names = operations(working.folder)
    assert names.count("comment") > 0, "it was at work meanwhile"
    screen.wait_for(lambda: operations(working.folder, SECOND).count("comment") == 40 * 6, "the thread has ended", 60)
    screen.press("f")
    screen.settle()
    by_key = [name for name in operations(working.folder) if name in ("accept", "none visible")]
    assert by_key == ["accept", "accept", "none visible", "accept", "accept", "none visible", "accept"]
    assert er.verify(working.folder / "review").ok
    assert screen.states() == ["accepted", "open", "open"]
