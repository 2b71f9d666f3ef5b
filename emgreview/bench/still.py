"""Trials without activity: amplifier noise, mains, tonic activity, heart beats, knocks, swings, restless and real rest.

Every onset found in them is false. "real rest" leaves out the channels in which a method had fired and a picture showed
activity; beside it stands real rest from which none was left out for that. Of both, channels with a plain contraction
are left out (see :func:`~emgreview.bench.recipes.forearm`).

    quiet     trials of one kind of QUIET
"""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from emgreview.bench.others import restless
from emgreview.bench.recipes import LENGTH_S, NOISE_UV, POOL_TRIALS, RATE_HZ, SPLICE_RATE_HZ, Forearm, Made, band, cut
from emgreview.simulation import ARTEFACTS, rest_noise

QUIET = (
    *("noise", "mains 50 Hz", "tonic", "heart", "knock", "swing", "real rest", "mains 60 Hz"),
    *("real rest, none left out by a method", "restless gain", "restless single units"),
)
REAL_RESTS = ("real rest", "real rest, none left out by a method")
ALONE_UV: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "mains 50 Hz": {"level_uv": 6.0, "hz": 50.0},
        "mains 60 Hz": {"level_uv": 6.0, "hz": 60.0},
        "tonic": {"level_uv": 9.0},
        "heart": {"level_uv": 40.0},
        "knock": {"level_uv": 60.0},
        "swing": {"level_uv": 30.0},
    }
)
"""What is laid over the noise (3 µV RMS) of trials without activity."""


def quiet(rng: np.random.Generator, n: int, kind: str, *, material: Forearm | None = None) -> Made:
    """Trials without activity, of one kind of :data:`QUIET`; the levels of artefacts vary by half to double."""
    if kind in REAL_RESTS:
        assert material is not None
        rests = material.rests if kind == "real rest" else material.rests + material.left_out
        x, rate_hz = cut(rng, rests, n), SPLICE_RATE_HZ
    elif kind.startswith("restless "):
        rate_hz = RATE_HZ
        x = restless(rng, n, kind.removeprefix("restless "))
    else:
        rate_hz = RATE_HZ
        x = rest_noise((n, round(LENGTH_S * rate_hz)), rate_hz, rng, level_uv=NOISE_UV)
        if kind in ALONE_UV:
            levels = dict(ALONE_UV[kind])
            uv = levels.pop("level_uv")
            parts = [
                ARTEFACTS[kind.split()[0]](
                    x[k : k + POOL_TRIALS], rate_hz, rng, level_uv=uv * 2 ** rng.uniform(-1, 1), **levels
                )
                for k in range(0, n, POOL_TRIALS)
            ]
            x = np.concatenate(parts)
    return Made(band(x, rate_hz), rate_hz, *np.full((3, n), np.nan))
