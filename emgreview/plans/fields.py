"""What a person fills in: every field of a plan, what it is for, and what may stand in it.

A field that nobody filled in is missing: it is listed, left empty on the sheet and ``n/a`` in the BIDS skeleton. None
is guessed.

    Field       one of them
    SESSION     those of the whole session, by name
    SITE        those of each muscle, by name
    checked     a value as it is kept, or an error
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from emgreview import checks
from emgreview.errors import UnknownNameError, tell

Value = str | float
LONGEST = 500
"""Letters of a text, at most (our own choice, no source)."""


@dataclass(frozen=True, slots=True)
class Field:
    """``name``, what it ``means``, what it may be (``choices``, a ``number`` within limits, a ``code``, or text), the
    ``key`` that BIDS has for it, and whether a plan that lacks it is told so (``asked``). A number outside what is
    ``usual``, which ends with the unit that may have been meant, is taken and asked about."""

    name: str
    means: str
    number: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    code: bool = False
    key: str = ""
    asked: bool = True
    usual: tuple[float, float, str] | None = None

    @property
    def allowed(self) -> str:
        """What it may be, in words."""
        if self.choices:
            return " or ".join(map(repr, self.choices))
        if self.number is not None:
            return f"a number, {self.number[0]:g} to {self.number[1]:g}"
        return "a code of letters and digits alone" if self.code else f"a text of at most {LONGEST} letters"


def _by_name(*fields: Field) -> Mapping[str, Field]:
    return {one.name: one for one in fields}


SESSION = _by_name(
    Field("participant", "code of the participant, never a name", code=True),
    Field("session", "code of the session; moved electrodes are a new session", code=True, asked=False),
    Field("placed_by", "code of the trained person who places the electrodes, never a name", code=True),
    Field("task", "name of the task", key="TaskName"),
    Field("rate_hz", "sampling rate", number=(1, 1e6), key="SamplingFrequency", usual=(100, 1e5, "kHz")),
    Field("mains_hz", "frequency of the mains", number=(1, 1000), key="PowerLineFrequency"),
    Field("reference", "where the reference electrode is, or bipolar", key="EMGReference"),
    Field("ground", "where the ground electrode is", key="EMGGround"),
    Field(
        "placement_scheme",
        "how sites were found",
        choices=("Measured", "ChannelSpecific", "Other"),
        key="EMGPlacementScheme",
    ),
    Field("placement_description", "the same in words", key="EMGPlacementSchemeDescription"),
    Field("electrode_maker", "who made the electrodes", key="ElectrodeManufacturer"),
    Field("electrode_model", "model of the electrodes", key="ElectrodeManufacturersModelName"),
    Field("electrode_material", "what their surface is made of, and the gel", key="ElectrodeMaterial"),
    Field("electrode_shape", "shape and size of the surface that records, in mm"),
    Field("skin", "how the skin was prepared"),
    Field("amplifier_maker", "who made the amplifier", key="Manufacturer"),
    Field("amplifier_model", "its model", key="ManufacturersModelName"),
    Field("input_impedance", "input impedance of the amplifier, with its unit"),
    Field("common_mode", "common-mode rejection, with its unit"),
    Field("gain", "gain, and range of the converter, with units"),
    Field("resolution_bits", "bits of the converter", number=(1, 64)),
    Field("low_cutoff_hz", "high-pass corner of the device", number=(0, 1e5)),
    Field("high_cutoff_hz", "low-pass corner of the device", number=(0, 1e6)),
    Field("hardware_filters", "type and order of its filters"),
    Field("software_filters", "filters of the recording software, or none", key="SoftwareFilters"),
    Field("position", "how the person sits or stands, joint angles, what supports the limb"),
    Field("cues", "what warns and what tells to go, and by which marker each is known"),
)
"""Fields of the whole session."""

SITE = _by_name(
    Field("placement", "how the site was found on this person, in words", key="placement_description"),
    Field(
        "spacing_mm",
        "from centre to centre of the pair",
        number=(1, 200),
        key="interelectrode_distance",
        usual=(5, 60, "cm"),
    ),
    Field("direction", "how the pair lies to the fibres"),
    Field("impedance_kohm", "impedance, as measured", number=(0, 1e5), key="impedance"),
    Field("skinfold_mm", "skinfold or ultrasound over the site", number=(0, 200), asked=False),
    Field("photo", "a photo was taken", choices=("yes", "no")),
    Field("placed_at", "time of day"),
)
"""Fields of each muscle."""


def checked(fields: Mapping[str, Field], name: str, value: object) -> Value | None:
    """A value as a plan keeps it; None takes back what was filled in."""
    if name not in fields:
        raise UnknownNameError("field", name, fields, most=len(fields))
    field = fields[name]
    if value is None:
        return None
    if field.number is not None:
        kept = checks.number(name, checks.plain(value), least=field.number[0], most=field.number[1])
        if field.usual is not None and not field.usual[0] <= kept <= field.usual[1]:
            tell(
                f"{name} came as {kept:g}; {field.usual[0]:g} to {field.usual[1]:g} are usual (our own choice, no "
                f"source): were {field.usual[2]} meant? It is kept as it came."
            )
        return kept
    good = isinstance(value, str) and value.strip() and len(value) <= LONGEST
    checks.demand(good, name, value, field.allowed)
    assert isinstance(value, str)
    text = " ".join(value.split())
    checks.demand(text.isprintable(), name, value, field.allowed)
    checks.demand(not field.choices or text in field.choices, name, value, field.allowed)
    checks.demand(not field.code or re.fullmatch("[A-Za-z0-9]+", text), name, value, field.allowed)
    return text
