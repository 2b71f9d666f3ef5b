"""Is a file what it seems: questions that only a person who knows the recording can answer; nothing is corrected.

A question is a :class:`~emgreview.signal.findings.Finding` that says what was seen, with its number, and asks. Codes:
"rectified?", "smoothed?", "bandwidth?", "resolution?"; wrong units are findings already ("too small", "too large").

    asked_of        questions about one channel
    ASKED           their limits, and where each comes from
"""

import math
from collections.abc import Iterator, Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from emgreview.signal.findings import OWN, PRACTICE, Finding, Limit

FloatArray = NDArray[np.floating]

ASKED: Mapping[str, Limit] = MappingProxyType(
    {
        "rectified?": Limit(2.0, "times", OWN),
        "smoothed?": Limit(100.0, "Hz", OWN),
        "bandwidth?": Limit(1000.0, "Hz", PRACTICE),
        "resolution?": Limit(1.0, "times", OWN),
    }
)
"""Rectified: how much further the upper thousandth lies from the median than the lower one, which is 1 of a symmetric
signal and 3.9 of a rectified Gaussian one. Smoothed: below which 99.9 % of the power lies. Bandwidth: the lowest
sampling rate at which a band up to 450 or 500 Hz fits. Resolution: the converter's step over the RMS at rest."""

FEWEST = 1000
"""Samples that a question about their distribution needs."""
MOST_POWER = 0.999


def asked_of(
    label: str,
    values: FloatArray,
    frequency_hz: FloatArray,
    density: FloatArray,
    rate_hz: float,
    baseline_rms: float,
    step: float,
    unit: str,
) -> Iterator[Finding]:
    """Questions about a channel: its present ``values`` (samples,), their power density (both arrays empty where none
    could be measured), the RMS at rest and the converter's step in ``unit``."""

    def ask(code: str, words: str, value: float) -> Finding:
        limit = ASKED[code]
        whole = f"{words} (limit {limit.value:g} {limit.unit}; {limit.source})."
        return Finding(
            code=code,
            channels=(label,),
            words=whole,
            value=value,
            unit=limit.unit,
            limit=limit.value,
            source=limit.source,
        )

    if values.size < FEWEST or not np.ptp(values):
        return
    low, middle, high = np.quantile(values, [0.001, 0.5, 0.999])
    lopsided = float((high - middle) / (middle - low)) if middle > low else math.inf
    rectified = bool(values.min() >= 0 and lopsided >= ASKED["rectified?"].value)
    edge_hz = _edge(frequency_hz, density)
    smoothed = edge_hz < min(ASKED["smoothed?"].value, 0.35 * rate_hz)
    if rectified:
        also = ", and smoothed" if smoothed else ""
        yield ask(
            "rectified?",
            f"No value lies below 0, and the upper thousandth lies {lopsided:.3g} times as far from the median as the "
            f"lower one: was this rectified{also} before? Onsets, spectra and hum are judged on the signal as recorded",
            lopsided,
        )
    elif smoothed:
        yield ask(
            "smoothed?",
            f"{MOST_POWER:.1%} of the power lies below {edge_hz:.3g} Hz, though {rate_hz:g} samples a second hold up "
            f"to {rate_hz / 2:g} Hz: was this smoothed or low-passed before, or does drift hide all else?",
            edge_hz,
        )
    if rate_hz < ASKED["bandwidth?"].value:
        yield ask(
            "bandwidth?",
            f"{rate_hz:g} samples a second hold up to {rate_hz / 2:g} Hz; surface EMG reaches 400 to 500 Hz. Was it "
            "low-passed below that before it was sampled? Else higher frequencies are folded into the band",
            rate_hz,
        )
    if step > ASKED["resolution?"].value * baseline_rms:
        yield ask(
            "resolution?",
            f"The converter's step of {step:.3g} {unit} is {step / baseline_rms:.3g} times the RMS at rest, "
            f"{baseline_rms:.3g} {unit}: is the amplifier's range or gain meant so?",
            step / baseline_rms,
        )


def _edge(frequency_hz: FloatArray, density: FloatArray) -> float:
    """The frequency below which nearly all the power lies; infinite where it is not known."""
    if not len(frequency_hz) or not density.sum() > 0:
        return math.inf
    below = np.cumsum(density) / density.sum()
    return float(frequency_hz[int(np.argmax(below >= MOST_POWER))])
