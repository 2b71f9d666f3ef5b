"""What a stranger's studies showed of flags: channels kept out or absent, plans of several runs, odd pairs."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from emgreview.people import odd
from emgreview.people.flags import odd_people
from emgreview.people.lists import odd_trials
from emgreview.people.person import gathered
from emgreview.people.recorded import ARRAYS, BINS, GRID_HZ, Recorded
from emgreview.people.rules import physical
from emgreview.people.table import table_of

LABELS = ("AA", "BB")


def recorded(sub, *, trials=12, seed=0, labels=LABELS, run="", session="", hole="", **changed):
    """A measured recording of somebody with bursts in every trial, without any file."""
    rng = np.random.default_rng([seed, *map(ord, sub + run + session)])
    shape = (len(labels), trials)
    onset = 0.2 + 0.02 * rng.standard_normal(shape)
    values = {name: np.zeros(shape) for name in ARRAYS} | {
        "onset_s": onset,
        "second_s": onset,
        "offset_s": onset + 0.3,
        "level_db": 20 + rng.standard_normal(shape),
        "size": np.exp(3 + 0.2 * rng.standard_normal(shape)),
        "rest": np.exp(1 + 0.2 * rng.standard_normal(shape)),
        "bursts": np.ones(shape),
    }
    name = f"sub-{sub}" + (f"_ses-{session}" if session else "") + (f"_run-{run}" if run else "")
    entities = {"sub": sub} | ({"run": run} if run else {}) | ({"ses": session} if session else {})
    made = Recorded(
        name=name,
        entities=entities,
        digest=name,
        rate_hz=1000.0,
        unit="uV",
        labels=labels,
        ids=tuple(f"{name}/{at}" for at in range(trials)),
        cue_sample=1000 * np.arange(1, trials + 1),
        response_s=0.4 + 0.03 * rng.standard_normal(trials),
        span_s=(-1.0, 1.2),
        **values,
        beats=np.zeros(shape, dtype=bool),
        skew=np.zeros(len(labels)),
        alike=np.eye(len(labels)),
        spectra=np.ones((2, len(labels), len(GRID_HZ))),
        envelope=np.ones((*shape, BINS)),
        above=np.full((len(labels), 2), np.nan),
        floor_db=np.full(len(labels), np.nan),
        quality=(),
        contracted=(),
        hole=hole,
        notes=(),
    )
    return replace(made, **changed)


def study(people=10, **changed):
    return [recorded(f"{number:02d}", **changed) for number in range(1, people + 1)]


def codes(recs, decisions=None):
    return {(one.participant, one.channel, one.code) for one in odd_people(gathered(recs, decisions)).flags}


def decided(rec, label, **said):
    """Decisions of one channel: every trial the same."""
    row = {"recording": rec.name, "channel": label, "origin": "automatic", "kind": "response", "signal": "usable"}
    row |= {
        "excluded": None,
        "reviewed": True,
        "activity": "bursts",
        "offset_sample": 1500,
        "onset_sample": 1200,
    } | said
    return pd.DataFrame([row | {"trial": trial} for trial in rec.ids])


@pytest.mark.parametrize("said", [{"excluded": "electrode fell off"}, {"signal": "unusable"}])
def test_a_channel_that_a_reviewer_set_aside_is_not_told_as_one_without_bursts(said):
    recs = study()
    assert codes(recs) == set()
    assert codes(recs, decided(recs[0], "AA", **said)) == set()


def test_a_channel_that_a_run_lacks_is_not_one_without_bursts():
    recs = study(run="1") + study(run="2")[1:] + [recorded("01", run="2", labels=("BB",), trials=12)]
    assert codes(recs) == set()
    people = gathered(recs)
    row = table_of(people, (), expect=None, marks="automatic", agreement=None).set_index(["participant", "channel"])
    assert row.loc[("01", "AA"), "none_share"] == 0
    assert row.loc[("01", "AA"), "cues"] == 12
    assert row.loc[("01", "AA"), "cues_expected"] == 12
    assert row.loc[("01", "BB"), "cues"] == 24
    assert odd_trials(people, "none found where most have one") == []


def test_each_run_has_its_own_number_of_cues():
    recs = study(run="1", trials=12) + study(run="2", trials=12) + study(run="3", trials=8)
    assert codes(recs) == set()
    short = [recorded("04", run="3", trials=7) if rec.name == "sub-04_run-3" else rec for rec in recs]
    found = odd_people(gathered(short)).flags
    assert [(one.participant, one.code, one.value, one.limit) for one in found] == [("04", "cues", 7.0, 8.0)]
    people = gathered(short)
    row = table_of(people, found, expect=None, marks="automatic", agreement=None)
    assert set(row["cues_expected"]) == {32.0}


@pytest.mark.parametrize(("r", "code"), [(-0.88, "inverted"), (0.85, "identical")])
def test_two_channels_that_go_together_in_one_person_alone_are_told(r, code):
    recs = study()
    recs[3] = replace(recs[3], alike=np.array([[1.0, r], [r, 1.0]]))
    assert codes(recs) == {("04", "AA", code), ("04", "BB", code)}
    everywhere = [replace(rec, alike=recs[3].alike) for rec in recs]
    assert codes(everywhere) == set()


def test_what_a_dead_channel_explains_is_not_told_beside_it():
    recs = study()
    rest, onset = recs[2].rest.copy(), recs[2].onset_s.copy()
    rest[0], onset[0] = 0.1, np.nan
    recs[2] = replace(recs[2], rest=rest, onset_s=onset, second_s=onset, level_db=np.where(np.isnan(onset), np.nan, 20))
    assert codes(recs) == {("03", "AA", "dead")}


def test_a_channel_in_which_people_differ_more_is_not_one_that_was_exchanged():
    """Shares of trials with a burst: the same in four channels, from a few to all in the fifth."""
    rng = np.random.default_rng(7)
    passed = 0
    for _ in range(40):
        x = np.concatenate(
            [[0.0, 0.5, 1.0, 1.5] + 0.2 * rng.standard_normal((12, 4)), 0.75 + rng.standard_normal((12, 1))], axis=1
        )
        passed += bool(odd.exchanged(x[..., None], 0.02))
    assert passed <= 2


def test_a_person_in_another_unit_has_no_dead_channel_where_a_muscle_seldom_takes_part():
    recs = study()
    onset = recs[5].onset_s.copy()
    onset[0, 2:] = np.nan
    small = {"rest": recs[5].rest / 1000, "size": np.where(np.isnan(onset), np.nan, recs[5].size / 1000)}
    recs[5] = replace(recs[5], onset_s=onset, second_s=onset, **small)
    found, _ = physical(gathered(recs))
    assert {(one.participant, one.channel, one.code) for one in found} == {("06", "AA", "unit"), ("06", "BB", "unit")}
