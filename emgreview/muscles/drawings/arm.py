"""What both views of the arm share: the outline of arm and trunk, with the hand that hangs on it.

Millimetres of a person of middle size, seen from the front: the middle of the body at x = 400, the right arm to the
left of it, y down from the ear. Seen from the back, the same outline is mirrored about x = 200.
"""

import math

from emgreview.muscles.drawings.figure import Belly
from emgreview.muscles.drawings.hand import contour
from emgreview.muscles.drawings.shapes import Point, Shape, chain, line

WRIST, TURN_DEG = (95.5, 728.0), 187.0
"""Where the middle of the wrist crease lies, and how far the hand of the palm view is turned to hang there."""

OUTER = [
    (346.0, 34.0), (347.0, 62.0), (344.0, 92.0), (333.0, 117.0), (310.0, 136.0), (276.0, 151.0), (238.0, 162.0),
    (208.0, 171.0), (186.0, 187.0), (170.0, 213.0), (161.0, 246.0), (157.5, 282.0), (157.0, 315.0), (153.0, 350.0),
    (146.0, 392.0), (137.0, 434.0), (128.0, 468.0), (119.0, 496.0), (110.5, 526.0), (102.0, 562.0), (92.5, 604.0),
    (83.0, 648.0), (73.5, 690.0),
]  # fmt: skip
"""The outer side from the neck to the wrist."""

INNER = [
    (132.0, 692.0), (149.0, 650.0), (168.0, 610.0), (185.0, 570.0), (197.0, 536.0), (204.0, 507.0), (207.0, 484.0),
    (211.0, 456.0), (217.5, 420.0), (225.0, 380.0), (232.0, 345.0), (238.5, 318.0), (246.0, 300.0),
]  # fmt: skip
"""The inner side from the wrist to the armpit."""

FLANK = [
    (246.0, 300.0), (252.0, 322.0), (257.0, 356.0), (262.0, 400.0), (267.0, 446.0), (270.0, 490.0), (271.0, 530.0),
    (269.0, 566.0), (264.0, 600.0),
]  # fmt: skip
"""The side of the trunk from the armpit down."""


def hung(point: Point) -> Point:
    """Where a point of the hand's palm view lies in the arm seen from the front."""
    turn = math.radians(TURN_DEG)
    x, y = point
    return (
        WRIST[0] + x * math.cos(turn) - y * math.sin(turn),
        WRIST[1] + x * math.sin(turn) + y * math.cos(turn),
    )


def behind(point: Point) -> Point:
    """The same place seen from the back: the middle of the body at x = 0, the right arm to the right of it."""
    return 400.0 - point[0], point[1]


def silhouette(bottom: float) -> Shape:
    """Neck, shoulder, arm, hand and flank, down to ``bottom``, and the middle of the body."""
    hand = [hung(point) for point in contour()[2:-2]]
    flank = [point for point in FLANK if point[1] <= bottom]
    around = [*OUTER, *reversed(hand), *INNER[:-1]]
    return chain([*around, FLANK[0]], flank, [(400.0, flank[-1][1]), (400.0, 34.0)])


def edges() -> tuple[Shape, ...]:
    """What is stroked of the silhouette: where the body is cut off, there is no line."""
    hand = [hung(point) for point in contour()[2:-2]]
    return line(*OUTER, *reversed(hand), *INNER), line(*FLANK)


def carried(belly: Belly) -> Belly:
    """A belly of the hand's palm view, in the arm seen from the front."""
    return Belly(belly.shape.moved(hung), belly.deep)
