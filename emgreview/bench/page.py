"""The report as Markdown and as tab-separated text.

markdown     the whole report
tsv          rows as they are, full precision
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from emgreview.bench.plan import COMPARATORS
from emgreview.bench.verdicts import Figure
from emgreview.cells import guard

Row = Mapping[str, Any]

DETAIL = (
    *(("bias_ms", "bias"), ("sd_ms", "SD"), ("median_ms", "med"), ("p90_ms", "p90")),
    *(("within_10_ms", "≤10"), ("within_20_ms", "≤20"), ("within_50_ms", "≤50")),
    *(
        ("missed", "miss %"),
        ("early", "early %"),
        ("covered", "in 90 %"),
        ("width_ms", "width"),
        ("narrow", "side short %"),
    ),
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


def markdown(tables: Mapping[str, Sequence[Row]], figures: Sequence[Figure], facts: Row) -> str:
    cells, troubles, quiet, untrusted = (tables[name] for name in ("cells", "troubles", "quiet", "untrusted"))
    parts = ["## How it was made\n", *(f"- {name}: {value}" for name, value in facts.items()), ""]
    parts += [
        "Times in ms; minus is too early. A missed onset counts as an infinite error. Bias is the median error.\n"
    ]
    parts += _figures(figures) if figures else []
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
    for name, (what, key, words) in BESIDE.items():
        parts += _beside(tables.get(name, ()), what, key, words)
    parts += _filters(tables.get("filters", ()))
    return "\n".join([*parts, "## Published figures beside these\n", table(("source", "found", "differs"), ANCHORS)])


def _figures(figures: Sequence[Figure]) -> list[str]:
    head = ("figure", "target", "", "cells", "by the bare share", "fewest trials", "furthest")
    rows = [(f.name, f.target, f.state, f"{f.met} of {f.cells}", f.met_outright, f.fewest, f.worst) for f in figures]
    far = [f"- {f.name} ({f.target}): {'; '.join(f.missed)}." for f in figures if f.missed]
    return [
        "## Figures to reach\n",
        table(head, rows),
        "Every cell counts, troubles included; other sampling rates, shapes, others and filters in rows of their own. "
        "Shares are judged with their 95 % binomial interval; beside that, how many cells meet the bare target. The "
        f"two are {' and '.join(COMPARATORS)}, the rules in most common use (common practice, no source).\n",
        *(("### Cells that do not meet it, the furthest first\n", *far, "") if far else ()),
    ]


BESIDE = {
    "rates": (
        "Other sampling rates",
        ("kind", "rate_hz"),
        "Units below 1000 Hz were simulated at 1000 Hz, passed through a causal low-pass of 0.4 of the rate, as an "
        "amplifier has, and thinned out: its delay, which such a recording has too, counts as error. Real material was "
        "resampled before it was spliced; above 1000 Hz it holds nothing new.",
    ),
    "shapes": (
        "Shapes of rise told apart",
        ("shape",),
        "The SD of modulated noise rises as a line, half a cosine, 1 - exp(-3 u), or 3 u² - 2 u³ (smoothstep).",
    ),
    "others": (
        "Trials that do not share the method's assumptions",
        ("other",),
        "Motor units of other number, size and potentials; and bursts of simulated units on rests whose level over "
        "100 ms wanders by 1.5 dB (SD; 0.67 in the other simulated trials): by a slow gain, by single units that fire, "
        "or real rest from which no channel was left out because a method had fired.",
    ),
}


def _beside(rows: Sequence[Row], what: str, key: Sequence[str], words: str) -> list[str]:
    """One table: levels down, rises across."""
    mine = [row for row in rows if row["method"] == "ramp"]
    if not mine:
        return []
    rises = list(dict.fromkeys(row["rise_ms"] for row in mine))
    places = dict.fromkeys((*(row[k] for k in key), row["snr_db"]) for row in mine)
    at = {(*(row[k] for k in key), row["snr_db"], row["rise_ms"]): _three(row) for row in mine}
    head = [*(k.removesuffix("_hz").replace("_", " ") for k in key), "SNR dB", *(f"{rise} ms" for rise in rises)]
    body = [(*place, *(at.get((*place, rise), "") for rise in rises)) for place in places]
    body = [tuple(f"{v:g}" if isinstance(v, float) else v for v in row) for row in body]
    text = f"## {what}: median |error| (bias), share of intervals that hold the onset\n\n{words}\n"
    return [text, table(head, body)]


def _three(row: Row) -> str:
    return f"{number(row['median_ms'])} ({number(row['bias_ms'])}) {row['covered']:.0f} %"


def _filters(rows: Sequence[Row]) -> list[str]:
    if not rows:
        return []
    at = {(row["rate_hz"], row["snr_db"], row["filter"]): _three(row) for row in rows}
    names = list(dict.fromkeys(row["filter"] for row in rows))
    places = dict.fromkeys((row["rate_hz"], row["snr_db"]) for row in rows)
    body = [(f"{rate:g}", f"{db:g}", *(at[rate, db, name] for name in names)) for rate, db in places]
    text = (
        "## Sharp splices after three filters: median |error| (bias), share of intervals that hold the onset\n\n"
        "Real bursts that begin within 1 ms, the same trials three times: the benchmark's band-pass forward and "
        "backward, the same forward alone, whose delay counts as error, and the band-pass that this package applies "
        "unless told otherwise (second order, zero-phase; its corners count for both passes together).\n"
    )
    return [text, table(("Hz", "SNR dB", *names), body)]


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
            "\t".join("n/a" if v != v else f"{v:.6g}" if isinstance(v, float) else _text(v) for v in row.values())
        )
    return "\n".join(lines) + "\n"


def _text(value: object) -> str:
    return guard(value) if isinstance(value, str) else str(value)
