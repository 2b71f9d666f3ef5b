"""A card for each channel, which follows it: what it was recorded over, what else it hears, what was found.

    ChannelCard             of one channel of one person and session
    ChannelCards            several; ``of`` gives those of a recording or its trials
    write_channel_cards     as a plain file beside the study
    read_channel_cards      back again
    FILE                    what that file is called

The file is JSON: {"format": "channel cards of test contractions", "version": 1, "cards": [...]}; missing numbers are
null. Nothing of a signal is in it. A card speaks of electrodes as they were on that day: another session has its own.
"""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from emgreview import checks
from emgreview.annotations.files import write_new
from emgreview.contractions.wording import hears, over
from emgreview.errors import FormatError, ReadError
from emgreview.intervals import Estimate
from emgreview.model import Recording, Trials
from emgreview.plain_files import read_json
from emgreview.showing import Shown

FILE = "contractions.json"
FORMAT, VERSION = "channel cards of test contractions", 1
LEAST_HEARD = 0.10
"""A card names what arrives at this share of the own contraction or more (our own choice, no source)."""


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
    heard: tuple[tuple[str, Estimate], ...]
    own_db: float
    findings: tuple[str, ...]
    recordings: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """One sentence for plots, tables and reports."""
        own = "no own contraction is known" if math.isnan(self.own_db) else hears(self.heard, LEAST_HEARD)
        return f"{self.channel}: {over(self.channel, self.over)}; {own}"


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


def write_channel_cards(cards: Iterable[ChannelCard], folder: str | Path) -> Path:
    """Cards as ``contractions.json`` in a folder, which a study's own folder may be.

    Parameters
    ----------
    cards : iterable of ChannelCard
        Of one person or of many.
    folder : str or path-like
        An existing folder that does not have the file yet.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ParameterError
        No cards came.
    ReadError
        The file is there already, and nothing is written over, or the folder is not there.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_contractions(1000, seed=1, muscles=["FCR", "ED"]).recording
    >>> found = er.selectivity(rec)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = er.write_channel_cards(found.cards.values(), folder)
    ...     cards = er.read_channel_cards(folder)
    >>> len(cards)
    2
    """
    made = list(cards)
    checks.demand(
        made and all(isinstance(one, ChannelCard) for one in made),
        "cards",
        type(cards).__name__,
        "cards, as selectivity(…).cards.values() gives",
    )
    rows = [_without_nan(asdict(one)) for one in made]
    text = json.dumps({"format": FORMAT, "version": VERSION, "cards": rows}, indent=1, ensure_ascii=False)
    path = Path(folder) / FILE
    try:
        write_new(path, text + "\n")
    except OSError as why:
        raise ReadError(
            f"{path} cannot be written ({why.strerror or 'it is there already'}); nothing is written over: give an "
            "existing folder without that file, or move it away."
        ) from why
    return path


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
    path = path / FILE if path.is_dir() else path
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


def _card(row: Any) -> ChannelCard:
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
    return ChannelCard(
        channel,
        over_words,
        participant,
        session,
        shares,
        _number(row["own_db"]),
        tuple(lists["findings"]),
        tuple(lists["recordings"]),
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


def _without_nan(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {name: _without_nan(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
