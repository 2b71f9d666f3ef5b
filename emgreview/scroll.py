"""A recording of any length as outlines: the lowest and highest value in every column of a picture, never fewer.

The file is read and conditioned block by block and never held whole. Three stores, each bounded in bytes, hold what was
read: conditioned samples of the blocks looked at last (for columns narrower than TILE samples), outlines of blocks in
columns of TILE samples, and one outline of the whole recording in columns as narrow as COARSE_BYTES allows. Columns are
a power of two of samples wide and begin at its multiples, so that panning never moves a column's edge.

Arrays are (traces, columns), single precision, each channel in its own unit; NaN where all samples are missing or were
not read yet. Positions are sample numbers of the recording. Conditioning is that of :mod:`emgreview.trials`, so that
any stretch equals the same stretch of the whole recording filtered at once.

    KINDS               what an EMG channel can be shown as; every other channel is shown as recorded ("raw")
    Outlines            reads on, answers for any stretch, and knows each trace's usual scale
    Stretch             the answer
"""

import math
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emgreview.conditioning import condition
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.evidence import words_of_levels
from emgreview.model import FloatArray, Processing, Recording, to_sample
from emgreview.signal.baseline import LEVEL_BLOCK_S

KINDS = ("raw", "band-passed", "rectified", "envelope")

BLOCK_S = 8.0
TILE = 64
COARSE_BYTES = 32 << 20
SAMPLES_BYTES = 48 << 20
TILES_BYTES = 16 << 20
MOST_COLUMNS = 40_000
BLOCKS_AHEAD = 3
"""Blocks beyond the view that one answer may condition: it then comes soon, and the next one goes further."""

PIECES, PIECE_S = 16, 2.0
"""How much of a recording the usual scale is taken from."""

Trace = tuple[str, str]
"""A channel's label and a kind."""


@dataclass(frozen=True, eq=False, slots=True)
class Stretch:
    """Outlines from sample ``start`` on, ``width`` samples a column.

    ``low`` and ``high`` are (traces, columns) and one and the same array where a column is a single sample. ``stop``
    is the first sample after the last column; ``unread`` lists stretches of samples in between that were not read yet.
    """

    start: int
    stop: int
    width: int
    low: FloatArray
    high: FloatArray
    unread: tuple[tuple[int, int], ...] = ()


class Outlines:
    """Outlines of one recording. Not for several threads at once."""

    def __init__(self, rec: Recording, *, processing: Processing):
        """Reads 16 pieces of 2 s, spread over the recording, for the usual scales. Raises what ``condition`` raises."""
        self.rec, self.processing = rec, processing
        self._emg = rec.emg_labels
        self._others = tuple(channel.label for channel in rec.channels if channel.kind != "EMG")
        self.traces: tuple[Trace, ...] = (
            *((label, kind) for kind in KINDS for label in self._emg),
            *((label, "raw") for label in self._others),
        )
        self._row = {trace: row for row, trace in enumerate(self.traces)}
        self.coarsest = TILE
        while 8 * len(self.traces) * (rec.n_samples // self.coarsest) > COARSE_BYTES:
            self.coarsest *= 2
        self.block = self.coarsest * math.ceil(BLOCK_S * rec.rate_hz / self.coarsest)
        self._samples: _Store = _Store(self._condition, SAMPLES_BYTES)
        self._tiles: _Store = _Store(lambda block: self._outline(block, TILE), TILES_BYTES)
        n_blocks = -(-rec.n_samples // self.block)
        self._done = np.zeros(n_blocks, dtype=bool)
        self._coarse = np.zeros((2, len(self.traces), -(-rec.n_samples // self.coarsest)), dtype=np.float32)
        self._level_words: dict[str, str] = {}
        self._scale, self._middle, self._limits = self._usual()

    # What is usual --------------------------------------------------------------------------------------------------

    def full_scale(self, label: str, kind: str) -> float:
        """The value at the edge of a trace's band, fixed for the recording: nine of ten pieces stay below it."""
        return float(self._scale[self._index((label, kind))])

    def middle(self, label: str) -> float:
        """The median of a channel as recorded, which its raw trace is drawn around; 0 where nothing was recorded."""
        return float(self._middle[self._index((label, "raw"))])

    def level_words(self, label: str) -> str:
        """What :func:`emgreview.evidence.level_words` says of an EMG channel, from the pieces; "" of any other."""
        return self._level_words.get(label, "")

    def limits(self, label: str) -> tuple[float, float]:
        """Lowest and highest value of a channel as recorded, in what was read so far."""
        row = self._index((label, "raw"))
        return float(self._limits[row, 0]), float(self._limits[row, 1])

    # Reading on -----------------------------------------------------------------------------------------------------

    @property
    def share(self) -> float:
        """Share of the recording whose coarse outline is known."""
        return float(self._done.mean())

    def read_on(self, near: int) -> bool:
        """Read the unread block closest to a sample into the coarse outline; False where none is left."""
        left = np.flatnonzero(~self._done)
        if not left.size:
            return False
        block = int(left[np.argmin(np.abs((left + 0.5) * self.block - near))])
        first = block * self.block // self.coarsest
        outline = self._outline(block, self.coarsest)
        self._coarse[:, :, first : first + outline.shape[-1]] = outline
        self._limits[:, 0] = np.fmin(self._limits[:, 0], np.fmin.reduce(outline[0], axis=1))
        self._limits[:, 1] = np.fmax(self._limits[:, 1], np.fmax.reduce(outline[1], axis=1))
        self._done[block] = True
        return True

    def stretch(self, view: tuple[int, int], want: tuple[int, int], *, width: int, traces: Sequence[Trace]) -> Stretch:
        """Outlines of some traces: all of ``view`` (start and stop sample), and what is soon had of ``want`` around it.

        ``width`` is the samples that a column may hold at most; the columns are the largest power of two up to it, or
        wider where the view would be more than MOST_COLUMNS. A view in columns narrower than the coarse outline is
        always complete; in wider ones, parts not yet read are NaN and listed.

        Raises ParameterError (a view that is empty or outside the recording, width below 1), UnknownNameError.
        """
        n = self.rec.n_samples
        if not (0 <= view[0] < view[1] <= n) or width < 1:
            raise ParameterError(
                f"samples {view[0]} to {view[1]} in columns of {width} were asked of {self.rec.name!r}; allowed: start "
                f"before stop, both within 0 to {n}, and columns of at least 1 sample."
            )
        rows = [self._index(trace) for trace in traces]
        width = 1 << (int(width).bit_length() - 1)
        while (view[1] - view[0]) / width > MOST_COLUMNS:
            width *= 2
        spare = (MOST_COLUMNS * width - (view[1] - view[0])) // 2
        start = max(0, min(want[0], view[0]), view[0] - spare)
        stop = min(n, max(want[1], view[1]), view[1] + spare)
        if width >= self.coarsest:
            start -= start % width
            return self._coarse_stretch(start, min(n, -(-stop // width) * width), width, rows)
        first, last = self._reach(view, (start, stop), self._tiles if width >= TILE else self._samples)
        start, stop = max(start, first * self.block), min(stop, last * self.block)
        start -= start % width
        return self._fine_stretch(start, min(n, -(-stop // width) * width), width, rows)

    # Inside ---------------------------------------------------------------------------------------------------------

    def _index(self, trace: Trace) -> int:
        try:
            return self._row[trace]
        except KeyError:
            raise UnknownNameError("trace", " / ".join(trace), [" / ".join(known) for known in self.traces]) from None

    def _condition(self, block: int) -> FloatArray:
        """Samples of a block: raw, band-passed and envelope of the EMG channels, then the others as recorded."""
        return self._values(block * self.block, min((block + 1) * self.block, self.rec.n_samples))

    def _values(self, start: int, stop: int) -> FloatArray:
        parts = []
        if self._emg:
            parts = [self.rec.values(start, stop, self._emg)]
            parts += condition(self.rec, start, stop, channels=self._emg, processing=self.processing)
        if self._others:
            parts.append(self.rec.values(start, stop, self._others))
        return np.concatenate(parts).astype(np.float32)

    def _traces(self, values: FloatArray, rows: Sequence[int] | None = None) -> FloatArray:
        """Rows of ``traces`` out of what :meth:`_values` returns: the rectified ones are added, all unless named."""
        n = len(self._emg)
        if rows is None:
            return np.concatenate([values[: 2 * n], np.abs(values[n : 2 * n]), values[2 * n :]])
        rectified = [2 * n <= row < 3 * n for row in rows]
        picked = values[[row - n if row >= 2 * n else row for row in rows]]
        picked[rectified] = np.abs(picked[rectified])
        return picked

    def _outline(self, block: int, width: int) -> FloatArray:
        """(2, traces, columns) of one block: lowest and highest values. Leaves the stores as they are."""
        samples = self._samples.peek(block)
        return np.stack(reduce(self._traces(self._condition(block) if samples is None else samples), width))

    def _reach(self, view: tuple[int, int], want: tuple[int, int], store: "_Store") -> tuple[int, int]:
        """First and past-last block of an answer: the view's, and beyond it known ones and a few that are not."""
        first, last = view[0] // self.block, -(-view[1] // self.block)
        lowest, highest = want[0] // self.block, -(-want[1] // self.block)
        ahead = BLOCKS_AHEAD
        while (first > lowest or last < highest) and store.has_room(last - first + 1):
            forward = last < highest and (
                first <= lowest or last * self.block - view[1] <= view[0] - first * self.block
            )
            if store.peek(last if forward else first - 1) is None:
                if not ahead:
                    break
                ahead -= 1
            first, last = (first, last + 1) if forward else (first - 1, last)
        return first, last

    def _fine_stretch(self, start: int, stop: int, width: int, rows: list[int]) -> Stretch:
        low = np.empty((len(rows), -(-(stop - start) // width)), dtype=np.float32)
        high = low if width == 1 else np.empty_like(low)
        for block in range(start // self.block, -(-stop // self.block)):
            base = block * self.block
            begin, end = max(start - base, 0), min(stop - base, self.block)
            at = slice((base + begin - start) // width, -(-(base + end - start) // width))
            if width >= TILE:
                tile = self._tiles.get(block)[:, rows, begin // TILE : -(-end // TILE)]
                low[:, at], high[:, at] = _lowest(tile[0], width // TILE), _highest(tile[1], width // TILE)
            else:
                values = self._traces(self._samples.get(block)[:, begin:end], rows)
                low[:, at], high[:, at] = reduce(values, width)
        return Stretch(start, stop, width, low, high)

    def _coarse_stretch(self, start: int, stop: int, width: int, rows: list[int]) -> Stretch:
        within = slice(start // self.coarsest, -(-stop // self.coarsest))
        times = width // self.coarsest
        low, high = (self._coarse[side, rows, within] for side in (0, 1))
        edges = np.flatnonzero(np.diff(self._done, prepend=True, append=True)) * self.block
        gaps = [(max(int(a), start), min(int(b), stop)) for a, b in edges.reshape(-1, 2)]
        unread = tuple((a, b) for a, b in gaps if a < b)
        for a, b in unread:
            columns = slice((a - start) // self.coarsest, -(-(b - start) // self.coarsest))
            low[:, columns] = high[:, columns] = np.nan
        return Stretch(start, stop, width, _lowest(low, times), _highest(high, times), unread)

    def _usual(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Full scale of every trace, its median, and its limits, from the pieces.

        The pieces lie at no fixed distance from one another, so that they never keep step with the trials.
        """
        n, piece = self.rec.n_samples, min(self.rec.n_samples, to_sample(PIECE_S, self.rec.rate_hz))
        room = n - piece
        golden = (math.sqrt(5) - 1) / 2
        spread = [(i + (i * golden) % 1) / PIECES for i in range(PIECES)] if room else [0.0]
        pieces = [self._traces(self._values(at, at + piece)) for at in (int(room * share) for share in spread)]
        everything = np.concatenate(pieces, axis=1)
        raw = np.array([kind == "raw" for _, kind in self.traces])
        middle = np.zeros(len(self.traces))
        middle[raw] = _of_present(np.median, everything[raw])
        banded = [self._index((label, "band-passed")) for label in self._emg]
        if banded:
            block = max(2, to_sample(LEVEL_BLOCK_S, self.rec.rate_hz))
            whole = [part[banded, : part.shape[1] // block * block].astype(np.float64) for part in pieces]
            levels = [np.sqrt(np.mean(x.reshape(len(banded), -1, block) ** 2, axis=-1)) for x in whole]
            unit = self.rec.channel(self._emg[0]).unit_label
            words = words_of_levels(self._emg, np.concatenate(levels, axis=1), unit)
            self._level_words = dict(zip(self._emg, words, strict=True))
        peaks = np.stack([_of_present(np.max, np.abs(part - middle[:, np.newaxis])) for part in pieces], axis=1)
        scale = np.percentile(peaks, 90, axis=1)
        limits = np.stack([_of_present(np.min, everything), _of_present(np.max, everything)], axis=1)
        return np.where(scale > 0, scale, 1.0), middle, limits


class _Store:
    """What was made last, made again when it is needed again: arrays by block, bounded in bytes."""

    def __init__(self, make: Callable[[int], FloatArray], most_bytes: int):
        self._make, self._most = make, most_bytes
        self._kept: OrderedDict[int, FloatArray] = OrderedDict()
        self._bytes = 0

    def peek(self, block: int) -> FloatArray | None:
        return self._kept.get(block)

    def has_room(self, blocks: int) -> bool:
        """Whether so many blocks, as large as those kept, can be kept together."""
        largest = max((array.nbytes for array in self._kept.values()), default=0)
        return blocks * largest <= self._most

    def get(self, block: int) -> FloatArray:
        if block in self._kept:
            self._kept.move_to_end(block)
            return self._kept[block]
        made = self._make(block)
        self._kept[block] = made
        self._bytes += made.nbytes
        while self._bytes > self._most and len(self._kept) > 1:
            self._bytes -= self._kept.popitem(last=False)[1].nbytes
        return made


def reduce(x: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest present value in every ``width`` columns of x (rows, columns); the last may be shorter.

    ``width`` is a power of two; with 1 both are ``x`` itself.
    """
    return _lowest(x, width), _highest(x, width)


def _lowest(x: FloatArray, width: int) -> FloatArray:
    return _fold(x, width, np.minimum, np.fmin)


def _highest(x: FloatArray, width: int) -> FloatArray:
    return _fold(x, width, np.maximum, np.fmax)


def _fold(x: FloatArray, width: int, whole: np.ufunc, with_gaps: np.ufunc) -> FloatArray:
    """Columns folded in halves, which is faster than a minimum along a short axis."""
    if width == 1:
        return x
    short = -x.shape[-1] % width
    if short:
        x = np.concatenate([x, np.full((x.shape[0], short), np.nan, x.dtype)], axis=1)
    fold = with_gaps if np.isnan(x).any() else whole
    x = x.reshape(x.shape[0], -1, width)
    while x.shape[-1] > 1:
        half = x.shape[-1] // 2
        x = fold(x[..., :half], x[..., half:])
    return x[..., 0]


def _of_present(what: Callable[..., NDArray], x: FloatArray) -> FloatArray:
    """A reduction over the samples present in each row (rows, samples); 0 where there are none."""
    if not np.isnan(x).any():
        return what(x, axis=1)
    return np.array([what(row[~np.isnan(row)]) if not np.isnan(row).all() else 0.0 for row in x])
