"""What a dataset written by :func:`emgreview.convert` states beyond BIDS, so that nothing is lost on the way.

EDF and BDF hold whole data records of numbers. So the sidecar emg.json of a converted recording says how many samples
were recorded (the rest of the last record is filled up), and which stored value stands for a missing sample, by
channel; its SamplingFrequency is then the exact one. Its events.tsv says where each marker came from.

    recorded(sidecars, path, lead)      number of samples, and rate
    missing_codes(sidecars, labels)     the stored value that means missing, channel by channel
    codes_of_nobody(sidecars, labels)   a sentence on such values of channels that are not there
    told_source(details, source)        where a marker came from
"""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from emgreview.errors import FormatError
from emgreview.reading.bids import Sidecars
from emgreview.reading.contents import Signal
from emgreview.reading.settled import listed

SAMPLES, MISSING = "SamplesRecorded", "MissingSampleCodes"
"""Keys of emg.json."""

SOURCE, SAMPLE = "marker_source", "sample"
"""Columns of events.tsv."""

SOURCES = re.compile(r"given|events|annotations|channel .+", re.DOTALL)
"""What a marker's source may be."""

NEAR = 1e-5
"""How far the rate of a header may be from the stated one, as a share: its duration has eight characters at most."""


def recorded(sidecars: Sidecars, path: Path, lead: Signal) -> tuple[int, float]:
    """Number of samples and rate of a recording: those of its file, unless its sidecar says how many were recorded."""
    n = sidecars.metadata.get(SAMPLES)
    if n is None:
        return lead.n_samples, lead.rate_hz
    if isinstance(n, bool) or not isinstance(n, int) or not 0 < n <= lead.n_samples:
        raise FormatError(
            f"the emg.json of {path.name} has {SAMPLES} {n!r}; allowed: a whole number from 1 to {lead.n_samples}, "
            "the samples that the file holds of each EMG channel; correct it, or remove the key."
        )
    stated = sidecars.rate_hz
    exact = stated is not None and abs(stated - lead.rate_hz) <= NEAR * lead.rate_hz
    return n, stated if exact and stated is not None else lead.rate_hz


def missing_codes(sidecars: Sidecars, labels: Sequence[str]) -> tuple[int | None, ...]:
    """The stored value that means a missing sample, one a channel; None where there is none."""
    codes = sidecars.metadata.get(MISSING)
    if codes is None:
        return ()
    if not isinstance(codes, Mapping) or not all(type(code) is int for code in codes.values()):
        raise FormatError(
            f"the emg.json of {sidecars.name} has {MISSING} {codes!r}; allowed: a whole number by channel; correct it, "
            "or remove the key."
        )
    return tuple(codes.get(label) for label in labels)


def codes_of_nobody(sidecars: Sidecars, labels: Sequence[str]) -> list[str]:
    """A sentence where the sidecar states such values of channels that the file does not have."""
    codes = sidecars.metadata.get(MISSING)
    strange = [repr(label) for label in codes if label not in labels] if isinstance(codes, Mapping) else []
    if not strange:
        return []
    return [
        f"{MISSING} of its emg.json names channels that are not there: {listed(strange)}; stored values that stand for "
        "missing samples are none of theirs, and are read as voltages if a channel has another name now."
    ]


def told_source(details: Mapping[str, str], source: str) -> str:
    """The source that a row of events.tsv states of its marker, where it is one."""
    told = details.get(SOURCE, "")
    return told if SOURCES.fullmatch(told) else source
