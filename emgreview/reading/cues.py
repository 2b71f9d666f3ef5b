"""Cues that are written into the recording: pulses of a trigger, photodiode or button channel, or digital codes.

Channels are searched block by block in their own unit; nothing is loaded whole. A cue is the first sample on the
new side of the level: rising at sample i where x[i-1] < level <= x[i], falling where x[i-1] >= level > x[i]. A
channel that starts on the new side holds no cue there, and a step from or to a missing sample (NaN) is none.

    find_cues(rec, channel, level=...)     markers, the recording left as it is
    with_cues(rec, channel, level=...)     the recording with them
    as_cue_channel(rec, channel)           the recording with a channel of cues that is no EMG
    channel_range(rec, channel)            lowest and highest value, to choose a level by

Over 400 lines with what its public names say of themselves.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from numbers import Real
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import RECORDING, kind, perhaps, refusal, whole
from emgreview.errors import MarkerError, ParameterError, SignalError, tell
from emgreview.model import FloatArray, Marker, Recording, to_sample
from emgreview.reading.hold_off import held_off, swallowed, words_begin
from emgreview.reading.units import kind_of

BLOCK = 1 << 18
FEW = 20
"""So many cues are never called implausible."""
MOST_A_SECOND = 20.0
"""More cues a second than this, on average over the recording, are called implausible."""

Edge = Literal["rising", "falling", "both"]


def find_cues(
    rec: Recording,
    channel: str,
    *,
    level: float | None = None,
    edge: Edge = "rising",
    hold_off_s: float,
    label: str = "cue",
    codes: bool = False,
    mask: int = 0xFFFF,
) -> tuple[Marker, ...]:
    """Markers at the cues that are written into a channel: pulses, or digital codes.

    Parameters
    ----------
    rec : Recording
        The recording; it is left as it is.
    channel : str
        Label of the trigger, photodiode, button or code channel.
    level : float or None
        What a pulse crosses, in the channel's unit; required unless ``codes``.
    edge : {"rising", "falling", "both"}
        Direction of the crossings.
    hold_off_s : float
        After a cue, crossings are ignored for so many seconds (bouncing contacts, a
        flickering screen).
    label : str, default "cue"
        Label of the markers.
    codes : bool, default False
        The channel holds whole numbers; every change to a code other than 0 is a cue called
        "<label> <code>".
    mask : int, default 0xFFFF
        Bits of a code that count (the low 16 of a BDF status word).

    Returns
    -------
    tuple of Marker
        In order of time, source "channel <channel>". ``details`` holds "edge" and "level", or
        "code"; ``search`` the arguments, so that a log can keep them.

    Raises
    ------
    MarkerError
        No cue is found, or implausibly many (more than 20 a second on average, or a rhythm
        set by the hold-off alone, as noise around the level makes).
    ParameterError
        An argument is missing, out of range, or does not go with another.
    UnknownNameError
        No channel has that label.
    SignalError
        A channel of codes holds fractions, or is read as a voltage.

    Warns
    -----
    SignalWarning
        The hold-off passes over most crossings, or over pulses that look like cues of their
        own.

    Notes
    -----
    A cue is the first sample on the new side of the level: rising at sample i where
    x[i-1] < level <= x[i], falling where x[i-1] >= level > x[i]. A channel that starts on the
    new side holds no cue there, and a step from or to a missing sample (NaN) is none.

    Changes of code within ``hold_off_s`` of a first one are one cue, at the time of the first
    with the code of the last, because parallel lines do not switch at the same instant.

    Examples
    --------
    >>> import numpy as np
    >>> import emgreview as er
    >>> x = np.zeros((1, 6000))
    >>> x[0, 1000:1050] = x[0, 4000:4050] = 5.0
    >>> rec = er.Recording.from_array(x, 1000, labels=["trigger"], unit="arbitrary")
    >>> [cue.sample for cue in er.find_cues(rec, "trigger", level=2.5, hold_off_s=0.5)]
    [1000, 4000]
    """
    found, sentence = _search(rec, channel, level, edge, hold_off_s, label, codes, mask)
    if sentence:
        tell(f"{rec.name}: {sentence}")
    return found


def _search(
    rec: Recording,
    channel: str,
    level: float | None,
    edge: Edge,
    hold_off_s: float,
    label: str,
    codes: bool,
    mask: int,
) -> tuple[tuple[Marker, ...], str]:
    """The cues, and a sentence on what the hold-off passes over, or ""."""
    kind("rec", rec, Recording, RECORDING)
    kind("channel", channel, str, f"the label of one channel, in quotes: {', '.join(map(repr, rec.labels))}")
    _demand(rec, level, edge, hold_off_s, codes, mask)
    kind("label", label, str, "what the cues are to be called, in quotes")
    hold = max(to_sample(hold_off_s, rec.rate_hz), 1)
    if codes:
        search = {"channel": channel, "label": label, "codes": True, "mask": int(mask), "hold_off_s": float(hold_off_s)}
        return _find_codes(rec, channel, hold, label, mask, search)
    assert level is not None
    found = _crossings(rec, channel, level)
    both = np.sort(np.concatenate([found.rising, found.falling]))
    raw = {"rising": found.rising, "falling": found.falling}.get(edge, both)
    samples = held_off(raw, hold)
    sentence = swallowed(rec, channel, raw, both, samples, hold_off_s)
    unit = f" {rec.channel(channel).unit_label}".rstrip()
    if not len(samples):
        raise MarkerError(_none_found(rec, channel, level, edge, found, unit))
    came = f"channel {channel!r} of {rec.name}, which runs from {found.low:.4g} to {found.high:.4g}{unit}"
    advice = _better_level(level, found, unit)
    _demand_plausible(rec, samples, len(raw), hold, f"{came}, with level {level:g}{unit}", advice)
    rising = set(found.rising.tolist())
    search = {"channel": channel, "label": label, "level": float(level), "edge": edge, "hold_off_s": float(hold_off_s)}
    markers = tuple(
        Marker(
            int(sample),
            label,
            f"channel {channel}",
            details={"edge": "rising" if int(sample) in rising else "falling", "level": f"{level:g}{unit}"},
            search=search,
        )
        for sample in samples
    )
    return markers, sentence


def with_cues(
    rec: Recording,
    channel: str,
    *,
    level: float | None = None,
    edge: Edge = "rising",
    hold_off_s: float,
    label: str = "cue",
    codes: bool = False,
    mask: int = 0xFFFF,
) -> Recording:
    """The recording with the cues of :func:`find_cues` among its markers.

    Markers from the same channel with the same label, found by an earlier call, are
    replaced; all others stay. The channel is no EMG any more, unless it is the only one, and
    a note says so. Where it is that of a muscle, as with stimuli that show in it, keep it:
    ``rec.with_markers([*rec.markers, *er.find_cues(rec, …)])``.

    Parameters
    ----------
    rec : Recording
        The recording.
    channel : str
        Label of the channel that holds the cues.
    level : float or None
        What a pulse crosses, in the channel's unit; required unless ``codes``.
    edge : {"rising", "falling", "both"}
        Direction of the crossings.
    hold_off_s : float
        After a cue, crossings are ignored for so many seconds.
    label : str, default "cue"
        Label of the markers.
    codes : bool, default False
        The channel holds whole numbers.
    mask : int, default 0xFFFF
        Bits of a code that count.

    Returns
    -------
    Recording

    Raises
    ------
    MarkerError, ParameterError, UnknownNameError, SignalError
        As for :func:`find_cues`.

    Warns
    -----
    SignalWarning
        As for :func:`find_cues`; and where the channel was taken as EMG and its name does not
        say that it is none. ``notes`` of the recording say so too.

    Examples
    --------
    >>> import numpy as np
    >>> import emgreview as er
    >>> x = np.zeros((2, 6000))
    >>> x[1, 1000:1050] = x[1, 4000:4050] = 5.0
    >>> rec = er.Recording.from_array(x, 1000, labels=["FCR", "trigger"], unit="arbitrary")
    >>> len(er.with_cues(rec, "trigger", level=2.5, hold_off_s=0.5, label="go").markers)
    2
    """
    found, sentence = _search(rec, channel, level, edge, hold_off_s, label, codes, mask)

    def found_before(marker: Marker) -> bool:
        code = f" {marker.details['code']}" if codes and "code" in marker.details else ""
        return marker.source == f"channel {channel}" and marker.label == label + code

    made = as_cue_channel(rec, channel).with_markers(
        [*(marker for marker in rec.markers if not found_before(marker)), *found]
    )
    told = list(made.notes[len(rec.notes) :]) if kind_of(channel, None)[0] == "EMG" else []
    for words in (*told, *([sentence] if sentence else [])):
        tell(f"{rec.name}: {words}")
    earlier = (note for note in made.notes if not note.startswith(words_begin(channel)))
    return replace(made, notes=(*earlier, *([sentence] if sentence else [])))


def as_cue_channel(rec: Recording, channel: str) -> Recording:
    """The recording with a channel that holds cues as no EMG, and a note where it was; the only EMG channel stays."""
    if rec.channel(channel).kind != "EMG" or rec.emg_labels == (channel,):
        return rec
    unit = rec.channel(channel).unit_label
    note = f"Channel {channel!r} holds the cues, and is taken as TRIG, not EMG; its level is in {unit}, as it was read."
    channels = tuple(replace(one, kind="TRIG") if one.label == channel else one for one in rec.channels)
    return replace(rec, channels=channels, notes=(*rec.notes, note))


def channel_range(rec: Recording, channel: str) -> tuple[float, float]:
    """Lowest and highest value of a channel in its own unit, missing samples left aside; NaN where all are missing."""
    low, high = math.inf, -math.inf
    for _, x in _blocks(rec, channel):
        present = x[~np.isnan(x)]
        if present.size:
            low, high = min(low, float(present.min())), max(high, float(present.max()))
    return (low, high) if low <= high else (math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class _Crossings:
    rising: NDArray[np.int64]
    falling: NDArray[np.int64]
    low: float
    high: float


def _blocks(rec: Recording, channel: str) -> Iterator[tuple[int, FloatArray]]:
    """(sample number of the first value, values) of one channel, block after block, one sample overlapping."""
    for start in range(0, rec.n_samples, BLOCK):
        first = max(start - 1, 0)
        yield first, rec.values(first, min(start + BLOCK, rec.n_samples), [channel])[0]


def _crossings(rec: Recording, channel: str, level: float) -> _Crossings:
    rising, falling = [], []
    low, high = math.inf, -math.inf
    for first, x in _blocks(rec, channel):
        above, known = x >= level, ~np.isnan(x)
        step = known[1:] & known[:-1] & (above[1:] != above[:-1])
        at = np.flatnonzero(step) + 1
        rising.append(first + at[above[at]])
        falling.append(first + at[~above[at]])
        if known.any():
            low, high = min(low, float(np.nanmin(x))), max(high, float(np.nanmax(x)))
    return _Crossings(np.concatenate(rising), np.concatenate(falling), low, high)


def _find_codes(
    rec: Recording, channel: str, hold: int, label: str, mask: int, search: Mapping[str, Any]
) -> tuple[tuple[Marker, ...], str]:
    if rec.channel(channel).kind == "EMG":
        raise SignalError(
            f"channel {channel!r} of {rec.name} counts as EMG and is read in {rec.channel(channel).unit}, so its "
            "numbers are no codes any more; codes are the whole numbers that a channel of another kind stores; give "
            "this one a name that says so, TRIGGER for instance, or its kind in channels.tsv."
        )
    samples, values = [], []
    seen: set[int] = set()
    for first, x in _blocks(rec, channel):
        words = np.nan_to_num(x, nan=0.0)
        if (words != np.rint(words)).any():
            raise SignalError(
                f"channel {channel!r} of {rec.name} holds fractions (such as {words[words != np.rint(words)][0]:g}); "
                "codes are "
                "whole numbers; search it with level= instead, or give the status channel."
            )
        word = words.astype(np.int64) & mask
        if len(seen) < 12:
            seen.update(np.unique(word)[:12].tolist())
        at = np.flatnonzero((word[1:] != word[:-1]) & (word[1:] != 0)) + 1
        samples.append(first + at)
        values.append(word[at])
    at_all, code_all = np.concatenate(samples), np.concatenate(values)
    starts = held_off(at_all, hold)
    sentence = swallowed(rec, channel, at_all, at_all, starts, float(search["hold_off_s"]))
    if not len(starts):
        raise MarkerError(
            f"channel {channel!r} of {rec.name} never changes to a code other than 0; under the mask {mask:#x} it "
            "holds "
            f"{', '.join(map(str, sorted(seen)))}; try another mask, or another channel "
            f"({', '.join(other for other in rec.labels if other != channel) or 'it has no other'})."
        )
    span = f"{code_all.min()} to {code_all.max()}"
    came = f"channel {channel!r} of {rec.name}, which holds codes {span} under mask {mask:#x}"
    _demand_plausible(rec, starts, len(at_all), hold, came, "try a mask with fewer bits, or a longer hold_off_s")
    last = np.searchsorted(at_all, starts + hold) - 1
    markers = tuple(
        Marker(int(sample), f"{label} {code}", f"channel {channel}", details={"code": str(code)}, search=search)
        for sample, code in zip(starts, code_all[last], strict=True)
    )
    return markers, sentence


def _demand(rec: Recording, level: float | None, edge: str, hold_off_s: float, codes: bool, mask: int) -> None:
    if edge not in ("rising", "falling", "both"):
        raise refusal("edge", edge, "'rising', 'falling', 'both'")
    whole("mask", mask, least=1)
    if not isinstance(hold_off_s, Real) or not 0 <= hold_off_s <= rec.duration_s:
        meant = perhaps(hold_off_s) if isinstance(hold_off_s, Real) and hold_off_s > 1 else ""
        raise refusal(
            "hold_off_s",
            hold_off_s,
            f"0 to the recording's {rec.duration_s:g} s",
            f"give a little less than the shortest time between two cues{meant}",
        )
    if codes and level is not None:
        raise ParameterError(
            f"level={level!r} and codes=True both came; a channel is searched by one of them; leave one out."
        )
    if not codes and (not isinstance(level, Real) or not math.isfinite(level)):
        raise ParameterError(
            f"level came as {level!r}; allowed: a number in the channel's unit, between rest and pulse "
            "(channel_range() "
            "gives lowest and highest), or codes=True for a channel of digital codes."
        )


def _none_found(rec: Recording, channel: str, level: float, edge: str, found: _Crossings, unit: str) -> str:
    if not found.low <= found.high:
        return (
            f"channel {channel!r} of {rec.name} is missing throughout (NaN); cues need samples; give another channel."
        )
    came = (
        f"no {'' if edge == 'both' else edge + ' '}crossing of level {level:g}{unit} in channel {channel!r} of "
        f"{rec.name}, "
        f"which runs from {found.low:.4g} to {found.high:.4g}{unit}; "
    )
    other = len(found.falling if edge == "rising" else found.rising)
    if other:
        return (
            came + f"it crosses {other} times the other way: try edge={'falling' if edge == 'rising' else 'rising'!r}."
        )
    if found.low == found.high:
        return came + "it is flat: give another channel, or check the cable of this one."
    return came + f"try a level between the two, such as level={(found.low + found.high) / 2:.4g}."


def _demand_plausible(
    rec: Recording, samples: NDArray[np.int64], n_raw: int, hold: int, came: str, advice: str
) -> None:
    """Neither too many, nor so many crossings that the hold-off alone sets the rhythm."""
    n = len(samples)
    if n <= FEW:
        return
    median = float(np.median(np.diff(samples)))
    paced = n_raw > n and median <= 1.1 * hold
    if n <= MOST_A_SECOND * rec.duration_s and not paced:
        return
    why = (
        f"half of them at most {median / rec.rate_hz:.4g} s after the one before, a rhythm that only hold_off_s "
        f"({hold / rec.rate_hz:.4g} s) sets"
        if paced
        else f"{n / rec.duration_s:.3g} a second"
    )
    raise MarkerError(f"{n} cues found in {came}: {why}; cues of trials are fewer; {advice}.")


def _better_level(level: float, found: _Crossings, unit: str) -> str:
    middle, span = (found.low + found.high) / 2, found.high - found.low
    if abs(level - middle) > 0.1 * span:
        return f"the level lies in the noise at rest: try one farther from rest, such as level={middle:.4g}{unit}"
    return "the level lies half-way up already: if this is a channel of pulses at all, try a longer hold_off_s"
