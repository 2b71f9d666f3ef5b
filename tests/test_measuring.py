"""Measuring tables: known truth of a simulated study, the same numbers by hand, and what is left out is said."""

import dataclasses
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

import emgreview as er
from emgreview.errors import ParameterError, RateError, UnitError, UnknownNameError, VersionError
from emgreview.measuring import NORMALISATIONS
from emgreview.simulation import ARTEFACTS, Muscle, Spread, rest_noise, simulate_study
from emgreview.tables import COLUMNS, from_tsv, to_tsv

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # test_told.py asks for them
RATE_HZ = 2000.0
MUSCLES = (Muscle(label="A", snr_db=24.0), Muscle(label="B", lag_s=0.06, snr_db=20.0))


@pytest.fixture(scope="module")
def person():
    study = simulate_study(
        1, 16, RATE_HZ, seed=3, muscles=MUSCLES, spread=Spread(lag_people_s=0.0), crosstalk=0.05, no_responses=0.1
    )
    return study.people[0]


@pytest.fixture(scope="module")
def trials(person):
    return er.cut_trials(person.recording, cue="go", before_s=1.0, after_s=1.5)


@pytest.fixture(scope="module")
def decisions(trials, tmp_path_factory):
    """All accepted but the last trial; one burst moved, one signal unusable, one offset unknown."""
    folder = tmp_path_factory.mktemp("review")
    with er.open_review(trials, folder, reviewer="r1") as session:
        session.move(trials.ids[1], "A", onset_s=0.3)
        for trial in trials.ids[:-1]:
            session.accept_rest(trial)
        session.unusable(trials.ids[2], "A", reasons=["mains hum"])
        session.add(trials.ids[3], "A", onset_s=0.9, offset_s=1.0, kind="after-discharge")
        session.add(trials.ids[4], "B", onset_s=0.8, kind="braking")
        return session.decisions()


def of(table, trial, channel="A", kind="response"):
    rows = table[(table["trial"] == trial) & (table["channel"] == channel) & (table["kind"] == kind)]
    assert len(rows) == 1
    return rows.iloc[0]


def test_one_row_an_accepted_burst_and_the_rest_is_said(trials, decisions):
    table = er.measure(trials, decisions)
    accepted = decisions[decisions["burst"].notna() & decisions["accepted"].fillna(False)]
    assert len(table) == len(accepted)
    waiting = int((decisions["burst"].notna() & ~decisions["accepted"].fillna(False)).sum())
    assert waiting == 2
    assert table.attrs["notes"][0] == "2 bursts that nobody has accepted are left out."
    everything = er.measure(trials, decisions, accepted_only=False)
    assert len(everything) == len(table) + waiting
    assert not any("accepted" in note for note in everything.attrs["notes"])


@pytest.mark.parametrize("moment", ["onset", "offset"])
def test_seconds_edited_in_a_table_are_told_to_be_measured_at_their_samples(trials, decisions, moment):
    untouched = er.measure(trials, decisions)
    assert not any("is not the time of" in note for note in untouched.attrs["notes"])
    rows = decisions[f"{moment}_sample"].notna() & decisions["accepted"].fillna(False)
    edited = decisions.copy()
    edited.loc[rows, f"{moment}_s"] += 0.02
    table = er.measure(trials, edited)
    assert any(note.startswith(f"In {rows.sum()} rows {moment}_s is not") for note in table.attrs["notes"])
    pd.testing.assert_series_equal(table["burst_rms"], untouched["burst_rms"])


def test_what_was_excluded_is_left_out_of_every_measure_and_counted(trials, decisions):
    bad = decisions["channel"] == "B"
    kept_out = decisions.assign(excluded=decisions["excluded"].mask(bad, "channel: broken lead"))
    everything, table = er.measure(trials, decisions), er.measure(trials, kept_out)
    pd.testing.assert_frame_equal(table, everything[everything["channel"] == "A"].reset_index(drop=True))
    n = int((decisions["burst"].notna() & bad).sum())
    assert table.attrs["notes"][0] == (
        f"{n} bursts of what was excluded are left out, by reason: 'channel: broken lead' {n}."
    )
    assert not any("excluded" in note for note in everything.attrs["notes"])
    bare = er.measure(trials, kept_out.drop(columns="excluded"))
    assert len(bare) == len(everything), "a table may lack the column"
    assert any("no column 'excluded'" in note for note in bare.attrs["notes"]), "and is told so"
    averages = er.average_envelopes(trials, kept_out, to="go", before_s=0.2, after_s=0.2)
    assert averages["A"].used.any()
    assert not averages["B"].used.any()
    pair = er.compare_channels(trials, kept_out, "A", "B")
    assert pair["onset_difference_s"].isna().all()
    assert pair.attrs["notes"][2:] == table.attrs["notes"][:2], "of the two channels alone"
    floor = er.detection_floor(trials, "B", decisions=kept_out)
    assert np.isnan(floor.level_db)
    assert "and 0 bursts came" in floor.note


def test_every_column_says_its_unit_and_meaning_and_files_give_them_back(trials, decisions):
    table = er.measure(trials, decisions, normalise="mean in task")
    columns = table.attrs["columns"]
    assert set(columns) == set(table.columns)
    for name, entry in columns.items():
        assert entry["description"], name
    assert columns["burst_rms"]["unit"] == "µV"
    assert columns["burst_integral"]["unit"] == "µV·s"
    assert columns["first_30_ms_rise_per_s"]["unit"] == "µV/s"
    assert columns["burst_median_hz"]["unit"] == "Hz"
    assert "first 100 ms" in columns["first_100_ms_arv"]["description"]
    assert "mean in task" in columns["burst_rms_percent"]["description"]
    again = from_tsv(to_tsv(table), {name: entry["type"] for name, entry in columns.items()})
    again.attrs = table.attrs
    pd.testing.assert_frame_equal(again, table)


def test_numbers_are_those_of_the_samples(trials, decisions):
    table = er.measure(trials, decisions)
    for trial in trials.ids[5:8]:
        row, index = of(table, trial, "B"), trials.index(trial)
        start, stop = (round((row[name] + 1.0) * RATE_HZ) for name in ("onset_s", "offset_s"))
        x, e = (np.asarray(kind[index, 1], float) for kind in (trials.data, trials.envelope))
        assert row["burst_rms"] == pytest.approx(np.sqrt(np.mean(x[start:stop] ** 2)))
        assert row["first_30_ms_arv"] == pytest.approx(np.mean(np.abs(x[start : start + 60])))
        assert row["burst_peak"] == e[start:stop].max()
        assert row["first_100_ms_integral"] == pytest.approx(np.abs(x[start : start + 200]).sum() / RATE_HZ)
        assert row["burst_duration_s"] == pytest.approx(row["offset_s"] - row["onset_s"])
        rest = np.sqrt(np.mean(x[1000:2000] ** 2))
        assert row["rest_rms"] == pytest.approx(rest)
        assert row["level_db"] == pytest.approx(20 * np.log10(row["burst_rms"] / rest))


def test_levels_and_times_are_near_the_truth(person, trials, decisions):
    table = er.measure(trials, decisions)
    table = table[(table["kind"] == "response") & (table["origin"] == "automatic")]
    truth = {(trial, label): (i, c) for i, trial in enumerate(trials.ids) for c, label in enumerate(trials.labels)}
    at = [truth[key] for key in zip(table["trial"], table["channel"], strict=True)]
    level = np.array([person.level_db[place] for place in at])
    assert np.abs(table["level_db"] - 10 * np.log10(10 ** (level / 10) + 1)).median() < 1.0
    onset = np.array([person.onset_s[place] for place in at])
    assert np.abs(table["premotor_s"] - onset).median() < 0.015
    assert table["burst_duration_s"].between(0.2, 0.6).all()
    assert table["burst_median_hz"].between(60, 220).all()
    assert abs(table["creep_per_s"].median()) < 1.0


def test_reaction_time_is_premotor_plus_motor_time_for_responses_alone(person, trials, decisions):
    # Botwinick & Thompson 1966
    table = er.measure(trials, decisions)
    answers = table["kind"] == "response"
    assert 0 < (~answers).sum() < len(table)
    np.testing.assert_allclose(
        table["reaction_s"][answers], (table["premotor_s"] + table["motor_s"])[answers], atol=1e-12
    )
    assert table[~answers][["reaction_s", "premotor_s", "motor_s"]].isna().all().all()
    for trial, response in zip(trials.ids[:6], person.response_s, strict=False):
        if np.isfinite(response):
            assert of(table, trial)["reaction_s"] == pytest.approx(response)
    assert not table["motor_time_impossible"].any()
    late = decisions.copy()
    late.loc[late["trial"] == trials.ids[0], ["onset_s", "offset_s"]] += 0.6
    late.loc[late["trial"] == trials.ids[0], ["onset_sample", "offset_sample"]] += 1200
    flagged = er.measure(trials, late)
    assert flagged[flagged["motor_time_impossible"]]["trial"].unique().tolist() == [trials.ids[0]]
    none = er.measure(trials, decisions, response="pressed")
    assert none["reaction_s"].isna().all()
    assert any("no marker 'pressed'" in note for note in none.attrs["notes"])
    assert none["premotor_s"].notna().sum() == answers.sum()


def test_a_corrected_cue_moves_what_counts_from_it(trials, decisions):
    moved = decisions.copy()
    mine = moved["trial"] == trials.ids[0]
    moved.loc[mine, "cue_sample"] -= 100
    moved.loc[mine, ["onset_s", "offset_s"]] += 0.05
    before, after = (of(er.measure(trials, table), trials.ids[0]) for table in (decisions, moved))
    assert after["premotor_s"] == pytest.approx(before["premotor_s"] + 0.05)
    assert after["motor_s"] == pytest.approx(before["motor_s"])
    assert after["burst_rms"] == before["burst_rms"]
    assert after["rest_rms"] != before["rest_rms"]


def test_a_burst_without_an_offset_still_has_its_first_windows(trials, decisions):
    row = of(er.measure(trials, decisions), trials.ids[4], "B", "braking")
    assert np.isnan([row["burst_rms"], row["burst_duration_s"], row["level_db"]]).all()
    assert np.isfinite([row["first_30_ms_rms"], row["first_100_ms_peak"], row["rest_rms"]]).all()


def test_a_burst_beyond_its_trial_is_missing_and_said(person, decisions):
    short = er.cut_trials(person.recording, cue="go", before_s=1.0, after_s=0.45)
    table = er.measure(short, decisions)
    gone = table["burst_rms"].isna() & table["offset_s"].notna()
    assert gone.sum() > 5
    assert any(f"in {gone.sum()} (bursts that reach beyond their trial" in note for note in table.attrs["notes"])


def test_in_task_normalisation(trials, decisions):
    peak = er.measure(trials, decisions, normalise="peak in task")
    usable = peak[peak["signal"] != "unusable"]
    for label in trials.labels:
        assert usable[usable["channel"] == label]["burst_peak_percent"].max() == pytest.approx(100)
    mean = er.measure(trials, decisions, normalise="mean in task")
    usable = mean[mean["signal"] != "unusable"]
    for label in trials.labels:
        assert usable[usable["channel"] == label]["burst_arv_percent"].mean() == pytest.approx(100)
    np.testing.assert_allclose(mean["burst_rms"], peak["burst_rms"])


@pytest.mark.parametrize("how", ["task maximum", "isometric maximum", "submaximal", "maximal M wave"])
def test_normalisation_to_a_reference(trials, decisions, how):
    reference = {"A": 250.0, (trials.recording.name, "B"): 400.0, "B": 1.0}
    table = er.measure(trials, decisions, normalise=how, reference=reference)
    divide = np.where(table["channel"] == "A", 250.0, 400.0)
    np.testing.assert_allclose(table["burst_rms_percent"], 100 * table["burst_rms"] / divide)
    words = table.attrs["columns"]["first_30_ms_peak_percent"]["description"]
    assert how in words
    assert NORMALISATIONS[how] in words
    with pytest.raises(ParameterError, match="lack one"):
        er.measure(trials, decisions, normalise=how, reference={"A": 250.0})
    with pytest.raises(ParameterError, match="above 0"):
        er.measure(trials, decisions, normalise=how, reference={"A": 250.0, "B": 0.0})
    for strange in ("C", ("another", "B"), (trials.recording.name, "b")):
        with pytest.raises(UnknownNameError, match="of the reference is called"):
            er.measure(trials, decisions, normalise=how, reference=reference | {strange: 400.0})


def test_wrong_inputs_are_refused_with_what_to_do(trials, decisions):
    with pytest.raises(UnknownNameError, match="Did you mean 'task maximum'"):
        er.measure(trials, decisions, normalise="task maximun")
    with pytest.raises(ParameterError, match="None with 'peak in task'"):
        er.measure(trials, decisions, normalise="peak in task", reference={"A": 1.0})
    with pytest.raises(ParameterError, match="lacks the columns onset_sample"):
        er.measure(trials, decisions.drop(columns="onset_sample"))
    with pytest.raises(ParameterError, match="windows_s"):
        er.measure(trials, decisions, windows_s=(0.0,))
    with pytest.raises(ParameterError, match="each once"):
        er.measure([trials, trials], decisions)
    strange = decisions.assign(trial=decisions["trial"].replace(trials.ids[0], "sub-01/given/1"))
    with pytest.raises(UnknownNameError, match="trial of 'sub-01'"):
        er.measure(trials, strange)
    with pytest.raises(RateError, match="1000 Hz"):
        er.measure(trials, decisions.assign(rate_hz=1000.0))


def test_recordings_without_trials_are_left_out_and_said_and_order_does_not_matter(trials, decisions):
    other = decisions.assign(recording="sub-99")
    both = pd.concat([decisions, other])
    table = er.measure(trials, both)
    plain = er.measure(trials, decisions)
    assert len(table) == len(plain)
    assert "sub-99" in table.attrs["notes"][0]
    mixed = er.measure(trials, decisions.sample(frac=1, random_state=0))
    keys = ["trial", "channel", "burst"]
    pd.testing.assert_frame_equal(
        mixed.sort_values(keys, ignore_index=True), plain.sort_values(keys, ignore_index=True), check_exact=False
    )


def test_nothing_accepted_is_an_empty_table_with_all_columns(trials, decisions):
    none = er.measure(trials, decisions.assign(accepted=False), normalise="peak in task")
    assert len(none) == 0
    assert list(none.columns) == list(er.measure(trials, decisions, normalise="peak in task").columns)


def test_arbitrary_units_are_not_called_microvolts(person, decisions):
    rec = er.Recording.from_array(
        person.recording.values(),
        RATE_HZ,
        labels=["A", "B"],
        markers=person.recording.markers,
        name="sub-01",
        unit="arbitrary",
    )
    other = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    with pytest.raises(VersionError, match="one stored unit was 1 µV, and is 1 arbitrary units"):
        er.measure(other, decisions)
    decisions = decisions.copy()
    decisions.attrs.clear()  # a table that does not say in which scale it was made
    assert er.measure(other, decisions).attrs["columns"]["burst_rms"]["unit"] == "arbitrary units"
    renamed = er.Recording.from_array(
        person.recording.values(), RATE_HZ, labels=["A", "B"], markers=person.recording.markers, name="sub-02"
    )
    microvolts = er.cut_trials(renamed, cue="go", before_s=1.0, after_s=1.5)
    with pytest.raises(UnitError, match="arbitrary, uV"):
        er.measure([other, microvolts], decisions)


# What a rule leaves out, and what a row depends on


RULE = er.Rule(name="main", version=1, signal=("usable",), onset_s=(0.05, 0.8))


@pytest.fixture(scope="module")
def included(decisions):
    return er.include(decisions, RULE)


def test_what_the_rule_leaves_out_is_not_measured_and_told_with_reasons(trials, decisions, included):
    table = er.measure(trials, included)
    by_hand = er.measure(trials, included[included["included"]])
    pd.testing.assert_frame_equal(table, by_hand)
    assert table["included"].all()
    gone = decisions["burst"].notna() & (decisions["origin"] != "removed") & ~included["included"]
    note = table.attrs["notes"][0]
    assert note.startswith(f"{gone.sum()} bursts are left out by the rule for inclusion: ")
    for why, count in included["why_not"][gone].value_counts().items():
        assert f"{why!r} {count}" in note
    asked = er.measure(trials, included, included_only=False)
    assert len(asked) == len(er.measure(trials, decisions))
    with pytest.raises(ParameterError, match="included_only"):
        er.measure(trials, included, included_only="no")
    halves = pd.concat([included[:4].drop(columns="included"), included[4:]])
    with pytest.raises(ParameterError, match=r"'included' came with .*in 4 of"):
        er.measure(trials, halves)


def test_a_table_read_as_text_is_refused(trials, decisions, tmp_path):
    """As by pandas with dtype=str: numbers would end in an error without words, "False" would count as accepted."""
    path = tmp_path / "decisions.tsv"
    decisions.to_csv(path, sep="\t", na_rep="n/a", index=False)
    spelt = pd.read_csv(path, sep="\t", dtype=str)
    not_accepted = decisions.assign(accepted="False")
    for table, where in ((spelt, "'.*' in rate_hz"), (not_accepted, "'False' in accepted")):
        for measured in (
            lambda table: er.measure(trials, table),
            lambda table: er.compare_channels(trials, table, "A", "B"),
            lambda table: er.detection_floor(trials, "A", decisions=table),
        ):
            with pytest.raises(ParameterError, match=f"of the table came as text, such as {where}; allowed: .*dtype="):
                measured(table)


@pytest.mark.filterwarnings("ignore:In which unit and gain:emgreview.errors.SignalWarning")
def test_a_table_read_as_the_readme_does_is_measured_and_one_whose_codes_are_numbers_is_refused(
    trials, decisions, tmp_path
):
    """A recording "01" read without dtype is the number 1, and no recording of the trials."""
    path = tmp_path / "decisions.tsv"
    decisions.assign(excluded=None).to_csv(path, sep="\t", na_rep="n/a", index=False)
    codes = dict.fromkeys(("reviewer", "participant", "recording", "trial", "channel"), str)
    table = pd.read_csv(path, sep="\t", na_values="n/a", quoting=3, dtype=codes)
    assert table["excluded"].dtype == float, "pandas makes numbers of a column without any text"
    known = er.measure(trials, decisions)
    pd.testing.assert_frame_equal(er.measure(trials, table)[["onset_s", "burst_rms"]], known[["onset_s", "burst_rms"]])
    for name, other in (("recording", table.assign(recording=1)), ("reviewer", table.assign(reviewer=7))):
        with pytest.raises(
            ParameterError, match=f"the column '{name}' of the table came as numbers, such as .; .*dtype"
        ):
            er.measure(trials, other)


def test_a_peak_in_task_is_one_of_the_rows_that_count(trials, included):
    """The largest burst is left out by the rule: it divides nothing, also where left-out rows are asked for."""
    plain = er.measure(trials, included)
    largest = plain.loc[plain[plain["channel"] == "A"]["burst_peak"].idxmax(), "trial"]
    fewer = included.assign(included=included["included"] & (included["trial"] != largest))
    for options in ({}, {"included_only": False}):
        table = er.measure(trials, fewer, normalise="peak in task", **options)
        counted = table[table["included"]]
        assert counted[counted["channel"] == "A"]["burst_peak_percent"].max() == pytest.approx(100)
    assert table["burst_peak_percent"].max() > 100


def test_other_tables_leave_out_what_the_rule_leaves_out(trials, included):
    only = included[included["included"]]
    averages, by_hand = (
        er.average_envelopes(trials, table, to="go", before_s=0.2, after_s=0.4) for table in (included, only)
    )
    for label in trials.labels:
        np.testing.assert_array_equal(averages[label].mean, by_hand[label].mean)
        assert any("left out by the rule" in note for note in averages[label].notes)
    pair = er.compare_channels(trials, included, "A", "B")
    out = pair["left_out"].notna()
    assert 0 < out.sum() < len(pair)
    assert pair["trial"].tolist() == list(trials.ids)
    numbers = ["common_area_percent", "r", "r2", "lag_s", "onset_difference_s"]
    assert pair[out][numbers].isna().all().all()
    assert pair[~out][numbers[:4]].notna().all().all()
    assert pair["left_out"][2] == "A: signal unusable (mains hum)"
    assert f"Median of {(~out).sum()} trials" in pair.attrs["notes"][0]
    assert f"{out.sum()} trials are left out because of A or B, by reason: " in pair.attrs["notes"][1]
    assert set(pair.attrs["columns"]) == set(pair.columns)
    none = er.compare_channels(trials, included.assign(included=False), "A", "B")
    assert none[numbers].isna().all().all()
    short = er.detection_floor(trials, "A", decisions=included, method="threshold", injections=20)
    assert short.bursts == er.detection_floor(trials, "A", decisions=only, method="threshold", injections=20).bursts
    assert any("left out by the rule" in note for note in short.left_out)
    spoilt = er.detection_floor(trials, "A", decisions=included, method="threshold", injections=20)
    every = er.detection_floor(trials, "A", method="threshold", injections=20)
    assert spoilt.rests == every.rests - 1, "the rest of an unusable signal is no rest"


@settings(max_examples=12, deadline=None)
@given(data=st.data())
def test_a_row_depends_on_its_burst_and_its_rest_alone(trials, decisions, data):
    """Other trials, channels and bursts taken away change no bit of a row."""
    kept = sorted(data.draw(st.sets(st.integers(0, len(trials) - 1), min_size=1), label="trials"))
    channels = data.draw(st.sampled_from([("A",), ("B",), ("A", "B")]), label="channels")
    places = [trials.labels.index(label) for label in channels]
    fewer = dataclasses.replace(
        trials,
        ids=tuple(trials.ids[at] for at in kept),
        cues=tuple(trials.cues[at] for at in kept),
        labels=channels,
        data=trials.data[kept][:, places],
        envelope=trials.envelope[kept][:, places],
        auxiliary=trials.auxiliary[kept],
    )
    rows = decisions[decisions["trial"].isin(fewer.ids) & decisions["channel"].isin(channels)]
    rows = rows[data.draw(st.lists(st.booleans(), min_size=len(rows), max_size=len(rows)), label="rows")]
    whole, part = er.measure(trials, decisions), er.measure(fewer, rows)
    keys = ["trial", "channel", "burst"]
    expected = part[keys].merge(whole, on=keys, how="left")[list(whole.columns)]
    pd.testing.assert_frame_equal(part, expected, check_exact=True, check_dtype=False)


def test_a_trial_without_a_response_does_not_take_the_next_ones(trials, decisions):
    """Only one trial given: the next cue of the recording still ends the search."""
    responses = [marker.sample for marker in trials.recording.markers if marker.label == "response"]
    others = [marker for marker in trials.recording.markers if marker.sample != responses[0]]
    first = next(place for place, cue in enumerate(trials.cues) if cue.sample < responses[0] < cue.sample + 3000)
    rec = trials.recording.with_markers(others)
    one = dataclasses.replace(
        trials, recording=rec, ids=trials.ids[first : first + 1], cues=trials.cues[first : first + 1],
        data=trials.data[first : first + 1], envelope=trials.envelope[first : first + 1],
        auxiliary=trials.auxiliary[first : first + 1],
    )  # fmt: skip
    table = er.measure(one, decisions[decisions["trial"] == one.ids[0]])
    assert len(table)
    assert table["reaction_s"].isna().all()


def answered(marks, tmp_path, *, cue, after_s=1.5, none=None, moved=None):
    """Trials at 1 kHz with a burst 0.2 s after each cue, accepted, and the decisions."""
    rng = np.random.default_rng(3)
    x = rng.normal(0, 3.0, 30_000)
    for at, label in marks:
        if label == cue:
            x[at + 200 : at + 600] += rng.normal(0, 60.0, 400)
    rec = er.Recording.from_array(x[None], 1000, labels=["BB"], markers=marks, name="p")
    cut = er.cut_trials(rec, cue=cue, before_s=1, after_s=after_s)
    with er.open_review(cut, tmp_path, reviewer="r1") as session:
        for trial in session.queue:
            session.accept(trial, "BB")
        if none is not None:
            session.no_cue(session.queue[none], "double")
        if moved is not None:
            session.correct_cue(session.queue[moved[0]], moved[1], reason="late")
        return cut, session.decisions()


CODED = [(3000, "go 5"), (8000, "go 7"), (8450, "response"), (13_000, "go 5"), (13_500, "response")]


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
@pytest.mark.parametrize("after_s", [1.5, 6.0])
def test_the_response_to_another_code_is_not_that_of_this_trial(tmp_path, after_s):
    cut, decisions = answered(CODED, tmp_path, cue="go 5", after_s=after_s)
    table = er.measure(cut, decisions)
    assert np.isnan(table["reaction_s"][0])
    assert table["reaction_s"][1] == pytest.approx(0.5)
    notes = " ".join(table.attrs["notes"])
    assert "markers 'go 7' count as cues of other trials, as they differ from 'go 5' by their number alone" in notes
    means = er.average_envelopes(cut, decisions, to="response", before_s=0.2, after_s=0.4)
    assert means["BB"].n.max() == 1
    assert any("'go 7' count as cues" in note for note in means["BB"].notes)


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_response_that_is_a_code_itself_is_found(tmp_path):
    marks = [
        (3000, "code 1"),
        (3500, "code 2"),
        (8000, "code 1"),
        (8400, "code 3"),
        (13_000, "code 1"),
        (13_600, "code 2"),
    ]
    cut, decisions = answered(marks, tmp_path, cue="code 1")
    table = er.measure(cut, decisions, response="code 2")
    np.testing.assert_allclose(table["reaction_s"], [0.5, np.nan, 0.6])


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_response_beyond_its_trial_is_told_and_given_only_where_no_marker_lies_between(tmp_path):
    marks = [(3000, "left"), (5200, "response"), (8000, "left"), (11_000, "right"), (11_450, "response")]
    marks += [(15_000, "left"), (15_100, "tone"), (15_500, "response")]
    cut, decisions = answered(marks, tmp_path, cue="left")
    np.testing.assert_allclose(er.measure(cut, decisions)["reaction_s"], [2.2, np.nan, np.nan])  # a tone may be a cue
    table = er.measure(cut, decisions, not_cues=["tone"])
    np.testing.assert_allclose(table["reaction_s"], [2.2, np.nan, 0.5])
    notes = " ".join(table.attrs["notes"])
    assert "1 of 3 responses have their marker 'response' beyond the end of their trial" in notes
    assert "or beyond their trial before any other marker" in notes


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning", "ignore::emgreview.errors.DecisionWarning")
def test_a_cue_that_was_said_to_be_none_ends_no_search(tmp_path):
    marks = [(3000, "go"), (3300, "go"), (3500, "response"), (13_000, "go"), (13_500, "response")]
    cut, decisions = answered(marks, tmp_path / "stands", cue="go")
    assert np.isnan(er.measure(cut, decisions)["reaction_s"][0])
    cut, decisions = answered(marks, tmp_path / "none", cue="go", none=1)
    table = er.measure(cut, decisions)
    np.testing.assert_allclose(table["reaction_s"], [0.5, 0.5])
    assert "responses without" not in " ".join(table.attrs["notes"])
    means = er.average_envelopes(cut, decisions, to="response", before_s=0.2, after_s=0.4)
    assert means["BB"].n.max() == 2


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_corrected_cue_ends_the_search_where_it_was_moved_to(tmp_path):
    marks = [(3000, "go"), (7900, "response"), (8000, "go"), (8450, "response")]
    cut, decisions = answered(marks, tmp_path, cue="go", after_s=5.5, moved=(1, -0.3))
    np.testing.assert_allclose(er.measure(cut, decisions)["reaction_s"], [np.nan, 0.2])


@pytest.mark.parametrize("rate_hz", [200.0, 2000.0, 20_000.0])
@pytest.mark.parametrize("gain", [1.0, 1e6])
def test_a_response_that_begins_soon_after_the_rest_does_not_raise_it(rate_hz, gain, tmp_path):
    """Bursts of 50 dB, 10 ms after a cue at which the rest ends; microvolts, and the same numbers taken for volts."""
    rng = np.random.default_rng(2)
    n, step = 6, int(4 * rate_hz)
    x = rest_noise((1, n * step), rate_hz, rng, level_uv=3.0)
    loud = rest_noise(x.shape, rate_hz, rng, level_uv=3.0 * 10 ** (50 / 20))
    cues = [int(2 * rate_hz) + trial * step for trial in range(n)]
    quiet = x.copy()
    for cue in cues[:-1]:
        part = slice(cue + int(0.01 * rate_hz), cue + int(0.4 * rate_hz))
        x[:, part] += loud[:, part]
    how = er.Processing(high_hz=90.0 if rate_hz == 200 else 450.0)
    made = [
        er.Recording.from_array(gain * part, rate_hz, labels=["A"], markers=[(cue, "go") for cue in cues], name="r")
        for part in (x, quiet)
    ]
    cut, calm = (er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5, processing=how) for rec in made)
    with er.open_review(cut, tmp_path, reviewer="r1") as session:
        for trial in cut.ids:
            if session.state(trial).channels["A"].active:
                session.remove(trial, "A")
            session.add(trial, "A", onset_s=0.01, offset_s=0.4)
        table = er.measure(cut, session.decisions())
    assert (table["origin"] == "added").all()
    truth = np.sqrt(np.mean(calm.data[:, 0, calm.before - int(rate_hz / 2) : calm.before].astype(float) ** 2, axis=1))
    own = np.sqrt(np.mean(cut.data[:, 0, cut.before - int(rate_hz / 2) : cut.before].astype(float) ** 2, axis=1))
    assert (own[:-1] > 1.2 * truth[:-1]).all(), "the trials' own samples hold it"
    np.testing.assert_allclose(table["rest_rms"], truth, rtol=0.03)
    assert np.abs(table["creep_per_s"]).max() < 4 * gain  # 11 to 44 with the smear
    assert f"In {n - 1} rows activity soon after the rest" in " ".join(table.attrs["notes"])
    assert table["rest_rms"].iloc[-1] == own[-1], "an untouched rest is the trials' own"


# Two channels


def test_two_channels_side_by_side(person, trials, decisions):
    table = er.compare_channels(trials, decisions, "A", "B")
    assert table["trial"].tolist() == list(trials.ids)
    assert set(table.attrs["columns"]) == set(table.columns)
    assert table["common_area_percent"].dropna().between(0, 100).all()
    marked = table["onset_difference_s"].notna()
    truth = person.onset_s[:, 1] - person.onset_s[:, 0]
    kept = table["onset_difference_low_s"].notna()
    assert not kept[1], "a moved mark has no interval"
    assert marked[1]
    assert kept.sum() >= 8
    difference = table["onset_difference_s"][kept]
    assert (difference >= table["onset_difference_low_s"][kept]).all()
    assert (difference <= table["onset_difference_high_s"][kept]).all()
    assert np.abs(difference - truth[kept]).median() < 0.015
    assert set(table["first"]) <= {"A", "B", "not told apart", ""}
    said = [table.attrs["columns"][name]["description"] for name in ("first", "onset_difference_low_s")]
    for words in (*said, " ".join(table.attrs["notes"])):
        assert "held the true difference in 94 % or more of 400 simulated trials at 15 to 35 dB" in words
    assert (table["first"] == "A").sum() > (table["first"] == "B").sum()
    mirrored = er.compare_channels(trials, decisions, "B", "A")
    np.testing.assert_allclose(mirrored["onset_difference_s"], -table["onset_difference_s"])
    np.testing.assert_allclose(mirrored["lag_s"], -table["lag_s"])
    np.testing.assert_allclose(mirrored["common_area_percent"], table["common_area_percent"])


def test_which_response_begins_first_does_not_hang_on_the_order_of_the_rows(trials, decisions):
    again = decisions[(decisions["channel"] == "B") & decisions["accepted"].fillna(False)].assign(burst="added-99")
    again = again.assign(onset_sample=again["onset_sample"] + 500, onset_s=again["onset_s"] + 500 / RATE_HZ)
    table = pd.concat([decisions, again], ignore_index=True)
    aligned = {"to": "onset", "before_s": 0.1, "after_s": 0.1}
    right = er.compare_channels(trials, decisions, "A", "B"), er.average_envelopes(trials, decisions, **aligned)["B"]
    for order in (table, table[::-1], table.sort_values("onset_s", ascending=False)):
        pd.testing.assert_frame_equal(er.compare_channels(trials, order, "A", "B"), right[0])
        np.testing.assert_array_equal(er.average_envelopes(trials, order, **aligned)["B"].mean, right[1].mean)


def test_words_on_shared_signal_follow_the_crosstalk():
    said = {}
    for share in (0.0, 0.5):
        study = simulate_study(1, 10, RATE_HZ, seed=4, muscles=MUSCLES, crosstalk=[[0, 0], [share, 0]])
        cut = er.cut_trials(study.people[0].recording, cue="go", before_s=1.0, after_s=1.5)
        said[share] = er.compare_channels(cut, _no_decisions(), "A", "B").attrs["notes"][0]
    assert "does not rule crosstalk out" in said[0.0]
    assert "Caution" in said[0.5]
    assert "+1.0 ms" in said[0.5]


def _no_decisions():
    return pd.DataFrame({name: pd.Series(dtype="object") for name in COLUMNS})


def test_a_table_that_a_rule_has_cut_down_compares_the_rest(trials, decisions):
    table = er.compare_channels(trials, decisions, "A", "B")
    cut = decisions[decisions["trial"] != trials.ids[0]]
    rest = er.compare_channels(trials, cut, "A", "B")
    assert rest["trial"].tolist() == list(trials.ids)
    assert np.isnan(rest["onset_difference_s"][0])
    np.testing.assert_array_equal(rest["onset_difference_s"][1:], table["onset_difference_s"][1:])


def test_comparing_wrong_channels_or_windows(trials, decisions):
    with pytest.raises(UnknownNameError, match="channel is called 'C'"):
        er.compare_channels(trials, decisions, "A", "C")
    with pytest.raises(ParameterError, match="window_s"):
        er.compare_channels(trials, decisions, "A", "B", window_s=(0.0, 9.0))
    with pytest.raises(ParameterError, match="reference"):
        er.compare_channels(trials, decisions, "A", "B", reference={"A": 0.0})


# Averages


def test_an_average_on_the_onset_is_sharper_than_one_on_go(trials, decisions):
    where_it_was = decisions[decisions["origin"] != "moved"]
    made = {
        to: er.average_envelopes(trials, where_it_was, to=to, before_s=0.2, after_s=0.5)
        for to in ("go", "onset", "response")
    }
    for label in trials.labels:
        onset = made["onset"][label]
        zero = np.searchsorted(onset.time_s, 0.0)
        early = onset.mean[: zero - 60].mean()
        assert onset.mean[zero + 60 : zero + 200].mean() > 4 * early
        highest = {to: np.nanmax(average[label].mean) for to, average in made.items()}
        assert highest["onset"] > highest["go"]
        used = {to: average[label].used for to, average in made.items()}
        np.testing.assert_array_equal(used["go"], used["onset"])
        assert not (used["response"] & ~used["go"]).any()
    assert not made["go"]["A"].used[2], "unusable"
    assert not made["go"]["A"].used[-1], "not accepted"
    with pytest.raises(ParameterError, match="'go', 'onset' or 'response'"):
        er.average_envelopes(trials, decisions, to="warning", before_s=0.1, after_s=0.1)
    with pytest.raises(UnknownNameError, match="marker"):
        er.average_envelopes(trials, decisions, to="response", before_s=0.1, after_s=0.1, response="pressed")


# Floor


def test_a_floor_with_and_without_decisions(trials, decisions):
    reviewed = er.detection_floor(trials, "A", decisions=decisions, method="threshold", injections=60)
    automatic = er.detection_floor(trials, "A", method="threshold", injections=60)
    for floor in (reviewed, automatic):
        assert -3 < floor.level_db < 12
        assert floor.low_db <= floor.level_db <= floor.high_db
        assert floor.rests >= 12
    few = er.detection_floor(dataclasses.replace(
        trials, ids=trials.ids[:4], cues=trials.cues[:4], data=trials.data[:4], envelope=trials.envelope[:4],
        auxiliary=trials.auxiliary[:4],
    ), "A")  # fmt: skip
    assert few.note.startswith("4 whole stretches of rest")
    with pytest.raises(UnknownNameError, match="channel"):
        er.detection_floor(trials, "C")
    with pytest.raises(UnknownNameError, match="onset method"):
        er.detection_floor(trials, "A", method="treshold")


# Stimuli


@pytest.fixture(scope="module")
def stimulated():
    rng = np.random.default_rng(0)
    at = np.arange(10) * 6000 + 5000
    x = rest_noise((2, 66_000), RATE_HZ, rng, level_uv=3.0)
    for sample in at:
        part = slice(sample - 1000, sample + 2000)
        for row, size in ((0, 600.0), (1, 0.0)):
            levels = {"level_uv": 2000.0, "decay_s": 0.004, "evoked_uv": size}
            x[row, part] = ARTEFACTS["stimulus"](x[row : row + 1, part], RATE_HZ, rng, at_s=0.5, **levels)[0]
    markers = sorted([(int(s), "pulse") for s in at] + [(int(s) - 2000, "go") for s in at])
    rec = er.Recording.from_array(x, RATE_HZ, labels=["FDI", "ADM"], markers=markers, name="tms")
    return er.cut_trials(rec, cue="go", before_s=0.8, after_s=1.5)


def test_evoked_potentials_from_the_raw_recording(stimulated):
    table = er.measure_evoked(stimulated, stimulus="pulse")
    assert len(table) == 20
    assert table["channel"].value_counts().to_dict() == {"FDI": 10, "ADM": 10}
    there, nothing = (table[table["channel"] == label] for label in ("FDI", "ADM"))
    assert there["peak_to_peak"].median() == pytest.approx(600, rel=0.1)
    assert there["latency_s"].median() == pytest.approx(0.022, abs=0.002)
    assert nothing["latency_s"].isna().sum() >= 8
    assert nothing["peak_to_peak"].median() < 60
    assert table["background_rms"].median() == pytest.approx(3.0, rel=0.15)
    assert set(table.attrs["columns"]) == set(table.columns)
    assert table["stimulus_sample"].tolist()[:2] == [5000, 11_000]
    assert table["decay"].all()
    assert (table["clipped_share"] == 0).all()
    assert any("of 20 latencies come after a decay that stood" in note for note in table.attrs["notes"])
    assert any(
        "20 of 20 stimuli come after such a decay, 0 of them with a silent" in note for note in table.attrs["notes"]
    )
    with pytest.raises(UnknownNameError, match="marker inside the trials"):
        er.measure_evoked(stimulated, stimulus="tms")
    near = er.measure_evoked(stimulated, stimulus="pulse", around_s=(3.0, 0.6))
    assert len(near) == 18
    assert "1 stimuli" in near.attrs["notes"][0]


@pytest.mark.parametrize("direction", ["zero-phase", "causal"])
def test_latency_and_background_do_not_follow_the_size_of_what_comes_later(direction):
    sizes = np.linspace(100.0, 3000.0, 40)
    n, at = 4000, 1600
    rng = np.random.default_rng(0)
    rows = [
        ARTEFACTS["stimulus"](
            rest_noise((1, n), RATE_HZ, rng, level_uv=3.0), RATE_HZ, rng, at_s=at / RATE_HZ, decay_s=0.006,
            level_uv=2000.0, evoked_uv=size, latency_s=0.021,
        )
        for size in sizes
    ]  # fmt: skip
    markers = [(place * n + at, "pulse") for place in range(40)]
    rec = er.Recording.from_array(np.concatenate(rows, axis=1), RATE_HZ, labels=["FDI"], markers=markers)
    how = er.Processing(direction=direction)
    cut = er.cut_trials(rec, cue="pulse", before_s=0.6, after_s=0.7, processing=how)
    table = er.measure_evoked(cut, stimulus="pulse")
    assert table["latency_s"].median() == pytest.approx(0.021, abs=0.0015)
    assert (table["latency_s"] > 0.0185).mean() > 0.9
    assert abs(stats.spearmanr(sizes, table["background_rms"]).statistic) < 0.31  # 95 % by chance, 40 rows
    assert stats.spearmanr(sizes, table["peak_to_peak"]).statistic > 0.99
    for name in ("latency_s", "silent_period_s", "background_rms"):
        assert "forward only (causal)" in table.attrs["columns"][name]["description"]
    assert table.attrs["timed"].startswith("latency, background: raw, band-passed 20 to 450 Hz")
    assert table.attrs["timed"].endswith("silent period: raw, changes over 2 ms, forward only (causal)")
    assert ((table["pause"] == "found") == table["silent_period_s"].notna()).all()


def test_a_potential_before_the_window_is_told_and_given_no_latency(stimulated):
    table = er.measure_evoked(stimulated, stimulus="pulse", window_s=(0.0245, 0.06))
    assert table[table["channel"] == "FDI"]["latency_s"].isna().sum() >= 9
    assert "latencies are missing because the signal stands out already" in table.attrs["notes"][0]
    slow = er.Recording.from_array(np.zeros((1, 4000)) + rest_noise((1, 4000), 500.0, np.random.default_rng(0),
        level_uv=3.0), 500.0, labels=["FDI"], markers=[(1000, "pulse"), (2500, "pulse")])  # fmt: skip
    cut = er.cut_trials(slow, cue="pulse", before_s=0.6, after_s=0.7, processing=er.Processing(high_hz=200.0))
    with pytest.raises(ParameterError, match="remove_decay came as True; allowed: False where fewer than 4 samples"):
        er.measure_evoked(cut, stimulus="pulse")
    assert len(er.measure_evoked(cut, stimulus="pulse", remove_decay=False)) == 2


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_latency_on_a_decay_s_end_and_a_pause_cut_short_are_told_in_the_table():
    rng = np.random.default_rng(2)
    at, n = np.arange(20) * 3000 + 2000, 64_000
    x = np.stack([rest_noise((1, n), RATE_HZ, rng, level_uv=uv)[0] for uv in (3.0, 2.0)])
    active = rest_noise((1, n), RATE_HZ, rng, level_uv=5.0)[0]
    for sample in at:
        since_s = np.arange(1000) / RATE_HZ
        x[0, sample : sample + 1000] += 1000.0 * np.exp(-since_s / 0.002)  # over before the window, in the noise
        active[sample + 42 : sample + 600] = 0.0  # silent from 21 to 300 ms
    x[1] += active
    rec = er.Recording.from_array(
        x, RATE_HZ, labels=["FDI", "ADM"], markers=[(int(s), "pulse") for s in at], name="tms"
    )
    table = er.measure_evoked(er.cut_trials(rec, cue="pulse", before_s=0.6, after_s=0.7), stimulus="pulse")
    decayed, silent = (table[table["channel"] == label] for label in ("FDI", "ADM"))
    assert decayed["latency_s"].notna().sum() >= 2, "of nothing but the decay"
    assert decayed["decay"][decayed["latency_s"].notna()].all()
    early = silent["silent_period_s"] < 0.29
    assert early.sum() > 10
    assert (silent["pause_level"][early] > 0.25).all()
    assert "above 0.25 silent_period_s may be cut short" in table.attrs["columns"]["pause_level"]["description"]
    shallow = int((table["pause_level"] > 0.25).sum())
    assert any(note.startswith(f"{shallow} of 40 silent periods may be cut short") for note in table.attrs["notes"])


def pairs(isi_s, *, silent=False, labels=("pulse", "pulse")):
    """Ten pairs of stimuli with an artefact of 3 ms and a potential of 2 mV, 20 to 32 ms after each, in noise of 2 µV;
    with ``silent`` the muscle is active, and pauses for good after the first."""
    rng = np.random.default_rng(1)
    rate_hz, n = 5000, 200_000
    second = [10_000 + 17_500 * k for k in range(10)]
    first = [at - round(isi_s * rate_hz) for at in second]
    x, since_s = rng.normal(0, 2.0, n), np.arange(n) / rate_hz
    if silent:
        active = rng.normal(0, 40.0, n)
        for at in first:
            active[at + 100 : at + 6000] = 0
        x += active
    for at in first + second:
        x[at : at + 15] += 8000 * np.exp(-np.arange(15) / 2)
        x += 1000 * np.sin(2 * np.pi * np.clip((since_s - at / rate_hz - 0.02) / 0.012, 0, 1))
    marks = [(at, label) for at, label in [*((a, labels[0]) for a in first), *((a, labels[1]) for a in second)]]
    marks += [(at - 2000, "go") for at in second]
    rec = er.Recording.from_array(x[None], rate_hz, labels=["FDI"], markers=sorted(marks), name="pairs")
    return er.cut_trials(rec, cue="go", before_s=0.8, after_s=1.2), first, second


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
@pytest.mark.parametrize("labels", [("pulse", "pulse"), ("pulse 1", "pulse 2")])
@pytest.mark.parametrize("isi_s", [0.01, 0.03, 0.05, 0.1, 0.15, 0.2, 0.3])
def test_another_stimulus_is_no_potential_and_no_background(isi_s, labels):
    cut, first, second = pairs(isi_s, labels=labels)
    tables = [er.measure_evoked(cut, stimulus=label, not_stimuli=["go"]) for label in dict.fromkeys(labels)]
    table, notes = pd.concat(tables), " ".join(note for table in tables for note in table.attrs["notes"])
    assert len(table) == 20
    of_first, of_second = (table[table["stimulus_sample"].isin(at)] for at in (first, second))
    for rows in (of_first, of_second):
        for name, right, off in (("latency_s", 0.0204, 0.001), ("background_rms", 0.81, 0.1)):
            given = rows[name].dropna()
            assert given.empty or given.median() == pytest.approx(right, abs=off), name
        assert (rows["peak_to_peak"].isna() | rows["mixed"] | (abs(rows["peak_to_peak"] - 1970) < 30)).all()
    follows, precedes = isi_s < 0.061, isi_s < 0.24
    assert of_first["peak_to_peak"].isna().all() == follows
    assert of_first["background_rms"].notna().all()
    assert of_second["peak_to_peak"].notna().all()
    assert of_second[["latency_s", "background_rms"]].isna().all(axis=None) == precedes
    assert of_second["mixed"].all() == (isi_s < 0.085)
    assert not of_first["mixed"].any()
    assert ("10 (another stimulus follows before window_s ends" in notes) == follows
    assert ("10 (an earlier stimulus, its potential" in notes) == precedes
    assert "no potential stands out" not in notes


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_windows_that_leave_room_for_another_stimulus_give_all_numbers():
    cut, first, second = pairs(0.05)
    table = er.measure_evoked(cut, stimulus="pulse", window_s=(0.012, 0.045), background_s=(-0.2, -0.06))
    of_first, of_second = (table[table["stimulus_sample"].isin(at)] for at in (first, second))
    assert of_first["peak_to_peak"].median() == pytest.approx(1970, abs=40)
    assert table["latency_s"].median() == pytest.approx(0.0204, abs=0.001)
    assert of_first["latency_s"].notna().all()
    assert of_second["mixed"].all()


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_silent_period_does_not_end_at_the_next_stimulus():
    cut, first, _ = pairs(0.15, silent=True)
    table = er.measure_evoked(cut, stimulus="pulse")
    rows = table[table["stimulus_sample"].isin(first)]
    assert (rows["pause"] == "no return").all()
    assert rows["silent_period_s"].isna().all()
    assert "or before the next stimulus" in " ".join(table.attrs["notes"])


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_a_stimulus_marked_twice_is_no_pair():
    cut, _, second = pairs(0.3)
    twice = cut.recording.with_markers(
        sorted(
            [*cut.recording.markers, *(er.Marker(at + 2, "pulse", "events") for at in second)], key=lambda m: m.sample
        )
    )
    table = er.measure_evoked(er.cut_trials(twice, cue="go", before_s=0.8, after_s=1.2), stimulus="pulse")
    assert table["peak_to_peak"].notna().all()
    assert not table["mixed"].any()


def test_a_clipped_potential_is_told(stimulated):
    rec = stimulated.recording
    cut = er.Recording.from_array(
        np.clip(rec.values(), -200, 150), RATE_HZ, labels=rec.labels, markers=rec.markers, name="cut"
    )
    table = er.measure_evoked(er.cut_trials(cut, cue="go", before_s=0.8, after_s=1.5), stimulus="pulse")
    share = table.groupby("channel")["clipped_share"]
    assert share.min()["FDI"] > 2 * share.max()["ADM"], "there only the decay at the window's start"
    assert "20 of 20 potentials are clipped within window_s: their sizes are too small." in table.attrs["notes"]


def test_stimuli_of_what_is_left_out_are_left_out_and_counted(stimulated, tmp_path):
    with er.open_review(stimulated, tmp_path, reviewer="r1") as session:
        for trial in stimulated.ids:
            session.none_visible(trial, "FDI")
            session.none_visible(trial, "ADM")
        session.unusable(stimulated.ids[1], "FDI", reasons=["mains hum"])
        rule = er.Rule(name="all", version=1, activity=("none visible", "bursts"), signal=("usable",))
        decisions = er.include(session.decisions(), rule)
    table = er.measure_evoked(stimulated, stimulus="pulse", decisions=decisions)
    assert len(table) == 19
    assert "unusable" not in set(table["signal"])
    assert table.attrs["notes"][0] == "1 channels of stimuli are left out, by reason: 'signal unusable (mains hum)' 1."
    gone = er.measure_evoked(stimulated, stimulus="pulse", decisions=decisions.assign(excluded="channel: broken lead"))
    assert len(gone) == 0


def test_a_stimulus_in_two_overlapping_trials_is_measured_once(stimulated):
    # pulses 3 s apart; trials of 4.5 s: most pulses lie in two of them
    wide = er.cut_trials(stimulated.recording, cue="go", before_s=1.0, after_s=3.5)
    table = er.measure_evoked(wide, stimulus="pulse")
    narrow = er.measure_evoked(stimulated, stimulus="pulse")
    assert not table.duplicated(["channel", "stimulus_sample"]).any()
    pd.testing.assert_frame_equal(table, narrow)
    assert "more than one trial" not in " ".join(narrow.attrs["notes"])
    again = er.cut_trials(stimulated.recording, cue="go", before_s=1.0, after_s=4.4)
    overlapping = er.measure_evoked(again, stimulus="pulse")
    pd.testing.assert_frame_equal(overlapping, narrow)
    assert "lie in more than one trial" in overlapping.attrs["notes"][0]


def test_evoked_potentials_say_what_was_decided_of_the_signal(stimulated, tmp_path):
    with er.open_review(stimulated, tmp_path, reviewer="r1") as session:
        session.unusable(stimulated.ids[1], "FDI", reasons=["mains hum"])
        table = er.measure_evoked(stimulated, stimulus="pulse", decisions=session.decisions())
    unusable = table[table["signal"] == "unusable"]
    assert list(zip(unusable["trial"], unusable["channel"], strict=True)) == [(stimulated.ids[1], "FDI")]
    assert len(table) == 20, "measured all the same"
    assert set(table.attrs["columns"]) == set(table.columns)
    assert not table["set_aside"].any()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"window_s": (12, 60)}, "window_s"),
        ({"around_s": (0.5, 0.01)}, "within around_s"),
        ({"around_s": (-0.5, 0.6)}, "around_s"),
        ({"background_s": (0.01, 0.1)}, "background_s"),
        ({"blank_s": 0.008}, "blank_s"),
    ],
)
def test_windows_around_a_stimulus_must_fit_each_other(stimulated, options, words):
    with pytest.raises(ParameterError, match=words):
        er.measure_evoked(stimulated, stimulus="pulse", **options)
    with pytest.raises(ParameterError, match="one recording"):
        er.measure_evoked([stimulated], stimulus="pulse")


# What does not count, and whose decisions


def test_a_trial_marked_unusable_does_not_change_the_others(trials, decisions):
    """A pop of 20 mV in the trial that is unusable in A: divisors and medians are those of the trials that count."""
    data, envelope = trials.data.copy(), trials.envelope.copy()
    data[2, 0, 2100:2300] += 20_000
    envelope[2, 0, 2100:2300] = 20_000
    popped = dataclasses.replace(trials, data=data, envelope=envelope)
    good, bad = (er.compare_channels(part, decisions, "A", "B") for part in (trials, popped))
    others = [place for place in range(len(trials)) if place != 2]
    pd.testing.assert_frame_equal(good.iloc[others], bad.iloc[others])
    assert good.attrs["notes"] == bad.attrs["notes"]
    assert good["signal_a"].tolist()[2] == "unusable"
    assert good["signal_b"].tolist()[2] == "usable"
    assert "1 trials whose signal is unusable" in good.attrs["notes"][1]


def test_a_given_reference_is_used_and_said_for_the_channel_it_is_for(trials, decisions):
    table = er.compare_channels(trials, decisions, "A", "B", reference={"A": 3.0})
    words = table.attrs["columns"]["common_area_percent"]["description"]
    assert "A divided by 3 (given)" in words
    assert words.count("(given)") == 1
    assert "peak in task" in words
    with pytest.raises(UnknownNameError, match="channel of the reference is called 'a'"):
        er.compare_channels(trials, decisions, "A", "B", reference={"a": 3.0})
    with pytest.raises(ParameterError, match="reference of 'B'"):
        er.compare_channels(trials, decisions, "A", "B", reference={"B": "3"})
    with pytest.raises(ParameterError, match="other than 'A'"):
        er.compare_channels(trials, decisions, "A", "A")


def test_decisions_of_two_reviewers_are_refused_where_one_counts(trials, decisions):
    two = pd.concat([decisions, decisions.assign(reviewer="r2")], ignore_index=True)
    for refuse in (
        lambda: er.compare_channels(trials, two, "A", "B"),
        lambda: er.average_envelopes(trials, two, to="go", before_s=0.1, after_s=0.1),
        lambda: er.detection_floor(trials, "A", decisions=two),
    ):
        with pytest.raises(ParameterError, match="decisions of r1 and r2 on one channel"):
            refuse()
    assert len(er.measure(trials, two)) == 2 * len(er.measure(trials, decisions)), "measure keeps both, a row each"
    one = two[two["reviewer"] == "r2"]
    assert len(er.compare_channels(trials, one, "A", "B")) == len(trials)


def test_a_floor_is_the_same_in_whatever_order_the_rows_come(trials, decisions):
    with warnings.catch_warnings(action="ignore", category=er.SignalWarning):
        floors = [
            er.detection_floor(trials, "A", decisions=table, injections=40)
            for table in (decisions, decisions[::-1], decisions.sample(frac=1, random_state=1))
        ]
    assert len({(floor.level_db, floor.low_db, floor.high_db) for floor in floors}) == 1
    assert floors[0].bursts > 1


def test_a_floor_of_several_blocks_of_one_person(trials, decisions):
    other = dataclasses.replace(trials, recording=dataclasses.replace(trials.recording, name="block-2"))
    pooled = er.detection_floor([trials, other], "A", method="threshold", injections=60)
    single = er.detection_floor(trials, "A", method="threshold", injections=60)
    assert (pooled.rests, pooled.bursts) == (2 * single.rests, 2 * single.bursts)
    assert pooled.rest == pytest.approx(single.rest)
    assert abs(pooled.level_db - single.level_db) < 3
    stranger = dataclasses.replace(other, recording=dataclasses.replace(other.recording, entities={"sub": "x9"}))
    with pytest.raises(ParameterError, match="participants"):
        er.detection_floor([trials, stranger], "A")
    for options, words in (
        ({"injections": 50.5}, "injections"),
        ({"cue_s": 1.0}, "cue_s"),
        ({"search_s": (0, 0.3)}, "search_s"),
    ):
        with pytest.raises((ParameterError, UnknownNameError), match=words):
            er.detection_floor(trials, "A", **options)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"windows_s": 0.05}, "windows_s"),
        ({"windows_s": (0.03, 0.03)}, "lengths that differ"),
        ({"response_from_s": float("nan")}, "response_from_s"),
        ({"normalise": "submaximal", "reference": 100.0}, "a mapping"),
        ({"normalise": "submaximal", "reference": {"A": np.inf, "B": 1.0}}, "reference of 'A'"),
        ({"creep_s": np.float32(-1)}, "creep_s came as -1.0"),
    ],
)
def test_measures_asked_wrongly(trials, decisions, options, words):
    with pytest.raises(ParameterError, match=words):
        er.measure(trials, decisions, **options)
    with pytest.raises(ParameterError, match="decisions came as 'NoneType'"):
        er.measure(trials, None)
    with pytest.raises(ParameterError, match="trials came as 'ndarray'"):
        er.measure(np.zeros((3, 3)), decisions)


def test_a_creep_longer_than_the_trial_is_said(trials, decisions):
    table = er.measure(trials, decisions, creep_s=2.0)
    assert table["creep_per_s"].isna().all()
    assert "creep_per_s is missing" in " ".join(table.attrs["notes"])


def test_an_auxiliary_onset_stands_beside_the_muscles(person, decisions):
    """Key travel, one value at rest, that begins 80 ms after the truth of muscle A."""
    rec = person.recording
    plain = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    key = np.full(rec.n_samples, 300.0)
    for cue, after_s in zip(plain.cues, person.onset_s[:, 0] + 0.08, strict=True):
        if np.isfinite(after_s):
            start = cue.sample + round(after_s * RATE_HZ)
            key[start : start + 600] = 340.0
    auxiliary = np.stack(
        [key[c.sample - plain.before : c.sample - plain.before + len(plain.time_s)] for c in plain.cues]
    )
    both = dataclasses.replace(plain, auxiliary=auxiliary[:, np.newaxis], auxiliary_labels=("key",))
    table = er.measure(both, decisions, auxiliary={"key": "level"})
    rows = table[(table["channel"] == "A") & (table["kind"] == "response")]
    truth = dict(zip(plain.ids, person.onset_s[:, 0] + 0.08, strict=True))
    np.testing.assert_allclose(rows["key_onset_s"], rows["trial"].map(truth), atol=0.004)
    assert table.attrs["columns"]["key_onset_s"]["description"] == "Onset of channel key, from the cue, by method level"
    assert table["key_onset_s"][table["kind"] != "response"].isna().all()
    with pytest.raises(UnknownNameError, match="auxiliary channel is called 'kay'"):
        er.measure(both, decisions, auxiliary={"kay": "level"})
    with pytest.raises(ParameterError, match="'level' or 'change'"):
        er.measure(both, decisions, auxiliary={"key": "ramp"})


def test_names_and_lengths_that_cannot_be_are_refused(trials, decisions):
    with pytest.raises(UnknownNameError, match="normalisation"):
        er.measure(trials, decisions, normalise=["none"])
    with pytest.raises(ParameterError, match="before_s came as 1000000000"):
        er.average_envelopes(trials, decisions, to="go", before_s=1e9, after_s=0.1)
