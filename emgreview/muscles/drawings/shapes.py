"""Smooth shapes from a few points: the curves, bellies and hatches of the drawings, as plain geometry.

Coordinates are millimetres of a person of middle size, x to the right and y down. A shape is a chain of cubic curves
through its points.

    loop            a closed curve through points
    line            an open curve through points
    chain           closed, smooth along each of several runs of points, with a corner where two runs meet
    spindle         a belly along its course: points with half a width each
    softened        a polygon without corners
    Shape.moved     the same by a map of points
    polygon         corners of a shape, close together
    inside          is a point within a polygon?
    depth           how far a point lies within a polygon
    hatch           parallel lines across a polygon
    halves          what is left of a convex polygon on one side of a line
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

Point = tuple[float, float]
Curve = tuple[Point, Point, Point, Point]

STEPS = 8
"""Corners that stand for one curve of a shape."""


@dataclass(frozen=True)
class Shape:
    """Cubic curves, each of four points, one after the other; a closed shape ends where it begins."""

    curves: tuple[Curve, ...]
    closed: bool = True

    def moved(self, place: Callable[[Point], Point]) -> "Shape":
        """The shape with every point where ``place`` puts it."""
        a_curve = [(place(a), place(b), place(c), place(d)) for a, b, c, d in self.curves]
        return Shape(tuple(a_curve), self.closed)


def loop(*points: Point) -> Shape:
    """A closed curve through points."""
    count = len(points)
    around = [points[(i - 1) % count] for i in range(count + 3)]
    return Shape(tuple(_curves(around)))


def line(*points: Point) -> Shape:
    """An open curve through points."""
    return Shape(tuple(_curves([points[0], *points, points[-1]])), closed=False)


def chain(*runs: Sequence[Point]) -> Shape:
    """A closed shape: each run is a smooth curve, and straight lines join the runs."""
    curves: list[Curve] = []
    for i, run in enumerate(runs):
        if len(run) > 1:
            curves += line(*run).curves
        end, start = run[-1], runs[(i + 1) % len(runs)][0]
        if end != start:
            curves.append(_straight(end, start))
    return Shape(tuple(curves))


def spindle(*course: tuple[float, float, float]) -> Shape:
    """A belly along its course: x, y and half the width at each point; its ends are round."""
    middle = [(x, y) for x, y, _ in course]
    near, far = [], []
    for i, (x, y, half) in enumerate(course):
        before, after = middle[max(i - 1, 0)], middle[min(i + 1, len(middle) - 1)]
        along = _unit(after[0] - before[0], after[1] - before[1])
        near.append((x + half * along[1], y - half * along[0]))
        far.append((x - half * along[1], y + half * along[0]))
    tips = []
    for (x, y, half), towards in ((course[0], middle[1]), (course[-1], middle[-2])):
        out = _unit(x - towards[0], y - towards[1])
        tips.append((x + half * out[0], y + half * out[1]))
    return loop(tips[0], *near, tips[1], *reversed(far))


def softened(corners: Sequence[Point], reach: float) -> Shape:
    """A polygon without corners: its edge, averaged over ``reach`` along itself, twice."""
    around = list(zip(corners, [*corners[1:], corners[0]], strict=True))
    length = sum(math.dist(a, b) for a, b in around)
    count = max(24, round(length / 1.2))
    edge: list[Point] = []
    done = 0.0
    for a, b in around:
        side = math.dist(a, b)
        while len(edge) < count and len(edge) * length / count < done + side:
            share = (len(edge) * length / count - done) / side
            edge.append((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
        done += side
    half = max(1, round(reach * len(edge) / length / 2))
    for _ in range(2):
        edge = [_mean([edge[(i + by) % len(edge)] for by in range(-half, half + 1)]) for i in range(len(edge))]
    return loop(*edge[::2])


def polygon(shape: Shape) -> list[Point]:
    """Corners close together along a shape."""
    corners: list[Point] = []
    for curve in shape.curves:
        corners += [_at(curve, step / STEPS) for step in range(STEPS)]
    return corners if shape.closed else [*corners, shape.curves[-1][3]]


def inside(point: Point, corners: Sequence[Point]) -> bool:
    """Is a point within a polygon?"""
    x, y = point
    within = False
    for i, (xa, ya) in enumerate(corners):
        xb, yb = corners[i - 1]
        if (ya > y) != (yb > y) and x < (xb - xa) * (y - ya) / (yb - ya) + xa:
            within = not within
    return within


def depth(point: Point, corners: Sequence[Point]) -> float:
    """How far a point lies from the edge of a polygon; negative outside."""
    nearest = min(_distance(point, corners[i - 1], corner) for i, corner in enumerate(corners))
    return nearest if inside(point, corners) else -nearest


def hatch(corners: Sequence[Point], spacing: float, angle_deg: float) -> list[tuple[Point, Point]]:
    """Parallel lines across a polygon, ``spacing`` apart, that fall by ``angle_deg`` to the right."""
    turn = math.radians(angle_deg)
    c, s = math.cos(turn), math.sin(turn)
    turned = [(x * c + y * s, y * c - x * s) for x, y in corners]
    low, high = min(y for _, y in turned), max(y for _, y in turned)
    lines = []
    for number in range(math.ceil(low / spacing), math.floor(high / spacing) + 1):
        y = number * spacing + 1e-6
        crossed = []
        for i, (xa, ya) in enumerate(turned):
            xb, yb = turned[i - 1]
            if (ya > y) != (yb > y):
                crossed.append((xb - xa) * (y - ya) / (yb - ya) + xa)
        crossed.sort()
        for start, end in zip(crossed[::2], crossed[1::2], strict=True):
            if end - start > spacing / 4:
                lines.append(((start * c - y * s, start * s + y * c), (end * c - y * s, end * s + y * c)))
    return lines


def halves(corners: Sequence[Point], a: float, b: float, most: float) -> list[Point]:
    """Of a convex polygon, what has ``a * x + b * y <= most``."""
    kept: list[Point] = []
    for i, here in enumerate(corners):
        last = corners[i - 1]
        over, over_last = a * here[0] + b * here[1] - most, a * last[0] + b * last[1] - most
        if (over > 0) != (over_last > 0):
            share = over_last / (over_last - over)
            kept.append((last[0] + share * (here[0] - last[0]), last[1] + share * (here[1] - last[1])))
        if over <= 0:
            kept.append(here)
    return kept


def _curves(points: Sequence[Point]) -> Iterable[Curve]:
    """Curves between the inner ones of points; each leaves a point in the direction of its two neighbours."""
    for p, a, b, q in zip(points, points[1:], points[2:], points[3:], strict=False):
        reach = math.dist(a, b)
        first, last = math.dist(p, b) or 1.0, math.dist(a, q) or 1.0
        k, m = min(1 / 6, reach / first / 3), min(1 / 6, reach / last / 3)
        c = (a[0] + (b[0] - p[0]) * k, a[1] + (b[1] - p[1]) * k)
        d = (b[0] - (q[0] - a[0]) * m, b[1] - (q[1] - a[1]) * m)
        yield a, c, d, b


def _straight(a: Point, b: Point) -> Curve:
    return a, _towards(a, b, math.dist(a, b) / 3), _towards(b, a, math.dist(a, b) / 3), b


def _at(curve: Curve, t: float) -> Point:
    weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3)
    return (
        sum(w * p[0] for w, p in zip(weights, curve, strict=True)),
        sum(w * p[1] for w, p in zip(weights, curve, strict=True)),
    )


def _mean(points: Sequence[Point]) -> Point:
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)


def _unit(x: float, y: float) -> Point:
    size = math.hypot(x, y) or 1.0
    return x / size, y / size


def _towards(a: Point, b: Point, by: float) -> Point:
    x, y = _unit(b[0] - a[0], b[1] - a[1])
    return a[0] + by * x, a[1] + by * y


def _distance(point: Point, a: Point, b: Point) -> float:
    x, y = b[0] - a[0], b[1] - a[1]
    length = x * x + y * y
    share = 0.0 if length == 0 else max(0.0, min(1.0, ((point[0] - a[0]) * x + (point[1] - a[1]) * y) / length))
    return math.dist(point, (a[0] + share * x, a[1] + share * y))
