"""The fourth stored review, read for ever, too: in which scale a recording was read, and that it was corrected; how
cues were found in a channel; and who decided each row of what three reviewers came to."""

import contextlib
import json
import re
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from format_page import run_page
from scripted_reviews import CHECK, detect
from stored_reviews import cut as cut_second

import emgreview as er
from emgreview.errors import DecisionError
from emgreview.tables import WAYS

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # test_told.py asks for them

REVIEW = Path(__file__).parent / "files" / "review-1d"
RATE = 1000.0


def recording(folder, unit="mV", pulse="V"):
    """The recording under files/review-1d, written as text by a rule, so that its fingerprint never changes."""
    k = np.arange(18_000)
    pulses = np.where((k % 2000 >= 1000) & (k % 2000 < 1030) & (k < 17_000), 5, 0)
    path = Path(folder) / "turns.csv"
    np.savetxt(path, np.column_stack([k * k % 101 - 50, k * 8 % 89 - 44, pulses]), fmt="%d", delimiter=",")
    columns = ["FDI", "APB", "TRIGGER"]
    return er.read(path, rate_hz=RATE, unit={"FDI": unit, "APB": unit, "TRIGGER": pulse}, columns=columns)


def cut(rec):
    rec = er.with_cues(rec, "TRIGGER", level=2.5, hold_off_s=0.5, label="go")
    return er.cut_trials(rec, cue="go", before_s=0.5, after_s=1.0)


def decide(session, onset_s, behaviour, late):
    """One reviewer's decisions; ``late`` moves the mark that the two dispute."""
    a, b, c, d, e, f, g, *_ = session.queue
    session.move(a, "FDI", onset_s=0.25)
    session.accept(a, "FDI")  # both alike
    session.move(b, "FDI", onset_s=onset_s)
    session.accept(b, "FDI")  # within the tolerance
    session.caution(c, "FDI", ["weak"])
    session.move(c, "FDI", onset_s=0.3 + late)
    session.accept(c, "FDI")  # in dispute, but for the caution
    session.correct_cue(d, 0.05)
    session.behaviour(d, behaviour)  # in dispute, but for the cue
    session.accept(d, "FDI")
    session.unusable(e, "FDI", ["clipped"] if late else ["mains hum"])
    if late:
        session.accept(e, "FDI")
        session.none_visible(f, "APB")
    session.not_locatable(g, "APB", earliest_s=0.1 + late, latest_s=0.35)


def write_review(folder):
    """How files/review-1d was made, once."""
    place = Path(folder).parent
    with er.open_review(cut(recording(place, "V")), folder, reviewer="r1", detect=detect) as session:
        decide(session, 0.2, "late", 0.0)
        session.seal("in-volts")
    right = cut(recording(place))
    with er.open_review(right, folder, reviewer="r1", detect=detect, scale_corrected="the export says mV") as session:
        session.seal("in-millivolts")
    with er.open_review(right, folder, reviewer="r2", detect=detect) as session:
        decide(session, 0.205, "as instructed", 0.1)
    with er.adjudicate(right, folder, "r1", "r2", reviewer="r3", detect=detect, seed="settle") as session:
        for dispute in session.disputes():
            if dispute.channel is None:
                session.settle(dispute.trial, None, "A")
            else:
                session.add(dispute.trial, dispute.channel, onset_s=0.33)
        session.seal("settled")


@pytest.fixture
def review(tmp_path):
    return shutil.copytree(REVIEW, tmp_path / "review")


def test_the_stored_review_is_valid_verified_and_replayed(review, tmp_path, counted):
    found = er.verify(review)
    assert (found.ok, found.logs, found.versions) == (True, 3, 3)
    for path in (review / "logs").rglob("*.jsonl"):
        for line in path.read_bytes().splitlines():
            CHECK.validate(json.loads(line))
    first = json.loads((review / "logs" / "turns_reviewer-r1.jsonl").read_bytes().split(b"\n")[0])["new"]
    assert first["scales"][0] == {
        "label": "FDI", "kind": "EMG", "unit": "uV", "gain": 1e6, "offset": 0, "delay_s": 0,
    }  # fmt: skip
    assert [scale["unit"] for scale in first["scales"]] == ["uV", "uV", "V"]
    assert first["cuts"][0]["searches"] == [
        {"channel": "TRIGGER", "label": "go", "level": 2.5, "edge": "rising", "hold_off_s": 0.5}
    ]
    for version, unit in (("in-volts", "V"), ("in-millivolts", "mV"), ("settled", "mV")):
        again = er.replay(review, recording(tmp_path, unit), version, detect=detect)
        assert (again.same_decisions, again.same_numbers, again.notes) == (True, True, ()), version
    assert "1 recording in another scale" in str(er.diff(review, "in-volts", "in-millivolts"))
    counted(f"stored review with scales: {found.events} lines, three versions rebuilt, cues found again in a channel")


def test_each_row_says_who_decided_it_and_how(review):
    table = er.read_version(review, "settled")
    assert set(table["reviewer"]) == {"r3"}
    rows = {(row.cue_sample - 1000) // 2000: row for row in table[table["channel"] == "FDI"].itertuples()}
    told = {
        number: (row.decided_by, row.decided_how, row.decided_otherwise)
        for number, row in rows.items()
        if row.reviewed and number < 5
    }
    none = er.tables.pd.NA
    assert told == {
        0: ("r1; r2", "both agreed", none),
        1: ("r1; r2", "midpoint of two", none),
        2: ("r3", "settled by the third", "signal: both agreed (r1, r2)"),
        3: ("r1; r2", "both agreed", "behaviour: settled by the third (r3)"),
        4: ("r1; r2", "both agreed", "mark: one reviewer's alone (r2)"),
    }
    other = table[(table["channel"] == "APB") & table["reviewed"]]
    assert list(zip(other["decided_by"], other["decided_how"], strict=True)) == [
        ("r2", "one reviewer's alone"), ("r1; r2", "both agreed"),
    ]  # fmt: skip
    assert table[~table["reviewed"]][["decided_by", "decided_how", "decided_otherwise"]].isna().all(axis=None)
    assert set(table["decided_how"].dropna()) <= set(WAYS)
    one = er.read_version(review, "in-volts")
    assert set(one["decided_how"].dropna()) == {"one reviewer's alone"}
    assert set(one["decided_by"].dropna()) == {"r1"}


def test_what_two_agree_on_stands_beside_what_they_dispute(review):
    table = er.read_version(review, "settled").set_index(["recorded_cue_sample", "channel"])
    assert table.loc[(7000, "FDI"), "cue_sample"] == 7050, "a cue that both corrected alike, whatever the behaviour"
    assert table.loc[(5000, "FDI"), "signal"] == "caution", "a caution that both gave, whoever settles the mark"
    assert table.loc[(5000, "FDI"), "signal_reasons"] == "weak"
    with contextlib.chdir(review):
        spoken = run_page()
    (values,) = spoken["in_the_end"]["settled"].values()
    assert values["turns/channel TRIGGER/7000", None, "cue", None] == 7050
    assert values["turns/channel TRIGGER/5000", "FDI", "signal", None] == {"reasons": ["weak"], "state": "caution"}
    merged = er.merge_reviews(review, "r1", "r2", "r3")
    assert merged.values[("turns", "turns/channel TRIGGER/7000", None), "cue"].value == 7050
    assert merged.values[("turns", "turns/channel TRIGGER/5000", "FDI"), "signal"].value["state"] == "caution"
    found = spoken["onsets_s"](spoken["logs"]["logs/turns_reviewer-r3.jsonl"], values)
    sealed = er.read_version(review, "settled")
    marks = sealed[sealed["reviewed"] & sealed["accepted"].fillna(False) & (sealed["activity"] == "bursts")]
    assert found == {(row.trial, row.channel, row.burst): row.onset_s for row in marks.itertuples()}


def test_only_what_is_in_dispute_can_be_settled(review, tmp_path):
    trials = cut(recording(tmp_path))
    with er.adjudicate(trials, review, "r1", "r2", reviewer="r3", detect=detect) as session:
        with pytest.raises(DecisionError, match=r"do not disagree on the cue .*, only on the behaviour"):
            session.correct_cue("turns/channel TRIGGER/7000", 0.1)
        session.caution("turns/channel TRIGGER/5000", "FDI", ["tremor/rhythmic"])  # the mark's settler may say more
        table = session.decisions().set_index(["recorded_cue_sample", "channel"])
        assert table.loc[(5000, "FDI"), "signal_reasons"] == "tremor/rhythmic"
        assert table.loc[(5000, "FDI"), "decided_otherwise"] is er.tables.pd.NA, "mark and signal are both the third's"


def test_who_decided_is_what_the_merge_says_in_a_larger_review(tmp_path, counted):
    folder = shutil.copytree(REVIEW.with_name("review-1b"), tmp_path / "review")
    merged = er.merge_reviews(folder, "r1", "r2", "r3")
    ways = merged.table.set_index(["trial", "channel"])["how"]
    with er.adjudicate(cut_second(), folder, "r1", "r2", reviewer="r3", detect=detect) as session:
        table = session.decisions()
        assert any(words.startswith("Of the two reviewers: The logs of early,") for words in session.notices)
    words = {
        "both agreed": r"(reasons of both; )?(same|reasons of both|within the tolerance: midpoint)(; same)?",
        "midpoint of two": r"(same; |reasons of both; )?within the tolerance: midpoint",
        "settled by the third": "settled by r3",
        "one reviewer's alone": r"r[12]( alone|: not drawn for comparison)(; .*)?|same; r[12].*",
    }
    rows = table[table["reviewed"]]
    for row in rows.itertuples():
        if row.in_bulk:
            assert row.decided_how == "accepted in bulk"
            assert "signal" not in str(row.decided_otherwise), "nobody decided on it"
            continue
        how = ways[row.trial, row.channel]
        assert re.fullmatch(words[row.decided_how], how), (row.decided_how, how)
        assert (row.decided_by in how) == (row.decided_by in ("r1", "r2", "r3"))
    assert not table[~table["reviewed"]]["decided_how"].notna().any()
    assert set(rows["decided_how"]) == set(WAYS)
    counted(f"who decided: {len(rows)} rows of three reviewers, {rows['decided_how'].value_counts().to_dict()}")


def test_measures_carry_who_decided(review, tmp_path):
    table = er.measure(cut(recording(tmp_path)), er.read_version(review, "settled"))
    assert set(table["decided_how"]) == {"both agreed", "midpoint of two", "settled by the third"}


if __name__ == "__main__":
    write_review(Path(sys.argv[1]))
