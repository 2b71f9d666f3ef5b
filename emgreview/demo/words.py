"""The demo dataset's words: descriptions, sidecars and tables as text, after BIDS 1.11 for EMG.

CHANNELS                       label: kind, unit and description of every channel, in the order of the file
top_files(participants, seed)  name: content of the files at the top of the dataset
channels_tsv(), table()        tables as text
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from emgreview.demo.study import MAINS_HZ, RATE_HZ, SITES, THRESHOLD_DEG, TURN_DEG, Site

TASK = "turnhandle"


@dataclass(frozen=True)
class ChannelWords:
    """One channel as channels.tsv and the file's header describe it."""

    kind: str
    unit: str
    description: str
    transducer: str
    muscle: str = "n/a"
    place: str = "n/a"
    prefiltering: str = ""


def _emg(site: Site) -> ChannelWords:
    return ChannelWords(
        "EMG",
        "uV",
        f"activity recorded over left {site.muscle}",
        "bipolar surface pair, simulated",
        site.muscle,
        site.place,
        "HP:5Hz LP:700Hz",
    )


CHANNELS: Mapping[str, ChannelWords] = MappingProxyType(
    {site.label: _emg(site) for site in SITES}
    | {
        "ANGLE": ChannelWords("MISC", "deg", "angle of the handle, outward positive", "rotary sensor, simulated"),
        "LIGHT": ChannelWords(
            "TRIG", "V", "light sensor: 0.1 dark, 1.2 amber (warning), 3.0 green (go)", "photodiode, simulated"
        ),
    }
)

README = f"""# Demo study: turn the handle when the light changes

Everything here is simulated: there was no laboratory, no person and no device. Use it to learn the tools and to test
methods and people against a known truth. Do not use it for claims about physiology.

## Story

Sixteen invented people hold one of two handles, small or large (column grip of events.tsv: 20 trials each, mixed). An
amber light warns; 0.8 to 1.6 s later it turns green (go), and the handle is to be turned outward by {TURN_DEG:g}
degrees at once. The response is the moment when it passes {THRESHOLD_DEG:g} degrees. Six channels over the left arm,
shoulder and chest, the handle's angle and a light sensor are sampled at {RATE_HZ:g} Hz.

Channel names say where electrodes lie, not which muscle alone is heard.

## Known to be odd

Four people, and single trials of others. Who and which stands in sourcedata/truth: do not open it before you have
looked for yourself. In one recording one go was not written down; the light sensor saw it.

## Truth

sourcedata/truth holds one row for each trial and channel: when the first motor-unit potential begins, when the drive
began, when activity rises above the noise, when the last potential ends, its level, and what is unusual. Columns are
described in truth.json there. The signal model follows Fuglevand, Winter & Patla (1993), J Neurophysiol 70:2470-2488,
with parameters from memory and departures of its own; artefacts are recipes of its own. Crosstalk is not included.
"""

TRUTH_COLUMNS = {
    "trial": "Number of the trial, from 1",
    "grip": "Handle of this trial: small or large",
    "channel": "Label of the channel in the file",
    "site": "Label of the site where this signal truly comes from; differs from channel where leads were swapped",
    "go_s": "True moment of go, seconds from the start of the recording",
    "present": "1 where the channel holds a burst that answers, 0 where not",
    "onset_s": "First motor-unit potential, at 10 % of its rise, seconds from the start of the recording",
    "drive_s": "Start of the drive, seconds from the start of the recording",
    "visible_s": "RMS over 10 ms first exceeds that of the rest, seconds from the start; n/a if never",
    "offset_s": "Last motor-unit potential, at the end of its fall to 10 %, seconds from the start of the recording",
    "level_db": "RMS of the burst alone from onset to offset over that of the rest, within 20-450 Hz, before clipping",
    "behaviour": "What is unusual in this trial's behaviour",
    "signal": "What is unusual in this channel's signal",
}


def table(names: Sequence[str], rows: Iterable[Iterable[object]]) -> str:
    """Tab-separated text with a line of names."""
    return "".join("\t".join(map(str, row)) + "\n" for row in (names, *rows))


def channels_tsv(channels: Mapping[str, ChannelWords] = CHANNELS) -> str:
    """The table of some channels of the study, by label."""
    names = (
        "name",
        "type",
        "units",
        "reference",
        "target_muscle",
        "placement_scheme",
        "placement_description",
        "interelectrode_distance",
        "description",
        "sampling_frequency",
        "low_cutoff",
        "high_cutoff",
        "status",
    )
    rows = []
    for label, channel in channels.items():
        emg = channel.kind == "EMG"
        rows.append(
            (
                label,
                channel.kind,
                channel.unit,
                "bipolar" if emg else "n/a",
                channel.muscle,
                "other" if emg else "n/a",
                channel.place,
                20 if emg else "n/a",
                channel.description,
                f"{RATE_HZ:g}",
                5 if emg else "n/a",
                700 if emg else "n/a",
                "good",
            )
        )
    return table(names, rows)


def top_files(participants: int, seed: int) -> dict[str, str]:
    """Content of every file that belongs to the whole dataset."""
    people = [(f"sub-{number:02d}", "n/a", "n/a", "left") for number in range(1, participants + 1)]
    return {
        "README.md": README,
        "CHANGES": "1.0.0 2026-11-25\n  - First version, simulated.\n",
        "participants.tsv": table(("participant_id", "age", "sex", "arm"), people),
        "participants.json": _json(
            {
                "age": {"Description": "Age; these people do not exist", "Units": "year"},
                "sex": {"Description": "Sex; these people do not exist"},
                "arm": {"Description": "Arm that turned the handle"},
            }
        ),
        "dataset_description.json": _json(
            {
                "Name": "Demo study: turn the handle when the light changes (simulated)",
                "BIDSVersion": "1.11.1",
                "DatasetType": "raw",
                "License": "CC0",
                "Authors": ["simulated; no author"],
                "GeneratedBy": [{"Name": "emgreview demo", "Description": f"Simulated from seed {seed}"}],
            }
        ),
        f"task-{TASK}_emg.json": _json(
            {
                "TaskName": TASK,
                "TaskDescription": "Hold a handle; turn it outward at once when the light turns from amber to green.",
                "Instructions": "Keep the arm relaxed until the light is green. Then turn the handle at once.",
                "EMGPlacementScheme": "Other",
                "EMGPlacementSchemeDescription": "Invented places; see placement_description in channels.tsv.",
                "EMGReference": "bipolar: each channel is the difference between two electrodes 20 mm apart",
                "EMGGround": "n/a",
                "SamplingFrequency": RATE_HZ,
                "PowerLineFrequency": MAINS_HZ,
                "RecordingType": "continuous",
                "SoftwareFilters": "n/a",
                "HardwareFilters": {"Band-pass": {"LowCutoffHz": 5, "HighCutoffHz": 700}},
                "Manufacturer": "n/a",
                "ManufacturersModelName": "n/a",
                "SoftwareVersions": "n/a",
                "DeviceSerialNumber": "n/a",
                "ElectrodeManufacturer": "n/a",
                "ElectrodeManufacturersModelName": "n/a",
                "InstitutionName": "n/a",
                "InstitutionAddress": "n/a",
                "InstitutionalDepartmentName": "n/a",
                "EMGChannelCount": len(SITES),
                "MISCChannelCount": 1,
                "TriggerChannelCount": 1,
            }
        ),
        f"task-{TASK}_events.json": _json(
            {
                "StimulusPresentation": {"ScreenDistance": "n/a", "SoftwareName": "n/a"},
                "trial_type": {
                    "Description": "What happened",
                    "Levels": {
                        "warning": "the light turns amber",
                        "go": "the light turns green",
                        "response": f"the handle passes {THRESHOLD_DEG:g} degrees",
                    },
                },
                "grip": {
                    "Description": "Handle of this trial",
                    "Levels": {"small": "the small handle", "large": "the large handle"},
                },
                "trial": {"Description": "Number of the trial, from 1"},
            }
        ),
        "sourcedata/truth/truth.json": _json({name: {"Description": text} for name, text in TRUTH_COLUMNS.items()}),
    }


def _json(content: Mapping[str, object]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"
