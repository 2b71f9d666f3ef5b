"""Can anybody judge activity on this stretch of this channel at all, or is it dead, flat, clipped or missing.

A dead channel on which hum or heart beats stand is not dead by its level; the findings of a whole channel see it.
A clipped burst has an onset and no size. What decides about the onset is how far the rail lies from the rest, not how
much of the burst is cut: :data:`HEADROOM` has the figures.

Arrays are (samples,), missing as NaN; levels in the unit of the signal.

    unfit           why not: the kind, and a few words
    unfit_words     the words alone
    band_level      RMS in the band, whatever knocks on it
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.signal.clip import headroom
from emgreview.signal.filters import checked_samples, finite_runs
from emgreview.signal.findings import LIMITS
from emgreview.signal.quality import RAIL_STEPS, clipped_share, flat_share, step_size

DEAD_UV = LIMITS["dead"].value
"""A channel at or below this RMS in the band, in µV, is dead: the limit of the findings. Two skin contacts of 7.5 kΩ
each make 0.33 µV between 20 and 450 Hz by their warmth alone (Johnson and Nyquist 1928: sqrt(4 k T R B), 15 kΩ at
306 K), before any amplifier and muscle. Contacts that are worse make more, far better ones less; an amplifier adds its
own. That a dead channel reads 0.15 to 0.3 µV: common practice, no source."""
HALF = 0.5
"""Share of a stretch from which on missing, flat or clipped samples are too many to judge it."""
HEADROOM = 4.0
"""Where both rails lie less than this many SD of the rest from it, not even an onset can be judged. Default method, 2
kHz, simulated bursts of 20, 40 and 60 dB that rise in 20 ms, 40 trials each: with rails at 40, 10 and 5 SD it was late
or early by 2 to 5 ms in the middle, and by more than 20 ms in 0 to 5 % of trials (without rails 2.5 %), though at 60 dB
and 5 SD all but 1 % of the burst was clipped. At 3 SD it was off by more than 20 ms in 18 to 28 % of trials, at 2 SD in
42 to 52 %, and at 1.2 SD nearly no onset was found. Our own measurement."""
LEVEL_PIECE_S, LEVEL_QUIETER = 0.05, 0.9
"""The level in the band is that of the quieter nine tenths of a stretch, in pieces of 50 ms: a knock on a dead channel
does not bring it to life. Common practice, no source."""


Rest = slice | NDArray[np.bool_]
"""Which samples of a stretch rest."""


def unfit_words(x: ArrayLike, banded: ArrayLike, rate_hz: float, *, unit: str = "uV", rest: Rest | None = None) -> str:
    """Why nobody can judge activity on one stretch of one channel, in a few words; "" where it can be judged: the
    second part of :func:`unfit`, which see."""
    return unfit(x, banded, rate_hz, unit=unit, rest=rest)[1]


def unfit(
    x: ArrayLike, banded: ArrayLike, rate_hz: float, *, unit: str = "uV", rest: Rest | None = None
) -> tuple[str, str]:
    """Why nobody can judge activity on one stretch of one channel: the kind, by which stretches are counted ("missing",
    "flat", "clipped", "clipped down to its rest", "less than a step", "dead"), and a few words with the figures. Both
    are "" where it can be judged.

    ``x`` is the stretch unfiltered, ``banded`` the same in the band, (samples,) each, missing as NaN. In this order: at
    least half of the samples are missing, clipped (at the lowest or highest value, and staying there) or flat; both
    rails lie less than :data:`HEADROOM` SD from its ``rest``, a slice or a mask (samples,) of the stretch (not asked
    without one); it moves by less than one step of the converter; its level in the band (:func:`band_level`) is at most
    :data:`DEAD_UV`, which is the one definition of a dead channel. With a ``unit`` other than "uV" only a level of 0 is
    dead, since nothing is known of its size. Raises SignalError.
    """
    raw, band = checked_samples(x), checked_samples(banded)
    if raw.ndim != 1 or raw.shape != band.shape or raw.size == 0:
        raise SignalError(
            f"the stretch came with shapes {np.shape(x)} and {np.shape(banded)}; allowed: (samples,) for both, alike "
            "and not empty; give one channel of one trial at a time."
        )
    rate_hz = checks.rate(rate_hz)
    missing = float(max(np.isnan(raw).mean(), np.isnan(band).mean()))
    if missing >= HALF:
        return "missing", "no samples" if missing == 1 else f"{missing:.0%} of its samples are missing"
    values = raw[~np.isnan(raw)]
    low, high = float(values.min()), float(values.max())
    if low == high:
        return "flat", "flat: it never changes"
    step = step_size(values)
    near = step if high - low >= RAIL_STEPS * step else math.nan
    clipped = clipped_share(values, step=near, rails=(low, high))
    if clipped >= HALF:
        return "clipped", f"clipped in {clipped:.0%} of its samples"
    room = math.inf if rest is None else headroom(raw, rest)
    if room < HEADROOM:
        return (
            "clipped down to its rest",
            f"clipped at {room:.1f} SD of its rest: what is active and what rests can hardly be told apart",
        )
    flat = flat_share([raw[start:stop] for start, stop in finite_runs(raw)], rate_hz, step=step)
    if flat >= HALF:
        return "flat", f"flat in {flat:.0%} of its samples"
    if step > np.std(values):
        return "less than a step", "it moves by less than one step of the converter"
    level = band_level(band, rate_hz)
    if level == 0:
        return "dead", "dead: nothing in the band"
    if unit == "uV" and level <= DEAD_UV:
        return (
            "dead",
            f"dead: {level:.2g} µV RMS in the band, no more than two skin contacts of 7.5 kΩ make by their warmth "
            f"alone ({DEAD_UV:g} µV)",
        )
    return "", ""


def band_level(banded: ArrayLike, rate_hz: float) -> float:
    """RMS of the quieter nine tenths of a stretch (samples,), in its own unit, told apart in equal pieces of 50 ms or
    a little more. Missing samples do not count; NaN where all are missing.
    """
    x, rate_hz = checked_samples(banded), checks.rate(rate_hz)
    if x.size == 0:
        return math.nan
    n = max(1, int(x.size / max(1.0, LEVEL_PIECE_S * rate_hz)))
    present, starts = ~np.isnan(x), np.arange(n) * x.size // n
    counts = np.add.reduceat(present.astype(np.float64), starts)
    sums = np.add.reduceat(np.where(present, x, 0.0) ** 2, starts)
    power = np.sort(sums[counts > 0] / counts[counts > 0])
    if power.size == 0:
        return math.nan
    return math.sqrt(power[: max(1, math.ceil(LEVEL_QUIETER * power.size))].mean())
