"""Do channels carry one and the same signal: identical, inverted or nearly equal, at once or a little later.

Two pairs of electrodes never record the same: where two channels agree almost completely, one input was recorded twice,
a lead split, or gel bridges the electrodes. Compared is what lies between 20 and 450 Hz, the mains and its harmonics
left out, because hum is common to all channels. A strong neighbour's bursts can fill a quiet channel as well: such
crosstalk is much smaller there, and the rest in between is not shared; it is no pair. Segments are (channels, samples),
any unit, NaN where missing.

    Pairs       gathers segments, then tells which channels are alike
    Alike       one pair
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating]

BAND_HZ = (20.0, 450.0)
MAINS_HZ = (50.0, 60.0)
ASIDE_HZ = 1.6
"""Frequencies so close to a multiple of either mains frequency do not count."""

LONGEST_LAG_S = 0.03


@dataclass(frozen=True, slots=True)
class Alike:
    """Channels ``first`` and ``second`` (places), their correlation ``r`` with its sign, at ``lag_s`` (positive where
    the second is later). ``ratio`` is the second's RMS over the first's, ``even`` the correlation where every segment
    counts the same, however strong."""

    first: int
    second: int
    r: float
    lag_s: float
    ratio: float
    even: float

    @property
    def one_signal(self) -> bool:
        """About as large in both, or the same at rest too: no neighbour's bursts."""
        return 0.5 <= self.ratio <= 2.0 or abs(self.even) > 0.9


class Pairs:
    """Cross spectra of all channels, summed over segments of equal length."""

    def __init__(self, n_channels: int, rate_hz: float, n_samples: int):
        f: NDArray[np.float64] = np.asarray(np.fft.rfftfreq(n_samples, 1 / rate_hz), dtype=np.float64)
        keep: NDArray[np.bool_] = np.asarray((f >= BAND_HZ[0]) & (f <= min(BAND_HZ[1], 0.45 * rate_hz)))
        for mains in MAINS_HZ:
            keep &= np.asarray(np.abs(f - np.maximum(np.round(f / mains), 1) * mains) > ASIDE_HZ)
        self._keep: NDArray[np.bool_] = keep
        self._n, self._rate_hz = n_samples, rate_hz
        self._cross = np.zeros((np.count_nonzero(keep), n_channels, n_channels), dtype=np.complex128)
        self._power = np.zeros((n_channels, n_channels))
        self._even, self._shared = np.zeros_like(self._cross), np.zeros((n_channels, n_channels))
        self.segments = 0

    def add(self, segment: FloatArray) -> None:
        """Take in a segment (channels, samples); a channel with missing samples is left out of it."""
        whole: NDArray[np.bool_] = np.asarray(~np.isnan(segment).any(axis=1))
        x = np.where(whole[:, None], segment, 0.0)
        x = (x - x.mean(axis=1, keepdims=True)) * np.hanning(self._n)
        spectra = np.fft.rfft(x, axis=1)[:, self._keep].T
        self._cross += np.conj(spectra)[:, :, None] * spectra[:, None, :]
        power = np.sum(np.abs(spectra) ** 2, axis=0)
        self._power += power[:, None] * whole[None, :]
        level = spectra / np.sqrt(np.where(power > 0, power, 1.0))
        self._even += np.conj(level)[:, :, None] * level[:, None, :]
        self._shared += np.outer(whole & (power > 0), whole & (power > 0))
        self.segments += 1

    def alike(self, least: float) -> list[Alike]:
        """Pairs whose correlation, at the lag within ±30 ms where it is largest, is at least ``least`` in size."""
        n = self._power.shape[0]
        if not self.segments or not self._keep.any():
            return []
        longest = int(LONGEST_LAG_S * self._rate_hz)
        scale = np.sqrt(self._power * self._power.T)
        out = []
        lags = np.concatenate([np.arange(longest + 1), np.arange(-longest, 0)]) if longest else np.array([0])
        for first in range(n - 1):
            others = slice(first + 1, n)
            lagged = self._lagged(self._cross[:, first, others], lags)
            even = self._lagged(self._even[:, first, others], lags)
            with np.errstate(divide="ignore", invalid="ignore"):
                r = lagged / scale[first, others, None]
                even /= self._shared[first, others, None]
                ratio = np.sqrt(self._power[others, first] / self._power[first, others])
            best = np.argmax(np.nan_to_num(np.abs(r)), axis=1)
            for place, at in enumerate(best):
                value = float(r[place, at])
                if abs(value) >= least:
                    lag_s = float(lags[at] / self._rate_hz)
                    found = Alike(first, first + 1 + place, value, lag_s, float(ratio[place]), float(even[place, at]))
                    out += [found] if found.one_signal else []
        return out

    def _lagged(self, cross: NDArray[np.complexfloating], lags: NDArray[np.integer]) -> FloatArray:
        """Cross correlation at some lags, from cross spectra (kept frequencies, channels): (channels, lags)."""
        spectra = np.zeros((cross.shape[1], self._keep.size), dtype=np.complex128)
        spectra[:, self._keep] = cross.T
        # The kept frequencies appear twice in the inverse transform, with their conjugates.
        return np.asarray((np.fft.irfft(spectra, self._n, axis=1) * self._n / 2)[:, lags])
