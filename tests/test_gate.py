"""The rest of the gate, so that one ``python -m pytest`` is all of it: format, lint, types, notebooks, what lies where.

Nothing here needs git: the tests read the folder as it stands, as an unpacked archive has it.
"""

import ast
import fnmatch
import json
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import nbclient
import nbformat
import pytest
from deno import find_deno_bin
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

import emgreview as er
from emgreview.demo import lab

ROOT = Path(__file__).parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
TOP = {
    ".ci",
    ".gitattributes",
    ".gitignore",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "binder",
    "emgreview",
    "notebooks",
    "pyproject.toml",
    "tests",
}
ADDRESSES = ("http://127.0.0.1", "https://json-schema.org/", "http://www.w3.org/2000/svg", "http://{host}")
"""How the only web addresses in the package may begin: this machine, the name of a schema language, and
by what this machine's own page is asked."""


def ignored() -> list[str]:
    lines = (ROOT / ".gitignore").read_text("utf-8").splitlines()
    return [line.strip("/") for line in lines if line and not line.startswith("#")] + [".git"]


def is_ignored(name: str) -> bool:
    return any(fnmatch.fnmatch(name, pattern) for pattern in ignored())


# Tools ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tool", ["ruff format --check .", "ruff check .", "mypy"])
def test_tool_has_no_complaint(tool):
    done = subprocess.run([sys.executable, "-m", *tool.split()], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


# The browser half -------------------------------------------------------------------------------------------------

SCRIPTS = ROOT / "emgreview" / "views" / "js"
DENO = ["--config", str(SCRIPTS / "deno.json")]
PAGE = ROOT / "emgreview" / "muscles" / "page.js"
HALVES = [str(SCRIPTS), str(ROOT / "tests" / "js")]
BUNDLER = [sys.executable, str(ROOT / "tests" / "js" / "bundle.py")]


def run_deno(*arguments: str) -> str:
    """Deno, which comes with the test dependencies and here asks nothing of any network; its complaint, if any."""
    nowhere = {
        "NO_COLOR": "1",
        "DENO_NO_UPDATE_CHECK": "1",
        "http_proxy": "http://127.0.0.1:9",
        "https_proxy": "http://127.0.0.1:9",
    }
    command = [find_deno_bin(), *arguments]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, env={**os.environ, **nowhere})
    return "" if done.returncode == 0 else done.stdout + done.stderr


@pytest.mark.parametrize("task", ["fmt --check", "lint", "check", "test --no-lock"])
def test_deno_has_no_complaint_of_the_browser_half(task):
    """Format, lint, types (of modules and of their tests), and the tests that need no browser."""
    page = [] if task.startswith("test") else [str(PAGE)]  # which does its work where it is loaded
    assert run_deno(*task.split(), *DENO, *HALVES, *page) == ""


def test_every_module_of_the_browser_half_has_its_types_checked_and_is_short():
    modules = sorted(SCRIPTS.rglob("*.js"))
    assert len(modules) > 30
    for path in modules:
        text = path.read_text("utf-8")
        assert text.startswith("// @ts-check\n// "), f"{path.name} does not begin with its task, or goes unchecked"
        assert text.count("\n") <= 400, path.name


def test_the_bundle_is_what_its_modules_make():
    """By the digests in its head: without network, and without a bundler."""
    done = subprocess.run([*BUNDLER, "--check"], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_bundle_made_anew_is_the_same():
    """Where Deno has its bundler, or can fetch it: the digests could be forged, this cannot."""
    done = subprocess.run([*BUNDLER, "--rebuild"], capture_output=True, text=True)
    if done.returncode == 3:
        pytest.skip(f"no bundler on this machine, and none to be had: {done.stdout.strip()[-300:]}")
    assert done.returncode == 0, done.stdout + done.stderr


# Notebooks --------------------------------------------------------------------------------------------------------


def test_there_are_notebooks():
    assert [path.name for path in NOTEBOOKS] == sorted(lab.NOTEBOOKS)


def test_every_notebook_names_the_others():
    for path in NOTEBOOKS:
        text = path.read_text("utf-8")
        assert not [other.stem for other in NOTEBOOKS if other != path and f"`{other.stem}`" not in text], path.name


def execute(
    path: Path, folder: Path, participants: int = 5, trials: int = 4, contractions: bool = False, **others: str
) -> nbformat.NotebookNode:
    """A notebook from top to bottom in a folder, on a small demo; its errors fail the test with their traceback."""
    study = lab.demo_of("demo-study", participants=participants, trials=trials, seed=20, contractions=contractions)
    text = lab.with_constants(path, {"STUDY": study, **others})
    notebook = nbformat.reads(text, as_version=4)
    client = nbclient.NotebookClient(
        notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(folder)}}
    )
    return client.execute()


def printed(notebook: nbformat.NotebookNode) -> str:
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", [])]
    return "\n".join(output.get("text", "") or output.get("data", {}).get("text/plain", "") for output in outputs)


@pytest.fixture
def here(monkeypatch):
    """Kernels of this environment, and this checkout in them."""
    monkeypatch.setenv("JUPYTER_PREFER_ENV_PATH", "1")
    monkeypatch.setenv("PYTHONPATH", str(ROOT))


def test_review_notebook_runs_again_and_again(tmp_path, here):
    """First without a decision, then with one, then with a version that is there already."""
    path = ROOT / "notebooks" / "review.ipynb"
    first = printed(execute(path, tmp_path))
    assert "0 of 72 channels reviewed" in first
    assert "nothing was sealed" in first
    assert "TrialReview" in first
    rec = er.read_dataset(tmp_path / "demo-study").recordings[0]
    trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    with er.open_review(trials, tmp_path / "demo-review", reviewer="r1") as session:
        session.accept(session.queue[0], "BB")
    assert "v1: " in printed(execute(path, tmp_path))
    last = printed(execute(path, tmp_path))
    assert "1 of 72 channels reviewed" in last
    assert "v2: " in last
    assert "Verified(ok=True" in last
    assert er.read_version(tmp_path / "demo-review", "v2")["reviewed"].sum() == 1


def test_first_look_notebook_runs(tmp_path, here):
    out = printed(execute(ROOT / "notebooks" / "first_look.ipynb", tmp_path))
    assert "green      4" in out
    assert re.search(r"BB +\d+ bursts:", out)


def test_onset_accuracy_notebook_runs(tmp_path, here):
    path = ROOT / "notebooks" / "onset_accuracy.ipynb"
    out = printed(execute(path, tmp_path, participants=2, trials=12, BENCH_TRIALS="10"))
    assert re.search(r"true onset \d+ ms after the cue; found \d+ ms \(\d+ to \d+ ms\)", out)
    assert re.search(r"95 %, reached from -?\d+ dB on \([\d.]+ µV RMS\)", out)
    assert "0 of 20" in out


def test_planning_notebook_runs(tmp_path, here):
    out = printed(execute(ROOT / "notebooks" / "planning.ipynb", tmp_path, trials=4))
    assert "sheet.html" in out
    assert "BB: " in out
    assert "rate_hz" not in out


def test_checking_notebook_finds_what_is_planted(tmp_path, here):
    """The second person of the demo: heart beats over one channel, and a neighbour that another hears."""
    path = ROOT / "notebooks" / "checking.ipynb"
    out = printed(execute(path, tmp_path, participants=2, trials=10, contractions=True, EXPECT="11"))
    assert re.search(r"PM +▲ look again: heart", out)
    assert re.search(r"BR +▲ look again: clipped", out), "in the seventh trial: all of it is looked at"
    assert "11 cues 'go' were expected and 10 are there" in out
    assert "10 of 10" in out, "the light was seen after every cue"
    assert "While BB is contracted, BR shows" in out
    assert "FDI" in out
    assert "02, BR: recorded over brachioradialis; also hears BB" in out
    assert "Caution: in test contractions BR" in out
    assert out.count("Stop on pain") + out.count("stop on pain") >= 2
    assert "SIMULATED" in out
    assert "TrialReview" in out


def test_checking_notebook_says_what_a_study_without_contractions_lacks(tmp_path, here):
    out = printed(execute(ROOT / "notebooks" / "checking.ipynb", tmp_path, participants=2, trials=4))
    assert "Test contractions are left out: CONTRACTIONS is 'sub-02_task-contractions'" in out
    assert "0 cards" in out
    assert "TrialReview" in out


def test_measures_notebook_runs(tmp_path, here):
    out = printed(execute(ROOT / "notebooks" / "measures.ipynb", tmp_path, trials=12))
    assert re.search(r"\d+ of 216 rows are included", out)
    assert "INVENTED reviewer" in out
    assert "activity none visible" in out
    assert "impossible motor times: 0 of" in out
    assert "This does not rule" in out


def test_two_reviewers_notebook_runs(tmp_path, here):
    out = printed(execute(ROOT / "notebooks" / "two_reviewers.ipynb", tmp_path, trials=12, participants=2))
    assert "planned: 8 trials come again" in out
    assert "Own SD of an onset" in out
    assert "still in dispute" in out
    assert re.search("The audit failed|of the [0-9]+ bulk-accepted onsets would", out)
    assert "median -7 ms; 5 newly unusable: other body movement" in out
    assert "marks and states identical: yes" in out
    assert "all files as they were written: True" in out


def test_participants_notebook_runs(tmp_path, here):
    path = ROOT / "notebooks" / "participants.ipynb"
    notebook = execute(path, tmp_path, participants=3, trials=6, WORKERS="1")
    out = printed(notebook)
    tables = [one.get("data", {}).get("text/html", "") for cell in notebook.cells for one in cell.get("outputs", [])]
    assert "18 trials, automatic marks" in "".join(tables)
    assert "of fewer than 8 nobody is told apart by statistics" in "".join(tables)
    assert "Participants(" in out
    assert "100% of channels in trials are not reviewed" in out
    assert "kept out: 0" in out


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_notebooks_are_committed_without_outputs(path):
    content = json.loads(path.read_text("utf-8"))
    assert set(content["metadata"]) <= {"kernelspec", "language_info"}
    for cell in content["cells"]:
        assert cell["metadata"] == {}
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            assert cell["execution_count"] is None


# What lies where --------------------------------------------------------------------------------------------------


def test_the_top_folder_holds_what_it_should_and_nothing_else():
    """Of what is kept under version control: a reader's own folders are no matter of ours."""
    kept = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True)
    inside = (ROOT / ".git").exists() and kept.returncode == 0
    names = {name.split("/")[0] for name in kept.stdout.split("\0") if name} if inside else None
    assert (names or {path.name for path in ROOT.iterdir() if not is_ignored(path.name)}) == TOP


def test_the_package_asks_nothing_of_any_network():
    shipped = [ROOT / "README.md", *NOTEBOOKS, *(ROOT / "binder").iterdir()]
    shipped += [path for path in (ROOT / "emgreview").rglob("*") if path.is_file() and path.suffix != ".pyc"]
    assert len(shipped) > 40
    for path in shipped:
        for address in re.findall(r"\b(?:https?|wss?|ftp)://[^\s\"'`)]+", path.read_text("utf-8")):
            assert address.startswith(ADDRESSES), f"{path.relative_to(ROOT)} names {address}"


def test_the_guide_names_every_part_of_the_package():
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for path in (ROOT / "emgreview").iterdir():
        if path.suffix == ".py" or (path.is_dir() and any(path.glob("*.py"))):
            name = path.name if path.is_file() else f"{path.name}/"
            assert f"`{name}`" in guide or name == "__main__.py", f"DEVELOPERS.md does not say what {name} is for"


def test_what_the_guide_names_to_change_and_to_run_is_there():
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    named = re.findall(r"(?<![\w/])tests/[\w/*.-]*[\w*]", guide.replace("<name>", "*"))
    assert len(named) > 60
    missing = {path for path in named if not any(ROOT.glob(path.removesuffix("/")))}
    assert not missing
    for path in (
        "bench/plan.py", "reading/registry.py", "tables/decisions.py", "annotations/schema/event-1.json",
        "views/screen_setup.py", "views/js/review/forms.js", "views/js/review/spectrum.js", "views/js/review.css",
    ):  # fmt: skip
        assert path.removeprefix("views/js/") in guide, path
        assert (ROOT / "emgreview" / path).is_file(), path


def test_python_files_stay_short():
    """400 lines, unless the module's docstring says why not."""
    for path in (ROOT / "emgreview").rglob("*.py"):
        text = path.read_text("utf-8")
        if text.count("\n") > 400:
            assert "400 lines" in (ast.get_docstring(ast.parse(text)) or ""), path.name


# The hosted environment -------------------------------------------------------------------------------------------


def pins() -> dict[str, Version]:
    lines = (ROOT / "binder" / "requirements.txt").read_text("utf-8").splitlines()
    found = {}
    for requirement in (Requirement(line) for line in lines if line and not line.startswith("#")):
        (pin,) = requirement.specifier
        assert pin.operator == "==", f"{requirement} is not pinned"
        found[canonicalize_name(requirement.name)] = Version(pin.version)
    return found


def test_pins_satisfy_what_the_package_asks_for():
    pinned = pins()
    wanted = [Requirement(text) for text in PROJECT["dependencies"] + PROJECT["optional-dependencies"]["notebook"]]
    assert len(wanted) > 10
    for requirement in wanted:
        version = pinned.get(canonicalize_name(requirement.name))
        assert version is not None, f"binder/requirements.txt does not pin {requirement.name}"
        assert version in requirement.specifier, f"{requirement} is asked for, {version} is pinned"
    assert "emgreview" not in pinned


def test_hosted_python_is_the_tested_one():
    version = (ROOT / "binder" / "runtime.txt").read_text("utf-8").strip().removeprefix("python-")
    assert f"Programming Language :: Python :: {version}" in PROJECT["classifiers"]
    assert (ROOT / "binder" / "postBuild").stat().st_mode & 0o111
