"""Which rows of a table of decisions belong in an analysis: computed by a declarative rule, never typed.

A rule is a frozen value with a name and a version, and a small JSON or TOML file; it holds words and numbers, no code.
Everything that it does not allow keeps a row out, and so does everything that was excluded by a logged decision. Times
are seconds from the cue.

    Rule, LeftOut       the rule; to and from a file
    include             a table with the columns "included" and "why_not"
    compare_rules       which rows flip when the rule changes, in words, as a table, by condition
    NOT_STATED          the word that stands for "nobody said"

Over 400 lines with what its public names say of themselves.
"""

import dataclasses
import json
import math
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

import pandas as pd

from emgreview.annotations.events import BEHAVIOURS, CAUTIONS, CONFIDENCES, KINDS, Choice, check_text, digest_of
from emgreview.checks import kind, likely_unit, perhaps
from emgreview.errors import DecisionError, ParameterError, ReadError, UnknownNameError
from emgreview.plain_files import read_json, read_toml
from emgreview.showing import Sheet, Shown

NOT_STATED = "not stated"
SIGNALS = ("usable", "caution", "unusable")
ACTIVITIES = ("bursts", "none detected", "none visible", "not locatable")
FORMAT = 1
"""The version of the rule files that this package writes."""
RULE_FILE = (
    'a rule is a .json or .toml file with a name, a version and what a row must be, {"name": "main", "version": 1, '
    '"onset_s": [0.08, 0.8]} for instance'
)


def _words(choices: Sequence[Choice], *more: str) -> tuple[str, ...]:
    return (*(choice.word for choice in choices), *more)


ALLOWED: Mapping[str, tuple[str, ...]] = {
    "signal": SIGNALS,
    "without_cautions": _words(CAUTIONS),
    "activity": ACTIVITIES,
    "kinds": _words(KINDS),
    "confidence": _words(CONFIDENCES, NOT_STATED),
    "behaviours": _words(BEHAVIOURS, NOT_STATED),
}
"""The words that each list of a rule may hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """What a rule leaves out, and why: a participant, a recording, a channel of one recording,
    or a channel of all.

    Parameters
    ----------
    participant, recording, channel : str or None
        At least one of them; those given must all fit.
    reason : str
        Why, in words.

    Raises
    ------
    ParameterError
        Nothing is named, or no reason is given.
    DecisionError
        The reason holds a control character or line break.

    Examples
    --------
    >>> import emgreview as er
    >>> er.LeftOut(recording="sub-03", channel="FCR", reason="electrode came off").participant
    """

    participant: str | None = None
    recording: str | None = None
    channel: str | None = None
    reason: str

    def __post_init__(self) -> None:
        if (self.participant, self.recording, self.channel) == (None, None, None) or not self.reason.strip():
            raise ParameterError(
                f"a rule leaves out {dataclasses.asdict(self)}; name a participant, a recording or a channel, and give "
                "a reason."
            )
        check_text(self.reason)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What a row must be to be included; the defaults take reviewed responses on usable signals.

    Parameters
    ----------
    name : str
        Name of the rule.
    version : int
        Its version, from 1.
    signal : tuple of str, default ("usable", "caution")
        States of the signal that are allowed; the third is "unusable".
    without_cautions : tuple of str, default ()
        Cautions that keep a row out although "caution" is allowed.
    activity : tuple of str, default ("bursts",)
        Allowed of "bursts", "none detected", "none visible" and "not locatable".
    kinds : tuple of str, default ("response",)
        Kinds of burst that are allowed.
    confidence : tuple of str
        Words allowed, "not stated" where nobody said; all unless given.
    behaviours : tuple of str, default ("as instructed", "not stated")
        What the participant may have done.
    onset_s : (float, float) or None
        The earliest and latest onset, in seconds from the cue, None for any; an onset that
        cannot be located must lie between them wholly.
    reviewed : bool, default True
        Only what a person has decided, or accepted in bulk after an audit.
    set_aside : bool, default False
        Also what a stretch set aside touches.
    leave_out : tuple of LeftOut, default ()
        Participants, recordings and channels, each with its reason.

    Raises
    ------
    ParameterError
        A part is not what it must be, or ``onset_s`` looks like milliseconds.
    UnknownNameError
        A list holds a word that does not exist.
    DecisionError
        The name holds a control character or line break.

    Examples
    --------
    >>> import emgreview as er
    >>> rule = er.Rule(name="main", version=1, onset_s=(0.08, 0.8))
    >>> rule.kinds, rule.onset_s
    (('response',), (0.08, 0.8))
    """

    name: str
    version: int
    signal: tuple[str, ...] = ("usable", "caution")
    without_cautions: tuple[str, ...] = ()
    activity: tuple[str, ...] = ("bursts",)
    kinds: tuple[str, ...] = ("response",)
    confidence: tuple[str, ...] = ALLOWED["confidence"]
    behaviours: tuple[str, ...] = ("as instructed", NOT_STATED)
    onset_s: tuple[float, float] | None = None
    reviewed: bool = True
    set_aside: bool = False
    leave_out: tuple[LeftOut, ...] = ()

    def __post_init__(self) -> None:
        _demand(isinstance(self.name, str) and self.name.strip(), "name", self.name, "a short text")
        _demand(type(self.version) is int and self.version > 0, "version", self.version, "a whole number from 1")
        check_text(self.name)
        for part, allowed in ALLOWED.items():
            came = getattr(self, part)
            _demand(isinstance(came, (list, tuple)), part, came, "a list of words")
            for word in came:
                if word not in allowed:
                    raise UnknownNameError(f"word of the rule's {part!r}", word, allowed)
            object.__setattr__(self, part, tuple(word for word in allowed if word in came))
        for part in ("reviewed", "set_aside"):
            _demand(isinstance(getattr(self, part), bool), part, getattr(self, part), "true or false")
        if self.onset_s is not None:
            span = self.onset_s
            good = isinstance(span, (list, tuple)) and len(span) == 2 and all(type(t) in (int, float) for t in span)
            good = good and all(map(math.isfinite, span)) and span[0] < span[1]
            _demand(good, "onset_s", span, "[earliest, latest], in seconds from the cue")
            likely_unit("a rule's onset_s", span)
            object.__setattr__(self, "onset_s", (float(span[0]), float(span[1])))
        object.__setattr__(self, "leave_out", tuple(self.leave_out))

    def as_dict(self) -> dict[str, Any]:
        """The rule as plain JSON values.

        Returns
        -------
        dict
        """
        left = [
            {name: value for name, value in dataclasses.asdict(one).items() if value is not None}
            for one in self.leave_out
        ]
        values = {field.name: getattr(self, field.name) for field in dataclasses.fields(self)}
        plain = {name: list(value) if isinstance(value, tuple) else value for name, value in values.items()}
        return {"format": FORMAT, **plain, "leave_out": left}

    @classmethod
    def from_dict(cls, values: Mapping[str, Any], *, sealed: bool = False) -> Self:
        """The rule in plain JSON values.

        Parameters
        ----------
        values : mapping
            What :meth:`as_dict` gives.
        sealed : bool, default False
            It comes from a sealed version, and onsets that look like milliseconds are what was
            sealed.

        Returns
        -------
        Rule

        Raises
        ------
        ParameterError
            The format is newer than this package, a part is missing, or is not what it must be.
        UnknownNameError
            A part, or a word of one, does not exist.
        DecisionError
            A text holds a control character or line break.
        """
        given = dict(values)
        if given.pop("format", FORMAT) != FORMAT:
            raise ParameterError(
                f"a rule came in format {values['format']!r}; this version of the package knows format {FORMAT}; "
                "install a newer emgreview, or correct the number."
            )
        _check_names(given, cls, ("name", "version"))
        left = []
        for one in given.pop("leave_out", ()):
            _demand(isinstance(one, Mapping), "leave_out", one, 'entries such as {"recording": …, "reason": …}')
            _check_names(one, LeftOut, ("reason",))
            left.append(LeftOut(**one))
        onset_s = given.pop("onset_s", None) if sealed else None
        made = cls(**given, leave_out=tuple(left))
        if onset_s is not None:
            object.__setattr__(made, "onset_s", (float(onset_s[0]), float(onset_s[1])))
        return made

    @property
    def sha256(self) -> str:
        """SHA-256 of the rule's canonical JSON."""
        return digest_of(self.as_dict())

    def write(self, path: str | Path) -> Path:
        """Write the rule into a new file.

        Parameters
        ----------
        path : str or Path
            A name that ends in .json or .toml.

        Returns
        -------
        Path
            The file.

        Raises
        ------
        ParameterError
            The file exists already, or its name ends otherwise.

        Examples
        --------
        >>> import tempfile
        >>> from pathlib import Path
        >>> import emgreview as er
        >>> rule = er.Rule(name="main", version=1)
        >>> with tempfile.TemporaryDirectory() as folder:
        ...     path = rule.write(Path(folder) / "main.toml")
        ...     er.Rule.read(path) == rule
        True
        """
        path = Path(path)
        values = {name: value for name, value in self.as_dict().items() if value is not None}
        if path.suffix == ".toml":
            text = "".join(f"{name} = {_toml(value)}\n" for name, value in values.items())
        else:
            _demand(path.suffix == ".json", "file", path.name, "a name that ends in .json or .toml")
            text = json.dumps(values, indent=2, ensure_ascii=False) + "\n"
        if path.exists():
            raise ParameterError(f"{path} exists already; nothing was written; give the name of a new file.")
        path.write_text(text, encoding="utf-8", newline="\n")
        return path

    @classmethod
    def read(cls, path: str | Path) -> Self:
        """The rule in a file.

        Parameters
        ----------
        path : str or Path
            A .json or .toml file.

        Returns
        -------
        Rule

        Raises
        ------
        ParameterError
            ``path`` is no path, there is no such file, it cannot be read as a rule, or a part
            is not what it must be.
        UnknownNameError
            A part, or a word of one, does not exist.
        DecisionError
            A text holds a control character or line break.
        """
        kind("path", path, (str, os.PathLike), "the path of a .json or .toml file with a rule")
        path = Path(path)
        if not os.path.lexists(path):
            raise ParameterError(f"there is no file {path}; a rule is a .json or .toml file; check the name.")
        try:
            values = read_toml(path) if path.suffix == ".toml" else read_json(path)
        except ReadError as why:
            raise ParameterError(
                f"{path} cannot be read as a rule ({str(why).removesuffix('.')}); {RULE_FILE}; correct the file."
            ) from None
        if not isinstance(values, dict):
            raise ParameterError(f"{path} is no rule: it holds a {type(values).__name__}; {RULE_FILE}; correct it.")
        try:
            return cls.from_dict(values)
        except (ParameterError, UnknownNameError) as why:
            why.args = (f"{path}: {why}",)
            raise


def include(table: pd.DataFrame, rule: Rule) -> pd.DataFrame:
    """Which rows of a table of decisions a rule includes.

    Parameters
    ----------
    table : DataFrame
        Decisions, as :func:`emgreview.read_version` or :meth:`Session.decisions` gives.
    rule : Rule
        The rule.

    Returns
    -------
    DataFrame
        A copy with "included", and "why_not": every part of the rule that keeps a row out,
        missing where none does. ``table.attrs["rule"]`` holds the rule.

    Raises
    ------
    ParameterError
        The table or the rule is none, or the rule's ``onset_s`` are milliseconds.
    DecisionError
        The table does not have what the rule speaks of, as participants in a blind review,
        or a rule that leaves participants out meets recordings that name none.

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
    reasons: list[list[str]] = [[] for _ in range(len(table))]
    for place, row in enumerate(table.astype(object).where(table.notna(), None).to_dict("records")):
        reasons[place] = list(_why_not(row, rule))
    result = table.drop(columns=["included", "why_not"], errors="ignore").copy()
    result["included"] = pd.array([not why for why in reasons], dtype="boolean")
    result["why_not"] = pd.array(["; ".join(why) or None for why in reasons], dtype="string")
    result.attrs = {**table.attrs, "rule": rule.as_dict()}
    return result


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
    ParameterError, DecisionError
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


def _demand(good: object, part: str, came: object, allowed: str) -> None:
    if not good:
        raise ParameterError(f"a rule's {part} came as {came!r}; allowed: {allowed}; correct it.")


def _check_names(given: Mapping[str, Any], kind: Any, needed: Sequence[str]) -> None:
    names = [field.name for field in dataclasses.fields(kind)]
    for name in given:
        if name not in names:
            raise UnknownNameError("part of a rule", name, names)
    for name in needed:
        if name not in given:
            raise ParameterError(f"a rule's {name} is missing; it must be given; add it.")


def _toml(value: Any) -> str:
    """A value as TOML, whose basic strings, numbers and lists are those of JSON."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{name} = {_toml(part)}" for name, part in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)
