"""What belongs to another trial or to another stimulus: where a search ends, and which numbers nothing can be said of.

Samples are those of the recording, but where they are said to count from a stimulus.

kin             is a label that of a cue of the same kind
Near, near      other stimuli of the same kind near each one: paired pulses, trains
near_reasons    why numbers are missing there
without_others  the raw signal around a stimulus, without the artefacts of others
near_words      sentences on them
"""

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emgreview.measuring.missing import Reason
from emgreview.model import Recording

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


class Near(NamedTuple):
    """Other stimuli near each of some, all (rows,).

    ``others`` has their samples, counted from the stimulus; ``until`` the sample, counted from it, at which the
    artefact of the next one begins, infinite without one. ``follows`` is true where that is before the window's end,
    ``precedes`` where the artefact or the potential of an earlier one reaches into the background, ``mixed`` where that
    of an earlier one may reach into the window or the 20 ms before the stimulus.
    """

    others: list[IntArray]
    until: FloatArray
    follows: NDArray[np.bool_]
    precedes: NDArray[np.bool_]
    mixed: NDArray[np.bool_]


def near(
    rec: Recording,
    label: str,
    at: Sequence[int],
    *,
    blanked: tuple[int, int],
    window: tuple[int, int],
    rest: tuple[int, int],
    low_hz: float,
) -> Near:
    """The other stimuli near those at the samples ``at``: markers of the same kind (:func:`kin`) of all the recording.

    ``blanked`` is the artefact before and after a stimulus, ``window`` where a potential is looked for, ``rest`` the
    background, in samples. An earlier stimulus reaches as far as its window, and as far on as the filter carries it
    (:data:`CARRIED`). Two markers nearer than the artefact's stretch before are one stimulus, marked twice.
    """
    marked = np.array(sorted({m.sample for m in rec.markers if kin(label, m.label)}), dtype=np.intp)
    carried = int(np.ceil(CARRIED / low_hz * rec.rate_hz))
    others, until = [], np.full(len(at), np.inf)
    follows, precedes, mixed = (np.zeros(len(at), dtype=bool) for _ in range(3))
    for row, own in enumerate(at):
        away = marked - own
        away = away[(away != 0) & (np.abs(away) >= blanked[0])]
        earlier, later = away[away < 0], away[away > 0]
        if later.size:
            until[row] = later[0] - blanked[0] - 1
            follows[row] = until[row] < window[1]
        reached = (earlier - blanked[0] < rest[1]) & (earlier + window[1] + carried > rest[0])
        precedes[row] = reached.any()
        mixed[row] = bool(earlier.size) and earlier[-1] + window[1] > -blanked[0] - round(0.02 * rec.rate_hz)
        others.append(away)
    return Near(others, until, follows, precedes, mixed)


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
