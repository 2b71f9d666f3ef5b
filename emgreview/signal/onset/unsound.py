"""What a list of bursts rests on: stretches that nobody can judge, or that stand still for a while, bursts cut at a
rail, edges beside missing samples, gaps too short or too much rung into for a level or an edge, hum above the rest.

The signal is looked at in equal stretches of 10 s or a little more, or as a whole where it is shorter, so that one of
any length fits into bounded memory. What a stretch must be to be judged stands in :mod:`emgreview.signal.unfit`, what a
rail is in :mod:`emgreview.signal.clip`; the rest is what lies in no burst. Nothing here changes a burst.

    Looked          what was seen, counted; its sentences
    look            at one signal
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from emgreview.model import Burst
from emgreview.signal.clip import at_rail, cut_words
from emgreview.signal.findings import code_words
from emgreview.signal.onset.humming import hum_db
from emgreview.signal.onset.long import Array
from emgreview.signal.quality import step_size
from emgreview.signal.still import longest_still
from emgreview.signal.stuck import find_codes
from emgreview.signal.unfit import HALF, unfit

LOOKED_S = 10.0
SUSPECT = 0.25
"""Share of samples that equal the one before from which on a band-passed stretch is looked at: noise repeats none."""

BESIDE_S = 0.02
"""An onset or offset so near a missing sample may be the edge of the hole (our own choice, no source)."""

HUM_DB = 4.0
"""From so far above the rest between its lines on hum is told (measured; in truth it is 5 to 6 dB): a burst must stand
some 8 dB above both together, which one of 15 dB then hardly does (our own choice)."""

Both = Callable[[int, int], tuple[Array, Array]]
"""Samples start to stop, unfiltered and in the band, (samples,) each."""


@dataclass(slots=True)
class Looked:
    """How many stretches, of how many, cannot be judged, by kind; how many bursts, of how many, are clipped, or begin
    or end beside missing samples; which codes for missing samples there are, with their ``unit``, and in how many
    stretches; in how many the signal stands still for a while, and how long at most. Counted while bursts are listed
    (``resting``): signals whose gaps are too short for a level of their rest (``dense``), or that list no burst though
    their levels lie far apart (``blind``), and bursts with a hole in them (``hollow``)."""

    stretches: int = 0
    unfit: Counter[str] = field(default_factory=Counter)
    bursts: int = 0
    clipped: int = 0
    beside: int = 0
    codes: dict[float, None] = field(default_factory=dict)
    coded: int = 0
    still: int = 0
    longest_still_s: float = 0.0
    humming: int = 0
    hum_db: float = 0.0
    dense: int = 0
    blind: int = 0
    hollow: int = 0
    unit: str = ""

    def notes(self, whose: str) -> list[str]:
        """Sentences, none where nothing stands out; ``whose`` signal, in words."""
        told = ", ".join(f"{kind} {count}" for kind, count in sorted(self.unfit.items()))
        notes = []
        if count := self.unfit.total():
            notes.append(
                f"{count} of {self.stretches} stretches of {whose} cannot be judged ({told}): bursts that are listed "
                "there, or are not, say nothing of the muscle; look at the signal."
            )
        if self.codes:
            notes.append(
                f"{whose[0].upper()}{whose[1:]} holds {code_words(tuple(self.codes), self.unit)} in {self.coded} of "
                f"{self.stretches} stretches: a code for missing samples or an overflow, no voltage. It is filtered as "
                "it stands: bursts and onsets beside it are not of a muscle."
            )
        if self.still:
            notes.append(
                f"{whose[0].upper()}{whose[1:]} stands still in {self.still} of {self.stretches} stretches, for up to "
                f"{1000 * self.longest_still_s:.3g} ms, as where packets were lost: there a burst may begin or end "
                "that does not, and one burst may be listed as two."
            )
        if self.humming:
            notes.append(
                f"Hum stands above the rest of {whose} in {self.humming} of {self.stretches} stretches, by up to "
                f"{self.hum_db:.0f} dB: bursts that are not well above the hum may be taken for rest there and missing "
                "from the list, some or all; give a rest_s."
            )
        if self.beside:
            notes.append(
                f"{self.beside} of {self.bursts} bursts of {whose} begin or end beside missing samples, which count as "
                "rest: those times are edges of a hole, and one burst may be listed as two."
            )
        if self.dense:
            notes.append(
                f"Beside the bursts of {_many(self.dense, whose)} too little rest is left, for how strong these are: "
                "level_db may be too low there, perhaps by far; give a rest_s."
            )
        if self.blind:
            notes.append(
                f"No burst is listed in {_many(self.blind, whose)}, though levels lie far apart there: the rest could "
                "not be found, as where gaps between bursts are short, or under hum; give a rest_s."
            )
        if self.hollow:
            notes.append(
                f"{self.hollow} of {self.bursts} bursts of {whose} nearly cease in between: each is listed as one, and "
                "may be two or more that a filter has run together."
            )
        return notes + cut_words(self.clipped, self.bursts, f"bursts of {whose}")


def look(
    seen: Looked, read: Both, n: int, rate_hz: float, bursts: Sequence[Burst], *, unit: str, most: int, told: bool
) -> None:
    """Add to ``seen`` what one signal of ``n`` samples, with its ``bursts``, rests on. ``unit`` as in ``unfit``; at
    ``most`` so many samples are read at once. ``told``: where the rest is was said, and not found."""
    spans = [
        (round(np.nan_to_num(one.onset_s) * rate_hz), round(np.nan_to_num(one.offset_s, nan=n / rate_hz) * rate_hz))
        for one in bursts
    ]
    clipped, beside = np.zeros((2, len(spans)), dtype=bool)
    near = max(1, round(BESIDE_S * rate_hz))
    pieces = max(1, int(n / (LOOKED_S * rate_hz)), -(-n // most))
    for start, stop in ((k * n // pieces, (k + 1) * n // pieces) for k in range(pieces)):
        x, banded = read(start, stop)
        rest = np.ones(len(x), dtype=bool)
        here = [k for k, (first, last) in enumerate(spans) if first < stop and start < last]
        for k in here:
            rest[max(spans[k][0] - start, 0) : spans[k][1] - start] = False
        seen.stretches += 1
        if here and (missing := ~np.isfinite(banded)).any():
            edges = [[edge - start for edge in spans[k] if start <= edge < stop] for k in here]
            beside[here] |= [any(missing[max(at - near, 0) : at + near].any() for at in edge) for edge in edges]
        if not told and (above_db := hum_db(banded, rate_hz)) >= HUM_DB:
            seen.humming, seen.hum_db = seen.humming + 1, max(seen.hum_db, above_db)
        if x is banded and not _suspect(x):
            continue
        if x is not banded:
            codes = find_codes(x[np.newaxis], step=step_size(x[np.isfinite(x)]))
            seen.codes |= dict.fromkeys(codes.values)
            seen.coded += bool(codes.values)
            x = np.where(codes.at[0], np.nan, x)
        kind, _ = unfit(x, banded, rate_hz, unit=unit, rest=rest)
        seen.unfit += Counter([kind] * bool(kind))
        if not kind and x is not banded and (still := longest_still(x, rate_hz)):
            seen.still, seen.longest_still_s = seen.still + 1, max(seen.longest_still_s, still / rate_hz)
        if here and (at := at_rail(x)).any():
            clipped[here] |= [at[max(spans[k][0] - start, 0) : spans[k][1] - start].any() for k in here]
    seen.bursts += len(spans)
    seen.clipped, seen.beside = seen.clipped + int(clipped.sum()), seen.beside + int(beside.sum())


def _many(count: int, whose: str) -> str:
    """Whose signal or, of several, how many of them."""
    return f"{count} of {whose}" if whose.endswith("signals") else whose


def _suspect(x: Array) -> bool:
    """Whether a stretch that is filtered already may be flat, missing or clipped: quick, as most are not."""
    known = x[np.isfinite(x)]
    if len(known) <= HALF * len(x) or np.mean(known[1:] == known[:-1]) > SUSPECT:
        return True
    return any(np.count_nonzero(known == end) > 1 for end in (known.min(), known.max()))
