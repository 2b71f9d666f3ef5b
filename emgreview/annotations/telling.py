"""What a person is told when a review is opened on recordings that are not quite those of its logs, in sentences.

refuse_another      LogError: another recording, with what differs
refuse_scale        LogError: another scale, and how to go on
refuse_namesake     LogError: a log would be begun on a recording whose name another one has here
taken_by            places of logs, for refuse_alike
refuse_alike        LogError: a log would be begun that is another one where upper and lower case do not count
of_others           another reviewer's log of the recording is about other samples, or another scale
of_changes          trials are cut around another cue, found, cut or filtered otherwise than before
of_strangers        the folder holds logs of the reviewer on recordings that did not come
of_dataset          decisions would go into the dataset that the recordings come from
of_twins            recordings that hold the same samples
scales_not_kept     a log was begun before scales were kept
"""

import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from emgreview.annotations import scales
from emgreview.annotations.places import folded, logs_in, recording_in
from emgreview.errors import LogError
from emgreview.model import SAME_SAMPLES, Recording
from emgreview.model.sources import files_of
from emgreview.plain_files import found_at, inside, real

Cuts = Sequence[Mapping[str, Any]]

Told = tuple[str, str]
"""A recording, and a sentence in which NAMES stands for it: what is the same of many recordings is told once."""

NAMES = "{names}"


def sentences(told: Sequence[Told]) -> list[str]:
    """Each sentence once, with the recordings it is about."""
    names: dict[str, list[str]] = {}
    for name, words in told:
        names.setdefault(words, []).append(name)
    return [words.replace(NAMES, _listed(found)) for words, found in names.items()]


def refuse_another(log: str, header: Mapping[str, Any], recording: Recording) -> None:
    """Raise LogError, with what differs, where a log is of another recording."""
    came, known = recording.digest, header["fingerprint"]["samples"]
    if recording.is_of(known):
        return
    now = {"labels": list(recording.labels), "rate_hz": recording.rate_hz, "n_samples": recording.n_samples}
    other = [
        f"; {name} {header[name]} were reviewed, {value} came"
        for name, value in now.items()
        if header.get(name, value) != value
    ]
    raise LogError(
        f"{log} belongs to another recording: the samples that were reviewed have digest {known[:12]}…, those of "
        f"{recording.name!r} have {came[:12]}…{''.join(other)}; give the recording that was reviewed, with its "
        "channels in the same order, or another folder."
    )


def refuse_scale(found: scales.Differing, recording: str) -> None:
    """Raise LogError where a recording comes in another scale than its log's."""
    advice = "read it as it was (the file's header, channels.tsv, unit=, channels=), or, where that was wrong, " + (
        "begin a review in another folder."
        if found.place
        else "say why with scale_corrected='...': marks stay, and the log says that amplitudes are others from then on."
    )
    scales.refuse(found, f"recording {recording!r} comes", advice)


def beside_the_emg(found: scales.Differing) -> str:
    """What decides no number of the review, but is not as it was."""
    return f"Beside the EMG, otherwise than when they were reviewed, in {NAMES}: {'; '.join(found.beside)}."


def refuse_namesake(folder: Path, log: Path, recording: Recording) -> None:
    """LogError where a log would be begun though a log of another place is called alike: of the same reviewer, or of
    another recording under the same name. Which of the two is meant nobody could tell later."""
    if os.path.lexists(log):
        return
    for other in logs_in(folder):
        if recording_in(other.name) != recording.name or other.parent == log.parent:
            continue
        samples = scales.last_stated(other)[0]
        if samples is None and not _holds_bytes(other):
            continue
        there, here = (path.relative_to(folder).as_posix() for path in (other, log))
        if samples is not None and not recording.is_of(samples):
            raise LogError(
                f"{there} is about another recording that is called {recording.name!r}, too, of another participant; "
                "in one review each recording has a name of its own, as logs, versions and comparisons know it by its "
                "name; nothing was begun; rename one of the two recordings, or review this one into another folder."
            )
        if other.name == log.name:
            raise LogError(
                f"{there} holds the decisions of this reviewer on recording {recording.name!r}, and {here} would be a "
                "second log of it, as the recording now comes with another participant, or with none; nothing was "
                f"begun; give the recording as it was, or, where it is right now, move {there} to {here}."
            )


Taken = dict[tuple[str, ...], tuple[str, ...]]
"""Places in a folder, and the folders that they lie in, by what they are where upper and lower case do not count."""


def taken_by(folder: Path, logs: Iterable[Path]) -> Taken:
    """The places of some logs."""
    taken: Taken = {}
    for log in logs:
        taken |= _levels(folder, log)
    return taken


def refuse_alike(folder: Path, log: Path, taken: Taken) -> None:
    """LogError where a log would be begun that is the same file as another one, or lies in the same folder, wherever
    upper and lower case do not count: there the one would take the place of the other. ``taken`` gains its place."""
    own = _levels(folder, log)
    if not os.path.lexists(log):
        for level, here in own.items():
            there = taken.get(level, here)
            if there != here:
                raise LogError(
                    f"{'/'.join(here)} and {'/'.join(there)} would be one on other computers, as upper and lower case, "
                    "and ways to write a letter, do not count there: copied to one, the folder would lose decisions; "
                    f"nothing was begun; write {here[-1]!r} as {there[-1]!r} where the same is meant, else give it "
                    "another name."
                )
    taken |= own


def _levels(folder: Path, log: Path) -> Taken:
    parts = log.relative_to(folder).parts
    return {tuple(map(folded, parts[:count])): parts[:count] for count in range(1, len(parts) + 1)}


def _holds_bytes(log: Path) -> bool:
    try:
        return log.stat().st_size > 0
    except OSError:
        return False


def of_others(log: Path, recording: Recording) -> list[Told]:
    """Where another reviewer's log beside one is about other samples of the recording, or another scale."""
    told = []
    for other in inside(log.parent):
        if other == log or recording_in(other.name) != recording.name:
            continue
        samples, scale = scales.last_stated(other)
        found = scales.compare(scale, scales.stated(recording)).decisive
        if samples is not None and not recording.is_of(samples):
            found = ("its samples, labels or rate are others",)
        if found:
            code = other.stem.rpartition("_reviewer-")[2]
            words = (
                f"Reviewer {code} reviewed {NAMES} otherwise: {'; '.join(found)}. What the two decide can be neither "
                "compared nor merged."
            )
            told.append((recording.name, words))
    return told


def of_changes(
    recording: str, rate_hz: float, were: Cuts | None, cuts: Cuts, was: Mapping[str, Any], now: Mapping[str, Any]
) -> list[Told]:
    """Where trials are not around the same cues, or cut or filtered otherwise than when the log was last open; ``was``
    and ``now`` as in a log."""
    changes = []
    earlier = {cut["cue"]: cut for cut in were or ()}
    for cut in cuts:
        if earlier and cut["cue"] not in earlier:
            changes.append(
                f"trials were cut around {' and '.join(map(repr, earlier))}, and are cut around {cut['cue']!r}: others"
            )
        before = earlier.get(cut["cue"], cut)
        found = [_searched(one) for one in (before, cut)]
        if found[0] != found[1]:
            changes.append(f"cues {cut['cue']!r} were found {found[0]}, and are found {found[1]}")
        spans = [(-one["before"] / rate_hz, (one["length"] - one["before"]) / rate_hz) for one in (before, cut)]
        if spans[0] != spans[1]:
            first, second = (f"{start:g} to {stop:g} s" for start, stop in spans)
            changes.append(f"trials around {cut['cue']!r} were cut from {first}, and are cut from {second}")
    known, comes = (one["processing"]["parameters"] for one in (was, now))
    changes += [
        f"{part} was {known.get(part)}, and is {comes.get(part)}"
        for part in sorted({*known, *comes})
        if known.get(part) != comes.get(part)
    ]
    if not changes:
        return []
    words = (
        f"Cut or filtered otherwise than before, {NAMES}: {'; '.join(changes)}. Marks that nobody has reviewed are "
        "found anew, reviewed ones keep their value."
    )
    return [(recording, words)]


def _searched(cut: Mapping[str, Any]) -> str:
    """How cues were found, as a log says it."""
    found = [
        ", ".join(f"{name} {_plain(value)}" for name, value in sorted(one.items())) for one in cut.get("searches", ())
    ]
    return f"by {' and by '.join(found)}" if found else "as the recording states them"


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float | int) else str(value)


def of_strangers(folder: Path, reviewer: str, others: Sequence[Path], blind: bool) -> list[Told]:
    """That a folder holds ``others``, logs of the reviewer on recordings that did not come; a blind review names none
    of them."""
    if not others:
        return []
    names = _listed(sorted(path.stem.rpartition("_reviewer-")[0] for path in others))
    named, one = "" if blind else f" ({names})", len(others) == 1
    words = (
        f"{folder.name} also holds {'a log' if one else 'logs'} of {reviewer} on {len(others)} "
        f"recording{'' if one else 's'} that did not come{named}: a version sealed here is without "
        f"{'it' if one else 'them'}, and sealing from files asks for all; another study needs another folder."
    )
    return [("", words)]


def of_dataset(folder: Path, recordings: Iterable[Recording]) -> list[Told]:
    """That a folder of decisions is itself the BIDS dataset that a recording comes from."""
    if found_at(folder / "dataset_description.json") is None:
        return []
    whole = real(folder)
    if not any(whole in real(path).parents for one in recordings for path in files_of(one.source)):
        return []
    words = (
        f"{folder.name} is the dataset that is reviewed: decisions go into 'logs' in it, beside the recordings, and "
        "would go wherever it is copied; a folder of its own for the review keeps them apart."
    )
    return [("", words)]


def of_twins(recordings: Mapping[str, Recording]) -> list[Told]:
    """Which recordings hold the same samples, under the same labels and rate."""
    alike: dict[str, list[str]] = {}
    for name, recording in recordings.items():
        alike.setdefault(recording.digest, []).append(name)
    return [("", f"{', '.join(names)} {SAME_SAMPLES}") for names in alike.values() if len(names) > 1]


def scales_not_kept(names: Sequence[str], since: str) -> str:
    """Logs that were begun before scales were kept; ``since`` when one was stated, "" if never."""
    words = f"The log{'s' * (len(names) > 1)} of {_listed(names)} {'were' if len(names) > 1 else 'was'} begun before"
    words += " unit and gain of a recording were kept: "
    if since:
        return f"{words}that its marks were made on this scale is known only from {since} on."
    return f"{words}the scale in which it was reviewed was not kept, and is not checked."


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (f" … ({len(names)} in all)" if len(names) > 3 else "")
