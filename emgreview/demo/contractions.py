"""Test contractions of the people of the demo study, for whoever asks for them: one recording a person, simulated.

The pads are those of the study's six channels, and lie as on the day of the turns. FAULTS says who has which fault. The
leads of one person are swapped in both recordings; a neighbour that is heard and a weak site are of the contractions
alone, since the turns hold no crosstalk.

    contractions_of     one person's contractions and their truth
    person_files        the same as texts, by place in the folder, but for the signal
    top_files           texts that belong to all
    README_MORE         what the study's README then says besides
"""

import json
from collections.abc import Mapping
from types import MappingProxyType

from emgreview.demo.study import LABELS, LOST, MAINS_HZ, RATE_HZ, SITES, SWAPPED
from emgreview.demo.words import CHANNELS, channels_tsv, table
from emgreview.simulation import simulate_contractions
from emgreview.simulation.contractions import Contractions, Fault

TASK = "contractions"
RAIL_UV = 5000.0
"""The amplifier's range; no contraction reaches it."""
SEEDS = 100
"""A person's contractions are drawn from so many times the seed of the study, and their number."""

FAULTS: Mapping[int, tuple[Fault, ...]] = MappingProxyType(
    {
        2: (Fault("neighbour", "BR", "BB", 0.55),),
        3: (Fault("weak site", "FCR", value=5.0),),
        4: (Fault("swapped", *SWAPPED),),
        8: (Fault("neighbour", "ECR", "BR", 0.60),),
        10: (Fault("no rest", LOST, value=18.0),),
        13: (Fault("wrong site", "FCR", "BR"),),
    }
)

README_MORE = """
## Test contractions

Before the turns each person rested and then contracted each muscle three times, and let it rest in one movement
(task-contractions; column target of events.tsv). Some pads hear a neighbour, or lie badly; who and what stands in
sourcedata/truth. Swapped leads are swapped in the turns too; whatever else is wrong with pads is of the contractions
alone, since the turns hold no crosstalk.
"""

TRUTH_COLUMNS = {
    "channel": "Label of the channel in the file",
    "contraction": "Label of the muscle that was contracted",
    "share": "RMS of what arrives there over that of the channel's own contraction, rest not counted",
    "own_db": "The channel's own contraction over its rest",
    "fault": "What is wrong with this channel",
}


def contractions_of(number: int, *, seed: int) -> Contractions:
    """One person's contractions, with their faults. Same numbers, same bits."""
    return simulate_contractions(RATE_HZ, seed=SEEDS * seed + number, muscles=LABELS).planted(*FAULTS.get(number, ()))


def person_files(label: str, made: Contractions) -> dict[str, str]:
    """Texts of one person by their place in the folder."""
    stem = f"{label}/emg/{label}_task-{TASK}"
    rec = made.recording
    events = [
        (f"{m.sample / RATE_HZ:.4f}", f"{m.duration_s:g}", m.label, m.details["contraction"], m.details["target"])
        for m in rec.markers
    ]
    faults = {name: one.kind for one in made.faults for name in (one.channel, one.other * (one.kind == "swapped"))}
    truth = [
        (channel, contraction, f"{made.share[row, at]:.6f}", f"{made.own_db[at]:.6f}", faults.get(channel, "n/a"))
        for at, channel in enumerate(made.muscles)
        for row, contraction in enumerate(made.muscles)
    ]
    return {
        f"{stem}_emg.json": _json({"RecordingDuration": rec.duration_s}),
        f"{stem}_channels.tsv": channels_tsv({name: CHANNELS[name] for name in LABELS}),
        f"{stem}_events.tsv": table(("onset", "duration", "trial_type", "contraction", "target"), events),
        f"sourcedata/truth/{label}_task-{TASK}_truth.tsv": table(tuple(TRUTH_COLUMNS), truth),
    }


def top_files(common: str) -> dict[str, str]:
    """Texts that belong to all; ``common`` is what the study's own emg.json says."""
    said = json.loads(common) | {
        "TaskName": TASK,
        "TaskDescription": "Rest, then contract one muscle after the other, and let each rest in another movement.",
        "Instructions": "Contract clearly and without pain for three seconds, then let go.",
        "PowerLineFrequency": MAINS_HZ,
        "EMGChannelCount": len(SITES),
        "MISCChannelCount": 0,
        "TriggerChannelCount": 0,
    }
    kinds = {"rest": "at rest", "test": "its test movement", "quiet": "a movement in which it should be quiet"}
    events = {
        "trial_type": {"Description": "What was asked, and of which muscle, by the label of its channel"},
        "contraction": {"Description": "What was asked", "Levels": kinds},
        "target": {"Description": "Label of the channel over the muscle that was contracted"},
    }
    return {
        f"task-{TASK}_emg.json": _json(said),
        f"task-{TASK}_events.json": _json(events),
        f"sourcedata/truth/{TASK}_truth.json": _json({k: {"Description": text} for k, text in TRUTH_COLUMNS.items()}),
    }


def _json(content: Mapping[str, object]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"
