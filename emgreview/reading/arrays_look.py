"""What is in a file that holds arrays, and what a person must say of it; names and values propose, and decide nothing.

seen_in     Seen
"""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from itertools import groupby
from typing import Any

import numpy as np

from emgreview.errors import EmgreviewError
from emgreview.reading.array_layout import CUES_IN
from emgreview.reading.arrays import Arrays, Entry, candidates, last_of, short_list
from emgreview.reading.contents import Seen
from emgreview.reading.units import plain_unit

MOST_SHOWN = 40
MOST_MOMENTS = 10_000
"""Numbers that a look takes for moments at most (our own choice)."""
_GAINS = frozenset((
    "gain", "gains", "scale", "scales", "scaling", "scalefactor", "scale_factor", "factor", "conversion", "resolution",
    "calibration", "lsb", "multiplier", "sensitivity",
))  # fmt: skip
_OFFSETS = frozenset(("offset", "offsets", "baseline", "zero", "add_offset"))
_UNITS = frozenset(("unit", "units", "einheit"))


def seen_in(arrays: Arrays, facts: tuple[str, ...] = ()) -> Seen:
    """What is in a file, and what a person must say of it."""
    entries = arrays.entries()
    shown = [f"{entry.words}{f' ({entry.refused})' if entry.refused else ''}" for entry in entries[:MOST_SHOWN]]
    if len(entries) > MOST_SHOWN:
        shown.append(f"… and {len(entries) - MOST_SHOWN} more")
    fit = candidates({entry.name: entry for entry in entries})
    if not fit:
        return Seen((*facts, *shown), refused=f"no {arrays.what} holds numbers that could be samples")
    layout: dict[str, Any] = {}
    asks = {"data": f"which {arrays.what} holds the samples: {short_list([one.words for one in fit])}"}
    if len(fit) == 1:
        layout["data"] = fit[0].name
        asks["data"] = f"confirm that {fit[0].name!r} holds the samples; nothing else here could"
    elif alike := _as_long(fit):
        asks["data"] += f"; or several that are as long, a channel each: data={alike!r}"
    if any(len(entry.shape) == 2 and 1 not in entry.shape for entry in fit):
        asks["samples_along"] = "'rows' where each row is one sample, 'columns' where each column is one"
    numbers = [entry for entry in entries if entry.role == "numbers"]
    single = [entry.name for entry in numbers if entry.size == 1]
    asks["rate_hz"] = "the sampling rate" + (
        f"; or, instead, rate='…', the {arrays.what} that is it: {short_list(single)}" if single else ""
    )
    texts = [entry for entry in entries if entry.role == "texts"]
    asks["columns"] = "one label for each channel, in order" + (
        f"; or, instead, labels='…', the {arrays.what} that names them: {short_list([one.words for one in texts])}"
        if texts
        else ""
    )
    units = [(one.name, said) for one in texts if last_of(one.name).lower() in _UNITS for said in _texts(arrays, one)]
    asks["unit"] = "in what the samples count, such as 'mV'" + (
        f"; {short_list([f'{name!r} says {said!r}' for name, said in units], 6)}" if units else ""
    )
    told = {plain_unit(said) for _, said in units}
    unit = told.pop() if len(told) == 1 else None
    if gains := [one for one in numbers if last_of(one.name).lower() in _GAINS]:
        words = short_list([f"{one.name!r} ({_few(arrays, one)})" for one in gains], 6)
        asks["gain"] = (
            f"{words} may be what a stored value is multiplied by: gain={gains[0].name!r} where that is so, gain=1 "
            "where the samples are in their unit already"
            + ("; of several arrays a list, one for each: gain=['…', 1]" if len(fit) > 1 else "")
        )
    if offsets := [one.name for one in numbers if last_of(one.name).lower() in _OFFSETS]:
        shown.append(f"{short_list(offsets, 6)} may have to be added to the samples: reading adds nothing")
    return Seen((*facts, *shown, *_moments(arrays, numbers, fit)), unit=unit, layout=layout, asks=asks)


def _as_long(fit: Sequence[Entry]) -> list[str]:
    """The largest group of single channels that are as long as each other, where there is one."""
    single = sorted((one for one in fit if one.size == max(one.shape)), key=lambda one: one.size)
    groups = [[one.name for one in group] for _, group in groupby(single, key=lambda one: one.size)]
    most = max(groups, key=len, default=[])
    return [one.name for one in fit if one.name in most] if len(most) > 1 else []


def _moments(arrays: Arrays, numbers: Sequence[Entry], fit: Sequence[Entry]) -> Iterator[str]:
    """Sentences on short rows of numbers that rise, as cues do."""
    for one in numbers:
        if (
            one in fit
            or last_of(one.name).lower() in _GAINS
            or not 1 < one.size == max(one.shape, default=0) <= MOST_MOMENTS
        ):
            continue
        with suppress(EmgreviewError):
            values = np.asarray(arrays.numbers(one.name), np.float64)
            if np.isfinite(values).all() and values[0] >= 0 and (np.diff(values) > 0).all():
                yield (
                    f"{one.name} rises from {values[0]:g} to {values[-1]:g}: if these are moments of cues, say "
                    f"cues={one.name!r}, cues_in= ({', '.join(map(repr, CUES_IN))}) and cue_label='go', or another "
                    "name"
                )


def _texts(arrays: Arrays, one: Entry) -> list[str]:
    with suppress(EmgreviewError):
        return list(dict.fromkeys(text.strip(" \0") for text in arrays.texts(one.name)))
    return []


def _few(arrays: Arrays, one: Entry) -> str:
    with suppress(EmgreviewError):
        if one.size <= MOST_MOMENTS:
            return short_list([f"{value:g}" for value in np.asarray(arrays.numbers(one.name), np.float64).ravel()], 4)
    return f"{one.size} numbers"
