"""What was contracted when: stretches of recordings in which a person did as told, from wherever somebody said it.

    Asked           one of them
    asked_of        those of some recordings, and sentences on what was passed over
    read_asked      a table of them from a tab-separated file
    gaps            rest between them, where nobody said when the person rested
    KINDS           test movement, quiet movement, rest, maximal effort

They come from markers that name them ("test FCR", or the columns contraction and target of events.tsv), from markers
whose meaning is given, from a table, or from bursts that a person marked in the long view (``session.marked``). A
target is the label of a channel; one that no channel has is a muscle that was contracted and not recorded. Samples are
counted from the first of their recording, ``stop`` is past the last.
"""

import difflib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import MarkerError, ParameterError, UnknownNameError
from emgreview.model import Marker, Recording, to_sample
from emgreview.muscles.matching import match_muscles
from emgreview.reading.bids import read_table
from emgreview.reading.settled import listed

KINDS = ("test", "quiet", "rest", "maximal")

COLUMNS = ("recording", "target", "start_s", "stop_s")
"""Columns that a table must have; "kind" may be there, and is "test" without."""

SHORTEST_S = 0.5
"""A contraction or rest that is shorter is passed over, and told (our own choice, no source)."""

GAP_S, GAP_NEAR_S = 1.0, 0.5
"""Rest that nobody named: gaps of so much and more, so far from every contraction (our own choice, no source)."""

GIVEN = (
    "None for markers that name them, {marker label: target or (kind, target)}, a table with the columns "
    f"{', '.join(COLUMNS)}, or session.marked"
)


class Asked(NamedTuple):
    """A stretch of the recording at ``place`` of those given."""

    place: int
    kind: str
    target: str
    start: int
    stop: int


def asked_of(
    recs: Sequence[Recording], contractions: Any = None, *, lasting_s: float | None = None
) -> tuple[list[Asked], list[str]]:
    """Contractions and rests of some recordings in order of time, and sentences on what was passed over.

    Raises MarkerError (none are there, or a marker lasts nobody knows how long), ParameterError, UnknownNameError.
    """
    if lasting_s is not None:
        lasting_s = checks.number("lasting_s", lasting_s, above=0, unit="s")
        checks.likely_unit("lasting_s", lasting_s)
    if contractions is None or isinstance(contractions, Mapping):
        named = None if contractions is None else _named(contractions, recs)
        found = [one for place, rec in enumerate(recs) for one in _of_markers(place, rec, named, lasting_s)]
    else:
        found = _of_rows(recs, contractions)
    notes = []
    short = [one for one in found if (one.stop - one.start) / recs[one.place].rate_hz < SHORTEST_S]
    if short:
        told = listed([f"{one.kind} {one.target}".strip() for one in short])
        notes.append(f"{len(short)} contractions or rests shorter than {SHORTEST_S:g} s are passed over: {told}.")
    kept = sorted(set(found) - set(short), key=lambda one: (one.place, one.start, one.stop))
    if not any(one.kind != "rest" for one in kept):
        labels = sorted({marker.label for rec in recs for marker in rec.markers})
        raise MarkerError(
            f"no contraction was found in {listed([rec.name for rec in recs])} (markers there: "
            f"{listed(labels, 8) or 'none'}); allowed: {GIVEN}; markers that name them are called 'test FCR', 'quiet "
            "FCR', 'rest' or 'maximal FCR', with a duration."
        )
    known = {label for rec in recs for label in rec.emg_labels}
    for target in dict.fromkeys(one.target for one in kept if one.kind != "rest" and one.target not in known):
        close = difflib.get_close_matches(target.casefold(), [label.casefold() for label in known], n=1)
        alike = [label for label in known if close and label.casefold() == close[0]] or _over_the_same(target, known)
        ask = f" Did you mean {alike[0]!r}? Then name it so." if alike else ""
        notes.append(
            f"No channel is called {target!r}: its contraction counts as that of a muscle that was not recorded.{ask}"
        )
    return kept, notes


def _over_the_same(target: str, labels: Iterable[str]) -> list[str]:
    """Labels that mean the muscle which a target names: of "biceps" the channel BB."""
    (key,) = (one.key for one in match_muscles([target]))
    return [one.label for one in match_muscles(sorted(labels)) if key and one.key == key]


def read_asked(path: str | Path) -> list[dict[str, str]]:
    """Rows of a tab-separated table with the columns of COLUMNS, and kind where it is there. Raises ReadError."""
    return [dict(row) for row in read_table(Path(path))]


def gaps(rec: Recording, asked: Iterable[Asked]) -> list[tuple[int, int]]:
    """Stretches of a recording between contractions, at least GAP_S long and GAP_NEAR_S from each."""
    near, shortest = to_sample(GAP_NEAR_S, rec.rate_hz), to_sample(GAP_S, rec.rate_hz)
    out, at = [], 0
    for one in sorted(asked, key=lambda one: one.start):
        if one.start - near - at >= shortest:
            out.append((at, one.start - near))
        at = max(at, one.stop + near)
    return [*out, (at, rec.n_samples)] if rec.n_samples - at >= shortest else out


def _named(given: Mapping[Any, Any], recs: Sequence[Recording]) -> dict[str, tuple[str, str]]:
    """Kind and target by the label of a marker."""
    labels = sorted({marker.label for rec in recs for marker in rec.markers})
    out = {}
    for label, meaning in given.items():
        if label not in labels:
            raise UnknownNameError("marker", label, labels)
        pair = ("rest", "") if meaning == "rest" else ("test", meaning) if isinstance(meaning, str) else meaning
        good = isinstance(pair, Sequence) and len(pair) == 2 and all(isinstance(part, str) for part in pair)
        demand(good, f"contractions[{label!r}]", meaning, "a target, 'rest', or (kind, target)")
        out[str(label)] = (_kind(pair[0]), pair[1])
    return out


def _of_markers(
    place: int, rec: Recording, named: Mapping[str, tuple[str, str]] | None, lasting_s: float | None
) -> Iterable[Asked]:
    for marker in rec.markers:
        pair = _meant(marker) if named is None else named.get(marker.label)
        if pair is None:
            continue
        duration_s = marker.duration_s or lasting_s
        if duration_s is None:
            raise MarkerError(
                f"marker {marker.label!r} at {marker.sample / rec.rate_hz:.3f} s of recording {rec.name!r} does not "
                "say how long it lasts; allowed: markers with a duration, or one length for all; give lasting_s=3.0, "
                "as the person was told."
            )
        stop = min(marker.sample + to_sample(duration_s, rec.rate_hz), rec.n_samples)
        yield Asked(place, *pair, marker.sample, stop)


def _meant(marker: Marker) -> tuple[str, str] | None:
    """Kind and target that a marker names by its details or its label; None of any other marker."""
    kind = marker.details.get("contraction", "").strip().casefold()
    target = marker.details.get("target", "").strip()
    if kind in KINDS and (kind == "rest" or target not in ("", "n/a")):
        return kind, "" if kind == "rest" else target
    first, _, rest = marker.label.strip().partition(" ")
    kind = first.casefold()
    if kind == "rest" and not rest.strip():
        return "rest", ""
    return (kind, rest.strip()) if kind in KINDS and kind != "rest" and rest.strip() else None


def _of_rows(recs: Sequence[Recording], given: Any) -> list[Asked]:
    """Contractions of a table, of a list of rows, or of bursts that were marked."""
    if isinstance(given, pd.DataFrame):
        rows: list[Any] = given.to_dict("records")
    elif isinstance(given, Iterable) and not isinstance(given, str):
        rows = list(given)
    else:
        raise checks.refusal("contractions", type(given).__name__, GIVEN)
    places = {rec.name: place for place, rec in enumerate(recs)}
    out = []
    for row in rows:
        if not isinstance(row, Mapping) and not all(hasattr(row, name) for name in ("recording", "channel", "start")):
            raise ParameterError(f"contractions came with {checks.short(row)}; allowed: {GIVEN}; correct it.")
        name = row.get("recording") if isinstance(row, Mapping) else row.recording
        if not isinstance(name, str) or name not in places:
            continue  # one table may be of many recordings
        place = places[name]
        if isinstance(row, Mapping):
            out.append(_of_row(place, recs[place], row))
        else:  # marked by hand over the muscle that was contracted
            out.append(Asked(place, "test", str(row.channel), int(row.start), int(row.stop)))
    return out


def _of_row(place: int, rec: Recording, row: Mapping[Any, Any]) -> Asked:
    lacking = [name for name in COLUMNS if name not in row]
    demand(not lacking, "contractions", list(map(str, row)), f"the columns {', '.join(COLUMNS)}, and kind")
    said = row.get("kind", "test")
    kind = _kind("test" if said in ("", "n/a") or said is None or said != said else said)
    times = []
    for name in ("start_s", "stop_s"):
        try:
            times.append(float(row[name]))
        except (TypeError, ValueError):
            raise checks.refusal(name, row[name], "seconds from the first sample of the recording") from None
    start_s, stop_s = checks.span("start_s, stop_s", times)
    good = start_s >= 0 and to_sample(stop_s, rec.rate_hz) <= rec.n_samples
    demand(good, "start_s, stop_s", (start_s, stop_s), f"seconds inside {rec.name!r}, 0 to {rec.duration_s:g}")
    target = row["target"]
    target = "" if target is None or target != target or target == "n/a" else str(target).strip()
    demand(target or kind == "rest", "target", row["target"], "the muscle that was contracted, by its channel's label")
    return Asked(
        place, kind, "" if kind == "rest" else target, to_sample(start_s, rec.rate_hz), to_sample(stop_s, rec.rate_hz)
    )


def _kind(word: Any) -> str:
    kind = str(word).strip().casefold()
    demand(kind in KINDS, "kind", word, ", ".join(KINDS))
    return kind
