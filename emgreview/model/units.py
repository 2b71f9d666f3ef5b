"""Units of samples, and the one place where seconds become samples."""

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating]

VOLTS: Mapping[str, float] = MappingProxyType({"V": 1e6, "mV": 1e3, "uV": 1.0, "µV": 1.0, "μV": 1.0, "nV": 1e-3})
"""Microvolts in one of each unit of voltage (SI prefixes; both Unicode letters for micro)."""

ARBITRARY = "arbitrary"
"""The unit of samples whose scale to volts is unknown: never labelled as microvolts."""


def to_sample(seconds: float, rate_hz: float) -> int:
    """Nearest sample number of a time in seconds, halves rounded up: the one place where time becomes samples."""
    return math.floor(seconds * rate_hz + 0.5)


def longest(seconds: float, rate_hz: float) -> float:
    """The longest distance, in samples, that still lies within a tolerance: it is not rounded, for then it would be
    another one (10 ms at 250 Hz: 12 ms). What is added, a billionth, makes up for the division alone."""
    return seconds * rate_hz * (1 + 1e-9) + 1e-9
