"""The widgets: they translate and draw. No threshold, no filter, no file access.

review(session)             trial by trial, by keyboard and mouse
show_cues(recording, …)     a picture of the cues found in a trigger channel
"""

from emgreview.views.cues import show_cues
from emgreview.views.trial_review import review

__all__ = ["review", "show_cues"]
