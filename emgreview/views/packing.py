"""Trials as bytes for the browser: int16 samples with one scale a trace, and a JSON head that says where they lie.

Layout: int32 length of the head (little endian), the head (UTF-8 JSON, padded with spaces to a multiple of 4), then the
samples of all traces, little-endian int16. A sample times its trace's ``scale`` is the value in the channel's unit;
-32768 is missing.

    band_of             the limits of an auxiliary channel's band
    Traces              collects samples, and says where they lie
    pack_trials         the bytes of some trials, and of typical envelopes
    pack_sound          the bytes of a sound
"""

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from emgreview.evidence import Typical
from emgreview.model import FloatArray, Trials

_MISSING = np.int16(-32768)


def envelope_step(trials: Trials) -> int:
    """Every how many samples the envelope is sent: at ten times its corner frequency or more."""
    return max(1, int(trials.rate_hz // (10 * trials.processing.envelope_hz)))


class Traces:
    """The samples of a pack: each trace is added with its description, which gets its place and scale."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []
        self._at = 0

    def add(self, x: FloatArray, step_s: float, **described: Any) -> dict[str, Any]:
        samples, scale = quantise(x)
        trace = {**described, "at": self._at, "n": samples.size, "scale": scale, "step_s": step_s}
        self.parts.append(samples.tobytes())
        self._at += samples.nbytes
        return trace

    def bytes(self, head: dict[str, Any]) -> bytes:
        """Head and samples together."""
        text = json.dumps(head, allow_nan=False).encode()
        text += b" " * (-len(text) % 4)
        return b"".join([len(text).to_bytes(4, "little"), text, *self.parts])


def pack_trials(
    wanted: Sequence[tuple[Trials, int, Sequence[Sequence[float]], dict[str, Any]]],
    typical: Sequence[tuple[Trials, int, int, Typical]] = (),
) -> bytes:
    """Trials, and typical envelopes of their sessions, as bytes.

    Each of ``wanted``: its Trials, its row in them, the limits of its auxiliary channels, and a head to which its
    traces are added. Each of ``typical``: Trials, the number of their session, the channel's row, the envelope.
    """
    traces, heads, usual = Traces(), [], []
    for trials, row, limits, head in wanted:
        step, n_emg = envelope_step(trials), len(trials.labels)
        sample_s = 1 / trials.rate_hz
        made = [traces.add(trials.data[row, i], sample_s, row=i, kind="raw") for i in range(n_emg)]
        made += [
            traces.add(trials.envelope[row, i, ::step], step * sample_s, row=i, kind="envelope") for i in range(n_emg)
        ]
        made += [
            traces.add(x, sample_s, row=n_emg + i, kind="auxiliary", limits=limits[i])
            for i, x in enumerate(trials.auxiliary[row])
        ]
        heads.append({**head, "traces": made})
    for trials, number, row, envelope in typical:
        step = envelope_step(trials)
        parts = {
            name: traces.add(getattr(envelope, name)[::step], step / trials.rate_hz)
            for name in ("lower", "median", "upper")
        }
        usual.append({"recording": number, "row": row, "n_trials": envelope.n_trials, **parts})
    return traces.bytes({"trials": heads, "typical": usual})


def pack_sound(sound: FloatArray, rate_hz: float, client: str) -> bytes:
    """A sound of full scale 1 for one screen."""
    traces = Traces()
    trace = traces.add(sound, 1 / rate_hz)
    return traces.bytes({"client": client, "rate_hz": rate_hz, "trace": trace})


def quantise(x: FloatArray) -> tuple[np.ndarray, float]:
    """Values as int16 and the scale that turns them back."""
    finite = np.isfinite(x)
    peak = float(np.max(np.abs(x), where=finite, initial=0.0))
    scale = peak / 32767 if peak > 0 else 1.0
    samples = np.where(finite, np.rint(np.where(finite, x, 0.0) / scale), _MISSING)
    return samples.astype("<i2"), scale


def band_of(low: float, high: float) -> list[float]:
    """The limits of a band that shows values from ``low`` to ``high``, NaN where there are none."""
    if not np.isfinite(low):
        return [0.0, 1.0]
    return [low, high] if high > low else [low - 0.5, high + 0.5]
