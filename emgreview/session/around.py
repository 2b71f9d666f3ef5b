"""What stands around the trials of a review now: set aside, marked, added, kept out.

Around              of recordings and participants
Aside, Marked       a stretch set aside, a burst marked outside all trials
"""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from emgreview.annotations import state as states
from emgreview.errors import UnknownNameError
from emgreview.model import Marker, Recording
from emgreview.session.current import Current
from emgreview.session.lock import one_at_a_time


class Aside(NamedTuple):
    """A stretch set aside: samples of the recording, ``stop`` past the last."""

    recording: str
    channel: str
    start: int
    stop: int
    reasons: tuple[str, ...]


class Marked(NamedTuple):
    """A burst marked outside all trials: onset and offset samples."""

    recording: str
    channel: str
    start: int
    stop: int
    kind: str


@one_at_a_time
class Around(Current):
    """What decisions on recordings and participants have left."""

    def _recording(self, name: str) -> Recording:
        recordings = self._proposals.recordings
        if name not in tuple(recordings):  # also where it is nothing that could be a name
            raise UnknownNameError("recording", name, recordings)
        return recordings[name]

    def _kept_in(self, field: str) -> Iterator[tuple[str, str | None, Any]]:
        """What stands of one of these fields: recording, channel, value; in the order of the recording."""
        found = [
            (str(recording), channel, value)
            for (recording, _, channel, name, _), value in self._rare.items()
            if name == field and value is not None
        ]
        yield from sorted(found, key=lambda one: (one[0], one[1] or "", one[2].start))

    @property
    def aside(self) -> tuple["Aside", ...]:
        """Stretches set aside: recording, channel, start and stop samples, reasons."""
        return tuple(Aside(recording, str(channel), *value) for recording, channel, value in self._kept_in("set aside"))

    @property
    def marked(self) -> tuple["Marked", ...]:
        """Bursts marked outside all trials: recording, channel, onset and offset samples, kind."""
        return tuple(
            Marked(recording, str(channel), *value) for recording, channel, value in self._kept_in("marked burst")
        )

    @property
    def added_cues(self) -> tuple[tuple[str, int, str], ...]:
        """Cues added by hand: recording, sample, label."""
        return tuple((name, value.sample, value.label) for name, _, value in self._kept_in("added cue"))

    def with_added_cues(self, recording: str | Recording) -> Recording:
        """A recording of this review with the cues that were added by hand among its markers.

        Parameters
        ----------
        recording : str or Recording
            The recording, or its name.

        Returns
        -------
        Recording

        Raises
        ------
        UnknownNameError
            No recording has that name.
        """
        source = self._recording(recording.name if isinstance(recording, Recording) else recording)
        added = [Marker(sample, label, "added") for name, sample, label in self.added_cues if name == source.name]
        return source.with_markers([*source.markers, *added])

    @property
    def no_cues(self) -> Mapping[str, str]:
        """Trials whose cue is none, and why."""
        values = self._rare.items()
        return {str(key[1]): reason for key, reason in values if key[3] == "no cue" and reason}

    @property
    def excluded(self) -> tuple[tuple[str, str, str | None, str], ...]:
        """What is excluded: ("recording", name, channel or None, reason), sorted, then
        ("participant", name, None, reason).
        """
        found = [(key, value) for key, value in self._rare.items() if key[3] in states.EXCLUDED and value]
        rows = [
            ("recording", str(recording), channel, reason)
            if field == "excluded"
            else ("participant", str(participant), None, reason)
            for (recording, _, channel, field, participant), reason in found
        ]
        return tuple(sorted(rows, key=lambda row: (row[0] == "participant", row[1], row[2] or "")))
