"""The scale in which a recording was read: kept in its log and in every sealed version, held against what comes later.

A fingerprint is of stored samples, rate and labels. The same stored samples read as volts instead of millivolts, or
with another offset, kind of channel or delay of the device, are other values, and marks on them are other marks. In a
log a scale is plain JSON, one entry a channel in the recording's order:

    {"label", "kind", "unit", "gain", "offset", "delay_s"}      value in ``unit`` = stored sample × gain + offset
    "missing"   stored values that stand for missing samples, where there are any

    stated          the scales of a recording, as a log keeps them
    from_cuts       what a log without scales knows of them: which channels are EMG, and their delays
    compare         what differs between two: Differing
    in_words        each channel in words
    refuse          LogError where two differ in what decides a number
    last_stated     the scales that a log states last, without reading the rest of it
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emgreview.annotations.conforming import fits
from emgreview.annotations.files import FileSystem
from emgreview.errors import LogError
from emgreview.model import Recording
from emgreview.plain_files import read_json

Scales = Sequence[Mapping[str, Any]]

ALIKE = 1e-9
"""Gains and offsets that differ by less than this share are the same: other versions of a library may round anew."""

CORRECT = "correct scale"
"""The operation that says that a recording had been read in a wrong scale."""

NAMES = {"uV": "µV", "arbitrary": "arbitrary units"}


@dataclass(frozen=True, slots=True)
class Differing:
    """What differs, in words, one entry a channel and part. ``amplitude``: unit, gain or offset of an EMG channel, or
    what stands for a missing sample: the marks are where they were, amplitudes are others. ``place``: which channels
    are EMG, or an EMG channel's delay: marks would lie elsewhere. ``beside``: of other channels."""

    amplitude: tuple[str, ...] = ()
    place: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()

    @property
    def decisive(self) -> tuple[str, ...]:
        """What decides a number of the review."""
        return (*self.place, *self.amplitude)


def stated(recording: Recording) -> list[dict[str, Any]]:
    """The scales of a recording, as a log keeps them; a gain that cannot be told is null."""
    entries = [dataclasses.asdict(scale) for scale in recording.scales]
    plain = [{name: None if value != value else value for name, value in entry.items()} for entry in entries]
    for entry in plain:
        if missing := entry.pop("missing"):
            entry["missing"] = list(missing)
    return plain


def from_cuts(cuts: Sequence[Mapping[str, Any]] | None, labels: Sequence[str]) -> list[dict[str, Any]]:
    """What the cuts in a log that states no scales say of them."""
    if not cuts:
        return []
    emg = dict(zip(cuts[-1]["channels"], cuts[-1]["delays_s"], strict=True))
    return [
        {"label": label, "kind": "EMG", "delay_s": emg[label]} if label in emg else {"label": label, "kind": None}
        for label in labels
    ]


def compare(was: Scales | None, came: Scales | None) -> Differing:
    """What differs from one to the other; what either does not state is not compared."""
    earlier = {entry["label"]: entry for entry in was or ()}
    found: dict[str, list[str]] = {"amplitude": [], "place": [], "beside": []}
    for now in came or ():
        before = earlier.get(now["label"])
        if before is None:
            continue
        label, emg = now["label"], [one.get("kind") == "EMG" for one in (before, now)]
        if emg[0] != emg[1]:
            kinds = [one.get("kind") or "not EMG" for one in (before, now)]
            found["place"].append(f"channel {label} was of kind {kinds[0]}, and is of kind {kinds[1]}")
        elif before.get("kind") not in (None, now["kind"]):
            found["beside"].append(f"channel {label} was of kind {before['kind']}, and is of kind {now['kind']}")
        if not _alike(before, now, "delay_s"):
            words = (
                f"channel {label} was read with a delay of {before['delay_s']:g} s, and comes with {now['delay_s']:g} s"
            )
            found["place" if all(emg) else "beside"].append(words)
        if words := _amplitude(before, now):
            found["amplitude" if all(emg) else "beside"].append(f"channel {label}: {words}")
    return Differing(**{name: tuple(words) for name, words in found.items()})


def in_words(scales: Scales) -> str:
    """Each EMG channel in words: "FDI 0.0305 µV a stored unit"."""
    return ", ".join(f"{entry['label']} {_gain(entry)} a stored unit" for entry in scales if entry["kind"] == "EMG")


def refuse(found: Differing, whose: str, advice: str) -> None:
    """Raise LogError where what differs decides a number."""
    if found.decisive:
        raise LogError(f"{whose} in another scale than it was reviewed in: {'; '.join(found.decisive)}; {advice}")


def last_stated(path: Path) -> tuple[str | None, Scales | None]:
    """The digest of the samples in a log's first line, and the scales that it states last; None where it does not, or
    where it cannot be read: whoever opens that log is told why."""
    try:
        content = FileSystem().read(path)
        samples = read_json(content[: content.index(b"\n")])["new"]["fingerprint"]["samples"]
        at = content.rfind(b'"scales":[', 0, content.rindex(b"\n"))
        line = content[content.rfind(b"\n", 0, at) + 1 : content.index(b"\n", at)] if at >= 0 else None
        found = None if line is None else read_json(line)["new"].get("scales")
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None, None
    if not isinstance(samples, str) or (found is not None and not fits("scales", found)):
        return None, None
    return samples, found


def _amplitude(before: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    if before.get("unit") not in (None, now["unit"]):
        return f"one stored unit was {_gain(before)}, and is {_gain(now)}"
    if not _alike(before, now, "gain"):
        digits = next(n for n in (6, 9, 12, 17) if _gain(before, n) != _gain(now, n) or n == 17)
        return f"one stored unit was {_gain(before, digits)}, and is {_gain(now, digits)}"
    if not _alike(before, now, "offset"):
        return f"a stored 0 was {before['offset']:.9g} {_unit(now)}, and is {now['offset']:.9g} {_unit(now)}"
    codes = [sorted(one.get("missing", ())) for one in (before, now)]
    if before.get("unit") is not None and codes[0] != codes[1]:
        told = [
            " and ".join(f"{code:g}" if abs(code) < 1e5 else str(code) for code in some) or "none" for some in codes
        ]
        return f"the stored value that means a missing sample was {told[0]}, and is {told[1]}"
    return ""


def _alike(before: Mapping[str, Any], now: Mapping[str, Any], name: str) -> bool:
    """Whether a number is the same; what either does not know is."""
    one, two = before.get(name), now.get(name)
    if one is None or two is None:
        return True
    size = max(abs(one), abs(two), abs(now.get("gain") or 0.0) if name == "offset" else 0.0)
    return math.isclose(one, two, rel_tol=0.0, abs_tol=ALIKE * size)


def _gain(entry: Mapping[str, Any], digits: int = 6) -> str:
    gain = entry.get("gain")
    return f"{'an unknown number of' if gain is None else f'{gain:.{digits}g}'} {_unit(entry)}"


def _unit(entry: Mapping[str, Any]) -> str:
    unit = str(entry["unit"])
    return NAMES.get(unit, unit or "(no unit)")
