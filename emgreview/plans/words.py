"""What a session sheet says besides the facts of muscles: cautions, the order of a session, what is to be reported.

The items to report follow published standards as the author of this list remembers them: the list says so and is to be
held against the standards themselves. Nothing here instructs: trained staff and the lab's rules decide.

    CAUTIONS    about skin, electricity, efforts, people's data; each stands beside what leads to an act
    ORDER       the order of a session, as it is common
    ITEMS       what is to be logged, with the field that holds it and the standard
"""

from dataclasses import dataclass

NOT_A_DEVICE = (
    "For research alone; not a medical device. This sheet gives no instructions: the lab's hygiene and safety rules, "
    "the ethics approval and trained staff decide what is done. In doubt about a person's health, skin or an implant, "
    "ask a physician first."
)
CAUTIONS = {
    "placing": (
        "Caution, skin: intact skin alone; ask about allergies (adhesive, latex, gel) first; hair and abrasion as the "
        "lab's hygiene rules say, single-use razors, by trained staff; stop on pain or itching."
    ),
    "electricity": (
        "Caution, electricity: isolated, certified amplifier, as the lab's electrical safety rules say; no home-made "
        "parts with mains power; implants such as a pacemaker: a physician decides before anything is attached."
    ),
    "moving": (
        "Caution, movement: gently at first, within what the person does without pain; stop on pain. After an injury "
        "or operation of the arm, ask a physician first."
    ),
    "efforts": (
        "Caution, maximal efforts: supervised by trained staff, after a warm-up, with rests, without holding the "
        "breath; stop on pain, dizziness or chest discomfort. With heart disease, high blood pressure, recent injury "
        "or operation, pregnancy, or in doubt: medical advice first, or leave them out."
    ),
    "data": (
        "Caution, personal data: codes alone, no names on this sheet, in files or in photos (faces, tattoos); what "
        "may be kept and shared is for the consent, the ethics board and the data-protection officer."
    ),
}
"""By what they are about; the words of each are a whole sentence."""


@dataclass(frozen=True, slots=True)
class Step:
    """A step of the session: ``what`` is recorded, ``how`` in words, and the key of its ``caution``, or ""."""

    what: str
    how: str
    caution: str = ""


ORDER = (
    Step("Arrival", "consent; contraindications and allergies asked; participant and staff as codes", "data"),
    Step("Electrodes", "sites, pads, leads, reference and ground; log spacing, impedance, time, photo", "placing"),
    Step("Leads and amplifier", "each lead in its own input; offset, mains and clipping looked at", "electricity"),
    Step("Rest, 10 s", "relaxed and supported; baseline of every channel (common practice, no source); a marker rest"),
    Step(
        "Test contractions",
        "each test movement alone, about 5 s with rests, three times; a marker each, with its length, called "
        "test and the channel: test BB",
        "moving",
    ),
    Step(
        "Quiet movements", "each quiet movement, a marker as quiet BB; the channel should stay near its rest", "moving"
    ),
    Step("Look", "who hears whom, exchanged leads, weak sites: go on, or place anew"),
    Step(
        "Maximal efforts",
        "only where needed to normalise: at least three, rests of 1 to 2 min (common practice, no source)",
        "efforts",
    ),
    Step("Practice", "10 to 20 trials; markers, times and rest looked at before the first real one", "moving"),
    Step("Blocks", "see below; rest between; what happens is written down with the time", "moving"),
    Step("Rest, 10 s", "again, after the last block"),
    Step("End", "pads off, skin looked at, what was moved or fell off is logged", "placing"),
)
"""The order of a session: common practice, no source, unless a step says otherwise."""

ISEK = "ISEK 1999"
MATRIX = "consensus matrices"
BIDS = "BIDS 1.11"


@dataclass(frozen=True, slots=True)
class Item:
    """What is to be logged: ``name``, the ``fields`` of the plan that hold it, and the standard that asks for it."""

    name: str
    fields: tuple[str, ...]
    by: str


ITEMS = (
    Item("Electrodes: maker, model", ("electrode_maker", "electrode_model"), f"{ISEK}, {MATRIX}, {BIDS}"),
    Item("Electrodes: material and gel", ("electrode_material",), f"{ISEK}, {MATRIX}, {BIDS}"),
    Item("Electrodes: shape and size", ("electrode_shape",), f"{ISEK}, {MATRIX}"),
    Item("Spacing, placement, direction: each muscle, above", (), f"{ISEK}, {MATRIX}, {BIDS}"),
    Item("Skin: how it was prepared", ("skin",), f"{ISEK}, {MATRIX}"),
    Item("Reference and ground", ("reference", "ground"), f"{ISEK}, {MATRIX}, {BIDS}"),
    Item("Scheme of placement", ("placement_scheme", "placement_description"), f"{MATRIX}, {BIDS}"),
    Item("Amplifier: maker, model", ("amplifier_maker", "amplifier_model"), f"{ISEK}, {BIDS}"),
    Item("Amplifier: input impedance, common-mode rejection", ("input_impedance", "common_mode"), ISEK),
    Item("Amplifier: gain and range", ("gain",), ISEK),
    Item("Converter: bits", ("resolution_bits",), ISEK),
    Item("Sampling rate (Hz)", ("rate_hz",), f"{ISEK}, {MATRIX}, {BIDS}"),
    Item("Filters of the device: corners (Hz)", ("low_cutoff_hz", "high_cutoff_hz"), f"{ISEK}, {MATRIX}, {BIDS}"),
    Item("Filters: type and order", ("hardware_filters", "software_filters"), f"{ISEK}, {MATRIX}, {BIDS}"),
    Item("Mains (Hz)", ("mains_hz",), BIDS),
    Item("Posture, joint angles, support", ("position",), f"{ISEK}, {MATRIX}"),
    Item("Cues and markers", ("cues",), "common practice, no source"),
    Item("Normalisation: effort, posture, windows, rests", (), f"{ISEK}, {MATRIX}"),
    Item("Checks of crosstalk: test contractions done", (), f"{ISEK}, {MATRIX}"),
    Item("Processing: rectification, envelope, onset method", (), f"{ISEK}, {MATRIX}; logged by the review itself"),
)
SOURCES = (
    "Standards: Merletti 1999, Standards for Reporting EMG Data (ISEK); the consensus matrices of the Journal of "
    "Electromyography and Kinesiology (electrode selection, Besomi 2019; amplitude normalisation, Besomi 2020; "
    "terminology, McManus 2021). Which item each asks for is from memory: check with the standards. BIDS 1.11 was read."
)
