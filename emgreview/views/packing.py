"""Trials as bytes for the browser: int16 samples with one scale a trace, and a JSON head that says where they lie.

Layout: int32 length of the head (little endian), the head (UTF-8 JSON, padded with spaces to a multiple of 4), then the
samples of all traces, little-endian int16. A sample times its trace's ``scale`` is the value in the channel's unit;
-32768 is missing.

    full_scale, auxiliary_limits    what a channel's band shows, the same for all trials of a recording
    pack_trials                     the bytes
"""

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from emgreview.model import FloatArray, Trials

_MISSING = np.int16(-32768)


def full_scale(trials: Trials) -> FloatArray:
    """The value at the edge of each EMG channel's band, (channels,): below most trials' peaks, so that onsets show.

    Fixed for a recording and channel, so that the same height always means the same voltage.
    """
    if not trials.data.size:
        return np.ones(len(trials.labels))
    peaks = np.max(np.abs(np.nan_to_num(trials.data)), axis=-1)
    scale = 0.7 * np.percentile(peaks, 75, axis=0)
    return np.where(scale > 0, scale, 1.0)


def auxiliary_limits(trials: Trials) -> list[list[float]]:
    """Lowest and highest value of each auxiliary channel over all trials of a recording."""
    return [_limits(trials.auxiliary[:, channel]) for channel in range(len(trials.auxiliary_labels))]


def envelope_step(trials: Trials) -> int:
    """Every how many samples the envelope is sent: at ten times its corner frequency or more."""
    return max(1, int(trials.rate_hz // (10 * trials.processing.envelope_hz)))


def pack_trials(wanted: Sequence[tuple[Trials, int, Sequence[Sequence[float]], dict[str, Any]]]) -> bytes:
    """Trials as bytes. Each entry: its Trials, its row in them, the limits of its auxiliary channels, and a head to
    which the places of the samples are added."""
    heads, parts, at = [], [], 0
    for trials, row, limits, head in wanted:
        step = envelope_step(trials)
        n_emg = len(trials.labels)
        traces = []
        sources = [("raw", i, trials.data[row, i], 1) for i in range(n_emg)]
        sources += [("envelope", i, trials.envelope[row, i, ::step], step) for i in range(n_emg)]
        sources += [("auxiliary", n_emg + i, x, 1) for i, x in enumerate(trials.auxiliary[row])]
        for kind, channel, x, every in sources:
            samples, scale = _quantise(x)
            step_s = every / trials.rate_hz
            trace = {"row": channel, "kind": kind, "at": at, "n": samples.size, "scale": scale, "step_s": step_s}
            if kind == "auxiliary":
                trace["limits"] = limits[channel - n_emg]
            traces.append(trace)
            parts.append(samples.tobytes())
            at += samples.nbytes
        heads.append({**head, "traces": traces})
    text = json.dumps({"trials": heads}, allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    return b"".join([len(text).to_bytes(4, "little"), text, *parts])


def _quantise(x: FloatArray) -> tuple[np.ndarray, float]:
    finite = np.isfinite(x)
    peak = float(np.max(np.abs(x), where=finite, initial=0.0))
    scale = peak / 32767 if peak > 0 else 1.0
    samples = np.where(finite, np.rint(np.where(finite, x, 0.0) / scale), _MISSING)
    return samples.astype("<i2"), scale


def _limits(x: FloatArray) -> list[float]:
    finite = x[np.isfinite(x)]
    if not finite.size:
        return [0.0, 1.0]
    low, high = float(finite.min()), float(finite.max())
    return [low, high] if high > low else [low - 0.5, high + 0.5]
