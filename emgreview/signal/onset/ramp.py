"""Posterior over the onset of a ramp in the standard deviation: the default method.

The rest model (:mod:`~emgreview.signal.onset.quiet`) gives energies y, 1 on average in the rest, and the first stretch
in which activity prevails. Then, over ONE common stretch of bins, all onsets tau, rise times r and levels g are
compared. The variance of bin b, relative to the rest, is

    v_b = 1 + g rho_b^2,   rho_b = clip((b - tau) / r, 0, 1)

so the SD of the activity alone rises as a straight line from nothing to its plateau; others begin with a jump, or
gently, as a square of time, or grow evenly in dB from a small start (``PROFILES`` in
:mod:`~emgreview.signal.onset.posterior`). The log-likelihood is, but for what all share,

    l(tau, r, g) = -(nu / 2) (sum_b<tau min(y_b, cap) + sum_b>=tau [ln v_b + y_b / v_b])

with nu degrees of freedom a bin. With priors flat in tau and about even in ln g, and a weight for each profile, exp(l)
normalised is the posterior: its 5 and 95 % points over tau are the interval, and the median of its cube,
exp(3 l), is the onset: nu is chosen for honest intervals, and a less tempered middle is nearer the truth on sharp
onsets. First on bins of ``coarse_s``, then on fine ones around that median; long after an onset several bins are taken
as one, with the mean of 1/v over them. The offset is the same in mirror image,
with the plain median. Where activity is strong, both are located in energies from which the ringing of a zero-phase
band-pass was taken (:mod:`~emgreview.signal.onset.ringing`). Likelihood ratios with ramp profiles: Staude and Wolf 1999
(Med Eng Phys 21:449-467), Staude et al. 2001 (EURASIP J Adv Signal Process 2001:67-81), both read as abstracts.

Departures: independent variances add (they scale one SD); sums over rises and levels instead of maxima; nu is
tempered, more so where the rest is uneven, because neighbouring energies are not independent and a burst is no perfect
ramp; before the onset no bin counts more than a cap that grows with the level of the activity, so that a knock or a
single potential does not pull the onset to itself; y is lowered where the level shortly ahead of the activity is above
the rest, and where the rest is restless. The weights were chosen by measuring: see emgreview/bench and the page
onset-accuracy.

    RampParameters, find_ramp     the method
    locate                        one edge of activity in rows of energies
"""

import math
from dataclasses import dataclass, fields, replace

import numpy as np

from emgreview.checks import check_ranges, demand, in_order
from emgreview.signal.onset.common import Array, Batch, burst_level_db, nothing
from emgreview.signal.onset.posterior import CLASS_DB, PLAIN, SHARP, Ints, cumulative, freedom, posterior, quantile
from emgreview.signal.onset.quiet import DB_PER_LN, Excess, Floats, QuietParameters, excess, prevalence
from emgreview.signal.onset.ringing import excess_without_ringing

CLICK_DB = 10.0
HIGHEST_CLASS = 12

NOTHING = -1e3
"""ln z beyond the end of a trial."""

SUSTAINED_S, SUSTAINED_DB, LEVEL_DB, JUMP_DB = 0.08, 5.0, 6.0, 12.0
"""A first activity that is told apart from a stronger one soon after: how long it stays above the second number, how
far at most above its own median, and by how much the other exceeds it for two blocks."""

DELAY_S = (0.001, 58.0, 20.0)
"""Of the filter against ringing, at 1000 Hz and more: seconds where the strongest block lies at the second number less
the third, in dB; nothing at the second. Measured."""

FINE_BINS = 16
"""At most so many bins to each side of the first median are looked at again."""

CLEAR_LEAD, CLEAR_FROM_HZ = 0.5, 1000.0
"""Share of ``lead_s`` that strong activity needs, from this sampling rate on; below it weaker activity counts as
strong."""

LOW_RATE_DB = 39.0
"""By how much less activity counts as strong at a tenth of 1000 Hz."""

QUANTILES = (0.05, 0.5, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class RampParameters(QuietParameters):
    """Besides those of the rest model, in seconds: ``lead_s`` and ``trail_s`` bound the onset around the first sure
    activity; ``stretch_s`` is the common stretch; ``fine_s`` and ``fine_stretch_s`` the half width and stretch of the
    fine grid; ``plateau_s`` how much of the plateau is used; ``quiet_s`` ends an activity; ``resolution_s`` (at least a
    sample) widens the interval to each side; ``smear_s`` (at least a sample) its later side, as a zero-phase band-pass
    may let a sharp onset be seen that much early; where ringing was taken out, ``before_s`` its earlier side, as first
    potentials are small, and ``fading_s`` (at least three samples) that of an offset in mirror image, as the last ones
    fade. From ``strong_from_db`` in the strongest
    block on, edges are located without ringing. In dB, as SDs of the rest's level over blocks: ``uneven_from_db`` and
    ``restless_from_db``.
    Plain numbers: ``temper`` of nu, ``uneven_temper`` its fall beyond the first of these, ``restless_level`` that of y
    beyond the second, ``cap_over`` ln z and at most ``cap`` what a bin before the onset may count, ``offset_temper`` a
    further factor of nu for offsets, and ``steepness`` of ``present``.
    """

    coarse_s: float = 0.008
    stretch_s: float = 0.8
    lead_s: float = 0.4
    trail_s: float = 0.08
    fine_s: float = 0.032
    fine_stretch_s: float = 0.26
    plateau_s: float = 0.08
    quiet_s: float = 0.14
    resolution_s: float = 0.001
    smear_s: float = 0.0035
    before_s: float = 0.001
    fading_s: float = 0.005
    strong_from_db: float = 39.0
    temper: float = 0.38
    uneven_temper: float = 0.5
    uneven_from_db: float = 0.4 * DB_PER_LN
    restless_from_db: float = 0.6 * DB_PER_LN
    restless_level: float = 2.0
    cap: float = 24.0
    cap_over: float = 4.0
    offset_temper: float = 0.63
    steepness: float = 8.0

    def __post_init__(self) -> None:
        QuietParameters.__post_init__(self)
        own = {field.name for field in fields(self)} - {field.name for field in fields(QuietParameters)}
        check_ranges(self, {name: (0, 5 if name.endswith("_s") else 1000) for name in own})
        in_order(self, "bin_s", "coarse_s", "trail_s")
        in_order(self, "bin_s", "fine_s", "fine_stretch_s")
        in_order(self, "block_s", "quiet_s")
        in_order(self, "coarse_s", "fine_s")
        covered = self.lead_s + self.trail_s
        demand(covered <= self.stretch_s, "stretch_s", self.stretch_s, f"at least lead_s + trail_s, {covered:g} s")
        covered = 2 * self.fine_s
        demand(
            covered <= self.fine_stretch_s, "fine_stretch_s", self.fine_stretch_s, f"at least 2 fine_s, {covered:g} s"
        )


def find_ramp(batch: Batch, p: RampParameters) -> dict[str, Array]:
    s, doubt = batch.excess, batch.doubt
    found = nothing(len(batch))
    unknown = np.zeros(len(batch), bool)
    if (doubt.low < 0).any() or (doubt.high > 0).any():
        low = against(s, doubt.low, p)
        s = against(s, doubt.high, p)
        ends = (prevalence(part.marks[:, part.search], part.span).max(axis=1) >= p.needed for part in (low, s))
        unknown = np.not_equal(*ends)
    share = prevalence(s.marks[:, s.search], s.span)
    most = share.max(axis=1)
    found["present"] = np.where(unknown, np.nan, 1 / (1 + np.exp(-p.steepness * (most - p.needed))))
    rows = np.flatnonzero((most >= p.needed) & ~unknown)
    strong = s.ln_z[rows, s.search].max(axis=1, initial=-np.inf) * DB_PER_LN >= strong_from_db(batch.rate_hz, p)
    for clear in (False, True):
        if (some := rows[strong == clear]).size:
            _fill(found, some, s, batch, p, clear=clear)
    return found


def strong_from_db(rate_hz: float, p: RampParameters) -> float:
    """Level from which on ringing is taken out: below 1000 Hz it lasts longer and matters to weaker activity."""
    return p.strong_from_db + LOW_RATE_DB * min(0.0, math.log10(rate_hz / CLEAR_FROM_HZ))


def _fill(found: dict[str, Array], rows: Ints, s: Excess, batch: Batch, p: RampParameters, *, clear: bool) -> None:
    """Locate both edges, each from its own side, as filters smear to the other; ``clear`` takes ringing out before."""
    rate_hz = batch.rate_hz
    x = (batch.x if len(rows) == len(batch.x) else batch.x[rows]).astype(np.float32)
    level = batch.doubt.high[rows]
    ahead = s.of(rows)
    if clear:
        ahead = against(excess_without_ringing(x, rate_hz, batch.rest, batch.search, p), level, p)
    used = ahead.blocks * ahead.block * ahead.bin
    rest, search = (slice(max(used - part.stop, 0), used - part.start) for part in (batch.rest, batch.search))
    x = np.ascontiguousarray(x[:, used - 1 :: -1])
    if clear:
        behind = excess_without_ringing(x, rate_hz, rest, search, p)
    else:
        behind = excess(x, rate_hz, rest, search, p, ahead.whitened)
    behind = against(behind, level, p)
    first, last = activity(ahead, prevalence(ahead.marks[:, ahead.search], ahead.span), p)
    turned = ahead.blocks - 1 - last
    back = begins_from(behind, turned, p, turned)
    if clear and rate_hz >= CLEAR_FROM_HZ:  # activity is so strong that it is sure soon after its edge
        nearer_s = p.lead_s * (1 - CLEAR_LEAD)
        p = replace(p, lead_s=p.lead_s - nearer_s, stretch_s=p.stretch_s - nearer_s)

    bin_s, block_s = ahead.bin / rate_hz, ahead.bin * ahead.block / rate_hz
    nu = p.temper / (1 + p.uneven_temper * np.maximum(ahead.spread * DB_PER_LN / p.uneven_from_db - 1, 0))
    less = np.exp(-raised(ahead, first, p))[:, None].astype(np.float32)
    y = (without_clicks(ahead, first, block_s) if clear else ahead.y) * less
    where = ahead.ln_z, first, nu, SHARP, ahead.block, bin_s, rate_hz, p
    on, rise_s = locate(y, *where, early_s=p.before_s if clear else 0.0)
    on *= bin_s
    if clear:  # the later side stands: a sharp onset is seen without delay
        on[:2] -= delay_s(ahead, first, rate_hz)
    search_s = ahead.search.start * block_s
    here = on[1] >= search_s
    on[0] = np.maximum(on[0], search_s)
    found["onset_s"][rows] = np.where(here, on[1], np.nan)
    found["low_s"][rows] = np.where(here, on[0], np.nan)
    found["high_s"][rows] = np.where(here, on[2], np.nan)
    found["rise_s"][rows] = np.where(here, rise_s, np.nan)

    y = (without_clicks(behind, back, block_s) if clear else behind.y) * less
    early_s = max(p.fading_s, 3 / rate_hz) if clear else 0.0
    nu = p.offset_temper * nu
    least = (ahead.blocks - begins_from(ahead, last + 1, p, ahead.blocks)) * ahead.block
    where = behind.ln_z, back, nu, PLAIN, behind.block, bin_s, rate_hz, p
    off, _ = locate(y, *where, early_s=early_s, least=least)
    off = (used / ahead.bin - off[::-1]) * bin_s
    last = ahead.blocks - 1 - back
    ended = (last < ahead.search.stop - round(p.quiet_s / p.block_s)) & (off[1] > on[1])
    found["offset_low_s"][rows], found["offset_s"][rows], found["offset_high_s"][rows] = np.where(ended, off, np.nan)

    plateau = np.ceil((on[1] + rise_s) / block_s).astype(int)
    found["level_db"][rows] = burst_level_db(ahead.power, np.clip(plateau, 0, last), last + 1)


def against(s: Excess, level: Array, p: RampParameters) -> Excess:
    """How far each moment stands out from another level of the rest, (trials,) in ln z."""
    ln_z = s.ln_z - level[:, None].astype(np.float32)
    marks = np.clip((ln_z - s.gate[:, None]) / (p.gate_width_db / DB_PER_LN), -1, 1)
    return replace(s, y=s.y * np.exp(-level)[:, None].astype(np.float32), ln_z=ln_z, marks=marks.astype(np.float32))


def activity(s: Excess, share: Array, p: RampParameters) -> tuple[Ints, Ints]:
    """First and last hot block of the first activity in the search; it ends where ``quiet_s`` follow with hardly a hot
    block. ``share`` is the prevalence of marks there."""
    marks, span = s.marks[:, s.search], s.span
    blocks = np.arange(marks.shape[1])
    hot = marks > 0
    begin = (share >= p.needed).argmax(axis=1)
    first = (hot & (blocks >= begin[:, None])).argmax(axis=1)
    gap = max(1, round(p.quiet_s / p.block_s))
    count = np.cumsum(np.pad(hot, ((0, 0), (1, gap))), axis=1, dtype=np.int32)
    ahead = (count[:, gap:] - count[:, :-gap])[:, : len(blocks)]
    calm = (ahead <= gap // 4) & (blocks > first[:, None] + span // 2)
    end = np.where(calm.any(axis=1), calm.argmax(axis=1), len(blocks))
    before_end = hot & (blocks < end[:, None])
    return s.search.start + first, s.search.start + len(blocks) - 1 - before_end[:, ::-1].argmax(axis=1)


def begins_from(s: Excess, at: Ints, p: RampParameters, otherwise: Ints | int) -> Ints:
    """The first hot block, from block ``at`` on, of a stretch where activity prevails; or the other."""
    blocks = np.arange(s.blocks)
    share = prevalence(s.marks, s.span)
    prevails = (share >= p.needed) & (blocks[: share.shape[1]] >= at[:, None])
    hot = (s.marks > 0) & (blocks >= prevails.argmax(axis=1)[:, None])
    return np.where(prevails.any(axis=1) & hot.any(axis=1), hot.argmax(axis=1), otherwise)


def raised(s: Excess, first: Ints, p: RampParameters) -> Array:
    """What must be taken from ln y before it says something about an onset, (trials,).

    That is the mean ln z shortly ahead of the activity over that of the rest, from 0 to ln 2, and a share of the spread
    of a restless rest.
    """
    blocks = np.arange(s.ln_z.shape[1])
    since, until = (first[:, None] - round(seconds / p.block_s) for seconds in (0.5, 0.15))
    near = (blocks >= np.maximum(since, s.rest.start)) & (blocks < until)
    level = (s.ln_z * near).sum(axis=1) / np.maximum(near.sum(axis=1), 1)
    over = np.where(near.any(axis=1), np.clip(level - s.ln_z[:, s.rest].mean(axis=1), 0, np.log(2)), 0)
    return over + p.restless_level * np.maximum(s.spread - p.restless_from_db / DB_PER_LN, 0)


def locate(
    y: Floats, ln_z: Floats, first: Ints, nu: Array, middle: int, block: int, bin_s: float, rate_hz: float,
    p: RampParameters, *, early_s: float = 0.0, least: Ints | None = None,
) -> tuple[Array, Array]:  # fmt: skip
    """The quantiles of the onset, (3, rows) in bins, and its rise in seconds, (rows,).

    ``first`` is the block of the first sure activity of each row; ``nu`` the tempering (rows,); ``middle`` says whose
    median is taken, PLAIN or SHARP. Before the onset a bin counts at most ``cap_over`` plus ln z of the strongest block
    within 0.3 s: less would let a strong burst pass for a knock. Rows are worked on by that level, each with plateaus
    from ``BELOW_DB`` below to ``ABOVE_DB`` above it. ``early_s`` widens the interval's earlier side. No onset lies
    before bin ``least``, where another activity is.
    """
    until = before_jump(ln_z, first, block * bin_s)
    ahead = np.clip(first[:, None] + np.arange(round(0.3 / (block * bin_s))), 0, until[:, None] - 1)
    strongest = np.take_along_axis(ln_z, ahead, axis=1).max(axis=1)
    least = np.zeros(len(y), int) if least is None else least
    cap = np.clip(p.cap_over + strongest, p.cap_over, max(p.cap, p.cap_over)).astype(np.float32)
    stop = np.minimum(plateau_end(ln_z, first, block, bin_s, p), until * block)
    bands = np.clip(np.round(strongest * DB_PER_LN / CLASS_DB), 0, HIGHEST_CLASS).astype(int)
    places, rise_s = np.empty((len(QUANTILES), len(y))), np.empty(len(y))
    for band in np.unique(bands):
        some = np.flatnonzero(bands == band)
        parts = y[some], first[some] * block, stop[some], nu[some], cap[some], least[some]
        places[:, some], rise_s[some] = _locate(*parts, int(band), middle, bin_s, rate_hz, p, early_s)
    return places, rise_s


def _locate(
    y: Floats, first: Ints, stop: Ints, nu: Array, cap: Floats, least: Ints, band: int, middle: int, bin_s: float,
    rate_hz: float, p: RampParameters, early_s: float,
) -> tuple[Array, Array]:  # fmt: skip
    """The same for rows of one class of level; ``first`` in bins."""
    step = max(1, round(p.coarse_s / bin_s))
    start = first - round(p.lead_s / bin_s)
    candidates = max(2, round((p.lead_s + p.trail_s) / bin_s / step))
    wide = max(candidates, round(p.stretch_s / bin_s / step))
    nu = nu * freedom(bin_s, rate_hz)
    coarse, sharp, rise_s = posterior(
        y, start, stop, nu, cap, band, step, candidates, wide, middle, bin_s, least, rise=middle == SHARP
    )

    half = max(1, round(min(p.fine_s / bin_s, FINE_BINS)))
    near = np.floor(quantile(sharp, 0.5)).astype(int) * step - half
    wide = max(2 * half, round(p.fine_stretch_s / bin_s))
    fine, fine_sharp, _ = posterior(y, start + near, stop, nu, cap, band, 1, 2 * half, wide, middle, bin_s, least)

    places = np.empty((len(QUANTILES), len(y)))
    for place, q in zip(places, QUANTILES, strict=True):
        far, close = (sharp, fine_sharp) if q == 0.5 else (coarse, fine)
        low = cumulative(far, (near - 0.5) / step)
        high = cumulative(far, (near - 0.5 + 2 * half) / step)
        inside = (low <= q) & (q <= high)
        share = np.where(inside, (q - low) / np.maximum(high - low, 1e-9), 0.5)
        place[:] = start + np.where(inside, near + quantile(close, share), quantile(far, q) * step)
    slack_s = max(p.resolution_s, 1 / rate_hz)
    places[0] -= (slack_s + early_s) / bin_s
    places[2] += (slack_s + max(p.smear_s, 1 / rate_hz)) / bin_s
    np.minimum(places[0], places[1] - slack_s / bin_s, out=places[0])
    np.maximum(places[2], places[1] + slack_s / bin_s, out=places[2])
    return places, rise_s


def delay_s(s: Excess, first: Ints, rate_hz: float) -> Array:
    """By how much the filter against ringing lets moderately strong activity be seen late, (rows,) seconds."""
    at = np.clip(first[:, None] + np.arange(max(1, round(0.3 * rate_hz / (s.block * s.bin)))), 0, s.blocks - 1)
    strongest_db = np.take_along_axis(s.ln_z, at, axis=1).max(axis=1) * DB_PER_LN
    return DELAY_S[0] * max(1.0, 1000 / rate_hz) * np.clip((DELAY_S[1] - strongest_db) / DELAY_S[2], 0, 1)


def without_clicks(s: Excess, first: Ints, block_s: float) -> Floats:
    """y, where strong activity begins with something stronger still, such as the edge of a sudden start, at most
    ``CLICK_DB`` above the median block of its first 0.15 s; a profile without overshoot would begin behind it."""
    at = np.clip(first[:, None] + np.arange(max(1, round(0.15 / block_s))), 0, s.blocks - 1)
    level = np.median(np.take_along_axis(s.ln_z, at, axis=1), axis=1)
    return np.minimum(s.y, np.exp(level + CLICK_DB / DB_PER_LN)[:, None].astype(np.float32))


def before_jump(ln_z: Floats, first: Ints, block_s: float) -> Ints:
    """The block at which another, far stronger activity begins within 0.3 s of the first, (rows,); the end of the row
    where there is none. The first one's edge is then located without the other.

    The first lasts ``SUSTAINED_S`` and stays level; ringing ahead of an onset grows, and a knock is shorter.
    """
    least, reach = max(2, round(SUSTAINED_S / block_s)), max(4, round(0.3 / block_s))
    end = ln_z.shape[1]
    at = first[:, None] + np.arange(reach + 1)
    near = np.where(at < end, np.take_along_axis(ln_z, np.clip(at, 0, end - 1), axis=1), NOTHING)
    own = near[:, :least]
    level = (own > NOTHING).all(axis=1) & (own.min(axis=1) > SUSTAINED_DB / DB_PER_LN)
    full = own[:, 1:]  # the first may hold the edge
    level &= full.max(axis=1) - np.median(full, axis=1) < LEVEL_DB / DB_PER_LN
    level &= full[:, -1] - full[:, 0] < LEVEL_DB / DB_PER_LN
    before = np.maximum.accumulate(near, axis=1)[:, :-1]
    jumps = near[:, 1:] > before + JUMP_DB / DB_PER_LN
    jumps[:, :-1] &= near[:, 2:] > before[:, :-1] + JUMP_DB / DB_PER_LN
    jumps[:, : least - 1] = False
    found = level & jumps.any(axis=1)
    return np.where(found, np.minimum(first + 1 + jumps.argmax(axis=1), end), end)


def plateau_end(ln_z: Floats, first: Ints, block: int, bin_s: float, p: RampParameters) -> Ints:
    """Where the common stretch ends, in bins: ``plateau_s`` after the power stops growing.

    Growth has stopped where the mean of three blocks is at least 0.6 of any in the 0.15 s that follow.
    """
    padded = np.pad(np.exp(ln_z), ((0, 0), (1, 1)), mode="edge")
    smooth = (padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]) / 3
    block_s = block * bin_s
    ahead = max(2, round(0.15 / block_s))
    later = smooth.copy()
    for k in range(1, ahead):
        np.maximum(later[:, :-k], smooth[:, k:], out=later[:, :-k])
    blocks = np.arange(ln_z.shape[1])
    settled = (smooth >= 0.6 * later) & (blocks >= first[:, None]) & (blocks <= first[:, None] + round(0.35 / block_s))
    at = np.where(settled.any(axis=1), settled.argmax(axis=1), first)
    return np.minimum((at + 1) * block + round(p.plateau_s / bin_s), ln_z.shape[1] * block)
