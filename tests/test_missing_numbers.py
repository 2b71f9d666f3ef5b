"""No number of a table of measures is missing, or infinite, without a sentence that says why; and each reason is told
once."""

import dataclasses
import re
import warnings

import numpy as np
import pandas as pd
import pytest
from faulty_review import FAULTS, averages_explained, explained, faulty, floor_explained
from one_bad_channel import EVERY_MEASURE, N, recording, review

import emgreview as er
from emgreview.errors import ParameterError, SignalError, SignalWarning, UnknownNameError
from emgreview.measuring.missing import UNKNOWN, Reason, missing_words

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # the notes themselves are read here
GIVEN = {"good": 50.0, "bad": 50.0}

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
                if not session.state(trial).channels[label].active:
                    offset_s = (None, 0.3, 0.6, 1.4)[number % 4]  # without an end, below 0.1 s, and to the trial's end
                    session.add(trial, label, onset_s=0.25, offset_s=offset_s)
                session.accept(trial, label)
        return session.trials[0], session.decisions()


REFUSED = ("1e160", "1e300", "infinite")
"""No voltage: no trials are cut of these."""


def averaged(to):
    return lambda trials, table: er.average_envelopes(trials, table, to=to, before_s=0.3, after_s=1.2)


MORE = {
    "measure": (
        lambda trials, table: er.measure(trials, table, normalise="peak in task"),
        lambda trials, table: er.measure(trials, table, normalise="mean in task"),
    ),
    "compare_channels": (lambda trials, table: er.compare_channels(trials, table, "good", "bad", reference=GIVEN),),
    "average_envelopes": (averaged("go"), averaged("onset"), averaged("response")),
}
"""Other ways to ask the functions of ``EVERY_MEASURE``."""


def with_force(trials, table):
    return er.measure(trials, table, auxiliary={"force": "level"})


def told_by_every_measure(trials, table):
    """Asks every measure for what it explains, and gives what those said that refuse."""
    refused = []
    for name, (function, _, _) in EVERY_MEASURE.items():
        force = (with_force,) * (name == "measure" and "force" in trials.auxiliary_labels)
        for ask in (function, *MORE.get(name, ()), *force):
            with warnings.catch_warnings(record=True) as caught:
                warnings.simplefilter("always")
                try:
                    result = ask(trials, table)
                except (ParameterError, UnknownNameError) as error:  # says what is lacking
                    refused.append(str(error))
                    continue
            assert not [one for one in caught if issubclass(one.category, RuntimeWarning)], name
            if name == "average_envelopes":
                averages_explained(result)
            elif name == "detection_floor":
                floor_explained(result)
            elif name == "involvement":
                assert {str(one.message) for one in caught} >= set(result.notes)
                explained(name, result.trials, result.notes)
            else:
                assert {str(one.message) for one in caught} >= set(result.attrs["notes"])
                explained(name, result, result.attrs["notes"])
    return refused


@pytest.mark.parametrize("unit", ["uV", "arbitrary"])
@pytest.mark.parametrize("change", CHANGES)
def test_every_missing_number_is_explained_of_samples_of_any_size(tmp_path, change, unit):
    """Before, samples of 1e300 gave trials of infinite ones, and NaN without a word."""
    if change in REFUSED:
        with pytest.raises(SignalError, match=r"infinite|no voltage"):
            reviewed(tmp_path, CHANGES[change], unit)
        return
    refused = told_by_every_measure(*reviewed(tmp_path, CHANGES[change], unit))
    assert all("shows none itself" in words or "no marker is called" in words for words in refused)


@pytest.mark.parametrize("name", FAULTS)
def test_every_missing_number_is_explained_of_reviews_with_a_fault(name):
    refused = told_by_every_measure(*faulty(name))
    assert len(refused) <= 2
    assert all("shows none itself" in words or "no marker is called" in words for words in refused)


def test_short_trials_miss_creep_and_rest_and_say_so():
    table = er.measure(*faulty("nothing", before_s=0.55, after_s=0.5), creep_s=0.6)
    explained("measure", table, table.attrs["notes"])
    assert table["creep_per_s"].isna().all()


def test_notes_count_what_is_missing_and_name_whose_it_is():
    n, half = len(range(0, N, 3)), N // 2
    both, halves = (f"bad of rec {count}, good of rec {count}" for count in (n, half))
    for name, words in {
        "to the trial's end": f": offset_s, burst_duration_s, .*, level_db in {n} (bursts without .*; bad of rec {n}).",
        "onset near the end": f": first_100_ms_rms, .* in {n} (bursts that begin less than 100 ms .*; bad of rec {n}).",
        "some responses": f": reaction_s, motor_s in {N} (responses without .*; {halves}).",
        "missing in the rest": f": rest_rms, level_db in {2 * n} (bursts whose rest window .*; {both}).",
    }.items():
        pattern = words.replace("(", r"\(").replace(")", r"\)")
        with pytest.warns(SignalWarning, match=f"^Missing numbers of {2 * N} rows{pattern}$"):
            found = er.measure(*faulty(name))
        assert any(re.search(pattern, note) for note in found.attrs["notes"])
    clean = er.measure(*faulty("nothing"))
    assert clean.attrs["notes"] == [note for note in clean.attrs["notes"] if "In which unit" in note]


def test_trials_whose_samples_were_made_too_large_are_refused(tmp_path):
    trials, table = reviewed(tmp_path)
    huge = dataclasses.replace(trials, data=1e300 * trials.data.astype(np.float64))
    for name, (function, _, _) in EVERY_MEASURE.items():
        with pytest.raises(SignalError, match=r"samples up to .*e\+302 came in recording 'rec'; allowed: up to 1e\+30"):
            assert function(huge, table) is None, name


def test_the_reasons_are_counted_by_row_and_column(tmp_path):
    trials, table = reviewed(tmp_path, CHANGES["zeros"])
    notes = er.measure(trials, table).attrs["notes"]
    words = " ".join(note for note in notes if note.startswith("Missing numbers of 40 rows"))
    endless = int(table["offset_s"].isna().sum())
    assert "(the signal never changes there, or by less than can be computed; bad of rec" in words
    assert f"level_db in {endless} (bursts without an offset" in words
    assert "reaction_s" not in words, "that no response is marked has a note of its own"


def test_the_first_reason_of_a_row_counts_and_one_without_words_is_told_elsewhere():
    gone = [np.nan, -np.inf, np.nan, 1.0]
    table = pd.DataFrame({"recording": "rec", "channel": ["a", "a", "b", "b"], "x": gone, "y": gone, "word": None})
    columns = {"x": {"type": "number"}, "y": {"type": "number"}, "word": {"type": "text"}}
    rows = np.array([[True, False, False, False], [True, True, False, True]])
    told = [Reason(["x", "y"], rows[0], "first"), Reason(["x"], rows[1], "second"), Reason(["y", "word"], rows[1], "")]
    assert missing_words(table, columns, told) == [
        "Missing numbers of 4 rows: x, y in 1 (first; a of rec 1).",
        "Missing numbers of 4 rows: x in 1 (second; a of rec 1).",
        f"Missing numbers of 4 rows: x, y in 1 ({UNKNOWN}; b of rec 1).",
    ]
    assert missing_words(table[["x"]], columns, told[:2])[0] == "Missing numbers of 4 rows: x in 1 (first)."
    assert missing_words(table[3:], columns, []) == []
