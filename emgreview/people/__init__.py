"""People of a study: everybody in one table, who is odd and why, and lists of their trials.

Each recording is measured once (``recorded.py``), recordings of a session are put together with the marks that stand
(``person.py``), people are held against physical rules (``rules.py``) and against one another (``features.py``,
``odd.py``), and what stands out becomes a flag (``flags.py``). A flag excludes nobody.

    summarise       the table and the flags
    Summary         what it returns
    Flag            one of them
"""

from emgreview.people.rules import Flag
from emgreview.people.summary import Summary, summarise

__all__ = ["Flag", "Summary", "summarise"]
