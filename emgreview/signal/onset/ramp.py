"""Posterior over the onset of a ramp in the standard deviation: the default method.

The rest model (:mod:`~emgreview.signal.onset.quiet`) gives energies y, 1 on average in the rest, and the first stretch
in which activity prevails. Then, over ONE common stretch of bins, all onsets tau, rise times r and levels g are
compared. The variance of bin b, relative to the rest, is

    v_b = 1 + g rho_b^2,   rho_b = clip((b - tau) / r, 0, 1)

so the SD of the activity alone rises as a straight line from nothing to its plateau; slow rises are also tried with a
jump at the start (``JUMPS``) and as a square of time (``GENTLE_S``). The log-likelihood against rest is

    l(tau, r, g) = -(nu / 2) sum_b [ln v_b + y_b (1 / v_b - 1)]

with nu degrees of freedom a bin. With priors flat in tau, and in r and g as their grids (about even in logarithms),
exp(l) normalised is the posterior: its 5 and 95 % points over tau are the interval, and the median of its cube,
exp(3 l), is the onset: nu is chosen for honest intervals, and a less tempered middle is nearer the truth on sharp
onsets. First on bins of ``coarse_s``, then on fine ones around that median. The offset is the same in mirror image,
with the plain median. Likelihood ratios with ramp profiles: Staude and Wolf 1999 (Med Eng Phys 21:449-467), Staude et
al. 2001 (EURASIP J Adv Signal Process 2001:67-81), both read as abstracts.

Departures: independent variances add (they scale one SD); sums over rises and levels instead of maxima; nu is
tempered, more so where the rest is uneven, because neighbouring energies are not independent and a burst is no perfect
ramp; before the onset no bin counts more than a cap that grows with the level of the activity, so that a knock or a
single potential does not pull the onset to itself; y is lowered where the level shortly ahead of the activity is above
the rest, and where the rest is restless. The weights were chosen by measuring: see emgreview/bench and the page
onset-accuracy.

    RampParameters, find_ramp     the method
    locate                        one edge of activity in rows of energies
    posterior                     its heart
"""

from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import check_ranges, demand, in_order
from emgreview.signal.onset.common import Array, Batch, burst_level_db, nothing
from emgreview.signal.onset.quiet import DB_PER_LN, Floats, QuietParameters, Standing, prevalence

Ints = NDArray[np.intp]

LEVELS_DB = np.arange(0.0, 43.0, 4.0)
RISES_S = (0.004, 0.012, 0.025, 0.05, 0.09, 0.16, 0.3)
JUMPS = ((0.09, 0.12), (0.16, 0.12), (0.3, 0.15))
JUMP_S = 0.006
"""Slow rises that begin with a jump, as trains of motor units do: rise in seconds, and the share of the plateau's SD
that the first potentials reach within ``JUMP_S``."""

GENTLE_S = (0.16, 0.3)
"""Slow rises that begin gently: the SD grows as the square of time."""

JUMP_WEIGHTS, GENTLE_WEIGHTS = (1.0, 2.5), (0.5, 0.1)
"""Prior weight of such a profile, that of a straight one being 1: for the interval, and for the onset."""

QUANTILES = (0.05, 0.5, 0.95)
PLAIN, SHARP = 0, 1
"""The posterior, and its cube: which one's median is nearer the truth was measured, onsets and offsets apart."""

FREEDOM_HZ = 727.0
"""Degrees of freedom a second of white noise averaged over 2 ms at 2 kHz: 2000 / (1 + 2 (0.75² + 0.5² + 0.25²))."""

MAXIMUM = 1e5
"""Energy of a bin beyond which a float32 sum would lose the small ones (50 dB over the rest)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RampParameters(QuietParameters):
    """Besides those of the rest model, in seconds: ``lead_s`` and ``trail_s`` bound the onset around the first sure
    activity; ``stretch_s`` is the common stretch; ``fine_s`` and ``fine_stretch_s`` the half width and stretch of the
    fine grid; ``plateau_s`` how much of the plateau is used; ``quiet_s`` ends an activity; ``resolution_s`` widens the
    interval to each side. In dB, as SDs of the rest's level over blocks: ``uneven_from_db`` and ``restless_from_db``.
    Plain numbers: ``temper`` of nu, ``uneven_temper`` its fall beyond the first of these, ``restless_level`` that of y
    beyond the second, ``cap_over`` ln z and at most ``cap`` what a bin before the onset may count, ``offset_temper`` a
    further factor of nu for offsets, and ``steepness`` of the probability.
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
    temper: float = 0.38
    uneven_temper: float = 0.5
    uneven_from_db: float = 0.4 * DB_PER_LN
    restless_from_db: float = 0.6 * DB_PER_LN
    restless_level: float = 2.0
    cap: float = 12.0
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
    s, doubt = batch.standing, batch.doubt
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
    if not len(rows):
        return found

    first, last = activity(s.marks[rows, s.search], share[rows], s.span, p)
    first, last = first + s.search.start, last + s.search.start
    bin_s = s.bin / batch.rate_hz
    ln_z = s.ln_z[rows]
    nu = p.temper / (1 + p.uneven_temper * np.maximum(s.spread[rows] * DB_PER_LN / p.uneven_from_db - 1, 0))
    y = s.y[rows] * np.exp(-raised(s, rows, first, p))[:, None].astype(np.float32)

    on, rise_s = locate(y, ln_z, first, nu, SHARP, s.block, bin_s, p)
    on *= bin_s
    search_s = s.search.start * s.block * bin_s
    here = on[1] >= search_s
    on[0] = np.maximum(on[0], search_s)
    found["onset_s"][rows] = np.where(here, on[1], np.nan)
    found["low_s"][rows] = np.where(here, on[0], np.nan)
    found["high_s"][rows] = np.where(here, on[2], np.nan)
    found["rise_s"][rows] = np.where(here, rise_s, np.nan)

    mirrored = ln_z.shape[1] - 1 - last
    back, _ = locate(y[:, ::-1], ln_z[:, ::-1], mirrored, p.offset_temper * nu, PLAIN, s.block, bin_s, p)
    off = (y.shape[1] - back[::-1]) * bin_s
    ended = (last < s.search.stop - round(p.quiet_s / p.block_s)) & (off[1] > on[1])
    found["offset_low_s"][rows], found["offset_s"][rows], found["offset_high_s"][rows] = np.where(ended, off, np.nan)

    plateau = np.ceil((on[1] + rise_s) / (s.block * bin_s)).astype(int)
    found["level_db"][rows] = burst_level_db(s.power[rows], np.clip(plateau, 0, last), last + 1)
    return found


def against(s: Standing, level: Array, p: RampParameters) -> Standing:
    """How far each moment stands out from another level of the rest, (trials,) in ln z."""
    ln_z = s.ln_z - level[:, None].astype(np.float32)
    marks = np.clip((ln_z - s.gate[:, None]) / (p.gate_width_db / DB_PER_LN), -1, 1)
    return replace(s, y=s.y * np.exp(-level)[:, None].astype(np.float32), ln_z=ln_z, marks=marks.astype(np.float32))


def activity(marks: Floats, share: Array, span: int, p: RampParameters) -> tuple[Ints, Ints]:
    """First and last hot block of the first activity; it ends where ``quiet_s`` follow with hardly a hot block."""
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
    return first, len(blocks) - 1 - before_end[:, ::-1].argmax(axis=1)


def raised(s: Standing, rows: Ints, first: Ints, p: RampParameters) -> Array:
    """What must be taken from ln y before it says something about an onset, (rows,).

    That is the mean ln z shortly ahead of the activity over that of the rest, from 0 to ln 2, and a share of the spread
    of a restless rest.
    """
    blocks = np.arange(s.ln_z.shape[1])
    since, until = (first[:, None] - round(seconds / p.block_s) for seconds in (0.5, 0.15))
    near = (blocks >= np.maximum(since, s.rest.start)) & (blocks < until)
    level = (s.ln_z[rows] * near).sum(axis=1) / np.maximum(near.sum(axis=1), 1)
    over = np.where(near.any(axis=1), np.clip(level - s.ln_z[rows, s.rest].mean(axis=1), 0, np.log(2)), 0)
    return over + p.restless_level * np.maximum(s.spread[rows] - p.restless_from_db / DB_PER_LN, 0)


def locate(
    y: Floats, ln_z: Floats, first: Ints, nu: Array, middle: int, block: int, bin_s: float, p: RampParameters
) -> tuple[Array, Array]:
    """The quantiles of the onset, (3, rows) in bins, and its rise in seconds, (rows,).

    ``first`` is the block of the first sure activity of each row; ``nu`` the tempering (rows,); ``middle`` says whose
    median is taken, PLAIN or SHARP. Before the onset a bin counts at most ``cap_over`` plus ln z of the strongest block
    within 0.3 s: less would let a strong burst pass for a knock.
    """
    stop = plateau_end(ln_z, first, block, bin_s, p)
    ahead = np.clip(first[:, None] + np.arange(round(0.3 / (block * bin_s))), 0, ln_z.shape[1] - 1)
    strongest = np.take_along_axis(ln_z, ahead, axis=1).max(axis=1)
    cap = np.clip(p.cap_over + strongest, p.cap_over, max(p.cap, p.cap_over)).astype(np.float32)
    step = max(1, round(p.coarse_s / bin_s))
    start = first * block - round(p.lead_s / bin_s)
    candidates = max(2, round((p.lead_s + p.trail_s) / bin_s / step))
    wide = max(candidates, round(p.stretch_s / bin_s / step))
    coarse, rise_s = posterior(y, start, stop, nu, cap, step, candidates, wide, middle, bin_s, p)

    half = max(1, round(p.fine_s / bin_s))
    near = np.floor(quantile(coarse[middle], 0.5)).astype(int) * step - half
    wide = max(2 * half, round(p.fine_stretch_s / bin_s))
    fine, _ = posterior(y, start + near, stop, nu, cap, 1, 2 * half, wide, middle, bin_s, p)

    places = np.empty((len(QUANTILES), len(y)))
    for place, q in zip(places, QUANTILES, strict=True):
        power = middle if q == 0.5 else PLAIN
        low = cumulative(coarse[power], (near - 0.5) / step)
        high = cumulative(coarse[power], (near - 0.5 + 2 * half) / step)
        inside = (low <= q) & (q <= high)
        share = np.where(inside, (q - low) / np.maximum(high - low, 1e-9), 0.5)
        place[:] = start + np.where(inside, near + quantile(fine[power], share), quantile(coarse[power], q) * step)
    places[0] -= p.resolution_s / bin_s
    places[2] += p.resolution_s / bin_s
    np.minimum(places[0], places[1], out=places[0])
    np.maximum(places[2], places[1], out=places[2])
    return places, rise_s


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


def posterior(
    y: Floats, start: Ints, stop: Ints, nu: Array, cap: Array, step: int, candidates: int, wide: int,
    middle: int, bin_s: float, p: RampParameters,
) -> tuple[Array, Array]:  # fmt: skip
    """Cumulative posterior, and its cube, over the onset (2, rows, candidates + 1); geometric mean rise in seconds.

    Works in steps of ``step`` bins. The common stretch is ``wide`` steps from bin ``start``, cut at bin ``stop`` and at
    the ends of the row; the candidates are its first ``candidates`` edges.
    """
    n, bins = y.shape
    at = start[:, None] + np.arange(wide * step)
    window = np.take_along_axis(y, np.clip(at, 0, bins - 1), axis=1)
    window *= (at >= 0) & (at < stop[:, None])
    if step > 1:
        window = (window.reshape(-1, step) @ np.full(step, 1 / step, np.float32)).reshape(n, wide)
    np.minimum(window, MAXIMUM, out=window)
    begins = np.clip(-(start // step), 0, wide)
    ends = np.clip((stop - start) // step, 0, wide)

    table, ln_v, rises_s, weights = profiles(step * bin_s, candidates, wide, middle)
    likelihood = window @ table
    likelihood += ln_v[ends]
    likelihood = likelihood.reshape(n, candidates, -1)
    above_cap = np.cumsum(np.pad(np.maximum(window - cap[:, None], 0), ((0, 0), (1, 0))), axis=1)[:, :candidates]
    likelihood -= above_cap[..., None]
    likelihood *= (nu * (-0.5 * FREEDOM_HZ * bin_s * step)).astype(np.float32)[:, None, None]
    likelihood -= likelihood.max(axis=(1, 2), keepdims=True)
    np.maximum(likelihood, -60, out=likelihood)
    np.exp(likelihood, out=likelihood)

    place = np.arange(candidates)
    within = (place >= begins[:, None]) & (place <= np.maximum(ends, begins)[:, None])
    plain, sharp = weights
    mass = np.stack([likelihood @ plain, (likelihood * likelihood * likelihood) @ sharp]) * within
    cdf = np.pad(np.cumsum(mass, axis=2, dtype=np.float64), ((0, 0), (0, 0), (1, 0)))
    by_rise = likelihood.sum(axis=1).reshape(n, len(rises_s), -1).sum(axis=2)
    rise_s = np.exp(by_rise @ np.log(rises_s) / by_rise.sum(axis=1))
    return cdf / cdf[..., -1:], rise_s


@lru_cache(maxsize=16)
def profiles(step_s: float, candidates: int, wide: int, middle: int) -> tuple[Floats, Floats, Array, Floats]:
    """What the likelihood is made of, for all onsets, profiles and levels.

    1/v - 1 as (steps, candidates × profiles × levels); sums of ln v over the first 0, 1, 2 … steps; the rise of each
    profile; prior weights (2, profiles × levels) of the plain posterior and of its cube. With PLAIN only straight ones.
    """
    shapes = [(rise, 0.0) for rise in RISES_S if rise >= 0.4 * step_s]
    straight = len(shapes)
    shapes += JUMPS if middle == SHARP else ()
    jumping = len(shapes)
    shapes += ((rise, 0.0) for rise in GENTLE_S if middle == SHARP)
    rises_s, jumps = np.array(shapes).T
    since = np.arange(wide)[:, None] - np.arange(candidates)
    t = np.maximum((since[..., None] + 0.5) * step_s, 0)
    rho = np.minimum(t / rises_s, 1)
    rho[..., jumping:] **= 2
    rho += jumps * (1 - rho) * np.minimum(t / JUMP_S, 1)
    v = 1 + rho[..., None] ** 2 * 10 ** (LEVELS_DB / 10)
    table = (1 / v - 1).reshape(wide, -1).astype(np.float32)
    ln_v = np.pad(np.cumsum(np.log(v).reshape(wide, -1), axis=0), ((1, 0), (0, 0))).astype(np.float32)
    weights = np.ones((2, len(shapes)), np.float32)
    weights[:, straight:jumping] = np.array(JUMP_WEIGHTS)[:, None]
    weights[:, jumping:] = np.array(GENTLE_WEIGHTS)[:, None]
    weights = np.repeat(weights, len(LEVELS_DB), axis=1)
    for array in (table, ln_v, rises_s, weights):
        array.setflags(write=False)
    return table, ln_v, rises_s, weights


def quantile(cdf: Array, q: Array | float) -> Array:
    """Where (rows, candidates + 1) reaches q, in steps; the mass of an edge lies half a step to each side of it."""
    q = np.broadcast_to(np.asarray(q, dtype=float), cdf.shape[:1])
    i = np.clip((cdf <= q[:, None]).sum(axis=1) - 1, 0, cdf.shape[1] - 2)
    rows = np.arange(len(cdf))
    below, above = cdf[rows, i], cdf[rows, i + 1]
    return i + np.clip((q - below) / np.maximum(above - below, 1e-9), 0, 1) - 0.5


def cumulative(cdf: Array, at: Array) -> Array:
    """The posterior mass up to ``at`` steps: the inverse of :func:`quantile`."""
    position = np.clip(at + 0.5, 0, cdf.shape[1] - 1 - 1e-9)
    i = position.astype(int)
    rows = np.arange(len(cdf))
    return cdf[rows, i] + (position - i) * (cdf[rows, i + 1] - cdf[rows, i])
