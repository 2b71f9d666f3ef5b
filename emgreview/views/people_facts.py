"""What the screen of people is told once, as JSON values: names, flags, the table, channels, and who is most unlike.

    COLUMNS         the columns of the screen's table: of the summary's, with a short head
    facts           everything but bytes
    overview        bytes: mean envelopes of everybody
    person_pack     bytes: one person's trials
    panel_pack      bytes: some trials of several people, of one channel

Conditions and groups are neither in a summary nor here.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from emgreview.model import FloatArray
from emgreview.people import pictures
from emgreview.people.person import WORDS, Person
from emgreview.people.recorded import BINS, GRID_HZ
from emgreview.people.rules import Flag, gravity
from emgreview.people.summary import Summary
from emgreview.people.table import COLUMNS as MEANINGS
from emgreview.views.packing import Traces

SINGLE = 20
"""So many single trials stand behind a mean in the small pictures."""


class Column(NamedTuple):
    """A column of the table on the screen: ``times`` what stands in the summary, with so many ``digits``."""

    name: str
    head: str
    unit: str = ""
    times: float = 1.0
    digits: int = 0


def _ms(name: str, head: str) -> Column:
    return Column(name, head, "ms", 1000.0)


def _per_cent(name: str, head: str) -> Column:
    return Column(name, head, "%", 100.0)


COLUMNS = (
    _per_cent("none_share", "none"),
    _ms("onset_median_s", "onset"),
    _ms("onset_spread_s", "± onset"),
    _ms("duration_median_s", "duration"),
    Column("level_median_db", "level", "dB", digits=1),
    Column("rest_median", "rest", "unit", digits=2),
    Column("rest_drift", "drift", "×", digits=2),
    Column("frequency_median_hz", "frequency", "Hz"),
    _ms("motor_time_median_s", "to response"),
    _per_cent("after_response_share", "after it"),
    _per_cent("above_rest_share", "takes part"),
    Column("cues", "cues"),
    Column("cues_expected", "expected"),
    _per_cent("unusable_share", "unusable"),
    _per_cent("caution_share", "caution"),
    _per_cent("unreviewed_share", "unreviewed"),
    _per_cent("moved_share", "moved"),
    _ms("offset_median_s", "offset"),
    _ms("duration_spread_s", "± duration"),
    Column("size_median", "size", "unit", digits=1),
    Column("slope_median", "slope", "unit/s"),
    Column("largest_alike", "most alike", digits=2),
    Column("floor_db", "floor", "dB", digits=1),
    Column("agreement", "agreement", digits=2),
    _per_cent("agreement_within_20_ms", "within 20 ms"),
    Column("findings", "check found"),
    Column("kept_out", "kept out"),
)


def facts(found: Summary) -> dict[str, Any]:
    """Everything that the screen is told once."""
    people, group = found.people, pictures.Group(found.people)
    labels = list(group.labels)
    places = {(one.participant, one.session): at for at, one in enumerate(people)}
    rows = {(row["participant"], row["session"], row["channel"]): row for row in found.table.to_dict("records")}
    columns = [
        one for one in COLUMNS if any(_cell(row.get(one.name, ""), one) not in ("", None) for row in rows.values())
    ]
    return {
        "cue": found.cue,
        "marks": found.marks,
        "labels": labels,
        "bins": BINS,
        "span_s": list(people[0].span_s),
        "hz": GRID_HZ.tolist(),
        "columns": [{**column._asdict(), "words": MEANINGS[column.name][1]} for column in columns],
        "people": [_person(one, rows, labels, columns) for one in people],
        "flags": [_flag(one, places, people) for one in found.odd.flags if (one.participant, one.session) in places],
        "unlike": [_flag(one, places, people) for one in found.odd.unlike],
        "rules": list(found.rules),
        "notes": [
            *found.notes,
            *(one.reason for one in found.odd.flags if (one.participant, one.session) not in places),
            *(f"{name} is left out: {why}" for name, why in found.failed.items()),
        ],
        "channels": [_channel(group, label) for label in labels],
        "signals": list(WORDS),
        "chances": [100 * (1 - 2 * chance) for chance in pictures.CHANCES],
        "bright": pictures.BRIGHT,
    }


def unit_label(unit: str) -> str:
    """A unit as it is shown."""
    return "µV" if unit == "uV" else "arbitrary units" if unit == "arbitrary" else unit


def _flag(one: Flag, places: Mapping[tuple[str, str], int], people: Sequence[Person]) -> dict[str, Any]:
    at = places[one.participant, one.session]
    return {
        **{"person": at, "channel": one.channel, "code": one.code, "reason": one.reason, "kind": one.kind},
        **{"value": _number(one.value), "limit": _number(one.limit), "rank": gravity(one.code)},
        "trials": [people[at].ids.index(trial) for trial in one.trials if trial in people[at].ids],
    }


Rows = Mapping[tuple[str, str, str], Mapping[Any, Any]]


def _person(one: Person, rows: Rows, labels: Sequence[str], columns: Sequence[Column]) -> dict[str, Any]:
    cells: list[list[Any] | None] = []
    for label in labels:
        if label not in one.labels:
            cells.append(None)
            continue
        row = rows[one.participant, one.session, label]
        cells.append([_cell(row[column.name], column) for column in columns])
    return {
        "name": one.key,
        "n": len(one.ids),
        "unit": unit_label(one.unit),
        "runs": [rec.name for rec in one.recordings],
        "cells": cells,
    }


def _cell(value: Any, column: Column) -> Any:
    return value if isinstance(value, str) else _number(value * column.times)


def _number(value: Any) -> float | None:
    """A number as JSON has it, six digits of it; None where it is missing."""
    return float(f"{value:.6g}") if math.isfinite(value) else None


def _numbers(values: Any) -> list[Any]:
    return [_numbers(one) if isinstance(one, list) else _number(one) for one in np.asarray(values).tolist()]


def _channel(group: pictures.Group, label: str) -> dict[str, Any]:
    found = group.rates(label)
    return {
        "label": label,
        "unit": unit_label(group.unit(label)),
        "top": _number(group.full_scale(label)),
        "rest_band": _numbers(group.rest_band(label)),
        "spectra_band": _numbers(group.spectra_band(label).round(2)),
        "rates": {
            "none": found.none.tolist(),
            "n": found.n.tolist(),
            "rate": _number(found.rate),
            "places": found.places.tolist(),
            "limits": found.limits.tolist(),
        },
    }


def overview(found: Summary) -> bytes:
    """Mean envelopes of everybody, a trace a person: its channels one after the other, as many as it has."""
    traces = Traces()
    described = [traces.add(pictures.mean_envelope(one).ravel(), 0.0, labels=list(one.labels)) for one in found.people]
    return traces.bytes({"people": described})


def person_pack(people: Sequence[Person], wanted: Sequence[int], serial: int) -> bytes:
    """All trials of some people: traces by name, one channel after the other."""
    traces, heads = Traces(), []
    for at in wanted:
        one = people[at]
        parts: dict[str, FloatArray] = {
            name: getattr(one, f"{name}_s") for name in ("onset", "low", "high", "offset", "response")
        }
        parts |= {"level": one.level_db, "envelope": one.envelope, "alike": one.weighted("alike")}
        parts |= {"rest": _log10(one.rest), "spectra": pictures.spectra_db(one)}
        said = {
            "person": at,
            "labels": list(one.labels),
            "run": one.run.tolist(),
            "ids": [trial.removeprefix(one.recordings[run].name) for trial, run in zip(one.ids, one.run, strict=True)],
            "signal": one.signal.tolist(),
            "reviewed": one.reviewed.tolist(),
            "none": one.none.tolist(),
            "heat_limit": [_number(pictures.heat_limit(one, place)) for place in range(len(one.labels))],
        }
        heads.append({**said, "traces": {name: traces.add(x.ravel(), 0.0) for name, x in parts.items()}})
    return traces.bytes({"people": heads, "serial": serial})


def panel_pack(people: Sequence[Person], wanted: Sequence[int], label: str, row: int, serial: int) -> bytes:
    """Single trials of some people on one channel, spread over the session."""
    traces, heads = Traces(), []
    for at in wanted:
        one = people[at]
        if label in one.labels:
            some = one.envelope[one.place(label)][pictures.few_of(len(one.ids), SINGLE)]
            heads.append({"person": at, **traces.add(some.ravel(), 0.0)})
    return traces.bytes({"panels": heads, "row": row, "serial": serial})


def _log10(values: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(values > 0, np.log10(values), np.nan)
