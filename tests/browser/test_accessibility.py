"""Every screen before an automatic checker of accessibility: no element without a name, no word too pale, no role or
attribute that a screen reader cannot use. What a checker cannot see (is it understood? is the order of use a good one?)
is left to people; words on canvases are the browser tests' matter.

The checker is axe-core (MPL-2.0), as the test dependency axe-playwright-python brings it: nothing is fetched.
"""

import importlib.resources

import pytest
from driving import Screen
from engines import Chromium

REVIEW = """import small_study, emgreview as er
session = small_study.open_session('review', convention="An onset is where activity begins to rise.")
er.review(session, plausible_s=(0.1, 0.6))"""
SETTLE = """import small_study, emgreview as er
for reviewer in ("r1", "r2"):
    with small_study.open_session("disputed", reviewer=reviewer) as one:
        for trial in one.queue:
            if reviewer == "r2" and trial in one.queue[2:4]:
                onset_s = one.state(trial).channels["wrist extensors"].response.onset_s
                one.move(trial, "wrist extensors", onset_s=onset_s + 0.025)
            one.accept_rest(trial)
er.review(small_study.settle("disputed", order="recorded"))"""
LONG = """import long_study, emgreview as er
session, rec = long_study.session('long-review')
er.long_view(rec, session)"""
PLAIN = """import long_study, emgreview as er
er.long_view(long_study.recording(), processing=long_study.processing())"""
PEOPLE = """import invented_people, emgreview as er
er.participants(invented_people.summary_of(9, trials=6))"""

STATES = {
    "review": {
        "the convention": (),
        "a trial": ("Escape",),
        "a notice": ("r", "l"),
        "a list, some of it chosen": ("s", "4", "ArrowDown", "Space"),
        "a list with words": ("Escape", "h", "ArrowUp", "Space"),
        "a field": ("Escape", "c"),
        "two numbers": ("Escape", "ArrowDown", "w"),
        "overview and spectrum": ("Escape", "ArrowUp", "ArrowRight", "Comma", "BracketLeft"),
        "a list": ("Backquote",),
        "the key card": ("Escape", "Shift+Slash"),
    },
    "settle": {"a dispute": (), "its choice": ("Space",)},
    "long": {
        "a recording": (),
        "a burst selected": ("i",),
        "a stretch selected": ("Escape", "BracketLeft", "Shift+KeyL", "Shift+KeyL"),
        "why it is set aside": ("s",),
        "all of it": ("Escape", "w"),
        "markers": ("t",),
        "the key card": ("Escape", "Shift+Slash"),
    },
    "plain": {"a recording": (), "a time": ("Slash",)},
    "people": {
        "everybody": (),
        "a trial": ("ArrowDown", "ArrowRight"),
        "a notice": ("Enter",),
        "a list": ("u",),
        "columns": ("Escape", "s"),
        "the rules": ("Escape", "r"),
        "every word": ("Escape", "Shift+w"),
        "the key card": ("Escape", "Shift+Slash"),
    },
}
"""What is looked at on each screen, and the keys that lead there from the state before."""
APPS = {"review": REVIEW, "settle": SETTLE, "long": LONG, "plain": PLAIN, "people": PEOPLE}

CHECK = """async (root) => {
  const found = await axe.run(root, {resultTypes: ['violations']})
  return {passed: found.passes.length, violations: found.violations.flatMap(({id, impact, nodes}) =>
    nodes.map(({html, failureSummary}) => `${impact} ${id}: ${html.slice(0, 160)} ${failureSummary.slice(0, 300)}`))}
}"""
DARK = "dark => { document.body.dataset.jpThemeLight = String(!dark) }"


@pytest.fixture(scope="module")
def checker() -> str:
    return importlib.resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")


def complaints(page, what: str) -> list[str]:
    """What the checker says of the widget, in light and in dark."""
    found = []
    for theme in ("light", "dark"):
        page.evaluate(DARK, theme == "dark")
        page.wait_for_timeout(150)
        said = page.locator(".emgreview").first.evaluate(CHECK)
        assert said["passed"] > 10, "the checker has hardly looked"
        found += [f"{what}, {theme}: {violation}" for violation in said["violations"]]
    return found


@pytest.mark.parametrize("name", STATES)
def test_a_checker_of_accessibility_has_no_complaint(page, desk, checker, name):
    desk.show(page, APPS[name])
    screen = Screen(Chromium(page))
    screen.wait_for(
        lambda: screen.attribute("data-painted") not in (None, "loading", "reading"), "the first picture", 60
    )
    page.add_script_tag(content=checker)
    found = complaints(page, "keys off")
    screen.click(".chip.keys")
    if page.locator(".notes .plain").first.is_visible():
        screen.click(".notes .plain")
    for what, keys in STATES[name].items():
        screen.press(*keys)
        page.wait_for_timeout(300)
        found += complaints(page, what)
    assert found == []
    assert page.left_the_machine == []


def test_the_checker_sees_into_the_widget(page, desk, checker):
    desk.show(page, PLAIN)
    Screen(Chromium(page))
    page.add_script_tag(content=checker)
    page.locator(".emgreview").first.evaluate("""(root) => {
      const words = document.createElement('span')
      words.textContent = 'pale'
      words.style.cssText = 'color: #ccc; background: #fff'
      root.append(words, document.createElement('button'))
    }""")
    said = " ".join(complaints(page, "planted"))
    assert "serious color-contrast" in said
    assert "critical button-name" in said
