"""A third reviewer settles what two disagree on: nothing else, unnamed, and every way of settling comes back."""

import json

import pytest
from small_reviews import Unflushed, detect, make_trials, mark_all, start

from emgreview.annotations import verify
from emgreview.cohort.agreement import agreement
from emgreview.cohort.marks import read_logs
from emgreview.cohort.merging import merge_reviews
from emgreview.errors import DecisionError, ParameterError, UnknownNameError
from emgreview.second_look import Adjudication, adjudicate, reopen
from emgreview.tables import read_version

pytestmark = pytest.mark.filterwarnings(
    "ignore:A plain folder does not say:emgreview.errors.SignalWarning"
)  # blind, and nobody is named


@pytest.fixture
def disputed(tmp_path):
    """Ten trials. r2, by trial: 0 onset 30 ms later, 1 none visible, 2 caution, 3 behaviour, 4 cue, rest same."""
    trials = make_trials(n=10)
    for reviewer in ("r1", "r2"):
        with start(tmp_path, trials, reviewer) as session:
            mark_all(session, 2 if reviewer == "r2" else 0)
            a, b, c, d, e, *_ = trials.ids
            session.behaviour(d, "late" if reviewer == "r2" else "as instructed")
            session.correct_cue(e, 0.1 if reviewer == "r2" else 0.05)
            session.comment(a, "=cmd|' /C calc'!A0", "FDI")
            if reviewer == "r2":
                session.move(a, "FDI", onset_s=0.23)
                session.accept(a, "FDI")
                session.none_visible(b, "FDI")
                session.caution(c, "APB", ["weak"])
    return tmp_path, trials


def settling(disputed, **options):
    folder, trials = disputed
    options = {"reviewer": "r3", "detect": detect, "files": Unflushed(), **options}
    return adjudicate(trials, folder, "r1", "r2", **options)


def dispute_on(session, trial, channel):
    (dispute,) = [one for one in session.disputes(trial) if one.channel == channel]
    return dispute


def test_only_disputes_are_there_and_nobody_is_named(disputed):
    _, trials = disputed
    a, b, c, d, e, *_ = trials.ids
    with settling(disputed) as session:
        assert set(session.queue) == {a, b, c, d, e}
        assert session.progress == (0, 5, 0, 5)
        found = {(one.trial, one.channel): one for one in session.disputes()}
        assert {key: one.fields for key, one in found.items()} == {
            (a, "FDI"): ("activity",), (b, "FDI"): ("activity",), (c, "APB"): ("signal",),
            (d, None): ("behaviour",), (e, None): ("cue",),
        }  # fmt: skip
        onsets = sorted(one.channel.response.onset_s for one in found[a, "FDI"].candidates)
        assert onsets == pytest.approx([0.2, 0.23])
        assert {one.behaviour for one in found[d, None].candidates} == {"late", "as instructed"}
        assert {one.cue_s for one in found[e, None].candidates} == {0.05, 0.1}
        shown = repr(found)
        for telling in ("r1", "r2", "'automatic'", "'moved'", "calc"):
            assert telling not in shown.replace("automatic=None", ""), f"{telling} tells who it was"
        assert session.hides_automatic(a, "FDI")
        assert not session.state(a).channels["FDI"].bursts
        assert session.state(a).channels["APB"].response.onset_s == pytest.approx(0.201), "agreed: the midpoint stands"


def test_the_order_of_the_candidates_is_random_and_lasts(disputed, tmp_path):
    _, trials = disputed
    first_is_r1 = 0
    for number in range(40):
        with settling(disputed, reviewer=f"s{number}") as session:
            a, _ = dispute_on(session, trials.ids[0], "FDI").candidates
            first_is_r1 += a.channel.response.onset_s < 0.21
    assert 6 <= first_is_r1 <= 34, "outside of this in one of 100,000 runs"
    with settling(disputed) as session:
        before = session.disputes()
    with settling(disputed) as session:
        assert session.disputes() == before
    with pytest.raises(ParameterError, match="seed came as 'another'; none is taken"):
        settling(disputed, seed="another")


def test_every_way_of_settling(disputed):
    folder, trials = disputed
    a, b, c, d, e, *_ = trials.ids
    with settling(disputed) as session:
        session.apply("settle", a, "FDI", choice="both acceptable")
        assert session.state(a).channels["FDI"].response.onset_s == pytest.approx(0.215)
        with pytest.raises(DecisionError, match="nothing lies between them"):
            session.settle(b, "FDI", "both acceptable")
        session.settle(b, "FDI", "cannot be settled", "=too noisy")
        session.settle(c, "APB", "both acceptable")
        assert session.state(c).channels["APB"].signal == "caution", "the more careful state stands"
        with pytest.raises(DecisionError, match="nothing lies between them"):
            session.settle(d, None, "both acceptable")
        late = next(one.letter for one in dispute_on(session, d, None).candidates if one.behaviour == "late")
        session.settle(d, None, late)
        session.settle(e, None, "both acceptable")
        assert session.state(e).corrected_cue == 9000 + 75
        assert session.progress == (5, 5, 5, 5)
        assert session.next_unreviewed() is None
        assert session.undo() == (e,)
        assert session.progress == (4, 5, 4, 5)
        assert session.next_unreviewed() == e
        session.redo()
    assert verify(folder).ok
    merged = merge_reviews(folder, "r1", "r2", "r3")
    assert merged.disputed == (("rec", b, "FDI"),)
    assert merged.unsettled == (("rec", b, "FDI"),)
    assert merged.mark(("rec", a, "FDI")).onset == 1215
    assert merged.values[("rec", d, None), "behaviour"] == ("late", "settled by r3")
    table = merged.table.set_index(["trial", "channel"])
    assert bool(table.loc[(b, "FDI"), "cannot_be_settled"])
    assert table.loc[(a, "FDI"), "how"] == "settled by r3"


def test_one_of_the_two_or_ones_own_mark(disputed):
    folder, trials = disputed
    a, b, *_ = trials.ids
    with settling(disputed) as session:
        later = max(dispute_on(session, a, "FDI").candidates, key=lambda one: one.channel.response.onset_s)
        session.settle(a, "FDI", later.letter)
        with pytest.raises(DecisionError, match="hidden in this trial"):
            session.accept(b, "FDI")
        session.add(b, "FDI", onset_s=0.333)
        assert [dispute.settled for dispute in session.disputes(b)] == ["settled"]
    events = [json.loads(line) for line in (folder / "logs" / "rec_reviewer-r3.jsonl").read_bytes().splitlines()]
    settled = next(event for event in events if event["operation"] == "settle")
    assert settled["reason"] == f"{later.letter}, the decision of r2, stands"
    assert settled["new"]["FDI"]["activity"]["bursts"]["response"]["onset"] == 1230
    plan = next(event["new"] for event in events if event["operation"] == "adjudicate")
    assert plan["first"] == {"reviewer": "r1", "heads": read_logs(folder, "r1").heads}
    assert plan["second"]["heads"] == read_logs(folder, "r2").heads
    assert plan["base"]["rec"]["fingerprint"] == trials.recording.fingerprint.samples
    assert (plan["within_s"], len(plan["disputes"])) == (0.01, 5)
    own = next(event for event in events if event["operation"] == "add")
    assert own["visible"]["automatic"] is False
    assert merge_reviews(folder, "r1", "r2", "r3").mark(("rec", b, "FDI")).onset == 3333


def test_what_is_agreed_cannot_be_touched(disputed):
    _, trials = disputed
    a, *_, last = trials.ids
    with settling(disputed) as session:
        with pytest.raises(DecisionError, match="do not disagree on APB"):
            session.none_visible(a, "APB")
        with pytest.raises(DecisionError, match="do not disagree on this trial as a whole"):
            session.behaviour(a, "late")
        with pytest.raises(DecisionError, match="do not disagree"):
            session.settle(last, "FDI", "A")
        session.settle(a, "FDI", "A")
        with pytest.raises(DecisionError, match="do not disagree on APB"):
            session.unusable(a, "APB", ["clipped"])
        with pytest.raises(UnknownNameError, match="no choice is called 'C'; there are: A, B, both acceptable"):
            session.settle(a, "FDI", "C")


def test_a_review_that_went_on_is_named_again(disputed):
    folder, trials = disputed
    a, *_, last = trials.ids
    with settling(disputed) as session:
        session.settle(a, "FDI", "A")
    with start(folder, trials, "r2") as session:
        session.none_visible(last, "APB")
    with settling(disputed) as session:
        plans = [note for note in session.notes if note.operation == "adjudicate"]
        assert len(plans) == 2
        assert plans[1].new["second"]["heads"] != plans[0].new["second"]["heads"]
        assert session.progress == (1, 6, 1, 6)


def test_agreement_after_is_higher_than_before(disputed):
    folder, _ = disputed
    with settling(disputed) as session:
        for dispute in session.disputes():
            session.settle(dispute.trial, dispute.channel, "A")
    found = merge_reviews(folder, "r1", "r2", "r3")
    assert not found.conflicts
    assert agreement(folder, "r1", "r2").states.raw.value < 1
    assert (found.table["state"] != "").all()


def test_nothing_to_settle_and_other_refusals(disputed, tmp_path):
    folder, trials = disputed
    with pytest.raises(ParameterError, match="give three that differ"):
        settling(disputed, reviewer="r1")
    with pytest.raises(ParameterError, match=r"5 disputed trials, .* are not among the trials"):
        adjudicate(make_trials("other"), folder, "r1", "r2", reviewer="r3", detect=detect)
    same = tmp_path / "same"
    for reviewer in ("r1", "r2"):
        with start(same, trials, reviewer) as session:
            mark_all(session)
    with pytest.raises(DecisionError, match="disagree on nothing"):
        adjudicate(trials, same, "r1", "r2", reviewer="r3", detect=detect)


def test_several_recordings_and_reviewers_who_saw_different_trials(tmp_path):
    parts = [make_trials(f"rec-{k}", n=4, seed=k, sub=f"0{k}") for k in (1, 2)]
    for reviewer, by in (("r1", 0), ("r2", 25)):
        with start(tmp_path, parts, reviewer) as session:
            for part in parts:
                for trial in part.ids if reviewer == "r1" else part.ids[:2]:
                    session.add(trial, "FDI", onset_s=0.05, kind="early small")
                    session.move(trial, "FDI", onset_s=(300 + by) / 1000)
                    session.accept(trial, "FDI")
    with adjudicate(parts, tmp_path, "r1", "r2", reviewer="r3", detect=detect, files=Unflushed()) as session:
        assert set(session.queue) == {*parts[0].ids[:2], *parts[1].ids[:2]}, "a trial of r1's alone is no dispute"
        for dispute in session.disputes():
            session.settle(dispute.trial, dispute.channel, "both acceptable")
    merged = merge_reviews(tmp_path, "r1", "r2", "r3")
    assert not merged.conflicts
    assert len(merged.table) == 8
    settled = merged.table["how"] == "settled by r3"
    assert merged.table["onset_s"][settled].round(4).tolist() == [0.313] * 4, "halves of a sample later"
    assert set(merged.table["how"][~settled]) == {"r1 alone"}
    for item in {item for item, name in merged.values if name == "activity"}:
        bursts = merged.values[item, "activity"].value["bursts"]
        assert sorted(burst["kind"] for burst in bursts.values()) == ["early small", "response"]


def test_the_sealed_version_of_an_adjudication_holds_everything_and_comes_back(disputed):
    folder, trials = disputed
    with settling(disputed) as session:
        for dispute in session.disputes():
            session.settle(dispute.trial, dispute.channel, "A")
        session.seal("final")
    table = read_version(folder, "final")
    assert table["reviewed"].all(), "what was agreed stands beside what was settled"
    assert len(table) == 20
    merged = merge_reviews(folder, "r1", "r2", "r3").table.set_index(["trial", "channel"])
    onsets = table.set_index(["trial", "channel"])["onset_sample"]
    assert onsets.equals(merged["onset_sample"].reindex(onsets.index))
    options = {"detect": detect, "files": Unflushed(), "read_only": True}
    with reopen(trials, folder, reviewer="r3", **options) as session:
        assert isinstance(session, Adjudication)
        assert session.progress == (5, 5, 5, 5)
    with reopen(trials, folder, reviewer="r2", **options) as session:
        assert not isinstance(session, Adjudication)
