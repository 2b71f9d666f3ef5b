"""A recording without cues: a marker before every burst of one channel, around which trials are cut.

with_bursts     a recording with such markers
"""

import dataclasses
import math
from typing import Any, cast

from emgreview.checks import kind, likely_unit, number
from emgreview.errors import MarkerError, tell
from emgreview.model import Burst, Marker, Recording, to_sample
from emgreview.signal.onset import list_bursts

LEAD_S = 0.3
"""A marker lies so long before its burst: room for the onset to be moved back to (our own choice)."""


def with_bursts(rec: Recording, channel: str, *, lead_s: float = LEAD_S, label: str = "burst", **how: Any) -> Recording:
    """A recording with a marker before every burst of one channel, for one that has no cues.

    Parameters
    ----------
    rec : Recording
        The recording.
    channel : str
        Label of the channel whose bursts are listed.
    lead_s : float, default 0.3
        How long before each onset its marker lies, in seconds.
    label : str, default "burst"
        What the markers are called.
    **how
        As for :func:`emgreview.list_bursts`: processing, rest_s, shortest_s, merge_s.

    Returns
    -------
    Recording
        With its own markers, too. Sizes, lengths and the order of channels mean something in
        trials around such markers; times from the marker do not, and its notes say so.

    Raises
    ------
    MarkerError
        No burst begins ``lead_s`` or more after the start, or the recording has markers of
        that name.
    ParameterError, UnknownNameError, SignalError, RateError
        As for :func:`emgreview.list_bursts`.

    Warns
    -----
    SignalWarning
        How many bursts have no marker; and what
        :func:`emgreview.list_bursts` tells.

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> found = er.with_bursts(rec.with_markers([]), "prime mover")
    >>> len(er.cut_trials(found, cue="burst", before_s=1.0, after_s=1.5))
    3
    >>> found.notes
    ("Markers 'burst' lie 0.3 s before 3 bursts of prime mover: times from them mean nothing.",)
    """
    kind("rec", rec, Recording, "one recording, as read() returns it")
    kind("label", label, str, "what the markers are called, in quotes")
    lead_s = number("lead_s", lead_s, least=0, unit="s")
    likely_unit("lead_s", lead_s)
    if any(marker.label == label for marker in rec.markers):
        raise MarkerError(
            f"recording {rec.name!r} has markers {label!r} already; trials would be there twice; give another label."
        )
    found = cast(list[Burst], list_bursts(rec, channel=channel, **how))
    moments = [to_sample(one.onset_s - lead_s, rec.rate_hz) for one in found if math.isfinite(one.onset_s)]
    placed = sorted({sample for sample in moments if sample >= 0})
    if not placed:
        raise MarkerError(
            f"{len(found)} bursts of {channel} were found in recording {rec.name!r}, and none begins {lead_s:g} s or "
            "more after its start; there must be one at least; look at the channel, or give a shorter lead_s."
        )
    notes = [
        f"Markers {label!r} lie {lead_s:g} s before {len(placed)} bursts of {channel}: times from them mean nothing."
    ]
    if lost := len(found) - len(placed):
        notes.append(f"{lost} of {len(found)} bursts of {channel} have no marker: no time before them was recorded.")
        tell(f"{rec.name}: {notes[-1]}")
    more = [Marker(sample, label, f"bursts {channel}") for sample in placed]
    return dataclasses.replace(rec.with_markers([*rec.markers, *more]), notes=(*rec.notes, *notes))
