"""Surface EMG trials whose truth is known exactly: when the first motor-unit potential begins, and the last one ends.

A pool of motor units (``pool``) answers a drive; the sum of its potentials is scaled to a stated signal-to-noise ratio
and laid over rest noise; artefacts (``artefacts``) come on top, each at a stated level. Arrays are (trials, samples) in
microvolts and (trials,) in seconds from the first sample; NaN where there is no activity. Nothing here supports a claim
about physiology: it is made to test methods and people against a truth.

    simulate            trials of one muscle, with their truth
    simulate_contractions   test contractions of one person, with who hears whom, and faults
    simulate_study      recordings of people who differ, several muscles each, with their truth
    bursts              noise-free bursts of one pool, with their truth: what all simulated trials are made of
    ARTEFACTS           the artefacts by name, and their functions

The two truths differ: the first potential may be far smaller than the noise. ``visible_s`` is the moment when activity
rises above it; in slow or weak rises it comes tens of milliseconds later.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.checks import demand
from emgreview.simulation.artefacts import ARTEFACTS, BAND_HZ, STREAMS, checked_artefacts, rest_noise
from emgreview.simulation.burst import Bursts, bursts
from emgreview.simulation.contractions import Contractions, Fault, simulate_contractions
from emgreview.simulation.pool import FloatArray, MotorPool
from emgreview.simulation.study import Condition, Muscle, Person, Spread, Study, simulate_study

__all__ = [
    "ARTEFACTS",
    "BAND_HZ",
    "Bursts",
    "Condition",
    "Contractions",
    "Fault",
    "MotorPool",
    "Muscle",
    "Person",
    "Simulated",
    "Spread",
    "Study",
    "bursts",
    "rest_noise",
    "simulate",
    "simulate_contractions",
    "simulate_study",
]


@dataclass(frozen=True, eq=False)
class Simulated:
    """Trials and their exact truth; :func:`simulate` returns it.

    Arrays are (trials,) unless told; times are seconds from the first sample, NaN where
    there is no burst.

    Attributes
    ----------
    x : ndarray, shape (trials, samples)
        The signal in microvolts.
    rate_hz : float
        Sampling rate.
    cue_s : float
        The cue, the same in all trials.
    onset_s, drive_s, visible_s, offset_s : ndarray
        Those of :class:`Bursts`: first potential, start of the drive, the moment when
        activity rises above the noise, and end of the last potential.
    level_db : ndarray
        20 log10 of the RMS of the burst alone, from onset to offset, over the RMS of the
        rest noise, both within 20-450 Hz, artefacts not counted.
    present : ndarray of bool
        Whether there is a burst.
    noise_uv : float
        RMS of the rest noise within 20-450 Hz.
    burst_uv : ndarray, shape (trials, samples)
        The burst without noise.
    parameters : mapping
        What was asked.
    """

    x: FloatArray
    rate_hz: float
    cue_s: float
    onset_s: FloatArray
    drive_s: FloatArray
    visible_s: FloatArray
    offset_s: FloatArray
    level_db: FloatArray
    present: NDArray[np.bool_]
    noise_uv: float
    burst_uv: FloatArray
    parameters: Mapping[str, object]


def simulate(
    n_trials: int,
    rate_hz: float,
    *,
    seed: int,
    snr_db: "ArrayLike" = 20.0,
    rise_s: "ArrayLike" = 0.05,
    duration_s: "ArrayLike" = 0.4,
    fall_s: "ArrayLike" = 0.1,
    onset_s: "ArrayLike | None" = None,
    before_s: float = 1.0,
    after_s: float = 1.5,
    effort: float = 0.4,
    noise_uv: float = 3.0,
    artefacts: Mapping[str, Mapping[str, object]] | None = None,
) -> Simulated:
    """Trials of one muscle around a cue, with their truth. Same seed, same bits.

    Parameters
    ----------
    n_trials : int
        How many trials.
    rate_hz : float
        Sampling rate, 1000 Hz or more.
    seed : int
        Seed of every draw, 0 or more.
    snr_db : float or array_like, shape (trials,), default 20.0
        Burst alone from onset to offset over rest, both RMS within 20-450 Hz; -inf: no
        activity.
    rise_s : float or array_like, shape (trials,), default 0.05
        From the start of the drive to its plateau; half a cosine.
    duration_s : float or array_like, shape (trials,), default 0.4
        The whole drive, rise and fall included.
    fall_s : float or array_like, shape (trials,), default 0.1
        From the plateau back; half a cosine.
    onset_s : float or array_like, shape (trials,), or None
        The first potential, in seconds from the first sample; drawn 0.15 to 0.35 s after the
        cue unless given.
    before_s, after_s : float, default 1.0 and 1.5
        How far a trial reaches before and after the cue, in seconds.
    effort : float, default 0.4
        The plateau's share of full excitation, 0.05 to 1.
    noise_uv : float, default 3.0
        RMS of the rest noise within 20-450 Hz, in microvolts.
    artefacts : mapping or None
        Names of :data:`ARTEFACTS` to their levels, for example
        ``{"mains": {"level_uv": 6.0}}``; each draws from its own stream, so that adding one
        changes nothing else.

    Returns
    -------
    Simulated
        Trials ``x`` (trials, samples) in microvolts, and their truth.

    Raises
    ------
    RateError
        The sampling rate is below 1000 Hz.
    ParameterError
        A value is out of range, or comes in another number than one or one a trial.
    UnknownNameError
        An artefact, or a level of one, does not exist.

    Notes
    -----
    Nothing here supports a claim about physiology: it is made to test methods and people
    against a truth. The first potential may be far smaller than the noise; ``visible_s`` is
    when activity rises above it.

    References
    ----------
    Motor units after Fuglevand, Winter & Patla 1993, departures confessed in
    ``emgreview.simulation.pool``.

    Examples
    --------
    >>> import emgreview as er
    >>> sim = er.simulate(3, 2000, seed=1, snr_db=15.0)
    >>> sim.x.shape, sim.cue_s
    ((3, 5000), 1.0)
    >>> sim.level_db.round(1).tolist()
    [15.0, 15.0, 15.0]
    """

    def each(name: str, value: ArrayLike) -> FloatArray:
        try:
            given = np.asarray(value, dtype=float)
        except (TypeError, ValueError):
            given = np.full((), np.nan)
        demand(given.shape in ((), (n_trials,)), name, value, f"one number, or one for each of {n_trials} trials")
        demand(not np.isnan(given).any(), name, value, "numbers, none of them NaN")
        return np.array(np.broadcast_to(given, n_trials))

    rate_hz = checks.rate(rate_hz, least=1000.0, what=f"levels are stated up to {BAND_HZ[1]:g} Hz, so needed is")
    n_trials, seed = checks.whole("n_trials", n_trials, least=1), checks.whole("seed", seed, least=0)
    effort = checks.number("effort", effort, least=0.05, most=1)
    noise_uv = checks.number("noise_uv", noise_uv, above=0, unit="µV")
    before_s, after_s = (
        checks.number(name, part, above=0, unit="s") for name, part in (("before_s", before_s), ("after_s", after_s))
    )
    snr, rise = each("snr_db", snr_db), each("rise_s", rise_s)
    duration, fall = each("duration_s", duration_s), each("fall_s", fall_s)
    demand((snr < 100.0).all(), "snr_db", snr_db, "below 100 dB; -inf for no activity")
    demand((rise > 0).all(), "rise_s", rise_s, "seconds above 0")
    demand((fall > 0).all(), "fall_s", fall_s, "seconds above 0")
    demand((duration >= rise + fall).all(), "duration_s", duration_s, "at least rise_s + fall_s")
    known = checked_artefacts(artefacts)
    sources = np.random.SeedSequence(seed).spawn(4 + len(STREAMS))
    of_pool, of_onsets, of_drive, of_noise, *of_artefacts = (np.random.default_rng(source) for source in sources)
    length_s = before_s + after_s
    shape = (int(n_trials), math.floor(length_s * rate_hz + 0.5))
    onset = before_s + of_onsets.uniform(0.15, 0.35, n_trials) if onset_s is None else each("onset_s", onset_s)
    demand(
        ((onset >= 0) & (onset + duration + 0.02 <= length_s)).all(),
        "onset_s",
        onset_s,
        f"0 or later, and such that the burst ends 20 ms before the trial does (at {length_s:g} s); "
        "or lengthen after_s",
    )
    made = bursts(
        MotorPool.draw(of_pool),
        of_drive,
        shape,
        rate_hz,
        onset_s=onset,
        rise_s=rise,
        duration_s=duration,
        fall_s=fall,
        level_uv=np.where(np.isfinite(snr), noise_uv * 10 ** (snr / 20), np.nan),
        rest_uv=noise_uv,
        effort=effort,
    )
    x = made.x_uv + rest_noise(shape, rate_hz, of_noise, level_uv=noise_uv)
    streams = dict(zip(STREAMS, of_artefacts, strict=True))
    for name, add in ARTEFACTS.items():
        if name in known:
            x = add(x, rate_hz, streams[name], **known[name])
    present = np.isfinite(snr)
    return Simulated(
        x=x,
        rate_hz=float(rate_hz),
        cue_s=float(before_s),
        onset_s=made.onset_s,
        drive_s=made.drive_s,
        visible_s=made.visible_s,
        offset_s=made.offset_s,
        level_db=np.where(present, snr, np.nan),
        present=present,
        noise_uv=float(noise_uv),
        burst_uv=made.x_uv,
        parameters={
            "seed": seed,
            "snr_db": snr_db,
            "rise_s": rise_s,
            "duration_s": duration_s,
            "fall_s": fall_s,
            "onset_s": onset_s,
            "before_s": before_s,
            "after_s": after_s,
            "effort": effort,
            "noise_uv": noise_uv,
            "artefacts": dict(known),
        },
    )
