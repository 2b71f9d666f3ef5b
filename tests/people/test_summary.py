"""The table of everybody: its numbers against a recomputation from samples, its marks, and what it leaves out."""

import json
import warnings

import numpy as np
import pandas as pd
import pytest

import emgreview as er
from emgreview.people.table import COLUMNS
from emgreview.simulation import Fault

WINDOW = {"cue": "go", "before_s": 1.0, "after_s": 1.2}


def renamed(rec, name, participant, session=None, **changed):
    entities = {"sub": participant} | ({"ses": session} if session else {})
    return er.Recording.from_array(
        changed.get("x", rec.microvolts()),
        rec.rate_hz,
        labels=changed.get("labels", list(rec.labels)),
        markers=changed.get("markers", list(rec.markers)),
        name=name,
        entities=entities,
    )


@pytest.fixture(scope="module")
def recordings():
    study = er.simulate_study(3, 8, 1000, seed=4, no_responses=0.1)
    return list(study.recordings)


@pytest.fixture(scope="module")
def found(recordings):
    return er.summarise(recordings, **WINDOW)


def test_every_column_is_there_described_and_in_order(found):
    assert list(found.table.columns) == list(COLUMNS)
    assert all(words for _, words in COLUMNS.values())
    assert len(found.table) == 6


def test_numbers_are_those_of_a_recomputation_from_the_trials(recordings, found):
    for rec in recordings:
        trials = er.cut_trials(rec, **WINDOW)
        rows = found.table[found.table["participant"] == rec.entities["sub"]].set_index("channel")
        responses = [m.sample for m in rec.markers if m.label == "response"]
        for place, label in enumerate(trials.labels):
            x = np.asarray(trials.data[:, place], dtype=float)
            onsets = er.estimate_onsets(x, trials.rate_hz, cue_s=trials.before / trials.rate_hz)
            onset_s = onsets.onset_s - 1.0
            row = rows.loc[label]
            assert row["onset_median_s"] == pytest.approx(np.nanmedian(onset_s), abs=1e-9)
            spread = 1.4826 * np.nanmedian(np.abs(onset_s - np.nanmedian(onset_s)))
            assert row["onset_spread_s"] == pytest.approx(spread, abs=1e-9)
            assert row["none_share"] == np.mean(np.isnan(onset_s))
            rest = x[:, 500:1000].std(axis=1)
            assert row["rest_median"] == pytest.approx(np.median(rest), rel=1e-9)
            sizes = []
            for trial in np.flatnonzero(np.isfinite(onset_s)):
                first, last = (round(at * 1000) for at in (onsets.onset_s[trial], onsets.offset_s[trial]))
                sizes.append(np.sqrt(np.mean(x[trial, first:last] ** 2)))
            assert row["size_median"] == pytest.approx(np.median(sizes), rel=1e-6)
            motor = []
            for cue, at in zip(trials.cues, onset_s, strict=True):
                after = [r for r in responses if cue.sample <= r < cue.sample + 2000]
                motor += [(after[0] - cue.sample) / 1000 - at] if after and np.isfinite(at) else []
            assert row["motor_time_median_s"] == pytest.approx(np.median(motor), abs=1e-9)


def test_sessions_of_one_person_are_rows_of_their_own_and_runs_of_a_session_are_one(recordings):
    one, two, three = recordings
    recs = [
        renamed(one, "a1", "7", "am"),
        renamed(two, "a2", "7", "am"),
        renamed(three, "p1", "7", "pm", x=1.5 * three.microvolts()),
    ]
    table = er.summarise(recs, **WINDOW).table.set_index(["session", "channel"])
    assert len(table) == 4
    label = one.labels[0]
    assert table.loc[("am", label), "cues"] == 16
    assert table.loc[("am", label), "recordings"] == 2
    alone = er.summarise([three], **WINDOW).table.set_index("channel")
    assert table.loc[("pm", label), "rest_median"] == pytest.approx(1.5 * alone.loc[label, "rest_median"], rel=1e-6)


def test_a_channel_that_one_recording_lacks_is_missing_there_alone(recordings):
    one, two, _ = recordings
    half = renamed(two, "b", "9", x=two.microvolts()[:1], labels=list(two.labels[:1]))
    table = er.summarise([one, half], **WINDOW).table
    assert table.groupby("participant").size().to_dict() == {"01": 2, "9": 1}


def test_reviewed_marks_take_the_place_of_automatic_ones_where_a_trial_was_reviewed(recordings, tmp_path):
    trials = [er.cut_trials(rec, **WINDOW) for rec in recordings[:1]]
    label = trials[0].labels[0]
    automatic = er.summarise(recordings[:1], **WINDOW)
    with er.open_review(trials, tmp_path / "review", reviewer="r1") as session:
        for number, trial in enumerate(session.queue):
            state = session.state(trial).channels[label]
            if number < 5 and state.response is not None:
                session.move(trial, label, onset_s=0.4, offset_s=0.6)
                session.accept(trial, label)
            elif number == 5:
                session.none_visible(trial, label)
            elif number == 6:
                session.unusable(trial, label, reasons=["mains hum"])
            elif number < 7:
                session.accept(trial, label)
        decisions = session.decisions()
    found = er.summarise(recordings[:1], decisions=decisions, **WINDOW)
    row = found.table.set_index("channel").loc[label]
    moved = int(((decisions["origin"] == "moved") & (decisions["channel"] == label)).sum())
    assert moved >= 4
    assert row["unreviewed_share"] == 1 / 8
    assert row["unusable_share"] == 1 / 8
    assert row["moved_share"] == moved / 7
    assert row["onset_median_s"] == pytest.approx(0.4)
    person = found.people[0]
    at = np.flatnonzero(person.moved[0])
    x = np.asarray(trials[0].data[at, 0], dtype=float)[:, 1400:1600]
    assert person.size[0][at] == pytest.approx(np.sqrt(np.mean(x**2, axis=1)), rel=1e-6)
    untouched = found.table.set_index("channel").iloc[1]
    same = automatic.table.set_index("channel").iloc[1]
    for name in ("onset_median_s", "rest_median", "none_share"):
        assert untouched[name] == pytest.approx(same[name])
    assert untouched["unreviewed_share"] == 1
    by_method = er.summarise(recordings[:1], decisions=decisions, marks="automatic", **WINDOW)
    pd.testing.assert_frame_equal(by_method.table, automatic.table)


def test_agreement_of_two_reviewers_stands_in_their_row(recordings, tmp_path):
    trials = [er.cut_trials(rec, **WINDOW) for rec in recordings[:1]]
    label = trials[0].labels[0]
    for reviewer, share in (("r1", 0), ("r2", 3)):
        with er.open_review(trials, tmp_path / "review", reviewer=reviewer) as session:
            for number, trial in enumerate(session.queue):
                if number < share:
                    session.none_visible(trial, label)
                session.accept_rest(trial)
    agreement = er.agreement(tmp_path / "review", "r1", "r2")
    row = er.summarise(recordings[:1], agreement=agreement, **WINDOW).table.set_index("channel").loc[label]
    mine = agreement.table[agreement.table["channel"] == label]
    same = np.mean(mine["first_state"] == mine["second_state"])
    assert same < 1
    assert np.isnan(row["agreement"]) or -1 <= row["agreement"] < 1
    assert row["agreement_within_20_ms"] == 1


def test_what_cannot_be_summarised_is_named_and_the_others_go_on(recordings):
    one, two, _ = recordings
    short = er.Recording.from_array(
        one.microvolts()[:, :400], 1000, labels=list(one.labels), markers=[(200, "go")], name="short"
    )
    none = renamed(two, "lost", "5", markers=[m for m in two.markers if m.label != "go"])
    with pytest.warns(er.SignalWarning):
        found = er.summarise([one, short, none], **WINDOW)
    assert set(found.table["participant"]) >= {"01"}
    assert any("lost has no marker 'go'" in note for note in found.notes)
    (flag,) = found.flags[found.flags["participant"] == "5"].to_dict("records")
    assert (flag["code"], flag["value"]) == ("cues", 0.0)
    with pytest.raises(er.EmgreviewError, match="none has a marker 'stop'"):
        er.summarise([one], cue="stop")


def test_test_contractions_tell_swapped_leads_of_muscles_that_are_alike():
    made = er.simulate_contractions(1000, seed=5, quiet=0)
    a, b = made.muscles[:2]
    rec = made.planted(Fault("swapped", a, b)).recording
    study = er.simulate_study(1, 6, 1000, seed=2).recordings[0]
    labels = [a, b]
    trials = renamed(study, "trials", "3", labels=labels)
    before = renamed(rec, "contractions", "3")
    with warnings.catch_warnings(action="ignore", category=er.SignalWarning):
        found = er.summarise([trials, before], **WINDOW)
    swapped = found.flags[found.flags["code"] == "swapped"]
    assert set(swapped["channel"]) == {a, b}
    assert (swapped["value"] > swapped["limit"]).all()
    assert any("its test contractions do" in note for note in found.notes)


def test_a_runner_gives_the_same_and_keeps_it(recordings, found, tmp_path):
    runner = er.Runner(cache=tmp_path / "cache")
    for _ in range(2):
        again = er.summarise(recordings, runner=runner, **WINDOW)
        pd.testing.assert_frame_equal(again.table, found.table)
        pd.testing.assert_frame_equal(again.flags, found.flags)


def test_wrong_arguments_are_refused(recordings):
    with pytest.raises(er.EmgreviewError, match="'reviewed' without decisions"):
        er.summarise(recordings, marks="reviewed", **WINDOW)
    with pytest.raises(er.EmgreviewError, match="after_s"):
        er.summarise(recordings, cue="go", after_s=-1)
    with pytest.raises(er.EmgreviewError, match="rampp"):
        er.summarise(recordings, method="rampp", **WINDOW)


def test_it_shows_itself_with_flags_and_rules(found):
    assert "3 people's sessions, 24 trials, automatic marks." in str(found)
    assert "fewer than 8" in str(found)


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_the_commands_say_the_same(run, tmp_path):
    study = tmp_path / "study"
    er.write_demo(study, participants=2, trials=3, workers=1)
    status, out, _ = run("participants", study, "--cue", "go", "--json")
    report = json.loads(out)
    assert set(report) == {"flags", "unlike", "rules", "notes", "failed"}
    for flag in report["flags"]:
        assert {"participant", "channel", "code", "reason", "value", "limit"} <= set(flag)
    assert status == (1 if report["flags"] else 0)
    _, out, _ = run("summarise", study, "--cue", "go", "--json")
    people = json.loads(out)["people"]
    assert len(people) == 12
    assert list(people[0]) == list(COLUMNS)
    _, out, _ = run("summarise", study, "--cue", "go")
    assert out.splitlines()[0].split("\t") == list(COLUMNS)
    _, out, _ = run("participants", study, "--cue", "go")
    assert "2 people's sessions, 6 trials" in out


def test_the_result_with_and_without_somebody(found):
    both = found.without("02")
    for row in both.to_dict("records"):
        values = found.table[found.table["channel"] == row["channel"]].set_index("participant")[row["measure"]]
        assert row["median_with"] == pytest.approx(values.median(), nan_ok=True)
        assert row["median_without"] == pytest.approx(values.drop("02").median(), nan_ok=True)
        assert row["people_with"] - row["people_without"] in (0, 1)
    with pytest.raises(er.EmgreviewError, match="participant"):
        found.without("O2")
