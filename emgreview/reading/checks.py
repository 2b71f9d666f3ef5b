"""Channels that hold nothing: flat from first to last sample, or with missing samples. Block by block.

A channel of whole numbers is cleared at its first two different values, so a sound file costs one block; only a flat
channel is read to its end, and it alone. A channel with a fractional format is read whole, because NaN may stand
anywhere. Trigger channels are left out: many are flat until the first trigger.

    check_samples(rec)      sentences for Recording.notes
"""

import numpy as np

from emgreview.model import Recording

BLOCK = 1 << 16


def check_samples(rec: Recording) -> tuple[str, ...]:
    """One sentence for each channel that is flat or has missing samples (NaN), in the order of the channels."""
    pending = [place for place, channel in enumerate(rec.channels) if channel.kind != "TRIG"]
    first: dict[int, tuple[int, float]] = {}  # sample and stored value of the first one present
    flat = set(pending)
    missing: dict[int, tuple[int, int]] = {}
    for start in range(0, rec.n_samples, BLOCK):
        if not pending:
            break
        block = rec.source.digital(start, min(start + BLOCK, rec.n_samples), pending)
        for place, values in zip(list(pending), block, strict=True):
            whole = np.issubdtype(values.dtype, np.integer)
            if not whole and (gaps := np.flatnonzero(np.isnan(values))).size:
                n, at = missing.get(place, (0, start + int(gaps[0])))
                missing[place] = (n + len(gaps), at)
            present = np.flatnonzero(~np.isnan(values)) if not whole else np.arange(len(values))
            if present.size and place in flat:
                _, value = first.setdefault(place, (start + int(present[0]), values[present[0]]))
                if (values[present] != value).any():
                    flat.discard(place)
            if whole and place not in flat:
                pending.remove(place)
    notes = []
    for place, channel in enumerate(rec.channels):
        if place in missing:
            n, at = missing[place]
            share = "all" if n == rec.n_samples else f"{n} of {rec.n_samples}"
            notes.append(
                f"Channel {channel.label!r} misses {share} samples (NaN), the first at {at / rec.rate_hz:g} s."
            )
        if place in flat and place in first:
            at, stored = first[place]
            value = float(rec.source.read(at, at + 1, [place])[0, 0])
            amount = f"{value:.6g} {channel.unit_label}".rstrip()
            amount = "0" if value == 0 else f"0 as stored ({amount})" if stored == 0 else amount
            notes.append(f"Channel {channel.label!r} is flat: every sample is {amount}.")
    return tuple(notes)
