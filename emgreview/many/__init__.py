"""Whole studies: what is done with one recording, done with all of them by one runner.

check_all       findings of every recording: ``checked.py``
cut_all         trials of every recording, cut at once, or later by a runner: ``cut.py``
detect_all      onsets of every trial and channel, as one table: ``detected.py``
"""

from emgreview.many.checked import CheckedAll, check_all
from emgreview.many.cut import cut_all
from emgreview.many.detected import detect_all

__all__ = ["CheckedAll", "check_all", "cut_all", "detect_all"]
