"""A declarative rule for inclusion: a frozen value with a name and a version, and a small JSON or TOML file.

It holds words and numbers, no code. Times are seconds from the cue. What it does with a table is
:mod:`emgreview.tables.inclusion`.

    Rule, LeftOut       the rule; to and from a file
    ALLOWED             the words that it may hold
    NOT_STATED          the word that stands for "nobody said"
"""

import dataclasses
import json
import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from emgreview.annotations.events import BEHAVIOURS, CAUTIONS, CONFIDENCES, KINDS, Choice, check_text, digest_of
from emgreview.checks import kind, likely_unit
from emgreview.errors import ParameterError, ReadError, UnknownNameError
from emgreview.plain_files import read_json, read_toml, write_new

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
        At least one of them; those given must all fit, spelt as in the table of decisions.
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
        try:
            write_new(path, text)
        except FileExistsError:
            raise ParameterError(f"{path} exists already; nothing was written; give the name of a new file.") from None
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
