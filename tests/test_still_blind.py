"""A blind review goes on blind: nobody sees by mistake what cannot be forgotten, in Python or in a shell."""

import json
import sys
from pathlib import Path

import pytest

import emgreview as er
from emgreview import cli
from emgreview.errors import DecisionError, ParameterError

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import recording

CUT = {"cue": "go", "before_s": 1.0, "after_s": 1.5}


def cut(*names):
    return er.cut_all([recording(name, 1 + i) for i, name in enumerate(names)], **CUT, blind=True)


STRANGERS = pytest.mark.filterwarnings("ignore:.* also holds (a log|logs) of:emgreview.errors.SignalWarning")
"""That recordings did not come is told; test_one_folder.py asks for it."""


def blind_review(folder, *names):
    trials = cut(*names)
    with er.open_review(trials, folder, reviewer="r1", blind=True) as session:
        session.accept(session.queue[0], "biceps")
    return trials


def lines(folder):
    return {
        path.name: [json.loads(line) for line in path.read_text().splitlines()]
        for path in sorted((folder / "logs").rglob("*.jsonl"))
    }


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
@pytest.mark.parametrize("read_only", [False, True])
def test_a_blind_review_is_never_shown_by_mistake(tmp_path, read_only):
    trials = blind_review(tmp_path, "one", "two")
    before = lines(tmp_path)
    for given in (trials, trials[0], [*trials, *cut("three")]):
        with pytest.raises(DecisionError, match=r"is blind .* go on with blind=True; .* unblind='all are decided'"):
            er.open_review(given, tmp_path, reviewer="r1", read_only=read_only)
    with er.open_review(trials, tmp_path, reviewer="r1", blind=True, read_only=read_only) as session:
        assert session.blind
    with er.open_review(trials, tmp_path / "new", reviewer="r1", read_only=read_only) as session:
        assert not session.blind, "another folder is another review"
    if not read_only:
        with er.open_review(trials, tmp_path, reviewer="r2") as session:
            assert not session.blind, "another reviewer too"
        before |= {name: found for name, found in lines(tmp_path).items() if "r2" in name}
    assert lines(tmp_path) == before, "nothing was written, and no log begun"


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
@STRANGERS
def test_whoever_ends_it_says_why_and_every_log_keeps_that(tmp_path):
    trials = blind_review(tmp_path, "one", "two")
    with er.open_review(
        [*trials, *cut("one", "two", "three")[2:]], tmp_path, reviewer="r1", unblind="all are decided"
    ) as session:
        assert not session.blind
        assert session.notices == ()
        session.seal("v1")
    for found in lines(tmp_path).values():
        assert [(one["old"], one["new"], one["reason"]) for one in found if one["operation"] == "unblind"] == [
            (True, False, "all are decided")
        ]
        assert found[-1]["blind"] is False
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        assert not session.blind, "once is enough"
    with pytest.raises(DecisionError, match="it cannot be blind again"):
        er.open_review(trials, tmp_path, reviewer="r1", blind=True)
    assert er.verify(tmp_path).ok
    recordings = [recording(name, 1 + i) for i, name in enumerate(("one", "two"))]
    recordings.append(recording("three", 3))
    assert er.replay(tmp_path, recordings, "v1").ok


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_a_reason_that_does_not_fit_is_refused_or_told(tmp_path):
    trials = blind_review(tmp_path, "one")
    with pytest.raises(ParameterError, match="unblind came as ' '; allowed: why the review"):
        er.open_review(trials, tmp_path, reviewer="r1", unblind=" ")
    with pytest.raises(ParameterError, match="unblind came as True; allowed: why"):
        er.open_review(trials, tmp_path, reviewer="r1", unblind=True)
    with pytest.raises(ParameterError, match="blind=True and unblind='done' both came"):
        er.open_review(trials, tmp_path, reviewer="r1", blind=True, unblind="done")
    with pytest.warns(er.SignalWarning, match="no log of these recordings is of a blind review"):
        er.open_review(trials, tmp_path, reviewer="r2", unblind="done").close()
    before = lines(tmp_path)
    with pytest.warns(er.SignalWarning, match="its logs, which cannot be written now, do not say so"):
        er.open_review(trials, tmp_path, reviewer="r1", unblind="a look", read_only=True).close()
    assert lines(tmp_path) == before


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
@STRANGERS
def test_sealing_stays_blind_where_one_recording_is(tmp_path):
    """The other was reviewed in the open, in a session of its own."""
    one, two = cut("one", "two")
    with er.open_review(one, tmp_path, reviewer="r1", blind=True) as session:
        session.accept(session.queue[0], "biceps")
    with er.open_review(two, tmp_path, reviewer="r1") as session:
        session.accept(session.queue[0], "biceps")
    er.seal(tmp_path, [one.recording, two.recording], "v1")
    table = er.read_version(tmp_path, "v1")
    assert "participant" not in table
    er.open_review(one, tmp_path, reviewer="r1", unblind="done").close()
    with pytest.raises(DecisionError, match="1 of 2 recordings"):
        er.seal(tmp_path, [one.recording, two.recording], "v2")
    er.open_review([one, two], tmp_path, reviewer="r1", unblind="done").close()
    er.seal(tmp_path, [one.recording, two.recording], "v2")
    assert "participant" in er.read_version(tmp_path, "v2")


def test_from_a_shell_names_are_not_told_where_blind_was_forgotten(tmp_path, monkeypatch, capsys):
    pytest.importorskip("panel")
    study = er.write_demo(tmp_path / "study", participants=2, trials=2)
    served = []
    monkeypatch.setattr("emgreview.views.host.serve", lambda screen, **_: served.append(screen))
    way = ["review", str(study), "--cue", "go", "--before", "1", "--after", "1.5", "--reviewer", "r1"]
    way += ["--folder", str(tmp_path / "rv"), "--no-browser"]
    assert cli.run([*way, "--blind"]) == 0
    capsys.readouterr()
    before = lines(tmp_path / "rv")
    noted = [*way, "--expect", "9"]
    assert cli.run(noted) == 1
    said = capsys.readouterr().err
    assert "a recording: 9 cues 'go' were expected" in said
    assert "sub-0" not in said
    assert "--blind did not come" in said
    assert 'say why with --unblind "all are decided"' in said
    assert (lines(tmp_path / "rv"), len(served)) == (before, 1)
    assert cli.run([*way, "--blind", "--unblind", "done"]) == 1
    assert "--blind and --unblind 'done' both came" in capsys.readouterr().err
    assert cli.run([*way, "--unblind", "done"]) == 0
    assert all(found[-1]["operation"] == "unblind" for found in lines(tmp_path / "rv").values())
    assert cli.run(way) == 0
