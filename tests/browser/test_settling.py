"""Settling disputes on a real screen, blind: where it opens, what it says, and what is in the files afterwards."""

import json

import small_study
from review_screens import open_page

OPEN = "import small_study\nsession = small_study.settle('review', order='recorded')"
SHOW = "import emgreview as er\ner.review(session)"


def test_a_dispute_is_settled_by_key_and_counted(page, desk):
    folder = desk.folder / "review"
    for reviewer in ("r1", "r2"):
        with small_study.open_session(folder, reviewer=reviewer) as one:
            for trial in one.queue:
                if reviewer == "r2" and trial in one.queue[2:4]:
                    onset_s = one.state(trial).channels["wrist extensors"].response.onset_s
                    one.move(trial, "wrist extensors", onset_s=onset_s + 0.025)
                one.accept_rest(trial)
            one.behaviour(one.queue[5], "late" if reviewer == "r2" else "as instructed")
    screen = open_page(page, desk, OPEN, SHOW)
    screen.focus()
    counted, detail = screen.root.locator(".counted"), screen.root.locator(".detail")
    current = screen.root.locator(".row[aria-current=true]")

    def says(words: str, where=counted):
        screen.wait_for(lambda: words in where.inner_text(), words)

    says("0 of 3 disputes settled")
    assert "wrist extensors" in current.inner_text(), "the screen opens on a channel in dispute"
    says("A: a burst; B: a burst; onsets 25 ms apart", detail)
    assert " ms" not in detail.inner_text().replace("25 ms apart", ""), "a blind review tells no times"
    for number in range(3):
        screen.press("Shift+Space" if "Disputed (trial)" in detail.inner_text() else "Space", "a")
        screen.settle()
        says(f"{number + 1} of 3 disputes settled")
        screen.press("n")
    screen.settle()
    says("No dispute is left open.", screen.root.locator(".notice"))
    paths = sorted((folder / "logs").rglob("*_reviewer-r3.jsonl"))
    lines = [json.loads(line) for path in paths for line in path.read_text().splitlines()]
    settled = [line["field"] for line in lines if line["operation"] == "settle"]
    assert sorted(settled) == ["behaviour", "channels", "channels"]
