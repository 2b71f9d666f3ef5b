"""A model of the rest, and how far each moment of a trial stands out from it.

1. The autoregression of the rest gives a residual that is white where there is rest alone
   (:mod:`~emgreview.signal.onset.whitening`). Departures from the papers named there: the residual is then averaged
   over ``smooth_s``, because whitening alone over-weighs high frequencies, where muscle is weak; and its change over
   ``lag_s`` is taken, so that what is slower than muscle weighs little: heart beats, swings, and the ringing that a
   zero-phase band-pass puts ahead of a strong onset. Where a trial holds something slow and strong, its change over
   ``second_lag_s`` is taken as well.
2. y is the energy of the residual in bins of ``bin_s``, 1 on average in the rest. Blocks of rest with more than three
   times the median energy (a heart beat, a knock) do not count in that average.
3. z is the mean of y in blocks of ``block_s``. A block's mark runs from -1 to 1 as ln z passes a gate, which rises with
   the rest's own spread over blocks: real rest wanders in level. Activity is a stretch of ``span_s`` whose mean mark
   reaches ``needed``; as no block counts more than 1, a spike or a heart beat cannot fill it.

Arrays are (trials, samples), (trials, bins) or (trials, blocks), float32 where they are long.

    QuietParameters, Excess, excess     the model
    grid                                    samples a bin, bins a block
    prevalence                              mean mark of each stretch
    over_rest, swings, second_change        its parts, for signals that are read in blocks
    Doubt, doubts                           what is wrong with a rest, in a word, and between which levels it lies
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import check_ranges, in_order
from emgreview.signal.onset.whitening import Array, Floats, autoregression, filtered, order_of

DB_PER_LN = 10 / math.log(10)
"""Decibels of power in one unit of its natural logarithm."""

OUTLIER = 3.0
"""The energy over the median above which a block of rest is left out."""

DRIFT_DB = 3.0
"""Change of level between the halves of a rest that is called drifting."""

LOUD_DB = 6.0
"""By how much a stretch after go must lie below the rest for the rest to be called active."""

DEAD_DB, DEAD_SHARE = -30.0, 0.3
"""A rest of which so large a share of blocks lies so far below its loud ones is no rest: it is flat there."""

NOTHING = 1e-20
"""Least energy that is divided by: a rest without any is told elsewhere."""

NO_SIGNAL_DB = -50.0
"""A block so far below the rest holds no signal (a drop-out), and says nothing about the rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietParameters:
    """Times in seconds; gates in dB of power; ``needed`` a mean mark from -1 to 1.

    ``gate_spreads`` counts SDs of the rest's own level over blocks. ``ridge`` is added to the zero lag of the
    autoregression, as a share of the power.
    """

    memory_s: float = 0.008
    ridge: float = 0.003
    smooth_s: float = 0.002
    lag_s: float = 0.003
    second_lag_s: float = 0.002
    slow_s: float = 0.016
    slow_share: float = 0.3
    bin_s: float = 0.002
    block_s: float = 0.020
    span_s: float = 0.160
    gate_floor_db: float = 0.8 * DB_PER_LN
    gate_spreads: float = 1.15
    gate_width_db: float = 0.5 * DB_PER_LN
    needed: float = 0.5

    def __post_init__(self) -> None:
        check_ranges(self, {"memory_s": (0, 0.1), "ridge": (0, 1), "slow_share": (0, 1), "needed": (0, 1)})
        check_ranges(self, dict.fromkeys(("smooth_s", "lag_s", "second_lag_s", "slow_s", "bin_s"), (0, 0.1)))
        check_ranges(self, {"block_s": (0, 0.5), "span_s": (0, 5), "gate_floor_db": (0, 100), "gate_spreads": (0, 100)})
        check_ranges(self, {"gate_width_db": (0, 100)})
        in_order(self, "bin_s", "block_s", "span_s")


@dataclass(frozen=True, eq=False)
class Excess:
    """How far a batch stands out from its rest; see the module for y, z and marks.

    ``y`` is (trials, bins); ``ln_z``, ``marks`` and ``power`` (of the signal itself, 1 in the rest) are (trials,
    blocks). ``spread`` (trials,) is the SD of ln z in the rest, ``gate`` (trials,) is on ln z as well. ``bin`` is in
    samples, ``block`` in bins, ``span`` in blocks; ``rest`` and ``search`` are ranges of blocks. ``clear`` says that
    the ringing of a zero-phase filter was taken out.
    """

    y: Floats
    ln_z: Floats
    marks: Floats
    power: Floats
    spread: Array
    gate: Array
    bin: int
    block: int
    span: int
    rest: slice
    search: slice
    clear: bool = False
    whitened: "Whitened | None" = None

    @property
    def blocks(self) -> int:
        return self.ln_z.shape[1]

    def of(self, rows: NDArray[np.intp]) -> "Excess":
        """Some of the trials."""
        names = ("y", "ln_z", "marks", "power", "spread", "gate")
        return replace(
            self,
            **{name: getattr(self, name)[rows] for name in names},
            whitened=self.whitened
            and Whitened(self.whitened.taps[rows], self.whitened.ahead, self.whitened.slow[rows]),
        )


@dataclass(frozen=True, eq=False, slots=True)
class Whitened:
    """How trials were whitened, so that they can be backward in time as well: an autoregression has no direction.

    Filters ``taps`` (trials, k), which look ``ahead`` by so many samples; ``slow`` (trials,) says whose change was
    taken twice.
    """

    taps: Floats
    ahead: int
    slow: NDArray[np.bool_]

    def of(self, rows: NDArray[np.intp]) -> "Whitened":
        return Whitened(self.taps[rows], self.ahead, self.slow[rows])


def excess(
    x: Array, rate_hz: float, rest: slice, search: slice, p: QuietParameters, how: Whitened | None = None
) -> Excess:
    """The model of trials (trials, samples) whose rest has mean 0 and SD 1; whitened as they were before, with ``how``,
    and then without ``power``, which is known."""
    bin_, block = grid(rate_hz, p)
    per_block = bin_ * block
    quiet = slice(-(-rest.start // per_block), rest.stop // per_block)
    search = slice(-(-search.start // per_block), search.stop // per_block)
    used = x.shape[1] // per_block * per_block

    x = x.astype(np.float32, copy=False)
    power = np.empty((0, 0), np.float32)
    if how is None:
        power = sums(np.square(x[:, :used]), per_block) * np.float32(1 / per_block)
        how = Whitened(*whitening_taps(x[:, rest], rate_hz, p), np.any(swings(x, rate_hz, p), axis=1))
    e = filtered(x, how.taps, how.ahead)[:, :used]
    if how.slow.any():
        e[how.slow] = second_change(e[how.slow], rate_hz, p)
    y = sums(e * e, bin_)
    return replace(over_rest(y, power, quiet, search, (bin_, block), p), whitened=how)


def second_change(e: Floats, rate_hz: float, p: QuietParameters) -> Floats:
    """The change of e over ``second_lag_s``."""
    lag = max(1, round(p.second_lag_s * rate_hz))
    out = e.copy()
    out[:, lag:] -= e[:, :-lag]
    return out


def over_rest(
    y: Floats, power: Floats, quiet: slice, search: slice, lengths: tuple[int, int], p: QuietParameters
) -> Excess:
    """What follows from the energies of bins and the power of blocks; ``y`` is changed. ``lengths``: see ``grid``."""
    bin_, block = lengths
    z = sums(y, block)
    calm = z[:, quiet] <= OUTLIER * np.median(z[:, quiet], axis=1, keepdims=True)
    mean = (z[:, quiet] * calm).sum(axis=1, keepdims=True) / calm.sum(axis=1, keepdims=True)
    mean = np.maximum(mean, np.float32(NOTHING))
    y *= block / mean
    ln_z = np.log(np.maximum(z / mean, 1e-6))
    spread = np.clip(ln_z[:, quiet], -1.5, 1.5).std(axis=1)
    gate = np.maximum(p.gate_floor_db / DB_PER_LN, p.gate_spreads * spread)
    marks = np.clip((ln_z - gate[:, None]) / (p.gate_width_db / DB_PER_LN), -1, 1)
    span = max(1, round(p.span_s / p.block_s))
    return Excess(y, ln_z, marks, power, spread, gate, bin_, block, span, quiet, search)


def grid(rate_hz: float, p: QuietParameters) -> tuple[int, int]:
    """Samples a bin, and bins a block."""
    bin_ = max(1, round(p.bin_s * rate_hz))
    return bin_, max(1, round(p.block_s * rate_hz / bin_))


def sums(x: Floats, length: int) -> Floats:
    """Sums over consecutive stretches of ``length`` columns."""
    return (x.reshape(-1, length) @ np.ones(length, np.float32)).reshape(len(x), -1)


def whitening_taps(quiet: Floats, rate_hz: float, p: QuietParameters) -> tuple[Floats, int]:
    """Filter of each trial (trials, taps), and how many samples it looks ahead.

    It gives the change over ``lag_s`` of the residual of the rest's autoregression averaged over ``smooth_s``, and
    looks ahead by half of ``smooth_s`` and a fifth of ``lag_s`` only: the bias of sharp onsets was least so.
    """
    order = order_of(p.memory_s, rate_hz, quiet.shape[1])
    a = autoregression(quiet, order, p.ridge)

    box = max(1, round(p.smooth_s * rate_hz))
    taps = np.zeros((len(quiet), order + box))
    for k in range(box):
        taps[:, k] += 1 / box
        taps[:, k + 1 : k + 1 + order] -= a / box
    lag = max(1, round(p.lag_s * rate_hz))
    taps = np.pad(taps, ((0, 0), (0, lag))) - np.pad(taps, ((0, 0), (lag, 0)))
    return taps.astype(np.float32), box // 2 + lag // 5


def swings(x: Floats, rate_hz: float, p: QuietParameters) -> NDArray[np.bool_]:
    """Where trials hold something slow and strong, a swing or heart beats: (trials, stretches of 0.1 s).

    That is a stretch with more than three times the power of the rest, of which the mean over ``slow_s``, taken
    every eighth of it, keeps ``slow_share``: nearly all at 20 Hz, hardly a twentieth from 50 Hz on.
    """
    box = max(1, round(p.slow_s * rate_hz))
    step = max(1, box // 8)
    box, per_stretch = max(1, round(box / step)), max(1, round(0.1 * rate_hz / step))
    length = per_stretch * step
    used = x.shape[1] // length * length
    power = sums(np.square(x[:, :used]), length)
    total = np.cumsum(np.pad(sums(x[:, :used], step), ((0, 0), (box // 2 + 1, box - box // 2 - 1))), axis=1)
    mean = np.zeros((len(x), used // step), np.float32)
    mean[:, : total.shape[1] - box] = (total[:, box:] - total[:, :-box]) / (box * step)
    return (power > 3 * length) & (step * sums(np.square(mean), per_stretch) > p.slow_share * power)


def partly_flat(x: Array, rest: slice, rate_hz: float, p: QuietParameters) -> NDArray[np.bool_]:
    """Where the rest of trials (trials, samples) holds nothing for ``DEAD_SHARE`` of its blocks or more, (trials,)."""
    length = max(2, round(p.block_s * rate_hz))
    quiet = x[:, rest]
    quiet = quiet[:, : quiet.shape[1] // length * length]
    if not quiet.size:
        return np.zeros(len(x), bool)
    power = quiet.reshape(len(x), -1, length).var(axis=2)
    loud = np.quantile(power, 0.8, axis=1, keepdims=True)
    return (power <= loud * 10 ** (DEAD_DB / 10)).mean(axis=1) >= DEAD_SHARE


def prevalence(marks: Floats, span: int) -> Array:
    """Mean mark of each stretch of ``span`` blocks, by its first block; -1 where the marks are fewer than that."""
    if marks.shape[1] < span:
        return np.full((len(marks), 1), -1.0)
    total = np.cumsum(np.pad(marks, ((0, 0), (1, 0))), axis=1, dtype=np.float64)
    return (total[:, span:] - total[:, :-span]) / span


@dataclass(frozen=True, eq=False)
class Doubt:
    """What is wrong with the rest of each trial, in a word or "", and the levels between which the rest may lie.

    ``low`` and ``high`` (trials,) are in ln z: 0 where the rest can be trusted.
    """

    notes: NDArray[np.str_]
    low: Array
    high: Array


def doubts(s: Excess, needed: float) -> Doubt:
    """ "active before the cue": activity prevails in a stretch of the rest, or a stretch of the search lies ``LOUD_DB``
    and more than chance below the rest, which then may lie as low as that. "drifting": the halves of the rest differ by
    more than ``DRIFT_DB`` and chance; it may lie at the level of either."""
    ln_z = s.ln_z[:, s.rest]
    middle = ln_z.mean(axis=1)
    half = ln_z.shape[1] // 2
    early, late = ln_z[:, :half], ln_z[:, half:]
    change = early.mean(axis=1) - late.mean(axis=1)
    chance = 3 * np.sqrt(early.var(axis=1) / early.shape[1] + late.var(axis=1) / late.shape[1])
    drifting = np.abs(change) > np.maximum(DRIFT_DB / DB_PER_LN, chance)

    below = -s.ln_z[:, s.search]
    limit = np.maximum(LOUD_DB / DB_PER_LN, 3 * s.spread * np.sqrt(1 / s.span + 1 / ln_z.shape[1]))
    quieter = (below > limit[:, None]) & (s.ln_z[:, s.search] > NO_SIGNAL_DB / DB_PER_LN)
    stretch = prevalence(np.where(quieter, 1.0, -1.0).astype(np.float32), s.span)
    loud = stretch.max(axis=1) >= needed
    depth = np.where(quieter, below, 0).sum(axis=1) / np.maximum(quieter.sum(axis=1), 1)

    active = loud | (prevalence(s.marks[:, s.rest], s.span).max(axis=1) >= needed)
    drifting &= ~active
    halves = np.stack([early.mean(axis=1), late.mean(axis=1)]) - middle
    low = np.where(drifting, halves.min(axis=0), 0.0)
    low = np.where(loud, np.minimum(low, -depth), low)
    notes = np.where(active, "active before the cue", np.where(drifting, "drifting", ""))
    return Doubt(notes, low, np.where(drifting, halves.max(axis=0), 0.0))
