"""Can anybody judge activity on this stretch of this channel at all, or is it dead, flat, clipped or missing.

A dead channel on which hum or heart beats stand is not dead by its level. It is by what lies between these: see
:func:`floor_level`, which says what that cannot tell.
A clipped burst has an onset and no size. What decides about the onset is how far the rail lies from the rest, not how
much of the burst is cut: :data:`HEADROOM` has the figures.

Arrays are (samples,), missing as NaN; levels in the unit of the signal.

    unfit           why not: the kind, and a few words
    unfit_words     the words alone
    band_level      RMS in the band, whatever knocks on it
    floor_level     the same of what lies between the lines of hum and above heart beats
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft, signal

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.model import to_sample
from emgreview.signal.clip import headroom
from emgreview.signal.filters import checked_samples, finite_runs
from emgreview.signal.findings import LIMITS
from emgreview.signal.quality import RAIL_STEPS, clipped_share, flat_share, step_size

DEAD_UV = LIMITS["dead"].value
"""A channel at or below this RMS in the band, in µV, is dead: the limit of the findings. Two skin contacts of 7.5 kΩ
each make 0.33 µV between 20 and 450 Hz by their warmth alone (Johnson and Nyquist 1928: sqrt(4 k T R B), 15 kΩ at
306 K), before any amplifier and muscle. Contacts that are worse make more, far better ones less; an amplifier adds its
own. That a dead channel reads 0.15 to 0.3 µV: common practice, no source."""
HALF = 0.5
"""Share of a stretch from which on missing, flat or clipped samples are too many to judge it."""
HEADROOM = 4.0
"""Where both rails lie less than this many SD of the rest from it, not even an onset can be judged. Default method, 2
kHz, simulated bursts of 20, 40 and 60 dB that rise in 20 ms, 40 trials each: with rails at 40, 10 and 5 SD it was late
or early by 2 to 5 ms in the middle, and by more than 20 ms in 0 to 5 % of trials (without rails 2.5 %), though at 60 dB
and 5 SD all but 1 % of the burst was clipped. At 3 SD it was off by more than 20 ms in 18 to 28 % of trials, at 2 SD in
42 to 52 %, and at 1.2 SD nearly no onset was found. Our own measurement."""
LEVEL_PIECE_S, LEVEL_QUIETER = 0.05, 0.9
"""The level in the band is that of the quieter nine tenths of a stretch, in pieces of 50 ms: a knock on a dead channel
does not bring it to life. Common practice, no source."""

FLOOR_HZ, FLOOR_PIECE_S, KNOCKED = (60.0, 150.0), 0.5, 2
"""Where :func:`floor_level` looks: above most of a heart beat, and below what amplifiers cut; in pieces so long, of
which a knock reaches so many."""
FLOOR_LEAST_RATE_HZ, BAND_HZ = 190.0, (20.0, 450.0)
UNDER_HUM, UNDER_BEATS, NARROW_HZ, HUMS = 1.5, 1.1, 400.0, 2.0
"""So many times :data:`DEAD_UV` may the floor be, for lines of hum raise the median by up to a third, and it is known
to some 10 % only; where single waves alone, as beats are, make the level, 1.1 times; below that sampling rate, where
little is left to look at and the floor comes out too low, once. And so many times the floor must the level in the band
be, so that hum or beats are most of it: quiet rests of real channels without either have both alike. Our own choice:
see the figures at :func:`floor_level`."""


Rest = slice | NDArray[np.bool_]
"""Which samples of a stretch rest."""


def unfit_words(x: ArrayLike, banded: ArrayLike, rate_hz: float, *, unit: str = "uV", rest: Rest | None = None) -> str:
    """Why nobody can judge activity on one stretch of one channel, in a few words; "" where it can be judged: the
    second part of :func:`unfit`, which see."""
    return unfit(x, banded, rate_hz, unit=unit, rest=rest)[1]


def unfit(
    x: ArrayLike, banded: ArrayLike, rate_hz: float, *, unit: str = "uV", rest: Rest | None = None
) -> tuple[str, str]:
    """Why nobody can judge activity on one stretch of one channel: the kind, by which stretches are counted ("missing",
    "flat", "clipped", "clipped down to its rest", "less than a step", "dead"), and a few words with the figures. Both
    are "" where it can be judged.

    ``x`` is the stretch unfiltered, ``banded`` the same in the band, (samples,) each, missing as NaN. In this order: at
    least half of the samples are missing, clipped (at the lowest or highest value, and staying there) or flat; both
    rails lie less than :data:`HEADROOM` SD from its ``rest``, a slice or a mask (samples,) of the stretch (not asked
    without one); it moves by less than one step of the converter; its level in the band (:func:`band_level`) is at most
    :data:`DEAD_UV`, which is the one definition of a dead channel, or its level without hum and heart beats
    (:func:`floor_level`) at most :data:`UNDER_HUM` times that, and half of what is in the band (:data:`HUMS`). With a
    ``unit`` other than "uV" only a level of 0 is dead, since nothing is known of its size. Raises SignalError.
    """
    raw, band = checked_samples(x), checked_samples(banded)
    if raw.ndim != 1 or raw.shape != band.shape or raw.size == 0:
        raise SignalError(
            f"the stretch came with shapes {np.shape(x)} and {np.shape(banded)}; allowed: (samples,) for both, alike "
            "and not empty; give one channel of one trial at a time."
        )
    rate_hz = checks.rate(rate_hz)
    missing = float(max(np.isnan(raw).mean(), np.isnan(band).mean()))
    if missing >= HALF:
        return "missing", "no samples" if missing == 1 else f"{missing:.0%} of its samples are missing"
    values = raw[~np.isnan(raw)]
    low, high = float(values.min()), float(values.max())
    if low == high:
        return "flat", "flat: it never changes"
    step = step_size(values)
    near = step if high - low >= RAIL_STEPS * step else math.nan
    clipped = clipped_share(values, step=near, rails=(low, high))
    if clipped >= HALF:
        return "clipped", f"clipped in {clipped:.0%} of its samples"
    room = math.inf if rest is None else headroom(raw, rest)
    if room < HEADROOM:
        return (
            "clipped down to its rest",
            f"clipped at {room:.1f} SD of its rest: what is active and what rests can hardly be told apart",
        )
    flat = flat_share([raw[start:stop] for start, stop in finite_runs(raw)], rate_hz, step=step)
    if flat >= HALF:
        return "flat", f"flat in {flat:.0%} of its samples"
    if step > np.std(values):
        return "less than a step", "it moves by less than one step of the converter"
    level = band_level(band, rate_hz)
    if level == 0:
        return "dead", "dead: nothing in the band"
    if unit == "uV" and level <= DEAD_UV:
        return (
            "dead",
            f"dead: {level:.2g} µV RMS in the band, no more than two skin contacts of 7.5 kΩ make by their warmth "
            f"alone ({DEAD_UV:g} µV)",
        )
    if unit == "uV" and _dead_under(floor := floor_level(raw, rate_hz), level, band, rate_hz):
        return (
            "dead",
            f"dead: {_rms(band):.2g} µV RMS in the band, but {floor:.2g} µV without hum and heart beats, no more than "
            "skin contacts make by their warmth alone",
        )
    return "", ""


def _dead_under(floor: float, level: float, band: NDArray[np.floating], rate_hz: float) -> bool:
    """Whether a stretch is dead by its floor, and hum (in all of it) or single waves make the rest of its level."""
    hum = floor <= min(DEAD_UV * (UNDER_HUM if rate_hz >= NARROW_HZ else 1.0), level / HUMS)
    return bool(hum or floor <= min(DEAD_UV * (UNDER_BEATS if rate_hz >= NARROW_HZ else 1.0), _rms(band) / HUMS))


def _rms(band: NDArray[np.floating]) -> float:
    return math.sqrt(float(np.nanmean(np.square(band))))


def band_level(banded: ArrayLike, rate_hz: float) -> float:
    """RMS of the quieter nine tenths of a stretch (samples,), in its own unit, told apart in equal pieces of 50 ms or
    a little more. Missing samples do not count; NaN where all are missing.
    """
    x, rate_hz = checked_samples(banded), checks.rate(rate_hz)
    if x.size == 0:
        return math.nan
    n = max(1, int(x.size / max(1.0, LEVEL_PIECE_S * rate_hz)))
    present, starts = ~np.isnan(x), np.arange(n) * x.size // n
    counts = np.add.reduceat(present.astype(np.float64), starts)
    sums = np.add.reduceat(np.where(present, x, 0.0) ** 2, starts)
    power = np.sort(sums[counts > 0] / counts[counts > 0])
    if power.size == 0:
        return math.nan
    return math.sqrt(power[: max(1, math.ceil(LEVEL_QUIETER * power.size))].mean())


def floor_level(x: ArrayLike, rate_hz: float) -> float:
    """What RMS a stretch (samples,), unfiltered, would have between 20 and 450 Hz (or 0.45 of the sampling rate) if all
    of it were like what lies between the lines of hum and above heart beats; in its own unit.

    The spectrum of each half second (window of Blackman and Harris, half overlapping) is taken from 60 to 150 Hz, and
    of that the median over frequencies: lines of hum, of whatever frequency, and the few frequencies that a beat
    reaches there, do not move it. Over the half seconds it is the mean without the two loudest, which a knock reaches;
    so a burst of 0.5 s or more keeps a channel alive. NaN where no half second is whole, below 190 Hz, and for
    stretches below 1 s. Our own rule, no paper.

    What it is worth, on simulated channels at 200 Hz to 10 kHz, stretches of 1.5 and 2.5 s, 192 or more a case:
    of dead ones (0.05 to 0.3 µV) under hum of 1 to 20 µV, heart beats of 20 and 100 µV, both, or hum and a knock,
    100 % were called dead (99.5 % at 0.3 µV with a knock or weak beats; by their level in the band 0 to 69 %); of
    living ones of 0.8 to 5 µV, with or without any of these or a burst, none, and none of 0.05 to 0.3 µV, under hum or
    not, with a burst of 0.3 of the stretch, which is activity.
    It cannot tell a dead channel whose interference is wide-band (a switching supply, radio), or that is knocked on
    twice in a stretch, from a living one, nor whether a channel lives whose noise is truly below 0.5 µV; one under so
    little hum that it does not double the level is not called dead. A living channel of 2 µV whose amplifier cuts at 80
    Hz comes out as 0.4 to 0.7 µV, so it may be called dead; cut at 100 Hz, as 0.9 and more.
    """
    samples, rate_hz = checked_samples(x), checks.rate(rate_hz)
    n = to_sample(FLOOR_PIECE_S, rate_hz)
    if rate_hz < FLOOR_LEAST_RATE_HZ or samples.size < 2 * n:
        return math.nan
    starts = np.arange(0, samples.size - n + 1, max(1, n // 2))
    pieces = samples[starts[:, np.newaxis] + np.arange(n)]
    pieces = pieces[~np.isnan(pieces).any(axis=1)]
    if not len(pieces):
        return math.nan
    window = signal.windows.blackmanharris(n, sym=False)
    power = np.abs(fft.rfft(signal.detrend(pieces) * window)) ** 2 / (0.5 * rate_hz * np.sum(window**2))
    f = fft.rfftfreq(n, 1 / rate_hz)
    looked = (f >= FLOOR_HZ[0]) & (f <= min(FLOOR_HZ[1], 0.45 * rate_hz))
    density = np.sort(np.median(power[:, looked], axis=1) / math.log(2))
    kept = density[: max(1, len(density) - KNOCKED)]
    return math.sqrt(kept.mean() * (min(BAND_HZ[1], 0.45 * rate_hz) - BAND_HZ[0]))
