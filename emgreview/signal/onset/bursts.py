"""All bursts of a signal, continuous or cut into trials.

The rest is where the caller says, or is found in the signal (:func:`quiet_samples`). Energies in blocks, relative to
that rest, come from the same model as the default onset method (:mod:`~emgreview.signal.onset.quiet`). A burst is a
stretch of blocks above a low gate in which enough blocks pass a high one; both gates rise with the rest's own spread.
Its edges are located by the ramp posterior, each within its own stretch of signal
(:mod:`~emgreview.signal.onset.edges`). No paper is followed: two gates (hysteresis) and the split of levels in two
classes are common practice.

Long signals are read in pieces (:mod:`~emgreview.signal.onset.long`): of them, only energies of 2 ms are kept whole.
What a list rests on is told, and changes no burst (:mod:`~emgreview.signal.onset.unsound`).

    list_bursts       the method
    quiet_samples     where the rest is, when nobody says
    find_bursts, find_in_long, bursts_over      its steps

Over 400 lines with what its public names say of themselves.
"""

import math
from collections.abc import Iterator
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import SignalError, tell
from emgreview.model import ARBITRARY, Burst, Processing, Recording, Trials
from emgreview.signal.onset.common import LOWEST_RATE_HZ, Array, burst_level_db, checked_signal, level_and_scale, window
from emgreview.signal.onset.edges import Samples, edges
from emgreview.signal.onset.long import Read, filtered, in_memory, long_excess, mean_and_levels, without_missing
from emgreview.signal.onset.posterior import Ints
from emgreview.signal.onset.quiet import DB_PER_LN, Excess, Floats, excess, grid
from emgreview.signal.onset.ramp import RampParameters, strong_from_db
from emgreview.signal.onset.resting import hollow, rest_power, uneven
from emgreview.signal.onset.unsound import Looked, look

SHORTEST_REST_S = 0.1
SHORTEST_SIGNAL_S = 0.5
STRETCH_S = 0.1
LONGEST_REST_S = 20.0
TWO_CLASSES_DB = 8.0
NOTHING_DB = 100.0
"""A stretch so far below the loudest holds no signal, not even noise: it is no rest."""
FEW, FEWEST, SCATTERED_DB = 0.1, 4, 4.0
"""Stretches below all others may be no rest where they are fewer than this share: fewer than so many, or of levels that
scatter by more (SD)."""

HIGH_GATE = (1.4, 0.95, 0.8)
LOW_GATE = (0.7, 0.90, 0.2)
"""Gates on ln z: at least the first number, and at least a quantile of the rest's own ln z plus a margin."""

CHUNK_SAMPLES = 500_000
"""Samples worked on at once; a signal that is longer is read in pieces of that length."""

NEAR_BLOCKS = 2
"""Edges are located within so many blocks of the gates."""


def list_bursts(
    x: "ArrayLike | Recording",
    rate_hz: float | None = None,
    *,
    channel: str | None = None,
    processing: Processing | None = None,
    rest_s: tuple[float, float] | None = None,
    shortest_s: float = 0.05,
    merge_s: float = 0.05,
) -> list[Burst] | list[list[Burst]]:
    """Every burst of activity, in order of time.

    Parameters
    ----------
    x : array_like, shape (samples,) or (trials, samples), or Recording
        Band-passed signal, in any unit; a constant offset does not matter. Of a recording
        one ``channel`` is read and band-passed piece by piece, and gives what the whole
        filtered at once would give.
    rate_hz : float or None
        Sampling rate; None with a recording, which has its own.
    channel : str or None
        Label of the channel of a recording.
    processing : Processing or None
        How a recording is band-passed; None for the defaults.
    rest_s : (float, float) or None
        The rest, (start, stop) in seconds from the first sample; None: it is found in the
        signal itself.
    shortest_s : float, default 0.05
        Shorter bursts are left out, after merging.
    merge_s : float, default 0.05
        Bursts closer than this become one.

    Returns
    -------
    list of Burst, or list of list of Burst
        A list for (samples,) and for a recording, a list of lists for (trials, samples).
        Times are seconds from the first sample. An onset (offset) is NaN where activity
        lasts from (to) the very start (end) of the signal; ``low_s`` to ``high_s`` is a
        90 % interval of the onset; ``level_db`` the burst alone over the rest, gaps within
        it included, and without heart beats and edges of bursts where the rest is found.

    Raises
    ------
    SignalError
        The shape is another, or the signal is shorter than 0.5 s.
    RateError
        The sampling rate is missing or too low.
    ParameterError
        A window, a length or the combination of arguments is not allowed, or ``x`` is what
        :func:`emgreview.cut_trials` returns and not one channel of it.
    UnknownNameError
        The recording has no such channel.

    Warns
    -----
    SignalWarning
        Counts the stretches of 10 s (or shorter signals) that are dead, flat, missing or
        clipped, or clipped down to what lies in no burst (``signal.unfit``), hold codes for
        missing samples, as :func:`emgreview.check` finds them, or stand still for a while, as
        where packets were lost (``signal.still``), the bursts that
        are clipped (``signal.clip``): these have an onset and no size; and those that begin
        or end within 20 ms of missing samples: one burst may be listed as two, and those that
        nearly cease in between: two may be listed as one; and says where the channel is not
        EMG, where too little rest is left beside bursts for their level, where none is listed
        though levels lie far apart, and, without ``rest_s``, in how many stretches hum stands
        4 dB or more above the rest between its lines: bursts may be missing. It changes no
        burst. A recording is looked at
        unfiltered. An array is so as it is, where a filter has rounded off what was cut, and
        none is dead, as its unit is not known: give the recording.

    Notes
    -----
    With ``rest_s`` None, levels of stretches of 0.1 s are split in two classes; where these
    lie at least 8 dB apart, the lower is the rest, otherwise nearly everything is taken for
    rest. So a signal that is active throughout has no bursts, and a muscle that never quite
    rests is judged against its own tonic level. Samples that are not finite count as rest; a
    signal without variation has no bursts. No paper is followed: two gates (hysteresis) and
    the split of levels in two classes are common practice.

    Sudden bursts of 60 ms in white noise are found in 96 % or more from 15 dB on at 500 Hz, 2
    and 5 kHz, of 40 ms (``shortest_s`` 0.03) in 96 to 100 % from 15 dB on at 2 kHz. Weaker
    ones may be taken for the rest where none is told: of 60 ms at 12 dB, one a second, 91 to
    99 % are found, at 10 dB 2 to 41 %, one in 3 s 65 to 84 %, and with ``rest_s`` given 84 to
    87 %; of 100 ms at 10 dB 99 %. A zero-phase filter rings into the gap between two strong
    bursts: of two bursts with a gap of 100 ms, 0, 3, 5, 8 and 17 % become one at 20, 30, 40,
    50 and 60 dB (default filter, 2 kHz, ``merge_s`` 0.05), with 150 ms 2 % at most; a spike of
    4 ms can be a burst from some 60 dB on.

    Where the rest is found, ``level_db`` takes it from as far beside bursts as there is enough
    of it. The median of bursts of 0.3 s with gaps of 0.2 s or more then lies within 1 dB of
    the truth at 500 Hz and 2 kHz, 20 to 60 dB, with gaps of 0.15 s within 0.6 dB up to 40 dB;
    at 200 Hz within 3 dB. These signals have a second or more of rest at their ends. Where one
    is dense from its first to its last sample, levels are lower: by 1.4 dB at 35 dB with gaps
    of 0.12 to 0.15 s at 500 Hz, and by more, which a note says, by 9 dB at 60 dB with gaps of
    0.12 s, at 200 Hz by up to 36. Under hum as strong as the muscle most bursts may be missing.
    With ``rest_s`` given, at 500 Hz and 2 kHz, none is more than 0.7 dB off.

    Examples
    --------
    >>> import emgreview as er
    >>> sim = er.simulate(1, 2000, seed=1, onset_s=1.25)
    >>> bursts = er.list_bursts(sim.x[0], 2000)
    >>> len(bursts), round(bursts[0].onset_s, 2)
    (1, 1.25)
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> len(er.list_bursts(rec, channel="prime mover"))
    3
    """
    if isinstance(x, Trials):
        demand(
            False, "x", "Trials", "a recording with its channel=, or an array such as trials.data[:, 0] with its rate"
        )
    shortest_s = checks.number("shortest_s", shortest_s, least=0, unit="s")
    merge_s = checks.number("merge_s", merge_s, least=0, unit="s")
    for name, length_s in (("shortest_s", shortest_s), ("merge_s", merge_s)):
        checks.likely_unit(name, length_s, most_s=checks.LONGEST_STRETCH_S)
    if isinstance(x, Recording):
        rec = x
        demand(rate_hz is None, "rate_hz", rate_hz, f"None with a recording, which has {x.rate_hz:g} Hz")
        checks.kind("channel", channel, str, f"the label of one channel: {', '.join(x.labels)}")
        rate_hz = checks.rate(x.rate_hz, least=LOWEST_RATE_HZ, what="bursts need")
        n = x.n_samples
        parts: Array | Read = filtered(x, str(channel), processing or Processing())
    else:
        demand(channel is None, "channel", channel, "None, unless a recording is given")
        demand(
            processing is None, "processing", processing, "None, unless a recording is given: band-pass arrays first"
        )
        samples, rate_hz = checked_signal(x, rate_hz, dimensions=(1, 2))
        n, parts, one = samples.shape[-1], np.atleast_2d(samples), samples.ndim == 1
    if n < SHORTEST_SIGNAL_S * rate_hz:
        raise SignalError(
            f"the signal came with {n / rate_hz:.3f} s; bursts need at least {SHORTEST_SIGNAL_S:g} s; "
            "give a longer stretch."
        )
    rest = None if rest_s is None else window("rest_s", rest_s, 0.0, n, rate_hz, SHORTEST_REST_S)
    found: list[list[Burst]] = []
    seen = Looked()
    if not isinstance(parts, np.ndarray):
        return _of_recording(rec, str(channel), parts, rest, shortest_s, merge_s)
    if n > CHUNK_SAMPLES:
        found = [find_in_long(in_memory(row), n, rate_hz, rest, shortest_s, merge_s, seen) for row in parts]
    else:
        chunk = CHUNK_SAMPLES // n
        for start in range(0, len(parts), chunk):
            found += find_bursts(parts[start : start + chunk], rate_hz, rest, shortest_s, merge_s, seen)
    for row, bursts in zip(parts, found, strict=True):
        look(seen, partial(_same, row), n, rate_hz, bursts, unit=ARBITRARY, most=CHUNK_SAMPLES, told=rest is not None)
    for note in seen.notes("the signal" if one else "the signals"):
        tell(note)
    return found[0] if one else found


def _of_recording(
    rec: Recording, channel: str, band: Read, rest: slice | None, shortest_s: float, merge_s: float
) -> list[Burst]:
    """The bursts of one channel of a recording, and what they rest on, told."""
    seen, unit = Looked(unit=rec.channel(channel).unit_label), rec.channel(channel).unit
    listed = find_in_long(band, rec.n_samples, rec.rate_hz, rest, shortest_s, merge_s, seen)

    def both(start: int, stop: int) -> tuple[Array, Array]:
        return rec.values(start, stop, [channel])[0], band(start, stop)

    told = rest is not None
    look(seen, both, rec.n_samples, rec.rate_hz, listed, unit=unit, most=CHUNK_SAMPLES, told=told)
    for note in seen.notes(f"{channel} of {rec.name}"):
        tell(note)
    if rec.channel(channel).kind != "EMG":
        tell(f"{channel} of {rec.name} is {rec.channel(channel).kind}, not EMG: what is listed is not of a muscle.")
    return listed


def _same(row: Array, start: int, stop: int) -> tuple[Array, Array]:
    """A signal that is in the band already: both are one."""
    part = row[start:stop]
    return part, part


def find_bursts(
    x: Array, rate_hz: float, rest: slice | None, shortest_s: float, merge_s: float, seen: Looked
) -> list[list[Burst]]:
    """The bursts of each row of (trials, samples)."""
    p = RampParameters()
    per_block = math.prod(grid(rate_hz, p))
    finite = np.isfinite(x)
    x = np.where(finite, x, 0.0)
    x = np.where(finite, x - x.sum(axis=1, keepdims=True) / np.maximum(finite.sum(axis=1, keepdims=True), 1), 0.0)
    quiet = x[:, rest] if rest is not None else quiet_samples(x, finite, rate_hz)
    quiet = quiet[:, : quiet.shape[1] // per_block * per_block]
    level, scale = level_and_scale(quiet, slice(None))
    level = level if rest is not None else np.median(quiet, axis=1)
    found: list[list[Burst]] = [[] for _ in x]
    rows = np.flatnonzero(scale > 0)
    if len(rows):
        # the rest is put in front, so that one model serves a rest given and a rest gathered from many places
        joined = (np.concatenate([quiet[rows], x[rows]], axis=1) - level[rows, None]) / scale[rows, None]
        whole = slice(0, quiet.shape[1]), slice(quiet.shape[1], joined.shape[1])
        s = excess(joined, rate_hz, *whole, p)
        bursts = bursts_over(
            s, Samples.of(joined, quiet.shape[1]), rate_hz, shortest_s, merge_s, told=rest is not None, seen=seen
        )
        for row, some in zip(rows, bursts, strict=True):
            found[row] = some
    return found


def find_in_long(
    read: Read, n: int, rate_hz: float, rest: slice | None, shortest_s: float, merge_s: float, seen: Looked
) -> list[Burst]:
    """The bursts of one signal of ``n`` samples that is read in pieces."""
    p = RampParameters()
    per_block = math.prod(grid(rate_hz, p))
    length = max(1, round(STRETCH_S * rate_hz))
    mean, levels = mean_and_levels(read, n, length, CHUNK_SAMPLES)
    if rest is not None:
        quiet = without_missing(read(rest.start, rest.stop), mean)
    else:
        starts = length * np.array(quiet_stretches(levels), dtype=int)
        stretches = [read(start, start + length) - mean for start in starts]
        quiet = np.resize(np.concatenate(stretches), rest_stretches(len(levels)) * length) if stretches else np.zeros(0)
    quiet = quiet[: len(quiet) // per_block * per_block]
    level, scale = level_and_scale(quiet[np.newaxis], slice(None)) if len(quiet) else np.zeros((2, 1))
    if scale[0] == 0:
        return []
    level = level if rest is not None else np.median(quiet, keepdims=True)
    s = long_excess(read, n, quiet, (mean, level[0], scale[0]), rate_hz, p, CHUNK_SAMPLES)

    def piece(_: int, start: int, stop: int) -> Array:
        return (without_missing(read(start, stop), mean) - level[0]) / scale[0]

    samples = Samples(((quiet - level[0]) / scale[0])[np.newaxis], piece, n)
    return bursts_over(s, samples, rate_hz, shortest_s, merge_s, told=rest is not None, seen=seen)[0]


def bursts_over(
    s: Excess, samples: Samples, rate_hz: float, shortest_s: float, merge_s: float, *, told: bool, seen: Looked
) -> list[list[Burst]]:
    """The bursts of each row, in the part of it that is searched, whose ``samples`` are given too. ``told``: where the
    rest is was said, and not found. ``seen`` counts what the list cannot tell."""
    p = RampParameters()
    bin_s, block_s = s.bin / rate_hz, s.bin * s.block / rate_hz
    ln_z, y = s.ln_z[:, s.search], s.y[:, s.search.start * s.block :]
    found: list[list[Burst]] = [[] for _ in ln_z]
    strong = strong_from_db(rate_hz, p) / DB_PER_LN
    row, first, last, hot = regions(ln_z, s.ln_z[:, s.rest], shortest_s / block_s, merge_s / block_s, strong)
    if not len(row):
        seen.blind += 0 if told else int(uneven(s.power[:, s.search], ln_z).sum())
        return found
    ends = ln_z.shape[1] - 1
    onset = edges(y, ln_z, samples, row, first, last, p, s.block, s.bin, rate_hz)
    turned = samples.mirrored(s.bin * s.block * ln_z.shape[1])
    places = row, ends - last, ends - first
    back = edges(y[:, ::-1], ln_z[:, ::-1], turned, *places, p, s.block, s.bin, rate_hz, backward=True)
    offset = y.shape[1] * bin_s - back[::-1]
    onset[:, first == 0] = np.nan
    offset[:, last == ends] = np.nan

    apart = np.ones(len(row), bool)
    apart[1:] = (row[1:] != row[:-1]) | ~(onset[1, 1:] - offset[1, :-1] < merge_s)
    begins = np.flatnonzero(apart)
    closes = np.append(begins[1:], len(row)) - 1
    row, first, last, hot = row[begins], first[begins], last[closes], np.add.reduceat(hot, begins)
    onset, offset = onset[:, begins], offset[:, closes]
    length_s = np.nan_to_num(offset[1], nan=np.inf) - np.nan_to_num(onset[1], nan=0.0)
    long = (hot >= max(shortest_s / block_s, 1)) & (length_s >= shortest_s)
    row, first, last, onset, offset = row[long], first[long], last[long], onset[:, long], offset[:, long]
    power: Array = s.power[:, s.search]
    holds_to_db = np.full(len(found), np.inf)
    if not told:
        level, holds_to_db = rest_power(s.power[:, s.rest], power, row, first, last, rate_hz, block_s)
        power = power / level
    for k, burst in enumerate(burst_values(power, row, first, last, onset, offset, block_s)):
        found[row[k]].append(burst)
    seen.hollow += int(hollow(power, row, first, last, merge_s / block_s).sum())
    seen.dense += sum(any(one.level_db > holds_to_db[k] for one in found[k]) for k in np.unique(row))
    none = [not some for some in found]
    seen.blind += 0 if told else int(uneven(power[none], ln_z[none]).sum())
    return found


def quiet_samples(x: Array, finite: NDArray[np.bool_], rate_hz: float) -> Array:
    """The rest of each row, gathered from its quiet stretches, (trials, the same number of samples each).

    The levels of stretches, ln of mean x^2, are split in two classes by their means, starting from the extremes
    (k-means in one dimension), and the lower class again as long as the means lie ``TWO_CLASSES_DB`` apart. The rest is
    the last lower class, or all stretches but those more than ``TWO_CLASSES_DB`` above the median where there is but
    one. A stretch that never changes is none. Repeated to fill the common length where short.
    """
    length = max(1, round(STRETCH_S * rate_hz))
    count = x.shape[1] // length
    stretches = x[:, : count * length].reshape(len(x), count, length)
    whole = finite[:, : count * length].reshape(len(x), count, length).all(axis=2)
    power = np.mean(stretches**2, axis=2)
    whole &= np.ptp(stretches, axis=2) > 0
    whole &= power > power.max(axis=1, keepdims=True) * 10 ** (-NOTHING_DB / 10)
    levels = np.where(whole, np.log(np.where(whole, power, 1.0)), np.nan)
    quiet = np.zeros((len(x), rest_stretches(count) * length))
    for row, level in enumerate(levels):
        chosen = quiet_stretches(level)
        if len(chosen):
            quiet[row] = np.resize(stretches[row, chosen], quiet.shape[1])
    return quiet


def rest_stretches(count: int) -> int:
    """How many of ``count`` stretches a rest is made of."""
    return min(count, max(1, round(LONGEST_REST_S / STRETCH_S)))


def quiet_stretches(levels: Array) -> Ints:
    """The stretches that make up the rest of a signal, from the levels of all, NaN where one is not whole."""
    known = levels[np.isfinite(levels)]
    if not len(known):
        return np.empty(0, dtype=np.intp)
    least, most = quiet_limits(known)
    at = np.nan_to_num(levels, nan=np.inf)
    chosen = np.flatnonzero((at >= least) & (at <= most))
    return chosen[np.linspace(0, len(chosen) - 1, min(rest_stretches(len(levels)), len(chosen))).astype(int)]


def quiet_limits(levels: Array) -> tuple[float, float]:
    """Levels between which a stretch is quiet, from those of all stretches of a signal.

    The lower class is split again, as weak activity, and what a filter rings around strong, are no rest either. A lower
    class of ``FEW`` is no rest, but where a signal was away, if there are less than ``FEWEST``, or its levels are
    ``SCATTERED``, or there is a rest without it.
    """
    scattered = SCATTERED_DB * np.log(10) / 10
    few, least, most = FEW * len(levels), -np.inf, None
    while (between := _between(levels)) is not None:
        below, above = levels[levels <= between], levels[levels > between]
        away = len(below) < FEWEST or below.std() > scattered or most is not None
        if not away and (inner := _between(above)) is not None:
            away = np.count_nonzero(above <= inner) >= few
        if len(below) < few and away:
            least, levels = between, above
        else:
            most, levels = between, below
    return least, float(np.median(levels)) + TWO_CLASSES_DB * np.log(10) / 10 if most is None else most


def _between(levels: Array) -> float | None:
    """The level between two classes whose means lie ``TWO_CLASSES_DB`` apart; None where there is but one."""
    low, high = np.quantile(levels, [0.05, 0.95])
    if len(levels) < 2 * FEWEST:
        low, high = levels.min(), levels.max()
    for _ in range(20):
        upper = levels > (low + high) / 2
        if upper.all() or not upper.any():
            return None
        low, high = levels[~upper].mean(), levels[upper].mean()
    return float(low + high) / 2 if high - low >= TWO_CLASSES_DB * np.log(10) / 10 else None


def regions(
    ln_z: Floats, rest_ln_z: Floats, shortest: float, gap: float, strong: float
) -> tuple[Ints, Ints, Ints, Ints]:
    """Row, first and last block of each part of a burst, and how many of its blocks are above the high gate.

    Candidates are stretches in which the mean of three blocks is above the low gate, joined across gaps below ``gap``
    blocks; those that both pass ``strong`` stay apart for their edges to decide, because a filter rings into the gap
    between them. They count where at least ``shortest`` blocks, each by itself, are above the high gate; or at least
    one, and so near another that the two may prove to be one burst once their edges are located.
    """
    padded = np.pad(np.exp(ln_z), ((0, 0), (1, 1)), mode="edge")
    smooth = np.log((padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]) / 3)
    high, low = (
        np.maximum(floor, np.quantile(rest_ln_z, share, axis=1) + margin)[:, None]
        for floor, share, margin in (HIGH_GATE, LOW_GATE)
    )
    inside = np.pad((smooth > low) & (ln_z > low), ((0, 0), (1, 1)))
    row, first = np.nonzero(inside[:, 1:-1] & ~inside[:, :-2])
    _, last = np.nonzero(inside[:, 1:-1] & ~inside[:, 2:])
    if not len(row):
        return row, first, last, row
    apart = np.ones(len(row), bool)
    apart[1:] = (row[1:] != row[:-1]) | (first[1:] - last[:-1] - 1 >= max(gap, 1))
    loud = np.array([ln_z[r, a : b + 1].max() for r, a, b in zip(row, first, last, strict=True)]) > strong
    apart[1:] |= loud[1:] & loud[:-1]
    begins = np.flatnonzero(apart)
    row, first, last = row[begins], first[begins], last[np.append(begins[1:], len(apart)) - 1]
    hot = np.cumsum(np.pad(ln_z > high, ((0, 0), (1, 0))), axis=1)
    count = hot[row, last + 1] - hot[row, first]
    row, first, last, count = (part[count > 0] for part in (row, first, last, count))
    near = np.zeros(len(row) + 1, bool)
    near[1:-1] = (row[1:] == row[:-1]) & (first[1:] - last[:-1] - 1 < gap + NEAR_BLOCKS)
    good = (count >= max(shortest, 1)) | near[1:] | near[:-1]
    return row[good], first[good], last[good], count[good]


def burst_values(
    power: Floats, row: Ints, first: Ints, last: Ints, onset: Array, offset: Array, block_s: float
) -> Iterator[Burst]:
    start = np.where(np.isnan(onset[1]), first, np.ceil(np.nan_to_num(onset[1]) / block_s)).astype(int)
    stop = np.where(np.isnan(offset[1]), last + 1, np.floor(np.nan_to_num(offset[1]) / block_s)).astype(int)
    whole = stop > start
    level = burst_level_db(power, np.where(whole, start, first), np.where(whole, stop, last + 1), row)
    for k in range(len(row)):
        low, middle, high = onset[:, k].tolist()
        yield Burst(middle, float(offset[1, k]), low, high, float(level[k]))
