"""The texts at the top of a converted dataset."""

import json
from collections.abc import Mapping

BIDS = "1.11.1"


def readme(name: str, scrubbed: bool) -> str:
    """README.md of the dataset."""
    people = (
        "Header fields that name a person, a place or a day were replaced, free text was removed, and dates were "
        "moved by whole days, the same for all recordings of a person, to 1925 or earlier. The recordings stay data of "
        "people: who may have them is for consent, ethics approval and data protection rules."
        if scrubbed
        else "Nothing was removed: headers, tables and sidecars may name people, places and days."
    )
    return f"""# {name}

Surface EMG, converted by emgreview to the Brain Imaging Data Structure (BIDS {BIDS}).

## People

{people}

## Samples

Recordings that came as EDF or BDF hold the stored numbers of their source. All others are BDF, 24 bits: values that are
multiples of one step are stored without loss, others to the nearest of 16 million steps between their lowest and
highest value. The column largest_error of channels.tsv says how far a sample may be from its source.

Three keys and columns say what these files cannot hold by themselves:

- SamplesRecorded in emg.json: samples of each EMG channel; what follows in the file fills up its last data record.
  SamplingFrequency is then the exact rate; that of the header may be off by a billionth.
- MissingSampleCodes in emg.json: by channel, the stored number, below the digital minimum, of a missing sample.
- sample and marker_source in events.tsv: the exact sample of an event, from 0, and where the event was found.
"""


def description(name: str, kept: Mapping[str, object]) -> dict[str, object]:
    """dataset_description.json."""
    return {
        **kept,
        "Name": name,
        "BIDSVersion": BIDS,
        "DatasetType": "raw",
        "GeneratedBy": [{"Name": "emgreview", "Description": "convert"}],
    }


def to_json(content: Mapping[str, object]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
