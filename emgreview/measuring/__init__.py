"""Measures of reviewed bursts as tables, and what two channels, a rest, or many trials say together.

Marks come from a table of decisions (``Session.decisions()`` or ``read_version``), signals from the trials they were
made on. Times are seconds, counted from the cue where they say so; amplitudes have the trials' unit; missing is NaN.
Description, unit and type of each column stand in ``table.attrs["columns"]``, sentences about what was left out in
``table.attrs["notes"]``.

    measure               one row a burst: over the burst, and in fixed windows from its onset
    measure_evoked        one row a stimulus and channel: peak to peak, latency, silent period, activity before
    compare_channels      one row a trial: common area, shared signal, which channel starts first
    average_envelopes     averages aligned to go, onset or response
    involvement           in how many trials activity exceeds the person's own rest range
    detection_floor       the smallest burst that would have been found
    NORMALISATIONS        the published ways to make amplitudes comparable
"""

from emgreview.measuring.bursts import measure
from emgreview.measuring.channels import average_envelopes, compare_channels
from emgreview.measuring.floor import detection_floor
from emgreview.measuring.normalising import NORMALISATIONS
from emgreview.measuring.stimuli import measure_evoked
from emgreview.measuring.taking_part import involvement

__all__ = [
    "NORMALISATIONS",
    "average_envelopes",
    "compare_channels",
    "detection_floor",
    "involvement",
    "measure",
    "measure_evoked",
]
