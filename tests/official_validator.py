"""The official validator of BIDS datasets, as several tests ask it."""

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest


def issues_of(root: Path) -> list[dict[str, object]]:
    """Everything that it has to say of a dataset."""
    validator = Path(sys.executable).with_name("bids-validator-deno")
    if not validator.exists():
        pytest.skip("bids-validator-deno is not installed beside this Python")
    with tempfile.TemporaryDirectory() as disk:  # the validator reads nothing below /dev, where memory is
        copy = shutil.copytree(root, Path(disk) / "study")
        run = subprocess.run([validator, copy, "--format", "json"], capture_output=True, text=True, check=False)
    issues: list[dict[str, object]] = json.loads(run.stdout)["issues"]["issues"]
    assert (run.returncode == 0) == all(issue["severity"] != "error" for issue in issues)
    return issues


def errors_of(root: Path) -> list[dict[str, object]]:
    """What it calls errors."""
    return [issue for issue in issues_of(root) if issue["severity"] == "error"]
