"""What lies between two decisions that are both acceptable, as the modules of ``annotations.fields`` say it.

midpoint        of two activities, or DecisionError
more_careful    of two signal states
between         of two samples
active_bursts   the bursts of an activity that count, in order of time
"""

from emgreview.annotations.fields.activity import active_bursts as active_bursts
from emgreview.annotations.fields.activity import midpoint as midpoint
from emgreview.annotations.fields.field import between as between
from emgreview.annotations.fields.signal import more_careful as more_careful
