"""What decides on several channels at once never decides on one that nobody can judge, and says which and why; and what
changes which burst is the response says so."""

import json
import warnings
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from one_bad_channel import EVERY_MEASURE, LABELS, RATE_HZ, N, quiet, recording, review
from scripted_reviews import detect

import emgreview as er
from emgreview import evidence, measuring
from emgreview.errors import DecisionWarning
from emgreview.model import ArraySource
from emgreview.second_look import BulkRule, plan_bulk
from emgreview.simulation import ARTEFACTS


def knocked(rng, x, cues):
    """A dead channel with a knock of 5 ms in every trial, which a method may take for a burst."""
    out = rng.normal(0, 0.3, x.size)
    for cue in cues:
        out[cue + 600 : cue + 610] += rng.normal(0, 300, 10)
    return out


def clipped(rng, x, cues):
    return np.clip(1000 * x, -800.0, 800.0)


def rails(rng, x, cues):
    return np.where(np.sin(np.arange(x.size) / 40) > 0, 800.0, -800.0)


def dropped(rng, x, cues):
    """Samples repeat from 200 ms after every cue on: the radio was lost."""
    x = x.copy()
    for cue in cues:
        x[cue - 400 : cue + 3000] = x[cue - 400]
    return x


def missing(rng, x, cues):
    x = x.copy()
    for cue in cues:
        x[cue - 400 : cue + 3000] = np.nan
    return x


def held_later(rng, x, cues):
    """0.3 s after each cue to the end of its trial: less than half of the trial, most of where a response is sought."""
    for cue in cues:
        x[cue + 600 : cue + 3600] = x[cue + 600]
    return x


def buzzing(level_uv, hum_uv=0.0, heart_uv=0.0):
    """Noise of that RMS between 20 and 450 Hz, with hum that wanders, or heart beats, on it."""

    def fault(rng, x, cues):
        out = quiet(level_uv)(rng, x, cues)[np.newaxis]
        out = ARTEFACTS["mains"](out, RATE_HZ, rng, level_uv=hum_uv)
        return (ARTEFACTS["heart"](out, RATE_HZ, rng, level_uv=heart_uv) if heart_uv else out)[0]

    return fault


FAULTS = {
    "0.3 µV under hum": (buzzing(0.3, hum_uv=20.0), "µV without hum and heart beats"),
    "0.1 µV under hum": (buzzing(0.1, hum_uv=20.0), "µV without hum and heart beats"),
    "0.3 µV under heart beats": (buzzing(0.3, heart_uv=60.0), "µV"),
    "0.3 µV under both": (buzzing(0.3, hum_uv=5.0, heart_uv=60.0), "µV without hum and heart beats"),
    "0.3 µV": (quiet(0.3), "dead: 0."),
    "0.15 µV": (quiet(0.15), "dead: 0."),
    "a knock on a dead channel": (knocked, "dead: "),
    "zero": (lambda rng, x, cues: np.zeros_like(x), "flat: it never changes"),
    "a constant": (lambda rng, x, cues: np.full_like(x, 12.5), "flat: it never changes"),
    "clipped": (clipped, "clipped in "),
    "between two rails": (rails, "clipped in 100% of its samples"),
    "held": (dropped, "flat in "),
    "held from the cue on": (held_later, "from the cue on"),
    "all missing": (lambda rng, x, cues: np.full_like(x, np.nan), "no samples"),
    "most missing": (missing, "of its samples are missing"),
    "steps of 1 µV": (lambda rng, x, cues: np.round(rng.normal(0, 0.25, x.size)), "less than one step"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_accepting_the_rest_never_decides_on_a_dead_channel(tmp_path, name, counted):
    fault, why = FAULTS[name]
    with review(tmp_path, recording(fault)) as session:
        for trial in session.queue:
            assert why in session.unfit(trial, "bad")
            assert session.unfit(trial, "good") == ""
            with pytest.warns(DecisionWarning, match="left open: bad .*Decide by eye") as said:
                assert session.accept_rest(trial) == (trial,)
            assert why in str(said[0].message)
            assert said[0].filename == __file__, "the warning names the line of the script"
            assert session.open_channels(trial) == ("bad",)
            with pytest.warns(DecisionWarning, match="left open: bad"):
                assert session.accept_rest(trial) == (), "nothing else was open"
        assert session.progress == (N, 2 * N, 0, N)
        table = session.decisions()
        assert not table[table["channel"] == "bad"]["reviewed"].any()
        session.none_visible(session.queue[0], "bad")  # a person may
        assert session.state(session.queue[0]).reviewed
    (log,) = (tmp_path / "review" / "logs").rglob("*.jsonl")
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    assert not [line for line in lines if line["field"] == "channels" and "bad" in line["new"]]
    counted(f"accepting the rest over a channel with {name}: {N} trials, 0 decided")


@pytest.mark.parametrize("good_uv", [0.8, 5.0, 40.0])
def test_a_quiet_channel_that_lives_is_accepted(tmp_path, good_uv):
    with review(tmp_path, recording(lambda rng, x, cues: x, good_uv=good_uv)) as session:
        for trial in session.queue:
            assert session.accept_rest(trial) == (trial,), "and no warning"
        assert session.progress[0] == 2 * N


@pytest.mark.parametrize(("hum_uv", "heart_uv"), [(20.0, 0.0), (3.0, 0.0), (0.0, 60.0), (20.0, 60.0)])
@pytest.mark.parametrize("level_uv", [0.8, 2.0, 5.0])
def test_a_living_channel_at_rest_under_hum_or_heart_beats_stays_decidable(tmp_path, level_uv, hum_uv, heart_uv):
    with review(tmp_path, recording(buzzing(level_uv, hum_uv, heart_uv)), detect=detect, method="threshold") as session:
        for part in session.trials:
            fitness = evidence.Fitness()
            assert [fitness.words(part, row, "bad") for row in range(len(part.ids))] == [""] * N


def test_a_burst_over_a_rest_below_skin_noise_is_activity_and_no_dead_channel(tmp_path):
    def fault(rng, x, cues):
        out = buzzing(0.2, hum_uv=20.0)(rng, x, cues)
        for cue in cues:
            out[cue + 500 : cue + 2000] += rng.normal(0, 60, 1500)
        return out

    with review(tmp_path, recording(fault), detect=detect, method="threshold") as session:
        part = session.trials[0]
        assert not any(evidence.Fitness().words(part, row, "bad") for row in range(N))


def test_in_arbitrary_units_no_level_is_dead_but_none(tmp_path):
    with review(tmp_path, recording(quiet(0.3), unit="arbitrary")) as session:
        assert session.unfit(session.queue[0], "bad") == ""
    with review(tmp_path / "zero", recording(FAULTS["zero"][0], unit="arbitrary")) as session:
        assert session.unfit(session.queue[0], "bad") == "flat: it never changes"


def test_what_else_asks_for_a_look_is_passed_over(tmp_path):
    rec = recording(lambda rng, x, cues: x, status="bad")
    with review(tmp_path, rec) as session:
        assert session.unfit(session.queue[0], "bad") == "marked bad in the recording"
    with review(tmp_path / "aside", recording(lambda rng, x, cues: x)) as session:
        one, two = session.queue[:2]
        session.set_aside("rec", "bad", 2.1, 2.2, ["clipped"])
        assert session.unfit(one, "bad") == "a stretch of it was set aside"
        assert session.unfit(two, "bad") == ""
        session.undo()
        assert session.unfit(one, "bad") == ""

    def says(x, rate_hz, **given):
        found = detect(x, rate_hz, **given)
        nan = np.full(len(x), np.nan)
        note, present = np.full(len(x), "", dtype="<U20"), found.present.copy()
        onset = found.onset_s.copy()
        note[0], onset[0], present[0] = "drifting", np.nan, np.nan  # could not tell
        onset[1], present[1] = np.nan, 0.97  # active before the search began
        onset[2], present[2] = np.nan, 0.03  # nothing there
        return replace(found, onset_s=onset, offset_s=nan, baseline_note=note, present=present)

    with review(tmp_path / "unsure", recording(lambda rng, x, cues: x), detect=says) as session:
        one, two, three, four = session.queue[:4]
        assert session.unfit(one, "good") == "the method could not tell: drifting"
        assert session.unfit(two, "good").startswith("the method found activity, but no onset")
        assert session.unfit(three, "good") == session.unfit(four, "good") == ""
        with pytest.warns(DecisionWarning, match="good .the method could not tell: drifting., bad .the method"):
            assert session.accept_rest(one) == ()
        with pytest.warns(DecisionWarning, match="good: recorded as none visible, but: the method could not tell"):
            session.accept(one, "good")  # a person who looked may say so
        assert session.state(one).channels["good"].found == "none visible"


def test_copying_to_all_passes_over_a_dead_channel(tmp_path):
    with review(tmp_path, recording(quiet(0.3))) as session:
        one, two, three = session.queue[:3]
        session.none_visible(one, "good")
        with pytest.warns(DecisionWarning, match="nothing was copied to: bad .dead"):
            assert session.copy_to_all(one, "good") == ()
        assert not session.state(one).channels["bad"].reviewed
        session.unusable(two, "bad", ["flat or missing samples/radio drop-out"])
        with pytest.warns(DecisionWarning, match="nothing was copied to: bad"):
            session.copy_to_all(two, "good")
        assert session.state(two).channels["bad"].signal == "unusable", "what was said of it stays"
        session.unusable(three, "good", ["mains hum"])
        session.copy_to_all(three, "good")
        assert session.state(three).channels["bad"].reasons == ("mains hum",)


def test_a_lot_for_acceptance_in_bulk_holds_no_dead_channel(tmp_path):
    with review(tmp_path, recording(quiet(0.3)), detect=detect, method="threshold") as session:
        lot = plan_bulk(session, BulkRule(interval_below_s=0.9, level_above_db=0.0, clean=False), at_most=0.5).lot
        assert lot
        assert {channel for _, channel in lot} == {"good"}


@pytest.mark.parametrize(("name", "why"), [("0.3 µV", "dead"), ("held", "flat"), ("clipped", "clipped")])
def test_every_measure_tells_signals_that_nobody_can_judge(tmp_path, name, why, monkeypatch):
    """A new public function of ``measuring`` belongs into EVERY_MEASURE, and tells them too."""
    functions = {one for one in measuring.__all__ if callable(getattr(measuring, one))}
    assert functions == EVERY_MEASURE.keys()
    read, reads = evidence.unfiltered, []
    monkeypatch.setattr(evidence, "unfiltered", lambda *given: reads.append(given[1]) or read(*given))
    with review(tmp_path, recording(FAULTS[name][0]), detect=partial(detect, absent=()), method="threshold") as session:
        for trial in session.queue:
            session.accept(trial, "bad")
            session.accept(trial, "good")
        trials, table = session.trials[0], session.decisions()
        for trial in session.queue:
            session.unusable(trial, "bad", ["flat or missing samples/radio drop-out"])
        called = session.decisions()
    for function, what, most in EVERY_MEASURE.values():
        reads.clear()
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            function(trials, table)
        assert len(reads) == len(set(reads)), "each trial is read once"
        (told,) = (str(one.message) for one in caught if "nobody calls unusable" in str(one.message))
        assert f"Measured are {what} of signals that cannot be judged" in told
        count = int(told.partition(f"bad of rec ({why}) ")[2].rstrip("."))
        assert count == most or (what == "rests or bursts" and 0 < count <= most)
        assert "good of rec" not in told
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            function(trials, called)
        assert not [one for one in caught if "nobody calls unusable" in str(one.message)]


@pytest.mark.filterwarnings("ignore:20 bursts that nobody has accepted:emgreview.errors.SignalWarning")
@pytest.mark.filterwarnings("ignore:rec has no marker 'response':emgreview.errors.SignalWarning")
@pytest.mark.filterwarnings("ignore:Missing numbers of:emgreview.errors.SignalWarning")
@pytest.mark.parametrize(("name", "why"), [("0.3 µV", r"dead\) 20"), ("held", r"flat\) 20")])
def test_measures_of_a_channel_that_nobody_can_judge_say_so(tmp_path, name, why):
    whole = partial(detect, absent=())
    with review(tmp_path, recording(FAULTS[name][0]), detect=whole, method="threshold") as session:
        for trial in session.queue:
            session.accept(trial, "bad")
        with pytest.warns(er.SignalWarning, match=rf"nobody calls unusable: bad of rec \({why}"):
            er.measure(session.trials[0], session.decisions())
        for trial in session.queue:
            session.accept(trial, "good")
            session.unusable(trial, "bad", ["flat or missing samples/radio drop-out"])
        notes = er.measure(session.trials[0], session.decisions()).attrs["notes"]
        assert not any("nobody calls unusable" in note for note in notes)


def test_a_file_that_is_gone_leaves_the_channel_to_a_person(tmp_path):
    rec = recording(lambda rng, x, cues: x)

    class Gone(ArraySource):
        def read(self, *stretch):
            raise OSError("the stick was pulled out")

    with review(tmp_path, rec) as session:
        one = session.queue[0]
        whole = rec.source
        object.__setattr__(session.trials[0].recording, "source", Gone(np.zeros((2, 4))))
        with pytest.warns(DecisionWarning, match="can no longer be read"):
            session.accept_rest(one)
        object.__setattr__(session.trials[0].recording, "source", whole)
        assert session.unfit(one, "good") == "", "it is looked at again"


# Bursts ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def session(tmp_path):
    with review(tmp_path, recording(lambda rng, x, cues: x), detect=detect, method="threshold") as opened:
        yield opened  # an automatic burst from 200 to 500 ms


def test_a_burst_placed_inside_another_is_told(session):
    one = session.queue[0]
    with pytest.warns(DecisionWarning, match="burst 2 of 2 .added-[0-9]+, onset 300 ms. lies inside burst 1 of 2"):
        session.add(one, "good", onset_s=0.3)
    added = session.state(one).channels["good"].active[1].id
    session.move(one, "good", onset_s=0.31, offset_s=0.4, burst=added)  # told once
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        session.move(one, "good", onset_s=0.7, offset_s=0.9, burst=added)  # clear of it
    assert not said
    with pytest.warns(DecisionWarning, match="burst 2 of 2 .* begins inside burst 1 of 2"):
        session.move(one, "good", onset_s=0.45, burst=added)
    assert [line["operation"] for line in logged(session)] == ["add", "move", "move", "move"], "and all was done"


def test_a_burst_over_another_is_told(session):
    one = session.queue[0]
    with pytest.warns(DecisionWarning, match="burst 2 of 2 .response, onset 200 ms. lies inside burst 1 of 2"):
        session.add(one, "good", onset_s=0.1, offset_s=0.6, kind="tonic")


def logged(session):
    (log,) = (session.folder / "logs").rglob("*.jsonl")
    return [json.loads(line) for line in log.read_text().splitlines()][1:]


def test_another_response_is_told_by_every_command_that_makes_one(session):
    one, channel = session.queue[0], "good"
    now = "good: the response is now burst 1 of 2 .added-[0-9]+, onset 50 ms., because it begins first; so far it was "
    with pytest.warns(DecisionWarning, match=now + "burst 2 of 2 .response, onset 200 ms"):
        session.add(one, channel, onset_s=0.05, offset_s=0.1)
    added = session.state(one).channels[channel].response.id
    assert added.startswith("added-")
    with pytest.warns(DecisionWarning, match="response is now the burst left .* no longer stands"):
        session.undo()
    with pytest.warns(DecisionWarning, match=now):
        session.redo()
    with pytest.warns(DecisionWarning, match="is now burst 2 of 2 .* is of kind 'early small' now"):
        session.kind(one, channel, "early small", burst=added)
    with pytest.warns(DecisionWarning, match=now):
        session.kind(one, channel, "response", burst=added)
    with pytest.warns(DecisionWarning, match="is now burst 1 of 2 .response, onset 200 ms., because it begins first"):
        session.move(one, channel, onset_s=0.6, offset_s=0.7, burst=added)
    with pytest.warns(DecisionWarning, match="is now the burst left .* no longer stands"):
        session.remove(one, channel, burst="response")
    with pytest.warns(DecisionWarning, match="is now burst 1 of 2 .response"):
        session.accept(one, channel, burst="response")
    with pytest.warns(DecisionWarning, match="the response is now"):
        session.mark_burst("rec", channel, 2.02, 2.05)
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        session.add(one, channel, onset_s=0.9, offset_s=0.95)  # later: nothing changes
        session.add(one, channel, onset_s=-0.2, offset_s=-0.1, kind="early small")  # another kind: neither
        session.accept(one, channel)
    assert not said


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_in_a_blind_review_the_words_tell_no_time(tmp_path):
    rec = recording(lambda rng, x, cues: x)
    with review(tmp_path, rec, detect=detect, method="threshold", blind=True) as session:
        with pytest.warns(DecisionWarning) as said:
            session.add(session.queue[0], "good", onset_s=0.05, offset_s=0.3)
        words = " ".join(str(one.message).partition(": ")[2] for one in said)
        assert "the response is now burst 1 of 2, because it begins first" in words
        assert "lies inside" not in words
        assert "begins inside burst 1 of 2" in words
        assert " ms" not in words


def test_of_a_hidden_mark_nothing_is_told(session):
    one = session.queue[0]
    session.note("test", {"hide": [[one, "good"]]})
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        session.add(one, "good", onset_s=0.3, offset_s=0.4)  # inside the hidden one
    assert not said


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # many; test_told.py asks for them
def test_a_table_says_where_one_of_several_responses_counted(session):
    one, two = session.queue[:2]
    for label in LABELS:
        session.accept(one, label)
        session.accept(two, label)
    session.add(two, "good", onset_s=0.9, offset_s=1.0)
    table = er.compare_channels(session.trials[0], session.decisions(), "good", "bad", window_s=(0.0, 1.0))
    (note,) = [note for note in table.attrs["notes"] if "further bursts" in note]
    assert note.startswith("1 further bursts of kind response stand beside an earlier one")
    assert table.set_index("trial")["onset_difference_s"][two] == 0, "the first of the two"


# Screens ---------------------------------------------------------------------------------------------------------


def decide(view, n, command, index=0, channel="good", **args):
    message = {"kind": "decide", "client": "c", "n": n, "command": command, "channel": channel, "args": args}
    view._handle_msg({**message, "index": index, "visible": {"gain": 2}, "seen": None})
    updates = json.loads(view.news)["updates"]
    return next(one for one in reversed(updates) if one.get("settled") == {"client": "c", "n": n})


def test_the_trial_screen_says_what_was_passed_over_and_what_changed(tmp_path):
    with review(tmp_path, recording(quiet(0.3))) as session:
        view = er.review(session)
        view._handle_msg({"kind": "hello", "client": "c", "held": []})
        channels = session.state(session.queue[0]).channels
        seen = {
            label: [[burst.id, burst.onset_s, burst.offset_s] for burst in channels[label].active] for label in LABELS
        }
        message = {"kind": "decide", "client": "c", "n": 1, "command": "accept_rest", "channel": "good", "args": {}}
        view._handle_msg({**message, "index": 0, "visible": {}, "seen": json.loads(json.dumps(seen))})
        told = next(one for one in reversed(json.loads(view.news)["updates"]) if "said" in one)
        assert told["said"]["words"].startswith("Trial 1, left open: bad (dead: 0.")
        assert session.open_channels(session.queue[0]) == ("bad",)
        card = view._card(session.queue[0])["channels"][1]
        assert card["unfit"]
        assert card["words"] == "dead · open, none found"
        assert all(words.startswith("✕ dead: 0.") for words in card["detail"].values())
        told = decide(view, 2, "add", onset_s=0.01)
        assert "Trial 1, good: the response is now burst 1 of 2" in told["said"]["words"]
        assert " ms" not in told["said"]["words"], "a screen may have hidden its times"


def test_what_was_on_a_screen_is_written_with_its_own_decisions_alone(tmp_path):
    rec = recording(lambda rng, x, cues: x)
    with review(tmp_path, rec, detect=detect, method="threshold") as session:
        trials, long = er.review(session), er.long_view(rec, session)
        stretch = {"row": 0, "start_s": 0.1, "stop_s": 0.15, "reasons": ["clipped"]}
        on = {"kind": "decide", "client": "c", "channel": "good", "index": 3, "seen": None, "visible": {"gain": 2}}
        for view, command, args in (
            (long, "set_aside", stretch),
            (long, "remove", {"row": 0, "trial": "no such", "burst": "response"}),  # refused
            (trials, "discuss", {}),
            (trials, "comment", {"text": "two\nlines"}),  # refused
        ):
            view._handle_msg({**on, "n": view._last("c") + 1, "command": command, "args": args})
            session.discuss(session.queue[0])
            assert logged(session)[-1]["operation"] == "discuss"
            assert logged(session)[-1]["visible"] == {}, "a script shows nothing"
        assert [line["operation"] for line in logged(session) if line["visible"]] == ["set aside", "discuss"]
        trials.retire()
        session.showing(raw=True)  # a script that shows something itself
        decide(er.review(session), 1, "discuss", index=5)
        assert logged(session)[-1]["visible"] == {"gain": 2}
        session.discuss(session.queue[1])
        assert logged(session)[-1]["visible"] == {"raw": True}, "and a screen takes nothing from it"
