"""Words of files made plain: spellings of units, and the kind of a channel by its unit and name.

plain_unit(text)                 "microV" -> "uV"; None where the text is no unit known here
label_and_unit(text)             "FCR [mV]" -> "FCR", "mV"
unit_of(signals, asks)           the unit to propose, and what is asked for
kind_of(label, unit, transducer) the BIDS channel type that a file without one most sensibly means
"""

import re
from collections.abc import Container, Mapping

from emgreview.model import ARBITRARY, VOLTS

_SPELLINGS = {
    "V": ("volt", "volts", "Volt", "Volts"),
    "mV": ("mv", "milliV", "millivolt", "millivolts", "Millivolt", "milliVolt"),
    "uV": ("uv", "microV", "microvolt", "microvolts", "Microvolt", "microVolt", "µV", "μV"),
    "nV": ("nv", "nanoV", "nanovolt", "nanovolts", "nanoVolt"),
    "deg": ("°", "degree", "degrees", "Deg"),
    "deg/s": ("°/s", "dps", "deg/sec"),
    "m/s2": ("m/s^2", "m/s²", "m/s/s"),
    "N": ("newton", "newtons", "Newton"),
    "Nm": ("N.m", "N*m", "N·m", "N m"),
    "degC": ("°C", "oC"),
    "uA": ("µA", "μA", "microA"),
    "s": ("sec", "second", "seconds"),
    "g": ("G",),
}
_OTHER_UNITS = (
    "rad", "rad/s", "kN", "mN", "kg", "mm", "cm", "m", "mm/s", "cm/s", "m/s", "ms", "Pa", "kPa", "mmHg", "bar", "psi",
    "Hz", "bpm", "rpm", "A", "mA", "nA", "Ohm", "kOhm", "%", "K", "T", "mT", "uT", "W", "J", "dB", "lx", "Boolean",
)  # fmt: skip
_PLAIN = (
    {unit: unit for unit in (*VOLTS, *_SPELLINGS, *_OTHER_UNITS)}
    | {spelling: unit for unit, spellings in _SPELLINGS.items() for spelling in spellings}
    | {ARBITRARY: ARBITRARY}
)

TRIGGER_WORDS = frozenset((
    "trigger", "trig", "ttl", "status", "stimulus", "stim", "sync", "synch", "photodiode", "diode", "photocell",
    "light", "button", "key", "keypress", "press", "switch", "event", "events", "marker", "markers", "digital",
    "din", "dio", "pulse",
))  # fmt: skip
AUXILIARY_WORDS = frozenset((
    "force", "torque", "load", "loadcell", "angle", "goniometer", "gonio", "position", "displacement",
    "velocity", "speed", "acceleration", "accelerometer", "acc", "accel", "gyro", "gyroscope", "gyr",
    "pressure", "audio", "mic", "microphone", "microphones", "sound", "temperature", "current",
))  # fmt: skip
_TYPE_WORDS = {"ecg": "ECG", "ekg": "ECG", "eog": "EOG", "heog": "HEOG", "veog": "VEOG", "eeg": "EEG", "emg": "EMG"}

CHANNEL_TYPES = frozenset((
    "ACCEL", "ADC", "ANGACCEL", "AUDIO", "DAC", "DBS", "ECG", "ECOG", "EEG", "EMG", "EOG", "EYEGAZE", "FILT", "GSR",
    "GYRO", "HEOG", "JNTANG", "LATENCY", "MAGN", "MISC", "ORNT", "OTHER", "PD", "POS", "PPG", "PUPIL", "REF", "RESP",
    "SEEG", "SYSCLOCK", "TEMP", "TRIG", "VEL", "VEOG",
))  # fmt: skip
"""Channel types of the Brain Imaging Data Structure 1.11, upper case (those of EMG, and of its neighbours)."""

VOLTAGES = "V, mV, uV, nV"
"""The units of voltage as messages list them."""

TIMES = frozenset((
    "time", "times", "t", "zeit", "temps", "tiempo", "tempo", "tijd", "tid", "timestamp", "timestamps", "sec",
    "seconds", "secs", "ms", "milliseconds", "clock", "s", "x", "date", "datetime",
))  # fmt: skip
"""What columns of times are called, in lower case."""
CODES = re.compile(r"-?9{3,6}(\.0*)?|-?32768|-1e\+?30[0-9]?", re.IGNORECASE)
"""Numbers that often stand for one (common practice, no source)."""
_SUFFIX = re.compile(r"^(.+)[_ ](uV|µV|μV|mV|ms)$")
_BRACKETS = re.compile(r"^(.*?)[\s_]*[\[(]\s*([^\])]+?)\s*[\])]\s*$")

BRAIN = frozenset({"DBS", "ECOG", "EEG", "SEEG"})
"""Kinds that lie over or in the brain."""

IN_MICROVOLTS = frozenset({"EMG", "ECG"})
"""Kinds whose voltages are delivered in microvolts; all others keep their own unit."""


def plain_unit(text: str) -> str | None:
    """The plain spelling of a unit, or None where the text names no unit known here.

    Prefixes are never guessed: "MV" and "UV" are not known. "Â" before "µ" or "°" is a UTF-8 text read as Latin-1.
    """
    return _PLAIN.get(text.strip().replace("Â", ""))


def is_voltage(unit: str | None) -> bool:
    return unit in VOLTS


def kind_of(label: str, unit: str | None, transducer: str = "") -> tuple[str, bool]:
    """The channel type that a label, a plain unit and a transducer most sensibly mean; and whether a name decided it.

    A type named in the label wins ("EMG biceps", "ECG"). A word for a trigger (photodiode, button, sync …) makes TRIG,
    a word for an auxiliary signal (force, angle …) or a unit other than a voltage makes MISC. Everything else is EMG.
    """
    words = _words(label)
    for word in words:
        if word in _TYPE_WORDS:
            return _TYPE_WORDS[word], False
    words = words + _words(transducer)
    if TRIGGER_WORDS.intersection(words):
        return "TRIG", True
    if AUXILIARY_WORDS.intersection(words):
        return "MISC", True
    if unit is not None and unit != ARBITRARY and not is_voltage(unit):
        return "MISC", False
    return "EMG", False


def names_emg(label: str) -> bool:
    """Whether a channel's name says that it is EMG."""
    return "emg" in _words(label)


def _words(text: str) -> list[str]:
    """Words of a name in lower case, split at signs, digits and inner capitals."""
    return [word.lower() for word in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", text)]


def label_and_unit(text: str, also: Container[str] = ()) -> tuple[str, str]:
    """A column's name without the unit that stands behind it, "FCR" and "mV" of "FCR [mV]", and that unit as it stands,
    or ""; ``also``: further words in lower case that are units."""
    if found := _BRACKETS.match(text) or _SUFFIX.match(text):
        inner = found[2].strip()
        if plain_unit(inner) or inner.lower() in also:
            return found[1].strip() or text, inner
    return text, ""


def unit_of(signals: Mapping[str, str], asks: dict[str, str]) -> str | dict[str, str] | None:
    """The unit to propose for signals of which words tell it, or by label; what is lacking is asked for."""
    voltages = {label: plain_unit(unit) for label, unit in signals.items() if unit}
    lacking = [label for label in signals if not voltages.get(label) and kind_of(label, None)[0] in IN_MICROVOLTS]
    if not voltages and lacking:
        asks["unit"] = "the file does not say it: V, mV, uV, nV, or arbitrary"
        return None
    if lacking:
        asks["unit"] = f"the file does not say that of {', '.join(lacking)}; replace each '?'"
    kept = {
        label: unit or ("?" if label in lacking else "")
        for label, unit in (voltages | dict.fromkeys(lacking, "?")).items()
    }
    alone = {unit for label, unit in kept.items() if kind_of(label, unit)[0] in IN_MICROVOLTS}
    others = {label for label, unit in kept.items() if kind_of(label, unit)[0] not in IN_MICROVOLTS}
    if len(alone) == 1 and not others and "?" not in alone:
        return alone.pop()
    return {label: unit for label, unit in kept.items() if unit}
