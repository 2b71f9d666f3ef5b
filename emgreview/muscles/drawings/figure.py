"""What a view is made of: an outline, bones, bellies, sites and landmarks, in millimetres, drawn for the right side.

Belly       where a muscle lies in a view
Site        where a pair of pads lies, and along which fibres
View        one picture
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from emgreview.muscles.drawings.shapes import Point, Shape


@dataclass(frozen=True)
class Belly:
    """Where a muscle lies: its shape, and whether it lies deep."""

    shape: Shape
    deep: bool = False


@dataclass(frozen=True)
class Site:
    """The middle of a pair of pads and the direction of the fibres in degrees (0 to the right, 90 down); ``near`` names
    the landmarks from which it is found. In a cross-section, where fibres run through the paper, the two pads lie one
    behind the other on the skin at (x, y)."""

    x: float
    y: float
    along_deg: float
    near: tuple[str, ...] = ()


@dataclass(frozen=True)
class View:
    """One picture: what it shows, in millimetres, from the lowest belly to the highest. ``frame`` is left, top, right
    and bottom; ``scale`` pixels a millimetre; ``edges`` what is stroked where the body is cut off, else the outline is;
    ``sides`` what lies left and right; ``named`` bones that are always named; ``asked`` the bellies that are drawn only
    where they are chosen or heard, for they lie over others."""

    name: str
    title: str
    seen: str
    frame: tuple[float, float, float, float]
    scale: float
    outline: tuple[Shape, ...]
    bellies: Mapping[str, Belly]
    sites: Mapping[str, Site]
    landmarks: Mapping[str, Point]
    edges: tuple[Shape, ...] = ()
    bones: tuple[Shape, ...] = ()
    marks: tuple[Shape, ...] = ()
    sides: tuple[str, str] = ("", "")
    section: bool = False
    named: Mapping[str, Point] = field(default_factory=dict)
    asked: frozenset[str] = frozenset()
