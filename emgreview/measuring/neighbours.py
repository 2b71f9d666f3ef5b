"""What belongs to another trial or to another stimulus: where a search ends, and which numbers nothing can be said of.

Samples are those of the recording, but where they are said to count from a stimulus.

kin             is a label that of a cue of the same kind
foreign         labels of a recording that are no stimuli, or no cues, checked
Near, near      other stimuli near each one: paired pulses, trains, and markers that may be stimuli
near_reasons    why numbers are missing there
without_others  the raw signal around a stimulus, without the artefacts of others
near_words      sentences on them
strange_words   a sentence on those that are not called like the stimulus
"""

import re
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import demand
from emgreview.errors import UnknownNameError
from emgreview.measuring.missing import Reason
from emgreview.model import Recording
from emgreview.reading.settled import listed

FloatArray = NDArray[np.floating]
IntArray = NDArray[np.intp]

_CODED = re.compile(r"(.+ )\d+")
CARRIED = 1.5
"""The causal filter carries a potential on for so many periods of its lower corner, 75 ms at 20 Hz (our own choice). Of
simulated pairs of 2 mV over noise of 0.80 µV (RMS in the band, 5 kHz) the background of the second was 2.4, 0.93, 0.83
and 0.80 µV where the first potential had ended 38, 48, 68 and 88 ms before it."""


def kin(label: str, other: str) -> bool:
    """Whether two labels are alike, or differ by their number alone, as the codes of one channel ("go 5", "go 7")."""
    one, two = _CODED.fullmatch(label), _CODED.fullmatch(other)
    return label == other or bool(one and two and one[1] == two[1])


def foreign(what: str, given: Sequence[str], own: Sequence[str], recordings: Sequence[Recording]) -> tuple[str, ...]:
    """The labels ``given`` as ``what``, which some recording must have, and none of which may be one's ``own``."""
    good = isinstance(given, Sequence) and not isinstance(given, str) and all(isinstance(one, str) for one in given)
    demand(good, what, given, f"a list of labels of markers, such as {what}=['end']")
    known = sorted({marker.label for rec in recordings for marker in rec.markers})
    for label in given:
        if label not in known:
            raise UnknownNameError(f"marker of {what}", label, known)
        demand(label not in own, what, label, f"labels other than {', '.join(map(repr, own))}, which are asked for")
    return tuple(given)


class Near(NamedTuple):
    """Other stimuli near each of some, all (rows,).

    ``others`` has their samples, counted from the stimulus; ``until`` the sample, counted from it, at which the
    artefact of the next one begins, infinite without one. ``follows`` is true where that is before the window's end,
    ``precedes`` where the artefact or the potential of an earlier one reaches into the background, ``mixed`` where that
    of an earlier one may reach into the window or the 20 ms before the stimulus. ``labels`` has those of the markers
    which are not called like the stimulus.
    """

    others: list[IntArray]
    until: FloatArray
    follows: NDArray[np.bool_]
    precedes: NDArray[np.bool_]
    mixed: NDArray[np.bool_]
    labels: list[frozenset[str]]


def near(
    rec: Recording,
    label: str,
    at: Sequence[int],
    *,
    blanked: tuple[int, int],
    window: tuple[int, int],
    rest: tuple[int, int],
    around: tuple[int, int],
    low_hz: float,
    added: Sequence[tuple[int, str]] = (),
    not_stimuli: Sequence[str] = (),
) -> Near:
    """The other stimuli near those at the samples ``at``: markers of the same kind (:func:`kin`) of all the recording,
    and all others that lie within ``around`` samples before and after one, but for those called like ``not_stimuli``;
    and cues ``added`` (sample, label).

    ``blanked`` is the artefact before and after a stimulus, ``window`` where a potential is looked for, ``rest`` the
    background, in samples. An earlier stimulus reaches as far as its window, and as far on as the filter carries it
    (:data:`CARRIED`). Two markers nearer than the artefact's stretch before are one stimulus, marked twice.
    """
    marks = {(m.sample, m.label) for m in rec.markers} | set(added)
    marks = {(sample, name) for sample, name in marks if name not in not_stimuli}
    marked = np.array(sorted({sample for sample, name in marks if kin(label, name)}), dtype=np.intp)
    strange = sorted((sample, name) for sample, name in marks if not kin(label, name))
    carried = int(np.ceil(CARRIED / low_hz * rec.rate_hz))
    others, labels, until = [], [], np.full(len(at), np.inf)
    follows, precedes, mixed = (np.zeros(len(at), dtype=bool) for _ in range(3))
    for row, own in enumerate(at):
        close = [
            (sample, name)
            for sample, name in strange
            if -around[0] <= sample - own < around[1] and abs(sample - own) >= max(blanked[0], 1)
        ]
        labels.append(frozenset(name for _, name in close))
        away = np.unique(np.r_[marked, np.array([sample for sample, _ in close], dtype=np.intp)]) - own
        away = away[(away != 0) & (np.abs(away) >= blanked[0])]
        earlier, later = away[away < 0], away[away > 0]
        if later.size:
            until[row] = later[0] - blanked[0] - 1
            follows[row] = until[row] < window[1]
        reached = (earlier - blanked[0] < rest[1]) & (earlier + window[1] + carried > rest[0])
        precedes[row] = reached.any()
        mixed[row] = bool(earlier.size) and earlier[-1] + window[1] > -blanked[0] - round(0.02 * rec.rate_hz)
        others.append(away)
    return Near(others, until, follows, precedes, mixed, labels)


def without_others(x: FloatArray, at: int, found: Near, blanked: tuple[int, int]) -> FloatArray:
    """Raw ``x`` (rows, samples), each with its stimulus at sample ``at``, with the artefacts of earlier stimuli on
    straight lines, and held where the next one begins. What ends in the artefact of the stimulus itself is held, too:
    a line would end on it."""
    x = x.copy()
    n, own = x.shape[1], at - blanked[0] - 1
    for row, others in zip(x, found.others, strict=True):
        spoilt = np.zeros(n, dtype=bool)
        for other in others[others < 0] + at:
            spoilt[max(other - blanked[0], 0) : max(other + blanked[1], 0)] = True
        spoilt[own + 1 :] = False
        edges = np.flatnonzero(np.diff(np.r_[False, spoilt, False]))
        for first, stop in zip(edges[::2], edges[1::2], strict=True):
            if stop > own or first == 0:
                row[first:stop] = row[first - 1] if first else row[stop]
            else:
                row[first - 1 : stop + 1] = np.linspace(row[first - 1], row[stop], stop - first + 2)
        for other in others[others > 0][:1] + at:
            held = min(max(other - blanked[0] - 1, at + blanked[1]), n - 1)
            row[held:] = row[held]
    return x


def strange_words(found: Near, lead_s: float = 0.0, tail_s: float = 0.0) -> list[str]:
    """A sentence on markers that count as stimuli though they are not called like one; ``lead_s`` and ``tail_s`` are
    what the filters need beyond ``around_s``."""
    counts = Counter(name for labels in found.labels for name in labels)
    if not counts:
        return []
    told = listed([f"{name!r} {count}" for name, count in sorted(counts.items())], 12)
    beyond = f", and the {lead_s:.3g} s before and {tail_s:.3g} s after it that the filters need," * (
        lead_s + tail_s > 0
    )
    return [
        f"Within around_s{beyond} of {sum(map(bool, found.labels))} of {len(found.labels)} stimuli lie other markers, "
        f"which count as other stimuli: {told}. Their stretches are blanked, and numbers that they may touch are "
        "missing or named by the column mixed. Of those that mark no stimulus, as a cue to the eye or a response, say "
        f"so: not_stimuli={sorted(counts)!r}."
    ]


def near_reasons(follows: NDArray[np.bool_] | bool, precedes: NDArray[np.bool_] | bool) -> list[Reason]:
    """Why numbers of stimuli are missing that others come near, (rows,) of :class:`Near`."""
    timed = ["latency_s", "silent_period_s", "pause_level"]
    before = "an earlier stimulus, its potential, or what the filter carries of it lies within background_s"
    return [
        Reason(
            ["peak_to_peak", *timed],
            np.asarray(follows),
            "another stimulus follows before window_s ends; end it earlier",
        ),
        Reason(
            ["background_rms", *timed],
            np.asarray(precedes),
            f"{before}; move background_s, where the stimuli leave room",
        ),
    ]


def near_words(mixed: int, untold: int, n: int) -> list[str]:
    """Sentences on sizes that may be of two stimuli, and on those of which nothing tells whether a decay stood there,
    of ``n`` rows."""
    out = []
    if mixed:
        out.append(
            f"{mixed} of {n} stimuli come so soon after another one that its potential may lie within window_s, or in "
            "the 20 ms before the stimulus: size and latency may be of both; the column mixed names them."
        )
    if untold:
        out.append(
            f"Of {untold} of {n} stimuli it is not known whether a decay stood just before window_s, as another "
            "stimulus spoils the background; decay is missing there."
        )
    return out
