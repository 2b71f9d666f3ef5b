"""The BIDS files that stand beside a recording of EMG, to be filled in: what nobody has said is ``n/a``.

Written after the Brain Imaging Data Structure 1.11, electromyography. The recording itself is not there: until it is,
a validator asks for it, and ``required`` says what it asks for besides.

    files_of      names below the dataset and their text
    required      what BIDS requires and nobody has said, in sentences
"""

import json
import re

from emgreview.cells import tab_separated
from emgreview.muscles import CAUTION
from emgreview.plans.fields import SESSION
from emgreview.plans.planning import Plan

NOT_SAID = "n/a"
PERSON = "01"
"""Code of the participant in names of files where none was given."""
_REQUIRED = ("rate_hz", "mains_hz", "reference", "placement_scheme", "software_filters")
_PAIR = ("1", "2")
_COORDINATES = (
    "To be filled in: where positions are measured from, and along which lines. Until then positions are n/a."
)


def files_of(plan: Plan) -> dict[str, str]:
    """Every file by its name below the dataset."""
    sub = f"sub-{plan.said.get('participant', PERSON)}"
    ses = f"ses-{plan.said['session']}" if "session" in plan.said else ""
    folder = "/".join(filter(None, (sub, ses, "emg")))
    stem = "_".join(filter(None, (sub, ses)))
    run = f"{folder}/{stem}_task-{_task(plan)}"
    described: dict[str, object] = {
        "Name": f"{_said(plan, 'task', plan.movement or 'EMG')} (planned)",
        "BIDSVersion": "1.11.1",
        "DatasetType": "raw",
    }
    return {
        "dataset_description.json": _json(described),
        "README": _readme(plan, f"{run}_emg.edf"),
        f"{run}_emg.json": _json(_sidecar(plan)),
        f"{run}_channels.tsv": _channels(plan),
        f"{folder}/{stem}_coordsystem.json": _json(
            {
                "EMGCoordinateSystem": "Other",
                "EMGCoordinateSystemDescription": _COORDINATES,
                "EMGCoordinateUnits": NOT_SAID,
            }
        ),
        f"{folder}/{stem}_electrodes.tsv": _electrodes(plan),
    }


def required(plan: Plan) -> list[str]:
    """What BIDS requires of EMG and nobody has said; the recording is always among it."""
    said = [f"{name} ({SESSION[name].means})" for name in _REQUIRED if name not in plan.said]
    if plan.said.get("placement_scheme") == "Other" and "placement_description" not in plan.said:
        said.append(f"placement_description ({SESSION['placement_description'].means})")
    more = [f"BIDS still asks for {', '.join(said)}; fill them in by plan.fill(…)."] if said else []
    if "participant" not in plan.said:
        more.append(f"No participant was said; files are called sub-{PERSON}; give participant='…', a code.")
    return [*more, "BIDS still asks for the recording, _emg.edf or _emg.bdf, and for what channels hold besides EMG."]


def _said(plan: Plan, name: str, other: object = NOT_SAID) -> object:
    return plan.said.get(name, other)


def _task(plan: Plan) -> str:
    words = re.sub("[^A-Za-z0-9]", "", str(_said(plan, "task", plan.movement)))
    return words or "task"


def _sidecar(plan: Plan) -> dict[str, object]:
    content: dict[str, object] = {
        "TaskName": _said(plan, "task", _task(plan)),
        "PowerLineFrequency": _said(plan, "mains_hz"),
        "RecordingType": "continuous",
        "SoftwareFilters": NOT_SAID,
        "EMGChannelCount": len(plan.sites),
    }
    for field in SESSION.values():
        if field.key and field.name in plan.said and field.key not in content:  # without n/a, a validator asks for it
            content[field.key] = plan.said[field.name]
    for key, name in (("SoftwareFilters", "software_filters"), ("HardwareFilters", "hardware_filters")):
        if name in plan.said:
            words = str(plan.said[name])
            content[key] = NOT_SAID if words.casefold() in ("none", NOT_SAID) else {"As stated": {"Words": words}}
    if plan.postures:
        content["TaskDescription"] = f"{plan.movement or 'EMG'}; postures: {'; '.join(plan.postures)}"
    return content


def _channels(plan: Plan) -> str:
    names = ("name", "type", "units", "signal_electrode", "reference", "target_muscle", "placement_scheme",
             "placement_description", "interelectrode_distance", "low_cutoff", "high_cutoff", "status")  # fmt: skip
    scheme = str(_said(plan, "placement_scheme"))
    scheme = scheme.lower() if scheme in ("Measured", "Other") else NOT_SAID
    rows = []
    for one in plan.sites:
        first, second = (_contact(one.label, place) for place in _PAIR)
        rows.append(
            [
                *(one.label, "EMG", "uV", first, second, one.over, scheme, one.said.get("placement", NOT_SAID)),
                *(_number(one.said.get("spacing_mm")), _number(plan.said.get("low_cutoff_hz"))),
                *(_number(plan.said.get("high_cutoff_hz")), NOT_SAID),
            ]
        )
    return tab_separated(names, rows)


def _electrodes(plan: Plan) -> str:
    names = ("name", "x", "y", "z", "type", "material", "impedance", "group")
    kind, material = _said(plan, "electrode_model"), _said(plan, "electrode_material")
    rows = [
        [
            *(_contact(one.label, place), NOT_SAID, NOT_SAID, NOT_SAID, kind, material),
            *(_number(one.said.get("impedance_kohm")), one.label),
        ]
        for one in plan.sites
        for place in _PAIR
    ]
    return tab_separated(names, rows)


def _contact(label: str, place: str) -> str:
    return f"{label}_{place}"


def _number(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else NOT_SAID


def _json(content: object) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


def _readme(plan: Plan, recording: str) -> str:
    lines = [
        "A recording that is planned and not made yet. What is n/a has not been said.",
        "",
        "Still to come:",
        f"- the recording, {recording}, and events.tsv beside it",
        "- rows of channels.tsv for channels that hold no EMG (triggers, force, angle), and the units as recorded",
        "- RecordingType in emg.json was taken to be continuous; change it where it is not",
        "- positions in electrodes.tsv, with their unit and description in coordsystem.json; or n/a",
        *(f"- {one}" for one in plan.missing),
        "",
        "Two electrodes stand for each channel, as of a bipolar pair: change that where another montage is used.",
        "No names of people, in no file, name or photo; electrodes that were moved are a new session.",
        CAUTION,
    ]
    return "\n".join(lines) + "\n"
