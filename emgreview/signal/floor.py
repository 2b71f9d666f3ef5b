"""The detection floor: the smallest burst that a method still finds in a person's own recording.

"No onset found" is not "no activity". So a person's own bursts are scaled down, put into that person's own rest at
known places, and sought again. The share found rises with their level; the floor is where it passes 95 %. Arrays are
(rows, samples), band-passed, in one unit; levels in dB are the burst alone, from onset to offset, over the rest.

    Floor, find_floor     the floor with its confidence interval
    rising_floor          where a curve through shares found passes a share

A burst counts as found where the method's onset lies between 0.1 s before its true onset and its true offset: an onset
elsewhere is not a finding.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.model import to_sample
from emgreview.signal.measures import ROUNDING, rms
from emgreview.signal.onset import checked_method, estimate_onsets

FloatArray = NDArray[np.floating]

REST_S = 0.5
LEAD_S, TAIL_S = (0.15, 0.25), 0.3
"""Quiet between the start of the search and the burst (drawn from a range), and after it."""

EARLY_S = 0.1
JOIN_S = 0.005
COARSE_DB = np.arange(-9.0, 31.0, 3.0)
FINE_DB = np.arange(-4.0, 3.0, 0.5)
LEAST_RESTS, LEAST_BURSTS = 5, 1
BOOTSTRAPS = 1000


@dataclass(frozen=True, eq=False)
class Floor:
    """The level found in a share of trials; :func:`emgreview.detection_floor` returns it.

    Levels are NaN where there was too little rest or no burst, no level was found that
    often, or the interval has no end within the levels tried.

    Attributes
    ----------
    share : float
        The share of trials that was asked for.
    level_db, low_db, high_db : float
        The floor with its 95 % interval, in dB over rest.
    level, low, high : float
        The same as RMS of the burst alone, in the unit of the signal.
    rest : float
        Median RMS of the rest.
    tried_db, found_share : ndarray
        The curve: levels tried, and the share found at each.
    injected, rests, bursts : int
        How many bursts were put in, and how many rests and bursts there were.
    method : str
        The onset method.
    parameters : mapping
        Its parameters.
    note : str
        Why something is missing; "" where nothing is.
    left_out : tuple of str
        Bursts and rests that took no part, where the caller knows.
    """

    share: float
    level_db: float
    low_db: float
    high_db: float
    level: float
    low: float
    high: float
    rest: float
    tried_db: FloatArray
    found_share: FloatArray
    injected: int
    rests: int
    bursts: int
    method: str
    parameters: Mapping[str, Any] = field(repr=False)
    note: str = ""
    left_out: tuple[str, ...] = ()


def find_floor(
    rests: ArrayLike,
    bursts: Sequence[ArrayLike],
    rate_hz: float,
    *,
    method: str = "ramp",
    share: float = 0.95,
    injections: int = 200,
    seed: int = 0,
    **parameters: Any,
) -> Floor:
    """The floor of one channel of one person.

    ``rests`` (stretches, samples) is rest, one stretch a trial; ``bursts`` are that person's own, (samples,) each, from
    onset to offset. Rows of rest are made by joining stretches of different trials, each row at the level of one trial;
    one burst is put into each row, and ``method`` with its ``parameters`` seeks it
    (:func:`emgreview.signal.onset.estimate_onsets`). At each level ``injections`` rows are tried, the same rows and
    bursts at all levels. The interval comes from drawing the bursts and the stretches of rest anew, 1000 times, so that
    it widens where there are few (rather wide than narrow: both are drawn at once). Same seed, same result.

    A burst holds the noise that lay over it, scaled with it, so give strong ones (20 dB or more). Fewer than 5 whole
    stretches of rest that vary, or no burst, is a floor of NaN with a note, so that a table over people goes on. Raises
    SignalError for stretches shorter than 0.1 s or of another shape, ParameterError.
    """
    share = checks.number("share", share, least=0.5, below=1)
    injections = checks.whole("injections", injections, least=20)
    seed = checks.whole("seed", seed, least=0)
    checked_method(method, parameters)
    quiet = checks.samples(rests)
    if quiet.ndim != 2 or quiet.shape[1] < to_sample(0.1, rate_hz):
        raise SignalError(
            f"rests came with shape {quiet.shape}; allowed: (stretches, samples) of 0.1 s or more each; cut trials "
            "with a longer rest."
        )
    quiet = quiet[np.isfinite(quiet).all(axis=1)]
    varies = quiet.std(axis=1) > ROUNDING * rms(quiet)
    quiet = (quiet - quiet.mean(axis=1, keepdims=True))[varies]
    rest = float(np.median(quiet.std(axis=1))) if len(quiet) else math.nan
    signals = [checks.samples(burst) for burst in bursts]
    signals = [burst for burst in signals if burst.ndim == 1 and burst.any() and np.isfinite(burst).all()]
    asked: dict[str, Any] = {
        "share": share,
        "rests": len(quiet),
        "bursts": len(signals),
        "method": method,
        "parameters": parameters,
    }
    if len(quiet) < LEAST_RESTS or len(signals) < LEAST_BURSTS:
        return _unknown(rest, asked)
    rng = np.random.default_rng(seed)
    which = rng.integers(len(signals), size=injections)
    lead_s = rng.uniform(*LEAD_S, injections)
    longest = max(burst.size for burst in signals)
    samples = to_sample(REST_S + LEAD_S[1] + TAIL_S, rate_hz) + longest
    rows, first = _join(quiet, (injections, samples), to_sample(JOIN_S, rate_hz), rng)
    onset = np.array([to_sample(REST_S + lead, rate_hz) for lead in lead_s])
    injected = np.zeros((injections, samples))
    offset = np.empty(injections, dtype=np.intp)
    for row, start, index in zip(range(injections), onset, which, strict=True):
        burst = signals[index] / math.sqrt(np.mean(signals[index] ** 2))
        offset[row] = start + burst.size
        injected[row, start : offset[row]] = burst

    def found(level_db: float) -> NDArray[np.bool_]:
        x = rows + rest * 10 ** (level_db / 20) * injected
        at = estimate_onsets(x, rate_hz, cue_s=REST_S, rest_s=(-REST_S, 0.0), method=method, **parameters).onset_s
        return (at >= onset / rate_hz - EARLY_S) & (at <= offset / rate_hz)

    hits: dict[float, NDArray[np.bool_]] = {}
    rough = math.nan
    for level_db in map(float, COARSE_DB):
        hits[level_db] = found(level_db)
        if math.isfinite(rough):
            break  # one level beyond, so that the curve has an upper end
        if hits[level_db].mean() >= share:
            rough = level_db
    if math.isnan(rough):
        levels = np.array(sorted(hits))
        shares = np.array([hits[level].mean() for level in levels])
        numbers = (math.nan, math.nan, math.nan)
    else:
        hits |= {float(level): found(level) for level in rough + FINE_DB if float(level) not in hits}
        levels = np.array(sorted(hits))
        matrix = np.stack([hits[level] for level in levels], axis=1).astype(np.float64)
        shares = matrix.mean(axis=0)
        weights = _redrawn(rng, which, len(signals)) * _redrawn(rng, first, len(quiet))
        drawn = weights @ matrix / np.maximum(weights.sum(axis=1, keepdims=True), 1e-12)
        point = rising_floor(levels, shares[np.newaxis], share)[0]
        others = np.nan_to_num(rising_floor(levels, drawn, share), nan=np.inf)
        ends = np.quantile(others, (0.025, 0.975), method="closest_observation")
        low, high = np.where(np.isfinite(ends), ends, np.nan)
        numbers = (float(point), float(low), float(high))
    level, lowest, highest = (rest * 10 ** (number / 20) for number in numbers)
    return Floor(
        **asked,
        level_db=numbers[0],
        low_db=numbers[1],
        high_db=numbers[2],
        level=level,
        low=lowest,
        high=highest,
        rest=rest,
        tried_db=levels,
        found_share=shares,
        injected=injections,
        note=_why_missing(numbers, levels, shares, share),
    )


def _unknown(rest: float, asked: Mapping[str, Any]) -> Floor:
    """The floor where nothing could be tried."""
    note = (
        f"{asked['rests']} whole stretches of rest that vary and {asked['bursts']} bursts came; {LEAST_RESTS} and "
        f"{LEAST_BURSTS} are needed at least: look for a dead channel or an active rest, and pool the blocks of this "
        "person and channel."
    )
    nothing, nan = np.empty(0), math.nan
    return Floor(
        **asked, level_db=nan, low_db=nan, high_db=nan, level=nan, low=nan, high=nan, rest=rest, tried_db=nothing,
        found_share=nothing, injected=0, note=note,
    )  # fmt: skip


def _why_missing(numbers: tuple[float, float, float], levels: FloatArray, shares: FloatArray, share: float) -> str:
    """Why the level or an end of its interval is missing, in words; "" where none is."""
    if not np.isnan(numbers).any():
        return ""
    tried = f"{levels[0]:g} to {levels[-1]:g} dB"
    if not math.isnan(numbers[0]):
        return f"the interval has no end within the levels tried, {tried}: too few bursts or stretches of rest."
    if shares.max() < share:
        return f"no level tried, {tried}, was found in {share:.0%} of trials; {shares.max():.0%} at most."
    return f"{share:.0%} was reached at one level and not kept at stronger ones, {tried}: try more injections."


def rising_floor(levels_db: ArrayLike, shares: ArrayLike, share: float) -> FloatArray:
    """Level at which shares found, made to rise, pass ``share``: (curves, levels) to (curves,).

    The curve is the closest one in least squares that never falls: at each level the largest, over starts at or before
    it, of the smallest, over stops at or after it, of the mean between them (isotonic regression; Barlow, Bartholomew,
    Bremner & Brunk 1972; from memory), and straight between levels. It assumes no shape. NaN where it stays below.
    """
    level, y = np.asarray(levels_db, dtype=np.float64), np.asarray(shares, dtype=np.float64)
    n = len(level)
    total = np.cumsum(np.pad(y, ((0, 0), (1, 0))), axis=1)
    start, stop = np.arange(n)[:, np.newaxis], np.arange(n)[np.newaxis]
    mean = (total[:, 1:][:, np.newaxis, :] - total[:, :-1][:, :, np.newaxis]) / np.maximum(stop - start + 1, 1)
    mean = np.where(stop >= start, mean, np.inf)
    to_the_right = np.minimum.accumulate(mean[:, :, ::-1], axis=2)[:, :, ::-1]
    rising = np.maximum.accumulate(np.where(stop >= start, to_the_right, -np.inf), axis=1)[
        :, np.arange(n), np.arange(n)
    ]
    reached = rising >= share - 1e-12
    above = reached.argmax(axis=1)
    below = np.maximum(above - 1, 0)
    rows = np.arange(len(y))
    gain = rising[rows, above] - rising[rows, below]
    part = np.where(gain > 0, (share - rising[rows, below]) / np.where(gain > 0, gain, 1.0), 1.0)
    passed = level[below] + part * (level[above] - level[below])
    return np.where(reached.any(axis=1), passed, np.nan)


def _redrawn(rng: np.random.Generator, member: NDArray[np.intp], groups: int) -> FloatArray:
    """How often each entry counts when its group is drawn anew, (BOOTSTRAPS, entries)."""
    return rng.multinomial(groups, np.full(groups, 1 / groups), size=BOOTSTRAPS)[:, member].astype(np.float64)


def _join(
    quiet: FloatArray, shape: tuple[int, int], overlap: int, rng: np.random.Generator
) -> tuple[FloatArray, NDArray[np.intp]]:
    """Rows of rest made of stretches of different trials, each fading into the next with constant power.

    All stretches of a row are brought to the level of its first: rest wanders from trial to trial, and a row that put
    them together as they are would hold steps that no trial has. The second result says which stretch begins each row.
    """
    rows, samples = shape
    length = quiet.shape[1]
    overlap = min(overlap, length // 4)
    step = length - overlap
    pieces = math.ceil(samples / step) + 1
    order = np.stack([np.resize(rng.permutation(len(quiet)), pieces) for _ in range(rows)])
    ramp = np.sin(0.5 * np.pi * (np.arange(overlap) + 0.5) / max(overlap, 1))
    fade = np.ones(length)
    fade[:overlap], fade[length - overlap :] = ramp, ramp[::-1]
    level = quiet.std(axis=1)
    out = np.zeros((rows, (pieces - 1) * step + length))
    for piece in range(pieces):
        gain = level[order[:, 0]] / level[order[:, piece]]
        out[:, piece * step : piece * step + length] += gain[:, np.newaxis] * quiet[order[:, piece]] * fade
    return out[:, overlap : overlap + samples], order[:, 0]
