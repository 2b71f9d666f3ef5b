"""What is said of trials that were cut: sentences that know which trial and channel they are about.

level_says      of a channel of an impossible level
first_of        some of the trials that reach beyond the recording, and how many more do
of_channels     of channels: marked bad, constant, samples missing or too few to filter
of_codes        of codes for missing samples
notes_on        those notes of a cut that are about one trial, or about one channel
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from emgreview.model import Marker, Note, Recording, Trials
from emgreview.rhythm import SHOWN
from emgreview.signal.findings import code_words


def level_says(words: str) -> str:
    """What is said of a channel whose level is impossible, from the words of that finding."""
    return f"has a level that no surface EMG has. {words}"


def notes_on(trials: Trials, trial: str, channel: str | None = None) -> tuple[Note, ...]:
    """Those notes of a cut that are about one trial, or with ``channel`` about that channel in all trials."""
    subject = ("trial", trials.ids[trials.index(trial)]) if channel is None else ("channel", channel)
    return tuple(note for note in trials.notes if isinstance(note, Note) and getattr(note, subject[0]) == subject[1])


def first_of(beyond: Sequence[str]) -> tuple[str, ...]:
    """Some of the trials that reach beyond the recording, and how many more do."""
    more = len(beyond) - SHOWN
    return (*beyond[:SHOWN], f"So do {more} more trials; trials.notes names them.") if more > 0 else tuple(beyond)


def of_channels(
    rec: Recording,
    labels: Sequence[str],
    steady: NDArray[np.bool_],
    missing: NDArray[np.integer],
    unfiltered: NDArray[np.integer],
    stretches: Sequence[tuple[int, int]],
) -> list[str]:
    lengths = np.array([stop - start for start, stop in stretches])[:, np.newaxis]
    notes: list[str] = []
    for column, label in enumerate(labels):
        channel, gone = rec.channel(label), missing[:, column]

        def add(words: str, subject: str = f"Channel {label}", label: str = label) -> None:
            notes.append(Note(subject, words, channel=label))

        if channel.status == "bad":
            why = f" ({channel.status_description})" if channel.status_description else ""
            add(f"is marked bad in the recording{why}.")
        if steady[:, column].all():
            empty = (gone == lengths[:, 0]).all()
            add(f"{'has no samples' if empty else 'never changes'} in any of the {len(gone)} trials.")
            continue
        if gone.any():
            add(f"lacks samples in {np.count_nonzero(gone)} of {len(gone)} trials.")
        if unfiltered[column]:
            add(
                f"has {unfiltered[column]} samples between missing ones that were too few to filter, and are missing "
                "from the trials."
            )
    return notes


def of_codes(
    rec: Recording,
    labels: Sequence[str],
    cues: Sequence[Marker],
    codes: Mapping[tuple[int, str], tuple[float, ...]],
    reach: int,
) -> list[str]:
    """A note on each channel that holds codes in or beside trials: which, and in which trials."""
    notes: list[str] = []
    for label in labels:
        held = [trial for trial in range(len(cues)) if (trial, label) in codes]
        if not held:
            continue
        values = tuple(dict.fromkeys(value for trial in held for value in codes[trial, label]))
        at = ", ".join(f"{cues[trial].sample / rec.rate_hz:.3f}" for trial in held[:SHOWN])
        more = f" and {len(held) - SHOWN} more" if len(held) > SHOWN else ""
        notes.append(
            Note(
                f"Channel {label}",
                f"holds {code_words(values, rec.channel(label).unit_label)} in {len(held)} of {len(cues)} trials, or "
                f"within {reach / rec.rate_hz:.2g} s of them (cues at {at} s{more}): a code for missing samples or an "
                "overflow, no voltage. It is filtered as it stands: onsets and amplitudes there are not of a muscle.",
                channel=label,
            )
        )
    return notes
