"""What is known of a muscle, as frozen values: every fact in words, with where it comes from.

A fact describes; it instructs nobody. What leads to an act on a person (site, spacing, test and quiet movement) and was
read in fewer than two sources says so with its words (``marked``).

    Source      where a fact comes from
    Fact        words and their sources
    Action      a movement that a muscle makes or helps
    Relation    muscles that pads hear too, or that work against it
    Muscle      all of one muscle, shown as a card
    Group       a name that stands for several muscles
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from emgreview.showing import Prose, Sheet, Shown

Depth = Literal["superficial", "intermediate", "deep"]

CHECK = "check with a text of anatomy and on the person"
SCHEMATIC = "People differ. Sources were mostly read as abstracts, excerpts or tables, which do not replace them."
"""Stands with everything that is shown of the reference."""
CAUTION = (
    "A research tool, not a medical device. Check every site with a text of anatomy and on the person; skin, hair, "
    "allergies (adhesive, latex, gel), electricity and maximal efforts are for trained staff and local rules; stop on "
    "pain; wires and needles only by qualified persons."
)
"""Stands with everything here that leads to an act on a person."""

_KINDS = {
    "read": "a page or abstract that was read; its title was not kept",
    "tables": "three teaching tables of anatomy and neurology",
    "second": "found again in a second reading; its title was not kept, and independence is likely, not proven",
    "memory": "from memory of standard texts (Gray's Anatomy; Moore; Perotto; MRC Aids)",
    "judgement": "practitioners' judgement, no publication",
    "practice": "common practice, no source",
}
"""What a source says of itself where the data file names nothing more, by its kind."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where a fact comes from.

    Attributes
    ----------
    kind : {"read", "tables", "second", "memory", "judgement", "practice"}
        Read in that place; from memory; judgement of practitioners; or common practice.
    title : str
        Which, or "".
    """

    kind: str
    title: str = ""

    def __str__(self) -> str:
        if not self.title:
            return _KINDS[self.kind]
        said = {"memory": "from memory: ", "second": "found again in: "}.get(self.kind, "")
        return f"{said}{self.title}"

    @property
    def was_read(self) -> bool:
        """Whether somebody read it there, in full or as an abstract."""
        return self.kind in ("read", "tables", "second")


@dataclass(frozen=True, slots=True)
class Fact:
    """Words and where they come from.

    Attributes
    ----------
    text : str
        A description.
    sources : tuple of Source
        At least one.
    """

    text: str
    sources: tuple[Source, ...]

    @property
    def certainty(self) -> str:
        """In words: two sources or more, a single source, from memory, or none."""
        read = sum(source.was_read for source in self.sources)
        if read > 1:
            return "two sources or more"
        kinds = {source.kind for source in self.sources}
        if read:
            return "single source"
        return "from memory" if "memory" in kinds else _KINDS[next(iter(sorted(kinds)))]

    @property
    def by(self) -> str:
        """Its sources in words."""
        return "; ".join(map(str, self.sources))

    @property
    def marked(self) -> str:
        """The words, and what to check where they rest on fewer than two sources that were read."""
        weak = self.certainty
        return self.text if weak == "two sources or more" else f"{self.text} ({weak}: {CHECK})"


@dataclass(frozen=True, slots=True)
class Action(Fact):
    """A movement that a muscle makes, or helps.

    Attributes
    ----------
    text : str
        What is to be known of it, or "".
    sources : tuple of Source
        At least one.
    movement : str
        Joint and direction, one of ``MOVEMENTS``.
    assists : bool
        It helps, or does so in some postures only.
    """

    movement: str = ""
    assists: bool = False

    @property
    def words(self) -> str:
        """The movement, and what is to be known of it."""
        more = ", ".join(filter(None, ("assists" if self.assists else "", self.text)))
        return f"{self.movement} ({more})" if more else self.movement


@dataclass(frozen=True, slots=True)
class Relation(Fact):
    """Muscles, or the heart, that pads hear too or that work against it.

    Attributes
    ----------
    text : str
        What is to be known of them, or "".
    sources : tuple of Source
        At least one.
    keys : tuple of str
        Keys of muscles, or of what has no entry of its own.
    names : tuple of str
        The same in words.
    """

    keys: tuple[str, ...] = ()
    names: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The names, and what is to be known of them."""
        return ", ".join(self.names) + (f" ({self.text})" if self.text else "")


@dataclass(frozen=True, slots=True, repr=False)
class Muscle(Shown):
    """What is known of a muscle, or of a group that pads record together; shown as a card.

    Attributes
    ----------
    key : str
        Its full name in lower snake case: what other parts of the package call it.
    name : str
        Its full name.
    abbreviations, synonyms : tuple of str
        What it is called besides.
    group : str
        Key of the group of which it is a part, or "".
    members : tuple of str
        Of a group that pads record together, the keys of its muscles.
    region, side : str
        Where it lies, in words, from memory.
    depth : {"superficial", "intermediate", "deep"}
        Under the skin, partly covered, or under other muscles.
    depth_fact : Fact
        The same in words.
    ease : str
        How easily pads on the skin record it: easy, medium, medium-hard, hard, poor, or not
        by surface.
    ease_fact : Fact
        The same with its source.
    warning : str
        What every screen must show with this name, or "".
    over : str
        What a sentence says that pads lie over; no more than they can tell.
    nerve, test, quiet, site, cautions : tuple of Fact
        Nerve and roots as text; a movement in which it is active, and one in which it should
        not be; where pads lie; what to know. Where books differ, each is there.
    actions : tuple of Action
        Movements that it makes or helps.
    antagonists, hears : tuple of Relation
        What works against it, and what pads over it hear besides.
    spacing : Fact
        From electrode to electrode, centres, in words.
    spacing_mm : tuple of float or None
        The least and the most in millimetres; None where pads do not record it.
    """

    key: str
    name: str
    abbreviations: tuple[str, ...]
    synonyms: tuple[str, ...]
    group: str
    members: tuple[str, ...]
    region: str
    side: str
    depth: Depth
    depth_fact: Fact
    ease: str
    ease_fact: Fact
    warning: str
    over: str
    nerve: tuple[Fact, ...]
    test: tuple[Fact, ...]
    quiet: tuple[Fact, ...]
    site: tuple[Fact, ...]
    cautions: tuple[Fact, ...]
    actions: tuple[Action, ...]
    antagonists: tuple[Relation, ...]
    hears: tuple[Relation, ...]
    spacing: Fact
    spacing_mm: tuple[float, float] | None

    @property
    def short(self) -> str:
        """The name and its first abbreviation."""
        return f"{self.name} ({self.abbreviations[0]})" if self.abbreviations else self.name

    @property
    def hard(self) -> bool:
        """Whether pads mostly do not record it apart from others: ``warning`` must be shown."""
        return bool(self.warning)

    @property
    def movements(self) -> tuple[str, ...]:
        """The movements of its actions."""
        return tuple(dict.fromkeys(action.movement for action in self.actions))

    @property
    def neighbours(self) -> tuple[str, ...]:
        """Keys of what pads over it hear besides."""
        return tuple(dict.fromkeys(key for relation in self.hears for key in relation.keys))

    @property
    def neighbour_names(self) -> tuple[str, ...]:
        """The same in words."""
        return tuple(dict.fromkeys(name for relation in self.hears for name in relation.names))

    @property
    def opposed_by(self) -> tuple[str, ...]:
        """Keys of what works against it."""
        return tuple(dict.fromkeys(key for relation in self.antagonists for key in relation.keys))

    def facts(self) -> Iterator[tuple[str, Fact, str]]:
        """Every fact in the order of the card.

        Yields
        ------
        tuple of str, Fact and str
            What it is about, the fact, and its words; what leads to an act is marked where it
            rests on fewer than two sources that were read.
        """
        yield from (("nerve and roots", fact, fact.text) for fact in self.nerve)
        yield from (("action", action, action.words) for action in self.actions)
        yield from (("test movement", fact, fact.marked) for fact in self.test)
        yield from (("quiet movement", fact, fact.marked) for fact in self.quiet)
        yield from (("antagonists", relation, relation.words) for relation in self.antagonists)
        yield from (("also heard", relation, relation.words) for relation in self.hears)
        yield ("depth", self.depth_fact, self.depth_fact.text)
        yield ("surface pads", self.ease_fact, self.ease_fact.text)
        yield from (("site", fact, fact.marked) for fact in self.site)
        yield ("spacing", self.spacing, self.spacing.marked)
        yield from (("to know", fact, fact.text) for fact in self.cautions)

    def to_dict(self) -> dict[str, object]:
        """All of it as plain values, for JSON.

        Returns
        -------
        dict
            Names as here; of every fact its words, sources and certainty.
        """
        plain = ("key", "name", "group", "region", "side", "depth", "ease", "warning", "over")
        lists = ("abbreviations", "synonyms", "members", "movements", "neighbours", "opposed_by")
        facts = [
            {"about": about, "words": words, "sources": [*map(str, fact.sources)], "certainty": fact.certainty}
            for about, fact, words in self.facts()
        ]
        given: dict[str, object] = {name: getattr(self, name) for name in plain}
        given |= {name: list(getattr(self, name)) for name in lists}
        return given | {"spacing_mm": self.spacing_mm and list(self.spacing_mm), "facts": facts, "caution": CAUTION}

    def _parts(self) -> Iterator[Sheet | str]:
        called = ", ".join((*self.abbreviations, *self.synonyms))
        yield f"{self.name}: {self.region}, {self.side}" + (f" (also called {called})" if called else "")
        if self.warning:
            yield f"Warning: {self.warning}."
        yield Prose(
            "", ("about", "what is known", "source"), [(about, words, fact.by) for about, fact, words in self.facts()]
        )
        yield SCHEMATIC
        yield CAUTION


@dataclass(frozen=True, slots=True)
class Group:
    """A name that stands for several muscles: a channel so called is of the group.

    Attributes
    ----------
    key, name : str
        As of a muscle.
    abbreviations, synonyms : tuple of str
        What it is called besides.
    members : tuple of str
        Keys of its muscles.
    """

    key: str
    name: str
    abbreviations: tuple[str, ...]
    synonyms: tuple[str, ...]
    members: tuple[str, ...]
