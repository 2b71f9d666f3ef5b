"""What a detection method found: in a batch of trials, and as bursts."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emgreview.model.units import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Onsets:
    """What a method found in a batch of trials: :func:`emgreview.estimate_onsets` returns it.

    Every array is (trials,); times are seconds from the first sample. Times and level are
    NaN where ``present`` is below 0.5, and where a method has no such number.

    Attributes
    ----------
    onset_s, low_s, high_s : ndarray
        The onset, and its 90 % interval from ``low_s`` to ``high_s``.
    offset_s, offset_low_s, offset_high_s : ndarray
        Likewise for the offset.
    rise_s : ndarray
        Time from baseline to plateau.
    level_db : ndarray
        The burst alone over the rest.
    present : ndarray
        An index from 0 to 1 of how much of a stretch stands out from the rest, where most
        does; from 0.5 on the method says that there is activity.
    baseline_note : ndarray of str
        A word where the baseline cannot be trusted, "" otherwise; where nothing can be told
        because of it, ``present`` is NaN, too.
    method : str
        Name of the method.
    parameters : mapping
        All parameters of the method, defaults included.

    Notes
    -----
    ``present`` is no probability: in simulated trials of 0.5 to 0.65, 76 to 100 % held
    activity, depending on how many of all did.

    Examples
    --------
    >>> import emgreview as er
    >>> sim = er.simulate(2, 2000, seed=1, snr_db=[20, float("-inf")])
    >>> found = er.estimate_onsets(sim.x, 2000, cue_s=sim.cue_s)
    >>> (found.present >= 0.5).tolist()
    [True, False]
    >>> found.onset_s.round(2).tolist()
    [1.25, nan]
    """

    onset_s: FloatArray
    low_s: FloatArray
    high_s: FloatArray
    offset_s: FloatArray
    offset_low_s: FloatArray
    offset_high_s: FloatArray
    rise_s: FloatArray
    level_db: FloatArray
    present: FloatArray
    baseline_note: NDArray[np.str_]
    method: str
    parameters: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Burst:
    """One stretch of activity, in seconds from the first sample; NaN where not known.

    Parameters
    ----------
    onset_s, offset_s : float
        Where it begins and ends.
    low_s, high_s : float, default NaN
        90 % interval of the onset.
    level_db : float, default NaN
        The burst alone over the rest.

    Examples
    --------
    >>> import emgreview as er
    >>> burst = er.Burst(onset_s=0.25, offset_s=0.75)
    >>> burst.offset_s - burst.onset_s, burst.level_db
    (0.5, nan)
    """

    onset_s: float
    offset_s: float
    low_s: float = math.nan
    high_s: float = math.nan
    level_db: float = math.nan
