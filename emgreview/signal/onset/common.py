"""What all onset methods share: the door checks, a checked batch, and the result.

Arrays are (trials, samples). Times become samples here and nowhere else.

    checked_signal, aligned, window, level_and_scale     the door
    Batch, nothing                              what methods get and what they fill
    run_start, first_run, burst_level_db        small steps that several methods take
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.errors import ParameterError, SignalError
from emgreview.model import to_sample
from emgreview.signal.onset.quiet import Doubt, Excess

Array = NDArray[np.floating]
Places = NDArray[np.intp]

NUMBERS = ("onset_s", "low_s", "high_s", "offset_s", "offset_low_s", "offset_high_s", "rise_s", "level_db", "present")
LOWEST_RATE_HZ = 100.0


@dataclass(frozen=True, eq=False)
class Batch:
    """Usable trials after the door: finite, rest mean 0 and rest SD 1. ``x`` is (trials, samples).

    ``rest`` and ``search`` are half-open ranges of samples; ``excess`` is how each moment stands out from the rest,
    ``doubt`` where that rest cannot be trusted.
    """

    x: Array
    rate_hz: float
    rest: slice
    search: slice
    excess: Excess
    doubt: Doubt

    def __len__(self) -> int:
        return self.x.shape[0]


def nothing(n: int) -> dict[str, Array]:
    """A result of ``n`` trials in which every number is NaN."""
    return {name: np.full(n, np.nan) for name in NUMBERS}


def checked_signal(
    x: ArrayLike, rate_hz: float | None, *, dimensions: tuple[int, ...], lowest_hz: float = LOWEST_RATE_HZ
) -> tuple[Array, float]:
    """Samples as float64 and the rate, or an error that says what to do."""
    samples = checks.samples(x)
    if samples.ndim not in dimensions or 0 in samples.shape:
        shapes = " or ".join({1: "(samples,)", 2: "(trials, samples)"}[n] for n in dimensions)
        raise SignalError(
            f"the samples came with shape {samples.shape}; they must be {shapes}, no length 0; "
            "for a single trial give x[np.newaxis, :]."
        )
    return samples, checks.rate(rate_hz, least=lowest_hz, what="onsets need")


def aligned(x: Array, cue_s: ArrayLike, rate_hz: float) -> tuple[Array, float, Array]:
    """Trials moved so that their cues lie at one place: samples, seconds from their first sample to the cue, and what
    must be added to seconds from there, (trials,). Where ``cue_s`` is one number nothing is moved.

    What not every trial has around its cue is cut off.
    """
    if np.ndim(cue_s) == 0:
        checks.likely_unit("cue_s", cue_s, most_s=max(checks.LONGEST_STRETCH_S, x.shape[1] / rate_hz))
        return x, checks.number("cue_s", cue_s, unit="of seconds, or one a trial"), np.zeros(len(x))
    try:
        cues = np.asarray(cue_s, dtype=float)
    except (TypeError, ValueError):
        cues = np.full(0, np.nan)
    end_s = x.shape[1] / rate_hz
    if cues.shape != (len(x),) or not ((cues >= 0) & (cues < end_s)).all():
        raise ParameterError(
            f"cue_s came with shape {cues.shape} and values {np.array2string(cues, threshold=6)}; allowed: one number, "
            f"or one for each of {len(x)} trials, within 0 to {end_s:.3f} s; correct them."
        )
    at = np.array([to_sample(float(cue), rate_hz) for cue in cues])
    before, after = at.min(), x.shape[1] - at.max()
    moved = np.take_along_axis(x, at[:, None] + np.arange(-before, after), axis=1)
    return moved, before / rate_hz, (at - before) / rate_hz


def window(
    name: str,
    span_s: tuple[float, float | None],
    cue_s: float,
    samples: int,
    rate_hz: float,
    shortest_s: float,
    *,
    open_ended: bool = False,
) -> slice:
    """A window given in seconds from the cue, as samples; ``open_ended`` allows a stop of None."""
    end_s = samples / rate_hz
    allowed = f"(start, stop) in seconds from the cue{', or a stop of None' if open_ended else ''}"
    if open_ended and isinstance(span_s, Sequence) and len(span_s) == 2 and span_s[1] is None:
        start_s, stop_s = cue_s + checks.number(f"the start of {name}", span_s[0], unit="of seconds"), end_s
    else:
        start_s, stop_s = (cue_s + edge for edge in checks.span(name, span_s, allowed=allowed))
    slack_s = 0.5 / rate_hz
    long = max(abs(start_s - cue_s), abs(stop_s - cue_s)) >= checks.LONGEST_STRETCH_S
    if not (-slack_s <= start_s and stop_s <= end_s + slack_s):
        raise ParameterError(
            f"{name} {tuple(span_s)} around {cue_s:g} s covers {start_s:.3f} to {stop_s:.3f} s, but the signal "
            f"holds 0 to {end_s:.3f} s; give a window inside it, or cut longer trials"
            f"{checks.perhaps(span_s) if long else ''}."
        )
    if not stop_s - start_s >= shortest_s - slack_s:
        raise ParameterError(
            f"{name} {tuple(span_s)} around {cue_s:g} s is {stop_s - start_s:.3f} s long; "
            f"allowed: windows inside the signal, at least {shortest_s:g} s are needed; give a longer window"
            f"{checks.perhaps(span_s) if long else ''}."
        )
    return slice(max(to_sample(start_s, rate_hz), 0), min(to_sample(stop_s, rate_hz), samples))


def level_and_scale(x: Array, rest: slice) -> tuple[Array, Array]:
    """Mean and SD of the rest of each trial; SD 0 where it does not vary beyond rounding."""
    quiet = x[:, rest]
    level = quiet.mean(axis=1)
    scale = quiet.std(axis=1)
    rounding = 1e-9 * np.maximum(np.abs(level), np.abs(quiet).max(axis=1))
    return level, np.where(scale <= rounding, 0.0, scale)


def run_start(true: NDArray[np.bool_], run: int) -> NDArray[np.intp]:
    """First sample of the first run of at least ``run`` true samples along the last axis; -1 where there is none."""
    count = np.cumsum(np.pad(true, ((0, 0), (1, 0))), axis=1, dtype=np.int32)
    if count.shape[1] <= run:
        return np.full(len(true), -1)
    full = count[:, run:] - count[:, :-run] == run
    return np.where(full.any(axis=1), full.argmax(axis=1), -1)


def first_run(true: NDArray[np.bool_], shortest: float, gap: float) -> tuple[Places, Places]:
    """First and last column of the first run of each row that lasts ``shortest``; -1 where there is none.

    Runs with fewer than ``gap`` false columns between them are one; both in columns.
    """
    padded = np.pad(true, ((0, 0), (1, 1)))
    row, first = np.nonzero(padded[:, 1:-1] & ~padded[:, :-2])
    _, last = np.nonzero(padded[:, 1:-1] & ~padded[:, 2:])
    apart = np.ones(len(row), bool)
    apart[1:] = (row[1:] != row[:-1]) | (first[1:] - last[:-1] - 1 >= max(gap, 1))
    begins = np.flatnonzero(apart)
    row, first, last = row[begins], first[begins], last[np.append(begins[1:], len(apart)) - 1] if len(row) else last
    long = last - first + 1 >= shortest
    rows, place = np.unique(row[long], return_index=True)
    found = np.full((2, len(true)), -1)
    found[:, rows] = first[long][place], last[long][place]
    return found[0], found[1]


def burst_level_db(
    power: Array, start: NDArray[np.integer], stop: NDArray[np.integer], row: NDArray[np.integer] | None = None
) -> Array:
    """Level of the activity alone over the rest, 10 log10(P / P_rest - 1), one for each trial, or for each of ``row``.

    ``power`` (trials, columns) is relative to the rest; P is its mean over columns start to stop of each trial. NaN
    where that stretch is empty or not above the rest.
    """
    total = np.cumsum(np.pad(power.astype(np.float64), ((0, 0), (1, 0))), axis=1)
    rows = np.arange(len(power)) if row is None else row
    excess = (total[rows, stop] - total[rows, start]) / np.maximum(stop - start, 1) - 1
    usable = (stop > start) & (excess > 0)
    return np.where(usable, 10 * np.log10(np.where(usable, excess, 1.0)), np.nan)
