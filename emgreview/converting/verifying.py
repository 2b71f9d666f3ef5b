"""A converted recording read back, and held against its source sample by sample, before anybody calls it done."""

import warnings
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from emgreview.converting.grid import SAME
from emgreview.converting.rules import Rules
from emgreview.converting.signals import WrittenFile
from emgreview.converting.tables import kind_of, told_label
from emgreview.errors import SignalError, SignalWarning
from emgreview.model import Recording
from emgreview.reading import read

_BLOCK = 1 << 16


def read_back(path: Path, rec: Recording, labels: Sequence[str], written: WrittenFile, rules: Rules) -> Recording:
    """The converted recording. Raises SignalError where it is not the source within the stated loss."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SignalWarning)
        back = read(path)
    _same(rec, "number of samples", rec.n_samples, back.n_samples)
    _same(rec, "sampling rate", rec.rate_hz, back.rate_hz)
    _same(rec, "labels", tuple(labels), back.labels)
    _same(rec, "kinds of channel", [kind_of(one.kind) for one in rec.channels], [one.kind for one in back.channels])
    _same(rec, "units", [one.unit for one in rec.channels], [one.unit for one in back.channels])
    often = Counter(one.label for one in rec.markers)
    _same(
        rec,
        "markers",
        [(one.sample, told_label(rules.label(one.label, often[one.label])), one.duration_s) for one in rec.markers],
        [(one.sample, one.label, one.duration_s) for one in back.markers],
    )
    step = max(1, _BLOCK // len(labels))
    for start in range(0, rec.n_samples, step):
        stop = min(start + step, rec.n_samples)
        x, y = rec.values(start, stop), back.values(start, stop)
        for row, one in enumerate(written.channels):
            allowed = 0.0 if one.copied else one.largest_error * (1 + 1e-9)
            if not one.copied:
                allowed += SAME * 2 * max(float(np.nanmax(np.abs(x[row]), initial=0.0)), one.step)
            off = np.abs(x[row] - y[row])
            bad = (np.isnan(x[row]) != np.isnan(y[row])) | (off > allowed)
            if bad.any():
                sample = start + int(np.flatnonzero(bad)[0])
                raise SignalError(
                    f"channel {one.label!r} of the converted {rec.name} is not its source at sample {sample}: "
                    f"{y[row, sample - start]:g} was read back, {x[row, sample - start]:g} was written; they must be "
                    f"the same (within {allowed:.3g}); see whether the disk is sound, and convert again."
                )
    return back


def _same(rec: Recording, what: str, was: object, now: object) -> None:
    if was != now:
        differing = f"{was!r} was written, {now!r} read back" if len(repr(was)) < 200 else "they differ"
        raise SignalError(
            f"the {what} of the converted {rec.name} are not those of its source ({differing}); they must be the same; "
            "report this as a fault of the package."
        )
