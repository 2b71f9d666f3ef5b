"""What the tests of conversion share: the official validator, and what is said of every invented recording."""

import json
import shutil
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import pytest

import emgreview as er

SAID = {"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"}
P01 = {"p01": {"sub": "01", "task": "press"}}


def errors_of(root: Path) -> list[str]:
    """What the official validator calls errors."""
    validator = Path(sys.executable).with_name("bids-validator-deno")
    if not validator.exists():
        pytest.skip("bids-validator-deno is not installed beside this Python")
    with tempfile.TemporaryDirectory() as disk:  # the validator reads nothing below /dev, where memory is
        copy = shutil.copytree(root, Path(disk) / "study")
        run = subprocess.run([validator, copy, "--format", "json"], capture_output=True, text=True, check=False)
    issues = json.loads(run.stdout)["issues"]["issues"]
    return [str(issue) for issue in issues if issue["severity"] == "error"]


def read_again(folder: Path) -> list[er.Recording]:
    """The recordings of a converted dataset."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)
        return list(er.read_dataset(folder).recordings)
