"""Two people's decisions side by side: agreement, what they disagree on, and samples drawn from a review.

Works on logs and tables alone: no recording and no open review is needed.

statistics   the formulas, each beside its source
marks        the decisions of one reviewer, read from the logs
agreement    how far two reviewers agree
merging      base and two reviewers, field by field, with the conflicts
drawing      samples: stratified, spread, and by the number an acceptance plan asks for
"""
