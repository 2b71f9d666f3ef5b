"""What a conversion tells when it is done."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from emgreview.converting.traces import JUDGE
from emgreview.showing import Sheet, Shown, number


@dataclass(frozen=True, slots=True)
class Loss:
    """What a channel lost on the way.

    Attributes
    ----------
    recording : str
        Its new name.
    channel : str
        Its new label.
    unit : str
        Unit of ``largest_error``.
    largest_error : float
        Largest difference between a sample and its source; 0 where they are the same to 12
        digits.
    missing : int
        Missing samples, which are kept as such.
    copied : bool
        Whether the stored numbers are those of the source.
    """

    recording: str
    channel: str
    unit: str
    largest_error: float
    missing: int
    copied: bool


@dataclass(frozen=True, repr=False)
class Converted(Shown):
    """A conversion that is done; :func:`emgreview.convert` returns it.

    Attributes
    ----------
    folder : Path
        The new dataset.
    names : mapping of str to str
        New name of each recording that was converted, by its old one.
    losses : tuple of Loss
        One for each channel: its largest error, in its own unit.
    trial_ids : mapping of str to str
        New id of each trial by its old one, around every marker; ids that are not in it
        stayed the same.
    labels : mapping of str to str
        New label of each channel that could not keep its own.
    changed : mapping of tuple of str to int
        How often something was removed or replaced, by what it was and what became of it.
        Values are not repeated.
    kept : tuple of str
        What was kept and a person should look at.
    shift_days : mapping of str to int
        By participant, the days by which dates were moved back. The dataset does not hold
        them: keep them, or delete them, yourself.
    failed : mapping of str to str
        Recordings that could not be converted, and why.
    notes : tuple of str
        What else has to be known.
    """

    folder: Path
    names: Mapping[str, str]
    losses: tuple[Loss, ...] = ()
    trial_ids: Mapping[str, str] = field(default_factory=dict)
    labels: Mapping[str, str] = field(default_factory=dict)
    changed: Mapping[tuple[str, str], int] = field(default_factory=dict)
    kept: tuple[str, ...] = ()
    shift_days: Mapping[str, int] = field(default_factory=dict)
    failed: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether every recording was converted."""
        return not self.failed

    def _parts(self) -> Iterator[Sheet | str]:
        n = len(self.names)
        yield f"{n} recording{'s' * (n != 1)} converted to {self.folder}, read back and compared sample by sample."
        lossy = [one for one in self.losses if one.largest_error]
        copied = sum(one.copied for one in self.losses)
        exact = len(self.losses) - len(lossy) - copied
        yield f"Channels: {copied} with the stored numbers of their source, {exact} without loss, {len(lossy)} rounded."
        if lossy:
            rows = [(one.recording, one.channel, f"{number(one.largest_error)} {one.unit}") for one in lossy]
            yield Sheet("Rounded", ("recording", "channel", "largest error"), rows)
        if missing := sum(one.missing for one in self.losses):
            yield f"{missing} missing samples are kept as such, by a number below the digital range."
        if self.trial_ids:
            yield f"{len(self.trial_ids)} ids of trials are new: trial_ids has the new one of each old one."
        yield from (f"Channel {old!r} is now called {new!r}." for old, new in self.labels.items())
        if self.changed:
            rows = [(what, becomes, str(count)) for (what, becomes), count in self.changed.items()]
            yield Sheet("Removed or changed", ("what", "became", "times"), rows)
        yield from (f"Kept, look at it: {words}" for words in self.kept)
        if any(self.shift_days.values()):
            yield "Dates were moved back: shift_days has the number of days, which the dataset does not hold."
        yield from self.notes
        yield from (f"{name} is left out: {words}" for name, words in self.failed.items())
        if self.changed or self.kept:
            yield from JUDGE
