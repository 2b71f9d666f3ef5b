"""A long invented recording as an EDF file, written second by second: 2 s of rest and 2 s of activity in turn."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np


def _fields(values: Sequence[object], width: int) -> str:
    return "".join(str(value).ljust(width)[:width] for value in values)


def write_edf(path: Path, *, n_channels: int, rate_hz: int, seconds: int, seed: int = 1) -> Path:
    """``n_channels`` of EMG in microvolts and one angle in degrees, in data records of 1 s."""
    rng = np.random.default_rng(seed)
    n = n_channels + 1
    labels = [f"muscle {i + 1}" for i in range(n_channels)] + ["handle angle"]
    head = _fields([0], 8) + _fields(["X X X X"], 80) + _fields(["Startdate X X X X"], 80)
    head += _fields(["01.01.26", "00.00.00", 256 * (n + 1)], 8) + _fields([""], 44)
    head += _fields([seconds, 1], 8) + _fields([n], 4) + _fields(labels, 16) + _fields([""] * n, 80)
    head += _fields(["uV"] * n_channels + ["deg"], 8)
    head += _fields([-3276.8] * n_channels + [-180], 8) + _fields([3276.7] * n_channels + [180], 8)
    head += _fields([-32768] * n, 8) + _fields([32767] * n, 8) + _fields([""] * n, 80)
    head += _fields([rate_hz] * n, 8) + _fields([""] * n, 32)
    rest, burst = rng.normal(0, 8, (64, rate_hz)), rng.normal(0, 80, (64, rate_hz))
    strength = np.linspace(0.5, 1, n_channels)[:, np.newaxis]
    with path.open("wb") as stream:
        stream.write(head.encode("ascii"))
        for second in range(seconds):
            pick = rng.integers(0, 64, n_channels)
            x = rest[pick] if second % 4 < 2 else burst[pick] * strength
            angle = np.full(rate_hz, 4551 if second % 4 == 2 else 0, "<i2")
            stream.write(np.rint(x * 10).astype("<i2").tobytes() + angle.tobytes())
    return path
