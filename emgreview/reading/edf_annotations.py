"""The annotations of EDF+ and BDF+: markers, and when each data record begins.

Kemp & Olivan 2003 (Clin Neurophysiol 114:1755-1761). The first annotation of a record is empty and carries the record's
own start; the first record's start may lie a fraction of a second after the header's start time, and is the zero of all
onsets here.

    markers_in(path, signals, ...)      markers, and notes on what is none; no gap may lie between records
    gapped(path, called, why)           the error for a file with gaps
"""

import math
import re
from collections.abc import Sequence
from pathlib import Path

from emgreview.errors import FormatError, ReadError

_TAL = re.compile(rb"([+-]\d+(?:\.\d*)?)(?:\x15(\d+(?:\.\d*)?))?\x14(.*)\x14", re.DOTALL)

Moments = tuple[tuple[float, str, float | None], ...]


def markers_in(
    path: Path, signals: Sequence[Sequence[bytes]], record_s: float, tolerance_s: float, called: str
) -> tuple[Moments, tuple[str, ...]]:
    """Annotations as (seconds from the first sample, text, duration), in order of time, and notes on what is not one.

    ``signals`` holds the bytes of each annotation signal, record by record. ``called`` is "EDF+D" or "BDF+D" where the
    file says that there may be gaps; then every record must say when it begins.
    """
    starts: dict[int, float] = {}
    found: list[tuple[float, str, float | None]] = []
    empty = 0
    for place, blocks in enumerate(signals):
        for record, block in enumerate(blocks):
            for order, text in enumerate(part for part in block.split(b"\0") if part):
                match = _TAL.fullmatch(text)
                if match is None:
                    raise FormatError(
                        f"{path.name}: an annotation in data record {record + 1} reads {text[:40]!r}; EDF+ wants "
                        "onset, optional duration and texts between the bytes 21, 20 and 0; export the file again."
                    )
                onset, duration = float(match[1]), None if match[2] is None else float(match[2])
                if not math.isfinite(onset) or not math.isfinite(duration or 0.0):
                    raise FormatError(
                        f"{path.name}: an annotation in data record {record + 1} has a time of {len(text)} bytes, "
                        "which is no number of seconds; export the file again."
                    )
                try:
                    labels = match[3].decode("utf-8").split("\x14")
                except UnicodeDecodeError as error:
                    raise FormatError(
                        f"{path.name}: an annotation in data record {record + 1}, at {onset:g} s, is not UTF-8 "
                        f"({error.reason}), as EDF+ wants; export the file again."
                    ) from error
                if place == 0 and order == 0 and labels[0] == "":
                    starts[record] = onset
                    labels = labels[1:]
                empty += sum(label == "" and onset != starts.get(record) for label in labels)
                found += [(onset, label, duration) for label in labels if label]
    zero = starts.get(0, 0.0)
    for record, start in starts.items():
        if abs(start - zero - record * record_s) > tolerance_s:
            where = f"its data record {record + 1} begins at {start - zero:g} s instead of {record * record_s:g} s"
            if called:
                raise gapped(path, called, f"stretches of time are missing between its data records: {where}")
            raise FormatError(
                f"{path.name} says it is continuous, but {where}; records must follow one another without a gap; "
                "export each continuous stretch as a file of its own."
            )
    notes = (f"{empty} annotations without text are no markers.",) if empty else ()
    if called:
        if silent := len(signals[0]) - len(starts):
            raise gapped(path, called, f"{silent} of its data records do not say when they begin")
        notes = (*notes, f"{path.name} calls itself discontinuous ({called}), and its data records have no gap.")
    markers = [(onset - zero, label, duration) for onset, label, duration in found]
    return tuple(sorted(markers, key=lambda marker: marker[0])), notes


def gapped(path: Path, called: str, why: str) -> ReadError:
    """The error for a file with gaps, or one that may have some."""
    return ReadError(
        f"{path.name} is discontinuous ({called}): {why}; only continuous files can be read, because filters and "
        "windows would run across the gaps; export each continuous stretch as a file of its own (EDF+C or BDF+C)."
    )
