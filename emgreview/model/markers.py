"""Labelled moments of a recording.

Marker              one of them
markers_of          a list as it was given, of markers or of (sample, label)
demand_in_order     they lie inside the recording, one after the other
"""

import operator
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from emgreview.errors import MarkerError


@dataclass(frozen=True, slots=True)
class Marker:
    """A labelled moment of a recording.

    Parameters
    ----------
    sample : int
        Sample number; the first sample of the recording is 0.
    label : str
        What happened, for example "go".
    source : str, default "given"
        Where it comes from: "given", "events", "annotations" or "channel <label>".
    duration_s : float or None
        How long it lasts, in seconds; None where not known.
    details : mapping of str to str
        Further columns as text (condition, trial_type, value …).
    search : mapping or None
        How it was found in a channel, so that it can be found again, where it was: the
        arguments of :func:`emgreview.find_cues`.

    Raises
    ------
    MarkerError
        ``sample`` is not a whole number, as seconds would be.

    Examples
    --------
    >>> import emgreview as er
    >>> er.Marker(round(1.25 * 2000), "go", details={"condition": "left"}).sample
    2500
    """

    sample: int
    label: str
    source: str = "given"
    duration_s: float | None = None
    details: Mapping[str, str] = field(default_factory=dict)
    search: Mapping[str, Any] | None = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        try:
            object.__setattr__(self, "sample", operator.index(self.sample))
        except TypeError:
            raise MarkerError(
                f"marker {self.label!r} came at {self.sample!r}; a marker lies at a sample, a whole number counted "
                "from 0; make one of seconds with round(seconds * rate_hz)."
            ) from None


def markers_of(given: Any) -> list[Marker]:
    """Markers of a list of such, or of (sample, label)."""
    several = isinstance(given, Iterable) and not isinstance(given, str | Mapping)
    if not several or (isinstance(given, tuple) and len(given) == 2 and isinstance(given[1], str)):
        came = given if isinstance(given, Marker | tuple | str | None) else f"a {type(given).__name__}"
        raise MarkerError(
            f"markers came as {came!r}; allowed: a list of markers, each (sample, label) or a Marker; give "
            "[(4000, 'go'), ...], or [] for none."
        )
    return [one if isinstance(one, Marker) else _marker(one) for one in given]


def _marker(given: object) -> Marker:
    """A marker of (sample, label)."""
    pair = given if isinstance(given, Sequence) and not isinstance(given, str) else ()
    if len(pair) != 2 or isinstance(pair[0], str):
        raise MarkerError(
            f"a marker came as {given!r}; allowed: (sample, label), or a Marker; a marker lies at a sample, a whole "
            "number counted from 0; give markers=[(4000, 'go'), ...]."
        )
    return Marker(pair[0], str(pair[1]))


def demand_in_order(markers: Iterable[Marker], name: str, n_samples: int, rate_hz: float) -> None:
    """The markers of recording ``name`` lie inside it and rise."""
    before = 0
    for marker in markers:
        if not 0 <= marker.sample < n_samples:
            raise MarkerError(
                f"marker {marker.label!r} lies at sample {marker.sample} ({marker.sample / rate_hz:.3f} s), "
                f"outside recording {name!r}, which has samples 0 to {n_samples - 1} "
                f"({n_samples / rate_hz:.3f} s); check the marker's time unit and zero, or remove it."
            )
        if marker.sample < before:
            raise MarkerError(
                f"marker {marker.label!r} at sample {marker.sample} comes after one at sample {before} in "
                f"recording {name!r}; markers must be in order of time; sort them, or look for a clock that "
                "jumped."
            )
        before = marker.sample
