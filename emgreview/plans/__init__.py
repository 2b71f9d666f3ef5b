"""Before the trials: which muscles, what is to be logged, how many trials; on paper, as a file, as a BIDS skeleton.

fields        what a person fills in: every field, what it is for, and what may stand in it
proposing     muscles that a movement asks for, each with its part
planning      a plan: ``plan``, and ``Plan``, which shows itself and says what is missing
files         a plan as a file, ``plan.toml``, and back
joining       the plan goes with a recording: what each channel lies over
words         cautions, the order of a session, and what published standards ask to be reported
sheet         the session sheet, one HTML page to print
skeleton      the BIDS files to fill in
precision     how many trials and people a wanted precision takes
"""

from emgreview.plans.planning import Plan, Site, plan, read_plan
from emgreview.plans.precision import TrialsNeeded, trials_needed

__all__ = ["Plan", "Site", "TrialsNeeded", "plan", "read_plan", "trials_needed"]
