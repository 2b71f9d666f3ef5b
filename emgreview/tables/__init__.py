"""Tidy tables of decisions: made, written as text, sealed versions read back, and included by rule.

decisions       states to a table; what each column means
text            tables as tab-separated text, and back
versions        sealed versions as tables
rules           declarative rules for inclusion, to and from files
inclusion       which rows a rule takes, and which flip when it changes
typed           refuse a table whose numbers or truths came as text
"""

import pandas as pd

from emgreview.tables.decisions import COLUMNS as COLUMNS
from emgreview.tables.decisions import WAYS as WAYS
from emgreview.tables.decisions import Decided as Decided
from emgreview.tables.decisions import Said as Said
from emgreview.tables.decisions import decisions_table as decisions_table
from emgreview.tables.decisions import describe as describe
from emgreview.tables.inclusion import Flips as Flips
from emgreview.tables.inclusion import compare_rules as compare_rules
from emgreview.tables.inclusion import include as include
from emgreview.tables.rules import LeftOut as LeftOut
from emgreview.tables.rules import Rule as Rule
from emgreview.tables.text import HOW as HOW
from emgreview.tables.text import from_tsv as from_tsv
from emgreview.tables.text import to_tsv as to_tsv
from emgreview.tables.versions import read_version as read_version

Table = pd.DataFrame
