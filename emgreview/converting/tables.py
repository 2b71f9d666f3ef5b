"""The texts beside a converted recording: channels.tsv, events.tsv, emg.json, and what describes their columns.

events_of(rec, rules)       rows of events.tsv, and how each of its columns is described
channel_table(...)          channels.tsv with its description
sidecar(...)                emg.json
participant_table(...)      participants.tsv with its description
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from emgreview.cells import tab_separated
from emgreview.converting.origins import Origin
from emgreview.converting.rules import FREE, Rules, age, masked_values
from emgreview.converting.signals import WrittenFile
from emgreview.errors import ParameterError
from emgreview.model import Marker, Recording, to_sample
from emgreview.reading.stated import MISSING, SAMPLE, SAMPLES, SOURCE, SOURCES

ASKED = {
    "EMGPlacementScheme": "'Measured', 'ChannelSpecific' or 'Other'",
    "EMGReference": "a text: where the reference is, or 'bipolar'",
}
"""What BIDS requires in every emg.json and only a person can say."""

_SCHEMES = ("Measured", "ChannelSpecific", "Other")
_COUNTS = {"EMG": "EMGChannelCount", "ECG": "ECGChannelCount", "EOG": "EOGChannelCount", "MISC": "MISCChannelCount",
           "TRIG": "TriggerChannelCount"}  # fmt: skip
_TYPES = frozenset(("EMG", "ECG", "EOG", "HEOG", "VEOG", "TRIG", "MISC", "REF", "LATENCY", "SYSCLOCK"))
"""Types that BIDS has of channels recorded with EMG."""

_KEPT_COLUMNS = (
    "signal_electrode", "reference", "group", "placement_scheme", "placement_description", "interelectrode_distance",
    "description",
)  # fmt: skip
"""Columns of a source's channels.tsv that this package reads no further, and that go with the recording."""


NAMELESS = "event"
"""What a reader calls an event without a label."""


def told_label(text: str) -> str:
    """A marker's label as a cell holds it and a reader finds it: one blank between words, and a name where none is."""
    plain = " ".join(text.split())
    return NAMELESS if plain in ("", "n/a") else plain


def events_of(
    rec: Recording, rules: Rules, origin: Origin, labels: Sequence[str]
) -> tuple[list[str], list[list[str]], dict[str, Any]]:
    """Columns and rows of events.tsv, in the order of the markers, and what describes the columns; ``labels`` are the
    new ones of the channels, which are sources of markers too."""
    renamed = {f"channel {old}": f"channel {new}" for old, new in zip(rec.labels, labels, strict=True)}
    often = Counter(marker.label for marker in rec.markers)
    names = dict.fromkeys(name for marker in rec.markers for name in marker.details)
    kept: dict[str, str] = {}
    described: dict[str, Any] = {
        "trial_type": {"Description": "What happened"},
        SAMPLE: {"Description": "Number of the sample of the EMG at the onset, counted from 0"},
        SOURCE: {"Description": "Where the event was found: given, events (a table), annotations, channel <label>"},
    }
    for name in names:
        values = [marker.details[name] for marker in rec.markers if name in marker.details]
        if _says_again(name, rec.markers) or rules.column(name, values):
            continue
        new = re.sub(r"\s+", "_", name.strip()) or "column"
        new = f"{new}_stated" if new in (*described, "onset", "duration") else new
        kept[name] = new
        described[new] = _described(origin.columns.get(name), map(rules.masked, values), rules)
    if (about := origin.columns.get("trial_type")) is not None:
        described["trial_type"] = _described(about, (rules.label(one, n) for one, n in often.items()), rules)
    rows = []
    for marker in rec.markers:
        cells = [
            onset(marker.sample, rec.rate_hz),
            "n/a" if marker.duration_s is None else repr(float(marker.duration_s)),
        ]
        source = renamed.get(marker.source, marker.source)
        source = source if SOURCES.fullmatch(source) else "events"
        cells += [told_label(rules.label(marker.label, often[marker.label])), str(marker.sample), rules.masked(source)]
        cells += [rules.masked(marker.details.get(name, "n/a")) for name in kept]
        rows.append(cells)
    return ["onset", "duration", "trial_type", SAMPLE, SOURCE, *kept.values()], rows, described


def columns_removed(rec: Recording, rules: Rules) -> dict[str, str]:
    """By column of the cues that is removed for its words, not for its name: why."""
    found = {}
    for name in dict.fromkeys(name for marker in rec.markers for name in marker.details):
        values = [marker.details[name] for marker in rec.markers if name in marker.details]
        if rules.column(name, values) == FREE and not _says_again(name, rec.markers):
            found[name] = f"it may be free text: {rules.seldom(values)}"
    return found


def _described(about: object, values: Iterable[str], rules: Rules) -> dict[str, Any]:
    """What a source says of a column, masked; levels are those that are met, each described."""
    if not isinstance(about, Mapping):
        return {"Description": "As in the source"}
    told = {str(name): masked_values(part, rules) for name, part in about.items()}
    levels = about.get("Levels")
    if isinstance(levels, Mapping):
        own = {rules.masked(str(name)): masked_values(text, rules) for name, text in levels.items()}
        told["Levels"] = own | {value: "not described" for value in values if value not in own and value != "n/a"}
    return told


def _says_again(name: str, markers: Sequence[Marker]) -> bool:
    """Whether a column only repeats what the new table has anyway."""
    if name == "trial_type":
        return all(one.details.get(name, one.label) == one.label for one in markers)
    if name == SAMPLE:
        return all(re.fullmatch(r"\d+", one.details.get(name, "0")) for one in markers) and all(
            name not in one.details or int(one.details[name]) == one.sample for one in markers
        )
    return False


def onset(sample: int, rate_hz: float) -> str:
    """Seconds of a sample, with as many decimals as bring a reader back to it."""
    for decimals in range(4, 13):
        text = f"{sample / rate_hz:.{decimals}f}"
        if to_sample(float(text), rate_hz) == sample and abs(float(text) * rate_hz - sample) < 0.01:
            return text
    return f"{sample / rate_hz!r}"


def channel_table(rec: Recording, written: WrittenFile, rules: Rules, origin: Origin) -> tuple[str, dict[str, Any]]:
    """channels.tsv, and what describes the columns that BIDS does not know."""
    own = [name for name in _KEPT_COLUMNS if any(row.get(name, "n/a") != "n/a" for row in origin.rows.values())]
    names = ["name", "type", "units", *own, "target_muscle", "sampling_frequency", "low_cutoff", "high_cutoff"]
    names += ["status", "status_description", "largest_error"]
    rows = []
    for channel, one in zip(rec.channels, written.channels, strict=True):
        was = origin.rows.get(channel.label, {})
        why = channel.status_description
        if why and rules.scrub and "status_description" not in rules.keep:
            why = ""
        rows.append(
            [
                one.label,
                kind_of(channel.kind),
                channel.unit,
                *(rules.masked(was.get(name, "n/a")) for name in own),
                rules.masked(channel.over),
                f"{one.rate_hz:.12g}",
                "n/a" if channel.low_cutoff_hz is None else f"{channel.low_cutoff_hz:g}",
                "n/a" if channel.high_cutoff_hz is None else f"{channel.high_cutoff_hz:g}",
                channel.status,
                why,
                f"{one.largest_error:.3g}",
            ]
        )
    described = {
        "largest_error": {
            "Description": "Largest difference between a sample here and in the source, in the unit of the channel; 0 "
            "where they are the same to 12 digits"
        }
    }
    return tab_separated(names, rows), described


def kind_of(kind: str) -> str:
    """The type that channels.tsv states: that of the channel, or MISC where BIDS has none such beside EMG."""
    return kind if kind in _TYPES else "MISC"


def said_of(origins: Iterable[Origin], said: Mapping[str, object] | None) -> dict[str, object]:
    """What the caller says of every recording, checked; what BIDS requires and nobody said is asked for by name."""
    if said is not None and not isinstance(said, Mapping):
        raise ParameterError(
            f"said came as a {type(said).__name__}; allowed: a mapping of fields of emg.json to values; give "
            "said={'EMGReference': 'bipolar'}."
        )
    given = dict(said or {})
    lacking = [key for key in ASKED if key not in given and not all(key in one.metadata for one in origins)]
    if lacking:
        words = "; ".join(f"{key} ({ASKED[key]})" for key in lacking)
        raise ParameterError(
            f"said does not give {words}; BIDS requires it of EMG, and no file says it; give "
            f"said={{'{lacking[0]}': …}}."
        )
    scheme = given.get("EMGPlacementScheme")
    if scheme is not None and scheme not in _SCHEMES:
        raise ParameterError(
            f"EMGPlacementScheme came as {scheme!r}; allowed: {ASKED['EMGPlacementScheme']}; correct it in said."
        )
    if scheme == "Other" and not given.get("EMGPlacementSchemeDescription"):
        raise ParameterError(
            "EMGPlacementScheme came as 'Other' without EMGPlacementSchemeDescription; BIDS requires a text that says "
            "how the electrodes were placed; add it to said."
        )
    return given


def sidecar(
    rec: Recording,
    entities: Mapping[str, str],
    written: WrittenFile,
    rules: Rules,
    origin: Origin,
    said: Mapping[str, object],
) -> dict[str, object]:
    """emg.json: what was stated of the source and may be kept, what the caller says, and what the file itself says."""
    content: dict[str, object] = {"TaskName": entities["task"]}
    stale = {SAMPLES, MISSING, *_COUNTS.values()}
    for key, value in origin.metadata.items():
        if rules.field(key) and key not in stale:
            content[key] = masked_values(value, rules)
    if re.sub(r"[^A-Za-z0-9]", "", str(content["TaskName"])) != entities["task"]:
        content["TaskName"] = entities["task"]
    content |= said
    content |= {
        "SamplingFrequency": rec.rate_hz,
        "PowerLineFrequency": "n/a" if rec.mains_hz is None else rec.mains_hz,
        "RecordingType": "continuous",
        "RecordingDuration": rec.duration_s,
    }
    content.setdefault("SoftwareFilters", "n/a")
    if "PowerLineFrequency" in said:
        content["PowerLineFrequency"] = said["PowerLineFrequency"]
    kinds = Counter(channel.kind for channel in rec.channels)
    content |= {key: kinds[kind] for kind, key in _COUNTS.items() if kinds[kind]}
    codes = {one.label: one.code for one in written.channels if one.code is not None}
    if written.filled or written.header_hz != rec.rate_hz or codes:
        content[SAMPLES] = rec.n_samples
    if codes:
        content[MISSING] = codes
    return content


def participant_table(
    subs: Mapping[str, str], rows: Sequence[Mapping[str, str]], about: Mapping[str, object], rules: Rules
) -> tuple[str, dict[str, object], dict[str, str]]:
    """participants.tsv with one row for each new code, what describes its columns, and why other columns are not kept.

    ``subs`` are the new codes, with the old ones, both with ``sub-``.
    """
    by_old = {row.get("participant_id", ""): row for row in rows}
    names = [name for name in dict.fromkeys(name for row in rows for name in row) if name != "participant_id"]
    removed = {
        name: why for name in names if (why := rules.column(name, [row.get(name, "n/a") for row in rows], people=True))
    }
    kept = [name for name in names if name not in removed]
    made = []
    for new, old in sorted(subs.items()):
        row = by_old.get(old, {})
        cells = [rules.masked(row.get(name, "n/a")) for name in kept]
        cells = [age(cell) if rules.scrub and name == "age" else cell for name, cell in zip(kept, cells, strict=True)]
        made.append([new, *cells])
    described: dict[str, object] = {
        "participant_id": {"Description": "Code of the participant"},
        **{
            name: _described(about.get(name), [row[place] for row in made], rules)
            for place, name in enumerate(kept, start=1)
        },
    }
    return tab_separated(["participant_id", *kept], made), described, removed
