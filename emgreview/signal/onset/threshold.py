"""Single threshold on the envelope of the rectified signal.

e = low-pass(|x|), zero-phase; theta = mean(e in rest) + k SD(e in rest); the onset is the first sample of the first run
of at least ``run_s`` in which every e > theta. Structure after Hodges and Bui 1996 (Electroencephalogr Clin
Neurophysiol 101:511-519), read as an abstract.

Departures: they asked that the MEAN over the stretch exceeds theta, here every sample must; the low-pass runs in both
directions; the offset, which they did not give as far as was read, is the last sample above theta before ``quiet_s``
below it. A threshold gives neither interval nor presence nor rise: those are NaN.

    ThresholdParameters, find_threshold     the method
    envelope, find_crossings                its steps, shared with the energy method
"""

from dataclasses import dataclass

import numpy as np
from scipy import signal

from emgreview import checks
from emgreview.checks import check_ranges
from emgreview.errors import RateError
from emgreview.signal.onset.common import Array, Batch, burst_level_db, nothing, run_start

LIMITS = {"k": (0, 1000), "run_s": (0, 1), "quiet_s": (0, 10), "envelope_hz": (0.1, 1e5)}


@dataclass(frozen=True, slots=True, kw_only=True)
class ThresholdParameters:
    """``k`` standard deviations, run and quiet lengths in seconds; corner and order of one pass of the low-pass."""

    k: float = 3.0
    run_s: float = 0.025
    quiet_s: float = 0.1
    envelope_hz: float = 50.0
    envelope_order: int = 2

    def __post_init__(self) -> None:
        check_ranges(self, LIMITS)
        checks.whole("envelope_order", self.envelope_order, least=1, most=8)


def find_threshold(batch: Batch, parameters: ThresholdParameters) -> dict[str, Array]:
    return find_crossings(batch, envelope(np.abs(batch.x), batch.rate_hz, parameters), parameters)


def envelope(x: Array, rate_hz: float, parameters: ThresholdParameters) -> Array:
    """Zero-phase Butterworth low-pass along the last axis."""
    if parameters.envelope_hz >= rate_hz / 2:
        raise RateError(
            f"an envelope at {parameters.envelope_hz:g} Hz came with a sampling rate of {rate_hz:g} Hz; "
            f"it must lie below {rate_hz / 2:g} Hz; give a lower envelope_hz."
        )
    sos = signal.butter(parameters.envelope_order, parameters.envelope_hz, fs=rate_hz, output="sos")
    return signal.sosfiltfilt(sos, x, axis=-1)


def find_crossings(batch: Batch, e: Array, parameters: ThresholdParameters) -> dict[str, Array]:
    """Onset and offset where ``e`` (trials, samples) leaves and regains the level of rest."""
    rest = e[:, batch.rest]
    theta = rest.mean(axis=1) + parameters.k * rest.std(axis=1)
    above = e[:, batch.search] > theta[:, None]
    run = max(1, round(parameters.run_s * batch.rate_hz))
    quiet = max(1, round(parameters.quiet_s * batch.rate_hz))

    onset = run_start(above, run)
    active = onset >= 0
    after = np.arange(above.shape[1]) >= onset[:, None]
    end = run_start(~above & after, quiet)

    found = nothing(len(batch))
    first = batch.search.start
    found["onset_s"] = np.where(active, (first + onset) / batch.rate_hz, np.nan)
    found["offset_s"] = np.where(active & (end > 0), (first + end - 1) / batch.rate_hz, np.nan)
    start = np.where(active, first + onset, 0)
    stop = np.where(active, np.where(end > 0, first + end, batch.search.stop), 0)
    found["level_db"] = burst_level_db(batch.x**2, start, stop)
    return found
