"""Recordings to a BIDS dataset of EMG, with the least loss, and without what says who was recorded.

    convert(data, folder, ...)      write it, read it back, tell what was lost, removed and kept
    identifying(data)               what may say who a person is

Rooms: who and when (``plan``, ``people``, ``origins``), what is removed (``rules``, ``traces``), samples to whole
numbers (``grid``), data records (``records``), files (``signals``, ``tables``, ``words``), and the proof
(``verifying``).
"""

from emgreview.converting.conversion import convert
from emgreview.converting.report import Converted
from emgreview.converting.traces import Identifying, identifying

__all__ = ["Converted", "Identifying", "convert", "identifying"]
