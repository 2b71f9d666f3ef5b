"""What two channels have in common, which may be a neighbour's signal: a caution, never a verdict.

A high correlation at a short lag says that two channels may hear one source. A low one is no acquittal: crosstalk comes
largely from potentials that end at the tendon, do not travel, and look different under either pair of electrodes, so
cross-correlation is not a reliable measure of it (a published caution; :func:`shared_words` repeats it). Arrays are
(..., samples), band-passed, not rectified.

    Shared, lagged_correlation      largest correlation over lags, and its lag
    chance_share                    what unrelated stretches of the same signals reach
    shared_words                    the result in words that claim no more than it says
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.model import to_sample
from emgreview.signal.filters import checked_samples

FloatArray = NDArray[np.floating]

LONGEST_LAG_S = 0.03
NOTEWORTHY = 0.09
"""R² from which the words become a caution: R = 0.3 (our own choice)."""


@dataclass(frozen=True, slots=True, eq=False)
class Shared:
    """(...,): the correlation ``r`` of largest size, with its sign; its ``lag_s``, positive where B is later; r²."""

    r: FloatArray
    lag_s: FloatArray
    r2: FloatArray


def lagged_correlation(a: ArrayLike, b: ArrayLike, rate_hz: float, *, longest_lag_s: float = LONGEST_LAG_S) -> Shared:
    """The largest abs(R(k)), R(k) = sum a[n] b[n + k] / sqrt(sum a[n]² sum b[n + k]²) over the samples that overlap.

    (..., samples) to (...), over lags within ± ``longest_lag_s``. r² is the share of power in common (Winter,
    Biomechanics and Motor Control of Human Movement, ch. 10: R = 0.6 means 36 %). A delay and a gain, also a negative
    one, leave it at 1. Of two equal values that of the shorter lag counts. NaN where a sample is missing, or a channel
    is 0 throughout.
    """
    a, b = checked_samples(a), checked_samples(b)
    n, rate_hz = a.shape[-1], checks.rate(rate_hz)
    longest = to_sample(
        checks.number("longest_lag_s", longest_lag_s, least=0, below=n / rate_hz / 2, unit="s"), rate_hz
    )
    if a.shape != b.shape:
        raise SignalError(
            f"arrays of shape {a.shape} and {b.shape} came; both must be alike; give the same stretch of both channels."
        )
    best = np.full(a.shape[:-1], np.nan)
    lag = np.full(a.shape[:-1], np.nan)
    for k in sorted(range(-longest, longest + 1), key=abs):
        x, y = (a[..., : n - k], b[..., k:]) if k >= 0 else (a[..., -k:], b[..., : n + k])
        energy = np.einsum("...n,...n", x, x) * np.einsum("...n,...n", y, y)
        r = np.einsum("...n,...n", x, y) / np.sqrt(np.where(energy > 0, energy, np.nan))
        better = ~np.isnan(r) & (np.isnan(best) | (np.abs(r) > np.abs(best) + 1e-12))
        best, lag = np.where(better, r, best), np.where(better, k / rate_hz, lag)
    whole = ~(np.isnan(a).any(axis=-1) | np.isnan(b).any(axis=-1))
    best, lag = np.where(whole, best, np.nan), np.where(whole, lag, np.nan)
    return Shared(best, lag, best**2)


def chance_share(a: ArrayLike, b: ArrayLike, rate_hz: float, *, longest_lag_s: float = LONGEST_LAG_S) -> float:
    """95th percentile of r² between trials that have nothing to do with each other: A of one, B of the next ones.

    (trials, samples), at least 2 trials. In short stretches it is far above 0, because the largest of many lags counts.
    """
    a, b = checked_samples(a), checked_samples(b)
    if a.ndim != 2 or len(a) < 2:
        raise SignalError(f"an array of shape {a.shape} came; chance needs (trials, samples), 2 trials or more.")
    pairs = [
        lagged_correlation(a, np.roll(b, -step, axis=0), rate_hz, longest_lag_s=longest_lag_s).r2
        for step in range(1, min(len(a), 6))
    ]
    found = np.concatenate(pairs)
    return float(np.nanquantile(found, 0.95)) if np.isfinite(found).any() else float("nan")


def shared_words(a: str, b: str, r2: float, lag_s: float, chance: float = float("nan")) -> str:
    """One or two sentences about two channels: what is shared, at which lag, and what this does not show."""
    if np.isnan(r2):
        return f"{a} and {b}: no correlation could be computed; nothing is known about crosstalk."
    numbers = f"{a} and {b} share {100 * r2:.0f} % of their power (R²) at a lag of {1000 * lag_s:+z.1f} ms"
    if not np.isnan(chance):
        numbers += f"; unrelated trials reach {100 * chance:.0f} %"
    if r2 >= max(NOTEWORTHY, 0.0 if np.isnan(chance) else chance):
        return (
            f"{numbers}. Caution: one may hear the other, or both a third muscle; a common drive can look alike. "
            "Equal onsets or levels of the two are no evidence of separate activity."
        )
    return f"{numbers}. This does not rule crosstalk out: much of it has another shape, which R² does not see."
