"""How much later than its marker does a stimulus come: measured by a photodiode or microphone, and put right.

measure_delay       median, spread and count of the delays in one recording
Delay               what it returns; ``apply`` moves the markers
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from emgreview.checks import ONE_RECORDING, kind, likely_unit, number
from emgreview.errors import MarkerError, UnknownNameError, tell
from emgreview.model import Marker, Recording, to_sample
from emgreview.reading.cues import Edge, find_cues
from emgreview.showing import Sheet, Shown

CONSTANT_S = 0.002
"""Delays whose middle half spans more than this, and more than two samples, are not constant (our own choice, no
source)."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Delay(Shown):
    """From markers to what a channel saw of them; :func:`measure_delay` returns it. Seconds.

    Attributes
    ----------
    recording, channel, cue : str
        Where it was measured.
    median_s : float
        Positive where the channel saw it later than the marker says.
    middle_s : (float, float)
        Lower and upper quartile.
    range_s : (float, float)
        Shortest and longest.
    each_s : tuple of float
        All of them, in order of time.
    cues : int
        How many markers there are; those without a crossing give no delay.
    constant : bool
        Whether the middle half spans 2 ms, or two samples, at most.
    notes : tuple of str
        What stands against taking the median for all.
    """

    recording: str
    channel: str
    cue: str
    median_s: float
    middle_s: tuple[float, float]
    range_s: tuple[float, float]
    each_s: tuple[float, ...]
    cues: int
    constant: bool
    notes: tuple[str, ...]

    def apply(self, rec: Recording) -> Recording:
        """A recording with its markers of that cue moved by the median.

        Parameters
        ----------
        rec : Recording
            This one, or another made with the same devices.

        Returns
        -------
        Recording
            A note tells of it. Markers that would leave the recording are left out, and told.

        Raises
        ------
        ParameterError
            ``rec`` is no recording.
        UnknownNameError
            It has no marker called so.
        MarkerError
            It holds no markers that can be put in order.
        """
        kind("rec", rec, Recording, ONE_RECORDING)
        _cues(rec, self.cue)
        shift = to_sample(self.median_s, rec.rate_hz)
        moved = [replace(one, sample=one.sample + shift) if one.label == self.cue else one for one in rec.markers]
        inside = [one for one in moved if 0 <= one.sample < rec.n_samples]
        lost = len(moved) - len(inside)
        note = (
            f"Markers {self.cue!r} stand {1000 * shift / rec.rate_hz:+.4g} ms from where the file has them: the delay "
            f"that {self.channel} showed in {self.recording}"
            + (f"; {lost} would lie outside the recording, and are left out." if lost else ".")
        )
        return replace(rec.with_markers(inside), notes=(*rec.notes, note))

    def _parts(self) -> Iterator[Sheet | str]:
        columns = ("channel", "cue", "median (ms)", "middle half (ms)", "range (ms)", "seen")
        low, high, first, last = (1000 * value for value in (*self.middle_s, *self.range_s))
        cells = (
            self.channel,
            self.cue,
            f"{1000 * self.median_s:.4g}",
            f"{low:.4g} to {high:.4g}",
            f"{first:.4g} to {last:.4g}",
            f"{len(self.each_s)} of {self.cues}",
        )
        yield Sheet("", columns, [cells])
        yield from self.notes
        yield (
            "To move the markers: rec = delay.apply(rec). A channel that comes late by a constant time is declared on "
            f"reading instead: delay_ms = {1000 * self.median_s:.4g} beside it in study.toml."
        )


def measure_delay(
    rec: Recording,
    channel: str,
    *,
    cue: str,
    level: float,
    edge: Edge = "rising",
    within_s: float = 0.2,
) -> Delay:
    """How much later than its marker a photodiode or microphone sees a stimulus.

    Parameters
    ----------
    rec : Recording
        The recording.
    channel : str
        Label of the channel that sees it.
    cue : str
        Label of the markers.
    level : float
        What the signal crosses, in the channel's unit.
    edge : {"rising", "falling", "both"}
        Direction of the crossings.
    within_s : float, default 0.2
        A crossing belongs to a marker up to so many seconds away; the first from the marker
        on, else the last before it.

    Returns
    -------
    Delay
        The median delay, its spread, and how many markers have one.

    Raises
    ------
    MarkerError
        No crossing lies near a marker, or there is none at all.
    ParameterError
        An argument is not what it must be.
    UnknownNameError
        No channel or marker is called so.
    SignalError
        The channel cannot be searched.

    Warns
    -----
    SignalWarning
        The delay is not constant, or markers have no crossing.

    Examples
    --------
    >>> import numpy as np
    >>> import emgreview as er
    >>> x = np.zeros((1, 9000))
    >>> for at in (1000, 4000, 7000):
    ...     x[0, at + 30 : at + 100] = 5.0
    >>> rec = er.Recording.from_array(x, 1000, labels=["LIGHT"], unit="arbitrary",
    ...                               markers=[(1000, "go"), (4000, "go"), (7000, "go")])
    >>> er.measure_delay(rec, "LIGHT", cue="go", level=2.5).median_s
    0.03
    """
    kind("rec", rec, Recording, ONE_RECORDING)
    within_s = number("within_s", within_s, above=0, unit="s")
    likely_unit("within_s", within_s)
    cues = _cues(rec, cue)
    hold_off_s = min(0.05, within_s / 2)
    crossings = np.array([one.sample for one in find_cues(rec, channel, level=level, edge=edge, hold_off_s=hold_off_s)])
    most = to_sample(within_s, rec.rate_hz)
    each = []
    for one in cues:
        away = crossings - one.sample
        later, earlier = away[(away >= 0) & (away <= most)], away[(away < 0) & (away >= -most)]
        if later.size or earlier.size:
            each.append(float(later[0] if later.size else earlier[-1]) / rec.rate_hz)
    if not each:
        raise MarkerError(
            f"no crossing of {level:g} in {channel!r} lies within {within_s:g} s of a marker {cue!r}; allowed: one "
            "near each; look at the channel with er.show_cues, and choose level, edge or within_s anew."
        )
    low, middle, high = (float(value) for value in np.quantile(each, [0.25, 0.5, 0.75]))
    constant = high - low <= max(CONSTANT_S, 2 / rec.rate_hz)
    notes = []
    if len(each) < len(cues):
        notes.append(f"{len(cues) - len(each)} of {len(cues)} markers {cue!r} have no crossing of {channel} near them.")
    if not constant:
        notes.append(
            f"The delay is not constant: its middle half spans {1000 * (high - low):.3g} ms (limit "
            f"{1000 * CONSTANT_S:g} ms, or two samples; our own choice, no source). Take the times of {channel} "
            "themselves, er.with_cues, and not a median."
        )
    for note in notes:
        tell(f"{rec.name}: {note}")
    return Delay(
        recording=rec.name,
        channel=channel,
        cue=cue,
        median_s=middle,
        middle_s=(low, high),
        range_s=(min(each), max(each)),
        each_s=tuple(each),
        cues=len(cues),
        constant=constant,
        notes=tuple(notes),
    )


def _cues(rec: Recording, cue: str) -> list[Marker]:
    found = [one for one in rec.markers if one.label == cue]
    if not found:
        raise UnknownNameError("marker", cue, sorted({one.label for one in rec.markers}))
    return found
