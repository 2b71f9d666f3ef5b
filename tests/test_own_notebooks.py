"""The notebooks on a reader's own study: one cell says what it is, no other needs a hand, none holds the demo."""

import ast
import functools
import json
import re

import own_studies
import pytest

import emgreview as er
from emgreview.demo import lab
from emgreview.simulation.contractions import Fault

pytest.importorskip("panel", reason="the pictures need the extra [notebook]")

SAID = {
    "beeps": {
        "CUE": "beep",
        "RECORDINGS": ["sub-1_task-lift", "sub-2_task-lift"],
        "BEFORE_S": 0.8,
        "AFTER_S": 1.2,
        "CHANNEL": "TIB",
        "PAIR": ("TIB", "SOLEUS"),
        "GROUP": "load",
        "RESPONSE": None,
        "RECORDING": "sub-2_task-lift",
    },
    "chewing": {
        "CUE": None,
        "BEFORE_S": 0.8,
        "AFTER_S": 1.2,
        "CHANNEL": "MASSETER",
        "PAIR": None,
        "GROUP": None,
        "RESPONSE": None,
        "RECORDING": 0,
    },
    "lifts": {
        "CUE": "lift now",
        "BEFORE_S": 1.0,
        "AFTER_S": 1.0,
        "CHANNEL": "EIP",
        "PAIR": ("FDI", "ADM"),
        "GROUP": "fingers",
        "RESPONSE": "lifted",
        "RECORDING": 1,
    },
}
"""What a reader of each study would write into the first cell."""
PLANNED = {
    "MOVEMENT": "make a fist",
    "MUSCLES": ["FDS", "ED"],
    "SIDE": "left",
    "POSTURES": [],
    "KNOWN": {},
    "PRECISION_MS": 5,
    "SD_TRIALS_MS": 30,
    "SD_PEOPLE_MS": 8,
}
CHECKED = {
    "EXPECT": None,
    "SEARCH_S": (0.0, 0.5),
    "STIMULUS": None,
    "CONTRACTIONS": None,
    "MEANING": None,
    "LASTING_S": None,
    "WINDOW_S": (0.1, 0.35),
    "REVIEWER": "r9",
}
EVERY = {"RECORDINGS": None, "WORKERS": 1, "PULSES": None, "REVIEWER": "r9", "BENCH_TRIALS": 10, "LEFT_FOR_YOU": 1}
OF_THE_DEMO = (
    r"\b(BB|BR|FCR|ECR|DP|PM|ANGLE|LIGHT|grip|handle|turnhandle|sub-\d+|sourcedata|biceps|wrist|amber|green)\b"
)


@functools.cache
def bench() -> object:
    """The benchmark of the onset methods knows nothing of a study: it is made once."""
    return er.bench_onsets(
        trials=10,
        methods=("ramp", "threshold", "energy"),
        levels_db=(10, 40),
        rises_s=(0.02, 0.08, 0.3),
        kinds=("units",),
        parts=("grid", "quiet"),
    )


def cells(name: str, sort: str = "code") -> list[str]:
    content = json.loads(lab.notebook(name).read_text("utf-8"))
    return ["".join(cell["source"]) for cell in content["cells"] if cell["cell_type"] == sort]


@pytest.mark.parametrize("study", SAID)
def test_every_notebook_runs_on_a_study_of_ones_own(study, tmp_path, monkeypatch):
    """From the recordings to a version of one's own, and from that to tables."""
    report = bench()
    monkeypatch.setattr(er, "bench_onsets", lambda **_: report)
    path = getattr(own_studies, study)(tmp_path / study)
    review = str(tmp_path / "review")
    said = {"STUDY": str(path), **EVERY, **SAID[study], "REVIEW": review}
    few = {"beeps": 16, "chewing": 10, "lifts": 14}[study]

    out, names = own_studies.run("first_look", said)
    assert re.search(rf"{said['CHANNEL']} +\d+ bursts:", out)
    assert ("There is no marker" in out) == (said["CUE"] is None)

    out, names = own_studies.run("review", said)
    assert sum(map(len, names["session"].trials)) == few, "all have joined"
    assert "Nothing is reviewed yet" in out
    with names["session"] as session:
        if study == "lifts":  # a cue that was not written down
            session.add_cue(session.trials[0].recording.name, 1.3, said["CUE"])
            recordings = [session.with_added_cues(part.recording.name) for part in session.trials]
    if study == "lifts":
        trials = er.cut_all(recordings, cue=said["CUE"], before_s=said["BEFORE_S"], after_s=said["AFTER_S"])
        session, few = er.open_review(trials, review, reviewer="r9"), few + 1
    else:
        session = er.open_review(names["trials"], review, reviewer="r9")
    with session:
        session.wait_for_all()
        for trial in session.queue:
            for channel in session.open_channels(trial):
                session.accept(trial, channel)
        sealed = session.seal("mine")
        rows = len(session.decisions())

    out, names = own_studies.run("measures", said | {"VERSION": "mine", "SHA256": sealed.sha256})
    assert "INVENTED" not in out
    assert sum(map(len, names["trials"])) == few, "the trials are those of the version"
    assert f"of {rows} rows are included" in out
    assert len(names["measured"]) == names["table"]["included"].sum() > few / 2
    assert ("Nothing below is grouped" in out) == (said["GROUP"] is None)
    assert ("Two muscles are not compared" in out) == (said["PAIR"] is None)
    assert ("Premotor and motor time are left out" in out) == (said["RESPONSE"] is None)
    if said["GROUP"]:
        assert len(names["CONDITIONS"]) == {"beeps": 2, "lifts": 3}[study]

    out, names = own_studies.run("two_reviewers", said)
    assert ("No self-check is planned" in out) == (study == "chewing")
    assert "marks and states identical: yes" in out
    assert "all files as they were written: True" in out
    names["third"].close()

    out, names = own_studies.run("onset_accuracy", said)
    assert list(names["table"].index) == list(names["trials"].labels)


def test_the_planning_notebook_runs_on_a_study_of_ones_own(tmp_path):
    path = own_studies.beeps(tmp_path / "beeps")
    folder = tmp_path / "plan"
    out, names = own_studies.run("planning", {"STUDY": str(path), **PLANNED, "FOLDER": str(folder)})
    assert names["plan"].labels == ("FDS", "EDC")
    assert {"sheet.html", "plan.toml", "bids"} <= {one.name for one in folder.iterdir()}
    assert "TIB: " in out


def test_every_notebook_that_cuts_recordings_runs_on_a_demo_with_test_contractions(tmp_path):
    """Recordings without the cue are left out, and told."""
    path = er.write_demo(tmp_path / "demo-study", participants=2, trials=10, contractions=True)
    said = {"STUDY": str(path), **EVERY, "CUE": "go", "BEFORE_S": 1.0, "AFTER_S": 1.5, "CHANNEL": "BB", "GROUP": "grip"}
    said |= {"PAIR": ("FCR", "ECR"), "RESPONSE": "response", "RECORDING": 1, "REVIEW": str(tmp_path / "review")}
    _, names = own_studies.run("review", said)
    assert {part.recording.entities["task"] for part in names["session"].trials} == {"turnhandle"}
    names["session"].close()
    own_studies.run("measures", said | {"REVIEW": None, "VERSION": "v1", "SHA256": None})
    own_studies.run("planning", {"STUDY": str(path), **PLANNED, "FOLDER": str(tmp_path / "plan")})


@pytest.mark.parametrize("study", SAID)
def test_the_checking_notebook_runs_on_a_study_of_ones_own(study, tmp_path):
    """Without cues or test contractions what rests on them is left out, and said."""
    path = getattr(own_studies, study)(tmp_path / study)
    mine = {name: SAID[study][name] for name in ("CUE", "BEFORE_S", "AFTER_S", "RECORDING")}
    said = {
        "STUDY": str(path),
        **mine,
        **CHECKED,
        "CONDITION": SAID[study]["GROUP"],
        "REVIEW": str(tmp_path / "review"),
    }
    if study == "beeps":
        said |= {"STIMULUS": {"channel": "beep", "level": 2.0}, "EXPECT": 8}
    out, names = own_studies.run("checking", said)
    words = " ".join(out.split())
    assert f"{SAID[study]['CHANNEL']}" in words
    assert "Test contractions are left out: CONTRACTIONS is None" in words
    assert "SIMULATED" in words
    assert ("No delay is measured" in words) == (study != "beeps")
    if SAID[study]["CUE"] is None:
        assert "there are no cues to count from" in words
        assert names["session"] is None
    else:
        assert len(names["part"].sentences) > 0
        names["session"].close()


@pytest.mark.parametrize("study", SAID)
def test_the_participants_notebook_runs_on_a_study_of_ones_own(study, tmp_path):
    path = getattr(own_studies, study)(tmp_path / study)
    mine = {name: SAID[study][name] for name in ("CUE", "BEFORE_S", "AFTER_S", "RESPONSE")}
    said = {"STUDY": str(path), **mine, "EXPECT": None, "WORKERS": 1, "REVIEW": str(tmp_path / "review")}
    out, names = own_studies.run("participants", said | {"REVIEWER": "r9"})
    if SAID[study]["CUE"] is None:
        assert "CUE is None: people are compared by what follows a cue" in out
        assert names["screen"] is None
        return
    assert set(names["found"].table["channel"]) == set(names["session"].trials[0].labels)
    assert "2 people's sessions" in out
    assert "100% of channels in trials are not reviewed" in out
    names["session"].close()


def test_contractions_of_ones_own_are_judged_in_the_checking_notebook(tmp_path):
    """A recording that is both block and contractions; exchanged leads are told, and maximal efforts shown."""
    made = er.simulate_contractions(1000, seed=3, muscles=["FCR", "ED", "FDI"], maximal=3)
    rec = made.planted(Fault("swapped", "FCR", "ED")).recording
    er.convert(
        rec,
        tmp_path / "own",
        people={rec.name: {"sub": "x", "task": "pilot"}},
        said={"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"},
    )
    said = {"STUDY": str(tmp_path / "own"), **CHECKED, "CONTRACTIONS": 0, "RECORDING": 0, "CUE": None}
    said |= {"BEFORE_S": 1.0, "AFTER_S": 1.5, "CONDITION": None, "REVIEW": str(tmp_path / "review")}
    out, names = own_studies.run("checking", said)
    assert "The leads of ED and FCR are exchanged, or the movements were" in out
    assert "SIMULATED" not in out, "efforts of one's own are shown"
    assert set(names["efforts"].reference) == {"FCR", "ED", "FDI"}
    assert len(names["cards"]) == 3


def test_what_a_description_does_not_fit_is_said(tmp_path):
    """A column, a pair and a response that are not there stop nothing."""
    path = own_studies.beeps(tmp_path / "beeps")
    wrong = {"GROUP": "mood", "PAIR": ("TIB", "VASTUS"), "RESPONSE": "step"}
    said = {"STUDY": str(path), **EVERY, **SAID["beeps"], **wrong, "REVIEW": None, "VERSION": "v1", "SHA256": None}
    out, _ = own_studies.run("measures", said)
    words = " ".join(out.split())
    assert "the decisions have no column 'mood'" in words
    assert "Two muscles are not compared: PAIR is ('TIB', 'VASTUS'); channels are TIB, SOLEUS." in words
    assert "no burst of TIB has a response 'step'" in words
    assert "Aligned to response: left out" in words


@pytest.mark.parametrize("name", lab.NOTEBOOKS)
def test_the_first_cell_describes_the_study_and_no_other_names_anything_of_it(name):
    first, *others = cells(name)
    assert first.startswith("# Your study: change this cell, and no other.")
    described = [line.split(" = ")[0] for line in first.splitlines() if re.match("[A-Z0-9_]+ = ", line)]
    assert described[0] == "STUDY"
    assert "er.write_demo(" in first
    for cell in others:
        code = cell.replace('"cue": "go"', "")  # a moment, as average_envelopes calls it
        assert not re.findall(OF_THE_DEMO, code), cell
        assert not re.findall(r"demo|truth\b(?=/|\.|_)|[\"'](go|small|large|warning)[\"']", code), cell
        written = {node.id for node in ast.walk(ast.parse(cell)) if isinstance(node, ast.Name) and stored(node)}
        assert not written & set(described), "what the description says stays as it is"


def stored(node: ast.Name) -> bool:
    return isinstance(node.ctx, ast.Store)


@pytest.mark.parametrize("name", lab.NOTEBOOKS)
def test_words_about_the_demo_say_that_they_are_about_it(name):
    for cell in cells(name, "markdown"):
        for part in cell.split("\n\n"):
            assert "demo" in part or not re.findall(OF_THE_DEMO, part), part
