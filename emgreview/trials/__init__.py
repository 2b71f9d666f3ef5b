"""From a continuous recording to conditioned trials.

cut_trials          the stretches around every marker with one label, conditioned: ``cutting.py``
LaterTrials         the same, cut where it is looked at: ``later.py``
notes_on            those notes of a cut that are about one trial, or about one channel: ``notes.py``
check, mains        found in :mod:`emgreview.checking`, and by these names too
"""

from emgreview.checking import check, mains
from emgreview.trials.bursts import with_bursts
from emgreview.trials.cutting import cut_trials
from emgreview.trials.later import LaterTrials, is_later
from emgreview.trials.notes import level_says, notes_on

__all__ = ["LaterTrials", "check", "cut_trials", "is_later", "level_says", "mains", "notes_on", "with_bursts"]
