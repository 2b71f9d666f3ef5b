"""Look-ups in the reference: by movement, by name, by what pads hear, from a script, a notebook or a shell.

muscles       all that fit, the most useful first
muscle        one, as a card
Found         what ``muscles`` returns
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from emgreview.checks import demand, kind
from emgreview.errors import UnknownNameError
from emgreview.muscles.facts import CAUTION, Muscle
from emgreview.muscles.matching import one_key
from emgreview.muscles.movements import tokens, understand
from emgreview.muscles.names import CERTAIN, find, read_label
from emgreview.muscles.reference import EASES, all_groups, all_muscles, everything, members_of, name_of, others
from emgreview.muscles.reference import words as words_of
from emgreview.showing import Prose, Sheet, Shown

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, repr=False)
class Found(Shown):
    """Muscles that fit a question; shown as a table.

    Attributes
    ----------
    asked : str
        The question as it was understood.
    muscles : tuple of Muscle
        Those that fit, the most useful first.
    movements : tuple of str
        The movements that were asked for.
    notes : tuple of str
        What else is to be known.
    """

    asked: str
    muscles: tuple[Muscle, ...]
    movements: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())

    def __iter__(self) -> Iterator[Muscle]:
        return iter(self.muscles)

    def __len__(self) -> int:
        return len(self.muscles)

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the muscles, in their order."""
        return tuple(one.key for one in self.muscles)

    def table(self) -> "pd.DataFrame":
        """One row a muscle, as a data frame.

        Returns
        -------
        pandas.DataFrame
            muscle (key), name, abbreviation, movements (those asked for, or all), assists (it
            only helps in all of them), also_heard, test, quiet, antagonists, site, spacing_mm,
            depth, surface, warning. Text, but for ``assists``.
        """
        import pandas as pd  # heavy, and look-ups in a terminal do without

        return pd.DataFrame([self._row(one) for one in self.muscles], columns=list(_COLUMNS)).astype(_COLUMNS)

    def to_dict(self) -> dict[str, object]:
        """All of it as plain values, for JSON.

        Returns
        -------
        dict
            ``asked``, ``movements``, ``muscles`` with their facts, ``notes``, ``caution``.
        """
        return {
            "asked": self.asked,
            "movements": [*self.movements],
            "muscles": [one.to_dict() for one in self.muscles],
            "notes": [*self.notes],
            "caution": CAUTION,
        }

    def _row(self, one: Muscle) -> dict[str, object]:
        actions = [action for action in one.actions if not self.movements or action.movement in self.movements]
        spacing = "" if one.spacing_mm is None else "-".join(f"{mm:g}" for mm in dict.fromkeys(one.spacing_mm))
        return {
            "muscle": one.key,
            "name": one.name,
            "abbreviation": one.abbreviations[0] if one.abbreviations else "",
            "movements": "; ".join(action.words for action in actions),
            "assists": bool(actions) and all(action.assists for action in actions),
            "also_heard": ", ".join(one.neighbour_names),
            "test": "; ".join(fact.marked for fact in one.test),
            "quiet": "; ".join(fact.marked for fact in one.quiet),
            "antagonists": ", ".join(name_of(key) for key in one.opposed_by),
            "site": "; ".join(fact.marked for fact in one.site),
            "spacing_mm": spacing,
            "depth": one.depth,
            "surface": one.ease,
            "warning": one.warning,
        }

    def _parts(self) -> Iterator[Sheet | str]:
        yield f"{self.asked}: {len(self.muscles) or 'no'} muscle{'' if len(self.muscles) == 1 else 's'}"
        if self.muscles:
            rows = []
            for one in self.muscles:
                row = self._row(one)
                ease = f"{one.ease}; warning: {one.warning}" if one.warning else one.ease
                ease = f"warning: {one.warning}" if one.warning.startswith(one.ease) else ease
                rows.append((one.short, str(row["movements"]), ", ".join(one.neighbour_names), ease))
            yield Prose("", ("muscle", "movement", "also heard", "surface pads"), rows)
        yield from self.notes
        yield "er.muscle(name) shows one with every source."
        yield CAUTION


_COLUMNS = dict.fromkeys(
    ("muscle", "name", "abbreviation", "movements", "assists", "also_heard", "test", "quiet", "antagonists", "site",
     "spacing_mm", "depth", "surface", "warning"), "object",
) | {"assists": "bool"}  # fmt: skip


def muscles(
    words: str | None = None,
    *,
    movement: str | None = None,
    name: str | None = None,
    heard_by: str | None = None,
    hears: str | None = None,
    superficial: bool | None = None,
) -> Found:
    """Muscles of arm, shoulder and hand that fit a question, the most useful first.

    Parameters
    ----------
    words : str or None
        A muscle or a movement in plain words: "biceps", "bend the elbow", "turn a handle".
    movement : str or None
        A movement in plain words: which muscles make it or help?
    name : str or None
        A name, abbreviation, synonym or group.
    heard_by : str or None
        A muscle or group: what do pads over it hear besides?
    hears : str or None
        A muscle, or the heart: over which muscles do pads hear it too?
    superficial : bool or None
        True: those under the skin alone; False: those that others cover, in part or in full;
        None: all.

    Returns
    -------
    Found
        The muscles, and ``table()`` with one row each. Those that make the movement stand
        before those that help, and then those that surface pads record more easily.

    Raises
    ------
    UnknownNameError
        No movement or muscle is called so; the message lists those there are.
    ParameterError
        An argument is not what it must be.

    Notes
    -----
    Every fact has its source, and much is from memory: check with a text of anatomy and on the
    person. What pads hear depends on site, size and spacing, and is for test contractions.

    References
    ----------
    .. [1] SENIAM, recommendations for sensor locations (read).
    .. [2] Yung & Wells 2013, J Electromyogr Kinesiol: other muscles lie in the pick-up zone of
       every forearm site (read). Other sources stand with each fact.

    Examples
    --------
    >>> import emgreview as er
    >>> found = er.muscles(movement="bend the elbow", superficial=True)
    >>> found.keys
    ('biceps_brachii', 'brachioradialis', 'pronator_teres')
    >>> found.table().loc[0, "also_heard"]
    'brachialis, anterior deltoid, brachioradialis'
    >>> er.muscles(heard_by="BR").keys
    ('extensor_carpi_radialis_longus', 'biceps_brachii', 'brachialis', 'pronator_teres')
    """
    for called, value in (("words", words), ("movement", movement), ("name", name)):
        good = value is None or (isinstance(value, str) and value.strip())
        demand(good, called, value, "words, such as 'bend the elbow' or 'BB'")
    kind("superficial", superficial, (bool, type(None)), "True, False or None")
    if words is not None:
        demand(movement is None and name is None, "words", words, "words, or movement= and name=, not both")
        name, movement = (words, None) if _is_name(words) else (None, words)
        if movement is not None and superficial is None and "superficial" in tokens(words):
            superficial = True
    chosen, asked, notes = list(all_muscles().values()), [], []
    movements: tuple[str, ...] = ()
    if name is not None:
        keys = _of_name(name)
        asked.append(name.strip())
        chosen = [one for one in chosen if one.key in keys]
    if heard_by is not None:
        of = one_key(heard_by, "heard_by")
        chosen, more = _heard_over(of, chosen)
        asked.append(f"heard by pads over {name_of(of)}")
        notes += more
    if hears is not None:
        wanted = _heard_keys(hears)
        asked.append(f"pads that hear {', '.join(map(name_of, wanted[:1]))} too")
        chosen = [one for one in chosen if set(wanted) & set(one.neighbours)]
    if movement is not None:
        meant = understand(movement)
        movements = meant.movements
        asked.append(", ".join(movements))
        notes += [*meant.notes, *_made_by_others(movements)]
        chosen = sorted((one for one in chosen if set(movements) & set(one.movements)), key=_usefulness(movements))
    if superficial is not None:
        asked.append("superficial" if superficial else "not superficial")
        left = [one.name for one in chosen if (one.depth == "superficial") is not superficial]
        chosen = [one for one in chosen if (one.depth == "superficial") is superficial]
        if movement is not None and left:
            notes.append(f"Left out as {'covered by others' if superficial else 'superficial'}: {', '.join(left)}.")
    return Found("; ".join(asked) or "every muscle", tuple(chosen), movements, tuple(notes))


def muscle(name: str) -> Muscle:
    """One muscle with all that is known of it and every source; shown as a card.

    Parameters
    ----------
    name : str
        Its name, abbreviation, synonym or key.

    Returns
    -------
    Muscle
        Its facts; the last line of a cell shows them.

    Raises
    ------
    UnknownNameError
        No muscle is called so; the message lists those there are.
    ParameterError
        The name may mean several muscles, which the message names.

    Examples
    --------
    >>> import emgreview as er
    >>> bb = er.muscle("BB")
    >>> bb.name, bb.movements
    ('biceps brachii', ('elbow flexion', 'forearm supination'))
    >>> print(bb.quiet[0].marked)
    elbow extension (from memory: check with a text of anatomy and on the person)
    """
    key = one_key(name, "name")
    if key in all_groups():
        demand(False, "name", name, f"one of the muscles of that group: {', '.join(members_of(key))}")
    return all_muscles()[key]


def _is_name(words: str) -> bool:
    """Whether words name muscles: as a whole, or in part where they are no movement."""
    reading = read_label(words)
    if reading.outcome == CERTAIN or reading.why == "may be several":
        return any(key in everything() for key in reading.keys)
    try:
        understand(words)
    except UnknownNameError:
        return any(key in everything() for key in find(words))
    return False


def _of_name(name: str) -> set[str]:
    """Keys of muscles of that name, those of groups with them."""
    found = [key for key in find(name) if key in everything()]
    if not found:
        one_key(name, "name")  # says what there is
    return {member for key in found for member in (key, *members_of(key))}


def _heard_over(key: str, chosen: list[Muscle]) -> tuple[list[Muscle], list[str]]:
    """Of those chosen what pads over a muscle or group hear besides, as the reference orders it; and a note of what has
    no entry."""
    of = [all_muscles()[one] for one in (members_of(key) if key in all_groups() else (key,))]
    own = {one.key for one in of}
    heard = [other for one in of for other in one.neighbours if other not in own]
    heard = list(dict.fromkeys(heard))
    without = [name_of(other) for other in heard if other in others()]
    notes = [f"Heard there too, without an entry of their own: {', '.join(without)}."] if without else []
    notes += [f"{one.name}. Warning: {one.warning}." for one in of if one.warning]
    known = {one.key: one for one in chosen}
    return [known[other] for other in heard if other in known], notes


def _made_by_others(movements: tuple[str, ...]) -> list[str]:
    """A note of who makes the movements too, and has no entry."""
    table = words_of()["made_by_others"]
    names = [name_of(key) for key in dict.fromkeys(key for move in movements for key in table.get(move, ()))]
    if not names:
        return []
    return [f"Also take part, without an entry here (from memory: check with a text of anatomy): {', '.join(names)}."]


def _heard_keys(name: Any) -> tuple[str, ...]:
    """Keys under which the reference may name what is heard: its own, those of its parts and of groups with it."""
    demand(isinstance(name, str) and name.strip(), "hears", name, "a muscle, or the heart")
    found = find(name)
    if not found:
        raise UnknownNameError("hears", name, [*(one.name for one in all_muscles().values()), *others().values()])
    wanted = [member for key in found for member in (key, *(() if key in others() else members_of(key)))]
    wanted += [one.key for one in all_muscles().values() if set(one.members) & set(wanted)]
    return tuple(dict.fromkeys(wanted))


def _usefulness(movements: tuple[str, ...]) -> Any:
    """The order of an answer: makes the movement before helps, more of those asked for first, easier pads first."""

    def rank(one: Muscle) -> tuple[bool, int, int]:
        own = [action for action in one.actions if action.movement in movements]
        return all(action.assists for action in own), EASES.index(one.ease), -len(own)

    return rank
