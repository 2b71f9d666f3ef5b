"""The README is true: its Python runs as it stands, in order; its key table is the package's; its commands exist."""

import re
import shlex
import warnings
from pathlib import Path

import numpy as np
import pytest
import scipy.io

import emgreview as er
from emgreview import cli
from emgreview.keys import KEYS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
NAMES = {
    "ArrowRight": "→",
    "ArrowLeft": "←",
    "ArrowDown": "↓",
    "ArrowUp": "↑",
    "Backquote": "Backquote",  # the character itself would end the code span
    "Backslash": "\\",
    "BracketLeft": "[",
    "BracketRight": "]",
    "Comma": ",",
    "PageDown": "Page Down",
    "PageUp": "Page Up",
    "Period": ".",
    "Quote": "'",
    "Semicolon": ";",
    "Slash": "/",
}
"""Keys that are neither letters nor digits, as on a US layout."""


def fences(language: str, text: str = README) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def keys_table() -> str:
    """The table of keys as the README shows it."""
    rows = ["| key | what it does |", "|---|---|"]
    for group in dict.fromkeys(key.group for key in KEYS):
        rows.append(f"| | **{group}** |")
        for key in (key for key in KEYS if key.group == group):
            name = NAMES.get(key.code) or key.code.removeprefix("Key").removeprefix("Digit")
            assert name in NAMES.values() or len(name) == 1, f"say in NAMES what is printed on {key.code}"
            rows.append(f"| {'Shift ' if key.shift else ''}`{name}` | {key.words} |")
    return "\n".join(rows)


def test_the_key_table_is_that_of_the_package():
    shown = re.search(r"<!-- keys:begin -->\n(.*?)\n?<!-- keys:end -->", README, re.DOTALL)[1]
    assert shown == keys_table(), f"put this between the markers:\n{keys_table()}"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with the files that the README reads: invented noise, and pulses of 5 V every 3 s."""
    monkeypatch.chdir(tmp_path)
    rng = np.random.default_rng(7)
    seconds = np.arange(0, 20, 1 / 2000)
    pulses = np.where((seconds % 3 < 0.1) & (seconds > 1), 5.0, 0.0) + rng.normal(0, 0.01, seconds.size)
    lines = (
        f"{t:.4f},{x:.6f},{v:.6f}" for t, x, v in zip(seconds, rng.normal(0, 0.01, seconds.size), pulses, strict=True)
    )
    Path("turns.csv").write_text("\n".join(lines) + "\n")
    trial = {"emg": np.random.default_rng(0).normal(size=(2000, 2)), "fs": 2000.0}
    scipy.io.savemat("turns.mat", {"trial": trial | {"names": np.array(["FCR", "ECR"], object)}})
    edfio = pytest.importorskip("edfio")
    signal = edfio.EdfSignal(rng.normal(0, 20, 20_000), 2000, label="EMG FCR", physical_dimension="uV")
    edfio.Edf([signal]).write("turns.edf")
    return tmp_path


def test_the_python_of_the_readme_runs_as_it_stands(folder, capsys):
    pytest.importorskip("panel")
    blocks = fences("python")
    assert len(blocks) >= 4
    scope: dict[str, object] = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)
        for number, block in enumerate(blocks, 1):
            exec(compile(block, f"README.md, Python block {number}", "exec"), scope)
    printed = capsys.readouterr().out
    assert "Verified(ok=True" in printed
    assert len(scope["trials"]) == 6  # pulses at 3, 6 … 18 s
    table = scope["table"]
    assert set(table["reviewer"]) == {"r2"}
    assert table["reviewed"].sum() == 3
    moved = table[(table["origin"] == "moved")]
    assert moved["onset_s"].tolist() == [0.21]
    assert " undo " in printed
    assert Path("script-review/logs/sub-01/sub-01_task-turnhandle_reviewer-r2.jsonl").is_file()
    assert Path("script-review/versions/v1/decisions.json").is_file()


def test_the_script_is_short():
    script = next(block for block in fences("python") if "open_review" in block)
    assert len([line for line in script.splitlines() if line.strip()]) < 20


def test_the_commands_of_the_readme_are_understood():
    block = next(block for block in fences("bash") if block.startswith("emgreview check"))
    for line in block.splitlines():
        assert cli._parser().parse_args(shlex.split(line)[1:]).run


def test_the_test_command_stands_between_its_markers():
    between = re.search(r"<!-- tests:begin -->(.*?)<!-- tests:end -->", README, re.DOTALL)[1]
    (command,) = fences("bash", between)
    assert command.rstrip().endswith(".venv/bin/python -m pytest")
    assert "chromium" in command
