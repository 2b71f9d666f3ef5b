"""One picture of a recording: a row a channel with its verdict by word and shape, outline, spectrum and rest.

Plain SVG and HTML, made of text that is escaped, without any toolkit and nothing from any network; light, dark and
black on white on paper. Pixels; 960 wide, so that letters of 13 stay above 11 where a page leaves 820.

    Row, rows_of    what is drawn of a channel, and how it is measured
    drawing         the SVG
    page            an HTML page with it, and every reason
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from emgreview.checking import pieces_of, sampled
from emgreview.fitness.judging import SIGNS, WORDS, Verdict
from emgreview.legible import legible
from emgreview.model import FloatArray, Recording
from emgreview.showing import number, percent
from emgreview.signal import filters
from emgreview.signal.findings import Finding
from emgreview.signal.quality import Quality, spectrum_of

WIDTH, HEAD, HIGH, FOOT = 960, 74, 62, 46
LEFT, TRACE, SPECTRUM, REST = 14, 200, 578, 782
TRACE_WIDE, SPECTRUM_WIDE = 370, 186
COLUMNS = 370
BLOCK = 1 << 18
LOWEST_HZ, HIGHEST_HZ, RANGE_DB = 5.0, 500.0, 50.0
LETTERS = 21

_LIGHT = "--paper:#fff;--ink:#17212b;--quiet:#4a5763;--line:#c3ccd4;--trace:#0b4f8a;--hum:#a34a00;--fit:#14603a;"
_LIGHT += "--again:#8a4b00;--redo:#a1123f"
_DARK = "--paper:#11161c;--ink:#eef2f6;--quiet:#b4bfca;--line:#45525f;--trace:#86c5ff;--hum:#ffb15c;--fit:#7ddba6;"
_DARK += "--again:#ffc37a;--redo:#ff9db5"
_PRINT = "--paper:#fff;--ink:#000;--quiet:#000;--line:#999;--trace:#000;--hum:#000;--fit:#000;--again:#000;--redo:#000"
_STYLE = (
    f".emg-check{{{_LIGHT};width:100%;max-width:960px;height:auto}}"
    f"@media (prefers-color-scheme:dark){{.emg-check{{{_DARK}}}}}"
    f'[data-jp-theme-light="true"] .emg-check{{{_LIGHT}}}[data-jp-theme-light="false"] .emg-check{{{_DARK}}}'
    f"@media print{{.emg-check,[data-jp-theme-light] .emg-check{{{_PRINT}}}}}"
    ".emg-check text{font:13px system-ui,'DejaVu Sans',sans-serif;fill:var(--ink)}"
    ".emg-check .title{font-size:16px;font-weight:bold}.emg-check .name{font-weight:bold}"
    ".emg-check .quiet{fill:var(--quiet)}.emg-check .paper{fill:var(--paper)}"
    ".emg-check .line{stroke:var(--line);fill:none}.emg-check .trace{fill:var(--trace);stroke:var(--trace)}"
    ".emg-check .curve{fill:none;stroke:var(--trace);stroke-width:1.2}"
    ".emg-check .hum{stroke:var(--hum);stroke-dasharray:3 2}"
    ".emg-check .fit{fill:var(--fit)}.emg-check .again{fill:var(--again)}.emg-check .redo{fill:var(--redo)}"
)
_CLASS = {"fit": "fit", "look again": "again", "redo": "redo"}


@dataclass(frozen=True, eq=False, slots=True)
class Row:
    """Of a channel: lowest and highest values of each column over the whole recording (2, columns), its spectrum (none
    where it could not be measured), mains in hertz, and a sentence on its rest and hum."""

    low_high: FloatArray
    frequency_hz: FloatArray
    density: FloatArray
    mains_hz: float
    unit: str
    rest: tuple[str, str, str]


def rows_of(rec: Recording, found: Sequence[Quality], look_s: float | None) -> tuple[Row, ...]:
    """What is drawn of each channel; the whole recording is read once, block by block, for the outlines."""
    labels = [one.label for one in found]
    outlines = _outlines(rec, labels)
    out = []
    pieces = pieces_of(rec, look_s)
    for one, outline in zip(found, outlines, strict=True):
        x, rate_hz = sampled(rec, one.label, pieces)
        runs = [row[start:stop] for row in x for start, stop in filters.finite_runs(row)]
        f, p = spectrum_of(runs, rate_hz)
        sure = "" if math.isnan(one.baseline_cv) else f" ± {percent(one.baseline_cv)} %"
        hum = "hum not measured"
        if one.mains_share == one.mains_share:
            hum = f"hum {_percent(one.mains_share)}, {number(one.mains_db, 2)} dB"
        rest = (
            f"{number(one.baseline_rms)} {one.unit}{sure}" if one.baseline_rms == one.baseline_rms else "n/a",
            hum,
            f"clipped {percent(one.clipped_share)}, flat {percent(one.flat_share)} %",
        )
        out.append(Row(outline, f, p, one.mains_hz, one.unit, rest))
    return tuple(out)


def _level(value: float) -> str:
    """Without a power of ten where there are few digits."""
    return f"{value:.0f}" if 999.5 <= abs(value) < 1e6 else number(value)


def _percent(share: float) -> str:
    return "n/a" if share != share else f"{100 * share:.3g} %"


def _outlines(rec: Recording, labels: Sequence[str]) -> FloatArray:
    """(channels, 2, columns): NaN where a column has no present sample."""
    n = rec.n_samples
    columns = max(1, min(COLUMNS, n))
    edges = np.linspace(0, n, columns + 1).astype(int)
    out = np.full((len(labels), 2, columns), np.nan)
    most = max(1, BLOCK // max(1, len(labels)))
    first = 0
    while first < columns and labels:
        last = max(first + 1, int(np.searchsorted(edges, edges[first] + most, side="right")) - 1)
        x = rec.values(int(edges[first]), int(edges[last]), list(labels))
        starts = edges[first:last] - edges[first]
        out[:, 0, first:last] = np.fmin.reduceat(x, starts, axis=1)
        out[:, 1, first:last] = np.fmax.reduceat(x, starts, axis=1)
        first = last
    return out


def drawing(name: str, channels: Sequence[Verdict], rows: Sequence[Row]) -> str:
    """The picture as SVG; a screen reader is told the verdicts in words."""
    height = HEAD + HIGH * max(1, len(rows)) + FOOT
    counts = ", ".join(f"{sum(one.word == word for one in channels)} {word}" for word in WORDS)
    said = "; ".join(f"{one.label}: {one.brief[2:]}" for one in channels)
    parts = [
        f'<svg class="emg-check" role="img" viewBox="0 0 {WIDTH} {height}" xmlns="http://www.w3.org/2000/svg" '
        f'aria-label="{_text(f"Check of {name}: {counts}. {said}")}">',
        f"<style>{_STYLE}</style>",
        f'<rect class="paper" width="{WIDTH}" height="{height}"/>',
        _words(LEFT, 24, _cut(f"Check of {name}", 70), "title"),
        _words(
            LEFT, 46, f"{SIGNS['fit']} fit   {SIGNS['look again']} look again   {SIGNS['redo']} redo:  {counts}", ""
        ),
        _words(LEFT, HEAD - 6, "channel, verdict", "quiet"),
        _words(TRACE, HEAD - 6, "lowest to highest, whole recording", "quiet"),
        _words(SPECTRUM, HEAD - 6, "spectrum, dB (dashes: mains)", "quiet"),
        _words(REST, HEAD - 6, "rest (RMS), hum", "quiet"),
    ]
    for place, (one, row) in enumerate(zip(channels, rows, strict=True)):
        parts += _row(HEAD + HIGH * place, one, row)
    at = HEAD + HIGH * max(1, len(rows))
    parts += [
        f'<path class="line" d="M{LEFT} {at}H{WIDTH - LEFT}"/>',
        *(
            _words(SPECTRUM + _log(hz) * SPECTRUM_WIDE, at + 16, f"{hz:g}", "quiet", "middle")
            for hz in (10, 50, 200, 500)
        ),
        _words(SPECTRUM + SPECTRUM_WIDE / 2, at + 34, "Hz", "quiet", "middle"),
        _words(LEFT, at + 20, "Verdicts are of the signal alone; test contractions tell the muscle.", "quiet"),
        "</svg>",
    ]
    return "".join(parts)


def _row(top: int, one: Verdict, row: Row) -> Iterator[str]:
    yield f'<path class="line" d="M{LEFT} {top}H{WIDTH - LEFT}"/>'
    yield _words(LEFT, top + 19, _cut(one.label), "name")
    yield f'<text x="{LEFT}" y="{top + 37}" class="{_CLASS[one.word]}">{one.sign} {one.word}</text>'
    codes = ", ".join(dict.fromkeys(why.code for why in one.reasons))
    yield _words(LEFT, top + 54, _cut(codes, 26), "quiet")
    yield from _trace(top, row)
    yield from _spectrum(top, row)
    yield from (
        _words(REST, top + 19 + 18 * place, words, "quiet" if place else "") for place, words in enumerate(row.rest)
    )


def _trace(top: int, row: Row) -> Iterator[str]:
    low, high = row.low_high
    known = np.isfinite(low) & np.isfinite(high)
    if not known.any():
        yield _words(TRACE, top + 34, "no samples", "quiet")
        return
    bottom, span = float(low[known].min()), float(high[known].max() - low[known].min())
    room = HIGH - 26
    scale = room / span if span > 0 else 0.0
    path = []
    for place in np.flatnonzero(known):
        x = TRACE + place * TRACE_WIDE / len(low)
        y, y2 = (top + 5 + room - (value - bottom) * scale for value in (high[place], low[place]))
        path.append(f"M{x:.1f} {y - 0.4:.1f}V{y2 + 0.4:.1f}")
    yield f'<path class="trace" stroke-width="1" d="{"".join(path)}"/>'
    yield _words(TRACE, top + HIGH - 4, f"{_level(bottom)} to {_level(bottom + span)} {row.unit}", "quiet")


def _spectrum(top: int, row: Row) -> Iterator[str]:
    f, p = row.frequency_hz, row.density
    inside = (f >= LOWEST_HZ) & (f <= HIGHEST_HZ) & (p > 0)
    if not inside.any():
        yield _words(SPECTRUM, top + 34, "no spectrum", "quiet")
        return
    if row.mains_hz == row.mains_hz:
        for times in range(1, 10):
            hz = row.mains_hz * times
            if hz <= min(HIGHEST_HZ, f[-1]):
                x = SPECTRUM + _log(hz) * SPECTRUM_WIDE
                yield f'<path class="hum" d="M{x:.1f} {top + 4}V{top + HIGH - 4}"/>'
    level = 10 * np.log10(p[inside])
    level = np.clip(level - level.max(), -RANGE_DB, 0.0)
    xs = [SPECTRUM + _log(hz) * SPECTRUM_WIDE for hz in f[inside]]
    ys = top + 6 - level * (HIGH - 12) / RANGE_DB
    yield f'<path class="curve" d="M{"L".join(f"{x:.1f} {y:.1f}" for x, y in zip(xs, ys, strict=True))}"/>'


def _log(hz: float) -> float:
    return math.log(hz / LOWEST_HZ) / math.log(HIGHEST_HZ / LOWEST_HZ)


Part = tuple[str, str, Sequence[Verdict], Sequence[Finding], Sequence[str]]


def page(parts: Sequence[Part]) -> str:
    """A page: of each recording its name and picture, then every reason of its verdicts, question and note."""
    name = parts[0][0] if len(parts) == 1 else f"{len(parts)} recordings"
    return (
        '<!DOCTYPE html>\n<html lang="en-GB"><head><meta charset="utf-8">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{_text(f'Check of {name}')}</title><style>:root{{color-scheme:light dark}}"
        "body{margin:0 auto;max-width:62rem;padding:1rem;font:16px/1.45 system-ui,'DejaVu Sans',sans-serif;"
        "background:#fff;color:#17212b}@media screen and (prefers-color-scheme:dark){body{background:#11161c;"
        "color:#eef2f6}}@media print{body{font-size:10pt;padding:0}}li{margin:.3rem 0}h2{font-size:1.1rem}"
        f"</style></head><body>{''.join(map(_section, parts))}</body></html>\n"
    )


def _section(part: Part) -> str:
    name, picture, channels, questions, notes = part
    items = [
        f"<b>{_text(one.label)}</b>: {_text(why.word)}. {_text(why.words)} <i>{_text(why.do)}</i>"
        for one in channels
        for why in one.reasons
    ]
    asked = [f"<b>{_text(one.channels[0])}</b>: {_text(one.words)}" for one in questions]
    lists = (
        ("What to look at", items or ["Nothing stands out."]),
        ("Asked", asked),
        ("Notes", list(map(_text, notes))),
    )
    return f'<section aria-label="{_text(name)}">{picture}' + "".join(map(_list, lists)) + "</section>"


def _list(titled: tuple[str, list[str]]) -> str:
    title, items = titled
    return f"<h2>{title}</h2><ul>{''.join(f'<li>{item}</li>' for item in items)}</ul>" if items else ""


def _words(x: float, y: float, words: str, kind: str, anchor: str = "") -> str:
    more = (f' class="{kind}"' if kind else "") + (f' text-anchor="{anchor}"' if anchor else "")
    return f'<text x="{x:.6g}" y="{y:.6g}"{more}>{_text(words)}</text>'


def _cut(words: str, most: int = LETTERS) -> str:
    return words if len(words) <= most else f"{words[: most - 1]}…"


def _text(words: str) -> str:
    return escape(legible(words))
