"""Muscles of arm and hand: what is known of them with its source, look-ups, names of channels, and careful wording.

The facts stand in ``muscles.toml``, the words of movements and labels in ``words.toml``; both say how to add one.

    reference       the data, read and checked
    facts           what is known of a muscle, as frozen values
    movements       plain words to movements
    names           what a label may mean
    looking_up      ``muscles`` and ``muscle``
    matching        ``match_muscles``
    wording         sentences about channels that claim no more than pads can tell
    page            all of it as a page to browse and print
"""

from emgreview.muscles.facts import CAUTION, Action, Fact, Group, Muscle, Relation, Source
from emgreview.muscles.looking_up import Found, muscle, muscles
from emgreview.muscles.matching import Match, Matches, match_muscles
from emgreview.muscles.reference import all_groups, all_muscles, members_of, name_of, others

__all__ = [
    "CAUTION",
    "Action",
    "Fact",
    "Found",
    "Group",
    "Match",
    "Matches",
    "Muscle",
    "Relation",
    "Source",
    "all_groups",
    "all_muscles",
    "match_muscles",
    "members_of",
    "muscle",
    "muscles",
    "name_of",
    "others",
]
