"""No number of a table of measures is missing, or infinite, without a sentence that says why."""

import dataclasses
import warnings

import numpy as np
import pandas as pd
import pytest
from one_bad_channel import EVERY_MEASURE, recording, review

import emgreview as er
from emgreview.errors import ParameterError, SignalError
from emgreview.measuring.missing import UNKNOWN

TOLD = {
    "latency_s": "latencies are missing",
    "silent_period_s": "silent periods are missing",
    "pause_level": "silent periods are missing",
    "reaction_s": "reaction and motor times are missing",
    "motor_s": "reaction and motor times are missing",
    "burst_": "bursts reach beyond their trial or lack samples",
    "level_db": "bursts reach beyond their trial or lack samples",
    "creep_per_s": "creep_per_s is missing",
}
"""Sentences of their own, by how the columns begin whose missing numbers they explain."""

CHANGES = {
    "as it is": lambda x: x,
    "1e-20": lambda x: 1e-20 * x,
    "1e-300": lambda x: 1e-300 * x,
    "1e20": lambda x: 1e20 * x,
    "1e160": lambda x: 1e160 * x,
    "1e300": lambda x: 1e300 * x,
    "zeros": np.zeros_like,
    "one channel of zeros": lambda x: x * [[0.0], [1.0]],
    "all missing": lambda x: np.full_like(x, np.nan),
    "some missing": lambda x: np.where(np.arange(x.shape[1]) % 9001 < 3, np.nan, x),
    "infinite": lambda x: np.where(np.arange(x.shape[1]) == 9000, np.inf, x),
}


def reviewed(tmp_path, change=lambda x: x, unit="uV"):
    rec = recording(lambda rng, x, cues: x, unit=unit)
    rec = er.Recording.from_array(
        change(rec.values()), rec.rate_hz, labels=rec.labels, channels=rec.channels, markers=rec.markers, name="rec"
    )
    with review(tmp_path, rec) as session, warnings.catch_warnings():
        warnings.simplefilter("ignore", er.DecisionWarning)
        for number, trial in enumerate(session.queue):
            for label in ("good", "bad"):
                if not session.state(trial).channels[label].standing:
                    offset_s = (None, 0.3, 0.6, 1.4)[number % 4]  # without an end, below 0.1 s, and to the trial's end
                    session.add(trial, label, onset_s=0.25, offset_s=offset_s)
                session.accept(trial, label)
        return session.trials[0], session.decisions()


REFUSED = ("1e160", "1e300", "infinite")
"""No voltage: no trials are cut of these."""


def unexplained(result, notes, known):
    """Columns with numbers that are missing or infinite and that no note names, but for those ``known`` before."""
    if isinstance(result, pd.DataFrame):
        said = result.attrs["columns"]
        numbers = {
            name: result[name].to_numpy(float, na_value=np.nan) for name in result if said[name]["type"] == "number"
        }
    elif isinstance(result, dict):
        numbers = {f"{label} {name}": getattr(one, name) for label, one in result.items() for name in ("mean", "sd")}
    else:
        numbers = {name: np.array(getattr(result, name)) for name in ("level_db", "level", "low", "high", "rest")}
    words = " ".join(notes)
    lost = [name for name, values in numbers.items() if not np.isfinite(values).all()]
    if not isinstance(result, pd.DataFrame):
        return lost if lost and not words else []
    told = {name for name in lost if any(name.startswith(start) and said in words for start, said in TOLD.items())}
    return [name for name in lost if name not in words and name not in told | known]


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
@pytest.mark.parametrize("unit", ["uV", "arbitrary"])
@pytest.mark.parametrize("change", CHANGES)
def test_every_missing_number_is_explained(tmp_path, change, unit):
    """Before, samples of 1e300 gave trials of infinite ones, and NaN without a word."""
    refused = []
    if change in REFUSED:
        with pytest.raises(SignalError, match=r"infinite|no voltage"):
            reviewed(tmp_path, CHANGES[change], unit)
        return
    trials, table = reviewed(tmp_path, CHANGES[change], unit)
    for name, (function, _, _) in EVERY_MEASURE.items():
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            try:
                result = function(trials, table)
            except ParameterError as error:  # says what is lacking
                refused.append(str(error))
                continue
        assert not [one for one in caught if issubclass(one.category, RuntimeWarning)], name
        notes = [str(one.message) for one in caught]
        assert not unexplained(result, notes, set(table.columns)), (name, notes)
        assert UNKNOWN not in " ".join(notes), name
    assert all("shows none itself" in words for words in refused)


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_trials_whose_samples_were_made_too_large_are_refused(tmp_path):
    trials, table = reviewed(tmp_path)
    huge = dataclasses.replace(trials, data=1e300 * trials.data.astype(np.float64))
    for name, (function, _, _) in EVERY_MEASURE.items():
        with pytest.raises(SignalError, match=r"samples up to .*e\+302 came in recording 'rec'; allowed: up to 1e\+30"):
            assert function(huge, table) is None, name


def test_the_reasons_are_counted_by_row_and_column(tmp_path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)
        trials, table = reviewed(tmp_path, CHANGES["zeros"])
        measured = er.measure(trials, table)
    (note,) = (one for one in measured.attrs["notes"] if one.startswith("Missing numbers of 40 rows"))
    endless = int(table["offset_s"].isna().sum())
    assert "(nothing there has a frequency: the signal is 0)" in note
    assert f"in {endless} (the burst has no offset)" in note
    assert "level_db in" in note
    assert "reaction_s" not in note, "that no response is marked has a note of its own"
