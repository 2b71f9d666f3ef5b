"""Are the channels of many recordings fit for use: each is checked by itself, and all of them are held together.

check_all       findings of every recording
CheckedAll      what it returns
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from emgreview.checking import CHECKED_S, Checked, check, twins
from emgreview.checks import kind, number
from emgreview.errors import tell
from emgreview.model import Recording
from emgreview.running import Outcomes, Runner
from emgreview.showing import Sheet, Shown
from emgreview.signal.findings import Finding
from emgreview.signal.quality import Quality


@dataclass(frozen=True)
class CheckJob:
    """The check of one recording."""

    look_s: float | None
    classes: ClassVar[tuple[type, ...]] = (Quality, Finding)

    def __call__(self, rec: Recording) -> list[Quality]:
        return list(check(rec, look_s=self.look_s))


class CheckedAll(Shown, Mapping[str, Checked]):
    """Findings by recording; :func:`check_all` returns it.

    Attributes
    ----------
    failed : dict of str to str
        By name, why a recording could not be checked.
    twins : tuple of str
        Sentences on recordings that are alike in all that was measured.
    ready : int
        Results that were there from before.
    """

    def __init__(self, outcomes: Outcomes):
        self._found = {one.name: Checked(one.value) for one in outcomes if not one.problem}
        self.failed, self.ready = outcomes.failed, outcomes.ready
        self.twins = tuple(twins(self._found))

    def __getitem__(self, name: str) -> Checked:
        return self._found[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._found)

    def __len__(self) -> int:
        return len(self._found)

    def _parts(self) -> Iterator[Sheet | str]:
        rows: list[tuple[str, ...]] = []
        for name, checked in self._found.items():
            told = [f"{one.label}: {', '.join(found.code for found in one.found)}" for one in checked if one.found]
            rows.append((name, str(len(checked)), str(len(told)), "; ".join(told)))
        yield Sheet("", ("recording", "channels", "with a finding", "what stands out"), rows)
        yield from self.twins
        yield from (f"{name} was not checked: {why}" for name, why in self.failed.items())


def check_all(recordings: Any, *, look_s: float | None = CHECKED_S, runner: Runner | None = None) -> CheckedAll:
    """Look for what may be wrong with the EMG channels of every recording.

    Parameters
    ----------
    recordings : Dataset or sequence of Recording
        A dataset, its recordings, or a list.
    look_s : float or None, default 60.0
        How much of each is looked at, in seconds; None for all of it.
    runner : Runner or None
        Where the work runs and its results are kept; None: in this process, kept nowhere.

    Returns
    -------
    CheckedAll
        By name of the recording what :func:`emgreview.check` returns.

    Raises
    ------
    ParameterError
        An argument is not what it must be.
    ReadError, RunStoppedError, ClusterError
        As :meth:`emgreview.Runner.run`.

    Warns
    -----
    SignalWarning
        What reading a recording has to say, recordings that are alike, and those that could
        not be checked.

    Examples
    --------
    >>> import emgreview as er
    >>> found = er.check_all(er.simulate_study(2, 3, 1000, seed=1).recordings)
    >>> {name: [one.findings for one in checked] for name, checked in found.items()}
    {'sub-01': [(), ()], 'sub-02': [(), ()]}
    """
    kind("runner", runner, (Runner, type(None)), "a Runner, or None")
    if look_s is not None:
        look_s = number("look_s", look_s, above=0, unit="s")
    outcomes = (Runner() if runner is None else runner).run(CheckJob(look_s), recordings)
    outcomes.tell()
    found = CheckedAll(outcomes)
    for sentence in (*found.twins, *(f"{name} was not checked: {why}" for name, why in found.failed.items())):
        tell(sentence)
    return found
