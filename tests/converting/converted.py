"""What the tests of conversion share, and what is said of every invented recording."""

import warnings
from pathlib import Path

import emgreview as er

SAID = {"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"}
P01 = {"p01": {"sub": "01", "task": "press"}}


def read_again(folder: Path) -> list[er.Recording]:
    """The recordings of a converted dataset."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)
        return list(er.read_dataset(folder).recordings)
