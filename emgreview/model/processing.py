"""How a recording is conditioned, with a digest kept beside every mark."""

import dataclasses
import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Literal

import numpy as np

from emgreview.checks import likely_unit, refusal, span
from emgreview.errors import ParameterError

LOWEST_UPPER_HZ, LOWEST_LOWER_HZ = 5.0, 0.5
"""A band that ends below the first, or without an upper edge begins below the second, is no band of EMG: kilohertz
were given (our own choice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Processing:
    """How a recording is conditioned: frozen, and hashed so that every mark can name it.

    Parameters
    ----------
    low_hz, high_hz : float, default 20.0 and 450.0
        Corners of the band-pass: the true -3 dB points, after both passes where
        ``direction`` is "zero-phase". ``high_hz`` None leaves the upper side open.
    order : int, default 2
        Order of one Butterworth pass, 1 to 8.
    direction : {"zero-phase", "causal"}
        Forward and backward, or once, forward.
    remove_offset : bool, default True
        Whether the median is taken off before the filter.
    envelope : {"low-pass", "rms"}
        The rectified signal after a low-pass, or its RMS in a centred window.
    envelope_hz : float, default 50.0
        Corner of the low-pass, in the same direction as the band-pass.
    envelope_order : int, default 2
        Order of one pass of the low-pass, 1 to 8.
    envelope_window_s : float, default 0.05
        Length of the window of the RMS, at most 1 s.
    rest_s : (float, float), default (-0.5, 0.0)
        The baseline window, (start, stop) in seconds from the cue.

    Raises
    ------
    ParameterError
        A value lies outside its range, seconds look like milliseconds, or hertz like
        kilohertz.

    Notes
    -----
    Mains is measured and shown; nothing is notched.

    Examples
    --------
    >>> import emgreview as er
    >>> how = er.Processing(low_hz=30, high_hz=None)
    >>> how.words.split("; ")[0]
    'Butterworth 30 Hz (-3 dB), order 2, zero-phase (two passes)'
    """

    low_hz: float = 20.0
    high_hz: float | None = 450.0
    order: int = 2
    direction: Literal["zero-phase", "causal"] = "zero-phase"
    remove_offset: bool = True
    envelope: Literal["low-pass", "rms"] = "low-pass"
    envelope_hz: float = 50.0
    envelope_order: int = 2
    envelope_window_s: float = 0.05
    rest_s: tuple[float, float] = (-0.5, 0.0)

    def __post_init__(self) -> None:
        def demand(good: bool, name: str, allowed: str) -> None:
            if not good:
                raise refusal(name, getattr(self, name), allowed)

        for name in ("low_hz", "high_hz", "envelope_hz", "envelope_window_s"):
            value = getattr(self, name)
            demand(
                isinstance(value, Real) or (name == "high_hz" and value is None), name, "a number, in hertz or seconds"
            )
        demand(
            isinstance(self.rest_s, Sequence | np.ndarray) and all(isinstance(edge, Real) for edge in self.rest_s),
            "rest_s",
            "(start, stop) seconds from the cue",
        )
        demand(math.isfinite(self.low_hz) and self.low_hz > 0, "low_hz", "a frequency above 0 Hz")
        demand(
            self.high_hz is None or self.high_hz > self.low_hz, "high_hz", f"None, or above low_hz ({self.low_hz} Hz)"
        )
        demand(self.order in range(1, 9), "order", "1 to 8")
        kilohertz = self.high_hz is not None and self.high_hz < LOWEST_UPPER_HZ
        if kilohertz or (self.high_hz is None and self.low_hz < LOWEST_LOWER_HZ):
            upper = "" if self.high_hz is None else f" and {1000 * self.high_hz:g}"
            raise ParameterError(
                f"low_hz and high_hz came as {self.low_hz:g} and {self.high_hz}; allowed: frequencies of EMG in hertz, "
                f"the upper one {LOWEST_UPPER_HZ:g} or more, or the lower one {LOWEST_LOWER_HZ:g} or more where there "
                f"is none; correct them: perhaps {1000 * self.low_hz:g}{upper}, if kilohertz were given."
            )
        demand(self.direction in ("zero-phase", "causal"), "direction", "'zero-phase' or 'causal'")
        demand(self.envelope in ("low-pass", "rms"), "envelope", "'low-pass' or 'rms'")
        demand(math.isfinite(self.envelope_hz) and self.envelope_hz > 0, "envelope_hz", "a frequency above 0 Hz")
        demand(self.envelope_order in range(1, 9), "envelope_order", "1 to 8")
        likely_unit("envelope_window_s", self.envelope_window_s, most_s=1.0)
        demand(self.envelope_window_s > 0, "envelope_window_s", "above 0 and at most 1 s")
        span("rest_s", self.rest_s, allowed="(start, stop) seconds from the cue, rising")
        likely_unit("rest_s", self.rest_s)

    @property
    def hash(self) -> str:
        """SHA-256 of the parameters, written as JSON with sorted names."""
        return hashlib.sha256(json.dumps(dataclasses.asdict(self), sort_keys=True).encode()).hexdigest()

    @property
    def words(self) -> str:
        """One sentence for axes, cards and reports."""
        upper = "" if self.high_hz is None else f" to {self.high_hz:g}"
        passes = "zero-phase (two passes)" if self.direction == "zero-phase" else "causal (one pass)"
        if self.envelope == "rms":
            envelope = f"RMS in {self.envelope_window_s * 1000:g} ms"
        else:
            envelope = f"low-pass {self.envelope_hz:g} Hz, order {self.envelope_order}"
        return (
            f"Butterworth {self.low_hz:g}{upper} Hz (-3 dB), order {self.order}, {passes}; "
            f"envelope: rectified, {envelope}"
        )
