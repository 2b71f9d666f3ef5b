"""The report as Markdown and as tab-separated text.

markdown     the whole report
tsv          rows as they are, full precision
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from emgreview.bench.verdicts import Figure

Row = Mapping[str, Any]

DETAIL = (
    *(("bias_ms", "bias"), ("sd_ms", "SD"), ("median_ms", "med"), ("p90_ms", "p90")),
    *(("within_10_ms", "≤10"), ("within_20_ms", "≤20"), ("within_50_ms", "≤50")),
    *(("missed", "miss %"), ("early", "early %"), ("covered", "in 90 %"), ("width_ms", "width")),
    *(("visible_ms", "to visible"), ("offset_median_ms", "offset med"), ("offset_bias_ms", "offset bias")),
    ("offset_covered", "offset in 90 %"),
)

ANCHORS = (
    (
        "Kowalski et al. 2021, J Funct Morphol Kinesiol 6:70 (abstract)",
        "8 trained raters and two algorithms on simulated signals: 15 to 30 ms off even at 40 dB, 50 to 80 by 10 dB; "
        "eyes better at 5 dB, equal to a double threshold from 20 dB",
        "another simulator, another definition of the level; people",
    ),
    (
        "Staude et al. 2001, EURASIP J Adv Signal Process 2001:67-81 (abstract; tables not read)",
        "thresholds depend on level, rise and background, statistical methods less",
        "modulated Gaussian noise; level from variances with the noise in it (from memory)",
    ),
    (
        "Bonato et al. 1998, IEEE Trans Biomed Eng 45:287-299 (abstract)",
        "double threshold: bias below 10 ms, SD below 15 ms, in most practical situations",
        "their signals step; here rises of 10 to 300 ms",
    ),
    (
        "Selvan et al. 2018, IEEE Trans Neural Syst Rehabil Eng 26:1279-1291 (abstract)",
        "profile likelihood, Laplace, Teager-Kaiser energy: median error 9 ms simulated, 21 ms on real signals",
        "truth on real signals is the eye there, the splice here",
    ),
)


def number(value: Any) -> str:
    if isinstance(value, float):
        if math.isnan(value):
            return "–"
        return "∞" if math.isinf(value) else f"{value:.1f}"
    return str(value)


def table(head: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join([*lines, *("| " + " | ".join(number(value) for value in row) + " |" for row in rows)]) + "\n"


def markdown(
    cells: Sequence[Row],
    troubles: Sequence[Row],
    quiet: Sequence[Row],
    untrusted: Sequence[Row],
    figures: Sequence[Figure],
    facts: Row,
) -> str:
    parts = ["## How it was made\n", *(f"- {name}: {value}" for name, value in facts.items()), ""]
    parts += [
        "Times in ms; minus is too early. A missed onset counts as an infinite error. Bias is the median error.\n"
    ]
    if figures:
        rows = [
            (
                f.name,
                f.target,
                f.state,
                f"{f.met} of {f.cells}",
                f.met_outright,
                f.worst,
            )
            for f in figures
        ]
        parts += [
            "## Figures to reach\n",
            table(("figure", "target", "", "cells", "by the bare share", "furthest"), rows),
        ]
        parts += [
            "Every cell counts, troubles included. Shares are judged with their 95 % binomial interval; beside that, "
            "how many cells meet the bare target.\n"
        ]
    methods = list(dict.fromkeys(row["method"] for row in cells))
    for kind in dict.fromkeys(row["kind"] for row in cells):
        mine = [row for row in cells if row["kind"] == kind]
        parts += [f"## {kind.capitalize()}: median |error|, and bias in brackets\n"]
        parts += [table(("SNR dB", "rise", *methods), _side_by_side(mine, methods))]
        parts += [f"## {kind.capitalize()}: the default method in full\n"]
        detail = [(r["snr_db"], r["rise_ms"], *(r[n] for n, _ in DETAIL)) for r in mine if r["method"] == "ramp"]
        parts += [table(("SNR dB", "rise", *(words for _, words in DETAIL)), detail)]
    if troubles:
        names = list(dict.fromkeys(row["trouble"] for row in troubles))
        med = {(row["trouble"], row["method"]): row["median_ms"] for row in troubles}
        parts += ["## Troubles over a burst of 15 dB and 50 ms rise: median |error|\n"]
        parts += [table(("trouble", *methods), [(name, *(med[name, m] for m in methods)) for name in names])]
        detail = [(r["trouble"], *(r[n] for n, _ in DETAIL)) for r in troubles if r["method"] == "ramp"]
        parts += [table(("trouble", *(words for _, words in DETAIL)), detail)]
    if quiet:
        tried = list(dict.fromkeys(row["method"] for row in quiet))
        share = {
            (r["rest"], r["method"]): f"{r['false']:.1f} ({r['false_low']:.1f}–{r['false_high']:.1f})" for r in quiet
        }
        parts += ["## False onsets on trials without activity, % (95 % interval)\n"]
        rests = list(dict.fromkeys(row["rest"] for row in quiet))
        parts += [table(("rest", *tried), [(rest, *(share[rest, m] for m in tried)) for rest in rests])]
    if untrusted:
        parts += [
            "## Rests that cannot be trusted, and what the default says of them, %\n\n"
            "Wrong: an onset more than 50 ms off, or without a burst; or a burst neither found nor a word said. "
            "No answer: `present` is missing.\n"
        ]
        fields = ("due_word", "other_word", "found", "no_answer", "wrong", "median_ms")
        said = [(r["rest"], _burst(r["snr_db"]), r["due"] or "(none)", *(r[n] for n in fields)) for r in untrusted]
        head = (
            "rest",
            "burst",
            "word due",
            "said",
            "another",
            "onsets found",
            "no answer",
            "wrong",
            "median error, ms",
        )
        parts += [table(head, said)]
    return "\n".join([*parts, "## Published figures beside these\n", table(("source", "found", "differs"), ANCHORS)])


def _burst(snr_db: float) -> str:
    return "none" if math.isinf(snr_db) else f"{snr_db:g} dB"


def _side_by_side(rows: Sequence[Row], methods: Sequence[str]) -> list[tuple[Any, ...]]:
    at = {(r["snr_db"], r["rise_ms"], r["method"]): f"{number(r['median_ms'])} ({number(r['bias_ms'])})" for r in rows}
    places = dict.fromkeys((r["snr_db"], r["rise_ms"]) for r in rows)
    return [(*place, *(at[(*place, method)] for method in methods)) for place in places]


def tsv(rows: Sequence[Row]) -> str:
    if not rows:
        return ""
    lines = ["\t".join(rows[0])]
    for row in rows:
        lines.append(
            "\t".join("n/a" if v != v else f"{v:.6g}" if isinstance(v, float) else str(v) for v in row.values())
        )
    return "\n".join(lines) + "\n"
