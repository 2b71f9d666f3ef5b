"""No number of a table of measures is missing in silence: a note says why, or a column of its row does; and bursts that
last to the end of their trial are not lost to what the others are divided by."""

import re
import warnings

import numpy as np
import pandas as pd
import pytest
from one_bad_channel import LABELS, RATE_HZ, N, recording

import emgreview as er
from emgreview.errors import ParameterError, SignalWarning
from emgreview.measuring import unmeasured

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # the notes themselves are read here
CUT = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
PRESSED = 900


def heard(x, markers):
    """A recording of these samples, with a channel of force that rises with every other cue."""
    force = np.zeros(x.shape[1])
    for at, _ in markers[::4]:
        force[at + 700 : at + 1500] = 5.0
    force += np.random.default_rng(1).normal(0, 0.01, force.size)
    channels = [*map(er.Channel, LABELS), er.Channel("force", kind="auxiliary", unit="arbitrary")]
    marks = [er.Marker(at, label) for at, label in markers]
    return er.Recording.from_array(
        np.vstack([x, force]), RATE_HZ, labels=[*LABELS, "force"], channels=channels, markers=marks, name="rec"
    )


@pytest.fixture(scope="module")
def sound():
    """Samples of two channels, markers, and the accepted responses to all cues, from 0.25 to 0.6 s after each."""
    rec = recording(lambda rng, x, cues: x)
    cues = [marker.sample for marker in rec.markers]
    markers = [one for cue in cues for one in ((cue, "go"), (cue + PRESSED, "response"))]
    return rec.values(), markers, cues


@pytest.fixture(scope="module")
def accepted(sound, tmp_path_factory):
    x, markers, _ = sound
    trials = er.cut_trials(heard(x, markers), **CUT)
    with er.open_review(trials, tmp_path_factory.mktemp("review"), reviewer="r1") as session:
        for trial in trials.ids:
            for label in LABELS:
                for burst in list(session.state(trial).channels[label].bursts):
                    session.remove(trial, label, burst)
                session.add(trial, label, onset_s=0.25, offset_s=0.6)
                session.accept(trial, label)
        table = session.decisions()
    table.attrs = {}
    return table[table["origin"] != "removed"].reset_index(drop=True)


def gap(start, stop, value=np.nan, cues=slice(None, None, 3), channels=slice(None)):
    """Samples from one to another after every third cue have this value."""

    def fault(x, markers, table):
        go = [at for at, label in markers if label == "go"]
        for cue in go[cues]:
            x[channels, cue + start : cue + stop] = value
        return x, markers, table

    return fault


def rows(where, **values):
    """Every third row of the table of channel "bad" has these values."""

    def fault(x, markers, table):
        mine = table.index[table["channel"] == "bad"][where]
        for name, value in values.items():
            table.loc[mine, name] = table.loc[mine, name] + value[0] if isinstance(value, tuple) else value
        return x, markers, table

    return fault


EVERY, SOME = slice(None), slice(None, None, 3)
NONE = {"offset_s": np.nan, "offset_sample": pd.NA}
LATE = {"onset_s": (1.19,), "onset_sample": (2380,)}
FAULTS = {
    "nothing": gap(0, 0),
    "to the trial's end": rows(SOME, **NONE),
    "to the trial's end, by the method": rows(SOME, origin="automatic", **NONE),
    "all to the trial's end": rows(EVERY, **NONE),
    "onset near the end": rows(SOME, **LATE, **NONE),
    "beyond the end": rows(SOME, onset_s=(1.2,), onset_sample=(2400,), offset_s=(1.2,), offset_sample=(2400,)),
    "before the trial": rows(SOME, onset_s=(-2.0,), onset_sample=(-4000,), offset_s=(-2.0,), offset_sample=(-4000,)),
    "short bursts": rows(SOME, offset_s=(-0.3,), offset_sample=(-600,)),
    "of another kind": rows(SOME, kind="braking"),
    "a corrected cue": rows(SOME, cue_sample=(-1000,), onset_s=(0.5,), offset_s=(0.5,)),
    "unusable": rows(EVERY, signal="unusable"),
    "set aside": rows(EVERY, set_aside=True),
    "excluded": rows(EVERY, excluded="channel: broken lead"),
    "not accepted": rows(EVERY, accepted=False),
    "no interval": rows(SOME, origin="automatic"),
    "no rows": lambda x, markers, table: (x, markers, table[table["channel"] == "good"]),
    "missing in the rest": gap(-700, -650),
    "missing in the burst": gap(700, 750),
    "missing in the first 30 ms": gap(520, 530),
    "missing after the burst": gap(1500, 1600),
    "missing in one channel": gap(700, 750, channels=0),
    "zero rest": gap(-1900, 300, 0.0),
    "zero burst": gap(400, 1400, 0.0),
    "constant burst": gap(400, 1400, 7.0),
    "all missing": gap(-4000, 6000, cues=EVERY),
    "all zero": gap(-4000, 6000, 0.0, EVERY),
    "one channel all zero": gap(-4000, 6000, 0.0, EVERY, 1),
    "no response": lambda x, markers, table: (x, [one for one in markers if one[1] == "go"], table),
    "some responses": lambda x, markers, table: (
        x,
        [m for k, m in enumerate(markers) if m[1] == "go" or k % 4 == 1],
        table,
    ),
}


def faulty(sound, accepted, name, **cut):
    x, markers, _ = sound
    x, markers, table = FAULTS[name](x.copy(), list(markers), accepted.copy())
    return er.cut_trials(heard(x, markers), **CUT | cut), table


def explained(table, why):
    """Every missing number of a table has a reason in its row, or a note that says of its column that it is missing,
    and names its channel where it names any; ``why`` gives for each column the rows that explain themselves and the
    words of notes."""
    notes = table.attrs["notes"]
    for name in table.columns:
        gone = table[name].isna().to_numpy(dtype=bool, copy=True)
        for pattern, (own, words) in why.items():
            if re.fullmatch(pattern, name):
                gone &= ~np.asarray(own(table), dtype=bool)
                said = [note for note in notes if re.search(words, note)]
                whose = {f"{label} of rec " for label in table["channel"][gone]} if "channel" in table else {""}
                for one in whose if gone.any() else ():
                    assert any(one in note or " of rec " not in note for note in said), f"{name}, {one}: {notes}"
                break
        else:
            raise AssertionError(f"nothing is known of the column {name}")


def no(table):
    return np.zeros(len(table), dtype=bool)


def says(table):
    return np.ones(len(table), dtype=bool)


def no_answer(table):
    return table["kind"] != "response"


LASTING = r"have no offset|reach beyond their trial or lack samples"
AT_END = r"first_(30|100)_ms_… is missing for"
NO_REFERENCE = "in task is not known, and percentages are missing"
MEASURED = {
    "reviewer|participant|recording|trial|channel|burst|kind|origin|accepted|decided_by|decided_how|confidence|signal"
    "|set_aside|behaviour|onset_s|motor_time_impossible": (says, ""),
    "offset_s": (no, "have no offset"),
    "burst_duration_s": (no, "have no offset"),
    "burst_(mean|median)_hz": (lambda table: table["burst_duration_s"] < 0.1, LASTING + "|signal never changes"),
    "first_100_ms_(mean|median)_hz": (no, AT_END + "|signal never changes"),
    "burst_rise_per_s": (lambda table: table["burst_time_to_peak_s"] == 0, LASTING),
    "first_30_ms_rise_per_s": (lambda table: table["first_30_ms_time_to_peak_s"] == 0, AT_END),
    "first_100_ms_rise_per_s": (lambda table: table["first_100_ms_time_to_peak_s"] == 0, AT_END),
    "burst_.*_percent": (no, f"{LASTING}|{NO_REFERENCE}"),
    "first_.*_percent": (no, f"{AT_END}|{NO_REFERENCE}"),
    "burst_.*": (no, LASTING),
    "first_.*": (no, AT_END),
    "rest_rms": (no, "whose rest window reaches beyond the trial or lacks samples"),
    "level_db": (no, f"{LASTING}|whose rest window|whose rest is 0 throughout"),
    "creep_per_s": (no, "creep_per_s is missing for"),
    "premotor_s": (no_answer, "never"),
    "reaction_s|motor_s": (no_answer, "without a marker 'response'|has no marker 'response'"),
    "force_onset_s": (no_answer, "force_onset_s is missing for"),
}
EVOKED = {
    "recording|trial|channel|stimulus_sample|decay|clipped_share": (no, "never"),
    "peak_to_peak|background_rms": (no, "lack samples within"),
    "latency_s": (no, "lack samples within|no potential stands out|stands out already"),
    "silent_period_s": (lambda table: table["pause"].isin(["none told", "no return"]), "lack samples within"),
    "pause": (no, "lack samples within"),
    "signal|set_aside": (no, "the table of decisions says nothing"),
}


def left_out(table):
    return table["left_out"].notna()


COMPARED = {
    "recording|trial|set_aside|left_out|first": (says, ""),
    "signal_[ab]": (no, "the table of decisions says nothing"),
    "common_area_percent": (left_out, "lacks samples within|is 0 throughout|no trial counts"),
    "r|r2|lag_s": (left_out, "lacks samples within|is 0 throughout"),
    "onset_difference_s": (left_out, "has no accepted response"),
    "onset_difference_(low|high)_s": (left_out, "has no accepted response|has no interval"),
}


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("normalise", ["none", "peak in task", "mean in task"])
def test_every_missing_measure_is_explained(sound, accepted, name, normalise):
    trials, table = faulty(sound, accepted, name)
    auxiliary = {"force": "level"} if normalise == "none" else None
    explained(er.measure(trials, table, normalise=normalise, auxiliary=auxiliary), MEASURED)


@pytest.mark.parametrize("name", FAULTS)
def test_every_missing_number_of_the_other_tables_is_explained(sound, accepted, name):
    trials, table = faulty(sound, accepted, name)
    explained(er.measure_evoked(trials, stimulus="go", decisions=table), EVOKED)
    given = {"good": 50.0, "bad": 50.0}
    explained(er.compare_channels(trials, table, "good", "bad", reference=given), COMPARED)
    if name not in ("all zero", "one channel all zero", "all missing"):  # refused: there is no largest value
        explained(er.compare_channels(trials, table, "good", "bad"), COMPARED)
    for to in ("go", "onset", "response"):
        if to == "response" and name == "no response":
            continue  # refused
        for found in er.average_envelopes(trials, table, to=to, before_s=0.3, after_s=1.2).values():
            words = " ".join(found.notes)
            assert not (found.n == 0).any() or re.search(
                "samples of the average are missing|there is no average", words
            )
            assert not (found.n == 1).any() or "rest on one trial" in words
            assert found.used.sum() == N or found.notes
    floor = er.detection_floor(trials, "bad", decisions=table, injections=20)
    assert np.isfinite([floor.level_db, floor.low_db, floor.high_db]).all() or floor.note


def test_short_trials_miss_creep_and_rest_and_say_so(sound, accepted):
    trials, table = faulty(sound, accepted, "nothing", before_s=0.55, after_s=0.5)
    explained(er.measure(trials, table, creep_s=0.6), MEASURED)


def test_notes_count_what_is_missing_and_name_whose_it_is(sound, accepted):
    n, half = len(range(0, N, 3)), N // 2
    both = f"(bad of rec {n}, good of rec {n})"
    for name, words in {
        "to the trial's end": f"{n} bursts have no offset, .* (bad of rec {n})",
        "onset near the end": f"first_100_ms_… is missing for {n} bursts that begin less .* (bad of rec {n})",
        "some responses": f"reaction_s and motor_s are missing for {N} .* (bad of rec {half}, good of rec {half})",
        "missing in the rest": f"rest_rms and level_db are missing for {2 * n} bursts .* {both}",
    }.items():
        pattern = words.replace("(", r"\(").replace(")", r"\)")
        with pytest.warns(SignalWarning, match=pattern):
            found = er.measure(*faulty(sound, accepted, name))
        assert any(re.search(pattern, note) for note in found.attrs["notes"])
    clean = er.measure(*faulty(sound, accepted, "nothing"))
    assert clean.attrs["notes"] == [note for note in clean.attrs["notes"] if "In which unit" in note]


def stronger(x, markers, times=4):
    """Every third response of "bad" that many times stronger, and until the next trial."""
    x = x.copy()
    for cue in [at for at, label in markers if label == "go"][::3]:
        x[1, cue + 500 : cue + 3200] = times * np.random.default_rng(cue).normal(0, 60, 2700)
    return x


@pytest.mark.parametrize("origin", ["automatic", "added"])
def test_strong_bursts_that_last_to_the_end_count_in_the_peak_in_task(sound, accepted, origin):
    x, markers, _ = sound
    trials = er.cut_trials(heard(stronger(x, markers), markers), **CUT)
    _, _, table = rows(SOME, origin=origin, **NONE)(None, None, accepted.copy())
    with pytest.warns(SignalWarning, match=r"peak in task counts 7 bursts that are not whole .* \(bad of rec 7\)"):
        found = er.measure(trials, table, normalise="peak in task")
    mine = found[found["channel"] == "bad"]
    percent = mine[[name for name in found if name.endswith("percent")]].to_numpy()
    assert np.nanmax(percent) <= 100
    longer = er.cut_trials(heard(stronger(x, markers), markers), **CUT | {"after_s": 1.55})
    ended = table.assign(offset_sample=table["cue_sample"] + 3000, offset_s=1.5).where(table["offset_s"].isna(), table)
    whole = er.measure(longer, ended, normalise="peak in task")
    assert not any("not whole" in note for note in whole.attrs["notes"])
    np.testing.assert_allclose(
        mine["first_30_ms_peak_percent"], whole[whole["channel"] == "bad"]["first_30_ms_peak_percent"], rtol=0.02
    )
    others = found[found["channel"] == "good"]
    assert others["burst_peak_percent"].max() == pytest.approx(100)


def test_bursts_that_last_to_the_end_count_in_the_mean_and_added_ones_without_an_end_do_not(sound, accepted):
    x, markers, _ = sound
    trials = er.cut_trials(heard(stronger(x, markers), markers), **CUT)
    tables = [rows(SOME, origin=origin, **NONE)(None, None, accepted.copy())[2] for origin in ("automatic", "added")]
    with pytest.warns(SignalWarning, match="mean in task counts 7 bursts that are not whole"):
        lasting = er.measure(trials, tables[0], normalise="mean in task")
    with pytest.warns(SignalWarning, match="mean in task does not count 7 bursts of which no sample was recorded, or"):
        unknown = er.measure(trials, tables[1], normalise="mean in task")
    means = []
    for found in (lasting, unknown):
        mine = found[found["channel"] == "bad"]
        means.append(np.nanmedian(100 * mine["first_30_ms_arv"] / mine["first_30_ms_arv_percent"]))
        whole = mine["burst_arv"].mean()
    assert means[1] == pytest.approx(whole)
    assert means[0] == pytest.approx(whole * (13 + 7 * 4) / 20, rel=0.1)


def test_a_burst_that_is_not_whole_ends_at_the_next_one_or_with_its_trial():
    x = np.vstack([np.arange(20.0), np.arange(20.0), -np.arange(20.0)])
    x[2, 15] = np.nan
    trial, onset = np.array([0, 0, 1]), np.array([5.0, 12.0, 10.0])
    peak, arv, ends = unmeasured.partial(x, np.abs(x), trial, onset, np.array([np.nan, 30.0, np.nan]))
    assert ends.tolist() == [12, 20, 20]
    assert peak.tolist() == [11, 19, 19]
    np.testing.assert_allclose(arv, [8, 15.5, np.mean([10, 11, 12, 13, 14, 16, 17, 18, 19])])
    peak, arv, _ = unmeasured.partial(x[:1], x[:1], trial[:1], np.array([25.0]), np.array([30.0]))
    assert np.isnan([*peak, *arv]).all()


def test_windows_of_less_than_a_sample_are_refused(sound, accepted):
    trials, table = faulty(sound, accepted, "nothing")
    with pytest.raises(ParameterError, match=r"windows_s came as 0.0002.*1 sample or more"):
        er.measure(trials, table, windows_s=(0.0002,))
    with pytest.raises(ParameterError, match=r"creep_s came as 0.0005.*2 samples or more"):
        er.measure(trials, table, creep_s=0.0005)


def test_the_floor_says_which_rests_and_bursts_take_no_part(sound, accepted):
    trials, table = faulty(sound, accepted, "missing in the burst")
    floor = er.detection_floor(trials, "bad", decisions=table, injections=20)
    assert any("7 bursts that reach beyond their trial or lack samples take no part" in note for note in floor.left_out)
    trials, _ = faulty(sound, accepted, "missing in the rest")
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        er.detection_floor(trials, "bad", injections=20)
    assert any("7 rests that the default method calls active, flat or missing" in str(one.message) for one in told)
