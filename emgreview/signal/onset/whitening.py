"""Whitening by the autoregression of the rest.

x_t = sum_k a_k x_(t-k) + e_t, a from the Yule-Walker equations on the rest; e is white where there is rest alone
(Staude and Wolf 1999, Med Eng Phys 21:449-467; Bonato, D'Alessio and Knaflitz 1998, IEEE Trans Biomed Eng 45:287-299).
Departures: the rest is winsorised at three robust SDs, so that a heart beat or a knock does not shape the filter, and a
share of the power (``ridge``) is added to the zero lag, because band-passed noise is all but predictable at high rates.

Arrays are (trials, samples).

    autoregression     a
    filtered           a filter for each trial
    residual           e, its SD 1 in the rest
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]
Floats = NDArray[np.float32]

OUTLIER = 3.0
"""Winsorising limit in robust SDs."""

RIDGE = 0.003

ENOUGH = 512
"""Samples whose median serves for a robust SD."""

STRETCH, TRIALS = 32, 16
"""Samples that are filtered by one product, and trials filtered at once: little enough for the processor's cache."""


def autoregression(quiet: Array, order: int, ridge: float) -> Array:
    """Coefficients a (trials, order) of the rest (trials, samples)."""
    some = quiet[:, :: max(1, quiet.shape[1] // ENOUGH)]
    limit = OUTLIER / 0.6745 * np.median(np.abs(some), axis=1, keepdims=True)
    quiet = np.clip(quiet, -limit, limit)
    n = quiet.shape[1]
    r = np.stack([np.einsum("ij,ij->i", quiet[:, : n - k], quiet[:, k:]) for k in range(order + 1)], axis=1)
    r = r.astype(np.float64) / np.maximum(r[:, :1], 1e-30)
    r[:, 0] += ridge
    lag = np.abs(np.arange(order)[:, None] - np.arange(order))
    return np.linalg.solve(r[:, lag], r[:, 1:, None])[..., 0]


def order_of(memory_s: float, rate_hz: float, samples: int) -> int:
    """Order whose lags cover ``memory_s``, at most a tenth of the samples of rest."""
    return max(1, min(round(memory_s * rate_hz), samples // 10))


def filtered(x: Floats, taps: Floats, ahead: int) -> Floats:
    """sum_k taps_k x_(t + ahead - k), zeros beyond the ends; ``taps`` (trials, k), or (1, k) for all of them.

    Stretches of x are multiplied with a matrix, which holds the taps once for each of its samples.
    """
    (n, length), k = x.shape, taps.shape[1]
    stretches, more = -(-length // STRETCH), -(-(k - 1) // STRETCH)  # a stretch of the result asks so many more of x
    first, wide = k - 1 - ahead, (more + 1) * STRETCH
    size = (stretches + more) * STRETCH
    known = slice(max(-first, 0), size - first)
    out = np.empty((n, stretches * STRETCH), x.dtype)
    for some in (slice(start, start + TRIALS) for start in range(0, n, TRIALS)):
        part, own = x[some, known], taps[some] if len(taps) > 1 else taps
        padded = np.zeros((len(part), size), x.dtype)
        padded[:, max(first, 0) : max(first, 0) + part.shape[1]] = part
        matrix = np.zeros((len(own), STRETCH, wide + 1), x.dtype)
        matrix[:, :, :k] = own[:, None, ::-1]
        matrix = matrix.reshape(len(own), -1)[:, : STRETCH * wide].reshape(-1, STRETCH, wide)  # each row one further
        padded, total = padded.reshape(len(part), -1, STRETCH), out[some].reshape(len(part), -1, STRETCH)
        total[:] = padded[:, :stretches] @ matrix[:, :, :STRETCH].transpose(0, 2, 1)
        for j in range(1, more + 1):
            columns = slice(j * STRETCH, (j + 1) * STRETCH)
            total += padded[:, j : j + stretches] @ matrix[:, :, columns].transpose(0, 2, 1)
    return out[:, :length]


def residual(x: Array, rest: slice, rate_hz: float, memory_s: float) -> Array:
    """e of every trial over its SD in the rest, float64."""
    quiet = x[:, rest]
    a = autoregression(quiet, order_of(memory_s, rate_hz, quiet.shape[1]), RIDGE)
    e = filtered(x, np.pad(-a, ((0, 0), (1, 0)), constant_values=1.0), 0)
    return e / np.maximum(e[:, rest].std(axis=1, keepdims=True), 1e-12)
