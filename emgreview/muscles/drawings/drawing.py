"""Which views show the chosen muscles, and the drawing made of them.

VIEWS           every view by its name
draw_muscles    muscles, side and theme to a drawing
Drawing         shown in a notebook, printed, saved as SVG
"""

import hashlib
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from types import MappingProxyType

from emgreview import checks
from emgreview.errors import UnknownNameError, tell
from emgreview.legible import legible
from emgreview.muscles.drawings import arm_back, arm_front, hand, section
from emgreview.muscles.drawings.figure import View
from emgreview.muscles.drawings.palette import ROOT, THEMES, style
from emgreview.muscles.drawings.panel import SOURCE, STATED, WIDTH, Panel, panel
from emgreview.muscles.facts import Muscle
from emgreview.muscles.matching import one_key
from emgreview.muscles.reference import all_groups, all_muscles, members_of, name_of

_ALL = (arm_front.VIEW, arm_back.VIEW, hand.PALM, hand.BACK, section.UPPER_ARM, section.FOREARM, section.FOREARM_LOW)
VIEWS: Mapping[str, View] = MappingProxyType({view.name: view for view in _ALL})
SIDES = ("right", "left")
FURTHER_DOWN = ("flexor_pollicis_longus", "extensor_indicis")
"""Muscles that lie deep where the forearm is cut first, and are at their thickest where it is cut again."""


@dataclass(frozen=True, slots=True, repr=False)
class Drawing:
    """Views of arm and hand with the sites of chosen muscles; the last line of a cell shows it.

    Attributes
    ----------
    svg : str
        All views below each other, as a file of its own: without scripts, asking for
        nothing else.
    views : tuple of str
        Names of the views.
    muscles : tuple of str
        Keys of the chosen muscles.
    side : {"right", "left"}
        The side of the body that is drawn.
    theme : {"auto", "light", "dark", "print"}
        The colours.
    title, description : str
        What a screen reader says.
    notes : tuple of str
        What is heard and not drawn, and what a view leaves out.
    """

    svg: str
    views: tuple[str, ...]
    muscles: tuple[str, ...]
    side: str
    theme: str
    title: str
    description: str
    notes: tuple[str, ...]
    _sheets: tuple[str, ...]

    def __repr__(self) -> str:
        return legible(f"{self.title}. {self.description}")

    def _repr_svg_(self) -> str:
        return self.svg

    def _repr_html_(self) -> str:
        """One picture a view, so that none is cut by the end of a page."""
        sheet = '<div style="overflow-x:auto;break-inside:avoid">{}</div>'
        return "".join(sheet.format(one) for one in self._sheets)

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the drawing as an SVG file.

        Parameters
        ----------
        path : path
            A file whose name ends in ``.svg``; one that is there is replaced.

        Returns
        -------
        pathlib.Path
            Where it stands.

        Raises
        ------
        ParameterError
            The name does not end in ``.svg``.

        Examples
        --------
        >>> import tempfile
        >>> import emgreview as er
        >>> folder = tempfile.mkdtemp()
        >>> er.draw_muscles("biceps_brachii").save(f"{folder}/biceps.svg").name
        'biceps.svg'
        """
        checks.kind("path", path, (str, os.PathLike), "the path of a file that ends in .svg")
        place = Path(path)
        checks.demand(place.suffix.lower() == ".svg", "path", str(path), "a file name that ends in .svg")
        place.write_text(self.svg, "utf-8")
        return place


def draw_muscles(
    muscles: str | Muscle | Iterable[str | Muscle],
    *,
    view: str | Iterable[str] | None = None,
    side: str = "right",
    labels: bool = True,
    theme: str = "auto",
) -> Drawing:
    """Draw where the pads of muscles of arm and hand lie, and which neighbours they hear too.

    Parameters
    ----------
    muscles : str, Muscle, or several of them
        Names, abbreviations or keys of muscles or groups; or what ``muscles`` and ``muscle``
        return.
    view : str, several of them, or None
        "arm front", "arm back", "hand back", "hand palm", "upper arm section", "forearm
        section" or "forearm section low"; None for those that show the muscles, with a
        cross-section for deep ones.
    side : {"right", "left"}
        Side of the body.
    labels : bool, default True
        Names, sites in words and landmarks beside the figure.
    theme : {"auto", "light", "dark", "print"}
        "auto" follows the page: JupyterLab's theme, else what the system prefers. On paper
        every drawing is black on white.

    Returns
    -------
    Drawing
        Shown in a notebook; ``save`` writes it.

    Raises
    ------
    UnknownNameError
        No muscle or no view is called so; the message lists those there are.
    ParameterError
        No muscle was given, a name may mean several, none of them lies in the view asked for,
        or an option is none of those allowed.

    Warns
    -----
    SignalWarning
        The views asked for leave out a muscle.

    Notes
    -----
    Simple rounded shapes, drawn for this package from worded descriptions and from memory of
    anatomy: schematic, not to scale. Check every site on the person.

    Examples
    --------
    >>> import emgreview as er
    >>> drawing = er.draw_muscles(["biceps brachii", "triceps lateral head"])
    >>> drawing.views
    ('arm front', 'arm back')
    >>> print(er.draw_muscles("extensor digitorum", side="left").title)
    Left arm from the back
    """
    keys = _keys(muscles)
    checks.demand(side in SIDES, "side", side, " or ".join(SIDES))
    checks.demand(theme in THEMES, "theme", theme, ", ".join(THEMES))
    checks.truth("labels", labels)
    names = _views(keys) if view is None else _asked(view)
    made = [panel(VIEWS[name], keys, side=side, labels=labels) for name in names]
    drawn = {key for name in names for key in keys if key in VIEWS[name].bellies}
    checks.demand(drawn, "view", view, f"views that show the muscles: {', '.join(_views(keys))}")
    notes = [note for one in made for note in one.notes]
    if missing := [key for key in keys if key not in drawn]:
        where = ", ".join(_views(missing))
        notes.append(f"Not in these views: {', '.join(map(name_of, missing))}; see {where}.")
        tell(notes[-1])
    return Drawing(
        svg=_svg(made, theme),
        views=tuple(names),
        muscles=tuple(keys),
        side=side,
        theme=theme,
        title=_title(made),
        description=_description(made),
        notes=tuple(notes),
        _sheets=tuple(_svg([one], theme) for one in made),
    )


def _keys(muscles: str | Muscle | Iterable[str | Muscle]) -> list[str]:
    """Keys of muscles, a group's members for the group, each once."""
    several = [muscles] if isinstance(muscles, str | Muscle) else muscles
    checks.kind("muscles", several, Iterable, "keys of muscles")
    keys: list[str] = []
    for one in several:
        checks.kind("muscles", one, (str, Muscle), "keys of muscles")
        keys += [one.key] if isinstance(one, Muscle) else _of_name(one)
    checks.demand(keys, "muscles", keys, "at least one muscle")
    return list(dict.fromkeys(keys))


def _of_name(name: str) -> list[str]:
    key = one_key(name)
    return [*members_of(key)] if key in all_groups() else [key]


def _asked(view: str | Iterable[str]) -> list[str]:
    checks.kind("view", view, Iterable, f"names of views: {', '.join(VIEWS)}")
    names = [view] if isinstance(view, str) else list(dict.fromkeys(view))
    checks.demand(names, "view", names, f"None, or names of views: {', '.join(VIEWS)}")
    for name in names:
        if name not in VIEWS:
            raise UnknownNameError("view", name, VIEWS)
    return names


def _views(keys: Sequence[str]) -> list[str]:
    """The fewest views from outside that show every site, and a cross-section for each muscle that lies deep."""
    left, names = list(keys), set()
    outside = [view for view in VIEWS.values() if not view.section]
    while left:
        best = max(outside, key=lambda view: sum(_shows(view, key) for key in left))
        most = {key: max(_shows(view, key) for view in outside) for key in left}
        names.add(best.name)
        left = [key for key in left if _shows(best, key) < most[key]]
    for key in keys:
        if all_muscles()[key].depth == "deep":
            cut = [view.name for view in VIEWS.values() if view.section and key in view.bellies]
            names |= {cut[-1] if key in FURTHER_DOWN else cut[0]} if cut else set()
    return [name for name in VIEWS if name in names]


def _shows(view: View, key: str) -> int:
    """How well a view shows a muscle: with its site, the muscle alone, or not at all."""
    return 3 if key in view.sites else 1 if key in view.bellies else 0


def _title(made: Sequence[Panel]) -> str:
    return "; ".join(one.title for one in made)


def _description(made: Sequence[Panel]) -> str:
    said = [f"{one.title}. {' '.join([*one.said, *one.notes])}" for one in made]
    return f"{STATED}; {SOURCE}. ".capitalize() + " ".join(said)


def _svg(made: Sequence[Panel], theme: str) -> str:
    """One picture with panels below each other."""
    parts, low = [], 0.0
    for one in made:
        parts.append(f'<g transform="translate(0 {low:.0f})">{"".join(one.parts)}</g>')
        low += round(one.height)
    title, description = (escape(legible(text)) for text in (_title(made), _description(made)))
    name = "emgreview-" + hashlib.sha256("".join([theme, title, description, *parts]).encode()).hexdigest()[:12]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{ROOT}-{theme}" viewBox="0 0 {WIDTH:.0f} {low:.0f}" '
        f'width="{WIDTH:.0f}" height="{low:.0f}" role="img" aria-labelledby="{name}-title {name}-description">'
        f'<title id="{name}-title">{title}</title><desc id="{name}-description">{description}</desc>'
        f'<style>{style(theme)}</style><rect class="paper" width="{WIDTH:.0f}" height="{low:.0f}"/>'
        f"{''.join(parts)}</svg>"
    )
