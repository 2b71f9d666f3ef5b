"""The widgets: they translate and draw. No threshold, no filter, no file access.

review(session)             trial by trial, by keyboard and mouse
participants(data)          people of a study: who is odd, why, and one key to the trial
long_view(recording)        a whole recording, however long
show_cues(recording, …)     a picture of the cues found in a trigger channel
study_form(folder)          a form that describes a folder of a lab's own files
"""

from emgreview.views.cues import show_cues
from emgreview.views.long_view import long_view
from emgreview.views.people import participants
from emgreview.views.study_form import study_form
from emgreview.views.trial_review import review

__all__ = ["long_view", "participants", "review", "show_cues", "study_form"]
