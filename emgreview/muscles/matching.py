"""Which muscle is each channel over? Labels to muscles and groups by name: certain, a question, or unknown.

Match            what a label means
Matches          those of all labels, shown as a table
match_muscles    labels to Matches
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from emgreview.checks import demand, kind
from emgreview.errors import UnknownNameError
from emgreview.muscles.facts import Group, Muscle
from emgreview.muscles.names import CERTAIN, QUESTION, UNKNOWN, find, read_label
from emgreview.muscles.reference import all_groups, all_muscles, everything, members_of, name_of
from emgreview.showing import Prose, Sheet, Shown


@dataclass(frozen=True, slots=True)
class Match:
    """What the label of a channel means.

    Attributes
    ----------
    label : str
        As it came.
    outcome : {"certain", "question", "unknown"}
        A whole name; several that it may be, or one that it may be; or none.
    key : str
        Of the muscle or group where it is certain, or "".
    candidates : tuple of str
        Keys that it may mean.
    side : str
        "left", "right" or "".
    words : str
        A sentence for the person: what was taken, the question, or what to do.
    """

    label: str
    outcome: str
    key: str
    candidates: tuple[str, ...]
    side: str
    words: str

    @property
    def muscle(self) -> Muscle | None:
        """The muscle, or the group that pads record together; None where none is certain."""
        return all_muscles().get(self.key)

    @property
    def group(self) -> Group | None:
        """The group for which the label stands; None where it stands for one muscle or none."""
        return all_groups().get(self.key)

    @property
    def members(self) -> tuple[str, ...]:
        """Keys of the muscles for which it stands; none where it is not certain."""
        return members_of(self.key) if self.key else ()


@dataclass(frozen=True, slots=True, repr=False)
class Matches(Shown, Sequence[Match]):
    """What the labels of channels mean, in their order.

    Attributes
    ----------
    all : tuple of Match
        One a label.
    notes : tuple of str
        What is to be said of several, such as two channels over one muscle.
    """

    all: tuple[Match, ...]
    notes: tuple[str, ...]

    def __getitem__(self, place: Any) -> Any:
        return self.all[place]

    def __len__(self) -> int:
        return len(self.all)

    @property
    def certain(self) -> dict[str, str]:
        """Of each label that is certain the key of its muscle or group."""
        return {one.label: one.key for one in self.all if one.outcome == CERTAIN and one.key}

    @property
    def questions(self) -> tuple[Match, ...]:
        """Those that a person has to answer, by ``said`` of :func:`emgreview.match_muscles`."""
        return tuple(one for one in self.all if one.outcome == QUESTION)

    @property
    def unknown(self) -> tuple[str, ...]:
        """Labels that name no muscle here."""
        return tuple(one.label for one in self.all if one.outcome == UNKNOWN)

    def to_dict(self) -> dict[str, object]:
        """All of it as plain values, for JSON.

        Returns
        -------
        dict
            ``labels``: one a label; ``notes``.
        """
        names = ("label", "outcome", "key", "side", "words")
        rows = [{name: getattr(one, name) for name in names} | {"candidates": [*one.candidates]} for one in self.all]
        return {"labels": rows, "notes": [*self.notes]}

    def _parts(self) -> Iterator[Sheet | str]:
        rows = [(one.label, one.outcome, one.side, one.words) for one in self.all]
        yield Prose("", ("channel", "outcome", "side", "means"), rows)
        yield from self.notes
        if self.questions:
            first = self.questions[0]
            yield (
                f"{len(self.questions)} to answer, such as said={{{first.label!r}: {first.candidates[0]!r}}}, or None "
                "for no muscle."
            )


def match_muscles(labels: Iterable[str], *, said: Mapping[str, str | None] | None = None) -> Matches:
    """Match labels of channels to muscles and groups by name, abbreviation and synonym.

    Parameters
    ----------
    labels : iterable of str
        Labels as the recording has them, such as ``rec.labels``.
    said : dict of str to str or None, or None
        Answers to questions: by label the key, name or abbreviation of a muscle or group, or
        None for a channel over none.

    Returns
    -------
    Matches
        One a label: certain, a question with candidates, or unknown.

    Raises
    ------
    ParameterError
        Labels are no list of texts, or an answer is none.
    UnknownNameError
        An answer is about a label that did not come, or names no muscle or group.

    Notes
    -----
    A whole name is certain, with its words in any order and short forms written out ("ant
    delt"), and a side beside it ("L BB", "BBR"). Short names that labs use for several muscles
    ("ED", "PM"), parts of names, and what is only spelt alike are asked. A name is all that is
    looked at: that the pads lie there is for test contractions.

    Examples
    --------
    >>> import emgreview as er
    >>> found = er.match_muscles(["R FDI", "triceps", "PM", "TRIGGER"], said={"PM": "PMC"})
    >>> [(one.label, one.outcome, one.key, one.side) for one in found]
    [('R FDI', 'certain', 'first_dorsal_interosseous', 'right'),
     ('triceps', 'certain', 'triceps_brachii', ''),
     ('PM', 'certain', 'pectoralis_major_clavicular', ''),
     ('TRIGGER', 'unknown', '', '')]
    """
    demand(
        isinstance(labels, Iterable) and not isinstance(labels, str), "labels", labels, "a list of labels, as ['BB']"
    )
    listed = list(labels)
    for label in listed:
        demand(isinstance(label, str), "labels", label, "a list of labels, as ['BB', 'TB']")
    kind("said", said, (Mapping, type(None)), "a mapping of labels to muscles, or None")
    answers = dict(said or {})
    for label in answers:
        if label not in listed:
            raise UnknownNameError("label", label, dict.fromkeys(listed), "said")
    found = tuple(_answered(label, answers[label]) if label in answers else _read(label, listed) for label in listed)
    return Matches(found, tuple(_notes(found)))


def one_key(name: str, what: str = "muscle") -> str:
    """The key of the one muscle or group of that name. Raises UnknownNameError, or ParameterError where it may be
    several."""
    demand(isinstance(name, str) and name.strip(), what, name, "the name, abbreviation or key of a muscle")
    keys = [key for key in find(name) if key in everything()]
    if not keys:
        raise UnknownNameError(what, name, _all_names())
    whole = [key for key in keys if name.strip() == key]
    keys = whole or keys
    demand(len(keys) == 1, what, name, f"one of those it may be: {', '.join(keys)}")
    return keys[0]


def _all_names() -> list[str]:
    """Abbreviations where there are, then names: what a person may have meant."""
    known = everything().values()
    short = [one.abbreviations[0] for one in known if one.abbreviations]
    return [*short, *(one.name for one in known), *(name for one in known for name in one.synonyms)]


def _answered(label: str, answer: str | None) -> Match:
    if answer is None:
        return Match(label, UNKNOWN, "", (), "", "no muscle, as was said")
    key = one_key(answer, f"muscle for {label!r}")
    return Match(label, CERTAIN, key, (key,), read_label(label).side, f"{_taken(key)}, as was said")


def _read(label: str, listed: Sequence[str]) -> Match:
    reading = read_label(label, [other for other in listed if other != label])
    passed = f"; passed over: {', '.join(reading.passed)}" if reading.passed else ""
    known = [key for key in reading.keys if key in everything()]
    outcome = reading.outcome
    if outcome == CERTAIN and not known:
        words = f"{name_of(reading.keys[0])}, of which the reference has no entry; nothing is known of it here{passed}"
        return Match(label, UNKNOWN, "", reading.keys, reading.side, words)
    if outcome == CERTAIN:
        because = f" ({reading.why})" if reading.why else ""
        return Match(label, CERTAIN, known[0], reading.keys, reading.side, f"{_taken(known[0])}{because}{passed}")
    if outcome == QUESTION:
        names = " or ".join(name_of(key) for key in reading.keys[:6])
        more = f" or {len(reading.keys) - 6} more" if len(reading.keys) > 6 else ""
        asked = "Is it" if reading.why != "alike" else "No such name; is it"
        whole = "" if reading.why in ("alike", "may be several") else f" ({reading.why})"
        return Match(label, QUESTION, "", reading.keys, reading.side, f"{asked} {names}{more}?{whole}{passed}")
    return Match(label, UNKNOWN, "", (), reading.side, f"names no muscle here; say which, or None{passed}")


def _taken(key: str) -> str:
    """What is taken, with the warning that goes with the name."""
    if key in all_groups():
        return f"{name_of(key)}, a group: {', '.join(name_of(one) for one in members_of(key))}"
    one = all_muscles()[key]
    return f"{one.name}; {one.warning}" if one.warning else one.name


def _notes(found: Sequence[Match]) -> Iterator[str]:
    places: dict[tuple[str, str], list[str]] = {}
    for one in found:
        if one.key:
            places.setdefault((one.key, one.side), []).append(one.label)
    for (key, side), labels in places.items():
        if len(labels) > 1:
            yield f"{', '.join(labels)}: {len(labels)} channels over {' '.join(filter(None, (side, name_of(key))))}."
    sides = {one.side for one in found if one.key}
    if "" in sides and len(sides) > 1:
        without = [one.label for one in found if one.key and not one.side]
        more = f" and {len(without) - 6} more" if len(without) > 6 else ""
        yield f"Some labels name a side; these name none: {', '.join(without[:6])}{more}."
