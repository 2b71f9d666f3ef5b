"""Kind and unit of each channel: what file, channels.tsv and caller say of it, settled once.

The file's own unit wins over that of channels.tsv, and a sentence says so; a caller may confirm it, fill in one that is
missing, or say "arbitrary", but never replace one scale by another.

    settle(path, signal, row, ...)      one channel, with its scale
    unit_notes(path, sidecars, found)   sentences on units that the table states otherwise, or alone
    demand_kinds, demand_known_unit, demand_unit_used what the caller said makes sense
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from numbers import Real
from pathlib import Path

from emgreview.checks import rate, refusal
from emgreview.errors import UnitError, UnknownNameError
from emgreview.model import ARBITRARY, VOLTS, Channel
from emgreview.reading.bids import ChannelRow, Sidecars
from emgreview.reading.contents import Signal
from emgreview.reading.units import CHANNEL_TYPES, IN_MICROVOLTS, VOLTAGES, is_voltage, kind_of, names_emg, plain_unit

Unit = str | Mapping[str, str] | None


@dataclass(frozen=True, slots=True)
class Settled:
    """One channel; value = stored value * ``gain`` + ``offset`` in its unit. ``in_file`` and ``tabled`` are the words
    of file and channels.tsv for its unit; ``assumed`` says that nothing but its folder told its kind."""

    channel: Channel
    gain: float
    offset: float
    notes: tuple[str, ...] = ()
    in_file: str = ""
    tabled: str = ""
    assumed: bool = False


def settle(
    path: Path,
    signal: Signal,
    row: ChannelRow | None,
    datatype: str,
    said: Unit,
    kinds: Mapping[str, str] | None = None,
) -> Settled:
    """One channel with its kind, unit and scale. In a folder of EEG or iEEG a channel is EMG only where its type or its
    name says so. ``kinds``: what the caller says of it, by label."""
    stated = (kinds or {}).get(signal.label) or signal.kind or (row.kind if row else "")

    def kind_by(unit: str | None) -> tuple[str, bool, bool]:
        if stated:
            return stated, False, False
        kind, by_name = kind_of(signal.label, unit, signal.transducer)
        assumed = kind == "EMG" and datatype != "emg" and not names_emg(signal.label)
        return "EEG" if assumed else kind, by_name, assumed

    unit = _unit(
        path, signal, row, kind_by(plain_unit(signal.unit) or (plain_unit(row.units) if row else None))[0], said
    )
    kind, by_name, assumed = kind_by(unit)
    notes = []
    if by_name and is_voltage(unit):
        notes.append(f"Channel {signal.label!r} ({unit}) is taken as {kind}, not EMG, {BY_NAME}")
    elif not stated and datatype != "emg" and kind == "EMG":
        notes.append(f"Channel {signal.label!r} is taken as EMG, not {datatype.upper()}, {BY_NAME}")
    factor = 1.0
    if kind in IN_MICROVOLTS and is_voltage(unit):
        factor, unit = VOLTS[unit], "uV"
    elif kind == "EMG" and unit != ARBITRARY:
        raise UnitError(
            f"channel {signal.label!r} of {path.name} is of type EMG but in {unit!r}; EMG is a voltage "
            f"({VOLTAGES}) or {ARBITRARY!r}; correct its type or unit in channels.tsv or its label, say "
            f"unit={{{signal.label!r}: {ARBITRARY!r}}}, or name in columns only the other channels."
        )
    channel = Channel(
        label=signal.label,
        kind=kind,
        unit=unit,
        low_cutoff_hz=signal.low_cutoff_hz,
        high_cutoff_hz=signal.high_cutoff_hz,
    )
    return Settled(
        channel if row is None else row.described(channel),
        signal.gain * factor,
        signal.offset * factor,
        tuple(notes),
        "" if signal.kind or _said_of(signal.label, kind, said) is not None else signal.unit,
        row.units if row and not signal.kind and _said_of(signal.label, kind, said) is None else "",
        assumed,
    )


def unit_notes(path: Path, sidecars: Sidecars, settled: Iterable[Settled]) -> tuple[list[str], list[str]]:
    """Sentences on channels whose unit channels.tsv states alone; and on those where the file says otherwise."""
    groups: dict[tuple[str, str], list[str]] = {}
    for one in settled:
        own, tabled = plain_unit(one.in_file), plain_unit(one.tabled)
        if one.tabled and own != tabled:
            groups.setdefault((one.in_file, one.tabled), []).append(one.channel.label)
    table = sidecars.channels.name if sidecars.channels else "channels.tsv"
    alone: list[str] = []
    otherwise: list[str] = []
    for (in_file, tabled), labels in groups.items():
        few = listed(labels)
        if plain_unit(in_file) is not None:
            otherwise.append(
                f"{table} states {tabled!r} for {few}, but {path.name} itself {in_file!r}: the file's own unit was "
                "taken; correct the wrong one, or, if it is the file, read it in unit 'arbitrary'."
            )
        else:
            has = f"{in_file!r}, which is no unit known here" if in_file else "none"
            (otherwise if in_file else alone).append(
                f"The unit {tabled!r} of {few} is that of {table}; {path.name} itself states {has}."
            )
    return alone, otherwise


def listed(names: Sequence[str], most: int = 6) -> str:
    """Some names, and how many there are where they are too many to list."""
    return ", ".join(names[:most]) + (f" … ({len(names)} in all)" if len(names) > most else "")


def _said_of(label: str, kind: str, said: Unit) -> str | None:
    """What the caller says of one channel's unit: by its label, or one word for all EMG and ECG."""
    return said.get(label) if isinstance(said, Mapping) else said if kind in IN_MICROVOLTS else None


def _unit(path: Path, signal: Signal, row: ChannelRow | None, kind: str, said: Unit) -> str:
    """The plain unit of one channel: the file's own, or that of channels.tsv, held against what the caller says.

    An auxiliary channel may have a unit unknown here, or none: its own words are kept.
    """
    own = plain_unit(signal.unit)
    tabled = plain_unit(row.units) if row else None
    text = _said_of(signal.label, kind, said)
    wanted = None if text is None else plain_unit(text)
    if wanted is not None:
        if wanted != ARBITRARY and own is not None and own != wanted:
            raise UnitError(
                f"{path.name} states {signal.unit!r} for channel {signal.label!r}, but unit= says {text!r}; a scale "
                "that a file states is never replaced by another one; leave unit out, or give a mapping of labels to "
                f"units for the channels that need one, or say {ARBITRARY!r} if the file's scale is wrong."
            )
        return wanted
    if own is not None or tabled is not None:
        return own or tabled or ""
    if kind in IN_MICROVOLTS:
        came = f"the unit {signal.unit!r}, which is not known," if signal.unit else "no unit"
        raise UnitError(
            f"{path.name} has {came} for channel {signal.label!r}; allowed: {VOLTAGES}, or the unit of an "
            f"auxiliary signal; say unit='mV' (whichever it is), or unit={{{signal.label!r}: 'mV'}} for this channel "
            f"alone, or, where the scale to volts is unknown, unit={ARBITRARY!r}."
        )
    return signal.unit or (row.units if row else "")


BY_NAME = "by its name."


def is_told_by_name(note: str) -> bool:
    """Whether a note only tells which kind a channel was taken for, which is no trouble of the recording."""
    return note.endswith(BY_NAME)


def demand_kinds(rate_hz: object, unit: object, columns: object) -> None:
    """RateError, UnitError or ParameterError unless the rate is None or a number, the unit None, a word, or a mapping
    of words, and columns None, several labels, or a mapping of names to labels."""
    if rate_hz is not None and (not isinstance(rate_hz, Real) or isinstance(rate_hz, bool)):
        rate(rate_hz)
    if not isinstance(columns, Iterable | None):
        raise refusal(
            "columns", columns, "a list of labels in order, a mapping, or None", "give columns=['FCR', 'ECR']"
        )
    if isinstance(columns, Mapping) and not all(
        isinstance(name, str) and isinstance(label, str | None) for name, label in columns.items()
    ):
        raise refusal("columns", columns, "a mapping of the file's names to labels, both text; None leaves one out")
    allowed = f"one of {VOLTAGES}, {ARBITRARY!r} for all, or a mapping of labels to units"
    if isinstance(unit, Mapping):
        wrong = {label: text for label, text in unit.items() if not isinstance(text, str)}
        if wrong:
            label, text = next(iter(wrong.items()))
            raise UnitError(
                f"unit came with {text!r} for channel {label!r}; allowed: a unit as a word, such as 'mV'; give that."
            )
    elif not isinstance(unit, str | None):
        raise UnitError(
            f"unit came as {unit!r}; allowed: {allowed}; give unit='mV', or unit={{'FCR': 'mV', 'TRIGGER': 'V'}}."
        )


def demand_known_kinds(kinds: Mapping[str, str] | None, labels: Sequence[str]) -> None:
    """ParameterError or UnknownNameError unless ``kinds`` names channels that are there and types that are known."""
    if not isinstance(kinds, Mapping | None):
        raise refusal("kinds", kinds, "a mapping of labels to channel types, such as {'KEY': 'TRIG'}, or None")
    for label, kind in (kinds or {}).items():
        if label not in labels:
            raise UnknownNameError("channel (named in kinds=)", label, labels)
        if kind not in CHANNEL_TYPES:
            raise UnknownNameError("channel type", kind, sorted(CHANNEL_TYPES))


def demand_known_unit(said: Unit, labels: Sequence[str]) -> None:
    allowed = f"{VOLTAGES}, {ARBITRARY!r}"
    if isinstance(said, Mapping):
        for label, text in said.items():
            if label not in labels:
                raise UnknownNameError("channel (named in unit=)", label, labels)
            if plain_unit(text) is None:
                raise UnitError(
                    f"unit {text!r} of channel {label!r} is not known; allowed: {allowed}, or the unit of an auxiliary "
                    f"signal such as 'N', 'deg', 'm/s2'; where the scale is unknown, say {ARBITRARY!r}."
                )
    elif said is not None and plain_unit(said) != ARBITRARY and not is_voltage(plain_unit(said)):
        raise UnitError(
            f"unit {said!r} is not known as a voltage; allowed: {allowed}, or a mapping of labels to units; "
            f"where the scale to volts is unknown, say unit={ARBITRARY!r}."
        )


def demand_unit_used(path: Path, said: Unit, channels: Sequence[Channel]) -> None:
    if isinstance(said, str) and not any(channel.kind in IN_MICROVOLTS for channel in channels):
        raise UnitError(
            f"unit={said!r} applies to channels of kind EMG and ECG, but {path.name} has none: "
            f"{', '.join(f'{channel.label} ({channel.kind})' for channel in channels)}; leave unit out, or give a "
            "mapping of labels to units."
        )
