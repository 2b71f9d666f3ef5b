"""The cross-sections: upper arm at its middle, forearm about a third and about two thirds down.

Millimetres, the middle of the limb at (0, 0), seen from the hand towards the shoulder, a right arm with the palm up. A
direction of 0 degrees is the front (at the forearm the palm side), 90 the outer side (the thumb side, here left), 180
the back. A muscle has a seed (direction, distance from the middle as a share of the radius) and a weight in mm²: a
point belongs to the muscle with the least squared distance to its seed minus its weight. The weights were fitted so
that areas are in a plausible proportion; seeds and areas are from memory, schematic, and of no person.

    UPPER_ARM, FOREARM, FOREARM_LOW     the three views
"""

import math
from collections.abc import Mapping

from emgreview.muscles.drawings.figure import Belly, Site, View
from emgreview.muscles.drawings.shapes import Point, Shape, halves, line, loop, softened

Seeds = Mapping[str, tuple[float, float, float]]
WIDE, HIGH = 1.1, 0.92
"""A limb is broader than it is deep."""
FASCIA = 0.7
"""Half the gap between two muscles, in millimetres."""


def at(direction_deg: float, distance: float) -> Point:
    """A place in a section."""
    turn = math.radians(direction_deg)
    return -distance * math.sin(turn) * WIDE, -distance * math.cos(turn) * HIGH


def ring(radius: float) -> list[Point]:
    """The edge of a limb."""
    return [at(step * 5.0, radius) for step in range(72)]


def cells(seeds: Seeds, radius: float) -> dict[str, list[Point]]:
    """The part of a limb that belongs to each seed."""
    found = {}
    for name, (turn, far, weight) in seeds.items():
        x, y = at(turn, far * radius)
        part = ring(radius - FASCIA)
        for other, (other_turn, other_far, other_weight) in seeds.items():
            if other != name and part:
                u, v = at(other_turn, other_far * radius)
                gap = math.hypot(u - x, v - y)
                most = (u * u + v * v - other_weight - x * x - y * y + weight) / 2 - FASCIA * gap
                part = halves(part, u - x, v - y, most)
        found[name] = part
    return found


def _skin(radius: float) -> Shape:
    return loop(
        *(at(step * 20.0, radius * (1.0 + 0.01 * math.cos(math.radians(step * 40.0 - 70.0)))) for step in range(18))
    )


def _bone(turn_deg: float, far: float, size: float, radius: float, lean: float = 0.0) -> tuple[Shape, Shape]:
    """A bone, round with one blunt edge towards ``lean``, and its marrow."""
    x, y = at(turn_deg, far * radius)
    edge = []
    for step in range(12):
        turn = math.radians(step * 30.0)
        out = size * radius * (1.0 + 0.16 * math.cos(turn - math.radians(lean)) ** 3)
        edge.append((x - out * math.sin(turn), y - out * math.cos(turn)))
    inner = [(x + (u - x) * 0.45, y + (v - y) * 0.45) for u, v in edge]
    return loop(*edge), loop(*inner)


def _view(
    name: str,
    title: str,
    seen: str,
    radius: float,
    fat: float,
    seeds: Seeds,
    bones: tuple[tuple[float, float, float, float], ...],
    deep: frozenset[str],
    sites: Mapping[str, tuple[float, tuple[str, ...]]],
    landmarks: Mapping[str, Point],
    sides: tuple[str, str],
    named: Mapping[str, Point],
    marks: tuple[Shape, ...] = (),
) -> View:
    skin = radius + fat
    wide, high = skin * WIDE + 6, skin * HIGH + 6
    drawn = {key: Belly(softened(part, 7.0), key in deep) for key, part in cells(seeds, radius).items()}
    return View(
        name=name,
        title=title,
        seen=seen,
        frame=(-wide, -high, wide, high),
        scale=180.0 / wide,
        outline=(_skin(skin), _skin(radius + 0.8)),
        bones=tuple(part for bone in bones for part in _bone(*bone[:3], radius, bone[3])),
        bellies=drawn,
        sites={key: Site(*at(turn, skin + 1.6), turn, near) for key, (turn, near) in sites.items()},
        landmarks=landmarks,
        sides=sides,
        section=True,
        named=named,
        marks=marks,
    )


UPPER_ARM = _view(
    "upper arm section",
    "upper arm, cross-section at its middle",
    "the upper arm cut across at its middle, seen from the hand, front up",
    42.0,
    5.0,
    {
        "biceps_brachii": (-4.0, 0.66, 121.1),
        "brachialis": (28.0, 0.30, 112.0),
        "triceps_lateral": (132.0, 0.70, -33.1),
        "triceps_long": (-138.0, 0.70, -152.5),
        "triceps_medial": (188.0, 0.34, -47.5),
    },
    ((78.0, 0.14, 0.20, 90.0),),
    frozenset({"triceps_medial"}),
    {
        "biceps_brachii": (-6.0, ()),
        "brachialis": (62.0, ()),
        "triceps_lateral": (128.0, ()),
        "triceps_long": (-136.0, ()),
    },
    {},
    ("outer side", "inner side"),
    {"humerus": at(78.0, 0.14 * 42.0)},
)

FOREARM = _view(
    "forearm section",
    "forearm, cross-section about a third of the way down",
    "the forearm cut across about a third of the way from elbow to wrist, palm up, seen from the hand",
    36.0,
    4.0,
    {
        "flexor_carpi_radialis": (12.0, 0.78, -2.2),
        "palmaris_longus": (-14.0, 0.86, -59.6),
        "pronator_teres": (38.0, 0.64, 28.6),
        "flexor_digitorum_superficialis": (-30.0, 0.55, 35.6),
        "flexor_carpi_ulnaris": (-80.0, 0.84, -111.6),
        "flexor_digitorum_profundus": (-95.0, 0.40, 17.4),
        "flexor_pollicis_longus": (50.0, 0.30, -22.3),
        "brachioradialis": (66.0, 0.82, 137.3),
        "extensor_carpi_radialis_longus": (98.0, 0.84, 149.5),
        "extensor_carpi_radialis_brevis": (122.0, 0.76, 103.6),
        "extensor_digitorum": (152.0, 0.80, 60.2),
        "extensor_digiti_minimi": (176.0, 0.84, -125.5),
        "extensor_carpi_ulnaris": (-160.0, 0.80, -187.7),
        "supinator": (118.0, 0.36, 58.6),
        "abductor_pollicis_longus": (172.0, 0.42, -81.8),
    },
    ((112.0, 0.34, 0.165, 60.0), (-140.0, 0.66, 0.165, -140.0)),
    frozenset({"flexor_digitorum_profundus", "flexor_pollicis_longus", "supinator"}),
    {
        "flexor_carpi_radialis": (14.0, ()),
        "pronator_teres": (36.0, ()),
        "flexor_digitorum_superficialis": (-40.0, ()),
        "flexor_carpi_ulnaris": (-82.0, ()),
        "flexor_digitorum_profundus": (-118.0, ()),
        "brachioradialis": (62.0, ()),
        "extensor_carpi_radialis_longus": (98.0, ()),
        "extensor_carpi_radialis_brevis": (124.0, ()),
        "extensor_digitorum": (153.0, ()),
        "extensor_carpi_ulnaris": (-156.0, ()),
        "supinator": (138.0, ()),
    },
    {},
    ("thumb side", "little-finger side"),
    {"radius": at(112.0, 0.34 * 36.0), "ulna": at(-140.0, 0.66 * 36.0)},
    (line(at(112.0, 0.34 * 36.0), at(180.0, 0.13 * 36.0), at(-140.0, 0.66 * 36.0)),),
)

FOREARM_LOW = _view(
    "forearm section low",
    "forearm, cross-section about two thirds of the way down",
    "the forearm cut across about two thirds of the way from elbow to wrist, palm up, seen from the hand",
    29.0,
    3.0,
    {
        "flexor_digitorum_superficialis": (-6.0, 0.58, 135.3),
        "flexor_digitorum_profundus": (-52.0, 0.46, 103.1),
        "flexor_carpi_ulnaris": (-82.0, 0.84, -34.4),
        "flexor_pollicis_longus": (50.0, 0.50, 21.2),
        "flexor_carpi_radialis": (26.0, 0.86, -22.9),
        "palmaris_longus": (2.0, 0.92, 49.0),
        "brachioradialis": (66.0, 0.86, -91.2),
        "extensor_carpi_radialis_longus": (92.0, 0.88, -96.9),
        "extensor_carpi_radialis_brevis": (112.0, 0.86, -66.2),
        "abductor_pollicis_longus": (136.0, 0.72, 12.3),
        "extensor_pollicis_brevis": (128.0, 0.46, -5.3),
        "extensor_digitorum": (164.0, 0.80, 65.8),
        "extensor_pollicis_longus": (174.0, 0.44, -4.3),
        "extensor_indicis": (-160.0, 0.52, -5.5),
        "extensor_digiti_minimi": (-174.0, 0.86, -9.7),
        "extensor_carpi_ulnaris": (-150.0, 0.86, -50.3),
    },
    ((96.0, 0.46, 0.2, 90.0), (-122.0, 0.60, 0.18, -122.0)),
    frozenset(
        {
            "flexor_digitorum_profundus",
            "flexor_pollicis_longus",
            "extensor_pollicis_brevis",
            "extensor_pollicis_longus",
            "extensor_indicis",
        }
    ),
    {
        "flexor_digitorum_superficialis": (-8.0, ()),
        "flexor_pollicis_longus": (48.0, ()),
        "abductor_pollicis_longus": (134.0, ()),
        "extensor_indicis": (-161.0, ()),
        "extensor_digitorum": (163.0, ()),
    },
    {},
    ("thumb side", "little-finger side"),
    {"radius": at(96.0, 0.46 * 29.0), "ulna": at(-122.0, 0.60 * 29.0)},
    (line(at(96.0, 0.46 * 29.0), at(180.0, 0.08 * 29.0), at(-122.0, 0.60 * 29.0)),),
)
