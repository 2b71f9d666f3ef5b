"""How much of a recording filters need beyond what is looked at around a stimulus, so that they have settled in it.

A filter that starts where the background begins carries what the start itself left into it: over a drift of 1 mV at
1.3 Hz a background of 3 µV came out up to 5 times too large, and its latencies 1 ms late. One that ends with the window
cut the size of a potential that goes on after it by a quarter (simulated, 2 kHz, 20 Hz).

settling        samples more that are read before and after
held            any stretch of a recording, held beyond its ends
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from emgreview.model import Processing, Recording
from emgreview.signal import evoked, filters

FloatArray = NDArray[np.floating]

SETTLED = 1e-5
"""What of a step a filter may still carry: of 100 mV 1 µV (our own choice)."""


def settling(how: Processing, rate_hz: float, *, around: tuple[int, int], rest: int, window: int) -> tuple[int, int]:
    """Samples to read before and after the stretch ``around`` a stimulus, in samples before and after it, so that the
    filters have settled where the background begins, at sample ``rest`` from the stimulus, and where the window ends,
    at sample ``window``."""
    runs: tuple[tuple[int, filters.Direction], ...] = ((how.order, how.direction), (evoked.FORWARD_ORDER, "causal"))
    sized, timed = (
        filters.settling_samples(
            filters.design_bandpass(rate_hz, low_hz=how.low_hz, high_hz=how.high_hz, order=order, direction=direction),
            remaining=SETTLED,
        )
        for order, direction in runs
    )
    lead = max(timed - (around[0] + rest), sized - around[0], 0)
    return lead, max(sized - (around[1] - window), 0) if how.direction == "zero-phase" else 0


def held(rec: Recording, start: int, stop: int, labels: Sequence[str]) -> FloatArray:
    """Samples ``start`` to ``stop`` of some channels, (channels, samples), beyond the recording's ends the nearest."""
    first, last = max(start, 0), min(stop, rec.n_samples)
    return np.pad(rec.values(first, last, labels), ((0, 0), (first - start, stop - last)), mode="edge")
