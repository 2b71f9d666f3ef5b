"""Decisions as events in append-only files: write, read, replay, seal, verify.

events      one decision as one line; the lists of words
log         the append-only file; ``verify``
state       the state that events lead to
versions    sealed, named snapshots
upgrade     old formats, read for ever
files       the file operations that durability rests on
schema/     the format as JSON Schema, for readers without this package
"""

from emgreview.annotations.versions import Verified as Verified
from emgreview.annotations.versions import verify as verify
