"""Muscles of arm and hand: what is known of them with its source, look-ups, names of channels, and careful wording."""

from emgreview.muscles.muscle import CAUTION, Action, Fact, Group, Muscle, Relation, Source
from emgreview.muscles.reference import all_groups, all_muscles, members_of, name_of, others

__all__ = [
    "CAUTION",
    "Action",
    "Fact",
    "Group",
    "Muscle",
    "Relation",
    "Source",
    "all_groups",
    "all_muscles",
    "members_of",
    "name_of",
    "others",
]
