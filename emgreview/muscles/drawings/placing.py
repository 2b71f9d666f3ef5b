"""Where the labels of a picture stand: two columns beside it, none over another, and no leader line across another.

Pixels, y down. A label points to a place in the picture. The leftmost places get the left column, so that lines from
the two sides never meet. Within a column, labels stand as near to their places as their heights allow, in an order in
which no two lines cross.

    letters     how wide a text is at most
    wrapped     a text in lines of a given width
    placed      labels with their heights and places: which column, and how high
"""

from collections.abc import Sequence
from dataclasses import dataclass

from emgreview.muscles.drawings.shapes import Point

LINE, SIZE, GAP = 16.0, 13.0, 7.0
"""Height of a line of text, size of its letters, and the least gap between two labels."""
PORT = LINE * 0.55
"""How far below the top of a label its line starts."""
FULL = 100.0
"""What a pixel costs by which a column is higher than its room."""

_NARROW, _WIDE = frozenset("iljtfrI.,:;'|!()[]-/ "), frozenset("mwMW%@—…")


@dataclass(frozen=True)
class Label:
    """What points to a place: its height and the place."""

    height: float
    place: Point


@dataclass(frozen=True)
class Spot:
    """Where a label stands: in the left column or the right one, and its top."""

    left: bool
    top: float


def letters(text: str, *, bold: bool = False, size: float = SIZE) -> float:
    """How wide a text is at most, in the widest of the usual typefaces without serifs."""
    units = 0.0
    for letter in text:
        if letter in _NARROW:
            units += 0.43
        elif letter in _WIDE:
            units += 1.0
        elif ord(letter) > 0x2000:
            units += 1.05
        else:
            units += 0.79 if letter.isupper() else 0.635
    return units * size * (1.11 if bold else 1.0)


def wrapped(text: str, width: float, *, bold: bool = False) -> list[str]:
    """A text in lines no wider than ``width``; a word that is wider is cut."""
    lines: list[str] = []
    for word in text.split():
        if lines and letters(f"{lines[-1]} {word}", bold=bold) <= width:
            lines[-1] = f"{lines[-1]} {word}"
            continue
        while letters(word, bold=bold) > width and len(word) > 1:
            fits = max(1, next(i for i in range(len(word) + 1) if letters(word[: i + 1], bold=bold) > width))
            lines.append(word[:fits])
            word = word[fits:]
        lines.append(word)
    return lines or [""]


def placed(labels: Sequence[Label], top: float, bottom: float, edges: tuple[float, float]) -> tuple[list[Spot], float]:
    """The spots of labels between ``top`` and ``bottom``, with lines from ``edges``, the inner edges of the columns;
    and the bottom that was needed, which is lower where there are too many of them."""
    order = sorted(range(len(labels)), key=lambda i: (labels[i].place[0], labels[i].place[1], i))
    split = min(range(len(order) + 1), key=lambda i: (_cost(labels, order, i, edges, bottom - top), i))
    left = order[:split]
    columns = (left, order[split:])
    spots: dict[int, Spot] = {}
    for is_left, column, edge in zip((True, False), columns, edges, strict=True):
        tops = _column([labels[i] for i in column], top, bottom, edge)
        spots |= {i: Spot(is_left, at) for i, at in zip(column, tops, strict=True)}
    lowest = max((spots[i].top + label.height for i, label in enumerate(labels)), default=bottom)
    return [spots[i] for i in range(len(labels))], max(bottom, lowest)


def crossing(a: tuple[Point, Point], b: tuple[Point, Point]) -> bool:
    """Do two lines cross?"""

    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(*a, b[0]) * side(*a, b[1]) < -1e-9 and side(*b, a[0]) * side(*b, a[1]) < -1e-9


def _cost(labels: Sequence[Label], order: Sequence[int], split: int, edges: tuple[float, float], room: float) -> float:
    """About how long all lines are if the first ``split`` labels stand left: across, and up or down."""
    cost = 0.0
    for column, edge in ((order[:split], edges[0]), (order[split:], edges[1])):
        height = sum(labels[i].height + GAP for i in column)
        cost += sum(abs(labels[i].place[0] - edge) for i in column) + len(column) * height / 4
        cost += FULL * max(0.0, height - room)
    return cost


def _column(labels: Sequence[Label], top: float, bottom: float, edge: float) -> list[float]:
    """Tops of the labels of one column: near their places where that goes without a crossing, else from the top
    downwards, in an order that cannot cross."""
    order = sorted(range(len(labels)), key=lambda i: (labels[i].place[1], i))
    for _ in range(4 * len(labels) + 1):
        tops = _near([labels[i] for i in order], top, bottom)
        lines = [((edge, at + PORT), labels[i].place) for i, at in zip(order, tops, strict=True)]
        crossed = [(a, b) for b in range(len(lines)) for a in range(b) if crossing(lines[a], lines[b])]
        if not crossed:
            return [at for _, at in sorted(zip(order, tops, strict=True))]
        a, b = min(crossed, key=lambda pair: (pair[1] - pair[0], pair))
        order[a], order[b] = order[b], order[a]
    return _from_top(labels, top, edge)


def _near(labels: Sequence[Label], top: float, bottom: float) -> list[float]:
    """Tops as near to their places as heights allow, in the order given: blocks that touch move together."""
    blocks: list[list[float]] = []  # sum of wished tops, how many, height in all
    for label in labels:
        blocks.append([label.place[1] - PORT, 1.0, label.height + GAP])
        while len(blocks) > 1 and _start(blocks[-2], top, bottom) + blocks[-2][2] > _start(blocks[-1], top, bottom):
            wish, count, height = blocks.pop()
            blocks[-1] = [blocks[-1][0] + wish - count * blocks[-1][2], blocks[-1][1] + count, blocks[-1][2] + height]
    tops: list[float] = []
    number = 0
    for block in blocks:
        at = _start(block, top, bottom)
        for _ in range(int(block[1])):
            tops.append(at)
            at += labels[number].height + GAP
            number += 1
    return tops


def _start(block: list[float], top: float, bottom: float) -> float:
    return max(top, min(block[0] / block[1], bottom - block[2] + GAP))


def _from_top(labels: Sequence[Label], top: float, edge: float) -> list[float]:
    """Each label in turn takes the place to which its line is the steepest upwards: all others lie below that line."""
    tops, at, left = [0.0] * len(labels), top, list(range(len(labels)))
    while left:
        port = at + PORT
        i = min(left, key=lambda j: ((labels[j].place[1] - port) / max(abs(labels[j].place[0] - edge), 1e-6), j))
        left.remove(i)
        tops[i] = at
        at += labels[i].height + GAP
    return tops
