"""Trials cut anew from recordings that are given, as the logs say that they were cut and detected.

Nothing is taken on trust: a recording whose fingerprint or scale is not the one that was reviewed is refused, with what
differs.

    trials_of           the trials of some recordings and cues, as at a point of the logs
    method_begun    the onset method of a review that was begun
    cuts_of             what the log of a recording says of its cuts
    detection_of        how their onsets were detected
    searches_told       how cues were found in a channel, where only a table tells it
"""

import contextlib
import itertools
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from emgreview import tables
from emgreview.annotations import scales
from emgreview.annotations.log_positions import LogPosition, find_position
from emgreview.annotations.telling import beside_the_emg, scales_not_kept, sentences
from emgreview.checks import kind
from emgreview.detecting import METHOD, Detect, rebuilt
from emgreview.errors import EmgreviewError, LogError
from emgreview.many.cut import CutJob, known_by
from emgreview.model import Marker, Processing, Recording, Trials
from emgreview.reading import find_cues
from emgreview.reading.cues import as_cue_channel
from emgreview.reading.dataset import Dataset
from emgreview.reading.settled import listed
from emgreview.reading.study import open_data
from emgreview.running import Runner
from emgreview.signal.onset import METHODS

Data = Dataset | Recording | Iterable[Recording] | str | Path


def trials_of(
    point: LogPosition,
    data: Data,
    wanted: Sequence[tuple[str, str]],
    notes: list[str],
    told: Mapping[str, Sequence[Mapping[str, Any]]] | None = None,
    known: list[Recording] | None = None,
    apart: str = "",
    runner: Runner | None = None,
) -> list[Trials]:
    """The trials of some (recording, cue), cut as at a point of the logs; ``told``, by recording, how cues were found
    where the log does not say it; ``known`` gains the recordings; ``apart`` is added where some are missing. With a
    ``runner`` onsets are found at once, and trials cut where they are looked at."""
    names = list(dict(wanted))
    if not wanted or not set(names) <= set(point.facts):
        lacking = ", ".join(sorted(set(names) - set(point.facts))) or "any recording"
        raise LogError(f"the logs of {point.name} do not speak of {lacking}, so its trials cannot be cut; see verify.")
    given, came = _given(data, names)
    if known is not None:
        known += given.values()
    _demand_all(names, given, came, apart)
    jobs: list[tuple[CutJob, Recording]] = []
    if unknown := [name for name in dict(wanted) if name in given and not point.facts[name].get("scales")]:
        notes.append(scales_not_kept(unknown, ""))
    for name, cue in wanted:
        facts = point.facts[name]
        cut = next((cut for cut in cuts_of(name, facts) if cut["cue"] == cue), None)
        if cut is None:
            raise LogError(f"the log of {name} says of no cut around {cue!r}, so its trials cannot be cut; see verify.")
        source = _with_cue_channels(given[name], cut)
        notes += (note for note in _refuse_another(source, facts, cut) if note not in notes)
        if told and told.get(name) and "searches" not in cut:
            cut = {**cut, "searches": [{**one, "label": cue} for one in told[name]]}
        recording = _with_cues(source, cut, notes)
        rate = recording.rate_hz
        processing = _processing_of(facts["processing"])
        job = CutJob(cue, cut["before"] / rate, (cut["length"] - cut["before"]) / rate, processing)
        if runner is not None and facts.get("detection", {}).get("method") in METHODS:
            method, parameters, _ = rebuilt(facts["detection"])
            job = replace(job, method=method, parameters=parameters)
        jobs.append((job, recording))
    return [job.now(recording) for job, recording in jobs] if runner is None else _later(jobs, runner)


def _later(jobs: Sequence[tuple[CutJob, Recording]], runner: Runner) -> list[Trials]:
    """The trials of each, by a runner: those of one kind together. Raises LogError where one cannot be cut."""
    kinds: dict[str, list[int]] = {}
    for place, (job, _) in enumerate(jobs):
        kinds.setdefault(repr(job), []).append(place)
    found: dict[int, Trials] = {}
    for places in kinds.values():
        trials, failed = known_by(runner, jobs[places[0]][0], [jobs[place][1] for place in places])
        if failed:
            name, why = next(iter(failed.items()))
            raise LogError(f"recording {name!r} cannot be cut as the log says: {why}")
        found |= dict(zip(places, trials, strict=True))
    return [found[place] for place in range(len(jobs))]


def method_begun(folder: Path, reviewer: str) -> tuple[str, dict[str, Any]]:
    """Method and parameters of a review that was begun, the usual ones of a new one; of one that cannot be read, or was
    detected in several ways, those usual ones: opening it says what is amiss."""
    with contextlib.suppress(EmgreviewError, OSError):
        point = find_position(folder, reviewer=reviewer)
        ways = {
            facts["detection"]["hash"]: facts["detection"] for facts in point.facts.values() if "detection" in facts
        }
        if len(ways) == 1:
            return rebuilt(next(iter(ways.values())))[:2]
    return METHOD, {}


def _given(data: Data, wanted: Iterable[str]) -> tuple[dict[str, Recording], list[str]]:
    """The recordings that are wanted and given, by name, and the names of all that are given."""
    if isinstance(data, (str, Path)):
        data = open_data(data)
    if isinstance(data, Dataset):
        names = list(data.recordings.names)
        return {name: data.recordings[name] for name in names if name in wanted}, names
    kind("data", data, (Recording, Iterable), "a dataset, recordings, or a path to either")
    given = {}
    for one in [data] if isinstance(data, Recording) else data:
        kind("data", one, Recording, "a dataset, recordings, or a path to either")
        given[one.name] = one
    return {name: one for name, one in given.items() if name in wanted}, list(given)


def _demand_all(wanted: Sequence[str], given: Collection[str], came: Sequence[str], apart: str = "") -> None:
    """Raise LogError, with what came and what the review holds, unless all recordings of a review are given."""
    missing = [name for name in wanted if name not in given]
    if not missing:
        return
    which = f"; missing {'is' if len(missing) == 1 else 'are'} {listed(sorted(missing))}" if given else ""
    raise LogError(
        f"the review holds {_counted(wanted)}, and {_counted(came)} came{which}; needed are all recordings of the "
        f"review; give the folder that holds them, or read them under the names that they had{apart if given else ''}."
    )


def _counted(names: Sequence[str]) -> str:
    return f"{len(names)} recording{'' if len(names) == 1 else 's'} ({listed(sorted(names))})" if names else "none"


def cuts_of(recording: str, facts: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    cuts: Sequence[Mapping[str, Any]] | None = facts.get("cuts")
    if cuts is None:
        raise LogError(
            f"the log of {recording!r} does not say how its trials were cut, as the first logs did not; open the "
            "review once for writing, with the trials as they were, and it will."
        )
    return cuts


def _refuse_another(recording: Recording, facts: Mapping[str, Any], cut: Mapping[str, Any]) -> list[str]:
    """Raise LogError, with what differs, unless this is the recording that was reviewed, read as it was. Sentences on
    what differs and decides no number."""
    emg = {channel.label: channel.delay_s for channel in recording.channels if channel.kind == "EMG"}
    known = facts["fingerprint"]["samples"]
    came = {
        "labels": list(recording.labels),
        "sampling rate": recording.rate_hz,
        "number of samples": recording.n_samples,
        "samples (SHA-256)": known if recording.is_of(known) else recording.digest,
        "participant": recording.entities.get("sub"),
        "EMG channels": list(emg),
        "delays of the EMG channels": list(emg.values()),
    }
    was = {
        "labels": facts["labels"],
        "sampling rate": facts["rate_hz"],
        "number of samples": facts.get("n_samples", recording.n_samples),
        "samples (SHA-256)": known,
        "participant": facts["participant"],
        "EMG channels": cut["channels"],
        "delays of the EMG channels": cut["delays_s"],
    }
    differing = [f"{what}: reviewed {was[what]}, given {came[what]}" for what in was if was[what] != came[what]]
    if differing:
        raise LogError(
            f"recording {recording.name!r} is not the one that was reviewed, or is read in another way: "
            f"{'; '.join(differing)}; give the recording that was reviewed."
        )
    found = scales.compare(facts.get("scales"), scales.stated(recording))
    advice = (
        "read it as it was (the file's header, channels.tsv, unit=); a corrected scale holds for what was sealed since."
    )
    scales.refuse(found, f"recording {recording.name!r} comes", advice)
    return sentences([(recording.name, beside_the_emg(found))]) if found.beside else []


def _with_cue_channels(recording: Recording, cut: Mapping[str, Any]) -> Recording:
    """The recording with channels in which cues were found as no EMG, where the log has them so."""
    for label in recording.emg_labels:
        if f"channel {label}" in cut["cues"] and label not in cut["channels"]:
            recording = as_cue_channel(recording, label)
    return recording


def _with_cues(recording: Recording, cut: Mapping[str, Any], notes: list[str]) -> Recording:
    """The recording with just the cues that were cut. Those that it does not hold are looked for again in the channel
    in which they were found, as the log says; what is then still missing comes from the log."""
    wanted = {(source, sample) for source, samples in cut["cues"].items() for sample in samples}
    others = [marker for marker in recording.markers if marker.label != cut["cue"]]
    held = [
        marker
        for marker in recording.markers
        if marker.label == cut["cue"] and (marker.source, marker.sample) in wanted
    ]
    missing = sorted(wanted - {(marker.source, marker.sample) for marker in held})
    for search in cut.get("searches", ()) if missing else ():
        found, words = _found_again(recording, search, cut["cue"], set(missing))
        held += found
        missing = sorted(set(missing) - {(marker.source, marker.sample) for marker in found})
        notes += words
    if missing:
        notes.append(
            f"{len(missing)} of {len(wanted)} cues {cut['cue']!r} of {recording.name} are not in the recording as "
            "given and were taken from the log, without further columns."
        )
    known = {sample for _, sample in wanted}
    given = [marker.sample for marker in recording.markers if marker.label == cut["cue"]]
    if more := sum(sample not in known for sample in given):
        notes.append(
            f"{more} of {len(given)} cues {cut['cue']!r} of {recording.name} as given were not cut for the review, and "
            "are left out here too."
        )
    made = [Marker(sample, cut["cue"], source) for source, sample in missing]
    return recording.with_markers([*others, *held, *made])


def _found_again(
    recording: Recording, search: Mapping[str, Any], cue: str, missing: set[tuple[str, int]]
) -> tuple[list[Marker], list[str]]:
    """Those of the missing cues that a search in a channel finds again, and a sentence where it cannot be done."""
    how = ", ".join(f"{name} {value}" for name, value in search.items() if name not in ("channel", "label"))
    try:
        again = find_cues(recording, **search)
    except EmgreviewError as why:
        return [], [f"Cues in channel {search['channel']} of {recording.name} ({how}) could not be found again: {why}"]
    return [one for one in again if one.label == cue and (one.source, one.sample) in missing], []


def searches_told(table: tables.Table) -> dict[str, list[dict[str, Any]]]:
    """By recording, the levels that a table tells of cues found in a channel, as searches for every crossing: the first
    logs did not say how their cues were found."""
    found: dict[str, list[dict[str, Any]]] = {}
    if not {"level", "edge"} <= set(table):
        return found
    for recording, trial, level in table[["recording", "trial", "level"]].dropna().itertuples(index=False, name=None):
        source = re.fullmatch(r"/channel (.*)/\d+", str(trial).removeprefix(str(recording)))
        number = re.match(r"\S+", str(level))
        with contextlib.suppress(ValueError):
            if source and number:
                search = {"channel": source[1], "level": float(number[0]), "edge": "both", "hold_off_s": 0.0}
                if search not in found.setdefault(recording, []):
                    found[recording].append(search)
    return found


def _processing_of(stored: Mapping[str, Any]) -> Processing:
    """The processing in a log, whose canonical JSON writes 50.0 as 50: the one with the digest that was stored."""
    with contextlib.suppress(TypeError, ValueError, OverflowError):  # what is no parameter has no such digest either
        for found in _processings(stored["parameters"]):
            if found.hash == stored["hash"]:
                return found
    raise LogError(
        "the log names parameters of processing whose SHA-256 this version of the package finds to be another; install "
        "the version that the log names under packages."
    )


def _processings(stored: Mapping[str, Any]) -> Iterator[Processing]:
    """Every processing that canonical JSON writes so."""
    parameters = {name: tuple(part) if isinstance(part, list) else part for name, part in stored.items()}
    if "rest_s" not in parameters or not parameters.keys() <= {part.name for part in fields(Processing)}:
        return
    whole = [name for name, value in parameters.items() if type(value) is int and name != "order"]
    for kinds in itertools.product((float, int), repeat=len(whole)):
        changed = {name: number(parameters[name]) for name, number in zip(whole, kinds, strict=True)}
        for rest in itertools.product((float, int), repeat=2):
            span = tuple(
                number(end) if end == int(end) else end for number, end in zip(rest, parameters["rest_s"], strict=True)
            )
            others: dict[str, Any] = {k: part for k, part in (parameters | changed).items() if k != "rest_s"}
            found = Processing(**others)
            object.__setattr__(found, "rest_s", span)  # as it was logged, whatever a new one may be
            yield found


def detection_of(
    point: LogPosition, trials: Sequence[Trials], detect: Detect | None, notes: list[str]
) -> dict[str, Any]:
    """The one way of detection of some trials, as options of a review. The parameters of a ``detect`` are its own."""
    ways = {part.recording.name: point.facts[part.recording.name]["detection"] for part in trials}
    if len({way["method"] if detect else way["hash"] for way in ways.values()}) > 1:
        words = "; ".join(f"{name}: {way['method']}, {way['parameters']}" for name, way in ways.items())
        raise LogError(f"the recordings were detected in different ways ({words}); replay them apart.")
    way = next(iter(ways.values()))
    if detect is not None:
        return {"method": way["method"], "detect": detect}
    method, parameters, lost = rebuilt(way)
    notes += lost
    return {"method": method, "parameters": parameters}
