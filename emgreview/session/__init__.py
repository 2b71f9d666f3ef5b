"""One review: open it, decide, undo, seal. The only mutable object of the package; any front end drives this alone.

Every command validates, appends one event to the log and flushes it, and only then changes the state: the state never
runs ahead of the file. Times that go in or out are seconds from the trial's recorded cue; the log holds sample numbers
of the recording. A decision that changes nothing writes nothing, except on a mark of the re-look list or one accepted
in bulk, where it confirms.

The rooms, each on those above it:

lock            one public method at a time, whatever the thread; errors of a blind review name nobody
policy          what a review is about: what is hidden, what may be decided, what stands
current         what stands now, of trials and channels
around          what stands around them: set aside, marked, added, kept out
judging         what cannot be judged without a look at it, and what is clipped
order           queue, progress, what comes next
recording       one decision: into the log, into the state, taken back, and what it has to say
subjects        where commands are registered, with what each is of
bursts          commands on the bursts of a channel-trial
trials          commands on what else stands of a trial
commands        commands on recordings and people, and of fields that are set as a whole; undo
publishing      decisions as a table, sealed versions
notices         what the reviewer should know
review          one review whole; any command by its name; another method
opening         start it, or go on
"""

from emgreview.annotations.proposals import Automatic
from emgreview.session.around import Aside, Marked
from emgreview.session.commands import COMMANDS
from emgreview.session.current import NOTHING_SHOWN, Ids
from emgreview.session.lock import nobody_named, one_at_a_time
from emgreview.session.opening import open_review
from emgreview.session.policy import Policy
from emgreview.session.review import Session

__all__ = [
    "COMMANDS",
    "NOTHING_SHOWN",
    "Aside",
    "Automatic",
    "Ids",
    "Marked",
    "Policy",
    "Session",
    "nobody_named",
    "one_at_a_time",
    "open_review",
]
