"""Whole studies: what is done with one recording, done with all of them by one runner.

check_all       findings of every recording: ``checked.py``
cut_all         trials of every recording, cut at once, or later by a runner: ``cut.py``
cut_as_ready    the same without waiting for all: ``arriving.py``
detect_all      onsets of every trial and channel, as one table: ``detected.py``
"""

from emgreview.many.arriving import ArrivingTrials, cut_as_ready
from emgreview.many.checked import CheckedAll, check_all
from emgreview.many.cut import cut_all
from emgreview.many.detected import detect_all

__all__ = ["ArrivingTrials", "CheckedAll", "check_all", "cut_all", "cut_as_ready", "detect_all"]
