"""What else bears on the bound of an acceptance in bulk, as parts of its statement, which log and sealed versions keep.

besides     all of it, in words
"""

from emgreview.annotations.events import Event
from emgreview.cohort.repeats import PLAN as SELF_CHECK
from emgreview.session import Session

ANEW = (
    "; the draw follows from the stored samples of these files and from their cues: in a new folder, files saved anew "
    "or other cues draw anew, which nothing here can see"
)
"""What every statement ends with."""


def besides(session: Session, plan: Event) -> str:
    """What was decided, kept out, hidden or not open before an audit was planned, other audits, and what nobody can
    see: each begins with "; "."""
    if "drawn_by" not in plan.new:
        return "; the sample came from a seed, as in the first version of the package, where it could be chosen"
    before, audits, words = plan.new["before"], plan.new["earlier_audits"], ""
    if before["moved"]:
        words += f"; {before['moved']} of these had been found moved by eye before the audit was planned"
    if before["as they were"] or before["kept out"]:
        words += (
            f"; the draw passed over {before['as they were']} accepted by eye before, and {before['kept out']} "
            "kept out by a caution or set aside"
        )
    if before.get("not open"):
        words += f"; {before['not open']} trials that had been cut in this folder were not open"
    if audits["planned"]:
        words += (
            f"; audits planned in this folder before: {audits['planned']}, of which {audits['passed']} had "
            "passed; each bound is meant for one"
        )
    return words + _narrowed(session, plan) + ANEW


def _narrowed(session: Session, plan: Event) -> str:
    """How many trials are not in the queue, and how many marks were hidden before: neither could be in the lot."""
    words = ""
    there = {trial for trials in session.trials for trial in trials.ids}
    queue = {session.source(trial) for trial in session.queue}
    if left := len(there - queue):
        words += f"; the review was narrowed to {len(queue)} of {len(there)} trials, and {left} could not be in the lot"
    before = [note for note in session.notes if note.operation == SELF_CHECK and note.counter < plan.counter]
    if hidden := sum(trial in queue for note in before for trial, _ in note.new["hide"]):
        words += f"; {hidden} channels of trials whose automatic mark a self-check hides could not be in it either"
    return words
