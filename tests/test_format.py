"""The format page is true: its examples run in a real review folder that never changes, and agree with the package."""

import contextlib
import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from format_page import PAGE, fences, run_page
from scripted_reviews import CHECK, detect
from stored_reviews import first_recordings

import emgreview as er

REVIEW = Path(__file__).parent / "files" / "review-1"


def write_review(folder):
    """How files/review-1 was made, once: every command of a session, two versions, one of them with a rule."""
    trials = [er.cut_trials(one, cue="go", before_s=0.5, after_s=1.0) for one in first_recordings()]
    options = {"reviewer": "r1", "detect": detect}
    with er.open_review(
        trials, folder, blind=True, order="random", convention="First lasting rise", **options
    ) as session:
        a, b, c, d, e, *rest = sorted(session.queue)
        session.showing(raw=True, span_s=[-0.5, 1.0])
        session.note("hide marks", {"hide": [[e, "APB"]], "show_again": [[a, c]]})
        session.accept(a, "FDI")
        session.move(a, "APB", onset_s=0.2155, offset_s=0.5)
        session.accept(a, "APB")
        session.confidence(a, "APB", "fairly")
        session.add(b, "FDI", onset_s=0.05, offset_s=0.1, kind="early small")
        session.kind(b, "FDI", "braking", burst="response")
        session.remove(b, "FDI", burst="response")
        session.not_locatable(b, "APB", earliest_s=0.1, latest_s=0.3)
        session.unusable(c, "FDI", ["clipped", 'other: "strap" = slipped'])
        session.copy_to_all(c, "FDI")
        session.caution(d, "APB", ["weak"])
        session.none_visible(d, "FDI")
        session.add(e, "APB", onset_s=0.19)
        session.accept_rest(e)
        session.comment(a, "=µ 😀\u202e")
        session.comment(a, "n/a", channel="FDI")
        session.discuss(b)
        session.behaviour(b, "anticipation")
        session.correct_cue(d, 0.0125, reason="photodiode")
        session.set_aside("left", "FDI", 8.5, 9.5, ["heart beats"])
        session.exclude("electrode came off", recording="right", channel="APB")
        session.usable(c, "APB")
        session.undo()
        session.redo()
        session.undo()
        session.seal("v1")
        session.unblind("all decided")
        session.exclude("left early", participant="2")
        session.readmit("came back", participant="2")
        session.accept_rest(rest[0])
    with er.open_review(trials, folder, convention="Foot of the burst", **options) as session:
        session.move(a, "FDI", onset_s=0.18)
        session.accept(a, "FDI")
        session.seal("v2", er.Rule(name="main", version=2, signal=("usable",), onset_s=(0.05, 0.6)))


@pytest.fixture
def review(tmp_path):
    shutil.copytree(REVIEW, tmp_path / "review")
    return tmp_path / "review"


@pytest.mark.filterwarnings("ignore:The logs? of .* begun before:emgreview.errors.SignalWarning")
def test_the_stored_review_is_read_by_every_later_version(review):
    found = er.verify(review)
    assert (found.ok, found.logs, found.versions) == (True, 2, 2)
    for path in (review / "logs").rglob("*.jsonl"):
        for line in path.read_bytes().splitlines():
            CHECK.validate(json.loads(line))
    first, second = (er.read_version(review, name) for name in ("v1", "v2"))
    assert first["trial_comment"].dropna().unique() == ["=µ 😀\u202e"]
    assert first["comment"].dropna().unique() == ["n/a"]
    assert "condition" in second
    assert "condition" not in first
    assert second["included"].sum() == second.attrs["version"]["inclusion"]["included"] > 0
    assert str(er.diff(review, "v1", "v2")).startswith("1 onset moved, -20 ms")
    for version in ("v1", "v2"):
        assert er.replay(review, first_recordings(), version, detect=detect).same_decisions
    trials = [er.cut_trials(one, cue="go", before_s=0.5, after_s=1.0) for one in first_recordings()]
    with er.open_review(trials, review, reviewer="r1", detect=detect) as session:
        assert not session.read_only
        assert session.convention == "Foot of the burst"
        assert [reason for *_, reason in session.excluded] == ["electrode came off"]
        while session.undo():
            pass
        assert session.progress[0] == 0


def test_the_stored_review_holds_every_operation_of_a_session():
    lines = [json.loads(line) for path in (REVIEW / "logs").rglob("*.jsonl") for line in path.read_bytes().splitlines()]
    words = set(re.split("[:,;] ", CHECK.schema["properties"]["operation"]["description"]))
    own = {
        "open log", "accept", "accept rest", "move", "add", "remove", "none visible", "not locatable", "unusable",
        "caution", "usable", "kind", "confidence", "comment", "discuss", "behaviour", "correct cue", "set aside",
        "exclude", "readmit", "copy to all", "undo", "redo", "seal", "change convention", "unblind",
    }  # fmt: skip
    assert own <= words
    assert own <= {line["operation"] for line in lines}
    assert {"log", "signal", "activity", "channels", "excluded", "participant excluded"} <= {
        line["field"] for line in lines
    }


def test_the_hash_tool_finds_what_the_lines_say(review):
    outputs = []
    for code in fences("bash"):
        done = subprocess.run(["bash", "-eu", "-c", code], cwd=review, capture_output=True, text=True, check=True)
        outputs.append(re.findall(r"[0-9a-f]{64}", done.stdout))
    lines, versions = outputs
    assert len(lines) == len(versions) == 4
    assert lines[0] == lines[1] != lines[2] == lines[3]
    assert versions[0] == versions[1] != versions[2] == versions[3]


def test_forty_lines_read_check_and_replay_a_review(review):
    with contextlib.chdir(review):
        spoken = run_page()
    table = er.read_version(review, "v2")
    rows = spoken["versions"]["v2"]
    assert len(rows) == len(table)
    for name in ("trial", "comment", "trial_comment", "condition", "signal_reasons", "excluded", "why_not"):
        assert [row[name] for row in rows] == [None if value is er.tables.pd.NA else value for value in table[name]]
    marks = table[table["accepted"].fillna(False) & (table["activity"] == "bursts")]
    wanted = {(row.trial, row.channel, row.burst): row.onset_s for row in marks.itertuples()}
    found = {key: value for onsets in spoken["onsets"].values() for key, value in onsets.items()}
    assert len(found) > 5
    assert found == wanted
    assert sum(map(len, spoken["logs"].values())) == er.verify(review).events


@pytest.mark.parametrize("where", ["logs", "versions"])
def test_the_page_s_check_finds_a_change(review, where):
    path = next(path for path in (review / where).rglob("*.*l" if where == "logs" else "*.tsv") if path.is_file())
    path.chmod(0o644)
    path.write_bytes(path.read_bytes().replace(b"clipped", b"Clipped").replace(b"0.2", b"0.3"))
    with contextlib.chdir(review), pytest.raises(SystemExit, match=r"not as it was written|was changed"):
        run_page()


def test_every_field_of_a_line_is_on_the_page():
    for name in CHECK.schema["properties"]:
        assert f"`{name}`" in PAGE, name
    for name in CHECK.schema["properties"]["field"]["examples"]:
        assert f"`{name}`" in PAGE or f'"{name}"' in PAGE, name
