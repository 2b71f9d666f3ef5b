"""What two reviewers keep out, accept in bulk or change later is so after merging, settling, sealing and comparing."""

import shutil

import pytest
from small_reviews import Unflushed, detect, make_trials, mark_all, place_mark, start

import emgreview as er
from emgreview.cohort.agreement import agreement
from emgreview.cohort.marks import read_logs
from emgreview.cohort.merging import merge_reviews
from emgreview.errors import DecisionError
from emgreview.second_look import BulkRule, adjudicate, plan_bulk, plan_self_check, reopen, self_check

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # test_told.py asks for them


def settling(folder, trials, **options):
    return adjudicate(
        trials, folder, "r1", "r2", **{"reviewer": "r3", "detect": detect, "files": Unflushed(), **options}
    )


def rows(table, trial, channel):
    return table[(table["trial"] == trial) & (table["channel"] == channel)]


# Kept out --------------------------------------------------------------------------------------------------------


@pytest.fixture
def kept(tmp_path):
    """Ten trials; r2 marks 30 ms later throughout. Both exclude APB and say that cue 1 is none; r1 alone that cue 2 is,
    and r2 alone the participant and a stretch at cue 4. Both set the stretch at cue 3 aside."""
    trials = make_trials(n=10, sub="07")
    for reviewer, by in (("r1", 0), ("r2", 30)):
        with start(tmp_path, trials, reviewer) as session:
            mark_all(session, by)
            session.exclude("hum", recording="rec", channel="APB")
            session.no_cue(trials.ids[1], "double" if reviewer == "r1" else "knock")
            session.set_aside("rec", "FDI", 7.0, 8.0, ["clipped"])
            if reviewer == "r1":
                session.no_cue(trials.ids[2], "double")
            else:
                session.exclude("ill", participant="07")
                session.set_aside("rec", "FDI", 9.0, 10.0, ["heart beats"])
            session.seal(reviewer)
    return tmp_path, trials


def test_what_is_kept_out_is_compared_by_nobody_and_counted(kept):
    folder, trials = kept
    with start(folder, trials, "r2") as session:
        session.readmit(participant="07")
    found = agreement(folder, "r1", "r2")
    assert (found.both, found.out_both, found.out_first, found.out_second) == (8, 11, 1, 0)
    assert "Kept out of every analysis, and of this comparison: 11 channel-trials by both, 1 by r1 alone" in str(found)
    assert len(found.table) == 20, "counted, not dropped"
    assert found.table["kept_out"].value_counts().to_dict() == {"both": 11, "first": 1}
    with start(folder, trials, "r2") as session:
        session.exclude("ill", participant="07")
    found = agreement(folder, "r1", "r2")
    assert (found.both, found.out_both, found.out_first, found.out_second) == (0, 12, 0, 8)


def test_the_third_reviewer_s_table_keeps_out_what_either_does(kept):
    folder, trials = kept
    merged = merge_reviews(folder, "r1", "r2")
    assert {(item[1], item[2]) for item in merged.disputed} == {
        (trial, "FDI") for trial in trials.ids if trial != trials.ids[1]
    }, "what both keep out is in no dispute"
    assert merged.left_out.groupby("what")["said_by"].agg(list).to_dict() == {
        "excluded": ["r1, r2"], "no cue": ["r1, r2", "r1"], "participant excluded": ["r2"],
        "set aside": ["r1, r2", "r2"],
    }  # fmt: skip
    with settling(folder, trials) as session:
        assert "one of the two keeps it out" in session.disputes()[0].why
        for dispute in session.disputes():
            session.settle(dispute.trial, dispute.channel, "A")
        table = session.decisions()
        assert table["excluded"].notna().all()
        assert rows(table, trials.ids[0], "APB")["excluded"].item() == "channel: hum; participant: ill (one of two)"
        assert rows(table, trials.ids[1], "FDI")["excluded"].item().endswith("trial: no cue, double / knock")
        assert rows(table, trials.ids[2], "FDI")["excluded"].item().endswith("trial: no cue, double (one of two)")
        assert [list(rows(table, trials.ids[k], "FDI")["set_aside"]) for k in (2, 3, 4)] == [[False], [True], [True]]
        assert len(session.aside) == 2
        session.seal("settled", er.Rule(name="all", version=1))
    assert er.read_version(folder, "settled")["included"].sum() == 0


def test_the_third_reviewer_may_take_back_what_one_alone_keeps_out(kept):
    folder, trials = kept
    with settling(folder, trials) as session:
        session.readmit("is well", participant="07")
        session.no_cue(trials.ids[2], None)
        with pytest.raises(DecisionError, match="both reviewers keep this out"):
            session.readmit(recording="rec", channel="APB")
        with pytest.raises(DecisionError, match="both reviewers keep this out"):
            session.no_cue(trials.ids[1], None)
        said = session.excluded, dict(session.no_cues)
    with reopen(trials, folder, reviewer="r3", detect=detect, files=Unflushed()) as session:
        assert (session.excluded, dict(session.no_cues)) == said
        assert said == ((("recording", "rec", "APB", "hum"),), {trials.ids[1]: "double / knock"})
        assert session.decisions()["excluded"].isna().sum() == 9
        session.undo()
        session.undo()
        assert session.decisions()["excluded"].notna().all()


# Bulk ------------------------------------------------------------------------------------------------------------


def accept_in_bulk(session):
    """All that a lenient rule takes, after an audit that finds every mark where it is."""
    audit = plan_bulk(session, BulkRule(interval_below_s=0.02, level_above_db=20), at_most=0.3, expected=0.0)
    for trial, channel in audit.open:
        place_mark(session, trial, channel, 0)
    audit.finish()
    audit.accept()
    return [pair for pair in audit.lot if pair not in audit.sample]


def test_a_bulk_mark_gives_way_to_one_by_eye_and_is_told_where_it_stands(tmp_path):
    trials = make_trials(n=20)
    with start(tmp_path, trials, "r1") as session:
        rest = accept_in_bulk(session)
    (near, far, unusable, nothing, *_) = rest
    with start(tmp_path, trials, "r2") as session:
        place_mark(session, *near, 8)
        place_mark(session, *far, 30)
        session.unusable(*unusable, ["clipped"])
    merged = merge_reviews(tmp_path, "r1", "r2")
    assert not merged.conflicts, "nobody disagrees with what nobody looked at"
    table = merged.table.set_index(["trial", "channel"])
    for pair, by in ((near, 8), (far, 30)):
        k = trials.ids.index(pair[0])
        assert table.loc[pair, "onset_s"] == pytest.approx(0.2 + (k + by) / 1000), "no midpoint with it either"
        assert (table.loc[pair, "how"], bool(table.loc[pair, "in_bulk"])) == ("r2 alone", False)
    assert table.loc[unusable, "state"] == "unusable"
    assert (table.loc[nothing, "how"], bool(table.loc[nothing, "in_bulk"])) == ("r1 alone", True)
    assert table["in_bulk"].sum() == len(rest) - 3
    audited = next(pair for pair in table.index if pair not in rest)
    with start(tmp_path, trials, "r2") as session:
        place_mark(session, *audited, 50)
    with settling(tmp_path, trials) as session:
        session.settle(*audited, "A")
        assert session.state(nothing[0]).channels[nothing[1]].in_bulk
        session.seal("settled")
    sealed = er.read_version(tmp_path, "settled")
    assert sealed["in_bulk"].sum() == len(rest) - 3
    assert sealed.attrs["version"]["bulk"] == [read_logs(tmp_path, "r1").note("bulk acceptance").new["sentence"]]


def test_a_first_showing_accepted_in_bulk_says_nothing_of_the_reviewer(tmp_path):
    trials = make_trials(n=60)
    with start(tmp_path, trials, order="random") as session:
        plan_self_check(session)
        rest = set(accept_in_bulk(session))
        mark_all(
            session, trials=[t for t in session.queue if session.source(t) == t and not rest & {(t, "FDI"), (t, "APB")}]
        )
        again = [trial for trial in session.queue if session.source(trial) != trial]
        mark_all(session, 20, trials=again)
        left_out = len(rest & {(session.source(trial), channel) for trial in again for channel in ("FDI", "APB")})
        by_eye = sum(
            session.state(session.source(t)).channels[c].reviewed and (session.source(t), c) not in rest
            for t in again for c in ("FDI", "APB")
        )  # fmt: skip
        session.seal("v1")
    found = self_check(tmp_path, "r1")
    assert left_out > 2 < by_eye
    assert (found.repeated, found.bulk_first) == (by_eye, left_out)
    assert f"{left_out} more were accepted in bulk the first time" in str(found)


# Changed later ---------------------------------------------------------------------------------------------------


@pytest.fixture
def settled(tmp_path):
    """Six trials, r2 marks FDI 30 ms later; r3 settles four of six disputes by A, one by hand, and one not at all."""
    trials = make_trials(n=6)
    for reviewer, by in (("r1", 0), ("r2", 30)):
        with start(tmp_path, trials, reviewer) as session:
            mark_all(session, lambda _, channel, by=by: by if channel == "FDI" else 0)
            session.seal(reviewer)
    with settling(tmp_path, trials) as session:
        for trial in trials.ids[:4]:
            session.settle(trial, "FDI", "A")
        session.add(trials.ids[4], "FDI", onset_s=0.1)
        session.settle(trials.ids[5], "FDI", "cannot be settled")
        session.seal("settled")
    return tmp_path, trials


@pytest.mark.parametrize("place", [0, 4, 5])
def test_a_settlement_falls_when_one_of_the_two_decides_otherwise(settled, place):
    folder, trials = settled
    trial = trials.ids[place]
    with start(folder, trials, "r1") as session:
        session.move(trial, "FDI", onset_s=-0.2)
        session.accept(trial, "FDI")
    merged = merge_reviews(folder, "r1", "r2", "r3")
    assert ("rec", trial, "FDI") in merged.disputed
    assert merged.reopened == (("rec", trial, "FDI"),)
    assert merged.unsettled == (() if place == 5 else (("rec", trials.ids[5], "FDI"),))
    assert bool(merged.disputes.set_index("trial").loc[trial, "reopened"])
    with settling(folder, trials) as session:
        assert session.progress == (5, 6, 5, 6)
        assert session.next_unreviewed() == trial
        assert not rows(session.decisions(), trial, "FDI")["reviewed"].any()
        (dispute,) = session.disputes(trial)
        assert dispute.why.endswith("settled before, but one of the two has decided otherwise since")
        session.settle(trial, "FDI", "B")
        assert session.progress[0] == 6
        assert rows(session.decisions(), trial, "FDI")["reviewed"].all()
    assert merge_reviews(folder, "r1", "r2", "r3").reopened == ()
    with settling(folder, trials) as session:
        assert session.progress[0] == 6


def test_a_settlement_stands_when_a_change_is_taken_back(settled):
    folder, trials = settled
    with start(folder, trials, "r1") as session:
        session.move(trials.ids[0], "FDI", onset_s=-0.2)
        session.undo()
    merged = merge_reviews(folder, "r1", "r2", "r3")
    assert len(merged.disputed) == 1
    with settling(folder, trials) as session:
        assert session.progress[0] == 6


def test_a_settlement_of_what_is_no_longer_in_dispute_gives_way(settled):
    folder, trials = settled
    trial = trials.ids[4]
    with start(folder, trials, "r2") as session:
        session.move(trial, "FDI", onset_s=0.204)
        session.accept(trial, "FDI")
    with settling(folder, trials) as session:
        assert session.progress == (5, 5, 5, 5)
        assert session.state(trial).channels["FDI"].response.onset_s == pytest.approx(0.204), "now they agree"
    assert merge_reviews(folder, "r1", "r2", "r3").mark(("rec", trial, "FDI")).onset == 9204
    with start(folder, trials, "r2") as session:
        session.undo(), session.undo()
    with settling(folder, trials) as session:
        assert (trial, "FDI") in {(one.trial, one.channel) for one in session.disputes() if not one.settled}


def test_a_settlement_of_what_neither_has_decided_any_more_gives_way(settled):
    folder, trials = settled
    trial = trials.ids[0]
    for reviewer in ("r1", "r2"):
        with start(folder, trials, reviewer) as session:
            session.move(trial, "FDI", onset_s=0.3)
    assert (("rec", trial, "FDI"), "activity") not in merge_reviews(folder, "r1", "r2", "r3").values
    with settling(folder, trials) as session:
        assert session.progress == (5, 5, 5, 5)
        assert not rows(session.decisions(), trial, "FDI")["reviewed"].any()


def test_comments_on_what_was_in_dispute_come_back_with_its_settlement(settled):
    folder, trials = settled
    trial, other = trials.ids[0], trials.ids[5]
    for reviewer in ("r1", "r2"):
        with start(folder, trials, reviewer) as session:
            session.comment(trial, f"by {reviewer}", channel="FDI")
            session.comment(other, f"by {reviewer}", channel="FDI")
    with settling(folder, trials) as session:
        assert session.state(trial).channels["FDI"].comment == "by r1 / by r2"
        while session.undo():
            pass
        assert session.state(trial).channels["FDI"].comment is None, "it could tell whose decision is whose"
        session.settle(trial, "FDI", "A")
        assert rows(session.decisions(), trial, "FDI")["comment"].item() == "by r1 / by r2"


def test_the_difference_to_a_settled_version_is_that_of_the_tables(settled):
    folder, trials = settled
    was, now = (er.read_version(folder, name).set_index(["trial", "channel"]) for name in ("r1", "settled"))
    moved = (was["onset_sample"] != now["onset_sample"].reindex(was.index)) & now["reviewed"]
    found = er.diff(folder, "r1", "settled")
    words = dict(found.table["what"].value_counts())
    assert words.pop("no longer reviewed") == 1, "the one that cannot be settled"
    assert (
        (found.table["what"] == "onset moved").sum() + (found.table["what"] == "burst added").sum() == moved.sum() > 0
    )
    assert set(found.new["lines"]) == {f"logs/rec_reviewer-{code}.jsonl" for code in ("r1", "r2", "r3")}
    assert str(er.diff(folder, "settled", reviewer="r3")) == "nothing changed"
    with start(folder, trials, "r1") as session:
        session.move(trials.ids[0], "FDI", onset_s=-0.2)
        session.accept(trials.ids[0], "FDI")
    assert str(er.diff(folder, "settled", reviewer="r3")) == "nothing changed", "r3 has not seen it yet"
    with settling(folder, trials):
        pass
    assert "1 no longer reviewed" in str(er.diff(folder, "settled", reviewer="r3"))


def test_a_cut_is_found_against_the_heads_that_a_third_log_names(settled, tmp_path):
    folder, _ = settled
    bare = tmp_path / "bare"
    shutil.copytree(folder / "logs", bare / "logs")
    path = bare / "logs" / "rec_reviewer-r1.jsonl"
    assert er.verify(bare).ok
    lines = path.read_bytes().splitlines(keepends=True)
    named = read_logs(folder, "r3").note("adjudicate").new["first"]["heads"]["logs/rec_reviewer-r1.jsonl"]["lines"]
    found = 0
    for count in range(1, len(lines) + 1):
        path.write_bytes(b"".join(lines[:count]))
        problems = er.verify(bare).problems
        assert bool(problems) == (count < named)
        found += any("rec_reviewer-r3.jsonl was written when line" in problem for problem in problems)
    assert found == named - 1
    path.unlink()
    assert any("which is missing" in problem for problem in er.verify(bare).problems)


def test_a_version_written_anew_is_found_against_the_log(settled):
    folder, _ = settled
    description = folder / "versions" / "r1" / "decisions.json"
    description.chmod(0o644)
    description.write_bytes(description.read_bytes().replace(b'"reviewer": "r1"', b'"reviewer": "r9"'))
    assert any("was changed after sealing" in problem for problem in er.verify(folder).problems)
