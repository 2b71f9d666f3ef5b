"""Acceptance in bulk: the audit is fixed before it is drawn, fails when it should, and cannot be got round."""

import json

import pytest
from small_reviews import make_trials, mark_all, place_mark, start

from emgreview.annotations import verify
from emgreview.cohort.agreement import agreement
from emgreview.cohort.marks import read_logs
from emgreview.cohort.statistics import acceptance_plan
from emgreview.errors import DecisionError, ParameterError, SignalWarning
from emgreview.second_look import BulkRule, bulk_audit, plan_bulk, plan_self_check
from emgreview.tables import read_version

RULE = BulkRule(interval_below_s=0.02, level_above_db=20)


def lines(folder):
    return [json.loads(line) for line in (folder / "logs" / "rec_reviewer-r1.jsonl").read_bytes().splitlines()]


@pytest.fixture
def session(tmp_path):
    with start(tmp_path, make_trials(n=80)) as opened:
        yield opened


def look(session, audit, by_ms=lambda number: 0):
    for number, (trial, channel) in enumerate(audit.open):
        place_mark(session, trial, channel, by_ms(number))


def test_lot_and_sample_follow_from_the_rule_and_the_bound(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    assert len(audit.lot) == 120, "every fourth trial has a wide interval"
    assert audit.allowed == 0
    plan, draw = lines(tmp_path)[-2:]
    assert (plan["operation"], draw["operation"]) == ("plan audit", "draw audit")
    assert (plan["new"]["sample"], plan["new"]["lot_size"]) == (len(audit.sample), 120)
    assert "hide" not in plan["new"], "size and acceptance number are on disk before anything is drawn"
    assert len(audit.sample) == len(draw["new"]["hide"]) == 30
    for trial, channel in audit.sample:
        assert session.hides_automatic(trial, channel)
        assert not session.state(trial).channels[channel].bursts
    assert str(audit.sentence).startswith(f"The audit is not finished: {len(audit.sample)} of")


def test_the_sizes_that_plan_bulk_tells_are_those_of_the_plan():
    told = " ".join(plan_bulk.__doc__.split())
    pairs = ((0.05, 0.01), (0.05, 0.005), (0.05, 0.0), (0.1, 0.01))
    small, large = ([acceptance_plan(n, most, expected=few).sample for most, few in pairs] for n in (260, 1000))
    assert "at_most=0.05, {} are looked at for expected=0.01, {} for 0.005, {} for 0;".format(*small) in told
    assert f"with at_most=0.1 and expected=0.01, {small[3]} (of a lot of 1000: " in told
    assert "1000: {}, {}, {} and {})".format(*large) in told


def test_an_audit_that_passes_accepts_the_rest_with_a_bound(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    with pytest.raises(DecisionError, match=r"\d+ of \d+ channel-trials of the audit are open"):
        audit.finish()
    with pytest.raises(DecisionError, match="not finished"):
        audit.accept()
    look(session, audit, lambda number: number % 11)
    result = audit.finish()
    assert (result["moved"], result["passed"], result["looked"]) == (0, True, len(audit.sample))
    assert not session.hides_automatic(*audit.sample[0]), "the comparison made, the mark is shown again"
    sentence = audit.accept()
    n = 120 - len(audit.sample)
    assert (session.unlooked, session.progress[0]) == (n, 120)
    assert session.counted == f"channel-trials reviewed, {n} of them in bulk and looked at by nobody"
    assert f"120 of {session.progress[1]} reviewed, {n} of them in bulk and looked at by nobody" in repr(session)
    assert sentence.startswith(f"At most 10 % of the {n} bulk-accepted onsets would")
    assert "would have been moved by more than 10 ms (95 % upper bound, exact hypergeometric" in sentence
    assert session.progress[0] == 120
    operations = [event["operation"] for event in lines(tmp_path)]
    assert operations.count("accept in bulk") == n
    assert sentence in [event["new"].get("sentence") for event in lines(tmp_path) if event["field"] == "log"]
    last = lines(tmp_path)[-1]
    assert (last["visible"]["looked"], last["reason"]) == (False, f"audit {bulk_audit(session)._plan.counter}")
    assert audit.accept() == sentence, "twice does no harm"
    assert len(lines(tmp_path)) == len(operations)
    assert verify(tmp_path).ok


@pytest.mark.parametrize(
    ("how", "moved"),
    [
        (lambda session, trial, channel: place_mark(session, trial, channel, 11), True),
        (lambda session, trial, channel: place_mark(session, trial, channel, -11), True),
        (lambda session, trial, channel: place_mark(session, trial, channel, 10), False),
        (lambda session, trial, channel: session.none_visible(trial, channel), True),
        (lambda session, trial, channel: session.unusable(trial, channel, ["clipped"]), True),
        (lambda session, trial, channel: session.not_locatable(trial, channel, earliest_s=0.1, latest_s=0.3), True),
        (lambda session, trial, channel: session.add(trial, channel, onset_s=0.1, kind="early small"), True),
    ],
    ids=["later", "earlier", "just within", "none visible", "unusable", "not locatable", "another burst only"],
)
def test_what_counts_as_moved(session, how, moved):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    how(session, *audit.sample[0])
    look(session, audit)
    result = audit.finish()
    assert (result["moved"], result["passed"]) == (int(moved), not moved)
    assert result["rows"][0]["moved"] is moved


def test_a_failed_audit_accepts_nothing_and_no_second_draw_helps(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit, lambda number: 40)
    assert not audit.finish()["passed"]
    before = session.progress
    with pytest.raises(DecisionError, match=r"The audit failed; nothing is accepted in bulk: .* Decide the lot by eye"):
        audit.accept()
    for rule in (RULE, BulkRule(interval_below_s=0.01, level_above_db=24)):
        with pytest.raises(DecisionError, match="in the lot of an earlier audit; a lot is audited once"):
            plan_bulk(session, rule)
    for trial, channel in audit.sample:  # the marks can be changed, the result cannot
        session.move(trial, channel, onset_s=0.2)
    assert not audit.finish()["passed"]
    assert session.progress[0] <= before[0]
    session.close()
    with start(tmp_path, make_trials(n=80)) as opened:
        assert not bulk_audit(opened).passed
        with pytest.raises(DecisionError, match="Decide the lot by eye"):
            bulk_audit(opened).accept()
        with pytest.raises(DecisionError, match="audited once"):
            plan_bulk(opened, RULE)


def test_an_audit_left_half_way_goes_on_with_the_same_sample_still_hidden(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    place_mark(session, *audit.open[0], 5)
    left = audit.open
    session.close()
    with start(tmp_path, make_trials(n=80)) as opened:
        again = bulk_audit(opened)
        assert (again.sample, again.open) == (audit.sample, left)
        assert all(opened.hides_automatic(*pair) for pair in again.sample)
        with pytest.raises(DecisionError, match="audited once"):
            plan_bulk(opened, RULE)
        look(opened, again)
        assert again.finish()["passed"]


def test_a_crash_between_plan_and_draw_leaves_the_same_draw(session, tmp_path):
    sample = plan_bulk(session, RULE, at_most=0.1, expected=0.0).sample
    session.close()
    log = tmp_path / "logs" / "rec_reviewer-r1.jsonl"
    log.write_bytes(b"".join(log.read_bytes().splitlines(keepends=True)[:-1]))
    with start(tmp_path, make_trials(n=80)) as opened:
        assert bulk_audit(opened).sample == sample


def test_a_crash_in_the_middle_of_accepting_goes_on(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit)
    audit.finish()
    sentence = audit.accept()
    session.close()
    log = tmp_path / "logs" / "rec_reviewer-r1.jsonl"
    log.write_bytes(b"".join(log.read_bytes().splitlines(keepends=True)[:-30]))
    with start(tmp_path, make_trials(n=80)) as opened:
        assert opened.progress[0] == 90
        assert bulk_audit(opened).accept() == sentence
        assert opened.progress[0] == 120


def test_a_mark_decided_while_the_automatic_one_was_seen_counts_as_moved(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit)
    trial, channel = audit.sample[0]
    session.note("peek", {"reveal": [[trial, channel]]})
    session.confidence(trial, channel, "sure")
    assert audit.finish()["rows"][0] | {"moved": True, "seen": True} == audit.finish()["rows"][0]
    assert not audit.passed


def test_what_was_decided_meanwhile_is_left_and_the_bound_looks_at_the_rest(session):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit)
    audit.finish()
    rest = [pair for pair in audit.lot if pair not in audit.sample]
    for trial, channel in rest[:60]:
        session.accept(trial, channel)
    with pytest.raises(DecisionError, match=r"30 of the lot are left.* up to 30\.0 % .* more than the 10 % wanted"):
        audit.accept()


def test_caution_and_touched_marks_keep_out_of_bulk(session):
    a, b, *_ = session.queue
    session.caution(a, "FDI", ["weak"])
    session.move(b, "FDI", onset_s=0.3)
    session.set_aside("rec", "APB", 1.1, 1.3, ["clipped"])
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.02)
    assert not {(a, "FDI"), (b, "FDI"), (a, "APB")} & set(audit.lot)
    assert (b, "APB") in audit.lot
    assert (a, "FDI") in plan_lot(session, BulkRule(interval_below_s=0.02, level_above_db=20, clean=False))


def plan_lot(session, rule):
    return [(t, c) for t in session.queue for c in session.state(t).channels if rule.meets(session, t, c)]


def test_a_rule_that_nothing_meets_and_parameters_out_of_range(session):
    with pytest.raises(DecisionError, match="no open channel-trial meets the rule"):
        plan_bulk(session, BulkRule(interval_below_s=0.001, level_above_db=20))
    with pytest.raises(ParameterError, match="interval_below_s=0"):
        BulkRule(interval_below_s=0, level_above_db=20)
    with pytest.raises(ParameterError, match="moved_by_s came as 0"):
        plan_bulk(session, RULE, moved_by_s=0)
    with pytest.raises(ParameterError, match="0 <= expected < at_most"):
        plan_bulk(session, RULE, at_most=0.05, expected=0.1)
    with pytest.raises(DecisionError, match="no audit was planned"):
        bulk_audit(session)
    assert not read_logs(session.folder, "r1").note("plan audit")


def test_nothing_is_accepted_in_bulk_but_what_an_audit_vouches_for(session):
    trial, *_ = session.queue
    with pytest.raises(DecisionError, match=r"no audit 1 that passed accepts FDI of trial .* accept it by eye"):
        session.accept_in_bulk(trial, "FDI", 1)
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit)
    audit.finish()
    rest = next(pair for pair in audit.lot if pair not in audit.sample)
    with pytest.raises(DecisionError, match="no audit"):
        session.accept_in_bulk(*rest, audit._plan.counter)
    audit.accept()
    with pytest.raises(DecisionError, match="no audit"):
        session.accept_in_bulk(session.queue[3], "FDI", audit._plan.counter)


@pytest.mark.parametrize("finished", [True, False], ids=["failed", "not finished"])
def test_another_code_is_no_way_round_an_audit(session, tmp_path, finished):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    if finished:
        look(session, audit, lambda number: 40)
        assert not audit.finish()["passed"]
    with start(tmp_path, make_trials(n=80), "r1b") as other:
        with pytest.raises(
            DecisionError, match=r"120 of 120 .* an audit of reviewer 'r1' that failed or is not finished"
        ):
            plan_bulk(other, RULE, at_most=0.1, expected=0.0)
        assert not read_logs(tmp_path, "r1b").note("plan audit")


def test_an_audit_that_passed_says_nothing_against_another_reviewer_s(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit)
    audit.finish()
    with start(tmp_path, make_trials(n=80), "r2") as other:
        assert len(plan_bulk(other, RULE, at_most=0.1, expected=0.0).lot) == 120


def test_a_sealed_version_says_what_the_bulk_is_worth(session, tmp_path):
    assert session.as_version()[1]["bulk"] == []
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit)
    audit.finish()
    sentence = audit.accept()
    session.seal("v1")
    with pytest.warns(SignalWarning, match="Version 'v1': At most 10 % of the 90 bulk-accepted onsets") as told:
        table = read_version(tmp_path, "v1")
    assert len(told) == 1, "once"
    assert table.attrs["version"]["bulk"] == [sentence]
    assert table.attrs["notes"] == [str(told[0].message)]


def test_bulk_and_self_check_keep_apart(tmp_path):
    with start(tmp_path, make_trials(n=80), order="random") as session:
        plan_self_check(session)
        hidden = {(t, c) for t in session.queue for c in ("FDI", "APB") if session.hides_automatic(t, c)}
        audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
        assert not hidden & set(audit.lot)
        assert all(session.source(trial) == trial for trial, _ in audit.lot)
        mark_all(session)
        assert audit.finish()["passed"]


def test_what_nobody_looked_at_says_nothing_of_agreement(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit)
    audit.finish()
    audit.accept()
    with start(tmp_path, make_trials(n=80), "r2") as other:
        mark_all(other, 3)
    found = agreement(tmp_path, "r1", "r2")
    assert (found.both, found.bulk_first, found.bulk_second, found.not_first) == (30, 90, 0, 130)
    assert "Accepted in bulk, so that nobody looked: 90 by r1, 0 by r2" in str(found)
    session.move(*next(pair for pair in audit.lot if pair not in audit.sample), onset_s=0.3)
    assert agreement(tmp_path, "r1", "r2").bulk_first == 89


@pytest.mark.filterwarnings("ignore:Version .* bulk-accepted:emgreview.errors.SignalWarning")
def test_the_table_says_what_nobody_looked_at_until_somebody_does(session, tmp_path):
    audit = plan_bulk(session, RULE, at_most=0.1, expected=0.0)
    look(session, audit)
    audit.finish()
    audit.accept()
    session.seal("v1")
    table = read_version(tmp_path, "v1")
    assert table["in_bulk"].sum() == 120 - len(audit.sample)
    assert table.loc[table["in_bulk"], "reviewed"].all()
    seen = table[~table["in_bulk"] & table["reviewed"]]
    assert set(zip(seen["trial"], seen["channel"], strict=True)) == set(audit.sample)

    (trial, channel), other = [pair for pair in audit.lot if pair not in audit.sample][:2]
    assert session.state(trial).channels[channel].in_bulk
    assert session.accept(trial, channel) == (trial,), "to accept it once more is to have looked"
    assert not session.state(trial).channels[channel].in_bulk
    assert session.accept(trial, channel) == ()
    session.move(*other, onset_s=0.3)
    assert not session.state(other[0]).channels[other[1]].in_bulk
    session.undo()
    assert session.state(other[0]).channels[other[1]].in_bulk, "taken back: still nobody has accepted it by eye"
    logs = read_logs(tmp_path, "r1")
    assert not logs.in_bulk(("rec", trial, channel))
    assert logs.in_bulk(("rec", *other))
