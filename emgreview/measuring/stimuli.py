"""Potentials evoked by stimuli, from the raw recording around each; definitions in ``signal.evoked``.

measure_evoked      one row a stimulus and channel
"""

import numpy as np
import pandas as pd

from emgreview.errors import UnknownNameError
from emgreview.measuring.rows import column, unit_of
from emgreview.model import Trials, to_sample
from emgreview.signal import evoked, filters
from emgreview.tables import describe


def measure_evoked(
    trials: Trials,
    *,
    stimulus: str,
    blank_s: tuple[float, float] = (0.001, 0.008),
    window_s: tuple[float, float] = (0.012, 0.06),
    background_s: tuple[float, float] = (-0.1, -0.005),
    remove_decay: bool = True,
    around_s: tuple[float, float] = (0.5, 0.6),
) -> pd.DataFrame:
    """Potentials evoked by every marker labelled ``stimulus`` inside the trials, one row a stimulus and channel.

    The raw recording is read around each stimulus (``around_s`` before, after), the artefact's decay fitted between its
    blanked stretch and ``window_s`` and taken off (``remove_decay``), the artefact itself blanked (``blank_s`` before,
    after), and the rest filtered as the trials were; definitions in ``signal.evoked``. ``background_rms`` is what the
    muscle did before: use it as a covariate, for it changes the potential. Raises UnknownNameError where no such marker
    lies in the trials.
    """
    rec, how = trials.recording, trials.processing
    before, after = (to_sample(part, trials.rate_hz) for part in around_s)
    found = [(trial, m.sample) for trial in trials.ids for m in trials.markers(trial) if m.label == stimulus]
    if not found:
        labels = {m.label for trial in trials.ids for m in trials.markers(trial)}
        raise UnknownNameError("marker inside the trials", stimulus, sorted(labels))
    inside = [(trial, at) for trial, at in found if before <= at < rec.n_samples - after]
    notes = []
    if len(inside) < len(found):
        notes.append(f"{len(found) - len(inside)} stimuli lie too near an end of the recording, and are left out.")
    rows = []
    raw = [rec.values(at - before, at + after, trials.labels) for _, at in inside]
    for index, label in enumerate(trials.labels if raw else ()):
        x = np.stack([part[index] for part in raw])
        if remove_decay:
            x = evoked.without_decay(x, rec.rate_hz, before, from_s=blank_s[1], to_s=window_s[0])
        x = evoked.blank(x, rec.rate_hz, before, before_s=blank_s[0], after_s=blank_s[1])
        band = {"low_hz": how.low_hz, "high_hz": how.high_hz, "order": how.order, "direction": how.direction}
        x = filters.bandpass(x, rec.rate_hz, **band)  # type: ignore[arg-type]
        seen = evoked.measure_evoked(x, rec.rate_hz, before, window_s=window_s, background_s=background_s)
        for place, (trial, at) in enumerate(inside):
            values = {name: float(getattr(seen, name)[place]) for name in evoked.Evoked.__slots__}
            rows.append({"recording": rec.name, "trial": trial, "channel": label, "stimulus_sample": at, **values})
    names = ["recording", "trial", "channel", "stimulus_sample", *evoked.Evoked.__slots__]
    out = pd.DataFrame(rows, columns=names)
    unit = unit_of([trials])
    size, before_words = (f"{w[0]:g} to {w[1]:g} s from the stimulus" for w in (window_s, background_s))
    columns = describe(out[names[:3]]) | {
        "stimulus_sample": column("whole", "", "Sample of the stimulus in the recording"),
        "peak_to_peak": column("number", unit, f"Peak to peak, {size}; not normalised"),
        "latency_s": column("number", "s", "Stimulus to the start of the potential; missing where none stands out"),
        "silent_period_s": column("number", "s", "Stimulus to the return of activity; missing where it does not pause"),
        "background_rms": column("number", unit, f"Root mean square, {before_words}: a covariate of the potential"),
    }
    out.attrs |= {"columns": columns, "notes": notes}
    return out
