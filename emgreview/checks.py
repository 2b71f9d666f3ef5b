"""Checks at the door: one value came, is it what is allowed? Every message says what came, what is allowed, what to do.

Numbers may be Python's or numpy's; text, None, complex and truth values are no numbers, NaN lies in no range. It comes
back as a plain float, int or pair.

    demand      an error unless good
    kind        one value of a class of this package, with the way to one
    number      one finite number in a range
    whole       one whole number in a range
    span        (start, stop), rising
    check_ranges, in_order     fields of a parameter class
    truth       True or False
    rate        a sampling rate
    samples     an array of numbers
"""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from numbers import Integral, Real
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import ParameterError, RateError, SignalError


def demand(good: object, name: str, came: object, allowed: str) -> None:
    """ParameterError unless good."""
    if not good:
        raise ParameterError(f"{name} came as {plain(came)!r}; allowed: {allowed}; correct it.")


def kind(name: str, value: Any, wanted: type | tuple[type, ...], allowed: str) -> None:
    """ParameterError unless ``value`` is of a class; ``allowed`` says where such a value comes from. A long value is
    named by its class alone."""
    if not isinstance(value, wanted):
        came = repr(value) if isinstance(value, str | int | float | None) else f"a {type(value).__name__}"
        raise ParameterError(f"{name} came as {came}; allowed: {allowed}; give that.")


def plain(value: Any) -> Any:
    """A numpy scalar as Python writes it, everything else as it is."""
    return value.item() if isinstance(value, np.generic) else value


def number(
    name: str,
    value: Any,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
    below: float | None = None,
    unit: str = "",
) -> float:
    """``value`` as a float: finite, above or at least one limit, at most or below another."""
    ends = [f"{words} {limit:g}" for words, limit in (("above", above), ("at least", least)) if limit is not None]
    ends += [f"{words} {limit:g}" for words, limit in (("at most", most), ("below", below)) if limit is not None]
    allowed = " ".join(["a number", ", ".join(ends), unit]).replace("  ", " ").strip()
    good = isinstance(value, Real) and not isinstance(value, bool | np.bool_) and math.isfinite(value)
    good = good and (above is None or value > above) and (least is None or value >= least)
    demand(good and (most is None or value <= most) and (below is None or value < below), name, value, allowed)
    return float(value)


def whole(name: str, value: Any, *, least: int, most: int | None = None) -> int:
    """``value`` as an int from ``least`` to ``most``."""
    allowed = f"a whole number from {least}" + (" up" if most is None else f" to {most}")
    good = isinstance(value, Integral) and not isinstance(value, bool)
    demand(good and value >= least and (most is None or value <= most), name, value, allowed)
    return int(value)


def check_ranges(parameters: object, limits: Mapping[str, tuple[float, float]]) -> None:
    """Every named field is a number above its first limit and at most its second."""
    for name, (low, high) in limits.items():
        number(name, getattr(parameters, name), above=low, most=high)


def in_order(parameters: object, *names: str) -> None:
    """No named field is above the next one."""
    for shorter, longer in pairwise(names):
        came, limit = getattr(parameters, shorter), getattr(parameters, longer)
        demand(came <= limit, shorter, came, f"at most {longer}, which is {limit:g}")


def span(name: str, value: Any, *, allowed: str = "(start, stop) in seconds, rising") -> tuple[float, float]:
    """``value`` as a rising pair of finite numbers."""
    pair = isinstance(value, Sequence | np.ndarray) and not isinstance(value, str) and len(value) == 2
    good = pair and all(isinstance(v, Real) and not isinstance(v, bool) and math.isfinite(v) for v in value)
    demand(good and value[0] < value[1], name, value, allowed)
    return float(value[0]), float(value[1])


def truth(name: str, value: Any) -> bool:
    """``value`` as True or False."""
    demand(isinstance(value, bool | np.bool_), name, value, "True or False")
    return bool(value)


def rate(value: Any, *, least: float = 0.0, what: str = "needed is") -> float:
    """A sampling rate above 0, or of at least so many hertz; RateError says what needs it."""
    good = isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value)
    if not (good and float(value) >= least and float(value) > 0):
        raise RateError(
            f"rate_hz came as {plain(value)!r}; {what} a number "
            f"{f'of at least {least:g} Hz' if least else 'above 0 Hz'}; give the rate of the recording device."
        )
    return float(value)


def samples(x: Any, *, dtype: type | None = np.float64) -> NDArray[Any]:
    """Samples as a floating array; masked ones become NaN, that is missing. SignalError for what is no real number.

    With ``dtype`` None floats keep their precision, and everything else becomes float64.
    """
    try:
        given = np.asanyarray(x)
        if given.dtype.kind not in "biufO":
            raise TypeError(f"they came as {given.dtype.name}")
        given = given.astype(np.float64) if given.dtype.kind == "O" else given
    except (TypeError, ValueError) as problem:
        raise SignalError(
            f"the samples cannot be read as real numbers ({problem}); give an array of numbers, NaN where missing."
        ) from None
    kept = given.dtype if dtype is None and given.dtype.kind == "f" else np.float64
    if isinstance(given, np.ma.MaskedArray):
        return np.ma.filled(given.astype(kept), np.nan)
    return np.asarray(given, dtype=kept)
