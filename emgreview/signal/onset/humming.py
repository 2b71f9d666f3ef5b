"""How far lines of hum stand above the rest that lies between them.

Under hum as strong as the muscle, levels of 0.1 s hardly differ between burst and rest, so that bursts are taken for
rest where nobody says where the rest is. Half seconds are looked at, and at each frequency the lower quartile over
them: in a line that is the line, as it is always there; elsewhere what lies between bursts. The floor beneath a line is
the median over the frequencies beside it. Lines of any frequency count, harmonics with them. Our own rule, no paper.

    hum_db      power of all lines over that of the floor
"""

import math

import numpy as np
from scipy import fft, ndimage, signal

from emgreview.model import to_sample
from emgreview.signal.onset.common import Array

PIECE_S, FEWEST = 0.5, 4
"""Length of what is looked at, half overlapping, and how many it takes."""

BESIDE_HZ, STANDS_OUT = 24.0, 4.0
"""How far to either side the floor is looked for, and from which power over it on a frequency belongs to a line."""

QUARTILE = -math.log(0.75)
"""Lower quartile of the power of noise at one frequency, over its mean (exponential)."""


def hum_db(x: Array, rate_hz: float) -> float:
    """Power of the lines in ``x`` (samples,), in the band, over that of the rest between them, in dB; NaN where there
    is none, or fewer than four half seconds are whole."""
    n = to_sample(PIECE_S, rate_hz)
    starts = np.arange(0, len(x) - n + 1, max(1, n // 2))
    pieces = x[starts[:, np.newaxis] + np.arange(n)]
    pieces = pieces[np.isfinite(pieces).all(axis=1)]
    if len(pieces) < FEWEST:
        return math.nan
    power = np.abs(fft.rfft(signal.detrend(pieces) * signal.windows.blackmanharris(n, sym=False))) ** 2
    usual = np.quantile(power, 0.25, axis=0)
    floor = ndimage.median_filter(usual, 2 * round(BESIDE_HZ * PIECE_S) + 1, mode="nearest") / QUARTILE
    lines = np.where(usual > STANDS_OUT * floor, usual - floor, 0.0).sum()
    return float(10 * np.log10(lines / floor.sum())) if lines > 0 and floor.sum() > 0 else math.nan
