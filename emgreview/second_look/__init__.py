"""Looking twice: a second reviewer, a third who settles, the reviewer's own spread, and what nobody looked at.

Every plan is written to the log before anything is shown, with what it was drawn by, and no seed comes from outside: it
could be tried until the draw suits. A review opened again goes on with its plan.

sample         trials for a second reviewer: drawn by stratum, or all
adjudication   only what two reviewers disagree on, unnamed and in random order
self_check     silent repeats and hidden automatic marks, reported after sealing
bulk           accept by a rule what a random audit vouches for, with a bound
"""

from emgreview.second_look.adjudication import Adjudication, Candidate, Dispute, adjudicate, reopen
from emgreview.second_look.bulk import BulkAudit, BulkRule, bulk_audit, plan_bulk
from emgreview.second_look.sample import draw_sample
from emgreview.second_look.self_check import SelfCheck, plan_self_check, self_check

__all__ = [
    "Adjudication",
    "BulkAudit",
    "BulkRule",
    "Candidate",
    "Dispute",
    "SelfCheck",
    "adjudicate",
    "bulk_audit",
    "draw_sample",
    "plan_bulk",
    "plan_self_check",
    "reopen",
    "self_check",
]
