"""Every command that writes, killed at a few random moments; `benchmarks/attack_kills.py` does it 200 times each."""

import subprocess
import sys
from pathlib import Path

CAMPAIGN = Path(__file__).parent / "benchmarks" / "attack_kills.py"


def test_no_writing_command_that_is_killed_loses_what_it_acknowledged(counted):
    done = subprocess.run([sys.executable, CAMPAIGN, "--kills", "5"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    for line in done.stdout.splitlines():
        counted(f"kill -9: {line}")
