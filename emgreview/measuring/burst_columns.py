"""Columns of the table of bursts: their names, units and meanings.

WORDS           measures of a stretch: unit and meaning
stretches       what is measured: the burst, and windows of one length from its onset
names_of        the measures of a stretch of some length
columns_of      unit and meaning of every measure
"""

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from emgreview.measuring.rows import Described, column
from emgreview.signal import measures

CLIPPED = "clipped_share"

WORDS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "duration_s": ("s", "Onset to offset"),
        "rms": ("{unit}", "Root mean square"),
        "arv": ("{unit}", "Average rectified value"),
        "peak": ("{unit}", "Largest value of the envelope"),
        "integral": ("{unit}·s", "Integrated EMG: time integral of the rectified signal"),
        "time_to_peak_s": ("s", "Start of the stretch to the envelope's largest value"),
        "rise_per_s": (
            "{unit}/s",
            "Rate of rise: mean slope of the envelope, as the trials are filtered, from the start to its largest value",
        ),
        "mean_hz": ("Hz", "Mean frequency of the power spectrum, missing below 0.1 s"),
        "median_hz": ("Hz", "Median frequency of the power spectrum, missing below 0.1 s"),
    }
)


def stretches(windows_s: Sequence[float]) -> list[tuple[str, float]]:
    """What is measured: how its columns begin, and its length (inf for the burst)."""
    return [("burst", math.inf), *((f"first_{length_s * 1000:g}_ms", length_s) for length_s in windows_s)]


def names_of(length_s: float) -> list[str]:
    """Measures of a fixed window of this length, or of a burst (inf)."""
    names = list(WORDS) if length_s >= measures.SPECTRUM_SHORTEST_S else [n for n in WORDS if not n.endswith("_hz")]
    return names if math.isinf(length_s) else [name for name in names if name != "duration_s"]


def columns_of(windows_s: Sequence[float], unit: str, creep_s: float) -> Described:
    """Unit and meaning of every measure."""
    out = {}
    for prefix, length_s in stretches(windows_s):
        where = "over the burst" if math.isinf(length_s) else f"over the first {length_s * 1000:g} ms from the onset"
        for name in names_of(length_s):
            of, words = WORDS[name]
            plain = "; not normalised" if "{unit}" in of else ""
            out[f"{prefix}_{name}"] = column("number", of.format(unit=unit), f"{words}, {where}{plain}")
        cut = "Share of samples at a rail of the unfiltered recording: above 0 amplitudes are too small"
        out[f"{prefix}_{CLIPPED}"] = column("number", "", f"{cut}, {where}")
    flag = "Whether the response comes before the muscle: not the responding muscle, or a wrong mark"
    return out | {
        "rest_rms": column("number", unit, "Root mean square of the rest window, untouched by what follows it"),
        "level_db": column("number", "dB", "Level: RMS over the burst, rest included, over that of the rest window"),
        "creep_per_s": column(
            "number", f"{unit}/s", f"Slope of the rectified signal in the last {creep_s:g} s before go"
        ),
        "reaction_s": column("number", "s", "Reaction time: go to response = premotor + motor time"),
        "premotor_s": column("number", "s", "Premotor time: go to onset"),
        "motor_s": column("number", "s", "Motor time: onset to response"),
        "motor_time_impossible": column("truth", "", flag),
    }
