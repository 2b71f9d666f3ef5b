"""What a review gives away: decisions as a table, and sealed versions.

Publishing      decisions, seal
"""

import dataclasses
from collections.abc import Callable
from typing import Any

from emgreview import tables
from emgreview.annotations import state as states
from emgreview.annotations.environment import installed, machine
from emgreview.annotations.events import check_name
from emgreview.annotations.files import FileSystem
from emgreview.annotations.state import Activity
from emgreview.annotations.versions import Sealed, demand_decided, next_version, seal_version
from emgreview.errors import EmgreviewError, LogError, LogReadOnlyError, tell
from emgreview.session.awaiting import Awaiting
from emgreview.session.current import Ids
from emgreview.session.lock import one_at_a_time


@one_at_a_time
class Publishing(Awaiting):
    """Decisions as tables, and as versions that never change."""

    _files: FileSystem | None

    @property
    def bulk_sentences(self) -> Ids:
        """What every acceptance in bulk is worth, in the words that the log keeps; a sealed version
        holds them too.
        """
        own = tuple(note.new["sentence"] for note in self.notes if note.operation == states.ACCEPTANCE)
        return (*self._policy.bulk_sentences, *own)

    def decisions(self) -> tables.Table:
        """Every decision as a tidy table; see :mod:`emgreview.tables`.

        Returns
        -------
        DataFrame
            One row a burst or channel-trial; times in seconds from the corrected cue, missing
            where nothing stands. ``table.attrs["recordings"]`` says what each recording is and in
            which scale it was read, and ``table.attrs["outside_trials"]`` which bursts were marked
            and which cues added outside all trials, as a version does.

        Warns
        -----
        SignalWarning
            Recordings are still to come: the table is without them.
        """
        if self.awaited:
            tell(self.neutral(f"The table is not of all: {self.awaited}"))
        table = self._table(self._shown)
        table.attrs["recordings"] = tables.Said(self._described())
        table.attrs["outside_trials"] = tables.Said(self._outside())
        return table

    def _outside(self) -> dict[str, dict[str, list[dict[str, Any]]]]:
        """What no row says of each recording: bursts marked and cues added outside its trials, in samples."""
        out: dict[str, dict[str, list[dict[str, Any]]]] = {
            name: {"marked": [], "added_cues": []} for name in self._proposals.recordings
        }
        for name, channel, start, stop, kind in self.marked:
            mark = {"channel": channel, "onset_sample": start, "offset_sample": stop, "kind": kind}
            out.setdefault(name, {"marked": [], "added_cues": []})["marked"].append(mark)
        for name, sample, label in self.added_cues:
            out.setdefault(name, {"marked": [], "added_cues": []})["added_cues"].append(
                {"sample": sample, "label": label}
            )
        return out

    def _described(self) -> dict[str, dict[str, Any]]:
        """What each recording of the review is, and how it was read, conditioned and searched."""
        return {
            name: {
                "rate_hz": one.rate_hz,
                "fingerprint": dataclasses.asdict(one.fingerprint),
                "scales": self._logs.scales(name),
                **self._logs.method(name),
            }
            for name, one in self._proposals.recordings.items()
        }

    def _table(self, activity_of: Callable[[str, str], Activity], onset_alone: bool = False) -> tables.Table:
        places = self._proposals.places
        return tables.decisions_table(
            [self._state(trial, activity_of) for trial in places],
            reviewer=self.reviewer,
            cues={trial: place.trials.cues[place.row] for trial, place in places.items()},
            participants={name: one.entities.get("sub") for name, one in self._proposals.recordings.items()},
            stops={trial: place.stop for trial, place in places.items()},
            aside=self.aside,
            excluded=(
                *self.excluded,
                *(("trial", trial, None, f"no cue, {why}") for trial, why in self.no_cues.items()),
            ),
            decided=self._policy.decided_by,
            blind=self.blind,
            onset_alone=onset_alone,
        )

    @property
    def next_version(self) -> str:
        """A name for the next sealed version: the first of "v1", "v2" … that is free."""
        return next_version(self.folder)

    def seal(self, name: str, rule: tables.Rule | None = None) -> Sealed:
        """Write the decisions as they stand as a named version that never changes.

        Parameters
        ----------
        name : str
            Name of the version; :attr:`next_version` is free.
        rule : Rule or None
            Also say which rows it includes, and keep the rule itself.

        Returns
        -------
        Sealed
            Name, folder and the SHA-256 to quote.

        Raises
        ------
        ReadError
            The folder, or one in it, cannot be looked at.
        LogReadOnlyError
            No decision can be taken.
        VersionError
            The name is taken, or the version cannot be written.
        LogError
            A log cannot be read, or ends in an unfinished line.
        ParameterError
            The name is none that a folder can have.
        DecisionError
            Nothing was decided, or all was taken back; the table does not have what the rule
            speaks of; recordings are still to come.

        Warns
        -----
        SignalWarning
            A recording that was to come has failed: the version is without it.
        """
        if self.problem:
            raise LogReadOnlyError(f"{self.problem}; nothing was sealed.")
        self.demand_all("Sealing")
        if self.awaited:
            tell(self.neutral(f"The version is not of all: {self.awaited}"))
        name = check_name("version name", name)
        demand_decided(self._policy.others_decided or self._ledger.decides, self.reviewer, self.folder)
        table, description = self.as_version(rule)
        try:
            own = self._logs.heads(self.folder)
        except OSError as why:
            raise LogError(
                f"a log cannot be looked at ({why.strerror or why}); nothing was sealed; check the folder with verify."
            ) from why
        sealed = seal_version(self.folder, name, table, description, self._files, own=own)
        try:
            for recording in self._proposals.recordings:
                self._logs.append(recording, "seal", "log", None, {"version": name, "sha256": sealed.sha256})
        except EmgreviewError as why:
            why.args = (
                f"Version {name!r} is written and whole, SHA-256 {sealed.sha256}; that it was sealed does not stand in "
                f"every log; keep that number to read it by: {why}",
            )
            raise
        return sealed

    def as_version(
        self, rule: tables.Rule | None = None, *, onset_alone: bool = False, sealed: bool = False
    ) -> tuple[bytes, dict[str, Any]]:
        """What :meth:`seal` would write now.

        Parameters
        ----------
        rule : Rule or None
            As for :meth:`seal`.
        onset_alone : bool, default False
            As versions without the column "aside_samples" were sealed: of a burst without an
            offset, "set_aside" asks the onset alone.
        sealed : bool, default False
            A version was sealed with that rule, whatever it leaves out.

        Returns
        -------
        (bytes, dict)
            The table as text, and its description without the heads of the logs.

        Raises
        ------
        DecisionError
            The table does not have what the rule speaks of.
        """
        table = self._table(self._sealed, onset_alone)
        inclusion = None
        if rule is not None:
            table = tables.include(table, rule, sealed=sealed)
            inclusion = {"rule": rule.as_dict(), "sha256": rule.sha256, "included": int(table["included"].sum())}
        description = {
            "reviewer": self.reviewer,
            "blind": self.blind,
            "convention": self.convention,
            "columns": tables.describe(table),
            "text": tables.HOW,
            "inclusion": inclusion,
            "bulk": list(self.bulk_sentences),
            "trials": [
                {"recording": part.recording.name, "cue": part.cue, "before": part.before, "length": len(part.time_s)}
                for part in self.trials
            ],
            "recordings": self._described(),
            "outside_trials": self._outside(),
            "scale_notes": list(self._logs.scale_notes),
            "packages": installed(),
            "machine": machine(),
        }
        return tables.to_tsv(table), description
