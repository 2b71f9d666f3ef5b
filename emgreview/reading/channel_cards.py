"""A card for each channel, which follows it: what it was recorded over, what else it hears, what was found.

    ChannelCard             of one channel of one person and session
    ChannelCards            several; ``of`` gives those of a recording or its trials, ``on`` puts them on it
    read_channel_cards      from the file that contractions/ writes beside a study
    cards_beside            those of a study's folder, and what is to be said of them
    with_cards              a recording with its cards as it is opened
    FILE                    what that file is called

The file is JSON: {"format": "channel cards of test contractions", "version": 1, "cards": [...]}; missing numbers are
null. Nothing of a signal is in it. A card speaks of electrodes as they were on that day: another session has its own.
Every word of it is taken from ``muscles/wording.py``; none of those that a recording carries names a person.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from emgreview import checks
from emgreview.errors import FormatError, ReadError, tell
from emgreview.model import Recording, Trials
from emgreview.muscles import wording
from emgreview.plain_files import found_at, is_folder, read_json
from emgreview.reading.settled import listed
from emgreview.showing import Shown

if TYPE_CHECKING:
    from emgreview.intervals import Estimate

FILE = "contractions.json"
FORMAT, VERSION = "channel cards of test contractions", 1
LEAST_HEARD = 0.10
"""A card names what arrives at this share of the own contraction or more (our own choice, no source)."""
LOUD = 0.30
"""From this share of the own contraction on a neighbour is loud (practitioners' judgement, no publication)."""


@dataclass(frozen=True, slots=True)
class ChannelCard:
    """What is known of one channel from test contractions.

    Attributes
    ----------
    channel, over : str
        Its label, and what the electrodes lie over in words, as the recording says it ("").
    participant, session : str
        Codes as the recording has them; "" where it has none.
    heard : tuple of (str, Estimate)
        Contractions of others that arrive here, the loudest first, each with the share of
        the own contraction, 0 up, and its interval.
    own_db : float
        The own contraction over rest, in dB; NaN where it is not known.
    findings : tuple of str
        What was found, in sentences.
    recordings : tuple of str
        What it was measured in.
    untold : tuple of str
        Contractions of others of which it cannot be told whether they arrive here: not judged,
        or with an interval that reaches a loud neighbour's share.
    others : bool
        Whether another muscle was contracted.
    own : bool
        Whether the channel's own contraction is known.

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.simulate_contractions(1000, seed=1, muscles=["FCR", "ED"]).recording
    >>> er.selectivity(rec).cards["ED"].sentence.split(";")[0]
    'ED: recorded over ED'
    """

    channel: str
    over: str
    participant: str
    session: str
    heard: tuple[tuple[str, "Estimate"], ...]
    own_db: float
    findings: tuple[str, ...]
    recordings: tuple[str, ...]
    untold: tuple[str, ...] = ()
    others: bool = True
    own: bool = True

    @property
    def sentence(self) -> str:
        """One sentence for plots, tables and reports."""
        return f"{self.channel}: recorded over {self.place}; {self.heard_words}"

    @property
    def place(self) -> str:
        """What the pads lie over: as the recording says it, or as the label means for certain, or
        the label.
        """
        return wording.place_of(self.channel, self.over)

    @property
    def heard_words(self) -> str:
        """What else was heard, as part of a sentence."""
        if not self.own:
            return "no own contraction is known"
        return wording.heard_in_tests(self.heard, LEAST_HEARD, untold=self.untold, others=self.others)

    @property
    def caution(self) -> str:
        """A sentence where a neighbour is loud (30 % of the own contraction or more) or louder
        than the own contraction, or "".
        """
        loud = [pair for pair in self.heard if pair[1].value >= LOUD]
        if not self.own or not loud:
            return ""
        names = " and ".join(name for name, _ in loud)
        said = f"Caution: in test contractions {self.channel}, recorded over {self.place}, "
        said += wording.heard_in_tests(loud, LEAST_HEARD)
        if any(share.value >= 1 for _, share in loud):
            return f"{said}: settle that before any result is named by {self.channel}."
        return f"{said}: name {names} with every result of {self.channel}."


class ChannelCards(Shown, tuple[ChannelCard, ...]):
    """Cards of one study: a tuple that shows a sentence a channel."""

    __slots__ = ()

    def _parts(self) -> Iterable[str]:
        for one in self:
            yield f"{f'{one.participant}, ' * bool(one.participant)}{one.sentence}"
            yield from one.findings

    def of(self, recording: Recording | Trials) -> dict[str, ChannelCard]:
        """The cards of a recording, or of trials cut from it.

        Parameters
        ----------
        recording : Recording or Trials
            Whose participant, session and channels they are.

        Returns
        -------
        dict of str to ChannelCard
            By label; channels without a card are not in it.
        """
        rec = recording.recording if isinstance(recording, Trials) else recording
        checks.kind("recording", rec, Recording, "a Recording, or Trials")
        whose = (rec.entities.get("sub", ""), rec.entities.get("ses", ""))
        return {
            one.channel: one for one in self if (one.participant, one.session) == whose and one.channel in rec.labels
        }

    def on(self, recording: Recording) -> Recording:
        """The recording with its cards: screens, tables of measures and checks then tell them.

        Parameters
        ----------
        recording : Recording
            Whose participant, session and channels they are.

        Returns
        -------
        Recording
            The same samples. Channels say what else they hear; a loud neighbour is a caution
            among the notes. Without a card of its own it comes back as it was.

        Examples
        --------
        >>> import emgreview as er
        >>> rec = er.simulate_contractions(1000, seed=1, muscles=["FCR", "BR"]).recording
        >>> cards = er.ChannelCards(er.selectivity(rec).cards.values())
        >>> cards.on(rec).channel("BR").heard[:37]
        'in the test contractions nothing else'
        """
        mine = self.of(recording)
        if not mine:
            return recording
        channels = tuple(
            replace(one, heard=mine[one.label].heard_words) if one.label in mine else one for one in recording.channels
        )
        notes = (*recording.notes, *filter(None, (card.caution for card in mine.values())))
        return replace(recording, channels=channels, notes=tuple(dict.fromkeys(notes)))


def read_channel_cards(folder: str | Path) -> ChannelCards:
    """The cards that ``contractions.json`` in a folder holds.

    Parameters
    ----------
    folder : str or path-like
        The folder, or the file itself.

    Returns
    -------
    ChannelCards
        ``cards.of(recording)`` gives those of one recording by label.

    Raises
    ------
    ReadError
        There is no such file.
    FormatError
        It is none of cards, or of a version that is not known.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_contractions(1000, seed=1, muscles=["FCR", "ED"]).recording
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = er.write_channel_cards(er.selectivity(rec).cards.values(), folder)
    ...     sorted(er.read_channel_cards(folder).of(rec))
    ['ED', 'FCR']
    """
    path = Path(folder)
    path = path / FILE if is_folder(path) else path
    found = read_json(path)
    if not isinstance(found, Mapping) or (found.get("format"), found.get("version")) != (FORMAT, VERSION):
        raise FormatError(
            f"{path.name} holds no channel cards of version {VERSION}; give a file that write_channel_cards wrote, or "
            "a later version of this package."
        )
    rows = found.get("cards")
    try:
        return ChannelCards(_card(row) for row in _list(rows))
    except (TypeError, KeyError, ValueError) as why:
        raise FormatError(
            f"{path.name} holds a card that is none ({why}); write it again with write_channel_cards."
        ) from None


def cards_beside(folder: Path, whose: Iterable[tuple[str, str]]) -> tuple["ChannelCards | None", list[str]]:
    """The cards in a study's folder, None without; and sentences on those that do not say whose they are, or are of
    nobody among ``whose``, the participant and session of each recording."""
    if found_at(folder / FILE) is None:
        return None, []
    try:
        cards, there = read_channel_cards(folder), set(whose)
    except (ReadError, FormatError) as why:
        return None, [f"{FILE} is passed over, so that no channel has a card: {why}"]
    told = []
    if any(not one.participant for one in cards) and any(not sub for sub, _ in there):
        told.append(
            f"{FILE} has cards that do not say whose they are: they are taken for every recording that does not say "
            "it either. Move the file away where those are of several people."
        )
    of = {(one.participant, one.session) for one in cards}
    if strange := sorted(" ".join(filter(None, (f"sub-{sub}", ses and f"ses-{ses}"))) for sub, ses in of - there):
        told.append(f"{FILE} has cards of {listed(strange)}, of whom no recording is here.")
    return cards, told


def with_cards(cards: ChannelCards, rec: Recording) -> Recording:
    """A recording with its cards, as one is opened: cautions are told."""
    carried = cards.on(rec)
    for sentence in carried.notes[len(rec.notes) :]:
        tell(f"{rec.name}: {sentence}")
    return carried


def _card(row: Any) -> ChannelCard:
    from emgreview.intervals import Estimate  # heavy: statistics, which reading can do without

    texts = [row[name] for name in ("channel", "over", "participant", "session")]
    lists = {name: _list(row[name]) for name in ("findings", "recordings")}
    heard = [_list(pair) for pair in _list(row["heard"])]
    named = [name for name, _ in heard]
    if not all(isinstance(text, str) for text in (*texts, *lists["findings"], *lists["recordings"], *named)):
        raise TypeError("a text is missing")
    shares = tuple(
        (name, Estimate(_number(e["value"]), _number(e["low"]), _number(e["high"]), int(e["n"]))) for name, e in heard
    )
    channel, over_words, participant, session = texts
    own_db = _number(row["own_db"])
    untold = _list(row.get("untold", []))
    others, own = row.get("others", True), row.get("own", not math.isnan(own_db))  # cards of before say neither
    if not all(isinstance(text, str) for text in untold) or not isinstance(others, bool) or not isinstance(own, bool):
        raise TypeError("what was not told is not as it must be")
    return ChannelCard(
        channel,
        over_words,
        participant,
        session,
        shares,
        own_db,
        tuple(lists["findings"]),
        tuple(lists["recordings"]),
        tuple(untold),
        others,
        own,
    )


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise TypeError(f"a {type(value).__name__} stands where a list should be")
    return value


def _number(value: Any) -> float:
    if value is None:
        return math.nan
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"a {type(value).__name__} stands where a number should be")
    return float(value)
