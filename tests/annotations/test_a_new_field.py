"""A decision field is added as DEVELOPERS.md says: its module, its entry in FIELDS, the schema, and a sample.

The example of that page is run: in a copy of the package the three files are made or changed, and nothing else.
"""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import emgreview

HOME = Path(__file__).parents[2]
DOCSTRINGS = HOME / "tests" / "test_docstrings.py"
PAGE = (HOME / "DEVELOPERS.md").read_text(encoding="utf-8")

SAMPLE = """
import json, sys
from pathlib import Path
import numpy as np
import emgreview as er
from emgreview.errors import DecisionError, UnknownNameError

rng = np.random.default_rng(0)
rec = er.Recording.from_array(rng.normal(0, 5, (2, 8000)), 1000.0, labels=["FDI", "APB"],
                              markers=[(k, "go") for k in (1000, 3000, 5000)], name="rec", entities={"sub": "1"})
trials = er.cut_trials(rec, cue="go", before_s=0.5, after_s=1.0)
folder = Path(sys.argv[1])

def log():
    (path,) = (folder / "logs").rglob("*_reviewer-r1.jsonl")
    return [json.loads(line) for line in path.read_bytes().splitlines()]

def opened(reviewer):
    return er.open_review(trials, folder, reviewer=reviewer, method="threshold")

with opened("r1") as session:
    a, b, c = session.queue
    session.posture(a, "standing")
    session.apply("posture", b, value="sitting")
    try:
        session.posture(c, "lying")
    except UnknownNameError as why:
        assert "sitting, standing" in str(why), why
    assert log()[-1]["field"] == "posture" and log()[-1]["new"] == "sitting" and log()[-1]["old"] is None
    assert session.state(a).values["posture"] == "standing"
    card = er.review(session)._card(a)
    assert card["title"].endswith(" · posture: standing"), card["title"]
    session.undo()
    assert session.state(b).values["posture"] is None
    session.redo()
    session.seal("v1")
with opened("r1") as session:
    assert session.state(b).values["posture"] == "sitting"
    session.posture(b, None)
table = er.read_version(folder, "v1")
assert set(table["posture"].dropna()) == {"standing", "sitting"}
assert list(table)[-1] == "posture" and table.attrs["version"]["columns"]["posture"]["type"] == "text"
assert str(er.diff(folder, "v1")) == "1 posture changed: cleared"
with opened("r2") as session:
    session.posture(a, "sitting")
    session.posture(c, "standing")
with er.adjudicate(trials, folder, "r1", "r2", reviewer="r3", method="threshold") as session:
    (dispute,) = session.disputes()
    assert dispute.fields == ("posture",) and dispute.why == "posture: sitting against standing"
    assert {one.values["posture"] for one in dispute.candidates} == {"sitting", "standing"}
    said = er.review(session)._card(a)["dispute"]["said"]["untimed"]
    assert sorted(part[3:] for part in said.split("; ")) == ["posture: sitting", "posture: standing"], said
    try:
        session.posture(c, "sitting")
    except DecisionError as why:
        assert "do not disagree" in str(why)
    else:
        raise AssertionError
    try:
        session.settle(a, None, "both acceptable")
    except DecisionError as why:
        assert "nothing lies between" in str(why)
    session.settle(a, None, "A")
    assert session.progress[:2] == (1, 1)
    stood = session.decisions()
    assert set(stood[stood["trial"] == c]["posture"]) == {"standing"}
    session.seal("settled")
assert er.verify(folder).ok
from emgreview.annotations.conforming import misfit
assert not any(map(misfit, log()))
assert "allowed: sitting, standing, null" in misfit({**log()[1], "new": "lying"})
print("good")
"""


def fences(language):
    example = PAGE[PAGE.index("**A decision field.**") :]
    return re.findall(rf"^```{language}\n(.*?)^```", example, re.MULTILINE | re.DOTALL)


@pytest.fixture
def package(tmp_path):
    """A copy of the package with the field of the example in it."""
    copy = tmp_path / "emgreview"
    shutil.copytree(Path(emgreview.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    folder = copy / "annotations"
    (module,) = fences("python")
    (folder / "fields" / "posture.py").write_text(module, encoding="utf-8")
    registry = folder / "fields" / "__init__.py"
    text = registry.read_text(encoding="utf-8")
    text = text.replace("    no_cue,\n", "    no_cue,\n    posture,\n", 1)
    end = "        )\n    }\n)\n\nDEFAULTS"  # of the tuple of fields, whatever stands last in it
    assert end in text
    text = text.replace(end, f"            posture.FIELD,\n{end}", 1)
    registry.write_text(text, encoding="utf-8")
    schema = folder / "schema" / "event-1.json"
    whole = json.loads(schema.read_text(encoding="utf-8"))
    (rule,) = fences("json")
    whole["allOf"].append(json.loads(rule))
    whole["properties"]["field"]["examples"].append("posture")
    schema.write_text(json.dumps(whole), encoding="utf-8")
    return tmp_path


def test_the_worked_example_is_a_whole_field(package, tmp_path):
    changed = [path for path in package.rglob("*") if path.is_file()]
    own = Path(emgreview.__file__).parent.parent
    differing = {
        path.relative_to(package).as_posix()
        for path in changed
        if not (own / path.relative_to(package)).exists()
        or (own / path.relative_to(package)).read_bytes() != path.read_bytes()
    }
    assert differing == {
        "emgreview/annotations/fields/posture.py",
        "emgreview/annotations/fields/__init__.py",
        "emgreview/annotations/schema/event-1.json",
    }
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", SAMPLE, tmp_path / "review"],
        env={**os.environ, "PYTHONPATH": str(package)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout == "good\n", done.stderr


def test_its_command_is_told_as_those_of_the_package_are(package, tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-n0", "-q", "-p", "no:cacheprovider", "-k", "posture", DOCSTRINGS],
        env={**os.environ, "PYTHONPATH": str(package)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert "passed" in done.stdout
