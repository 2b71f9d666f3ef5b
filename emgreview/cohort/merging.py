"""Two reviewers' decisions become one: a three-way merge per trial, channel and field, with the conflicts explicit.

The base is what the method proposed before anybody decided. Where only one reviewer decided, that decision stands;
where both said the same, it stands; where their onsets lie within a tolerance, the midpoint stands; anything else is a
conflict, which nobody but a person settles. A third log settles it, see ``adjudication``, for as long as both decisions
stay as they were, see ``settling``. Comments are never dropped: both are kept.

What either keeps out of every analysis is kept out, see ``keeping_out``; what both keep out is in no dispute. A mark
accepted in bulk, which nobody looked at, gives way to whatever the other reviewer decided by eye, and where it stands
it still counts as accepted in bulk.

    signal       conflict where the states differ; reasons of both are kept
    activity     conflict where the words differ (onset marked, none visible …), where other bursts differ in kind, or
                 where onsets lie further apart than the tolerance; offsets make none: their midpoint stands, or the one
    behaviour    conflict where the words differ
    cue          conflict where the corrected cues lie further apart than the tolerance

    merge_reviews   two reviewers of a folder, and perhaps a third: a Merge (see ``merged``)
    merge           the same, from logs read before
    decided         a field's value where one reviewer finished it
"""

import dataclasses
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from emgreview.annotations import state as states
from emgreview.annotations.events import check_reviewer
from emgreview.annotations.known_heads import demand_whole_logs
from emgreview.checks import review_folder, tolerance_ms
from emgreview.cohort.agreement import check_same_recordings, sampled_trials, unknown_scales
from emgreview.cohort.keeping_out import covers, kept_out
from emgreview.cohort.marks import Logs, mark_of, read_logs, told_beside
from emgreview.cohort.merged import (
    CHANNEL_FIELDS,
    DECIDED,
    TRIAL_DECISIONS,
    TRIAL_FIELDS,
    Conflict,
    Merge,
    Merged,
    rule_of,
)
from emgreview.cohort.settling import ADJUDICATE, FIELDS, Item, rounded_in, sides_of, since, stale
from emgreview.errors import ParameterError, UnknownNameError, tell
from emgreview.model import longest, to_sample
from emgreview.tables.decisions import ALONE, BOTH, MIDPOINT, THIRD, Decided


def merge_reviews(
    folder: str | Path, first: str, second: str, third: str | None = None, *, within_ms: float = 10.0
) -> Merge:
    """Merge the decisions of two reviewers of a folder as they stand now, with what a third one
    settled, if any; needs no recordings.

    Parameters
    ----------
    folder : str or Path
        The review folder, with the logs of both.
    first, second : str
        The two reviewers.
    third : str or None
        The reviewer who settled; one without a log has settled nothing yet.
    within_ms : float, default 10.0
        Onsets no further apart than this, in milliseconds, count as the same.

    Returns
    -------
    Merge
        What stands, what is in conflict, and what is kept out.

    Raises
    ------
    ReadError
        The folder, or one in it, cannot be looked at.
    UnknownNameError
        One of the two has no log.
    LogBrokenError
        A log is broken.
    LogError
        The two reviewed different samples under one name.
    ParameterError
        Two of the reviewers are the same, or ``within_ms`` is no tolerance.

    Warns
    -----
    SignalWarning
        A log kept no scale, so that it cannot be checked; people were withdrawn, or something
        in the folder was passed over. This stays in ``notes``.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for code in ("r1", "r2"):
    ...         with er.open_review(trials, folder, reviewer=code) as session:
    ...             _ = [session.accept_rest(trial) for trial in session.queue]
    ...             if code == "r2":
    ...                 _ = session.unusable(session.queue[0], "antagonist", ["heart beats"])
    ...     found = er.merge_reviews(folder, "r1", "r2")
    >>> [conflict.field for conflict in found.conflicts]
    ['signal']
    """
    if len({first, second, third}) < 3:
        raise ParameterError(f"reviewers {first!r}, {second!r} and {third!r} came; give two, or three, that differ.")
    tolerance_ms("within_ms", within_ms)
    one, two = read_logs(folder, first), read_logs(folder, second)
    logs, rounded = None, False
    if third is not None:
        check_reviewer(third)
        try:
            logs = read_logs(folder, third)
        except UnknownNameError:
            demand_whole_logs(review_folder(folder), third)
            logs = Logs(third)
        note = logs.note(ADJUDICATE)
        rounded = note is not None and rounded_in(note.new)
    merged = merge(one, two, logs, within_s=within_ms / 1000, rounded=rounded)
    beside = told_beside(folder, *filter(None, (first, second, third)))
    merged = dataclasses.replace(merged, notes=(*merged.notes, *beside))
    for words in merged.notes:
        tell(words)
    return merged


def merge(one: Logs, two: Logs, third: Logs | None = None, *, within_s: float, rounded: bool = False) -> Merge:
    """Merge two reviewers' logs; where a third settled a conflict, that stands.

    ``within_s``: onsets no further apart count as the same; ``rounded``: after it was rounded to samples, as in the
    first logs. Raises LogError where the two reviewed different samples.
    """
    check_same_recordings(one, two)
    drawn = sampled_trials(one, two)
    kept = kept_out(one, two)
    agreed = [entry.key for entry in kept if len(entry.by) == 2]
    parts: dict[Item, tuple[dict[str, Merged], list[Conflict]]] = {}
    in_bulk: set[Item] = set()
    sides: dict[Item, str] = {}
    rates = {**two.rates_hz, **one.rates_hz}
    for item in _items(one, two):
        found, disputes = merge_item(one, two, item, _samples(within_s, rates[item[0]], rounded))
        if drawn is not None and item[1] not in drawn:
            alone = Decided((one.reviewer,), ALONE)
            found |= {
                clash.field: Merged(clash.first, f"{one.reviewer}: not drawn for comparison", alone)
                for clash in disputes
            }
            disputes = []
        participant = one.participants.get(item[0]) or two.participants.get(item[0])
        if any(covers(key, item, participant) for key in agreed):
            disputes = []
        if item[2] and "activity" in found and not disputes and not any(_by_eye(logs, item) for logs in (one, two)):
            in_bulk.add(item)
        if disputes:
            names = ("signal", "activity") if item[2] else TRIAL_DECISIONS
            sides[item] = sides_of(*({name: decided(logs, item, name) for name in names} for logs in (one, two)))
        parts[item] = found, disputes
    after = since(third.notes, sides) if third else {}
    values: dict[tuple[Item, str], Merged] = {}
    conflicts: list[Conflict] = []
    unsettled: list[Item] = []
    reopened: list[Item] = []
    for item, (found, disputes) in parts.items():
        if disputes and third is not None:
            said, gone = _said_by(third, item, after[item])
            settled = _settled(third.reviewer, said, item, disputes, found.get("signal"))
            if settled is not None:
                found, disputes = found | settled, []
            elif said.get("discuss"):
                unsettled.append(item)
            elif gone:
                reopened.append(item)
        if disputes:  # a mark does not stand while it is in dispute whether the signal can be used
            found = {name: value for name, value in found.items() if name != "activity"}
        values |= {(item, name): value for name, value in found.items()}
        conflicts += disputes
    heads = {**one.heads, **two.heads, **(third.heads if third else {})}
    name = third.reviewer if third else None
    return Merge(
        first=one.reviewer,
        second=two.reviewer,
        third=name,
        within_s=within_s,
        rounded=rounded,
        values=values,
        conflicts=tuple(conflicts),
        unsettled=tuple(unsettled),
        reopened=tuple(reopened),
        kept_out=kept,
        participants={**two.participants, **one.participants},
        in_bulk=frozenset(in_bulk),
        sides=sides,
        notes=unknown_scales(one, two),
        heads=heads,
        rates_hz=rates,
    )


def merge_item(one: Logs, two: Logs, item: Item, within: float) -> tuple[dict[str, Merged], list[Conflict]]:
    """Every field of one channel-trial or trial: what stands, and what is in conflict. ``within`` in samples."""
    found: dict[str, Merged] = {}
    disputes: list[Conflict] = []
    seen = [item[2] is None or _by_eye(logs, item) for logs in (one, two)]
    for name in TRIAL_FIELDS if item[2] is None else CHANNEL_FIELDS:
        a, b = (decided(logs, item, name) for logs in (one, two))
        if name in DECIDED and seen == [False, True] and _in_bulk(one, item):
            a = None
        if name in DECIDED and seen == [True, False] and _in_bulk(two, item):
            b = None
        if a is None and b is None:
            continue
        if a is None or b is None:
            who, value = (two, b) if a is None else (one, a)
            found[name] = Merged(value, f"{who.reviewer} alone", Decided((who.reviewer,), ALONE))
        elif a == b:
            found[name] = Merged(a, "same", Decided((one.reviewer, two.reviewer), BOTH))
        elif why := (rule := rule_of(name)).clash(a, b, within):
            disputes.append(Conflict(item, name, a, b, why))
        else:
            how = MIDPOINT if rule.midway(a, b) else BOTH
            found[name] = Merged(rule.join(a, b), rule.how, Decided((one.reviewer, two.reviewer), how))
    signal = found.get("signal")
    if signal and signal.value.state == "unusable":  # nothing is left to be marked there
        disputes = [conflict for conflict in disputes if conflict.field != "activity"]
    return found, disputes


def decided(logs: Logs, item: Item, name: str) -> Any:
    """A field's value where the reviewer decided and finished, None otherwise."""
    value = logs.value(*item, name)
    if name == "activity":
        finished = value is not None and states.reviewed(value, states.USABLE)
        return value if finished else None
    if name == "signal":
        return value if logs.mark(_unit(item)).reviewed else None
    return value or None


# Inside ----------------------------------------------------------------------------------------------------------


def _by_eye(logs: Logs, item: Item) -> bool:
    """Whether a reviewer finished a channel-trial, and looked at it."""
    return logs.mark(_unit(item)).reviewed and not _in_bulk(logs, item)


def _in_bulk(logs: Logs, item: Item) -> bool:
    return logs.in_bulk(_unit(item))


def _items(*logs: Logs) -> list[Item]:
    keys = {
        (recording, trial, channel)
        for one in logs
        for recording, trial, channel, name, _ in one.ledger.decided()
        if recording and trial and name in (*CHANNEL_FIELDS, *TRIAL_FIELDS)
    }
    return sorted(keys, key=lambda item: (item[0], item[1], item[2] or ""))


def _samples(within_s: float, rate_hz: float, rounded: bool) -> float:
    return to_sample(within_s, rate_hz) if rounded else longest(within_s, rate_hz)


def _unit(item: Item) -> tuple[str, str, str]:
    recording, trial, channel = item
    assert channel is not None
    return recording, trial, channel


def _said_by(third: Logs, item: Item, after: float) -> tuple[dict[str, Any], bool]:
    """What the third reviewer says of an item, by field, and whether any of it no longer holds."""
    entries = {key: entry for name in FIELDS if (entry := third.ledger.entry(key := (*item, name, None)))}
    gone = stale(third.ledger.counter, {item: after})
    return {key[3]: entry.value for key, entry in entries.items() if key not in gone}, bool(gone)


def _settled(
    third: str, said: Mapping[str, Any], item: Item, disputes: Sequence[Conflict], signal: Merged | None
) -> dict[str, Merged] | None:
    """What the third reviewer made of an item's conflicts, None where it is not finished; ``signal`` is the one that
    the two agree on, if they do."""
    names = ("signal", "activity") if item[2] else tuple(conflict.field for conflict in disputes)
    values = {name: said[name] for name in names if said.get(name) is not None}
    if item[2]:
        finished = mark_of(said.get("activity"), said.get("signal")).reviewed
        values.setdefault("signal", states.USABLE if signal is None else signal.value)
    else:
        finished = len(values) == len(names)
    by = Decided((third,), THIRD)
    return {name: Merged(value, f"settled by {third}", by) for name, value in values.items()} if finished else None
