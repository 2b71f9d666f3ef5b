"""Onsets, offsets and bursts of activity in band-passed signals.

``x`` is (trials, samples), band-passed, in any unit; the methods "level" and "change" take channels that are no EMG,
such as force or key travel, as they were recorded. Nothing depends on gain, sign, a constant offset, the order or
number of trials, or a flat trial beside a good one. Times are seconds from the first sample; windows are given in
seconds from the cue. Missing is NaN.

    estimate_onsets     one response a trial, by a named method
    list_bursts         all bursts of a signal
    METHODS             name: (function, parameters), one module a method
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict, fields
from types import MappingProxyType
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from emgreview.checks import kind
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.model import Onsets, Trials
from emgreview.signal.onset.auxiliary import ChangeParameters, LevelParameters, find_change, find_level
from emgreview.signal.onset.bursts import list_bursts
from emgreview.signal.onset.common import (
    LOWEST_RATE_HZ,
    Array,
    Batch,
    aligned,
    checked_signal,
    level_and_scale,
    nothing,
    window,
)
from emgreview.signal.onset.double_threshold import DoubleThresholdParameters, find_double_threshold
from emgreview.signal.onset.energy import EnergyParameters, find_energy
from emgreview.signal.onset.likelihood_ratio import LikelihoodRatioParameters, find_likelihood_ratio
from emgreview.signal.onset.profile import ProfileParameters, find_profile
from emgreview.signal.onset.quiet import Doubt, QuietParameters, doubts, excess, grid, partly_flat
from emgreview.signal.onset.ramp import RampParameters, find_ramp
from emgreview.signal.onset.threshold import ThresholdParameters, find_threshold

__all__ = ["METHODS", "estimate_onsets", "list_bursts"]

METHODS: Mapping[str, tuple[Callable[[Batch, Any], dict[str, Array]], type]] = MappingProxyType(
    {
        "ramp": (find_ramp, RampParameters),
        "threshold": (find_threshold, ThresholdParameters),
        "double-threshold": (find_double_threshold, DoubleThresholdParameters),
        "energy": (find_energy, EnergyParameters),
        "likelihood-ratio": (find_likelihood_ratio, LikelihoodRatioParameters),
        "profile": (find_profile, ProfileParameters),
        "level": (find_level, LevelParameters),
        "change": (find_change, ChangeParameters),
    }
)

TIMES = ("onset_s", "low_s", "high_s", "offset_s", "offset_low_s", "offset_high_s")
SHORTEST_REST_S = 0.1
SHORT_REST_S = 0.25
SHORTEST_SEARCH_S = 0.2
FEWEST_BLOCKS = 3
LOWEST_AUXILIARY_HZ = 20.0
CHUNK_SAMPLES = 1_200_000
"""Samples worked on at once: few enough to stay in the processor's cache."""


def estimate_onsets(
    x: "ArrayLike",
    rate_hz: float,
    *,
    cue_s: "ArrayLike",
    rest_s: tuple[float, float] = (-0.5, 0.0),
    search_s: tuple[float, float | None] = (0.0, None),
    method: str = "ramp",
    **parameters: Any,
) -> Onsets:
    """When activity starts and ends in each trial.

    Parameters
    ----------
    x : array_like, shape (trials, samples)
        Band-passed signal, in any unit; "level" and "change" take auxiliary channels as
        they were recorded.
    rate_hz : float
        Sampling rate.
    cue_s : float or array_like, shape (trials,)
        Where the cue lies, in seconds after the first sample. With one a trial, windows
        count from each trial's own cue: its warning, say, in trials that were cut around
        go; "to the end" then is as far as every trial reaches.
    rest_s : (float, float), default (-0.5, 0.0)
        The rest, (start, stop) in seconds from the cue.
    search_s : (float, float or None), default (0.0, None)
        Where activity is looked for, in seconds from the cue; a stop of None means to the
        end.
    method : str, default "ramp"
        A name in :data:`METHODS`: "ramp", "threshold", "double-threshold", "energy",
        "likelihood-ratio", "profile"; and for auxiliary channels "level" and "change".
    **parameters
        Fields of that method's parameter class, for example ``k=3.0`` for "threshold".

    Returns
    -------
    Onsets
        Every array is (trials,); times are seconds from the first sample. They are NaN
        where no activity was found (``present`` below 0.5).

    Raises
    ------
    SignalError
        ``x`` is not (trials, samples), or holds no numbers.
    RateError
        The sampling rate is missing or too low.
    ParameterError
        A window does not fit the trials, a parameter is out of range, or ``x`` is what
        :func:`emgreview.cut_trials` returns and not one channel of it.
    UnknownNameError
        No method, or no parameter of it, has that name.

    Notes
    -----
    ``present`` is an index, no probability. Methods without it, an interval or a rise give
    NaN there; where ``present`` is NaN for that reason, an onset of NaN means that none was
    found. With "ramp", activity that was there before the search begins, or seems so, as
    some does that starts in its first 50 ms at 10 dB or less, has ``present`` near 1 and an
    onset of NaN. The offset is NaN where activity lasts to the end of the search, or ends
    less than ``quiet_s`` before it.

    ``baseline_note`` is one of:

    * "missing" (a sample that is not finite) or "flat" (a rest that does not vary, or holds
      nothing in three tenths of it or more): all numbers of that trial are NaN;
    * "too short": a rest below 0.25 s;
    * "active before the cue": activity within the rest, or a stretch of the search at least
      6 dB below it;
    * "drifting": the halves of the rest differ by more than 3 dB and more than chance;
    * "": nothing to say.

    With the three in the middle the numbers stand, to be looked at: those of "ramp" against
    the louder half of a drifting rest. But where "ramp" would say "active" against one level
    that such a rest may have (a half of it, or the quiet stretch after it) and "not active"
    against another, it says neither: all numbers of that trial are NaN, ``present`` too. The
    methods of auxiliary channels call a trial flat only where all of it is, and any lasting
    departure from a rest without variation movement.

    Activity of less than about 0.13 s is none to "ramp" (of bursts of 100 ms it misses 99 % at
    10 dB, 40 % at 30 dB): ``list_bursts`` finds brief ones. A rise of more than a second is
    found late, and its interval does not reach back to its start (lines of 2 s at 10 dB: 0.3 s
    late, 4 % held; at 15 dB 90 % held): see the page onset-accuracy.

    Nothing depends on gain, sign, a constant offset, or the other trials. Each method's
    formula, and where it departs from its paper, stands in its module in
    ``emgreview/signal/onset``.

    References
    ----------
    "ramp" and "likelihood-ratio": Staude and Wolf 1999 (Med Eng Phys 21:449-467), Staude et
    al. 2001 (EURASIP J Adv Signal Process 2001:67-81), both read as abstracts.
    "threshold": Hodges and Bui 1996 (Electroencephalogr Clin Neurophysiol 101:511-519), read
    as an abstract.
    "double-threshold": Bonato, D'Alessio and Knaflitz 1998 (IEEE Trans Biomed Eng
    45:287-299).
    "energy": Li, Zhou and Aruin 2007 (Ann Biomed Eng 35:1532-1538); Solnik et al. 2010 (Eur
    J Appl Physiol 110:489-498), chain and k from memory.
    "profile": Selvan et al. 2018 (IEEE Trans Neural Syst Rehabil Eng 26:1279-1291), read as
    an abstract.

    Examples
    --------
    >>> import emgreview as er
    >>> sim = er.simulate(2, 2000, seed=1)
    >>> found = er.estimate_onsets(sim.x, sim.rate_hz, cue_s=sim.cue_s)
    >>> bool((abs(found.onset_s - sim.onset_s) < 0.01).all())
    True
    >>> er.estimate_onsets(sim.x, 2000, cue_s=1.0, method="threshold", k=5.0).method
    'threshold'
    """
    if isinstance(x, Trials):
        raise ParameterError(
            "x came as Trials; allowed: an array (trials, samples); give one channel of them: trials.data[:, 0], with "
            "cue_s=trials.before / trials.rate_hz."
        )
    find, settings = checked_method(method, parameters)
    quiet = settings if isinstance(settings, QuietParameters) else QuietParameters()

    auxiliary = isinstance(settings, LevelParameters)
    lowest_hz = LOWEST_AUXILIARY_HZ if auxiliary else LOWEST_RATE_HZ
    x, rate_hz = checked_signal(x, rate_hz, dimensions=(2,), lowest_hz=lowest_hz)
    x, cue_s, later_s = aligned(x, cue_s, rate_hz)
    rest = window("rest_s", rest_s, cue_s, x.shape[1], rate_hz, SHORTEST_REST_S)
    search = window("search_s", search_s, cue_s, x.shape[1], rate_hz, SHORTEST_SEARCH_S, open_ended=True)
    if not auxiliary:
        _checked_blocks(quiet, rest, search, rate_hz)
    too_short = (rest.stop - rest.start) / rate_hz < SHORT_REST_S

    found = nothing(len(x))
    notes = np.full(len(x), "", dtype="<U24")
    chunk = max(1, CHUNK_SAMPLES // x.shape[1])
    for start in range(0, len(x), chunk):
        part = x[start : start + chunk]
        rows = np.arange(start, start + len(part))
        finite = np.isfinite(part).all(axis=1)
        notes[rows[~finite]] = "missing"
        if not finite.all():
            part, rows = part[finite], rows[finite]
        level, scale = level_and_scale(part, rest)
        if auxiliary:  # a key at rest may give one value throughout: then any departure stands out
            scale = np.where(scale > 0, scale, level_and_scale(part, slice(None))[1])
        if not auxiliary:
            scale = np.where(partly_flat(part, rest, rate_hz, quiet), 0.0, scale)
        notes[rows[scale == 0]] = "flat"
        good = scale > 0
        if not good.all():
            part, rows, level, scale = part[good], rows[good], level[good], scale[good]
        if not len(rows):
            continue
        part = part - level[:, None]
        part *= 1 / scale[:, None]
        unusual: Literal["ignore", "warn"] = "ignore" if auxiliary else "warn"
        with np.errstate(divide=unusual, invalid=unusual):
            stands = excess(part, rate_hz, rest, search, quiet)
            doubt = doubts(stands, quiet.needed)
        if too_short:
            doubt = Doubt(np.full(len(rows), "too short"), *np.zeros((2, len(rows))))
        notes[rows] = doubt.notes
        for name, values in find(Batch(part, rate_hz, rest, search, stands, doubt), settings).items():
            found[name][rows] = values
    for name in TIMES:
        found[name] += later_s
    return Onsets(**found, baseline_note=notes, method=method, parameters=asdict(settings))


def _checked_blocks(p: QuietParameters, rest: slice, search: slice, rate_hz: float) -> None:
    """The rest and the search hold enough whole blocks for the model of the rest."""
    bin_, block = grid(rate_hz, p)
    length, span = bin_ * block, max(1, round(p.span_s / p.block_s))
    for name, part, least in (("rest_s", rest, FEWEST_BLOCKS), ("search_s", search, span)):
        whole = part.stop // length + -part.start // length
        if whole < least:
            raise ParameterError(
                f"{name} came with {(part.stop - part.start) / rate_hz:.3f} s, {whole} whole blocks of "
                f"{length / rate_hz:.3f} s (block_s); allowed: {least} or more; give a longer window or shorter blocks."
            )


def checked_method(method: str, parameters: Mapping[str, Any]) -> tuple[Callable[[Batch, Any], dict[str, Array]], Any]:
    """The function of a method, and its parameter class filled."""
    if not isinstance(method, str) or method not in METHODS:
        raise UnknownNameError("onset method", method, METHODS)
    kind("parameters", parameters, Mapping, "a mapping of names to values, such as {'shortest_s': 0.05}")
    find, made = METHODS[method]
    allowed = [field.name for field in fields(made)]
    for name in parameters:
        if name not in allowed:
            raise UnknownNameError(f"parameter of method {method!r}", name, allowed, most=len(allowed))
    return find, made(**parameters)
