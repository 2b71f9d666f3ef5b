"""Agreement in sentences, and results as plain JSON values.

lines                   an agreement in sentences
parts                   an agreement as short tables
show_share, show_ms     an estimate with its interval
plain                   any value as plain JSON
"""

import dataclasses
import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from emgreview.cohort.statistics import Estimate
from emgreview.showing import Sheet

if TYPE_CHECKING:
    from emgreview.cohort.agreement import Agreement, Times, Words


def lines(found: "Agreement") -> list[str]:
    """An agreement in sentences."""
    one, two = found.first, found.second
    among = "" if found.sampled is None else f" of the {found.sampled} trials drawn for a second review"
    said = [
        f"Agreement of {one} and {two}: {found.both} channel-trials in {found.trials} trials{among}, finished by both; "
        f"{found.not_second} more by {one} alone, {found.not_first} by {two} alone."
    ]
    if found.bulk_first or found.bulk_second:
        said.append(
            f"Accepted in bulk, so that nobody looked: {found.bulk_first} by {one}, {found.bulk_second} by {two}; "
            "these count as not finished."
        )
    if found.out_both or found.out_first or found.out_second:
        said.append(
            f"Kept out of every analysis, and of this comparison: {found.out_both} channel-trials by both, "
            f"{found.out_first} by {one} alone, {found.out_second} by {two} alone."
        )
    for part in (found.states, found.signals):
        said += _lines_of_words(part, one, two)
    for times in (found.onsets, found.offsets):
        said += _lines_of_times(times, one, two)
    said += _cue_words(found)
    own = ((one, found.own_first, found.own_first_judged), (two, found.own_second, found.own_second_judged))
    said += [_own_words(*of) for of in own]
    if any(part.left for part in (found.states, found.onsets, found.offsets)):
        said.append(
            "Of the two figures, that of all pairs flatters, for both reviewers saw the same proposal; the other is "
            "hard on them, for in each of its pairs somebody disagreed with the method. What two people find by "
            "themselves lies between; marks made while the automatic one was hidden from both tell it."
        )
    said.append(
        "Brackets hold 95 % intervals, which take channel-trials as independent. A high ICC alone says little: it "
        "rises with the spread of the trials."
    )
    said += found.notes
    return said


def parts(found: "Agreement") -> Iterator[Sheet | str]:
    """An agreement as two short tables: words and times, each also without the pairs that both left as they came."""
    said = lines(found)
    yield said[0]
    rows: list[tuple[str, ...]] = []
    for part in (found.states, found.signals):
        for name, of in _with_judged(part.what, part):
            rows.append((name, str(of.n), show_share(of.raw), _estimate(of.kappa), _number(of.ac1)))
    yield Sheet("In words", ("", "pairs", "same word", "kappa", "AC1"), rows)
    rows = []
    for times in (found.onsets, found.offsets):
        for name, each in _with_judged(times.what, times):
            limits = " to ".join(_number(1000 * end.value, 1) for end in (each.lower, each.upper))
            shares = [_percent(share.value) for share in each.within.values()]
            rows.append((name, str(each.n), show_ms(each.bias), limits, *shares, _estimate(each.icc)))
    columns = [f"within {ms:g} ms" for ms in found.onsets.within]
    yield Sheet(
        f"In time, {found.second} minus {found.first}",
        ("", "pairs", "bias", "limits of agreement (ms)", *columns, "ICC(2,1)"),
        rows,
    )
    yield "Brackets hold 95 % intervals, which take channel-trials as independent; str() says the rest in words."
    yield from _cue_words(found)
    yield from found.notes


def _cue_words(found: "Agreement") -> list[str]:
    """A sentence on cues that the two have at different places."""
    if not found.cues_apart:
        return []
    return [
        f"{found.cues_apart} of {found.both} channel-trials count from cues that {found.first} and {found.second} have "
        "at different places, as one of them or both corrected it: the ICC is of times from these, bias, limits and "
        "shares are of the marks alone; settle the cues first."
    ]


def _with_judged(what: str, part: Any) -> Iterator[tuple[str, Any]]:
    yield what, part
    if part.left and part.judged is not None:
        yield f"{what}, without the {part.left} both left as the method had it", part.judged


def _lines_of_words(part: "Words", one: str, two: str) -> Iterator[str]:
    what = part.what.capitalize()
    used = [f"{word} {_percent(share)}" for word, share in part.prevalence.items() if share > 0]
    yield f"{what}: {_word_figures(part, one, two)}; share of each word: {', '.join(used) or 'none'}."
    if part.judged is not None and part.left:
        yield (
            f"{what} without the {part.left} of {part.n} pairs that both left as the method had it: "
            f"{_word_figures(part.judged, one, two)} ({part.judged.n} pairs)."
            if part.judged.n
            else f"{what}: both left all {part.n} pairs as the method had it, so this says nothing of two people."
        )
    if part.rare:
        word, times = part.rare
        yield (
            f"{what}: {word!r} was said only {times} times by both together; kappa hangs on each of these, so read it "
            "with AC1 and the counts, or compare more trials."
        )


def _word_figures(part: "Words", one: str, two: str) -> str:
    return f"same word {show_share(part.raw)}; kappa {_kappa(part, one, two)}; AC1 {_number(part.ac1)}"


def _lines_of_times(times: "Times", one: str, two: str) -> Iterator[str]:
    what = times.what.capitalize()
    yield f"{what} ({two} minus {one}), {times.n} pairs: {_time_figures(times)}."
    if times.judged is not None and times.left:
        yield (
            f"{what} without the {times.left} pairs that both left where the method had put it, {times.judged.n} left: "
            f"{_time_figures(times.judged)}."
            if times.judged.n
            else f"{what}: both left all {times.n} pairs where the method had put them, so this says nothing of two "
            "people."
        )
    if times.only_first or times.only_second:
        within = ", ".join(f"{_percent(share.value)} within {ms:g} ms" for ms, share in times.within_all.items())
        yield (
            f"{what} marked by {one} alone {times.only_first}, by {two} alone "
            f"{times.only_second}; with these counted as apart: {within}."
        )


def _time_figures(times: "Times") -> str:
    lower, upper = show_ms(times.lower), show_ms(times.upper)
    within = "; ".join(f"within {ms:g} ms {show_share(share)}" for ms, share in times.within.items())
    return (
        f"bias {show_ms(times.bias)}; limits of agreement {lower} to {upper}; {within}; ICC(2,1) {_estimate(times.icc)}"
    )


def _own_words(who: str, own: Estimate | None, judged: Estimate | None) -> str:
    if own is None or judged is None:
        return f"Own SD of {who} is not known: no hidden repeats were planned, or no version was sealed since."
    words = f"Own SD of an onset of {who}, from {own.n} marks made twice: {show_ms(own)}"
    if judged.n < own.n:
        words += f"; without the {own.n - judged.n} left where the method had put them both times: {show_ms(judged)}"
    return f"{words}."


def _number(value: float, digits: int = 3) -> str:
    return "n/a" if math.isnan(value) else f"{round(value, digits) + 0.0:.{digits}f}"  # + 0.0: never "-0.000"


def _percent(value: float) -> str:
    return "n/a" if math.isnan(value) else f"{100 * value:.1f} %"


def _estimate(part: Estimate) -> str:
    return _number(part.value) + ("" if math.isnan(part.low) else f" [{_number(part.low)}, {_number(part.high)}]")


def _kappa(part: "Words", first: str, second: str) -> str:
    """Kappa, and where it has no interval, why."""
    counts = np.array(part.counts)
    said = {first: np.count_nonzero(counts.sum(axis=1)), second: np.count_nonzero(counts.sum(axis=0))}
    alone = [reviewer for reviewer, words in said.items() if words == 1]
    if not alone:
        return _estimate(part.kappa)
    if len(alone) == 1:
        return f"{_number(part.kappa.value)} (interval n/a: {alone[0]} used one word only, which makes it 0)"
    return f"{_number(part.kappa.value)} (each used one word only)"


def show_share(part: Estimate) -> str:
    """A share in per cent, with its interval."""
    return _percent(part.value) + ("" if math.isnan(part.low) else f" [{100 * part.low:.1f}, {100 * part.high:.1f}]")


def show_ms(part: Estimate) -> str:
    """Seconds as milliseconds, with their interval."""
    if math.isnan(part.value):
        return "n/a"
    value, low, high = (_number(1000 * end, 1) for end in (part.value, part.low, part.high))
    return f"{value} ms" + ("" if math.isnan(part.low) else f" [{low}, {high}]")


def plain(value: Any) -> Any:
    """Any value of this package as plain JSON; missing numbers are null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {f"{name:g}" if isinstance(name, float) else str(name): plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
