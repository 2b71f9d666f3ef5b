"""What a hold-off after each cue leaves, and whether it passes over what looks like cues of its own.

Samples are sample numbers of the recording, rising, (crossings,).

    held_off(samples, hold)     the cues
    swallowed(...)              a sentence on what was passed over, or ""
    words_begin(channel)        how that sentence begins
"""

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import perhaps
from emgreview.errors import ParameterError
from emgreview.model import Recording, to_sample

BOUNCES_S, LONG_HOLD_S = 1.0, 20.0
"""Contacts that bounce, and screens that flicker, have settled after the first; a hold-off of the second or more that
passes over most changes is taken for milliseconds (our own choice, no source)."""

SETTLED_S, LATE, MANY = 0.1, 0.4, 0.1
"""A crossing within the hold-off is a pulse of its own where the channel had been back beyond the level for so long,
and it comes later after its cue than this share of the median interval between the cues that were taken. More of them
than this share of the cues are told (our own choice, no source)."""


def held_off(samples: NDArray[np.int64], hold: int) -> NDArray[np.int64]:
    """The first of the samples, then each first one at least ``hold`` after the one kept before."""
    kept, place = [], 0
    while place < len(samples):
        kept.append(samples[place])
        place = int(np.searchsorted(samples, samples[place] + hold))
    return np.array(kept, dtype=np.int64)


def words_begin(channel: str) -> str:
    """How a sentence on what a hold-off passes over begins."""
    return f"In channel {channel!r}, hold_off_s="


def swallowed(
    rec: Recording,
    channel: str,
    raw: NDArray[np.int64],
    both: NDArray[np.int64],
    kept: NDArray[np.int64],
    hold_off_s: float,
) -> str:
    """A sentence on crossings (``raw``) that lie within the hold-off and are no bounces, or "". ``both`` are those of
    either direction.

    Contacts bounce for a part of a second: what lies further apart and was passed over is told, and where there is much
    of it a hold-off in milliseconds is the likely cause; so are pulses of their own that come late (:data:`LATE`).
    """
    apart = len(held_off(raw, to_sample(BOUNCES_S, rec.rate_hz)))
    if hold_off_s > BOUNCES_S and apart >= 2 * len(kept):
        words = (
            f"{words_begin(channel)}{hold_off_s:g} s passes over {apart - len(kept)} of {apart} changes that lie "
            f"{BOUNCES_S:g} s or more after the one before"
        )
        if hold_off_s >= LONG_HOLD_S and apart > 3 * len(kept):
            raise ParameterError(
                f"{rec.name}: {words}; allowed: a little less than the shortest time between two cues; correct it"
                f"{perhaps(hold_off_s)}."
            )
        return f"{words}: look whether these are cues."
    passed = np.setdiff1d(raw, kept, assume_unique=True)
    if not passed.size:
        return ""
    before = np.searchsorted(both, passed) - 1
    settled = (before >= 0) & (passed - both[before] >= to_sample(SETTLED_S, rec.rate_hz))
    usual = float(np.median(np.diff(kept))) if len(kept) > 1 else hold_off_s * rec.rate_hz
    late = passed - kept[np.searchsorted(kept, passed) - 1] >= LATE * usual
    if (own := int(np.count_nonzero(settled & late))) <= MANY * len(kept):
        return ""
    return (
        f"{words_begin(channel)}{hold_off_s:g} s takes {len(kept)} cues and passes over {own} pulses that are no "
        f"bounces: they begin {SETTLED_S:g} s or more after the one before has ended, and late after their cue. Look "
        "whether these are cues; a hold-off is a little less than the shortest time between two cues."
    )
