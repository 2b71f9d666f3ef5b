"""Automatic onsets of whole batches of trials, and how they were found, as a log says it.

find_onsets     every channel of some trials by one method
onsets_of       one channel of them, of as many as are asked for: the one place where trials meet a method
is_method       is there a method of that name, with such parameters
described       processing and detection of some trials, as plain JSON
method_words    a method, and the parameters that are not its usual ones
rebuilt         method and parameters from what a log says
"""

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from emgreview.annotations.methods import Method, method_of
from emgreview.errors import EmgreviewError, LogError, UnknownNameError
from emgreview.model import Onsets, Trials
from emgreview.signal.onset import METHODS, checked_method, estimate_onsets
from emgreview.trials import LaterTrials

Detect = Callable[..., Onsets]
Found = Mapping[tuple[Trials, str], Onsets]

METHOD = "ramp"
"""The method of a review that names none."""
SEARCH_S = (0.0, None)
"""Where a review searches for onsets, in seconds from the cue: up to the end of the trial."""


def find_onsets(
    trials: Sequence[Trials], method: str, parameters: Mapping[str, Any], detect: Detect | None = None
) -> Found:
    """Onsets by trials and channel label. ``detect`` replaces :func:`emgreview.estimate_onsets`, whose errors this
    raises."""
    return {
        (part, label): onsets_of(part, label, method=method, parameters=parameters, detect=detect)
        for part in trials
        for label in part.labels
    }


def onsets_of(
    trials: Trials,
    label: str,
    *,
    method: str = METHOD,
    parameters: Mapping[str, Any] = MappingProxyType({}),
    some: slice = slice(None),
    detect: Detect | None = None,
) -> Onsets:
    """Onsets of one channel, in seconds from the first sample of a trial, (trials,), searched as a review does: from
    the cue to the trial's end. ``label`` may be an auxiliary channel, ``some`` a part of the trials. Raises what
    :func:`emgreview.estimate_onsets` does, and UnknownNameError (channel)."""
    if detect is None and some == slice(None) and (known := _known(trials, label, method, parameters)) is not None:
        return known
    if label in trials.labels:
        x = trials.data[some, trials.labels.index(label)]
    elif label in trials.auxiliary_labels:
        x = trials.auxiliary[some, trials.auxiliary_labels.index(label)]
    else:
        raise UnknownNameError("channel", label, (*trials.labels, *trials.auxiliary_labels))
    return (detect or estimate_onsets)(
        x,
        trials.rate_hz,
        cue_s=trials.before / trials.rate_hz,
        rest_s=trials.processing.rest_s,
        search_s=SEARCH_S,
        method=method,
        **parameters,
    )


def _known(trials: Trials, label: str, method: str, parameters: Mapping[str, Any]) -> Onsets | None:
    """Onsets that were found from before, by the same method with the same parameters."""
    if not isinstance(trials, LaterTrials) or trials.detected_by is None or label not in trials.detected:
        return None
    if (method, parameters) == trials.detected_by:
        return trials.detected[label]
    asked, by = checked_method(method, parameters)[1], checked_method(*trials.detected_by)[1]
    return trials.detected[label] if (method, asked) == (trials.detected_by[0], by) else None


def is_method(method: str, parameters: Mapping[str, Any]) -> bool:
    """Whether there is such a method, with such parameters."""
    try:
        checked_method(method, parameters)
    except EmgreviewError:
        return False
    return True


def described(trials: Sequence[Trials], found: Found) -> dict[str, Method]:
    """Processing and detection by recording."""
    methods = {}
    for part in trials:
        one, processing = found[part, part.labels[0]], part.processing
        methods[part.recording.name] = method_of(
            _plain(dataclasses.asdict(processing)), processing.hash, one.method, _plain(one.parameters)
        )
    return methods


def rebuilt(detection: Mapping[str, Any]) -> tuple[str, dict[str, Any], tuple[str, ...]]:
    """Method and parameters from a log, and a sentence for each parameter that this version of the package cannot take.

    Canonical JSON writes 50.0 as 50; each parameter gets the type of its default back. Raises LogError where the
    package has no such method.
    """
    method = str(detection["method"])
    if method not in METHODS:
        raise LogError(
            f"the onsets were found by a method {method!r}, which the package does not have "
            f"({', '.join(METHODS)}); give that function as detect=, or another method=."
        )
    defaults = dataclasses.asdict(METHODS[method][1]())
    known: dict[str, Any] = {}
    lost = []
    for name, value in detection["parameters"].items():
        if name not in defaults:
            lost.append(f"parameter {name} = {value} of method {method!r}, named in the log, is not known any more.")
        elif value is None and defaults[name] is not None:
            lost.append(
                f"parameter {name} of method {method!r} is not a finite number in the log: the default is used."
            )
        else:
            known[name] = _like(defaults[name], value)
    return method, known, tuple(lost)


def method_words(detection: Mapping[str, Any]) -> str:
    """A method by name, with the parameters that are not its usual ones: "double-threshold (shortest_s 0.05)"."""
    method, parameters = detection["method"], detection["parameters"]
    usual = dataclasses.asdict(METHODS[method][1]()) if method in METHODS else {}
    changed = [f"{name} {value}" for name, value in parameters.items() if value != _plain(usual.get(name))]
    return f"{method} ({', '.join(changed)})" if changed else str(method)


def _like(default: Any, value: Any) -> Any:
    if isinstance(value, list):
        return tuple(value)
    return float(value) if isinstance(default, float) and isinstance(value, int) else value


def _plain(value: Any) -> Any:
    """Parameters as plain JSON values; what is not finite becomes null."""
    if isinstance(value, Mapping):
        return {str(name): _plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(part) for part in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value if value is None or isinstance(value, (bool, int, float, str)) else str(value)
