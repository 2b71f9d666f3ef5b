"""What the browser is told: states as sign and words, the bytes of a pack, nothing that a blind review hides."""

import dataclasses
import json
import struct
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview import evidence
from emgreview.annotations import events
from emgreview.model import ArraySource
from emgreview.second_look import BulkRule, plan_bulk
from emgreview.session import Automatic
from emgreview.trial_lists import where_methods_differ
from emgreview.trials import mains
from emgreview.views import cards, packing, screen_setup

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import ONSETS_S, open_session, recording

NO_Z = np.full(3, np.nan)


@pytest.fixture
def session(tmp_path):
    with open_session(tmp_path) as opened:
        yield opened


def card_of(session, trial):
    trials = session.trials[0]
    return cards.trial_card(session, trials, trial, NO_Z, 0, 0)


def plan(session):
    """A bulk audit of the small study: lenient, so that its sample is small."""
    rule = BulkRule(interval_below_s=0.1, level_above_db=6)
    return plan_bulk(session, rule, at_most=0.3, moved_by_s=0.1, expected=0.0)


def decide_all(session, audit):
    """Decide what is left of an audit, by marks near the bursts."""
    for trial, channel in audit.open:
        session.add(trial, channel, onset_s=ONSETS_S[session.trials[0].labels.index(channel)])


def words_after(session, act):
    trial = session.queue[0]
    act(trial)
    channel = card_of(session, trial)["channels"][0]
    return channel["sign"], channel["words"], channel["reviewed"]


def test_every_state_has_a_sign_and_words_of_its_own(session):
    first = "biceps"
    seen = [words_after(session, lambda trial: None)]
    for act in (
        lambda trial: session.accept(trial, first),
        lambda trial: session.move(trial, first, onset_s=0.3),
        lambda trial: session.accept(trial, first),
        lambda trial: session.not_locatable(trial, first, earliest_s=0.2, latest_s=0.3),
        lambda trial: session.none_visible(trial, first),
        lambda trial: session.unusable(trial, first, ["clipped"]),
    ):
        seen.append(words_after(session, act))
    assert len({sign for sign, _, _ in seen}) == len({words for _, words, _ in seen}) == 7
    assert [reviewed for _, _, reviewed in seen] == [False, True, False, True, True, True, True]


def test_caution_and_discuss_stand_beside_the_state(session):
    trial = session.queue[0]
    session.caution(trial, "biceps", ["neighbour suspected"])
    session.discuss(trial, "biceps")
    words = card_of(session, trial)["channels"][0]["words"]
    assert "▲ neighbour suspected" in words
    assert "discuss" in words


def test_a_stretch_set_aside_is_told_in_the_trials_it_touches_alone(session):
    recording = session.trials[0].recording.name
    session.set_aside(recording, "biceps", 1.9, 2.5, ["clipped"])  # the first cue lies at 2 s, its trial at 1 to 3.5 s
    first, second = session.queue[:2]
    (told,) = card_of(session, first)["channels"][0]["aside"]
    assert told == [pytest.approx(-0.1), pytest.approx(0.5), "set aside: clipped"]
    assert card_of(session, first)["channels"][1]["aside"] == []
    assert card_of(session, second)["channels"][0]["aside"] == []
    session.undo()
    assert card_of(session, first)["channels"][0]["aside"] == []


def test_cues_that_were_judged_are_said_in_the_title_and_drawn_beside_the_recorded_ones(session):
    first, second = session.queue[:2]
    recording = session.trials[0].recording.name
    session.correct_cue(first, 0.035)
    session.no_cue(second, "double")
    session.add_cue(recording, 5.5, "go")
    one, two = card_of(session, first), card_of(session, second)
    kinds = {line["kind"]: (line["at_s"], line["words"]) for line in one["lines"]}
    assert kinds["recorded"] == (0.0, "go (recorded)")
    assert kinds["corrected"] == (0.035, "go (corrected)")
    assert "cue corrected by +35 ms" in one["title"]
    kinds = {line["kind"]: (line["at_s"], line["words"]) for line in two["lines"]}
    assert kinds["none"] == (0.0, "go is none: double")
    assert kinds["added"] == (0.5, "go (added)")
    assert "cue is none: double" in two["title"]


def test_trials_cut_from_an_added_cue_say_that_it_was_added(tmp_path):
    from small_study import recording

    import emgreview as er

    rec = recording("sub-a_task-turn", 1)
    cut = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
    with er.open_review(er.cut_trials(rec, **cut), tmp_path, reviewer="r1") as session:
        session.add_cue(rec.name, 20.0, "go")
        rec = session.with_added_cues(rec.name)
    with pytest.warns(er.SignalWarning):
        trials = er.cut_trials(rec, **cut)
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        (own,) = [t for t in session.queue if "/added/" in t]
        card = cards.trial_card(session, trials, own, NO_Z, 0, 0)
        assert [(line["kind"], line["words"]) for line in card["lines"] if line["at_s"] == 0] == [("cue", "go (added)")]


def test_what_is_excluded_is_said_with_the_reason(session):
    recording = session.trials[0].recording.name
    session.exclude("strap slipped", recording=recording, channel="biceps")
    session.exclude("wrong task", recording=recording)
    card = card_of(session, session.queue[0])
    assert card["channels"][0]["words"] == "open ✕ channel excluded: strap slipped"
    assert card["channels"][1]["words"] == "open"
    assert "✕ recording excluded: wrong task" in card["title"]
    session.readmit(recording=recording)
    assert "excluded" not in card_of(session, session.queue[0])["title"]


def test_a_mark_accepted_in_bulk_has_a_sign_of_its_own_until_a_person_accepts_it(session):
    audit = plan(session)
    decide_all(session, audit)
    audit.finish()
    audit.accept()
    trial, channel = next(
        (trial, label)
        for trial in session.trials[0].ids
        for label, state in session.state(trial).channels.items()
        if state.in_bulk
    )
    row = session.trials[0].labels.index(channel)
    told = card_of(session, trial)["channels"][row]
    assert (told["sign"], told["words"]) == cards.IN_BULK == ("◉", "in bulk, not looked at")
    assert told["reviewed"]
    session.accept(trial, channel)
    assert card_of(session, trial)["channels"][row]["words"] == "accepted"


def test_what_a_trial_belongs_to_is_excluded_from_the_screen_readmitted_and_undone(tmp_path):
    people = [
        er.cut_trials(
            replace(recording(f"sub-{sub}_task-turn", seed), entities={"sub": sub}), cue="go", before_s=1.0, after_s=1.5
        )
        for seed, sub in enumerate("ab")
    ]
    with er.open_review(people, tmp_path, reviewer="r1", blind=True) as session:
        screen = er.review(session)
        first = next(i for i, trial in enumerate(session.queue) if session.state(trial).recording.startswith("sub-b"))

        def decide(n, command, **args):
            data = {"command": command, "index": first, "channel": "biceps", "args": args, "visible": {}, "seen": None}
            screen._handle_msg({"kind": "decide", "client": "x", "n": n, **data})
            return json.loads(screen.news)["updates"][-1]

        decide(1, "exclude", what="participant", reason="fell asleep")
        decide(2, "exclude", what="channel", reason="strap slipped")
        assert session.excluded == (
            ("recording", "sub-b_task-turn", "biceps", "strap slipped"),
            ("participant", "b", None, "fell asleep"),
        )
        told = cards.trial_card(session, people[1], session.queue[first], NO_Z, first, 0)
        assert told["excluded"] == {"recording": None, "participant": ""}
        assert "✕ participant excluded" in told["title"]
        assert "fell asleep" not in json.dumps(told), "blind: the reason may name somebody"
        assert "sub-b" not in json.dumps(told)
        decide(3, "readmit", what="channel", reason="")
        assert len(session.excluded) == 1
        assert decide(4, "undo")["go_to"]["index"] == first, "undo of an exclusion leads away"
        assert decide(5, "undo")["go_to"]["index"] == first
        assert decide(6, "undo")["go_to"]["index"] == first
        assert session.excluded == ()
        assert "reason" in decide(7, "exclude", what="recording", reason="")["refused"][-1]["words"]


def test_notes_of_the_cut_reach_the_trial_and_the_channel_that_they_are_about(tmp_path):
    import emgreview as er

    rng = np.random.default_rng(1)
    x = rng.normal(0, 5, (2, 8000))
    x[1, 5000:5050] = np.nan
    rec = er.Recording.from_array(x, 1000, labels=["a", "a b"], markers=[(500, "go"), (5000, "go")], name="rec")
    processing = er.Processing(high_hz=None)
    with pytest.warns(er.SignalWarning, match="beyond the recording|lacks samples"):
        trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.0, processing=processing)
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        one, two = (cards.trial_card(session, trials, trial, NO_Z[:2], 0, 0) for trial in session.queue)
    assert one["notes"] == ["This trial reaches beyond the recording: 500 of its 2000 samples are missing."]
    assert two["notes"] == []
    assert [channel["notes"] for channel in two["channels"]] == [[], ["Channel a b lacks samples in 1 of 2 trials."]]


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_a_blind_card_holds_no_name_response_or_time(tmp_path):
    from small_study import recording

    import emgreview as er

    trials = er.cut_trials(recording("sub-a_task-turn", 1), cue="go", before_s=1.0, after_s=1.5)
    with er.open_review(trials, tmp_path, reviewer="r1", blind=True) as blind:
        trial = blind.queue[0]
        text = json.dumps(card_of(blind, trial))
        assert "sub-a" not in text
        assert "response" not in {line["kind"] for line in card_of(blind, trial)["lines"]}
        assert "onset" not in " ".join(card_of(blind, trial)["channels"][0]["detail"].values())
        assert cards.trial_summary(blind, trials, trial)[1] is None
        blind.exclude("did not follow the task", recording="sub-a_task-turn")
        blind.add_cue("sub-a_task-turn", 2.5, "left hand")
        blind.correct_cue(trial, 0.04)
        card = card_of(blind, trial)
        blind.exclude("Bianca moved", recording="sub-a_task-turn", channel="biceps")
        blind.set_aside("sub-a_task-turn", "biceps", 1.9, 2.5, ["other: Bianca coughed"])
        card = card_of(blind, trial)
        assert "✕ recording excluded" in card["title"]
        assert card["excluded"]["recording"] == card["channels"][0]["excluded"] == "", "excluded, without the reason"
        assert card["channels"][0]["words"].endswith("✕ channel excluded")
        assert card["channels"][0]["aside"][0][2] == "set aside"
        blind.no_cue(blind.queue[1], "Bianca pressed twice")
        other = card_of(blind, blind.queue[1])
        assert "✕ cue is none" in other["title"]
        assert not any(why in json.dumps([card, other]) for why in ("Bianca", "did not follow"))
        assert {line["words"] for line in card["lines"]} <= {"cue (recorded)", "cue (corrected)", "cue (added)"}
        assert not any(name in json.dumps(card) for name in ("sub-a", "left hand", "40 ms"))
        blind.unblind("review finished")
        assert "sub-a" in json.dumps(card_of(blind, trial))


def test_what_is_known_of_a_channel_is_told_with_and_without_times(session):
    detail = card_of(session, session.queue[0])["channels"][0]["detail"]
    assert "onset 195 ms; " in detail["timed"]
    assert "automatic 195 ms (90 %" in detail["timed"], "an untouched mark and where it came from read alike"
    assert "onset" not in detail["untimed"]
    assert all("level 21 dB" in words for words in detail.values())


def test_every_burst_is_told_by_number_and_kind(session):
    trial, channel = session.queue[0], "biceps"
    session.add(trial, channel, onset_s=0.7, offset_s=0.9)
    added = session.state(trial).channels[channel].active[1].id
    session.kind(trial, channel, "braking", burst=added)
    session.half_width(trial, channel, 6, burst=added)
    detail = card_of(session, trial)["channels"][0]["detail"]
    assert "burst 1, the response: onset 195 ms, offset " in detail["timed"]
    assert "burst 2: braking, onset 700 ms, offset 900 ms, onset ± 6 ms by the reviewer's own word" in detail["timed"]
    assert "burst 2: braking, onset ± 6 ms by the reviewer's own word" in detail["untimed"]
    assert "burst 1, the response" in detail["untimed"]
    assert "700" not in detail["untimed"]


def test_packed_samples_are_within_half_a_step_and_missing_stays_missing():
    x = np.array([0.0, 12.5, -80.0, np.nan])
    samples, scale = packing.quantise(x)
    assert np.abs(samples[:3] * scale - x[:3]).max() <= scale / 2
    assert samples[3] == -32768
    assert packing.quantise(np.full(4, np.nan))[1] == 1.0


def test_a_pack_can_be_taken_apart_from_its_head(session):
    trials = session.trials[0]
    limits = evidence.auxiliary_limits([trials]).tolist()
    pack = packing.pack_trials([(trials, 2, limits, {"index": 7})])
    (length,) = struct.unpack("<i", pack[:4])
    (head,) = json.loads(pack[4 : 4 + length])["trials"]
    assert head["index"] == 7
    assert {(trace["row"], trace["kind"]) for trace in head["traces"]} == {
        *((row, kind) for row in range(3) for kind in ("raw", "envelope")),
        (3, "auxiliary"),
    }
    raw = next(trace for trace in head["traces"] if trace["row"] == 1 and trace["kind"] == "raw")
    samples = np.frombuffer(pack, "<i2", raw["n"], 4 + length + raw["at"])
    assert samples * raw["scale"] == pytest.approx(trials.data[2, 1], abs=raw["scale"])


def test_recordings_that_differ_are_not_put_on_one_screen(tmp_path):
    from small_study import recording

    import emgreview as er

    one, two = recording("sub-a", 1), recording("sub-b", 2)
    swapped = replace(two, channels=(two.channels[1], two.channels[0], *two.channels[2:]))
    trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5) for rec in (one, swapped)]
    with (
        er.open_review(trials, tmp_path, reviewer="r1") as mixed,
        pytest.raises(er.EmgreviewError, match=r"sub-b with \('wrist flexors', 'biceps'"),
    ):
        er.review(mixed)


def test_a_newer_screen_of_a_session_retires_the_older(session):
    import emgreview as er

    old, new = er.review(session), er.review(session)
    data = {"client": "x", "n": 1, "command": "accept", "index": 0, "channel": "biceps", "args": {}, "visible": {}}
    old._handle_msg({"kind": "decide", "seen": None, **data})
    assert "A newer screen" in old.news
    assert not session.state(session.queue[0]).channels["biceps"].reviewed
    new._handle_msg({"kind": "decide", "seen": None, **data})
    assert session.state(session.queue[0]).channels["biceps"].reviewed


def test_decisions_are_taken_in_order_once_and_never_after_a_gap(session):
    import emgreview as er

    screen = er.review(session)
    first = session.queue[0]

    def decide(n, command, seen=None, **args):
        data = {"client": "x", "n": n, "command": command, "index": 0, "channel": "biceps", "args": args}
        screen._handle_msg({"kind": "decide", "visible": {}, "seen": seen, **data})

    decide(1, "discuss")
    decide(1, "discuss")  # came before: would switch it off again
    assert session.state(first).channels["biceps"].discuss
    decide(3, "none_visible")
    assert '"gap": {"client": "x", "awaited": 2, "missing": [2]}' in screen.news
    assert not session.state(first).channels["biceps"].reviewed
    decide(2, "accept", seen={"biceps": [["response", 0.1, 0.2]]})
    assert "not those that stand" in screen.news
    assert session.state(first).channels["biceps"].reviewed, "what came early follows as soon as it is its turn"
    decide(3, "none_visible")  # came twice
    assert '"settled": {"client": "x", "n": 3}' in screen.news


def test_every_message_of_the_browser_is_answered(session):
    import emgreview as er

    screen = er.review(session)
    said = {"client": "x", "index": 3, "channel": "biceps"}
    screen._handle_msg({"kind": "hello", "client": "x", "held": []})
    assert screen.pack
    screen._handle_msg({"kind": "want", "client": "x", "trials": [9, 10]})
    screen._handle_msg({"kind": "beat", "client": "x", "n": 4, "sent": 0})
    assert screen.pulse == "x 4"
    screen._handle_msg({"kind": "listen", "n": 1, "start_s": -0.5, "stop_s": 1.0, **said})
    assert screen.sound
    screen._handle_msg({"kind": "spectrum", "onset_s": 0.2, "offset_s": 0.5, "for": "now", **said})
    assert '"spectrum"' in screen.news
    screen._handle_msg({"kind": "spectrum", "onset_s": 0.2, "offset_s": 0.201, "for": "now", **said})
    assert "a spectrum needs 32" in screen.news
    screen._handle_msg({"kind": "list", "client": "x", "which": "not yet reviewed"})
    assert '"indices"' in screen.news


@pytest.mark.filterwarnings("ignore:Reviewed marks to look at again")
def test_an_open_screen_shows_what_another_method_proposes(session):
    view = er.review(session)
    assert json.loads(view.setup)["method"] == "ramp"
    view._handle_msg({"kind": "hello", "client": "c", "held": []})
    session.accept(session.queue[0], session.trials[0].labels[0])
    before = session.automatic(session.queue[0], session.trials[0].labels[1]).onset_s
    session.change_method("threshold", k=1000.0)
    updates = json.loads(view.news)["updates"]
    said = [update["said"] for update in updates if "said" in update]
    assert [one["client"] for one in said] == ["c"]
    assert "to look at again: 1, trials: 1" in said[0]["words"]
    cards_now = next(update["cards"] for update in reversed(updates) if "cards" in update)
    assert [card["index"] for card in cards_now] == list(range(len(session.queue)))
    kept, fresh = cards_now[0]["channels"][:2]
    assert before > 0, "the first method found a burst"
    assert len(kept["bursts"]) == 1, "a reviewed mark stays"
    assert fresh["bursts"] == [], "where nobody has looked, the new method finds none"
    assert kept["automatic"]["onset_s"] is None


def test_without_the_read_out_no_number_in_ms_is_left(session):
    trial, channel = session.queue[0], "biceps"
    session.half_width(trial, channel, 4)
    session.correct_cue(trial, 0.035)
    card = card_of(session, trial)
    detail = card["channels"][0]["detail"]
    assert "onset ± 4 ms" in detail["timed"]
    assert "onset ± 4 ms" in detail["untimed"]
    assert "automatic, 90 % interval: " in detail["untimed"]
    assert "cue corrected by +35 ms" in card["title"]
    assert "▸ cue corrected; times here count from the recorded one" in card["bare_title"]
    bare = json.dumps([card["bare_title"], [one["detail"]["bare"] for one in card["channels"]]])
    assert " ms" not in bare
    assert "dB" in bare
    assert card["channels"][0]["bursts"][0]["half_width_s"] == 0.004


def test_the_method_is_changed_from_the_screen(session):
    view = er.review(session)
    session.accept_rest(session.queue[0])

    def change(n, method):
        data = {"command": "change_method", "index": 0, "channel": "biceps", "args": {"method": method, "slow": "…"}}
        view._handle_msg({"kind": "decide", "client": "x", "n": n, "visible": {}, "seen": None, **data})
        return json.loads(view.news)["updates"][-1]

    told = change(1, "threshold")
    assert session.method_words == told["method"] == "threshold"
    assert told["said"]["words"].startswith("Onsets are now found by threshold.")
    assert f"look at again: {len(session.relook)}" in told["said"]["words"] or not session.relook
    view._handle_msg({"kind": "hello", "client": "y", "held": []})
    assert json.loads(view.news)["updates"][-1]["method"] == "threshold", "a page that is loaded again is told"
    assert "already" in change(2, "threshold")["said"]["words"]
    assert "nope" in change(3, "nope")["refused"][-1]["words"]
    assert session.method_words == "threshold"


def head_of(pack):
    (length,) = struct.unpack("<i", pack[:4])
    return json.loads(pack[4 : 4 + length])


def test_two_runs_of_one_session_share_gain_and_typical_envelope(tmp_path):
    louder = recording("sub-a_run-2", 5)
    runs = [
        dataclasses.replace(recording("sub-a_run-1", 4), entities={"sub": "a"}),
        dataclasses.replace(louder, entities={"sub": "a"}, source=ArraySource(3 * louder.values())),
        dataclasses.replace(recording("sub-b_run-1", 6), entities={"sub": "b"}),
    ]
    trials = [er.cut_trials(run, cue="go", before_s=1.0, after_s=1.5) for run in runs]
    with er.open_review(trials, tmp_path, reviewer="r1", method="threshold") as opened:
        view = er.review(opened)
        for trial in [*trials[0].ids[:2], *trials[1].ids[:2]]:
            opened.accept_rest(trial)
        assert not view.pack, "four trials make nothing typical"
        view._handle_msg({"kind": "want", "client": "c", "trials": [0, 6, 12]})
        one, two, other = head_of(view.pack)["trials"]
        assert one["full_scale"] == two["full_scale"] != other["full_scale"]
        limits = [[trace["limits"] for trace in one["traces"] if trace["kind"] == "auxiliary"] for one in (one, two)]
        assert limits[0] == limits[1]
        assert (one["recording"], two["recording"], other["recording"]) == (0, 0, 1)
        opened.accept_rest(trials[1].ids[3])
        typical = head_of(view.pack)["typical"]
        assert {(usual["recording"], usual["n_trials"]) for usual in typical} == {(0, 5)}
        opened.undo()
        opened.unusable(trials[0].ids[0], "biceps", ["clipped"])
        view._handle_msg({"kind": "want", "client": "c", "trials": [0]})
        assert head_of(view.pack)["typical"] == []


def test_the_audit_is_stepped_through_finished_and_what_to_do_then_is_said(session):
    audit = plan(session)
    screen = er.review(session)

    def told(what):
        return json.loads(screen.news)["updates"][-1][what]

    ask = {"kind": "list", "client": "x", "which": "left of the bulk audit"}
    screen._handle_msg(ask)
    places = {session.queue[int(i)]: rows for i, rows in told("list")["rows"].items()}
    labels = session.trials[0].labels
    assert {(trial, labels[row]) for trial, rows in places.items() for row in rows} == set(audit.sample)
    decide_all(session, audit)
    screen._handle_msg(ask)
    assert not told("audit")["finished"]
    assert "All" in told("audit")["words"]
    finish = {"command": "finish_audit", "index": 0, "channel": "biceps", "args": {}, "visible": {}, "seen": None}
    screen._handle_msg({"kind": "decide", "client": "x", "n": 1, **finish})
    assert audit.passed
    screen._handle_msg(ask)
    assert told("audit")["finished"]
    assert "emgreview.bulk_audit(session).accept()" in told("audit")["words"]
    audit.accept()
    screen._handle_msg(ask)
    assert told("audit")["words"].startswith("At most")


def test_comparing_methods_lets_other_messages_through_and_ends_in_the_list(session, monkeypatch):
    from emgreview.views import listing

    monkeypatch.setattr(listing, "_SLICE_S", -1.0)  # one step a message
    screen = er.review(session)
    ask = {"kind": "compare", "client": "x", "methods": ["as proposed", "threshold"], "by_s": 0.001}
    screen._handle_msg({**ask, "begin": True})
    shares = []
    while "searching" in (last := json.loads(screen.news)["updates"][-1]):
        shares.append(last["searching"]["share"])
        screen._handle_msg({"kind": "beat", "client": "x", "n": len(shares), "sent": 0})
        assert screen.pulse == f"x {len(shares)}"
        screen._handle_msg({**ask, "begin": False})
    assert len(shares) > 3
    assert shares == sorted(shares)
    places = [session.queue[i] for i in last["list"]["indices"]]
    assert tuple(places) == where_methods_differ(session, "as proposed", "threshold", 0.001)


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_the_mains_of_the_recording_is_told_as_it_is_checked_and_hidden_while_blind(tmp_path):
    rec = recording("sub-a_task-turn", 1)
    x = rec.values(0, rec.n_samples).copy()
    x[1] += 20 * np.sin(2 * np.pi * 50 * np.arange(rec.n_samples) / rec.rate_hz)  # 200 µV² over bursts of 60 µV
    hummed = replace(rec, source=ArraySource(x))
    found = mains(hummed)
    for quality in er.check(hummed):
        assert found[quality.label] == (quality.mains_hz, quality.mains_share, quality.mains_db)
    assert found["wrist flexors"][1] > 0.2 > found["biceps"][1]
    trials = er.cut_trials(hummed, cue="go", before_s=1.0, after_s=1.5)
    with er.open_review(trials, tmp_path, reviewer="r1", blind=True) as session:
        screen = er.review(session)
        assert screen._card(session.queue[0])["mains"] is None
        session.unblind()
        told = screen._card(session.queue[0])["mains"]
        assert told["wrist flexors"].startswith(f"at 50 Hz {found['wrist flexors'][1]:.0%} of the unfiltered power, +")


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_the_time_of_recording_orders_the_trials_and_is_hidden_while_blind(tmp_path):
    with open_session(tmp_path, blind=True) as session:
        screen = er.review(session)
        assert {summary[3] for summary in screen._summaries(session.queue).values()} == {None}
        session.unblind()
        when = {session.queue[place]: summary[3] for place, summary in screen._summaries(session.queue).items()}
    recorded = [trial for trials in session.trials for trial in trials.ids]
    assert sorted(when, key=when.get) == recorded != list(session.queue)


def test_every_sign_of_a_state_stands_in_the_legend_once():
    signs = [sign for sign, _ in cards.SIGNS]
    assert len(signs) == len(set(signs))
    assert {sign for sign, _ in (*cards.ORIGINS.values(), *cards.FOUND.values(), cards.IN_BULK)} < set(signs)


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_the_key_that_settles_a_dispute_is_not_taken_away(tmp_path):
    from small_study import settle

    for reviewer in ("r1", "r2"):
        with open_session(tmp_path, reviewer=reviewer) as one:
            for trial in one.queue:
                one.accept_rest(trial)
            if reviewer == "r2":
                one.none_visible(one.queue[0], "biceps")
    er.agreement(tmp_path, "r1", "r2")
    with settle(tmp_path) as third:
        with pytest.raises(er.EmgreviewError, match="Space came for both 'settle' and 'accept'"):
            er.review(third, keys={"accept": "Space"})
        keys = json.loads(er.review(third, keys={"accept": "Space", "settle": "Enter"}).setup)["keys"]
    assert {key["command"]: key["code"] for key in keys}["settle"] == "Enter"


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_a_dispute_says_how_far_apart_and_tells_no_times_while_blind(tmp_path):
    from small_study import settle

    for reviewer in ("r1", "r2"):
        with open_session(tmp_path, reviewer=reviewer) as one:
            a, b, c, d, *_ = one.queue
            onset_s = one.state(a).channels["biceps"].response.onset_s
            if reviewer == "r2":
                one.move(a, "biceps", onset_s=onset_s + 0.0125)
                one.none_visible(b, "biceps")
                one.correct_cue(d, 0.05)
            else:
                one.correct_cue(d, 0.1)
            one.behaviour(c, "late" if reviewer == "r2" else "as instructed")
            for trial in one.queue:
                one.accept_rest(trial)
    with settle(tmp_path) as third:
        screen = er.review(third)
        setup = json.loads(screen.setup)
        assert (setup["counted"], setup["progress"]) == ("disputes settled", [0, 4])

        def said(trial, channel=0):
            card = screen._card(trial)
            return (card if channel is None else card["channels"][channel])["dispute"]["said"]

        apart = "A: a burst; B: a burst; onsets 12.5 ms apart"
        assert said(a) == {"timed": apart, "untimed": apart}
        assert {part[3:] for part in said(b)["untimed"].split("; ")} == {"a burst", "none visible"}
        assert said(d, None)["timed"] == "A: a corrected cue; B: a corrected cue; cues 50 ms apart"
        assert "apart" not in said(c, None)["timed"]
        at = {trial: screen._known.number[trial] for trial in (a, b, c, d)}
        states = {trial: summary[0] for trial, summary in screen._summaries(third.queue).items()}
        assert [states[at[trial]] for trial in (a, b, c, d)] == ["open"] * 4, "one about the whole trial is open too"
        third.settle(c, None, "A")
        assert screen._summaries([c])[at[c]][0] == "reviewed"
        first = next(trial for trial in third.queue if trial != c)
        assert third.next_unreviewed() == first
        third.unblind("done")
        assert f": onset {1000 * onset_s:g} ms; " in said(a)["timed"] + "; "
        assert said(a)["timed"].endswith("; onsets 12.5 ms apart")
        assert said(a)["untimed"] == apart
    with settle(tmp_path, blind=False) as third:
        first = next(trial for trial in third.queue if trial != c)
        assert third.where == first, "it opens again on the first dispute that is open"
    with open_session(tmp_path / "other") as one:
        assert json.loads(er.review(one).setup)["counted"] == "channel-trials reviewed"


def test_no_entry_of_a_list_is_ever_left_out(session, monkeypatch):
    for n in (0, 12, 13, 38, 39, 200):
        more = tuple(events.Choice(k, f"word {k}") for k in range(n))
        for name in ("REASONS", "CAUTIONS", "BEHAVIOURS", "KINDS"):
            monkeypatch.setattr(screen_setup, name, (*more, events.Choice(n, "other", "text required")))
        monkeypatch.setattr(screen_setup, "TRIAL_LISTS", {f"list {k}": None for k in range(n)})
        monkeypatch.setattr(screen_setup, "METHODS", {f"method {k:03}": None for k in range(n)})
        lists = screen_setup.standing_facts(session, ())["choices"]
        for name in ("unusable", "caution", "behaviour", "kind"):
            words = [entry["words"] for entry in lists[name]]
            assert words == [*(choice.word for choice in more), "other"]
            assert [entry["text"] for entry in lists[name]] == [False] * n + [True]
        assert [len(lists[name]) for name in ("list", "method", "change_method")] == [n, n + 1, n]
        for name, entries in lists.items():
            codes = [entry["code"] for entry in entries if entry["code"]]
            assert len(codes) == len(set(codes)) == min(len(entries), 35 if name == "list" else 38)
            assert name != "list" or not set(codes) & set(screen_setup.FURTHER_LISTS)
    source = (Path(screen_setup.__file__).parent / "js" / "review" / "trial_lists.js").read_text("utf-8")
    assert all(f'code: "{code}"' in source for code in screen_setup.FURTHER_LISTS)


def test_the_interval_is_named_and_told_on_both_its_sides():
    def around(low_ms, high_ms, rate_hz=2000.0):
        auto = Automatic(0.2, 0.2 + low_ms / 1000, 0.2 + high_ms / 1000, 0.5, 20.0, 0.9, "")
        return cards._around(auto, rate_hz)

    assert around(-12, 12) == "± 12 ms"
    assert around(-8, 31) == "−8.0 to +31 ms", "not halved to ± 20"
    assert around(-0.4, 0.4) == "± 0.4 ms"
    assert around(3, 20) == "+3.0 to +20 ms"


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_a_blind_screen_tells_the_interval_without_a_time(tmp_path):
    with open_session(tmp_path, blind=True) as blind:
        trials = blind.trials[0]
        words = card_of(blind, trials.ids[0])["channels"][0]["detail"]["untimed"]
        auto = blind.automatic(trials.ids[0], "biceps")
        assert f"automatic, 90 % interval: {cards._around(auto, trials.rate_hz)} around its mark" in words
        assert "194" not in words


def test_the_overview_is_told_the_interval_itself(session):
    trial = session.queue[0]
    auto = session.automatic(trial, "biceps")
    _, _, channels = cards.trial_summary(session, session.trials[0], trial)
    assert channels[0][2] == [round(auto.low_s, 4), round(auto.high_s, 4)]
    assert channels[0][:2] == [round(session.state(trial).channels["biceps"].response.onset_s, 4), channels[0][1]]
