"""A verdict for every channel of a recording, what is asked of it, its cues, and heart beats where onsets are searched.

verdicts    fit, look again or redo, channel by channel
Verdicts    what it returns; a notebook shows it as a picture, a terminal as lines
judged      the same from what ``check`` found already; pages shows several on one page
of_cues     sentences on the cues alone
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from emgreview import checks, rhythm
from emgreview.checking import CHECKED_S, EACH, check, pieces_of
from emgreview.errors import UnknownNameError
from emgreview.fitness.judging import CAUTION, Verdict, verdict_of
from emgreview.fitness.picture import Row, drawing, page, rows_of
from emgreview.model import Recording
from emgreview.showing import Sheet, Shown, number, percent
from emgreview.signal.findings import Finding
from emgreview.signal.quality import Quality

SEARCH_S = (0.0, 0.5)
"""Where onsets are searched after a cue unless told, in seconds."""

SWAPPED = (
    "Exchanged leads cannot be seen here: record test contractions and ask er.selectivity which channel hears which "
    "muscle."
)

COLUMNS = ("channel", "verdict", "rest (RMS)", "± (%)", "mains (%)", "peak (dB)", "offset", "below 20 Hz (%)")


@dataclass(frozen=True, kw_only=True, repr=False)
class Verdicts(Shown):
    """Verdicts of the channels of a recording; :func:`verdicts` returns it.

    Attributes
    ----------
    recording : str
        Its name.
    channels : tuple of Verdict
        In order: ``label``, ``word`` ("fit", "look again" or "redo") and ``reasons``, each
        with its number, limit, source, and what is commonly done about it.
    measured : tuple of Quality
        What :func:`emgreview.check` measured.
    questions : tuple of Finding
        What seems odd about the file, and only a person can answer.
    notes : tuple of str
        Sentences on cues, heart beats in search windows, and what was not looked for.
    """

    recording: str
    channels: tuple[Verdict, ...]
    measured: tuple[Quality, ...]
    questions: tuple[Finding, ...]
    notes: tuple[str, ...]
    _rows: tuple[Row, ...] = field(default=(), compare=False)

    def picture(self) -> str:
        """One picture of the recording.

        Returns
        -------
        str
            SVG as text: a row a channel with its verdict, outline, spectrum and rest. It asks
            nothing of any network, follows light and dark, and prints black on white.
        """
        return drawing(self.recording, self.channels, self._rows)

    def page(self) -> str:
        """The picture and every reason as a page of its own.

        Returns
        -------
        str
            HTML as text; save it with ``Path("check.html").write_text(…, encoding="utf-8")``.
        """
        return pages([self])

    def _repr_html_(self) -> str:
        return self.picture() + "".join(self._told_html())

    def _told_html(self) -> Iterator[str]:
        for part in (*self._sentences(), CAUTION):
            yield _Said(part)._repr_html_()

    def _parts(self) -> Iterator[Sheet | str]:
        rows = [
            (
                one.label,
                verdict.brief,
                f"{number(one.baseline_rms)} {one.unit}".replace("n/a " + one.unit, "n/a"),
                percent(one.baseline_cv),
                percent(one.mains_share),
                number(one.mains_db, 2),
                number(one.offset),
                percent(one.low_share),
            )
            for verdict, one in zip(self.channels, self.measured, strict=True)
        ]
        yield Sheet("", COLUMNS, rows)
        yield from self._sentences()
        yield CAUTION

    def _sentences(self) -> Iterator[str]:
        for one in self.channels:
            for why in one.reasons:
                yield f"{one.label}: {why.word}. {why.words} {why.do}"
        yield from (f"{one.channels[0]}: {one.words}" for one in self.questions)
        yield from self.notes


class _Said(Shown):
    def __init__(self, words: str):
        self.words = words

    def _parts(self) -> Iterator[str]:
        yield self.words


def verdicts(
    rec: Recording,
    *,
    cue: str | None = None,
    search_s: tuple[float, float] = SEARCH_S,
    expect: int | None = None,
    look_s: float | None = CHECKED_S,
) -> Verdicts:
    """Whether each EMG channel is fit, must be looked at again, or recorded anew.

    Parameters
    ----------
    rec : Recording
        The recording, unfiltered.
    cue : str or None
        Label of the markers that start a trial; with it, heart beats in search windows and
        missing cues are told.
    search_s : (float, float), default (0.0, 0.5)
        Where onsets will be searched, in seconds from the cue.
    expect : int or None
        How many cues there should be.
    look_s : float or None, default 60.0
        How much of the recording is looked at, in seconds; None for all of it.

    Returns
    -------
    Verdicts

    Raises
    ------
    ParameterError
        An argument is not what it must be, or ``expect`` came without ``cue``.
    UnknownNameError
        No marker is called so.

    Notes
    -----
    The findings, limits and sources are those of :func:`emgreview.check`. Rest is the RMS of
    the quiet parts from 20 to 450 Hz; ± is its coefficient of variation, 1 / sqrt(4 B T) for
    Gaussian noise of bandwidth B over T seconds. Nothing is corrected: what seems odd is
    asked. What to do is common practice; acts on a person are for trained staff.

    References
    ----------
    Bendat J S, Piersol A G. Random Data, from memory.

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> [(one.label, one.word) for one in er.verdicts(rec, cue="go").channels]
    [('prime mover', 'fit'), ('antagonist', 'fit')]
    """
    checks.kind("rec", rec, Recording, EACH)
    start_s, stop_s = checks.span("search_s", search_s)
    checks.likely_unit("search_s", search_s)
    if expect is not None:
        checks.whole("expect", expect, least=0)
        checks.demand(cue is not None, "cue", cue, "the label of the markers that expect counts")
    return judged(rec, check(rec, look_s=look_s), cue=cue, search_s=(start_s, stop_s), expect=expect, look_s=look_s)


def judged(
    rec: Recording,
    found: Sequence[Quality],
    *,
    cue: str | None = None,
    search_s: tuple[float, float] = SEARCH_S,
    expect: int | None = None,
    look_s: float | None = CHECKED_S,
) -> Verdicts:
    """The same from what ``check`` found already, with ``look_s`` as it was then."""
    return Verdicts(
        recording=rec.name,
        channels=tuple(verdict_in(rec, one) for one in found),
        measured=tuple(found),
        questions=tuple(asked for one in found for asked in one.questions),
        notes=tuple(_notes(rec, found, cue, search_s, expect, look_s)),
        _rows=rows_of(rec, found, look_s),
    )


def pages(reports: Sequence[Verdicts]) -> str:
    """Pictures and reasons of several recordings, one under the other, as a page."""
    parts = [
        (
            one.recording,
            one.picture(),
            one.channels,
            one.questions,
            (*one.notes, CAUTION) if one is reports[-1] else one.notes,
        )
        for one in reports
    ]
    return page(parts)


def verdict_in(rec: Recording, one: Quality) -> Verdict:
    """The verdict of a channel, with what the recording itself says of it."""
    channel = rec.channel(one.label)
    return verdict_of(one, status=channel.status, described=channel.status_description)


def _notes(
    rec: Recording,
    found: Sequence[Quality],
    cue: str | None,
    search_s: tuple[float, float],
    expect: int | None,
    look_s: float | None,
) -> Iterator[str]:
    yield from rec.notes
    if cue is not None:
        yield from of_cues(rec, found, cue=cue, search_s=search_s, expect=expect, look_s=look_s)
    yield from (f"Looked at: {words}." for words in dict.fromkeys(one.looked for one in found))
    for why in dict.fromkeys(why for one in found for why in one.not_looked):
        labels = [one.label for one in found if why in one.not_looked]
        yield f"Not looked for in {', '.join(labels)}: {why}."
    if len(found) > 1:
        yield SWAPPED


def of_cues(
    rec: Recording,
    found: Sequence[Quality],
    *,
    cue: str,
    search_s: tuple[float, float] = SEARCH_S,
    expect: int | None = None,
    look_s: float | None = CHECKED_S,
) -> Iterator[str]:
    """Sentences on cues that are missing or too many, and on heart beats in search windows; none where all is well."""
    cues = [marker for marker in rec.markers if marker.label == cue]
    if not cues:
        raise UnknownNameError("marker", cue, sorted({marker.label for marker in rec.markers}))
    yield from filter(None, [rhythm.hole_note(rec, cue, cues)])
    yield from filter(None, [rhythm.count_note(rec, cue, cues, expect) if expect is not None else ""])
    starts_s = [marker.sample / rec.rate_hz for marker in cues]
    yield from hearts_in(found, starts_s, search_s, _seen_s(rec, look_s))


def _seen_s(rec: Recording, look_s: float | None) -> list[tuple[float, float]]:
    return [(start / rec.rate_hz, stop / rec.rate_hz) for start, stop in pieces_of(rec, look_s)]


def hearts_in(
    found: Sequence[Quality],
    cues_s: Sequence[float],
    search_s: tuple[float, float],
    seen_s: Sequence[tuple[float, float]],
) -> Iterator[str]:
    """A sentence for each channel with heart beats: in how many of the search windows that were looked at one was
    seen, and how many may hold one, because beats under a burst are not seen."""
    windows = [(at + search_s[0], at + search_s[1]) for at in cues_s]
    seen = [window for window in windows if any(start <= window[0] and window[1] <= stop for start, stop in seen_s)]
    for one in found:
        if not one.heart_s or not seen:
            continue
        hit = [window for window in seen if any(window[0] <= at <= window[1] for at in one.heart_s)]
        first = ", the first from " + ", ".join(f"{start:.2f} s" for start, _ in hit[:3]) + " on" if hit else ""
        rate = one.heart_per_min
        hidden = (search_s[1] - search_s[0]) * rate / 60
        expected = f": at {rate:.0f} a minute, {len(seen) * min(1.0, hidden):.0f} may hold one" if rate > 0 else ""
        yield (
            f"{one.label}: a heart beat was seen in {len(hit) or 'none'} of the {len(seen)} search windows that were "
            f"looked at ({search_s[0]:g} to {search_s[1]:g} s from the cue){first}. Beats under a burst are not "
            f"seen{expected}; do not take one for an onset."
        )
