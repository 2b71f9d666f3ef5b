"""One view as a panel of a drawing: labels in a column on either side of the figure, what the signs mean below.

Pixels; 960 wide, so that letters of 13 stay above 11 where a page leaves 820 pixels.

    panel       the elements of a panel, its height, and what it has to say
"""

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from html import escape

from emgreview.legible import legible
from emgreview.muscles.drawings.figure import Belly, Site, View
from emgreview.muscles.drawings.placing import LINE, PORT, Label, letters, placed, wrapped
from emgreview.muscles.drawings.shapes import Point, Shape, depth, hatch, polygon
from emgreview.muscles.facts import CAUTION
from emgreview.muscles.reference import all_muscles, name_of

WIDTH, EDGE, HEAD, NEAR = 960.0, 14.0, 84.0, 16.0
"""Width of a panel, its margin, where the figure starts, and the gap between the figure and the labels."""
HATCH, HATCH_DEG = 5.5, 45.0

STATED = "schematic, not to scale, check on the person"
SOURCE = "drawn for this package from worded descriptions; from memory of anatomy"
INSEPARABLE = "mostly not separable"
DEEP = f"deep: {INSEPARABLE}"


@dataclass
class Said:
    """A label before it has its spot: lines of text with their classes, and the place it points to."""

    lines: list[tuple[str, str]]
    place: Point
    end: str = "end"


@dataclass
class Panel:
    """Elements of a panel from its own top at 0, its height, what is heard and not drawn, and all that it shows in
    words."""

    title: str
    parts: list[str] = field(default_factory=list)
    height: float = 0.0
    notes: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)


def title_of(view: View, side: str) -> str:
    """What stands above a panel."""
    return f"{side.capitalize()} {view.title}"


def panel(view: View, muscles: Sequence[str], *, side: str, labels: bool) -> Panel:
    """One view with its chosen muscles; ``muscles`` are those of the drawing, of which some may not be in this view."""
    here = [key for key in muscles if key in view.bellies]
    heard = list(dict.fromkeys(other for key in here for other in all_muscles()[key].neighbours))
    made = Panel(title_of(view, side))
    left, top, right, bottom = view.frame
    shown = (right - left) * view.scale, (bottom - top) * view.scale
    start = (WIDTH - shown[0]) / 2

    def place(point: Point) -> Point:
        x = (point[0] - left) * view.scale
        return start + (shown[0] - x if side == "left" else x), HEAD + (point[1] - top) * view.scale

    made.parts += _head(view, side, start, shown[0])
    made.parts += _figure(view, here, heard, place)
    low = HEAD + shown[1]
    made.said = _in_words(view, here, heard)
    if labels:
        edges = start - NEAR + 4.0, start + shown[0] + NEAR - 4.0
        low = _labels(made, _said(view, here, heard, place, edges[0] - 4.0 - EDGE), edges, low)
    for key in here:
        made.parts += _pads(view, key, view.sites[key], place) if key in view.sites else []
    made.height = _foot(made, view, here, heard, low + 28.0)
    return made


def _head(view: View, side: str, start: float, width: float) -> list[str]:
    left, right = view.sides if side == "right" else view.sides[::-1]
    parts = [_text(EDGE, 26.0, title_of(view, side), "title"), _text(EDGE, 46.0, STATED, "quiet")]
    if left:
        parts.append(_text(start - NEAR, 70.0, f"← {left}", "quiet", "end"))
        parts.append(_text(start + width + NEAR, 70.0, f"{right} →", "quiet"))
    return parts


def _figure(view: View, here: Sequence[str], heard: Sequence[str], place: Callable[[Point], Point]) -> list[str]:
    parts = [_path(shape.moved(place), "skin") for shape in view.outline]
    order = sorted(view.bellies.items(), key=lambda item: not item[1].deep)
    plain = [(key, belly) for key, belly in order if key not in (*here, *heard) and key not in view.asked]
    if not view.section:
        parts += [_path(bone.moved(place), "bone") for bone in view.bones]
    parts += [
        _path(belly.shape.moved(place), "under" if belly.deep and not view.section else "belly") for _, belly in plain
    ]
    parts += [_path(mark.moved(place), "crease") for mark in view.marks]
    marked = [(key, belly) for key, belly in order if key in heard or key in here]
    over = [(key, belly) for key, belly in marked if belly.deep]
    for key, belly in [*(one for one in marked if one not in over), *over]:
        parts += _marked(key, belly, here, heard, place)
    if view.section:
        parts += [_path(bone.moved(place), "bone") for bone in view.bones]
    parts += [_path(shape.moved(place), "edge") for shape in (view.edges or view.outline)]
    return parts


def _marked(
    key: str, belly: Belly, here: Sequence[str], heard: Sequence[str], place: Callable[[Point], Point]
) -> list[str]:
    shape = belly.shape.moved(place)
    deep = " deep" if belly.deep else ""
    parts = [_path(shape, "site" + deep)] if key in here else [_path(shape, "belly")] if not belly.deep else []
    if key in heard:
        lines = hatch(polygon(shape), HATCH, -HATCH_DEG if belly.deep else HATCH_DEG)
        parts.append(_element("path", "hatch", d="".join(f"M{_at(a)}L{_at(b)}" for a, b in lines)))
        if key not in here:
            parts.append(_path(shape, "heard" + deep))
    return parts


def _pads(view: View, key: str, site: Site, place: Callable[[Point], Point]) -> list[str]:
    x, y = place((site.x, site.y))
    if view.section:
        middle, centre = place(inmost(view.bellies[key].shape)), place((0.0, 0.0))
        turn = math.degrees(math.atan2(centre[1] - y, centre[0] - x)) - 90.0
        plate = _element("rect", "pad", x=-13.0, y=-4.5, width=26.0, height=8.0, rx=3.0, transform=_turned(x, y, turn))
        return [_element("path", "way deep", d=f"M{_at((x, y))}L{_at(middle)}"), plate]
    one, other = (place(pad) for pad in pads(key, site))
    size = min(4.6, math.dist(one, other) * 0.45)
    return [_element("path", "way", d=f"M{_at(one)}L{_at(other)}"), *(_disc(at, "pad", size) for at in (one, other))]


def pads(key: str, site: Site) -> tuple[Point, Point]:
    """The middles of the two pads of a site, along the fibres, as far apart as the reference has them at most."""
    turn, half = math.radians(site.along_deg), (all_muscles()[key].spacing_mm or (20.0, 20.0))[1] / 2
    x, y = half * math.cos(turn), half * math.sin(turn)
    return (site.x - x, site.y - y), (site.x + x, site.y + y)


def inmost(shape: Shape, away: Sequence[Point] = (), room: float = 0.0) -> Point:
    """A point well inside a shape and, as far as ``room`` matters, away from others."""

    def good(deep: float, point: Point) -> float:
        if not room:
            return deep
        return min(deep, room) + 0.5 * min([room, *(math.dist(point, other) for other in away)])

    return max(_held(shape), key=lambda one: good(*one))[1]


@functools.cache
def _held(shape: Shape) -> tuple[tuple[float, Point], ...]:
    """Points within a shape, on lines across it, and how deep they lie."""
    corners = polygon(shape)[::2]
    high = max(y for _, y in corners) - min(y for _, y in corners)
    points = [
        (start[0] + (end[0] - start[0]) * share, start[1])
        for start, end in hatch(corners, high / 15, 0.0)
        for share in (0.3, 0.5, 0.7)
    ]
    return tuple((depth(point, corners), point) for point in points)


def words_of(view: View, key: str) -> list[str]:
    """What a label says of a chosen muscle below its name: its site, and what is to be known of it."""
    muscle, deep = all_muscles()[key], view.bellies[key].deep
    said = []
    if key in view.sites and muscle.site:
        fact = muscle.site[0]
        weak = "" if fact.certainty == "two sources or more" else f" ({fact.certainty})"
        said.append(f"{fact.text}{weak}")
        if len(muscle.site) > 1:
            said.append(f"the first of {len(muscle.site)} sites in words")
    said += [DEEP] if deep else []
    if muscle.warning and not (deep and muscle.warning == f"hard: {INSEPARABLE} with surface pads"):
        said.append(muscle.warning)
    return said


def _said(
    view: View, here: Sequence[str], heard: Sequence[str], place: Callable[[Point], Point], width: float
) -> list[Said]:
    said, taken = [], []
    for key in here:
        site = view.sites.get(key)
        point = (site.x, site.y) if site and not view.section else inmost(view.bellies[key].shape)
        taken.append(point)
        lines = [(line, "name") for line in wrapped(name_of(key), width, bold=True)]
        lines += [(line, "quiet") for words in words_of(view, key) for line in wrapped(words, width)]
        said.append(Said(lines, place(point)))
    marks = {name for key in here if key in view.sites for name in view.sites[key].near}
    for name, point in [*view.landmarks.items(), *view.named.items()]:
        if name in marks or name in view.named:
            taken.append(point)
            said.append(Said([(line, "mark") for line in wrapped(name, width)], place(point), "spot"))
    for key in heard:
        if key in view.bellies and key not in here:
            point = inmost(view.bellies[key].shape, taken, 12.0 / view.scale)
            taken.append(point)
            lines = [(line, "") for line in wrapped(f"heard: {name_of(key)}", width)]
            said.append(Said(lines, place(point)))
    return said


def _in_words(view: View, here: Sequence[str], heard: Sequence[str]) -> list[str]:
    said = [f"Chosen: {'; '.join([name_of(key), *words_of(view, key)])}." for key in here]
    drawn = [name_of(key) for key in heard if key in view.bellies]
    return [
        f"Seen: {view.seen}.",
        *said,
        *([f"Hatched, for pads here hear them too: {'; '.join(drawn)}."] if drawn else []),
    ]


def _labels(made: Panel, said: Sequence[Said], edges: tuple[float, float], bottom: float) -> float:
    spots, low = placed([Label(LINE * len(one.lines), one.place) for one in said], HEAD, bottom, edges)
    leads, words = [], []
    for one, spot in zip(said, spots, strict=True):
        edge = edges[0] if spot.left else edges[1]
        start = (edge, spot.top + PORT)
        way = f"M{_at(start)}L{_at(one.place)}"
        leads.append((way, one))
        for number, (line, how) in enumerate(one.lines):
            y = spot.top + LINE * number + LINE * 0.76
            words.append(_text(edge - 4.0 if spot.left else edge + 4.0, y, line, how, "end" if spot.left else "start"))
    made.parts += [_element("path", "halo", d=way) for way, _ in leads]
    made.parts += [_element("path", "lead", d=way) for way, _ in leads]
    made.parts += [_disc(one.place, one.end, 3.2 if one.end == "spot" else 2.0) for _, one in leads]
    made.parts += words
    return low


def _foot(made: Panel, view: View, here: Sequence[str], heard: Sequence[str], y: float) -> float:
    """What the signs mean, what is heard and not drawn, and where the drawing comes from."""
    pad = "pad on the skin; the pair lies along the fibres" if view.section else "pads, along the fibres"
    signs = [("site", "chosen")]
    if any(key in view.sites for key in here):
        signs.append(("plate" if view.section else "pad", pad))
    if any(view.bellies[key].deep for key in here):
        signs.append(("deep site", "chosen, deep"))
    depths = {view.bellies[key].deep for key in heard if key in view.bellies}
    signs += [("heard", "also heard")] if False in depths else []
    signs += [("deep heard", "also heard, deep")] if True in depths else []
    if any(key in view.sites and view.sites[key].near for key in here) or view.named:
        signs.append(("spot", "bone or crease"))
    x = EDGE
    for sign, words in signs:
        wide = 34.0 + letters(words)
        if x + wide > WIDTH - EDGE:
            x, y = EDGE, y + 22.0
        made.parts += [*_sign(sign, x, y), _text(x + 26.0, y, words, "quiet")]
        x += wide + 12.0
    unseen = {
        key: [name_of(other) for other in all_muscles()[key].neighbours if other not in view.bellies] for key in here
    }
    if any(unseen.values()):
        said = "; ".join(f"{name_of(key)}: {', '.join(names)}" for key, names in unseen.items() if names)
        made.notes.append(f"Also heard, and not drawn in this view, by pads of {said}.")
    for words in (*made.notes, f"{STATED[0].upper()}{STATED[1:]}; {SOURCE}. {CAUTION}"):
        y += 5.0
        for line in wrapped(words, WIDTH - 2 * EDGE):
            y += LINE
            made.parts.append(_text(EDGE, y, line, "quiet"))
    return y + 14.0


def _sign(sign: str, x: float, y: float) -> list[str]:
    box = [(x, y - 11.0), (x + 20.0, y - 11.0), (x + 20.0, y + 2.0), (x, y + 2.0)]
    edge = "M" + "L".join(map(_at, box)) + "Z"
    if sign.endswith("site"):
        return [_element("path", sign, d=edge)]
    if sign.endswith("heard"):
        lines = hatch(box, HATCH, -HATCH_DEG if sign.startswith("deep") else HATCH_DEG)
        return [
            _element("path", "hatch", d="".join(f"M{_at(a)}L{_at(b)}" for a, b in lines)),
            _element("path", sign, d=edge),
        ]
    if sign == "plate":
        return [_element("rect", "pad", x=x - 2.0, y=y - 8.0, width=24.0, height=7.0, rx=3.0)]
    if sign == "spot":
        return [_disc((x + 10.0, y - 4.5), "spot", 3.2)]
    way = _element("path", "way", d=f"M{_at((x + 4.0, y - 4.5))}L{_at((x + 17.0, y - 4.5))}")
    return [way, *(_disc((x + by, y - 4.5), "pad", 4.4) for by in (4.0, 17.0))]


def _number(value: float) -> str:
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def _at(point: Point) -> str:
    return f"{_number(point[0])} {_number(point[1])}"


def _turned(x: float, y: float, turn: float) -> str:
    return f"translate({_at((x, y))}) rotate({_number(turn)})"


def _path(shape: Shape, how: str) -> str:
    way = f"M{_at(shape.curves[0][0])}" + "".join(f"C{_at(b)} {_at(c)} {_at(d)}" for _, b, c, d in shape.curves)
    return _element("path", how, d=way + ("Z" if shape.closed else ""))


def _disc(middle: Point, how: str, radius: float) -> str:
    return _element("circle", how, cx=middle[0], cy=middle[1], r=radius)


def _element(tag: str, how: str, **has: object) -> str:
    said = "".join(f' {key}="{_number(value) if isinstance(value, float) else value}"' for key, value in has.items())
    return f'<{tag} class="{how}"{said}/>'


def _text(x: float, y: float, words: str, how: str = "", anchor: str = "start") -> str:
    kind = f' class="{how}"' if how else ""
    end = ' text-anchor="end"' if anchor == "end" else ""
    return f'<text{kind} x="{_number(x)}" y="{_number(y)}"{end}>{escape(legible(words))}</text>'
