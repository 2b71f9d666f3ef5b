"""What was found by `check` alone, or by nobody, is told where it matters: in cuts, reviews, lists and measures."""

import dataclasses
import json
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import ParameterError, RateError, UnitError
from emgreview.rhythm import DOUBLE, REGULAR, _holes

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import recording as studied

RATE_HZ = 1000.0
GO = tuple(range(4, 38, 4))
CUT = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
PULSES = {"level": 2.5, "hold_off_s": 0.5, "label": "go"}
COLUMNS = ["time", "FCR", "ECR", "TRIGGER"]


def samples(seed=1, seconds=40):
    """Two muscles in µV, (2, samples), with a burst after every cue."""
    rng = np.random.default_rng(seed)
    x = rng.normal(0, 5, (2, int(seconds * RATE_HZ)))
    for cue in GO:
        for row in x:
            first = int((cue + rng.uniform(0.2, 0.35)) * RATE_HZ)
            row[first : first + 600] += rng.normal(0, 200, row[first : first + 600].size)
    return x


def made(x, *, unit="uV", every=GO, name="rec"):
    """A recording of FCR and ECR with a cue at each time, in seconds."""
    markers = [(int(cue * RATE_HZ), "go") for cue in every]
    return er.Recording.from_array(x, RATE_HZ, labels=["FCR", "ECR"], unit=unit, markers=markers, name=name)


def coded():
    """ECR holds -999 mV in the trials of the first cue and of the third."""
    x = samples()
    x[1, 5000:5600] = x[1, 12000:12400] = -999e3
    return made(x)


def heard(run):
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        out = run()
    return out, [str(one.message) for one in caught]


def pulse_channel(at_s, *, seconds=40, width_s=0.05):
    x = np.zeros(int(seconds * RATE_HZ))
    for one in at_s:
        x[int(one * RATE_HZ) : int((one + width_s) * RATE_HZ)] = 5.0
    return x


def with_trigger(trigger, label="TRIGGER"):
    x = np.vstack([samples(), trigger])
    channels = [er.Channel("FCR"), er.Channel("ECR"), er.Channel(label, "TRIG", "V")]
    return er.Recording.from_array(x, RATE_HZ, labels=["FCR", "ECR", label], channels=channels, name="rec")


def text_file(folder, x, trigger):
    path = folder / "p.csv"
    times = np.arange(x.shape[1]) / RATE_HZ
    np.savetxt(path, np.column_stack([times, *(x / 1000), trigger]), delimiter=",", fmt="%.5f")
    return path


def shell(capsys, *arguments):
    from emgreview.cli import run

    status = run([str(one) for one in arguments])
    return status, *capsys.readouterr()


SOURCE = ("--rate", 1000, "--unit", "mV,mV,V", "--columns", "time,FCR,ECR,TRIGGER")
WINDOW = ("--cue", "go", "--before", 1, "--after", 1.5)
FOUND = ("--pulses", "TRIGGER", "--level", 2.5)


# Codes -----------------------------------------------------------------------------------------------------------


def test_a_cut_names_channel_code_and_trials_that_hold_codes():
    rec = coded()
    trials, told = heard(lambda: er.cut_trials(rec, **CUT))
    assert [note for note in trials.notes if "code" in note] == [told[0].removeprefix("rec: ")]
    assert "Channel ECR holds the code -999000 µV in 2 of 9 trials" in told[0]
    assert "(cues at 4.000, 12.000 s)" in told[0]
    assert trials.codes == {(0, "ECR"): (-999000.0,), (2, "ECR"): (-999000.0,)}
    assert np.array_equal(rec.values()[1, 5000:5600], np.full(600, -999e3)), "no sample is altered"
    assert [one.code for one in er.check(rec)[1].found] == ["code value"], "by the rule of check"


def test_a_code_just_before_a_trial_spoils_it_too_and_one_far_from_all_none():
    x = samples()
    x[1, 2900:2950] = -999e3  # the first trial begins at 3 s
    trials, _ = heard(lambda: er.cut_trials(made(x), **CUT))
    assert trials.codes == {(0, "ECR"): (-999000.0,)}
    clean, _ = heard(lambda: er.cut_trials(made(samples()), **CUT))
    assert np.abs(trials.data[0, 1] - clean.data[0, 1]).max() > 1e3
    x = samples()
    x[1, 2300:2350] = -999e3
    trials, told = heard(lambda: er.cut_trials(made(x), **CUT))
    assert (trials.codes, told) == ({}, [])
    assert np.abs(trials.data - clean.data).max() < 1, "beyond its reach a code leaves less than 1 µV"


def test_codes_are_a_reason_not_to_decide_and_measures_say_so(tmp_path):
    trials, _ = heard(lambda: er.cut_trials(coded(), **CUT))
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        assert "holds the code -999000 µV, no voltage" in session.unfit(trials.ids[0], "ECR")
        assert [session.unfit(one, "ECR") == "" for one in trials.ids] == [n not in (0, 2) for n in range(9)]
        assert not any(session.unfit(one, "FCR") for one in trials.ids)
        _, told = heard(lambda: [session.accept_rest(one) for one in session.queue])
        assert sum("left open: ECR (it holds the code" in words for words in told) == 2
        assert not session.state(trials.ids[0]).channels["ECR"].reviewed
        heard(lambda: [session.accept(one, "ECR") for one in (trials.ids[0], trials.ids[2])])
        decisions = session.decisions()
    table, told = heard(lambda: er.measure(trials, decisions, normalise="peak in task"))
    assert (table["channel"] == "ECR").sum() > 7, "a code is taken for a burst"
    assert any("ECR of rec (codes, no voltage)" in words for words in told)
    assert any("amplitudes and onsets are not of a muscle" in words for words in told)
    assert any(words.startswith("peak in task rests on codes") for words in told)
    assert not any("are clipped" in words for words in told)
    assert (table["burst_clipped_share"].dropna() == 0).all()


def test_a_list_of_bursts_names_the_codes_of_its_channel():
    _, told = heard(lambda: er.list_bursts(coded(), channel="ECR"))
    assert any("ECR of rec holds the code -999000 µV in 2 of 4 stretches" in words for words in told)
    assert not any("clipped" in words for words in told)
    assert heard(lambda: er.list_bursts(coded(), channel="FCR"))[1] == []


def test_a_shell_tells_codes_where_onsets_are_asked_for(tmp_path, capsys):
    x = samples()
    x[1, 5000:5600] = -999e3
    path = text_file(tmp_path, x, pulse_channel(GO))
    _, out, err = shell(capsys, "detect", path, *SOURCE, *FOUND, "--hold-off", 0.5, *WINDOW, "--json")
    words = "Channel ECR holds the code -999000 µV in 1 of 9 trials"
    assert words in err
    assert all(any(words in note for note in row["notes"]) for row in json.loads(out))


# Levels ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("unit", "words"), [("V", "larger than muscle gives"), ("nV", "times too small")])
def test_a_level_that_no_muscle_has_is_told_once_by_cut_and_measure(tmp_path, unit, words):
    x = samples()
    x = x if unit == "nV" else 1e-3 * x  # of mV that are read as V, and of µV that are read as nV
    rec = made(x, unit=unit)
    found = next(one for one in er.check(rec)[0].found if one.code in ("too small", "too large"))
    trials, told = heard(lambda: er.cut_trials(rec, **CUT))
    levels = [one for one in told if "has a level that no surface EMG has" in one]
    assert [one.split()[2] for one in levels] == ["FCR", "ECR"]
    assert words in levels[0]
    assert levels[0].endswith(found.words), "the sentence of check"
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        heard(lambda: [session.accept(one, "FCR") for one in session.queue])
        decisions = session.decisions()
    _, told = heard(lambda: er.measure(trials, decisions))
    assert [one for one in told if "no surface EMG" in one] == [levels[0]] * (len(decisions["burst"].dropna()) > 0)


def test_arbitrary_units_and_usual_levels_have_no_impossible_level():
    for factor in (1e-6, 1e6):
        assert heard(lambda f=factor: er.cut_trials(made(f * samples(), unit="arbitrary"), **CUT))[1] == []
    for factor in (0.2, 1.0, 5.0):
        assert heard(lambda f=factor: er.cut_trials(made(f * samples()), **CUT))[1] == []


@pytest.mark.parametrize("sub", ["a", "b"])
def test_a_sound_study_gets_none_of_these_notes(sub):
    assert heard(lambda: er.cut_trials(studied(f"sub-{sub}_task-turn", 1), **CUT))[1] == []


# Cues ------------------------------------------------------------------------------------------------------------


def test_a_hold_off_that_swallows_cues_is_told(tmp_path, capsys):
    rec = with_trigger(pulse_channel(GO))
    found, told = heard(lambda: er.with_cues(rec, "TRIGGER", **PULSES | {"hold_off_s": 5.0}))
    assert len(found.markers) == 5
    assert ["takes 5 cues and passes over 4 pulses" in words for words in told] == [True]
    assert told == [f"rec: {found.notes[-1]}"]
    again, told = heard(lambda: er.with_cues(found, "TRIGGER", **PULSES))
    assert (len(again.markers), again.notes, told) == (9, (), []), "a better search takes the note away"
    path = text_file(tmp_path, samples(), pulse_channel(GO))
    _, out, err = shell(capsys, "detect", path, *SOURCE, *FOUND, "--hold-off", 5, *WINDOW, "--json")
    assert err.count("passes over 4 pulses") == 1
    assert "--hold-off 5 s" in err
    assert any("passes over 4 pulses" in note for note in json.loads(out)[0]["notes"])


@pytest.mark.parametrize("seed", range(5))
def test_swallowed_cues_that_jitter_are_told_and_bounces_are_not(seed):
    rng = np.random.default_rng(seed)
    at = 2 + np.cumsum(rng.uniform(3.5, 4.5, 30))
    clean = pulse_channel(at, seconds=160)
    bounce = clean.copy()
    for one in at:  # pressed for 0.4 s, and the contact bounces where it closes and where it opens
        first = int(one * RATE_HZ)
        bounce[first : first + 400] = 5.0
        for k in (3, 7, 12, 402, 408):
            bounce[first + k : first + k + 2] = 5.0 - bounce[first + k]
    flicker = clean.copy()
    for one in at:  # a flash of 0.8 s on a screen that flickers at 60 Hz
        first = int(one * RATE_HZ)
        flicker[first : first + 800] = np.where(np.arange(800) % 17 < 9, 5.0, 0.0)
    for trigger in (clean, bounce, flicker):
        rec = er.Recording.from_array(
            trigger[np.newaxis], RATE_HZ, labels=["T"], channels=[er.Channel("T", "TRIG", "V")], name="rec"
        )
        for edge in ("rising", "falling"):
            found, told = heard(lambda r=rec, e=edge: er.find_cues(r, "T", level=2.5, hold_off_s=2.0, edge=e))
            assert (len(found), told) == (30, [])
        found, told = heard(lambda r=rec: er.find_cues(r, "T", level=2.5, hold_off_s=5.0))
        assert len(found) < 30
        assert len(told) == 1


def test_a_channel_of_pulses_is_no_muscle_whatever_it_is_called(tmp_path, capsys):
    path = text_file(tmp_path, samples(), pulse_channel(GO))
    columns = ("--rate", 1000, "--unit", "mV,mV,V", "--columns", "time,FCR,ECR,TRIGER")
    found = ("--pulses", "TRIGER", "--level", 2.5, "--hold-off", 0.5)
    _, out, err = shell(capsys, "detect", path, *columns, *found, *WINDOW, "--json")
    assert {row["channel"] for row in json.loads(out)} == {"FCR", "ECR"}
    assert err.count("Channel 'TRIGER' holds the cues, and is taken as TRIG, not EMG") == 1
    x = np.vstack([samples(), pulse_channel(GO)])
    rec = er.Recording.from_array(x, RATE_HZ, labels=["FCR", "ECR", "trigger"], name="rec")
    cued, told = heard(lambda: er.with_cues(rec, "trigger", **PULSES))
    assert (cued.emg_labels, told) == (("FCR", "ECR"), []), "its name says it"
    assert "is taken as TRIG" in cued.notes[0]
    alone = er.Recording.from_array(x[2:], RATE_HZ, labels=["FCR"], name="rec")
    assert er.with_cues(alone, "FCR", **PULSES).emg_labels == ("FCR",)


def test_a_review_with_such_a_channel_is_replayed_and_sealed_from_the_file(tmp_path):
    path = text_file(tmp_path, samples(), pulse_channel(GO))
    rec = er.read(path, rate_hz=1000, unit="mV", columns=["time", "FCR", "ECR", "TRIGER"])
    cued, _ = heard(lambda: er.with_cues(rec, "TRIGER", level=2.5, hold_off_s=0.5, label="go"))
    with er.open_review(er.cut_trials(cued, **CUT), tmp_path / "review", reviewer="r1") as session:
        for trial in session.queue:
            session.accept_rest(trial)
        session.seal("v1")
    assert er.replay(tmp_path / "review", [rec], "v1").ok
    assert er.seal(tmp_path / "review", [rec], "v2", reviewer="r1").name == "v2"


def test_trials_that_share_samples_are_told():
    rec = made(samples())
    trials, told = heard(lambda: er.cut_trials(rec, cue="go", before_s=2.0, after_s=2.5))
    assert told == [f"rec: {note}" for note in trials.notes]
    assert "9 of 9 trials share samples with the trial before or after, up to 0.5 s" in told[0]
    assert heard(lambda: er.cut_trials(rec, cue="go", before_s=1.5, after_s=2.5))[1] == [], "they touch, and share none"
    train = made(samples(), every=[10 + 0.05 * n for n in range(5)])
    assert heard(lambda: er.cut_trials(train, **CUT))[1] == [], "each is meant to hold the train"


def test_a_cue_lost_of_six_is_told_and_free_rhythms_are_left_alone(counted):
    at = np.cumsum([4, 3.4, 3.6, 3.5, 3.7, 3.5])
    for lost in range(1, 5):
        left = made(samples(), every=np.delete(at, lost))
        assert any("some 1 missing" in words for words in heard(lambda one=left: er.cut_trials(one, **CUT))[1])
    assert heard(lambda: er.cut_trials(made(samples(), every=at), **CUT))[1] == []
    rng = np.random.default_rng(3)
    n = 2000
    for low_s, high_s, most in ((3.0, 5.0, 0.0), (2.0, 5.0, 0.02)):
        false = sum(_holes(rng.uniform(low_s, high_s, 4)).any() for _ in range(n))
        counted(f"five cues, intervals {low_s:g} to {high_s:g} s: {false} of {n} sound rhythms accused")
        assert false <= most * n
    assert REGULAR * DOUBLE > 5 / 3


# Slips -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "error", "words"),
    [
        ({"unit": ["mV", "mV", "V"]}, UnitError, r"unit came as \['mV', 'mV', 'V'\]; allowed: .*; give unit='mV', or"),
        ({"unit": 1e-3}, UnitError, "unit came as 0.001; allowed: one of V, mV"),
        ({"unit": {"FCR": 1e-3}}, UnitError, "unit came with 0.001 for channel 'FCR'; allowed: a unit as a word"),
        ({"rate_hz": "1000"}, RateError, "rate_hz came as '1000'; needed is a number above 0 Hz; give"),
        ({"columns": ["time", "FCR", "ECR", "-"]}, ParameterError, "a column to leave out is None; give a list with"),
        ({"columns": 3}, ParameterError, "columns came as 3; allowed: a list of labels in order"),
    ],
)
def test_slips_at_reading(tmp_path, more, error, words):
    text_file(tmp_path, samples(), pulse_channel(GO))
    said = {"rate_hz": 1000, "unit": "mV", "columns": COLUMNS} | more
    with pytest.raises(error, match=words):
        er.read(tmp_path / "p.csv", **said)
    with pytest.raises(error, match=words):
        _ = er.read_dataset(tmp_path, **said).recordings[0]


@pytest.mark.parametrize("name", ["with_cues", "find_cues", "show_cues"])
def test_channel_and_recording_the_wrong_way_round(name):
    if name == "show_cues":
        pytest.importorskip("panel")
    rec, search = with_trigger(pulse_channel(GO)), getattr(er, name)
    with pytest.raises(ParameterError, match=r"rec came as 'TRIGGER'; allowed: one Recording"):
        search("TRIGGER", rec, level=2.5, hold_off_s=0.5)
    with pytest.raises(ParameterError, match=r"channel came as 2; allowed: the label of one channel, in quotes: 'FCR'"):
        search(rec, 2, level=2.5, hold_off_s=0.5)


def test_both_edges_of_pulses_are_told_as_pairs():
    pairs = sorted((*GO, *(cue + 0.05 for cue in GO)))
    _, words = heard(lambda: er.cut_trials(made(samples(), every=pairs), **CUT))
    assert any("Cues 'go' come in 9 pairs, 0.05 s apart (median): both edges of pulses" in one for one in words)
    assert not any("missing)" in one for one in words)


def test_what_is_listed_of_a_channel_that_is_no_muscle_says_so():
    rec = made(samples())
    channels = [rec.channels[0], dataclasses.replace(rec.channels[1], kind="TRIG")]
    trigger = dataclasses.replace(rec, channels=tuple(channels))
    _, words = heard(lambda: er.list_bursts(trigger, channel="ECR"))
    assert words == ["ECR of rec is TRIG, not EMG: what is listed is not of a muscle."]
    assert heard(lambda: er.list_bursts(trigger, channel="FCR"))[1] == []


def test_a_sound_recording_with_a_trigger_in_volts_passes_the_check(tmp_path, capsys):
    from emgreview import cli

    x = samples()
    time_s = np.arange(x.shape[1]) / RATE_HZ
    table = np.column_stack([time_s, *(x / 1000), pulse_channel(GO)])
    np.savetxt(tmp_path / "rec.csv", table, delimiter=",", fmt="%.6f")
    asked = ["--rate", "1000", "--unit", "mV,mV,V", "--columns", ",".join(COLUMNS)]
    status = cli.run(["check", str(tmp_path / "rec.csv"), *asked])
    said = capsys.readouterr().out
    assert "is taken as TRIG, not EMG, by its name." in said
    assert status == 0, said


def test_a_code_that_becomes_the_largest_value_of_a_comparison_is_told(tmp_path):
    trials, _ = heard(lambda: er.cut_trials(coded(), **CUT))
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        heard(lambda: [session.accept(trial, label) for trial in trials.ids for label in trials.labels])
        _, words = heard(lambda: er.compare_channels(trials, session.decisions(), "FCR", "ECR"))
    assert any("may be that of a code for missing samples (ECR of rec)" in one for one in words)
