"""Line figures of a report as SVG text: one panel a kind and rise, one line a method, over the burst's level.

line_figure     the figure
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

WIDTH, HEIGHT, LEFT, TOP, GAP = 150, 110, 60, 50, 26
STYLES = (  # colour and dashes, so that lines differ without colour too
    ("#000000", ""),
    ("#0072b2", "6 3"),
    ("#d55e00", "2 2"),
    ("#7a7a7a", "8 3 2 3"),
    ("#8a5fbf", "4 4"),
    ("#a07000", "1 3"),
    ("#009e73", "10 2"),
    ("#b3006b", "12 3 3 3"),
    ("#4a5a2a", "6 2 1 2"),
    ("#8c3b1f", "1 1"),
)


def line_figure(rows: Sequence[Mapping[str, Any]], value: str, words: str) -> str:
    """``value`` of each row over ``snr_db``; infinite values leave a gap. The scale is the same in a row of panels."""
    kinds = list(dict.fromkeys(row["kind"] for row in rows))
    rises = list(dict.fromkeys(row["rise_ms"] for row in rows))
    methods = list(dict.fromkeys(row["method"] for row in rows))
    levels = sorted({row["snr_db"] for row in rows})
    at = {(r["kind"], r["rise_ms"], r["method"], r["snr_db"]): r[value] for r in rows}
    width = LEFT + len(rises) * (WIDTH + GAP) + 20
    height = TOP + len(kinds) * (HEIGHT + GAP + 14) + 40
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" font-family="sans-serif" '
        f'font-size="11"><title>{escape(words)}</title><rect width="100%" height="100%" fill="white"/>'
    ]
    for number, method in enumerate(methods):
        colour, dashes = STYLES[number % len(STYLES)]
        x = LEFT + 130 * number
        out.append(
            f'<path d="M{x} 16h26" stroke="{colour}" stroke-dasharray="{dashes}" stroke-width="2"/>'
            f'<text x="{x + 30}" y="20">{escape(method)}</text>'
        )
    for row, kind in enumerate(kinds):
        low, high = _limits([v for (k, *_), v in at.items() if k == kind])
        top = TOP + row * (HEIGHT + GAP + 14)
        for column, rise in enumerate(rises):
            left = LEFT + column * (WIDTH + GAP)
            out.append(
                f'<rect x="{left}" y="{top}" width="{WIDTH}" height="{HEIGHT}" fill="none" stroke="#999"/>'
                f'<text x="{left}" y="{top - 4}">{escape(kind)}, rise {rise} ms</text>'
            )
            for tick in (low, 0.0, high):
                if column == 0:
                    y = top + HEIGHT * (high - tick) / (high - low)
                    out.append(f'<text x="{left - 4}" y="{y + 4:.1f}" text-anchor="end">{tick:.0f}</text>')
            x_of = [left + WIDTH * (level - levels[0]) / max(levels[-1] - levels[0], 1) for level in levels]
            for x, level in zip(x_of, levels, strict=True):
                out.append(f'<text x="{x:.1f}" y="{top + HEIGHT + 12}" text-anchor="middle">{level:g}</text>')
            for number, method in enumerate(methods):
                colour, dashes = STYLES[number % len(STYLES)]
                path, pen = "", "M"
                for x, level in zip(x_of, levels, strict=True):
                    v = at.get((kind, rise, method, level), math.nan)
                    if not math.isfinite(v):
                        pen = "M"
                        continue
                    path += f"{pen}{x:.1f} {top + HEIGHT * (high - min(max(v, low), high)) / (high - low):.1f}"
                    pen = "L"
                out.append(
                    f'<path d="{path}" fill="none" stroke="{colour}" stroke-dasharray="{dashes}" stroke-width="1.6"/>'
                )
    out.append(f'<text x="{LEFT}" y="{height - 14}">{escape(words)}, over the level of the burst in dB</text></svg>')
    return "\n".join(out)


def _limits(values: Sequence[float]) -> tuple[float, float]:
    """From at most 0 to at least 1, without the most extreme twentieth."""
    known = sorted(value for value in values if math.isfinite(value))
    if not known:
        return 0.0, 1.0
    cut = len(known) // 20
    return min(0.0, known[cut]), max(1.0, known[len(known) - 1 - cut])
