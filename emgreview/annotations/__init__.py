"""Decisions as events in append-only files: write, read, replay, seal, verify.

events         one decision as one line; the lists of words
log            the append-only file of one recording and reviewer
conforming     is a line what the schema says?
ledger         the one fold of logs: values, notes, facts, what can be undone
fields/        one module a decision field: its value, steps, words, columns, merging
reviewer_logs  all logs of one reviewer in a review, as one: open, append
state          what stands of a trial, for people and front ends
proposals      the trials of a review, and what the detection method proposes for each
convention     what the study means by an onset, in its own words
hidden         what a reviewer does not see: automatic marks and silent repeats, as planned in the log
scales         in which unit and gain a recording was read, and whether it comes in another
telling        what a person is told where recordings are not quite those of the logs
versions       sealed, named snapshots; ``verify``
withdrawals    who was withdrawn, and who is told; ``withdrawing`` does it
log_positions  a moment of one reviewer's logs, by version, command or line
differences    what changed between two of them, in words
upgrade        old formats, read for ever
files          the file operations that durability rests on
schema/        the format as JSON Schema, for readers without this package
"""

from emgreview.annotations.convention import Convention as Convention
from emgreview.annotations.verifying import Verified as Verified
from emgreview.annotations.verifying import verify as verify
from emgreview.annotations.withdrawing import Withdrawn as Withdrawn
from emgreview.annotations.withdrawing import withdraw as withdraw
