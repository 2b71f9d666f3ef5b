"""A plan of a recording: which muscles, in which postures, what is known of each site, and what is still missing.

plan        a new plan, from a movement or from muscles
read_plan   one that was saved
Plan        shows itself; makes the sheet, the BIDS skeleton, a file; goes with a recording
Site        one muscle of it

Above 400 lines: most of them say, for each of the few things that a plan does, what comes in and out; the work is done
in the modules beside it.
"""

import os
import secrets
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from emgreview import checks
from emgreview.errors import ParameterError, UnknownNameError, tell
from emgreview.model import Recording, Trials
from emgreview.muscles import CAUTION, Muscle, all_muscles, muscle
from emgreview.muscles.wording import also_hears
from emgreview.plans import fields
from emgreview.plans.fields import SESSION, SITE, Value
from emgreview.plans.proposing import part_of, propose
from emgreview.showing import Prose, Sheet, Shown

SIDES = ("right", "left", "both")
LONGEST_LABEL = 40
"""Letters of a label, at most (our own choice, no source)."""
MOST_SITES = 64
"""Channels of a plan, at most (our own choice, no source)."""
_Either = TypeVar("_Either", Recording, Trials)


@dataclass(frozen=True, slots=True)
class Site:
    """One muscle of a plan, on one side: the channel over it.

    Attributes
    ----------
    label : str
        What the channel will be called.
    key : str
        Key of the muscle.
    side : {"right", "left"}
        Side of the body.
    part : str
        Its part in the movement: "makes it", "assists", "works against one that takes part",
        "no part known", or "" where no movement was named.
    said : mapping of str to str or float
        What was filled in, by the names of the fields.
    """

    label: str
    key: str
    side: str
    part: str = ""
    said: Mapping[str, Value] = field(default_factory=dict)

    @property
    def muscle(self) -> Muscle:
        """What is known of the muscle.

        Returns
        -------
        Muscle
            Its facts, each with its source.
        """
        return all_muscles()[self.key]

    @property
    def over(self) -> str:
        """What the pads lie over, in words, no more than pads can tell.

        Returns
        -------
        str
            The side and the name, such as "right biceps brachii".
        """
        words = self.muscle.over
        return f"{words} ({self.side} side)" if words.startswith("the ") else f"{self.side} {words}"


@dataclass(frozen=True, slots=True, repr=False)
class Plan(Shown):
    """A plan of a recording; the last line of a cell shows it.

    Attributes
    ----------
    movement : str
        The movement in the words that came, or "".
    movements : tuple of str
        The movements that were understood.
    side : {"right", "left", "both"}
        Side of the body.
    sites : tuple of Site
        The muscles in the order of the channels.
    postures : tuple of str
        Postures in the words of the person who plans.
    said : mapping of str to str or float
        What was filled in of the whole session, by the names of the fields.
    notes : tuple of str
        What was taken or left out when it was made.
    """

    movement: str
    movements: tuple[str, ...]
    side: str
    sites: tuple[Site, ...]
    postures: tuple[str, ...] = ()
    said: Mapping[str, Value] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the channels.

        Returns
        -------
        tuple of str
            In their order.
        """
        return tuple(one.label for one in self.sites)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What surface pads do not separate.

        Returns
        -------
        tuple of str
            A sentence for each such muscle.
        """
        keys = dict.fromkeys(one.key for one in self.sites)
        return tuple(f"{all_muscles()[key].name}: {words}." for key in keys if (words := all_muscles()[key].warning))

    @property
    def missing(self) -> tuple[str, ...]:
        """What nobody has filled in yet.

        Returns
        -------
        tuple of str
            Postures, fields of the session as "rate_hz: sampling rate", and those of each
            channel as "BB: spacing_mm: …"; none where the plan is complete.
        """
        lacking = [] if self.postures else ["postures: the postures that are recorded"]
        lacking += [f"{one.name}: {one.means}" for one in SESSION.values() if one.asked and one.name not in self.said]
        for site in self.sites:
            lacking += [
                f"{site.label}: {one.name}: {one.means}"
                for one in SITE.values()
                if one.asked and one.name not in site.said
            ]
        return tuple(lacking)

    def fill(self, site: str | None = None, *, postures: Iterable[str] | None = None, **values: Any) -> "Plan":
        """A new plan with more filled in; this one stays as it is.

        Parameters
        ----------
        site : str or None
            Label of the channel that the values are about; None: the whole session.
        postures : iterable of str or None
            The postures in place of those of before; None: they stay.
        **values
            Values by the names of the fields, as ``missing`` lists them; None takes one back.

        Returns
        -------
        Plan
            The plan with them.

        Raises
        ------
        UnknownNameError
            No channel or field is called so; the message lists those there are.
        ParameterError
            A value is not what the field may hold, or the corners of the band are exchanged.

        Warns
        -----
        SignalWarning
            The device's band does not fit the sampling rate.

        Examples
        --------
        >>> import emgreview as er
        >>> plan = er.plan("bend the elbow", muscles=["BB"], rate_hz=2000)
        >>> filled = plan.fill("BB", spacing_mm=20, photo="no").fill(reference="bipolar")
        >>> filled.sites[0].said["spacing_mm"], len(plan.missing) - len(filled.missing)
        (20.0, 3)
        """
        here = self if postures is None else replace(self, postures=_postures(postures))
        if site is None:
            return replace(here, said=_plausible(_filled(SESSION, self.said, values)))
        if site not in self.labels:
            raise UnknownNameError("site", site, self.labels)
        made = [replace(one, said=_filled(SITE, one.said, values)) if one.label == site else one for one in self.sites]
        return replace(here, sites=tuple(made))

    def sheet(self, path: str | os.PathLike[str]) -> Path:
        """Write the session sheet: one HTML page to print and fill in by pen.

        Parameters
        ----------
        path : path
            A new file; its name ends in ``.html``.

        Returns
        -------
        pathlib.Path
            Where it stands.

        Raises
        ------
        ParameterError
            The name does not end in ``.html``, or the file cannot be written, or is there.

        Notes
        -----
        Facts of placement are descriptions with their source, never instructions. A research
        tool, not a medical device: trained staff and the lab's rules decide.

        Examples
        --------
        >>> import tempfile
        >>> import emgreview as er
        >>> folder = tempfile.mkdtemp()
        >>> er.plan("bend the elbow", muscles=["BB"]).sheet(f"{folder}/sheet.html").name
        'sheet.html'
        """
        from emgreview.plans.sheet import sheet  # it needs the plan itself

        place = _place(path, ".html")
        return _written(place, sheet(self))

    def save(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the plan as a plain file, which ``read_plan`` reads back.

        Parameters
        ----------
        path : path
            Its name ends in ``.toml``.
        overwrite : bool, default False
            A file that is there may be replaced.

        Returns
        -------
        pathlib.Path
            Where it stands.

        Raises
        ------
        ParameterError
            The name does not end in ``.toml``, or the file cannot be written, or is there.

        Examples
        --------
        >>> import tempfile
        >>> import emgreview as er
        >>> folder = tempfile.mkdtemp()
        >>> plan = er.plan("bend the elbow", muscles=["BB"])
        >>> er.read_plan(plan.save(f"{folder}/plan.toml")) == plan
        True
        """
        from emgreview.plans.files import as_toml

        checks.truth("overwrite", overwrite)
        return _written(_place(path, ".toml"), as_toml(self), overwrite=overwrite)

    def write_bids(self, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
        """Write the BIDS files that stand beside a recording, to be filled in.

        Parameters
        ----------
        folder : path
            A new folder, or an empty one.

        Returns
        -------
        tuple of pathlib.Path
            The files.

        Raises
        ------
        ParameterError
            The folder holds something, or cannot be written.

        Warns
        -----
        SignalWarning
            What BIDS requires and nobody has said yet.

        Notes
        -----
        What nobody has said is ``n/a``. No recording is in the folder; ``README`` in it says
        what is still to come.

        References
        ----------
        .. [1] Brain Imaging Data Structure 1.11, electromyography.

        Examples
        --------
        >>> import tempfile, warnings
        >>> import emgreview as er
        >>> plan = er.plan("bend the elbow", muscles=["BB"], rate_hz=2000, participant="01")
        >>> with warnings.catch_warnings():
        ...     warnings.simplefilter("ignore", er.SignalWarning)
        ...     files = plan.write_bids(tempfile.mkdtemp())
        >>> [path.name for path in files][-1]
        'sub-01_electrodes.tsv'
        """
        from emgreview.plans.skeleton import files_of, required

        root = Path(os.fspath(folder))
        made = files_of(self)
        try:
            root.mkdir(parents=True, exist_ok=True)
            checks.demand(not any(root.iterdir()), "folder", str(root), "a new or empty folder")
            for name, text in made.items():
                (root / name).parent.mkdir(parents=True, exist_ok=True)
                (root / name).write_text(text, "utf-8", newline="\n")
        except OSError as why:
            raise ParameterError(f"{root} cannot be written ({why.strerror}); give another place.") from why
        for sentence in required(self):
            tell(sentence)
        return tuple(root / name for name in made)

    def of(self, recording: _Either) -> _Either:
        """The recording, or its trials, with what the plan says each channel lies over.

        Parameters
        ----------
        recording : Recording or Trials
            Its channels are matched by the labels of the plan, else by the names of muscles.

        Returns
        -------
        Recording or Trials
            The same samples; ``over`` of each channel that was matched is said, and the notes
            hold warnings of muscles that pads do not separate.

        Raises
        ------
        ParameterError
            It is no recording and no trials.

        Warns
        -----
        SignalWarning
            Channels and plan do not match in a label, a rate or a code, or the recording says
            something else of what lies there, which then stands.

        Examples
        --------
        >>> import numpy as np
        >>> import emgreview as er
        >>> rec = er.Recording.from_array(np.zeros((1, 2000)), 1000, labels=["R BB"])
        >>> er.plan("bend the elbow", muscles=["BB"]).of(rec).channels[0].over
        'right biceps brachii'
        """
        from emgreview.plans.joining import joined

        return joined(self, recording)

    def to_dict(self) -> dict[str, object]:
        """All of it as plain values, for JSON.

        Returns
        -------
        dict
            Movement, side, postures, channels, what was said, ``missing``, ``notes``.
        """
        return {
            "movement": self.movement,
            "movements": [*self.movements],
            "side": self.side,
            "postures": [*self.postures],
            "channels": [
                {"label": one.label, "muscle": one.key, "side": one.side, "over": one.over, "part": one.part}
                | {"also_heard": [*one.muscle.neighbours], "warning": one.muscle.warning, "said": dict(one.said)}
                for one in self.sites
            ],
            "said": dict(self.said),
            "missing": [*self.missing],
            "notes": [*self.notes, CAUTION],
        }

    def _parts(self) -> Iterator[Sheet | str]:
        yield "Recording plan" + (f": {self.movement} ({', '.join(self.movements)})" if self.movement else "")
        rows = []
        for one in self.sites:
            first = ", ".join(filter(None, (f"over {one.over}", one.part)))
            rows.append((one.label, first, also_hears(one.key), one.muscle.warning))
        yield Prose("", ("channel", "over", "hears", "warning"), rows)
        yield f"Postures: {', '.join(self.postures) or 'none named yet'}."
        yield from self.notes
        count = len(self.missing)
        yield f"Still to fill in: {count} ({'plan.missing lists them' if count else 'complete'})."
        yield CAUTION


def plan(
    movement: str | None = None,
    *,
    muscles: Iterable[str] | Mapping[str, str] | None = None,
    side: str = "right",
    postures: Iterable[str] = (),
    **said: Any,
) -> Plan:
    """Plan a recording: from a movement to muscles, their sites, and all that is to be logged.

    Parameters
    ----------
    movement : str or None
        A movement in plain words, such as "turn a handle"; None where muscles are named.
    muscles : iterable of str, mapping of str to str, or None
        Names of the muscles to record, or labels of channels with the names; None: those that
        the movement proposes, superficial ones that take part and antagonists.
    side : {"right", "left", "both"}, default "right"
        Side of the body; "both" makes two channels of each muscle.
    postures : iterable of str
        Postures in your words: "sitting, elbow at 90 degrees".
    **said
        What is known already of the session: ``rate_hz=2000``, ``mains_hz=50``, ``reference``,
        … as ``Plan.missing`` lists it.

    Returns
    -------
    Plan
        The plan, with what is missing.

    Raises
    ------
    UnknownNameError
        No movement, muscle or field is called so; the message lists those there are.
    ParameterError
        Neither movement nor muscles came, a name may mean several muscles, or a value is not
        what it must be.

    Notes
    -----
    A research tool, not a medical device. A plan describes where others have placed pads, each
    fact with its source; trained staff, the lab's rules and the person decide.

    Examples
    --------
    >>> import emgreview as er
    >>> plan = er.plan("turn a handle", postures=["sitting"], rate_hz=2000, mains_hz=50)
    >>> plan.labels
    ('BB', 'PT', 'BR', 'TBlong', 'TBlat')
    >>> plan.warnings[0]
    'pronator teres: hard: rarely separable with surface pads.'
    """
    checks.demand(movement is not None or muscles is not None, "movement", None, "a movement, or muscles=[…]")
    checks.demand(side in SIDES, "side", side, ", ".join(map(repr, SIDES)))
    found, proposed = propose(movement) if movement is not None else (None, ())
    movements = found.movements if found else ()
    notes = [*found.notes] if found else []
    if muscles is None:
        checks.demand(proposed, "movement", movement, "one in which superficial muscles take part, or muscles=[…]")
        named = [(_short(one.muscle), one.muscle.key) for one in proposed]
        notes.append(
            "Proposed, not chosen: superficial muscles that take part, and antagonists; choose with muscles=[…]."
        )
        deep = [one.short for one in found or () if one.depth != "superficial"]
        notes += [f"They take part, too, and lie under others: {', '.join(deep)}."] if deep else []
    else:
        named = list(_named(muscles))
    checks.demand(named and len(named) <= MOST_SITES, "muscles", muscles, f"1 to {MOST_SITES} names of muscles")
    sites = [
        Site(
            label if side != "both" else f"{one[0].upper()} {label}", key, one, part_of(key, movements) if found else ""
        )
        for one in (("right", "left") if side == "both" else (side,))
        for label, key in named
    ]
    labels = [one.label for one in sites]
    twice = sorted({one for one in labels if labels.count(one) > 1})
    checks.demand(not twice, "muscles", twice, "each muscle and label once")
    words = "" if movement is None else _text("movement", movement)
    made = Plan(words, movements, side, tuple(sites), _postures(postures), {}, tuple(notes))
    return made.fill(**said) if said else replace(made, said=MappingProxyType({}))


def read_plan(path: str | os.PathLike[str]) -> Plan:
    """Read a plan that ``Plan.save`` wrote, or that was edited by hand since.

    Parameters
    ----------
    path : path
        The file, ``plan.toml``.

    Returns
    -------
    Plan
        The plan.

    Raises
    ------
    ReadError
        The file cannot be read.
    FormatError
        It is no plan, holds what a plan does not, or is of a later version.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> folder = tempfile.mkdtemp()
    >>> path = er.plan(muscles=["FDI"]).save(f"{folder}/plan.toml")
    >>> er.read_plan(path).labels
    ('FDI',)
    """
    from emgreview.plans.files import from_toml

    checks.kind("path", path, (str, os.PathLike), "the path of a file that Plan.save wrote")
    return from_toml(Path(path))


def _short(one: Muscle) -> str:
    return one.abbreviations[0] if one.abbreviations else one.name


def _named(muscles: Any) -> Iterator[tuple[str, str]]:
    checks.demand(
        isinstance(muscles, Iterable) and not isinstance(muscles, str | bytes), "muscles", muscles, "a list of names"
    )
    if isinstance(muscles, Mapping):
        for label, name in muscles.items():
            yield _text("label", label, LONGEST_LABEL), muscle(name).key
        return
    for name in muscles:
        known = muscle(name)
        yield _short(known), known.key


def _postures(given: Any) -> tuple[str, ...]:
    good = isinstance(given, Iterable) and not isinstance(given, str | bytes)
    checks.demand(good, "postures", given, "a list of texts")
    return tuple(_text("posture", one) for one in given)


def _text(name: str, value: Any, most: int = fields.LONGEST) -> str:
    good = isinstance(value, str) and value.strip() and len(value) <= most
    text = " ".join(value.split()) if good else ""
    checks.demand(text.isprintable() and text, name, value, f"a text of at most {most} letters")
    return text


def _filled(
    known: Mapping[str, fields.Field], said: Mapping[str, Value], values: Mapping[str, Any]
) -> Mapping[str, Value]:
    made = dict(said)
    for name, value in values.items():
        kept = fields.checked(known, name, value)
        made.pop(name, None)
        if kept is not None:
            made[name] = kept
    return MappingProxyType({name: made[name] for name in known if name in made})


def _plausible(said: Mapping[str, Value]) -> Mapping[str, Value]:
    """The same, where a band has a lower and an upper end; told where it does not fit the rate. Nothing is changed."""
    low, high, rate = (said.get(name) for name in ("low_cutoff_hz", "high_cutoff_hz", "rate_hz"))
    if isinstance(low, float) and isinstance(high, float):
        checks.demand(low < high, "low_cutoff_hz, high_cutoff_hz", (low, high), "the lower corner below the upper one")
    if isinstance(high, float) and isinstance(rate, float) and high >= rate / 2:
        tell(
            f"The device passes up to {high:g} Hz, and {rate:g} samples a second hold up to {rate / 2:g} Hz: what lies "
            "between is folded into the band. Are both as meant?"
        )
    return said


def _place(path: Any, ending: str) -> Path:
    checks.kind("path", path, (str, os.PathLike), f"the path of a file that ends in {ending}")
    place = Path(path)
    checks.demand(place.suffix.lower() == ending, "path", str(path), f"a file name that ends in {ending}")
    return place


def _written(path: Path, text: str, *, overwrite: bool = False) -> Path:
    from emgreview.plain_files import write_new

    try:
        if overwrite:  # the old one stands until the new one is whole
            beside = path.with_name(f".{path.name}.{secrets.token_hex(6)}")
            write_new(beside, text)
            beside.replace(path)
        else:
            write_new(path, text)
    except FileExistsError:
        raise ParameterError(f"{path} exists already; nothing was written; give the name of a new file.") from None
    except OSError as why:
        raise ParameterError(f"{path} cannot be written ({why.strerror}); give another place.") from why
    return path
