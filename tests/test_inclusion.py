"""Rules for inclusion: declared, versioned, without code; what they take and what flips when they change."""

import dataclasses
import json
import tomllib

import pandas as pd
import pytest
from scripted_reviews import make_trials, start

import emgreview as er
from emgreview.errors import DecisionError, ParameterError, UnknownNameError
from emgreview.tables.rules import ALLOWED, LeftOut, Rule

RULE = Rule(
    name="main = 'strict' µ",
    version=3,
    signal=("usable",),
    without_cautions=("weak",),
    onset_s=(0.08, 0.6),
    confidence=("sure", "not stated"),
    leave_out=(
        LeftOut(participant="07", reason='left "early"'),
        LeftOut(recording="rec", channel="APB", reason="=broken lead"),
    ),
)


@pytest.mark.parametrize("ending", [".json", ".toml"])
@pytest.mark.parametrize("rule", [RULE, Rule(name="all", version=1)], ids=["full", "plain"])
def test_a_rule_is_the_same_from_a_file(tmp_path, rule, ending):
    path = rule.write(tmp_path / f"rule{ending}")
    again = Rule.read(path)
    assert again == rule
    assert again.sha256 == rule.sha256
    assert dataclasses.replace(rule, version=9).sha256 != rule.sha256
    (tomllib if ending == ".toml" else json).loads(path.read_text())
    with pytest.raises(ParameterError, match="exists already"):
        rule.write(path)


def test_order_and_repetition_of_words_make_no_other_rule():
    one = Rule(name="a", version=1, signal=("caution", "usable", "usable"), onset_s=[0, 1])
    assert one == Rule(name="a", version=1, signal=("usable", "caution"), onset_s=(0.0, 1.0))


@pytest.mark.parametrize(
    ("values", "error"),
    [
        ({"signal": ["fine"]}, UnknownNameError),
        ({"behaviours": ["lat"]}, UnknownNameError),
        ({"signal": "usable"}, ParameterError),
        ({"onset_s": [0.3, 0.1]}, ParameterError),
        ({"onset_s": [0.1]}, ParameterError),
        ({"onset_s": ["__import__('os')", 1]}, ParameterError),
        ({"reviewed": "yes"}, ParameterError),
        ({"version": 0}, ParameterError),
        ({"name": ""}, ParameterError),
        ({"code": "exec"}, UnknownNameError),
        ({"format": 2}, ParameterError),
        ({"leave_out": [{"reason": "nothing named"}]}, ParameterError),
        ({"leave_out": [{"recording": "rec"}]}, ParameterError),
        ({"leave_out": [{"recording": "rec", "reason": " "}]}, ParameterError),
        ({"leave_out": [{"rec": "rec", "reason": "x"}]}, UnknownNameError),
        ({"leave_out": ["rec"]}, ParameterError),
    ],
)
def test_what_is_no_rule_is_refused(values, error, tmp_path):
    with pytest.raises(error):
        Rule.from_dict({"name": "a", "version": 1, **values})
    with pytest.raises(ParameterError, match="must be given"):
        Rule.from_dict({"name": "a"})
    (tmp_path / "rule.json").write_text("{")
    with pytest.raises(ParameterError, match="cannot be read"):
        Rule.read(tmp_path / "rule.json")


@pytest.fixture
def decided(tmp_path):
    """Twelve trials, each with one thing that a rule can speak of."""
    with start(tmp_path, make_trials(n=12, labels=("FDI",), sub="07"), detect=None, method="threshold") as session:
        q = session.queue
        for trial in q:
            session.add(trial, "FDI", onset_s=0.25)
            if any(one.id == "response" for one in session.state(trial).channels["FDI"].active):
                session.remove(trial, "FDI", burst="response")
        session.unusable(q[1], "FDI", ["clipped"])
        session.caution(q[2], "FDI", ["weak"])
        session.none_visible(q[3], "FDI")
        session.behaviour(q[4], "late")
        session.confidence(q[5], "FDI", "unsure")
        session.not_locatable(q[6], "FDI", earliest_s=0.2, latest_s=0.7)
        session.set_aside("rec", "FDI", 2 * 7 + 1.2, 2 * 7 + 1.3, ["clipped"])
        kind = session.state(q[8]).channels["FDI"].active[0].id
        session.kind(q[8], "FDI", "braking", burst=kind)
        session.behaviour(q[9], "as instructed")
        yield session


def why(table):
    """Why each trial's mark is not included, by the trial's place; "" where it is."""
    marks = table[table["origin"].fillna("") != "removed"]
    return dict(enumerate(marks["why_not"].fillna("")))


def test_each_part_of_a_rule_keeps_its_rows_out(decided):
    table = er.include(decided.decisions(), Rule(name="a", version=1))
    assert {place: text for place, text in why(table).items() if text} == {
        1: "signal unusable (clipped)",
        3: "activity none visible",
        4: "behaviour late",
        6: "activity not locatable",
        7: "stretch set aside",
        8: "kind braking",
    }
    assert list(table["included"]) == list(table["why_not"].isna())
    strict = er.include(table, dataclasses.replace(RULE, leave_out=(), signal=("usable", "caution")))
    assert why(strict)[2] == "caution weak"
    assert why(strict)[5] == "confidence unsure"
    assert "onset out of range" in why(strict)[6]
    wide = {name: words for name, words in ALLOWED.items() if name != "without_cautions"}
    everything = Rule(name="all", version=1, **wide, set_aside=True, reviewed=False)
    assert set(er.include(table, everything)["why_not"].fillna("")) <= {"", "mark removed"}


def test_exclusions_always_hold_and_the_rule_s_own_are_told_apart(decided):
    decided.exclude("re-applied", recording="rec")
    rule = Rule(name="a", version=1, leave_out=(LeftOut(channel="FDI", reason="too weak"),))
    table = er.include(decided.decisions(), rule)
    assert not table["included"].any()
    assert why(table)[0] == "excluded (recording: re-applied); left out by the rule (too weak)"


def test_what_flips_when_a_rule_changes(decided):
    old, new = Rule(name="a", version=1), Rule(name="a", version=2, signal=("usable",), behaviours=("late",))
    flips = er.compare_rules(decided.decisions(), old, new)
    assert set(flips.table["trial"]) == {decided.queue[place] for place in (0, 2, 4, 5, 9, 10, 11)}
    assert flips.words[0] == "1 newly included"
    assert flips.words[1].startswith("6 newly left out: behaviour not stated 4")
    by = flips.by("condition").set_index("condition")
    assert by["newly_included"].sum() == 1
    assert by["rows"].sum() == len(decided.decisions())
    assert er.compare_rules(decided.decisions(), old, old).words == ("no row changes sides",)
    assert len(er.compare_rules(decided.decisions(), None, old).table)
    assert er.compare_rules(decided.decisions(), old, None).table["included"].all()


def test_by_condition_only_after_unblinding(tmp_path):
    rules = Rule(name="a", version=1), Rule(name="a", version=2, reviewed=False)
    by_participant = Rule(name="a", version=3, leave_out=(LeftOut(participant="07", reason="x"),))
    with start(tmp_path, make_trials(sub="07"), blind=True) as session:
        flips = er.compare_rules(session.decisions(), *rules)
        assert len(flips.table) == 6
        assert not {"condition", "participant"} & set(flips.table)
        with pytest.raises(DecisionError, match="unblinded"):
            flips.by("condition")
        with pytest.raises(DecisionError, match="unblind first"):
            er.include(session.decisions(), by_participant)
        session.unblind()
        assert len(er.compare_rules(session.decisions(), *rules).by("condition")) == 2
        assert not er.include(session.decisions(), by_participant)["included"].any()


def test_a_sealed_version_holds_its_rule(decided, tmp_path):
    rule = dataclasses.replace(RULE, leave_out=())
    decided.seal("v1", rule)
    decided.seal("v2")
    table = er.read_version(tmp_path, "v1")
    stored = table.attrs["version"]["inclusion"]
    assert Rule.from_dict(stored["rule"]) == rule
    assert (stored["sha256"], stored["included"]) == (rule.sha256, table["included"].sum())
    assert er.read_version(tmp_path, "v2").attrs["version"]["inclusion"] is None
    assert er.verify(tmp_path).ok


def test_a_rule_leaves_no_participant_out_of_recordings_that_name_none(tmp_path):
    rule = Rule(name="a", version=1, leave_out=(LeftOut(participant="07", reason="x"),))
    with start(tmp_path / "plain", make_trials()) as session:
        session.discuss(session.queue[0])
        with pytest.raises(
            DecisionError, match=r"do not name theirs.*plain folder do not: rec;.*leave out by recording instead"
        ):
            er.include(session.decisions(), rule)
        with pytest.raises(DecisionError, match="do not name theirs"):
            session.seal("v1", rule)
        by_name = Rule(name="a", version=1, leave_out=(LeftOut(recording="rec", reason="x"),))
        assert not er.include(session.decisions(), by_name)["included"].any()
    told = pytest.warns(er.SignalWarning, match="leaves out what is not in the table: participant '07'")
    with start(tmp_path / "bids", make_trials(sub="08")) as session, told:
        assert len(er.include(session.decisions(), rule))


@pytest.mark.parametrize(
    ("left", "words"),
    [
        ({"participant": "sub-07"}, "no participant that the rule 'a' leaves out is called 'sub-07'; there are: 07"),
        ({"participant": "7"}, "no participant .* is called '7'; there are: 07"),
        ({"channel": "fdi"}, "no channel .* is called 'fdi'; there are: APB, FDI. Did you mean 'FDI'"),
        ({"recording": "Rec"}, "no recording .* is called 'Rec'; there are: rec"),
        ({"recording": "rec", "channel": "A-PB"}, "no channel .* is called 'A-PB'"),
    ],
)
def test_a_name_that_is_a_slip_of_one_that_is_there_is_refused(tmp_path, left, words):
    """Before, nobody was left out, and nothing was said."""
    rule = Rule(name="a", version=1, leave_out=(LeftOut(**left, reason="x"),))
    with start(tmp_path, make_trials(sub="07")) as session:
        session.discuss(session.queue[0])
        with pytest.raises(UnknownNameError, match=words):
            er.include(session.decisions(), rule)
        with pytest.raises(UnknownNameError, match=words):
            session.seal("v1", rule)
        assert len(er.include(session.decisions(), rule, sealed=True)), "as it was sealed by an earlier package"


@pytest.mark.parametrize("left", [{"participant": "08"}, {"recording": "rec-2"}, {"channel": "FDS"}])
def test_a_name_of_another_part_of_the_study_is_told(tmp_path, left):
    rule = Rule(name="a", version=1, leave_out=(LeftOut(**left, reason="x"),))
    (name,) = left.values()
    with start(tmp_path, make_trials(sub="07")) as session:
        with pytest.warns(er.SignalWarning, match=f"leaves out what is not in the table: {next(iter(left))} '{name}'"):
            table = er.include(session.decisions(), rule)
        assert not table["why_not"].fillna("").str.contains("left out by the rule").any()


def test_a_version_that_was_sealed_with_a_slip_is_replayed(tmp_path, monkeypatch):
    rule = Rule(name="a", version=1, leave_out=(LeftOut(channel="fdi", reason="x"),))
    rec = er.simulate_study(1, 2, 1000, seed=1, muscles=(er.simulation.Muscle(label="FDI"),)).recordings[0]
    with er.open_review(er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5), tmp_path, reviewer="r1") as session:
        session.accept_rest(session.queue[0])
        with monkeypatch.context() as earlier:
            earlier.setattr("emgreview.tables.inclusion.demand_named", lambda table, rule: None)
            session.seal("v1", rule)
    assert er.replay(tmp_path, rec, "v1").same_bytes


def test_codes_that_came_as_numbers_are_refused(tmp_path):
    rule = Rule(name="a", version=1, leave_out=(LeftOut(participant="07", reason="x"),))
    with start(tmp_path, make_trials(sub="07")) as session:
        session.discuss(session.queue[0])
        session.seal("v1")
    path, how = tmp_path / "versions" / "v1" / "decisions.tsv", {"sep": "\t", "na_values": "n/a", "quoting": 3}
    with pytest.raises(ParameterError, match=r"'participant' of the table came as numbers, such as 7, .*'07'.*dtype="):
        er.include(pd.read_csv(path, **how), rule)
    assert not er.include(pd.read_csv(path, **how, dtype={"participant": str}), rule)["included"].any()


def test_truths_that_came_as_text_are_refused(decided):
    """ "False" would count as reviewed, and as accepted."""
    table = decided.decisions()
    for name in ("reviewed", "accepted", "set_aside"):
        spelt = table.assign(**{name: table[name].astype(str)})
        with pytest.raises(
            ParameterError, match=f"1 columns? of the table came as text, such as .* in {name}; allowed: true"
        ):
            er.include(spelt, Rule(name="all", version=1))
        mixed = table.assign(**{name: table[name].astype(object)})
        er.include(mixed, Rule(name="all", version=1))
        mixed.loc[0, name] = "False"
        with pytest.raises(ParameterError, match=f"'False' in {name}"):
            er.include(mixed, Rule(name="all", version=1))
