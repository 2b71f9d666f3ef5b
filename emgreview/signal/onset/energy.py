"""Single threshold on the Teager-Kaiser energy.

psi(n) = x(n)^2 - x(n-1) x(n+1) weighs amplitude by frequency, so that muscle stands out from slow disturbances; then
e = low-pass(|psi|) and the same crossing as in :mod:`~emgreview.signal.onset.threshold`, with theta = mean + k SD of
rest. Li, Zhou and Aruin 2007 (Ann Biomed Eng 35:1532-1538); Solnik et al. 2010 (Eur J Appl Physiol 110:489-498): chain
and k of 6 to 8 from memory.

Departures: band-pass 20 to 450 Hz as the caller chose it (they took 30 to 300 Hz), a run of 10 ms, and the offset as
said there.
"""

from dataclasses import dataclass

import numpy as np

from emgreview.signal.measures import teager_kaiser
from emgreview.signal.onset.common import Array, Batch
from emgreview.signal.onset.threshold import ThresholdParameters, envelope, find_crossings


@dataclass(frozen=True, slots=True, kw_only=True)
class EnergyParameters(ThresholdParameters):
    """As for the threshold, with the values usual for the energy."""

    k: float = 8.0
    run_s: float = 0.010


def find_energy(batch: Batch, parameters: EnergyParameters) -> dict[str, Array]:
    psi = np.abs(teager_kaiser(batch.x))
    return find_crossings(batch, envelope(psi, batch.rate_hz, parameters), parameters)
