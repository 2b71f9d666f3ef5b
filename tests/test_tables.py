"""Tables of decisions: what each row says, and that a file gives back the same table."""

import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emgreview.annotations.events import check_text
from emgreview.annotations.state import (
    USABLE,
    TrialState,
    accept,
    add,
    channel_state,
    move,
    none_visible,
    not_locatable,
    proposal,
    remove,
)
from emgreview.annotations.versions import seal_version
from emgreview.errors import DecisionError, VersionError
from emgreview.model import Marker
from emgreview.tables import COLUMNS, HOW, Said, decisions_table, describe, from_tsv, read_version, to_tsv

RATE, CUE = 2000.0, 10_000
AUTOMATIC = proposal({"onset": 10_400, "offset": 11_000, "low": 10_390, "high": 10_412})


def table_of(*activities, signal=USABLE, comment=None, corrected=None, details=None, blind=False, aside=()):
    """One trial with a channel for each activity."""
    labels = [f"c{number}" for number in range(len(activities))]
    channels = {
        label: channel_state(label, signal, activity, comment, False, CUE, RATE)
        for label, activity in zip(labels, activities, strict=True)
    }
    state = TrialState("t", "rec", None, None, False, CUE, corrected, RATE, channels)
    return decisions_table(
        [state],
        reviewer="r1",
        cues={"t": Marker(CUE, "go", details=details or {})},
        participants={"rec": "01"},
        stops={"t": CUE + 2000},
        aside=aside,
        blind=blind,
    )


def types(table):
    return {name: entry["type"] for name, entry in describe(table).items()}


def test_one_row_a_burst_or_channel_trial():
    two = add(accept(AUTOMATIC), "added-5", 10_100, None, "early small")
    table = table_of(two, none_visible(AUTOMATIC), proposal(None), remove(AUTOMATIC, None))
    assert list(table["channel"]) == ["c0", "c0", "c1", "c2", "c3"]
    assert list(table["burst"].fillna("-")) == ["added-5", "response", "-", "-", "response"]
    assert list(table["origin"].fillna("-")) == ["added", "automatic", "-", "-", "removed"]
    assert list(table["activity"]) == ["bursts", "bursts", "none visible", "none detected", "bursts"]
    assert list(table["reviewed"]) == [True, True, True, False, False]


def test_seconds_count_from_the_cue_and_samples_stand_beside():
    row = table_of(move(AUTOMATIC, None, 10_500, None)).iloc[0]
    assert (row["onset_s"], row["onset_sample"], row["offset_s"]) == (0.25, 10_500, 0.5)
    assert (row["automatic_onset_s"], row["automatic_low_s"], row["automatic_high_s"]) == (0.2, 0.195, 0.206)
    row = table_of(move(AUTOMATIC, None, 10_500, None), corrected=10_100).iloc[0]
    assert (row["onset_s"], row["cue_sample"], row["recorded_cue_sample"]) == (0.2, 10_100, 10_000)


def test_missing_is_missing_and_a_removed_mark_has_no_time():
    table = table_of(remove(AUTOMATIC, None), none_visible(AUTOMATIC), not_locatable(AUTOMATIC, 10_200, 10_600))
    assert table["onset_s"].isna().all()
    assert table["onset_sample"].isna().all()
    assert list(table["automatic_onset_s"]) == [0.2] * 3, "the automatic value stays beside"
    assert table["earliest_s"].iloc[2] == 0.1
    assert math.isnan(table["earliest_s"].iloc[0])


def test_details_of_the_cue_are_columns_unless_blind():
    details = {"condition": "near", "channel": "7"}
    table = table_of(AUTOMATIC, details=details)
    assert (table["condition"].iloc[0], table["cue_channel"].iloc[0], table["channel"].iloc[0]) == ("near", "7", "c0")
    blind = table_of(AUTOMATIC, details=details, blind=True)
    assert not {"condition", "cue_channel", "participant"} & set(blind.columns)
    assert set(describe(table)) == set(table.columns) >= set(COLUMNS)


def test_a_stretch_set_aside_marks_the_bursts_it_touches():
    stretch = ("rec", "c0", 10_990, 12_000, ("clipped",))
    assert list(table_of(AUTOMATIC, AUTOMATIC, aside=[stretch])["set_aside"]) == [True, False]
    after = ("rec", "c0", 11_000, 12_000, ("clipped",))
    assert list(table_of(AUTOMATIC, AUTOMATIC, aside=[after])["set_aside"]) == [False, False]


def test_a_burst_without_an_offset_rests_on_all_until_the_next_one_or_the_trial_s_end():
    lasting = proposal({"onset": 10_400, "offset": None, "low": None, "high": None})
    two = add(lasting, "added-5", 11_000, 11_100, "braking")
    inside, later, after = (
        ("rec", "c0", 10_500, 10_510, ()),
        ("rec", "c0", 11_500, 11_510, ()),
        ("rec", "c0", CUE + 2000, CUE + 2001, ()),
    )
    for stretch, alone, of_two in (
        (inside, [True], [True, False]),
        (later, [True], [False, False]),
        (after, [False], [False, False]),
    ):
        assert list(table_of(lasting, aside=[stretch])["set_aside"]) == alone
        assert list(table_of(two, aside=[stretch])["set_aside"]) == of_two


def test_the_stretches_of_a_channel_stand_in_its_rows():
    stretches = [("rec", "c0", 12_500, 12_510, ()), ("rec", "c0", 9000, 9100, ()), ("rec", "c1", 1, 2, ())]
    other = [("else", "c0", 9000, 9100, ())]
    told = table_of(AUTOMATIC, AUTOMATIC, proposal(None), aside=stretches + other)["aside_samples"]
    assert list(told.fillna("-")) == ["9000 to 9100; 12500 to 12510", "1 to 2", "-"]


@pytest.mark.parametrize(
    ("start", "stop", "unseen", "somewhere", "moved_cue"),
    [
        (CUE - 500, CUE - 20, False, False, False),
        (CUE - 500, CUE, False, False, True),
        (CUE - 500, CUE + 1, True, False, True),
        (CUE - 50, CUE - 10, False, False, True),  # from the corrected cue on, a little of the search
        (CUE + 50, CUE + 101, True, True, True),
        (CUE + 300, CUE + 301, True, True, True),
        (CUE + 301, CUE + 600, True, False, True),
        (CUE + 1999, CUE + 5000, True, False, True),
        (CUE + 2000, CUE + 5000, False, False, False),
    ],
)
def test_without_a_burst_a_stretch_counts_where_one_may_have_lain(start, stop, unseen, somewhere, moved_cue):
    stretches = [("rec", label, start, stop, ("clipped",)) for label in ("c0", "c1", "c2")]
    verdicts = none_visible(AUTOMATIC), proposal(None), not_locatable(AUTOMATIC, CUE + 100, CUE + 300)
    assert list(table_of(*verdicts, aside=stretches)["set_aside"]) == [unseen, unseen, somewhere]
    corrected = table_of(*verdicts, corrected=CUE - 20, aside=stretches)
    assert list(corrected["set_aside"]) == [moved_cue, moved_cue, somewhere]


@given(st.text(min_size=1))
def test_any_comment_that_is_taken_reads_back(text):
    try:
        check_text(text)
    except DecisionError:
        return
    table = table_of(AUTOMATIC, accept(AUTOMATIC), proposal(None), comment=text)
    pd.testing.assert_frame_equal(from_tsv(to_tsv(table), types(table)), table)


def test_a_file_is_plain_tab_separated_text():
    content = to_tsv(table_of(AUTOMATIC, comment='=1 "a"')).decode()
    head, row = content.rstrip("\n").split("\n")
    cells = dict(zip(head.split("\t"), row.split("\t"), strict=True))
    assert (cells["comment"], cells["onset_s"], cells["accepted"]) == ('\'=1 "a"', "0.2", "false")
    assert cells["behaviour"] == "n/a"


def test_a_version_that_was_changed_is_not_read(tmp_path):
    table = table_of(AUTOMATIC)
    sealed = seal_version(tmp_path, "v1", to_tsv(table), {"columns": describe(table), "text": HOW})
    pd.testing.assert_frame_equal(read_version(tmp_path, "v1", expect=sealed.sha256.upper()), table)
    with pytest.raises(VersionError, match=r"no version 'v2' in .*; there are: v1"):
        read_version(tmp_path, "v2")
    with pytest.raises(VersionError, match=r"no version '../versions/v1'"):
        read_version(tmp_path, "../versions/v1")
    with pytest.raises(VersionError, match="was expected"):
        read_version(tmp_path, "v1", expect="0" * 64)
    file = sealed.path / "decisions.tsv"
    changed = file.read_bytes().replace(b"0.2\t", b"0.3\t", 1)
    assert changed != file.read_bytes()
    file.chmod(0o644)
    file.write_bytes(changed)
    with pytest.raises(VersionError, match="changed after sealing"):
        read_version(tmp_path, "v1")
    (sealed.path / "decisions.json").unlink()
    with pytest.raises(VersionError, match="cannot be read"):
        read_version(tmp_path, "v1")


def test_a_version_of_something_else_is_refused(tmp_path):
    seal_version(tmp_path, "v1", b"a\tb\n1\n", {"columns": {"a": {"type": "number"}}})
    with pytest.raises(VersionError, match="not one of decisions"):
        read_version(tmp_path, "v1")


def test_what_is_said_of_a_table_goes_on_with_it_and_is_not_copied_at_every_step():
    """A description of 200 recordings made each step of pandas a tenth of a second long."""
    import copy
    import pickle

    said = Said({"recordings": {"a": [1]}})
    table = pd.DataFrame({"x": [1, 2]})
    table.attrs["version"] = said
    assert table[table["x"] > 1].attrs["version"] is said
    assert copy.deepcopy(table.attrs) == {"version": {"recordings": {"a": [1]}}}
    assert pickle.loads(pickle.dumps(said)) == said
