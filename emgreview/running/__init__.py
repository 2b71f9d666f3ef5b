"""Many recordings: each once, by one runner, wherever it runs; results kept by what they depend on.

    Runner, Outcome, Outcomes   recordings in, one result a recording out; what fails stops no other
    Job                         what is done with each
    Cache                       results that are kept
    Progress                    how far the work is

The rooms: ``runner.py`` (what all ways share), ``work.py`` (one recording, wherever that is), ``here.py`` and
``cluster.py`` (the ways), ``cache.py``, ``secret.py`` (by which its results are sealed), ``values.py`` (results as
bytes), ``progress.py``.
"""

from emgreview.running.cache import Cache
from emgreview.running.progress import Progress
from emgreview.running.runner import Outcome, Outcomes, Runner
from emgreview.running.work import Job

__all__ = ["Cache", "Job", "Outcome", "Outcomes", "Progress", "Runner"]
