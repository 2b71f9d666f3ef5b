"""Checks at the door: one value came, is it what is allowed? Every message says what came, what is allowed, what to do.

Numbers may be Python's or numpy's; text, None, complex and truth values are no numbers, NaN lies in no range. It comes
back as a plain float, int or pair.

    refusal     the error for an argument that is not allowed, in the one form that such messages have
    demand      that error unless good
    kind        one value of a class of this package, with the way to one
    number      one finite number in a range
    is_number, short    is a value a finite number; a value in a message
    real        one number, of any size that there is
    whole       one whole number in a range
    span        (start, stop), rising
    check_ranges, in_order     fields of a parameter class
    likely_unit seconds that look like milliseconds, or the other way round
    tolerance_ms               a tolerance in milliseconds
    perhaps     in words: what was meant, if it was given in the other unit
    truth       True or False
    rate        a sampling rate
    samples     an array of numbers
"""

import math
import os
from collections.abc import Mapping, Sequence
from itertools import pairwise
from numbers import Integral, Real
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import ParameterError, RateError, ReadError, SignalError

ONE_RECORDING = "one Recording, as read(path), a dataset's recordings[0] or Recording.from_array gives"
RECORDING = f"{ONE_RECORDING}; cut_all cuts many"
"""Where a recording comes from, for messages."""


def demand(good: object, name: str, came: object, allowed: str) -> None:
    """ParameterError unless good."""
    if not good:
        raise refusal(name, came, allowed)


def refusal(name: str, came: object, allowed: str, todo: str = "correct it") -> ParameterError:
    """The error to raise for an argument: what came, what is allowed, and what to do."""
    return ParameterError(f"{name} came as {plain(came)!r}; allowed: {allowed}; {todo}.")


def kind(name: str, value: Any, wanted: type | tuple[type, ...], allowed: str) -> None:
    """ParameterError unless ``value`` is of a class; ``allowed`` says where such a value comes from. A long value is
    named by its class alone."""
    if not isinstance(value, wanted):
        came = repr(value) if isinstance(value, str | int | float | None) else f"a {type(value).__name__}"
        raise ParameterError(f"{name} came as {came}; allowed: {allowed}; give that.")


def review_folder(folder: Any) -> Path:
    """The path of a review folder; ParameterError for what is no path, ReadError where it cannot be looked at."""
    kind("folder", folder, (str, os.PathLike), "the path of the folder that holds the review")
    path = Path(folder)
    try:
        path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        pass  # whoever needs it there says so
    except (OSError, ValueError) as why:  # ValueError: a zero byte or a lone surrogate in it
        words = (why.strerror if isinstance(why, OSError) else None) or str(why)
        shown = str(path) if len(str(path)) <= 300 else f"{str(path)[:299]}…"
        raise ReadError(
            f"{shown} cannot be looked at ({words}); all folders above it must be open to you, and the path one that "
            "a file can have; see to that."
        ) from why
    return path


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
    limit = most if most is not None else below
    if name.split()[0].endswith("_s") and is_number(value) and limit is not None and value > max(limit, 0):
        less = value / 1000
        if (above is None or less > above) and (least is None or less >= least) and less <= limit:
            demand(False, name, value, f"{allowed}{perhaps(value)}")
    good = is_number(value)
    good = good and (above is None or value > above) and (least is None or value >= least)
    demand(good and (most is None or value <= most) and (below is None or value < below), name, value, allowed)
    return float(value)


LONGEST_S, LONGEST_STRETCH_S, LONGEST_TOLERANCE_S = 60.0, 10.0, 1.0
"""A time from a cue, a stretch or gap within activity, and a tolerance or an artefact, in seconds: what is longer is
taken for milliseconds (our own choice, no source)."""
SHORTEST_MS = 0.1
"""A tolerance below this, and not 0, is taken for seconds: a sample at 10 kHz (our own choice, no source)."""


def likely_unit(name: str, value: Any, *, most_s: float | None = LONGEST_S) -> None:
    """ParameterError where a time, or any of several, is too long to be in seconds (``most_s``), or, with ``most_s``
    None, too short to be in milliseconds. The message says what was probably meant. What is no number passes."""
    times = [part for part in _parts(value) if is_number(part)]
    if most_s is None and any(0 < abs(part) < SHORTEST_MS for part in times):
        allowed = f"milliseconds, 0 or at least {SHORTEST_MS:g}"
    elif most_s is not None and any(abs(part) > most_s for part in times):
        allowed = f"seconds, at most {most_s:g}"
    else:
        return
    raise ParameterError(
        f"{name} came as {_shown(value)}; allowed: {allowed}; correct it{perhaps(value, in_ms=most_s is None)}."
    )


def tolerance_ms(name: str, value: Any) -> float:
    """``value`` as a float: milliseconds from 0 on, and not seconds by their size."""
    number(name, value, least=0, unit="ms")
    likely_unit(name, value, most_s=None)
    return float(value)


def perhaps(value: Any, *, in_ms: bool = False) -> str:
    """ ", perhaps (0.08, 0.8), if milliseconds were given"; with ``in_ms`` for milliseconds that came in seconds."""
    factor, unit = (1000, "seconds") if in_ms else (0.001, "milliseconds")
    moved = [float(f"{part * factor:.6g}") if is_number(part) else part for part in _parts(value)]
    meant = tuple(moved) if isinstance(value, Sequence | np.ndarray) and not isinstance(value, str) else moved[0]
    return f": perhaps {_shown(meant)}, if {unit} were given"


def _parts(value: Any) -> list[Any]:
    several = isinstance(value, Sequence | np.ndarray) and not isinstance(value, str)
    return list(np.asarray(value, dtype=object).ravel()) if several else [value]


def _shown(value: Any) -> str:
    parts = [f"{part:g}" if is_number(part) else repr(plain(part)) for part in _parts(value)]
    several = isinstance(value, Sequence | np.ndarray) and not isinstance(value, str)
    return f"({', '.join(parts)})" if several else parts[0]


def short(value: object) -> str:
    """A value as it came, of letters or digits without end the first."""
    words = f"a whole number of {value.bit_length()} bits" if isinstance(value, int) and abs(value) >= 1 << 64 else ""
    words = words or repr(value)
    return words if len(words) <= 60 else f"{words[:57]}..."


def is_number(value: Any) -> bool:
    """Whether a value is a finite number: Python's or numpy's, and no truth value."""
    return isinstance(value, Real) and not isinstance(value, bool | np.bool_) and _finite(value)


def _finite(value: Any) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond what a float holds
        return False


def real(name: str, value: Any, allowed: str) -> float:
    """``value`` as a float; NaN and infinity pass, for whoever says better what they miss."""
    demand(isinstance(value, Real) and not isinstance(value, bool | np.bool_), name, value, allowed)
    try:
        return float(value)
    except OverflowError:
        raise ParameterError(f"{name} came as {short(value)}; allowed: {allowed}; correct it.") from None


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
    good = pair and all(isinstance(v, Real) and not isinstance(v, bool) and _finite(v) for v in value)
    demand(good and value[0] < value[1], name, value, allowed)
    return float(value[0]), float(value[1])


def truth(name: str, value: Any) -> bool:
    """``value`` as True or False."""
    demand(isinstance(value, bool | np.bool_), name, value, "True or False")
    return bool(value)


def rate(value: Any, *, least: float = 0.0, what: str = "needed is") -> float:
    """A sampling rate above 0, or of at least so many hertz; RateError says what needs it."""
    good = isinstance(value, Real) and not isinstance(value, bool) and _finite(value)
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


LARGEST = 1e30
"""No sample may be larger, in the trials' unit: trials hold float32, which ends at 3e38."""


def demand_size(x: NDArray[Any], name: str) -> None:
    """Raise SignalError where samples, missing as NaN, are too large to be filtered, squared and kept."""
    largest = max(float(np.nanmax(x, initial=0.0)), -float(np.nanmin(x, initial=0.0)))
    if math.isfinite(largest) and largest > LARGEST:
        raise SignalError(
            f"samples up to {largest:.3g} came in recording {name!r}; allowed: up to {LARGEST:g}, which is no voltage "
            "either; read the file again with its proper unit and scale."
        )
