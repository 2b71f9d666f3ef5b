"""Events and annotations to markers: what lies outside the recording is left out and told, the rest is put in order.

Times are seconds from the first sample. BIDS allows onsets before 0 and wants no order of the rows, and its validator
only warns of onsets after the end: none of them costs a recording. What is no time at all is an error.

    events_as_markers(path, ...)        events.tsv as markers, and sentences on what is none
    placed(found, ...)                  moments as markers, and sentences on those outside
    told_twice(markers, events, ...)    a sentence where the file and events.tsv tell the same moments
"""

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path

from emgreview.errors import FormatError, MarkerError
from emgreview.model import Marker, to_sample
from emgreview.reading.bids import read_table
from emgreview.reading.stated import SAMPLE, SOURCE, told_source

LABEL_COLUMNS = ("trial_type", "event_type", "event", "name", "value")
"""Columns of events.tsv that name an event, first come first served; a row that has none of them is called "event"."""

Moment = tuple[float, str, float | None, Mapping[str, str]]
"""Seconds from the first sample, label, duration in seconds or None, further columns. Where SOURCE is among these, it
is the marker's source."""


def events_as_markers(path: Path, rate_hz: float, n_samples: int) -> tuple[list[Marker], list[str]]:
    """Rows of events.tsv as markers of source "events", in order of time; and sentences on rows that are none.

    The label is the first of LABEL_COLUMNS that the row has; every column but onset and duration is kept in ``details``
    as text, ``n/a`` left out. A row without an onset (``n/a``) is no marker. Raises MarkerError, naming row and line,
    for an onset that is no number and for a negative duration, which BIDS forbids; FormatError where the table itself
    is malformed.
    """
    rows = read_table(path)
    if rows and "onset" not in rows[0]:
        raise FormatError(
            f"{path.name} has no column 'onset', only {', '.join(rows[0])}; every event needs its onset in seconds "
            "from the first sample; name the column so, or remove the table."
        )
    moments: list[Moment] = []
    lines: list[int] = []
    timeless: list[int] = []
    nameless: list[int] = []
    elsewhere: list[tuple[int, float, str]] = []
    for row, cells in enumerate(rows, start=1):
        where = f"{path.name}: row {row} (line {row + 1})"
        onset_s, duration_s = (_seconds(where, cells, column) for column in ("onset", "duration"))
        if onset_s is None:
            timeless.append(row)
            continue
        if duration_s is not None and duration_s < 0:
            raise MarkerError(f"{where} has a duration of {duration_s:g} s; allowed: 0 and more, or n/a; correct it.")
        details = {name: text for name, text in cells.items() if name not in ("onset", "duration") and text != "n/a"}
        label = next((details[name] for name in LABEL_COLUMNS if details.get(name)), "")
        if not label:
            nameless.append(row)
            label = "event"
        stated = details.get("sample", "")
        if re.fullmatch(r"\d+(\.0*)?", stated) and abs(float(stated) - onset_s * rate_hz) > 1.5:  # counted from 1, too
            elsewhere.append((row, onset_s, stated))
        moments.append((onset_s, label, duration_s, details))
        lines.append(row)
    notes = []
    if timeless:
        few = ", ".join(map(str, timeless[:6])) + (" …" if len(timeless) > 6 else "")
        notes.append(f"{path.name}: {_counted(len(timeless), 'row has', 'rows have')} no onset, no marker: row {few}.")
    if nameless and any(name in rows[0] for name in LABEL_COLUMNS):  # else no event has a name, as the table shows
        few = ", ".join(map(str, nameless[:6])) + (" …" if len(nameless) > 6 else "")
        notes.append(
            f"{path.name}: {_counted(len(nameless), 'row says', 'rows say')} nothing in {', '.join(LABEL_COLUMNS)}, "
            f"and {'is' if len(nameless) == 1 else 'are'} called 'event': row {few}."
        )
    if elsewhere:
        row, onset_s, stated = elsewhere[0]
        notes.append(
            f"{path.name}: of {_counted(len(elsewhere), 'row', 'rows')} the sample is not the onset, of row {row} for "
            f"one: {onset_s:g} s is sample {onset_s * rate_hz:g} at {rate_hz:g} Hz, and {stated} is stated; onsets "
            "were taken; see which is right."
        )
    back = [place for place, (one, other) in enumerate(pairwise(moments), start=1) if other[0] < one[0]]
    if back:
        row, times = lines[back[0]], f"{moments[back[0]][0]:g} s after {moments[back[0] - 1][0]:g} s"
        notes.append(
            f"{path.name}: {_counted(len(back), 'row is', 'rows are')} out of order of time, the first of them row "
            f"{row} (line {row + 1}, {times}); the events were sorted: see that no clock jumped."
        )
    markers, outside = placed(moments, path.name, "events", rate_hz, n_samples)
    return markers, notes + outside


def placed(
    found: Sequence[Moment], where: str, source: str, rate_hz: float, n_samples: int
) -> tuple[list[Marker], list[str]]:
    """Moments as markers of a source, in order of time; and a sentence on those before the first sample, and on those
    after the last."""
    markers: list[Marker] = []
    before: list[Moment] = []
    after: list[Moment] = []
    for moment in sorted(found, key=lambda moment: moment[0]):
        seconds, label, duration_s, details = moment
        sample = to_sample(seconds, rate_hz)
        if 0 <= sample < n_samples:
            own = told_source(details, source)
            kept = details if SOURCE not in details else {k: v for k, v in details.items() if k not in (SOURCE, SAMPLE)}
            markers.append(Marker(sample, label, own, duration_s, kept))
        else:
            (before if sample < 0 else after).append(moment)
    notes = []
    none_left = "; all onsets are outside: see that they are seconds from the first sample" if not markers else ""
    for moments, side in ((before, "before its first sample"), (after, "at or after its end")):
        if len(moments) == 1:
            seconds, label, *_ = moments[0]
            subject = f"{label!r} at {seconds:g} s lies outside the recording"
            notes.append(f"{where}: {subject} (0 to {n_samples / rate_hz:g} s), {side}, and is no marker{none_left}.")
        elif moments:
            labels = Counter(label for _, label, *_ in moments)
            few = ", ".join(f"{label!r} {n}" for label, n in labels.most_common(6))
            more = f" and {len(labels) - 6} other labels" if len(labels) > 6 else ""
            notes.append(
                f"{where}: {len(moments)} of {len(found)} lie outside the recording (0 to {n_samples / rate_hz:g} s), "
                f"{side}, from {moments[0][0]:g} to {moments[-1][0]:g} s, and are no markers: {few}{more}{none_left}."
            )
    return markers, notes


TWICE_S = 0.02
"""Two sources that tell one moment differ by rounding and a clock's reading alone (our own choice, no source)."""


def told_twice(markers: Sequence[Marker], events: Sequence[Marker], source: str, rate_hz: float) -> list[str]:
    """A sentence on labels that ``markers`` and ``events`` share, at moments that are the same: every trial around them
    would be there twice."""
    places: dict[str, list[int]] = {}
    for marker in events:
        places.setdefault(marker.label, []).append(marker.sample)
    twice = Counter(
        one.label
        for one in markers
        if any(abs(one.sample - other) <= TWICE_S * rate_hz for other in places.get(one.label, ()))
    )
    if not twice:
        return []
    words = ", ".join(f"{label!r} {n}" for label, n in twice.most_common(6))
    return [
        f"{source.capitalize()} and events.tsv tell the same moments ({words}), and each would be a trial twice; keep "
        "one of them: rec.with_markers([one for one in rec.markers if one.source == 'events'])."
    ]


def _counted(n: int, one: str, more: str) -> str:
    return f"{n} {one if n == 1 else more}"


def _seconds(where: str, cells: Mapping[str, str], column: str) -> float | None:
    text = cells.get(column, "n/a")
    if text == "n/a":
        return None
    number = re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text) is not None
    if not number or not math.isfinite(float(text)):
        raise MarkerError(
            f"{where} has the {column} {text!r}; allowed: seconds with a decimal point, or n/a; correct it."
        )
    return float(text)
