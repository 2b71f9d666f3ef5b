"""The hand of the drawings: its outline and bones, and the two views of it.

Millimetres, the middle of the wrist crease at (0, 0), fingers up: a right hand from the palm, so the thumb points to
the right. Drawn as simple rounded shapes from general proportions; the back of the hand is the same outline mirrored.
"""

import math

from emgreview.muscles.drawings.figure import Belly, Site, View
from emgreview.muscles.drawings.shapes import Point, Shape, chain, line, loop, spindle

Run = list[Point]

FINGERS = {  # base x, base y, turn to the thumb's side in degrees, length, half width at base and tip
    "little": (-34.0, -82.0, -15.0, 58.0, 8.8, 7.2),
    "ring": (-13.2, -95.0, -5.0, 72.0, 9.8, 8.0),
    "middle": (8.3, -98.0, 2.0, 79.0, 10.2, 8.4),
    "index": (29.3, -93.0, 9.5, 71.0, 10.0, 8.2),
}
THUMB = (57.0, -50.0, 43.0, 57.0, 11.2, 9.4)
METACARPALS = {
    "little": ((-17.0, -24.0), (-33.0, -76.0)),
    "ring": ((-7.0, -27.0), (-13.0, -84.0)),
    "middle": ((4.0, -29.0), (8.0, -90.0)),
    "index": ((14.0, -28.0), (28.0, -86.0)),
    "thumb": ((24.0, -14.0), (52.0, -45.0)),
}


def finger(x: float, y: float, turn_deg: float, length: float, base: float, tip: float) -> Run:
    """The outline of a finger from the little finger's side of its base round the tip to the thumb's side."""
    turn = math.radians(turn_deg)
    ahead, aside = (math.sin(turn), -math.cos(turn)), (math.cos(turn), math.sin(turn))

    def at(share: float, half: float) -> Point:
        return (x + ahead[0] * share * length + aside[0] * half, y + ahead[1] * share * length + aside[1] * half)

    middle = (base + tip) / 2
    widths = [(0.06, base), (0.28, base * 0.96), (0.40, middle * 1.05), (0.56, middle * 0.96), (0.74, tip * 1.04)]
    widths += [(0.88, tip * 0.97), (0.95, tip * 0.78), (0.985, tip * 0.45)]
    down = [at(share, half) for share, half in reversed(widths)]
    return [*(at(share, -half) for share, half in widths), at(1.0, 0.0), *down]


def contour() -> Run:
    """The outline from the little finger's side of the wrist round all fingers to the thumb's side of the wrist."""
    little, ring, middle, index = (finger(*FINGERS[name]) for name in ("little", "ring", "middle", "index"))
    ulnar = [(-27.5, 44.0), (-27.5, 20.0), (-29.0, 0.0), (-35.0, -18.0), (-41.0, -40.0), (-43.0, -62.0), (-43.5, -76.0)]
    thumb = [(40.8, -86.0), (43.0, -75.0), (47.0, -67.5), (52.5, -66.0), *finger(*THUMB)[1:]]
    thumb += [(61.5, -35.5), (54.0, -26.0), (44.5, -15.5), (35.5, -6.0), (30.5, 4.0), (28.5, 22.0), (28.0, 44.0)]
    webs = [(-24.4, -88.5)], [(-2.6, -99.0)], [(19.4, -98.5)]
    return [*ulnar, *little, *webs[0], *ring, *webs[1], *middle, *webs[2], *index, *thumb]


def _bone(start: Point, end: Point, half: float) -> Shape:
    """A long bone with thick ends."""
    at = [(start[0] + (end[0] - start[0]) * s, start[1] + (end[1] - start[1]) * s) for s in (0.0, 0.2, 0.5, 0.8, 1.0)]
    widths = (half, half * 0.85, half * 0.55, half * 0.8, half * 1.05)
    return spindle(*((x, y, w) for (x, y), w in zip(at, widths, strict=True)))


def _bones() -> tuple[Shape, ...]:
    long = [_bone(*METACARPALS[name], 4.6) for name in ("little", "ring", "middle", "index")]
    long.append(_bone(*METACARPALS["thumb"], 5.4))
    for name, (x, y, turn_deg, length, _, tip) in {**FINGERS, "thumb": THUMB}.items():
        turn = math.radians(turn_deg)
        for a, b in ((0.06, 0.50), (0.56, 0.92)) if name == "thumb" else ((0.02, 0.42), (0.47, 0.71), (0.76, 0.95)):
            ends = [(x + math.sin(turn) * s * length, y - math.cos(turn) * s * length) for s in (a, b)]
            long.append(_bone(ends[0], ends[1], tip * (0.50 - 0.14 * a)))
    return tuple(long)


def _nails() -> tuple[Shape, ...]:
    nails = []
    for x, y, turn_deg, length, _, tip in (*FINGERS.values(), THUMB):
        turn, half = math.radians(turn_deg), tip * 0.62
        edge = ((0.80, 0.9), (0.80, -0.9), (0.88, -1.0), (0.955, -0.8), (0.965, 0.0), (0.955, 0.8), (0.88, 1.0))
        along = ((s * length, half * w) for s, w in edge)
        nails.append(
            loop(
                *(
                    (x + math.sin(turn) * s + math.cos(turn) * w, y - math.cos(turn) * s + math.sin(turn) * w)
                    for s, w in along
                )
            )
        )
    return tuple(nails)


OUTLINE, EDGE, BONES = chain(contour()), line(*contour()), _bones()


def across(point: Point) -> Point:
    """The same place in the hand seen from the other side."""
    return -point[0], point[1]


def _turned(belly: Belly) -> Belly:
    return Belly(belly.shape.moved(across), belly.deep)


_WRIST = (line((-28.0, 1.0), (-14.0, -1.5), (0.0, -2.0), (14.0, -1.0), (29.0, 2.0)),)
_PALM_LINES = (
    line((25.0, -6.0), (15.0, -20.0), (13.0, -38.0), (22.0, -58.0), (38.0, -70.0)),
    line((-40.0, -70.0), (-24.0, -73.0), (-4.0, -79.0), (14.0, -92.0)),
    line((-36.0, -55.0), (-14.0, -58.0), (12.0, -66.0), (37.0, -76.0)),
)

PALM = View(
    name="hand palm",
    title="hand, palm side",
    seen="the palm, fingers up",
    frame=(-62.0, -186.0, 106.0, 46.0),
    scale=2.1,
    outline=(OUTLINE,),
    edges=(EDGE,),
    marks=(*_WRIST, *_PALM_LINES),
    bellies={
        "first_palmar_interosseous": Belly(
            spindle((17.0, -42.0, 1.6), (20.5, -60.0, 4.2), (22.5, -82.0, 1.6)), deep=True
        ),
        "second_palmar_interosseous": Belly(
            spindle((-4.5, -42.0, 1.6), (-6.5, -60.0, 4.2), (-8.5, -82.0, 1.6)), deep=True
        ),
        "third_palmar_interosseous": Belly(
            spindle((-18.0, -38.0, 1.6), (-23.0, -55.0, 4.2), (-28.5, -75.0, 1.6)), deep=True
        ),
        "adductor_pollicis": Belly(
            loop(
                (7.0, -36.0),
                (6.0, -56.0),
                (8.0, -76.0),
                (11.5, -81.0),
                (24.0, -70.0),
                (40.0, -59.0),
                (51.0, -53.0),
                (50.0, -48.0),
                (36.0, -46.0),
                (20.0, -38.0),
                (11.0, -32.0),
            ),
            deep=True,
        ),
        "opponens_pollicis": Belly(
            spindle((24.0, -7.0, 2.5), (34.0, -16.5, 6.0), (46.0, -30.0, 6.5), (57.5, -42.5, 2.5)), deep=True
        ),
        "flexor_pollicis_brevis": Belly(
            spindle((12.0, -20.0, 2.2), (23.0, -29.0, 6.2), (37.0, -41.0, 6.6), (52.0, -52.5, 2.2))
        ),
        "abductor_pollicis_brevis": Belly(
            spindle((18.0, -9.0, 2.4), (28.0, -17.5, 6.6), (43.0, -32.0, 7.2), (56.5, -47.0, 2.2))
        ),
        "flexor_digiti_minimi": Belly(
            spindle((-17.0, -20.0, 1.8), (-25.0, -36.0, 4.6), (-31.0, -56.0, 4.2), (-34.0, -76.0, 1.6))
        ),
        "opponens_digiti_minimi": Belly(
            spindle((-16.0, -24.0, 1.6), (-21.0, -40.0, 3.6), (-28.0, -64.0, 1.6)), deep=True
        ),
        "abductor_digiti_minimi": Belly(
            spindle((-24.5, -14.0, 2.0), (-31.5, -30.0, 5.6), (-36.6, -50.0, 5.4), (-39.0, -76.0, 1.8))
        ),
        "palmaris_brevis": Belly(loop((-18.0, -15.0), (-30.0, -14.5), (-33.0, -23.0), (-19.0, -25.0))),
        "first_lumbrical": Belly(spindle((14.0, -44.0, 1.5), (26.0, -62.0, 3.2), (37.0, -84.0, 1.4))),
        "thenar_group": Belly(
            loop(
                (12.0, -12.0),
                (26.0, -6.0),
                (41.0, -15.5),
                (55.0, -31.0),
                (61.5, -43.0),
                (55.0, -53.0),
                (42.0, -49.0),
                (26.0, -38.0),
                (13.0, -25.0),
            )
        ),
    },
    sites={
        "thenar_group": Site(36.0, -29.0, 137.0, ("wrist crease", "thumb base joint")),
        "abductor_pollicis_brevis": Site(35.0, -24.5, 136.0, ("thumb base joint", "wrist crease")),
        "flexor_pollicis_brevis": Site(33.0, -37.5, 140.0, ("thumb base joint",)),
        "opponens_pollicis": Site(44.0, -28.0, 131.0, ("thumb base joint",)),
        "adductor_pollicis": Site(29.0, -56.0, 14.0, ("thumb base joint",)),
        "abductor_digiti_minimi": Site(-34.6, -41.0, 75.0, ("pisiform",)),
    },
    landmarks={
        "wrist crease": (4.0, -2.0),
        "pisiform": (-20.0, -9.0),
        "thumb base joint": (53.5, -47.0),
        "knuckle of the index finger": (29.0, -89.0),
        "knuckle of the ring finger": (-13.0, -87.0),
        "knuckle of the little finger": (-33.5, -78.0),
    },
    sides=("little-finger side", "thumb side"),
    asked=frozenset({"thenar_group"}),
)

BACK = View(
    name="hand back",
    title="hand, back",
    seen="the back of the hand, fingers up",
    frame=(-106.0, -186.0, 62.0, 46.0),
    scale=2.1,
    outline=(OUTLINE.moved(across),),
    edges=(EDGE.moved(across),),
    bones=tuple(bone.moved(across) for bone in BONES),
    marks=tuple(nail.moved(across) for nail in _nails()),
    bellies={
        name: _turned(belly)
        for name, belly in {
            "adductor_pollicis": Belly(
                loop(
                    (9.0, -38.0),
                    (9.0, -56.0),
                    (11.0, -78.0),
                    (24.0, -70.0),
                    (40.0, -59.0),
                    (50.0, -52.0),
                    (36.0, -46.0),
                    (20.0, -37.0),
                ),
                deep=True,
            ),
            "first_palmar_interosseous": Belly(
                spindle((12.0, -44.0, 1.2), (17.0, -62.0, 3.0), (22.0, -82.0, 1.2)), deep=True
            ),
            "first_dorsal_interosseous": Belly(
                spindle(
                    (28.0, -29.0, 3.0), (34.5, -45.0, 7.6), (38.0, -60.0, 7.8), (37.0, -76.0, 5.2), (35.0, -91.0, 1.6)
                )
            ),
            "second_dorsal_interosseous": Belly(
                spindle((10.0, -36.0, 1.6), (13.8, -52.0, 5.0), (15.8, -66.0, 5.0), (16.5, -90.0, 1.4))
            ),
            "third_dorsal_interosseous": Belly(
                spindle((-1.5, -35.0, 1.6), (-2.2, -52.0, 4.8), (-2.6, -66.0, 4.8), (-1.5, -89.0, 1.4))
            ),
            "fourth_dorsal_interosseous": Belly(
                spindle((-12.0, -32.0, 1.6), (-17.0, -49.0, 4.8), (-20.5, -63.0, 4.8), (-21.5, -82.0, 1.4))
            ),
            "abductor_digiti_minimi": Belly(
                spindle((-31.0, -14.0, 1.4), (-35.5, -34.0, 3.4), (-39.0, -54.0, 3.0), (-40.5, -77.0, 1.4))
            ),
        }.items()
    },
    sites={
        "first_dorsal_interosseous": Site(-37.0, -57.0, 77.0, ("knuckle of the index finger", "thumb base joint")),
        "second_dorsal_interosseous": Site(-15.0, -61.0, 83.0, ("knuckle of the middle finger",)),
        "third_dorsal_interosseous": Site(2.5, -60.0, 92.0, ("knuckle of the middle finger",)),
        "fourth_dorsal_interosseous": Site(19.3, -57.0, 107.0, ("knuckle of the ring finger",)),
    },
    landmarks={
        "knuckle of the index finger": (-29.0, -89.0),
        "knuckle of the middle finger": (-8.5, -94.0),
        "knuckle of the ring finger": (13.0, -88.0),
        "thumb base joint": (-54.0, -47.0),
        "ulnar styloid": (24.0, 14.0),
    },
    sides=("thumb side", "little-finger side"),
)
