"""Two people's decisions side by side: agreement, what they disagree on, and samples drawn from a review.

Works on logs and tables alone: no recording and no open review is needed.

statistics   the formulas, each beside its source
marks        the decisions of one reviewer, read from the logs
agreement    how far two reviewers agree
merging      base and two reviewers, field by field, with the conflicts
merged       what a merge comes to: values, conflicts, tables
between      what lies between two decisions
keeping_out  what either reviewer keeps out of every analysis, or set aside
repeats      what one reviewer said twice
settling     how long what a third reviewer settled holds
changes      what changed between two points of a review
drawing      samples: stratified, spread, and by the number an acceptance plan asks for
"""
