"""Drawings of arm and hand: every muscle has a place, sites lie where their words say, and labels never meet.

Where a number stands for a site, it is the one in the words of the muscle reference. Contrast: the formula of the Web
Content Accessibility Guidelines 2 (from memory; #767676 on white is the known case just above 4.5).
"""

import itertools
import math
import random
import re
import xml.etree.ElementTree as ET

import pytest

import emgreview as er
from emgreview.errors import ParameterError, SignalWarning, UnknownNameError
from emgreview.muscles.drawings import VIEWS
from emgreview.muscles.drawings.palette import PALETTES, THEMES, contrast, style
from emgreview.muscles.drawings.panel import DEEP, SOURCE, STATED, WIDTH, pads
from emgreview.muscles.drawings.placing import GAP, LINE, PORT, SIZE, Label, crossing, letters, placed, wrapped
from emgreview.muscles.drawings.shapes import depth, hatch, inside, loop, polygon, softened, spindle
from emgreview.muscles.facts import CAUTION
from emgreview.muscles.reference import all_muscles, name_of, others

SVG = "{http://www.w3.org/2000/svg}"
OUTSIDE = [view for view in VIEWS.values() if not view.section]
SECTIONS = [view for view in VIEWS.values() if view.section]
KEYS = sorted(all_muscles())
by_name = pytest.mark.parametrize("view", VIEWS.values(), ids=lambda view: view.name)


def texts(svg):
    """What is written: words, and a box of the greatest width that they may have."""
    root = ET.fromstring(svg)
    for panel in root.iter(f"{SVG}g"):
        top = float(re.search(r"translate\(0 ([\d.]+)\)", panel.get("transform"))[1])
        for one in panel.iter(f"{SVG}text"):
            kind = one.get("class", "")
            wide = letters(one.text, bold=kind in ("name", "title"), size=16.0 if kind == "title" else SIZE)
            x, y = float(one.get("x")), top + float(one.get("y"))
            left = x - wide if one.get("text-anchor") == "end" else x
            yield one.text, (left, y - 0.75 * SIZE, left + wide, y + 0.2 * SIZE)


def leads(svg):
    """Leader lines of each panel."""
    for panel in ET.fromstring(svg).iter(f"{SVG}g"):
        found = [one.get("d") for one in panel.iter(f"{SVG}path") if one.get("class") == "lead"]
        yield [tuple(tuple(map(float, point.split())) for point in way[1:].split("L")) for way in found]


def meet(a, b):
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def share(point, start, end):
    """How far along the line from start to end a point lies, and how far from it, as shares of its length."""
    along = (end[0] - start[0], end[1] - start[1])
    length = math.hypot(*along)
    to = (point[0] - start[0], point[1] - start[1])
    return (
        (to[0] * along[0] + to[1] * along[1]) / length**2,
        abs(to[0] * along[1] - to[1] * along[0]) / length**2,
    )


# Where muscles and sites lie ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", KEYS)
def test_every_muscle_has_a_view_and_its_pads_lie_on_it(key):
    shown = [view for view in OUTSIDE if key in view.bellies]
    assert shown, f"{key} is in no view"
    sites = [view for view in shown if key in view.sites]
    assert bool(sites) == bool(all_muscles()[key].site), "a site is drawn where the reference has one in words"
    for view in sites:
        belly, body = polygon(view.bellies[key].shape), polygon(view.outline[0])
        site = view.sites[key]
        for point in ((site.x, site.y), *pads(key, site)):
            assert inside(point, belly), f"a pad of {key} lies beside its muscle in {view.name}"
            assert inside(point, body)


@by_name
def test_what_is_drawn_is_known_by_its_key(view):
    known = {*all_muscles(), *others()}
    assert set(view.bellies) <= known | {"rhomboids"}, "rhomboids are drawn to fill the back, and never named"
    assert set(view.sites) <= set(view.bellies) & set(all_muscles())
    assert view.asked <= set(view.bellies)
    for key in set(view.bellies) & set(all_muscles()):
        assert view.bellies[key].deep == (all_muscles()[key].depth == "deep"), f"{key}: as deep as the reference says"
    assert {name for site in view.sites.values() for name in site.near} <= set(view.landmarks)


@by_name
def test_muscles_lie_within_the_body(view):
    body = polygon(view.outline[0])
    for key, belly in view.bellies.items():
        beside = [point for point in polygon(belly.shape) if not inside(point, body) and depth(point, body) < -0.1]
        assert not beside, f"{key} sticks out of {view.name}"


@by_name
def test_everything_lies_within_the_frame(view):
    left, top, right, bottom = view.frame
    points = [point for shape in view.outline for point in polygon(shape)]
    points += [point for key, site in view.sites.items() for point in pads(key, site)]
    assert all(left <= x <= right and top <= y <= bottom for x, y in points)


@by_name
def test_landmarks_leave_the_pads_free(view):
    for key, site in view.sites.items():
        for name in site.near:
            near = min(math.dist(view.landmarks[name], pad) for pad in pads(key, site)) * view.scale
            assert near > 8.0, f"{name} lies on a pad of {key}"


@pytest.mark.parametrize(
    ("view", "key", "start", "end", "at", "beside"),
    [
        ("arm front", "deltoid_middle", "acromion", "deltoid tuberosity", 0.5, 0.1),
        ("arm back", "deltoid_middle", "acromion", "deltoid tuberosity", 0.5, 0.15),
        ("arm back", "triceps_long", "acromion", "olecranon", 0.5, 0.15),
        ("arm back", "triceps_lateral", "acromion", "olecranon", 0.5, 0.15),
        ("arm back", "trapezius_upper", "acromion", "C7", 0.5, 0.1),
        ("arm front", "biceps_brachii", "elbow crease", "acromion", 1 / 3, 0.1),
        ("arm front", "brachioradialis", "elbow crease", "radial styloid", 0.275, 0.2),
        ("arm front", "flexor_carpi_ulnaris", "pisiform", "medial epicondyle", 0.8, 0.1),
        ("arm back", "extensor_indicis", "ulnar styloid", "olecranon", 0.21, 0.1),
        ("arm front", "flexor_carpi_radialis", "elbow crease", "wrist crease", 1 / 3, 0.15),
        ("arm back", "extensor_digitorum", "lateral epicondyle", "radial styloid", 1 / 3, 0.1),
        ("arm front", "sternocleidomastoid", "sternal end of the clavicle", "mastoid", 1 / 3, 0.15),
    ],
)
def test_a_site_lies_where_its_words_say(view, key, start, end, at, beside):
    """Shares of the line between two landmarks are those in the words of the reference."""
    view = VIEWS[view]
    site = view.sites[key]
    along, aside = share((site.x, site.y), view.landmarks[start], view.landmarks[end])
    assert along == pytest.approx(at, abs=0.06)
    assert aside < beside


def test_pads_lie_along_their_muscle():
    """The line of the pads, made longer, leaves the muscle later than a line across it."""
    for view in OUTSIDE:
        for key, site in view.sites.items():
            belly = polygon(view.bellies[key].shape)

            def reach(turn_deg, site=site, belly=belly):
                turn = math.radians(turn_deg)
                x, y = math.cos(turn), math.sin(turn)
                ways = [
                    [n for n in range(400) if not inside((site.x + s * n * x, site.y + s * n * y), belly)]
                    for s in (1, -1)
                ]
                return sum(way[0] for way in ways)

            assert reach(site.along_deg) > reach(site.along_deg + 90.0), f"{key} in {view.name}"


@pytest.mark.parametrize("view", SECTIONS, ids=lambda view: view.name)
def test_muscles_of_a_section_share_it_without_overlap(view):
    draw = random.Random(5)
    parts = {key: polygon(belly.shape) for key, belly in view.bellies.items()}
    body = polygon(view.outline[1])
    left, top, right, bottom = view.frame
    held, within = 0, 0
    for _ in range(1500):
        point = draw.uniform(left, right), draw.uniform(top, bottom)
        if inside(point, body):
            owners = [key for key, part in parts.items() if inside(point, part)]
            assert len(owners) < 2, owners
            within, held = within + 1, held + len(owners)
    assert held / within > 0.6, "muscle fills most of a limb"


def test_a_right_section_has_the_thumb_side_left():
    for view in SECTIONS[1:]:
        assert view.named["radius"][0] < 0 < view.named["ulna"][0]
        assert view.bellies.keys() >= {"flexor_carpi_ulnaris", "brachioradialis"}


# Shapes ---------------------------------------------------------------------------------------------------------------


def test_hatches_stay_within_and_are_evenly_spaced():
    corners = polygon(loop((0.0, 0.0), (60.0, 5.0), (80.0, 60.0), (30.0, 90.0), (-10.0, 40.0)))
    lines = hatch(corners, 5.0, 45.0)
    assert len(lines) > 10
    for (xa, ya), (xb, yb) in lines:
        assert inside(((xa + xb) / 2, (ya + yb) / 2), corners)
        assert yb - ya == pytest.approx(xb - xa)
        assert ((ya - xa) / math.sqrt(2)) % 5.0 == pytest.approx(0.0, abs=1e-3)


def test_a_belly_is_as_wide_as_its_course_says():
    belly = polygon(spindle((0.0, 0.0, 2.0), (50.0, 0.0, 10.0), (100.0, 0.0, 2.0)))
    assert depth((50.0, 0.0), belly) == pytest.approx(10.0, abs=0.8)
    assert max(y for _, y in belly) == pytest.approx(10.0, abs=0.5)
    assert depth((50.0, 11.0), belly) < 0


def test_softening_keeps_the_middle_and_takes_the_corners():
    square = [(0.0, 0.0), (40.0, 0.0), (40.0, 40.0), (0.0, 40.0)]
    soft = polygon(softened(square, 7.0))
    assert all(-0.01 <= x <= 40.01 and -0.01 <= y <= 40.01 for x, y in soft)
    assert inside((20.0, 1.0), soft)
    assert not inside((1.0, 1.0), soft)


# Labels ---------------------------------------------------------------------------------------------------------------


def test_labels_never_meet_and_lines_never_cross_whatever_they_point_to(counted):
    draw = random.Random(11)
    for _ in range(400):
        count = draw.randint(1, 26)
        narrow = draw.choice([4.0, 60.0, 320.0])
        labels = [
            Label(LINE * draw.randint(1, 6), (480 + draw.uniform(-narrow, narrow) / 2, draw.uniform(84, 900)))
            for _ in range(count)
        ]
        spots, bottom = placed(labels, 84.0, 900.0, (290.0, 670.0))
        for left, edge in ((True, 290.0), (False, 670.0)):
            column = sorted((s.top, s.top + one.height) for s, one in zip(spots, labels, strict=True) if s.left is left)
            assert all(b[0] - a[1] > GAP - 1e-6 for a, b in itertools.pairwise(column))
            assert all(top >= 84.0 - 1e-6 and end <= bottom + 1e-6 for top, end in column)
            lines = [((edge, s.top + PORT), one.place) for s, one in zip(spots, labels, strict=True) if s.left is left]
            assert not any(crossing(a, b) for i, a in enumerate(lines) for b in lines[:i])
    counted("400 columns of labels at random places")


def test_few_labels_stand_beside_their_places():
    spots, bottom = placed([Label(LINE, (400.0, 300.0)), Label(LINE, (560.0, 500.0))], 84.0, 900.0, (290.0, 670.0))
    assert [s.left for s in spots] == [True, False]
    assert [s.top + PORT for s in spots] == pytest.approx([300.0, 500.0])
    assert bottom == 900.0


def test_words_are_wrapped_and_none_is_lost():
    lines = wrapped("between the posterior acromion and the inner end of the spine", 150.0)
    assert " ".join(lines) == "between the posterior acromion and the inner end of the spine"
    assert all(letters(line) <= 150.0 for line in lines)
    assert "".join(wrapped("x" * 200, 100.0)) == "x" * 200


@by_name
@pytest.mark.parametrize("side", ["right", "left"])
def test_labels_of_any_choice_of_muscles_do_not_meet(view, side, counted):
    draw = random.Random(sum(map(ord, view.name + side)))
    here = sorted(set(view.bellies) & set(all_muscles()))
    for count in [1, 2, 3, 5, 8, 12]:
        chosen = draw.sample(here, min(count, len(here)))
        svg = er.draw_muscles(chosen, view=view.name, side=side).svg
        boxes = list(texts(svg))
        low = float(ET.fromstring(svg).get("viewBox").split()[3])
        for i, (words, box) in enumerate(boxes):
            within = box[0] >= 0 and box[2] <= WIDTH and box[1] >= 0 and box[3] <= low
            assert within, f"{words!r} is cut off"
            for other, another in boxes[:i]:
                assert not meet(box, another), f"{words!r} lies on {other!r}"
        for lines in leads(svg):
            assert not any(crossing(a, b) for i, a in enumerate(lines) for b in lines[:i])
        for key in chosen:
            assert name_of(key) in " ".join(words for words, _ in boxes)
    counted("choices of 1 to 12 muscles in a view")


# The whole drawing ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("theme", THEMES)
def test_a_drawing_is_plain_xml_that_asks_for_nothing(theme):
    drawing = er.draw_muscles(["biceps_brachii", "first_dorsal_interosseous", "supinator"], theme=theme)
    root = ET.fromstring(drawing.svg)
    allowed = {"svg", "title", "desc", "style", "rect", "g", "path", "circle", "text"}
    assert {one.tag.removeprefix(SVG) for one in root.iter()} <= allowed
    assert not re.search(r"url\(|href|@import|@font-face|\bon\w+=|javascript", drawing.svg)
    assert drawing.svg.count("http") == 1, "the name of the format alone"
    assert root.get("role") == "img"
    ids = {one.get("id"): one for one in root.iter() if one.get("id")}
    title, description = (ids[name].text for name in root.get("aria-labelledby").split())
    assert (
        title == drawing.title == "Right arm from the front; Right arm from the back; Right hand, back; Right "
        "forearm, cross-section about a third of the way down"
    )
    assert description == drawing.description
    assert name_of("biceps_brachii") in description


def test_every_panel_says_that_it_is_schematic():
    drawing = er.draw_muscles(["biceps_brachii", "supinator", "thenar_group"])
    assert len(drawing.views) == 4
    written = [words for words, _ in texts(drawing.svg)]
    assert written.count(STATED) == 4
    whole = " ".join(written)
    assert whole.count(SOURCE) == whole.count(CAUTION) == 4
    html = drawing._repr_html_()
    assert html.count("<svg") == 4
    assert drawing._repr_svg_() == drawing.svg
    assert STATED.capitalize() in repr(drawing)


def test_same_input_same_bytes():
    one = er.draw_muscles(["deltoid", "supinator"], side="left")
    other = er.draw_muscles(["deltoid", "supinator"], side="left")
    assert one == other
    assert one.svg != er.draw_muscles(["deltoid", "supinator"], side="right").svg


def test_the_left_side_is_the_right_one_mirrored_and_its_words_are_not():
    right, left = (er.draw_muscles("biceps_brachii", view="arm front", side=side) for side in ("right", "left"))

    def discs(drawing):
        return [
            (float(one.get("cx")), one.get("cy"))
            for one in ET.fromstring(drawing.svg).iter(f"{SVG}circle")
            if one.get("class") == "pad" and float(one.get("cy")) < 850
        ]

    assert len(discs(right)) == 2
    assert [WIDTH - x for x, _ in discs(right)] == pytest.approx([x for x, _ in discs(left)])
    assert [y for _, y in discs(right)] == [y for _, y in discs(left)]
    boxes = [dict(texts(drawing.svg)) for drawing in (right, left)]
    assert boxes[0]["← outer side"][2] < WIDTH / 2 < boxes[1]["outer side →"][0]
    assert "← outer side" not in boxes[1]
    assert left.title == "Left arm from the front"
    assert "scale(" not in left.svg, "mirrored letters could not be read"


def test_views_follow_from_the_muscles():
    assert er.draw_muscles("biceps_brachii").views == ("arm front",)
    assert er.draw_muscles(["deltoid_middle", "triceps_long"]).views == ("arm back",), "one view shows both"
    assert er.draw_muscles("BB").muscles == ("biceps_brachii",)
    assert er.draw_muscles("deltoid").muscles == ("deltoid_anterior", "deltoid_middle", "deltoid_posterior")
    assert er.draw_muscles(er.muscle("BB")).muscles == ("biceps_brachii",)
    assert er.draw_muscles(["brachialis"]).views == ("arm front",), "it reaches the skin"
    assert er.draw_muscles("first_palmar_interosseous").views == ("hand palm",)
    for key in KEYS:
        drawing = er.draw_muscles(key)
        assert any(key in VIEWS[name].bellies for name in drawing.views)


@pytest.mark.parametrize(
    "key", ["flexor_digitorum_profundus", "supinator", "extensor_indicis", "flexor_pollicis_longus"]
)
def test_deep_muscles_are_shown_in_a_cross_section_and_said_to_be_inseparable(key):
    drawing = er.draw_muscles(key)
    assert any(VIEWS[name].section for name in drawing.views)
    written = [words for words, _ in texts(drawing.svg)]
    assert written.count(DEEP) == len(drawing.views)


def test_the_warning_of_the_reference_stands_with_the_name():
    for key, muscle in all_muscles().items():
        drawing = er.draw_muscles(key)
        written = " ".join(words for words, _ in texts(drawing.svg))
        if muscle.warning:
            assert muscle.warning in written or DEEP in written
            assert muscle.warning in written or muscle.warning == "hard: mostly not separable with surface pads"
        if muscle.site:
            assert muscle.site[0].text in written
            certain = muscle.site[0].certainty
            assert certain == "two sources or more" or certain in written


def test_neighbours_are_hatched_and_what_is_not_drawn_is_said():
    drawing = er.draw_muscles("pectoralis_major_sternal")
    written = [words for words, _ in texts(drawing.svg)]
    assert "heard: anterior deltoid" in written
    assert "the heart" in " ".join(drawing.notes)
    assert 'class="hatch"' in drawing.svg
    for key in KEYS:
        drawing = er.draw_muscles(key, labels=True)
        said = " ".join(words for words, _ in texts(drawing.svg))
        missing = [name_of(other) for other in all_muscles()[key].neighbours if name_of(other) not in said]
        assert not missing, f"{key} hears {missing}, and the drawing does not say so"


def test_without_labels_the_signs_stay():
    bare = er.draw_muscles("biceps_brachii", labels=False)
    assert 'class="lead"' not in bare.svg
    assert 'class="pad"' in bare.svg
    assert STATED in [words for words, _ in texts(bare.svg)]


def test_what_a_view_leaves_out_is_told():
    with pytest.warns(SignalWarning, match="Not in these views: supinator; see arm back, forearm section"):
        drawing = er.draw_muscles(["biceps_brachii", "supinator"], view="arm front")
    assert "supinator" in drawing.notes[-1]


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(UnknownNameError, match="no muscle is called 'quadriceps'"):
        er.draw_muscles("quadriceps")
    with pytest.raises(UnknownNameError, match="Did you mean 'arm front'"):
        er.draw_muscles("BB", view="arm frnt")
    with pytest.raises(ParameterError, match="views that show the muscles: arm front"):
        er.draw_muscles("BB", view="hand back")
    for wrong in ({"side": "both"}, {"theme": "sepia"}, {"labels": 3}, {"view": []}, {"view": 4}):
        with pytest.raises(ParameterError, match=next(iter(wrong))):
            er.draw_muscles("BB", **wrong)
    for nothing in ([], 3, [3], ""):
        with pytest.raises(ParameterError, match="muscle"):
            er.draw_muscles(nothing)


def test_a_drawing_is_saved_as_it_is(tmp_path):
    drawing = er.draw_muscles("BB")
    assert drawing.save(tmp_path / "arm.svg").read_text("utf-8") == drawing.svg
    with pytest.raises(ParameterError, match=r"ends in \.svg"):
        drawing.save(tmp_path / "arm.png")
    with pytest.raises(OSError, match="nowhere"):
        drawing.save(tmp_path / "nowhere" / "arm.svg")


# Colours --------------------------------------------------------------------------------------------------------------


def test_contrast_is_that_of_the_guidelines():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#ffffff", "#ffffff") == pytest.approx(1.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)
    assert contrast("#a34a00", "#f8f3ec") == contrast("#f8f3ec", "#a34a00")


@pytest.mark.parametrize("theme", PALETTES)
def test_letters_and_signs_stand_out(theme):
    of = PALETTES[theme]
    for letter in ("ink", "quiet"):
        assert contrast(of[letter], of["paper"]) > 4.5
    for ground in ("skin", "belly", "site", "paper"):
        assert contrast(of["hatch"], of[ground]) > 3.0, ground
        assert contrast(of["pad"], of[ground]) > 4.5, ground
        assert contrast(of["ink"], of[ground]) > 4.5, "leader lines"
    for ground in ("skin", "belly", "paper"):
        assert contrast(of["siteedge"], of[ground]) > 3.0, ground
    assert contrast(of["edge"], of["paper"]) > 3.0
    assert contrast(of["siteedge"], of["site"]) > 3.0


def test_on_paper_all_is_black_white_and_grey():
    assert all(re.fullmatch(r"#(..)\1\1", colour) for colour in PALETTES["print"].values())


def test_themes_follow_page_system_and_paper():
    auto = style("auto")
    assert "@media (prefers-color-scheme:dark)" in auto
    assert '[data-jp-theme-light="false"]' in auto
    for theme in THEMES:
        assert style(theme).count("@media print") == 1
        assert PALETTES["print"]["hatch"] in style(theme)
    assert "prefers-color-scheme" not in style("dark") + style("light") + style("print")
    for sheet in map(style, THEMES):
        selectors = re.findall(r"([^{}]+)\{", sheet)
        assert all("emgreview-drawing-" in one for one in selectors if not one.startswith("@"))
