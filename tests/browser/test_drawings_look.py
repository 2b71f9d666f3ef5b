"""Drawings of arm and hand as a browser shows them at 1024 pixels: no text lies on another or is cut off, letters are
large enough, colours are those of page, system and paper."""

import pytest

import emgreview as er
from emgreview.muscles.drawings.palette import PALETTES
from emgreview.muscles.drawings.placing import SIZE, letters

CHOICES = {
    "a full arm": {
        "muscles": ["DA", "DM", "BB", "BRA", "BR", "PT", "FCR", "FCU", "FDS", "SCM", "pectoralis major"],
        "view": "arm front",
    },
    "a full back": {
        "muscles": ["TRAP", "ISP", "LD", "triceps brachii", "extensor carpi radialis", "ED", "ECU", "EI", "supinator"],
        "view": "arm back",
        "side": "left",
    },
    "the hand": {"muscles": ["thenar_group", "ADM", "adductor pollicis", "dorsal interossei", "palmar interossei"]},
    "deep ones": {"muscles": ["FDP", "supinator", "EI", "FPL"], "side": "left"},
}
LOOKS = {"light": ("light", "screen"), "dark": ("dark", "screen"), "print": ("light", "print")}

MEASURE = """() => [...document.querySelectorAll('svg')].map((svg) => {
  const room = svg.getBoundingClientRect()
  return {room: [room.left, room.top, room.right, room.bottom], texts: [...svg.querySelectorAll('text')].map((text) => {
    const box = text.getBoundingClientRect(), style = getComputedStyle(text)
    return {words: text.textContent, own: text.getBBox().width, bold: style.fontWeight === '700', colour: style.fill,
      size: parseFloat(style.fontSize), drawn: parseFloat(style.fontSize) * room.width / svg.viewBox.baseVal.width,
      box: [box.left, box.top, box.right, box.bottom]}
  })}
})"""


def meet(a, b):
    """Do two boxes overlap, by more than the room above and below letters?"""
    return a[0] < b[2] - 0.5 and b[0] < a[2] - 0.5 and a[1] < b[3] - 2.5 and b[1] < a[3] - 2.5


def shown(page, drawing, look="light", width=1024):
    scheme, media = LOOKS[look]
    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme=scheme, media=media)
    page.set_content(f"<!doctype html><body style='margin: 8px'>{drawing._repr_html_()}</body>")
    return page.evaluate(MEASURE)


def ground(page):
    return page.evaluate("() => getComputedStyle(document.querySelector('svg rect.paper')).fill")


def rgb(colour):
    return f"rgb({', '.join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5))})"


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("choice", CHOICES)
def test_texts_neither_meet_nor_are_cut(page, choice, look):
    for svg in shown(page, er.draw_muscles(**CHOICES[choice]), look):
        assert len(svg["texts"]) > 5
        left, top, right, bottom = svg["room"]
        assert left >= 0
        assert right <= 1024
        for i, text in enumerate(svg["texts"]):
            box = text["box"]
            within = left <= box[0] and box[2] <= right and top <= box[1] and box[3] <= bottom
            assert within, f"{text['words']} is cut"
            assert text["drawn"] >= 11.0
            for other in svg["texts"][:i]:
                assert not meet(box, other["box"]), f"{text['words']!r} lies on {other['words']!r}"
    assert ground(page) == rgb(PALETTES[look]["paper"])
    assert not page.left_the_machine


@pytest.mark.parametrize("choice", CHOICES)
def test_letters_are_never_wider_than_was_reckoned(page, choice):
    for svg in shown(page, er.draw_muscles(**CHOICES[choice])):
        for text in svg["texts"]:
            assert text["own"] <= letters(text["words"], bold=text["bold"], size=max(text["size"], SIZE)), text["words"]


@pytest.mark.parametrize("width", [600, 1024])
def test_letters_stay_large_on_a_narrow_page(page, width):
    for svg in shown(page, er.draw_muscles("BB"), width=width):
        assert min(text["drawn"] for text in svg["texts"]) >= 11.0


def test_colours_follow_the_theme_that_was_asked_for_and_that_of_jupyterlab(page):
    for theme in ("light", "dark", "print"):
        shown(page, er.draw_muscles("BB", theme=theme), "light" if theme == "dark" else "dark")
        assert ground(page) == rgb(PALETTES[theme]["paper"]), "as asked, whatever the system prefers"
    for theme in ("light", "dark"):
        shown(page, er.draw_muscles("BB", theme=theme), "print")
        assert ground(page) == "rgb(255, 255, 255)", "on paper all are black on white"
    for is_light, theme in (("true", "light"), ("false", "dark")):
        svg = shown(page, er.draw_muscles("BB"), "light" if theme == "dark" else "dark")[0]
        page.evaluate(f"document.body.dataset.jpThemeLight = '{is_light}'")
        assert ground(page) == rgb(PALETTES[theme]["paper"]), "the page that holds it decides, not the system"
        assert svg["texts"]


def test_a_screen_reader_hears_one_picture_with_its_name_and_words(page):
    drawing = er.draw_muscles("BB")
    shown(page, drawing)
    picture = page.get_by_role("img", name=drawing.title)
    assert picture.count() == 1
    described = picture.get_attribute("aria-labelledby").split()[1]
    assert page.evaluate("name => document.getElementById(name).textContent", described) == drawing.description
