"""Which rows of a table of decisions belong in an analysis: computed by a declarative rule, never typed.

Everything that the rule does not allow keeps a row out, and so does everything that was excluded by a logged decision.
Times are seconds from the cue.

    include             a table with the columns "included" and "why_not"
    compare_rules       which rows flip when the rule changes, in words, as a table, by condition
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from emgreview.checks import kind, perhaps
from emgreview.errors import DecisionError, ParameterError
from emgreview.showing import Sheet, Shown
from emgreview.tables.named import demand_named
from emgreview.tables.rules import NOT_STATED, Rule
from emgreview.tables.typed import demand_typed


def include(table: pd.DataFrame, rule: Rule, *, sealed: bool = False) -> pd.DataFrame:
    """Which rows of a table of decisions a rule includes.

    Parameters
    ----------
    table : DataFrame
        Decisions, as :func:`emgreview.read_version` or :meth:`Session.decisions` gives.
    rule : Rule
        The rule.
    sealed : bool, default False
        The table was sealed with that rule, and names in it that the table lacks are what was
        sealed.

    Returns
    -------
    DataFrame
        A copy with "included", and "why_not": every part of the rule that keeps a row out,
        missing where none does. ``table.attrs["rule"]`` holds the rule, and
        ``table.attrs["bursts_left_out"]`` how many bursts that stand it leaves out.

    Raises
    ------
    ParameterError
        The table or the rule is none, the rule's ``onset_s`` are milliseconds, or codes that
        it leaves out came as numbers.
    UnknownNameError
        The rule leaves out a name that the table lacks, and that is like one which it has.
    DecisionError
        The table does not have what the rule speaks of, as participants in a blind review,
        or a rule that leaves participants out meets recordings that name none.

    Warns
    -----
    SignalWarning
        The rule leaves out what is not in the table.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 2, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = session.accept_rest(session.where)
    ...         table = session.decisions()
    >>> done = er.include(table, er.Rule(name="main", version=1))
    >>> done[["included", "why_not"]].values.tolist()
    [[True, <NA>], [True, <NA>], [False, 'not reviewed'], [False, 'not reviewed']]
    """
    kind("table", table, pd.DataFrame, "a table of decisions, as read_version or Session.decisions() gives")
    kind("rule", rule, Rule, "a Rule, as Rule(name=…, version=…, onset_s=(0.08, 0.8)) or Rule.read(path) gives")
    _demand_columns(table)
    _demand_seconds(table, rule)
    needed = {one for left in rule.leave_out for one in ("participant", "recording", "channel") if getattr(left, one)}
    if missing := sorted(needed - set(table.columns)):
        raise DecisionError(
            f"the rule leaves out by {', '.join(missing)}, which this table does not show; a blind review hides it: "
            "unblind first, or exclude it by a decision of the session."
        )
    if "participant" in needed and (nameless := sorted(set(table["recording"][table["participant"].isna()]))):
        few = ", ".join(nameless[:6]) + (f" … ({len(nameless)} in all)" if len(nameless) > 6 else "")
        raise DecisionError(
            "the rule leaves out by participant, but these recordings do not name theirs, as those of a plain folder "
            f"do not: {few}; every recording must, or the rule would keep in whom it means to leave out; leave out by "
            "recording instead, or lay the study out as a BIDS dataset."
        )
    if not sealed:
        demand_named(table, rule)
    reasons: list[list[str]] = [[] for _ in range(len(table))]
    for place, row in enumerate(table.astype(object).where(table.notna(), None).to_dict("records")):
        reasons[place] = list(_why_not(row, rule))
    result = table.drop(columns=["included", "why_not"], errors="ignore").copy()
    result["included"] = pd.array([not why for why in reasons], dtype="boolean")
    result["why_not"] = pd.array(["; ".join(why) or None for why in reasons], dtype="string")
    result.attrs = {**table.attrs, "rule": rule.as_dict(), "bursts_left_out": bursts_left_out(result)}
    return result


def bursts_left_out(table: pd.DataFrame) -> int:
    """How many bursts that stand the column "included" leaves out; 0 in a table without it."""
    if not {"included", "burst", "origin"} <= set(table):
        return 0
    stands = table["burst"].notna() & (table["origin"] != "removed").fillna(True)
    return int((stands & ~table["included"].fillna(False)).sum())


_TIMES = ("onset_s", "earliest_s", "latest_s")
_ASKED = (
    *("recording", "reviewed", "signal", "signal_reasons", "set_aside", "activity", "origin", "burst", "kind"),
    *("confidence", "behaviour"),
)


def _demand_columns(table: pd.DataFrame) -> None:
    """A table from a file may lack a column, or have words where times should be."""
    if missing := [name for name in (*_ASKED, *_TIMES) if name not in table]:
        raise ParameterError(
            f"the table lacks {', '.join(missing)}; a rule looks at the columns of a table of decisions, as "
            "read_version or Session.decisions() gives; give that, with all of them."
        )
    if words := [name for name in _TIMES if not pd.api.types.is_numeric_dtype(table[name])]:
        raise ParameterError(f"{', '.join(words)} of the table came as text; allowed: seconds; give them as numbers.")
    demand_typed(table)


def _demand_seconds(table: pd.DataFrame, rule: Rule) -> None:
    """A span of onsets that begins after every onset of the table, and as milliseconds holds some, is a slip."""
    onsets = table["onset_s"].dropna() if "onset_s" in table else pd.Series(dtype=float)
    if rule.onset_s is None or onsets.empty or not rule.onset_s[0] > max(1.0, float(onsets.max())):
        return
    first_s, last_s = (edge / 1000 for edge in rule.onset_s)
    if onsets.between(first_s, last_s).any():
        raise ParameterError(
            f"a rule's onset_s came as ({rule.onset_s[0]:g}, {rule.onset_s[1]:g}), and the last onset of the table "
            f"lies {onsets.max():g} s from the cue; allowed: seconds from the cue; correct it{perhaps(rule.onset_s)}."
        )


def _why_not(row: Mapping[Any, Any], rule: Rule) -> Any:
    if row.get("excluded"):
        yield f"excluded ({row['excluded']})"
    for left in rule.leave_out:
        named = {one: getattr(left, one) for one in ("participant", "recording", "channel")}
        if all(value is None or row[one] == value for one, value in named.items()):
            yield f"left out by the rule ({left.reason})"
    if rule.reviewed and not row["reviewed"]:
        yield "not reviewed"
    if row["signal"] not in rule.signal:
        yield (
            f"signal {row['signal']} ({row['signal_reasons']})" if row["signal_reasons"] else f"signal {row['signal']}"
        )
    elif row["signal"] == "caution":
        for word in str(row["signal_reasons"]).split("; "):
            if word in rule.without_cautions:
                yield f"caution {word}"
    if row["set_aside"] and not rule.set_aside:
        yield "stretch set aside"
    if row["activity"] not in rule.activity:
        yield f"activity {row['activity']}"
    elif row["origin"] == "removed":
        yield "mark removed"
    elif row["burst"] is not None and row["kind"] not in rule.kinds:
        yield f"kind {row['kind']}"
    if (confidence := row["confidence"] or NOT_STATED) not in rule.confidence:
        yield f"confidence {confidence}"
    if (behaviour := row["behaviour"] or NOT_STATED) not in rule.behaviours:
        yield f"behaviour {behaviour}"
    if rule.onset_s is not None:
        times = [row[name] for name in ("onset_s", "earliest_s", "latest_s") if row[name] is not None]
        if any(not rule.onset_s[0] <= time <= rule.onset_s[1] for time in times):
            yield "onset out of range"


@dataclass(frozen=True, eq=False, repr=False)
class Flips(Shown):
    """Rows whose inclusion changes with the rule; :func:`emgreview.compare_rules` returns it.

    Attributes
    ----------
    table : DataFrame
        Those rows of the decisions, with "included" and "why_not" by the new rule.
    words : tuple of str
        Short sentences.
    """

    table: pd.DataFrame
    words: tuple[str, ...]
    _whole: pd.DataFrame

    def _parts(self) -> Iterator[Sheet | str]:
        yield from self.words
        names = [name for name in ("trial", "channel", "burst", "included", "why_not") if name in self.table]
        if len(self.table):
            rows = self.table[names].to_numpy(dtype=object)
            yield Sheet("", tuple(names), [["" if pd.isna(cell) else str(cell) for cell in row] for row in rows])

    def by(self, column: str) -> pd.DataFrame:
        """How many rows come in and drop out, for every value of a column, such as the condition.

        Parameters
        ----------
        column : str
            A column of the decisions.

        Returns
        -------
        DataFrame
            One row a value: rows, included before and now, newly included, newly left out.

        Raises
        ------
        DecisionError
            The table does not have the column, as in a blind review: how a rule falls out by
            condition is seen only after unblinding.
        """
        if column not in self._whole:
            raise DecisionError(
                f"the table shows no {column!r}; a blind review hides conditions and participants until it is "
                f"unblinded; there are: {', '.join(map(str, self._whole.columns))}."
            )
        counts = self._whole.groupby(column, dropna=False)[["before", "now"]]
        rows = counts.apply(
            lambda part: pd.Series(
                {
                    "rows": len(part),
                    "included_before": int(part["before"].sum()),
                    "included_now": int(part["now"].sum()),
                    "newly_included": int((part["now"] & ~part["before"]).sum()),
                    "newly_left_out": int((part["before"] & ~part["now"]).sum()),
                }
            )
        )
        return rows.reset_index()


def compare_rules(table: pd.DataFrame, old: Rule | None, new: Rule | None) -> Flips:
    """Which rows flip when a rule changes.

    Parameters
    ----------
    table : DataFrame
        Decisions, as for :func:`include`.
    old, new : Rule or None
        The two rules; None includes every row.

    Returns
    -------
    Flips
        The rows, as a table and in words.

    Raises
    ------
    ParameterError, UnknownNameError, DecisionError
        As for :func:`include`.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 2, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = session.accept_rest(session.where)
    ...         table = session.decisions()
    >>> flips = er.compare_rules(table, None, er.Rule(name="main", version=1))
    >>> len(flips.table)
    2
    """
    both = [None if rule is None else include(table, rule) for rule in (old, new)]
    everything = pd.Series(True, index=table.index)
    before, now = (everything if one is None else one["included"].astype(bool) for one in both)
    whole = table.assign(before=before, now=now)
    shown = (
        table.assign(included=now.astype("boolean"), why_not=pd.Series(pd.NA, index=table.index, dtype="string"))
        if both[1] is None
        else both[1]
    )
    came, went = int((now & ~before).sum()), int((before & ~now).sum())
    words = [f"{count} {what}" for count, what in ((came, "newly included"), (went, "newly left out")) if count]
    if went and both[1] is not None:
        reasons = both[1].loc[before & ~now, "why_not"].value_counts()
        words[-1] += ": " + ", ".join(
            f"{why} {count}" if len(reasons) > 1 else str(why) for why, count in reasons.items()
        )
    return Flips(shown[before != now], tuple(words) or ("no row changes sides",), whole)
