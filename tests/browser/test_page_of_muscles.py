"""The page of the muscle reference in a browser: find by words and keys, follow links, light, dark and print."""

import pytest
from axe_playwright_python.sync_playwright import Axe

import emgreview as er
from emgreview.muscles.page import write_page


@pytest.fixture
def shown(page, tmp_path):
    page.goto(write_page(tmp_path / "muscles.html", er.muscles()).as_uri())
    yield page
    assert all(asked.startswith("file:") for asked in page.left_the_machine)
    assert page.messages == []


def visible(page):
    return page.eval_on_selector_all("article", "all => all.filter(one => !one.hidden).map(one => one.id)")


def test_words_and_keys_find_and_show_all_again(shown):
    assert shown.inner_text("#said") == "41 of 41 shown"
    shown.keyboard.press("/")
    shown.keyboard.type("elbow extension Lateral")
    assert "triceps_lateral" in visible(shown)
    assert "first_dorsal_interosseous" not in visible(shown)
    assert shown.input_value("#search") == "elbow extension Lateral"
    shown.keyboard.press("Escape")
    assert len(visible(shown)) == 41


def test_a_link_to_what_is_hidden_shows_it(shown):
    shown.fill("#search", "fpl")
    assert visible(shown) == ["flexor_pollicis_longus"]
    shown.click("article:not([hidden]) a[href='#brachioradialis']")
    shown.wait_for_function("document.activeElement.id === 'brachioradialis'")
    assert len(visible(shown)) == 41


def test_light_dark_and_print(shown):
    ground = "getComputedStyle(document.body).backgroundColor"
    shown.emulate_media(color_scheme="dark")
    dark = shown.evaluate(ground)
    shown.click("#theme")
    light = shown.evaluate(ground)
    assert (light, dark) == ("rgb(255, 255, 255)", "rgb(20, 24, 29)")
    shown.click("#theme")
    assert shown.evaluate(ground) == dark
    shown.emulate_media(media="print", color_scheme="dark")
    assert shown.evaluate(ground) == light
    assert not shown.is_visible("#search")
    assert shown.is_visible(".caution")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_accessibility_checker_has_no_complaint(shown, scheme):
    shown.emulate_media(color_scheme=scheme)
    assert Axe().run(shown).response["violations"] == []
