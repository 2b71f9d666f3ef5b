"""Does a stretch of signal stand still for a while, as where packets were lost, or an input was cut off.

One stretch of one channel, (samples,), unfiltered, any unit, missing as NaN.

    longest_still       samples of its longest standstill
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.signal.filters import checked_samples, finite_runs
from emgreview.signal.stuck import STILL_S, STILL_TIMES


def longest_still(x: ArrayLike, rate_hz: float) -> int:
    """Samples of the longest stretch of one value that neither rounding nor holding explains; 0 where there is none.

    It lasts :data:`~emgreview.signal.stuck.STILL_S` or longer, 6 samples at least, and
    :data:`~emgreview.signal.stuck.STILL_TIMES` times as long as the longest of those that do not, as in the findings of
    ``check``. Stretches at the lowest and highest value are left to clipping. A stretch that is nothing but one value
    is flat, and gives 0. Raises SignalError.

    Simulated trials of 2.5 s at 200 Hz to 20 kHz, 60 to 300 a cell, rest in steps of 0 to 3 of its SD, a burst of 20
    dB: none is said to stand still, nor, in steps of up to 2 SD, one that was sampled once in 2 to 10 samples and held.
    Found are, of standstills of 30 ms, 98 % or more in steps of up to 0.2 SD from 500 Hz on (at 200 Hz 99 % without
    steps and nearly none with), 0 to 98 % in steps of 1 SD; of 100 ms all up to 0.2 SD, 43 % at 200 Hz and 90 % or more
    above in steps of 1 SD; where rest moves by less than a step, few. Of real stretches none
    of 1,131 of 2.2 s stands still (forearm, biceps, 1 kHz), and 4 of 36,632 of 8 bit and 150 samples (fingers, 200 Hz).
    Our own rule, no paper.
    """
    samples, rate_hz = checked_samples(x), checks.rate(rate_hz)
    if samples.ndim != 1:
        raise SignalError(
            f"the stretch came with shape {np.shape(x)}; allowed: (samples,); give one channel of one trial at a time."
        )
    lengths, values = [], []
    for start, stop in finite_runs(samples):
        edges = np.concatenate(([0], np.flatnonzero(np.diff(samples[start:stop]) != 0) + 1, [stop - start]))
        lengths.append(np.diff(edges))
        values.append(samples[start:stop][edges[:-1]])
    if not lengths:
        return 0
    length, value = np.concatenate(lengths), np.concatenate(values)
    inner = length[(value > value.min()) & (value < value.max())]
    if not inner.size:
        return 0
    limit = max(6, math.ceil(STILL_S * rate_hz), STILL_TIMES * int(np.median(inner)))  # a held signal repeats all
    while (longer := STILL_TIMES * int(inner[inner < limit].max(initial=0))) > limit:
        limit = longer
    return int(inner[inner >= limit].max(initial=0))
