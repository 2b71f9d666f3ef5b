"""The whole numbers that stand for a channel's values in a file, and what that costs.

EDF and BDF store whole numbers; a header says by two physical and two digital limits, each of eight characters at most,
what they stand for. Values that are whole multiples of one step (digitised once, or written with few decimals) are
stored as these multiples, without loss. All others go to the nearest of 16 million steps between their lowest and
highest value. One number below the digital range stands for a missing sample.

    Survey          goes through a channel's values once, and says by which range they are stored
    Range           limits, and from values to stored numbers and back
"""

from dataclasses import dataclass, field
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import SignalError
from emgreview.model import FloatArray

MOST = (1 << 23) - 1
"""The highest number of 24 bits; the lowest that is used for values is its negative."""

MISSING = -(1 << 23)
"""What is stored for a missing sample: below the digital minimum of every range."""

_WIDTH = 8
_NEAR = 1e-6
"""How far from a whole number, in steps, a multiple may lie: far more than rounding, far less than chance allows."""

_ROUNDING = 1e-12
"""What arithmetic may leave of a value that is zero, as a share of the largest."""

SAME = 1e-12
"""Values that differ by less, as a share of the largest of their channel, are the same number: a millionth of the
smallest step that 24 bits have."""


@dataclass(frozen=True, slots=True)
class Range:
    """Physical and digital limits of a channel as its header states them."""

    low: str
    high: str
    least: int
    most: int

    @property
    def gain(self) -> float:
        return (float(self.high) - float(self.low)) / (self.most - self.least)

    @property
    def offset(self) -> float:
        return float(self.low) - self.least * self.gain

    def stored(self, x: FloatArray) -> NDArray[np.int32]:
        """The number for each value; MISSING for NaN."""
        gone = np.isnan(x)
        codes = np.rint((np.where(gone, 0.0, x) - self.offset) / self.gain)
        codes = np.clip(codes, self.least, self.most).astype(np.int32)
        codes[gone] = MISSING
        return codes

    def values(self, codes: NDArray[np.int32]) -> FloatArray:
        """What a reader makes of stored numbers."""
        x = codes * self.gain + self.offset
        x[codes == MISSING] = np.nan
        return x


@dataclass(slots=True)
class Survey:
    """What is known of a channel's values so far; ``steps`` is None until two values differ."""

    low: float = np.inf
    high: float = -np.inf
    missing: int = 0
    steps: list[float] | None = None
    _constant: list[float] = field(default_factory=list)

    def add(self, x: FloatArray) -> None:
        """Go through some more values."""
        if np.isinf(x).any():
            raise SignalError(
                "an infinite value came; allowed: numbers, and NaN where a sample is missing; correct it."
            )
        here = x[~np.isnan(x)]
        self.missing += len(x) - len(here)
        if not here.size:
            return
        self.low, self.high = min(self.low, float(here.min())), max(self.high, float(here.max()))
        if self.steps is None:
            several = np.unique(np.concatenate([self._constant, here]))
            if several.size == 1:
                self._constant = [float(several[0])]
            else:
                self.steps = _proposed(several)
        else:
            self.steps = [step for step in self.steps if _fits(here, step)]

    def range(self) -> Range:
        """The range by which the values are stored: without loss where there is one, else with the smallest."""
        if self.low > self.high or self.low == self.high == 0:
            return Range("-1", "1", -1, 1)
        steps = _proposed(np.array(self._constant)) if self.steps is None else self.steps
        largest = max(abs(self.low), abs(self.high))
        for step in steps:
            if (found := _whole_steps(step, largest)) is not None:
                return found
        low, high = _brief(self.low, up=False), _brief(self.high, up=True)
        if low is None or high is None:
            raise SignalError(
                f"values from {self.low:g} to {self.high:g} came; allowed in EDF and BDF: limits of {_WIDTH} "
                "characters, so less than 100 million; give the channel in a larger unit."
            )
        if float(low) == float(high):
            high = _brief(float(high) + max(1e-6, abs(float(high)) * 1e-5), up=True) or high
        return Range(low, high, -MOST, MOST)


def _fits(x: FloatArray, step: float) -> bool:
    """Whether all values are whole multiples of a step, few enough for 24 bits, and none is lost in the first half of
    it."""
    if np.abs(x).max(initial=0.0) > MOST * step:
        return False
    multiples = x / step
    whole = np.rint(multiples)
    lost = (whole == 0) & (np.abs(x) > _ROUNDING * np.abs(x).max(initial=0.0))
    return not lost.any() and bool(np.abs(multiples - whole).max(initial=0.0) <= _NEAR)


def _proposed(several: FloatArray) -> list[float]:
    """Steps of which different values, in order, are all multiples: the coarsest decimal one, and that of their
    differences."""
    decimal = next((step for step in (10.0**-places for places in range(-3, 10)) if _fits(several, step)), None)
    found = [] if decimal is None else [decimal]
    step = _common(several)
    return found + [one for one in (step, step / 2) if one > 0 and _fits(several, one)]


def _common(several: FloatArray) -> float:
    """The largest step of which all differences are multiples, by Euclid's rule; 0 where there is none."""
    if several.size < 2:
        return 0.0
    span = float(several[-1] - several[0])
    step = float(np.diff(several).min())
    for _ in range(24):
        if step * MOST * 2 < span:
            return 0.0
        counts = (several - several[0]) / step
        rest = np.abs(counts - np.rint(counts))
        if (far := rest[rest > _NEAR * 10]).size == 0:
            return span / float(np.rint(counts[-1]))
        step *= float(far.min())
    return 0.0


def _whole_steps(step: float, largest: float) -> Range | None:
    """Limits with zero in their middle whose quotient is the step, or None where eight characters do not hold them."""
    for bound in (1, 1000, 1 << 17, MOST):
        for power in range(9):
            scaled = step * 10**power
            quotient = Fraction(scaled).limit_denominator(bound)
            if quotient <= 0 or abs(float(quotient) - scaled) > 0.2 * SAME * scaled:
                continue
            least = max(1, -(-round(largest / step) // quotient.denominator))
            for digits in range(8):
                times = -(-least // 10**digits) * 10**digits
                most = times * quotient.denominator
                high = format(Decimal(times * quotient.numerator).scaleb(-power).normalize(), "f")
                if most <= MOST and len(high) < _WIDTH and float(high) > 0:
                    return Range(f"-{high}", high, -most, most)
    return None


def _brief(value: float, *, up: bool) -> str | None:
    """The nearest decimal of eight characters that is not below (``up``) or not above a value; None without one."""
    if abs(value) >= 10.0**_WIDTH:
        return None
    for places in range(7, -1, -1):
        exact = Decimal(value).quantize(Decimal(1).scaleb(-places), rounding=ROUND_CEILING if up else ROUND_FLOOR)
        text = format(exact, "f")
        text = text.rstrip("0").rstrip(".") if "." in text else text
        if len(text) <= _WIDTH:
            return text if exact else "0"
    return None
