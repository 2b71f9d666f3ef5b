"""Who hears whom: the matrix against known levels, the findings against planted faults, the doors to contractions."""

import json
import math
import warnings

import numpy as np
import pandas as pd
import pytest

import emgreview as er
from emgreview.contractions.findings import LIMITS
from emgreview.errors import (
    FormatError,
    MarkerError,
    ParameterError,
    ReadError,
    SignalWarning,
    UnitError,
    UnknownNameError,
)
from emgreview.signal.crosstalk import lagged_correlation
from emgreview.simulation import Fault

RATE_HZ = 1000.0
PERSON = er.simulate_contractions(RATE_HZ, seed=11, contraction_s=2.0, pause_s=1.0, rest_s=4.0, quiet=0)


def found(*faults, **options):
    return er.selectivity(PERSON.planted(*faults).recording, **options)


def codes(result):
    return {(one.channel, one.code) for one in result.findings}


def steady(levels, rest_uv=1.0, repeats=3, unit="uV"):
    """Noise whose RMS in the band is known: ``levels`` (contractions, channels), 4 s each, after 4 s of rest."""
    rng, n = np.random.default_rng(2), 4 * int(RATE_HZ)
    labels = [f"C{place}" for place in range(len(levels[0]))]
    parts, markers, at = [np.full((len(labels), n), rest_uv)], [er.Marker(0, "rest", duration_s=4.0)], n
    for _ in range(repeats):
        for row, level in enumerate(levels):
            markers.append(er.Marker(at, f"test C{row}", duration_s=4.0))
            parts.append(np.repeat(np.array(level)[:, np.newaxis], n, axis=1))
            at += n
    noise = rng.normal(0, math.sqrt(RATE_HZ / 2 / 430), (len(labels), at))
    channels = [er.Channel(label, unit=unit) for label in labels]
    return er.Recording.from_array(
        noise * np.concatenate(parts, axis=1), RATE_HZ, labels=labels, channels=channels, markers=markers, name="steady"
    )


def test_the_matrix_is_the_rms_over_the_largest_of_its_column():
    """S = RMS(t, c) / max RMS(t, c) over t; rest of 1 in channel 1: sqrt((4² - 1) / (40² - 1)) of the own."""
    levels = [[20.0, 4.0], [5.0, 40.0]]
    seen = er.selectivity(steady(levels))
    assert seen.matrix == pytest.approx(np.array([[1.0, 0.1], [0.25, 1.0]]), rel=0.05)
    assert seen.rms == pytest.approx(np.array(levels), rel=0.05)
    assert seen.over_rest_db == pytest.approx(20 * np.log10(levels), abs=0.5)
    assert seen.share[0, 1] == pytest.approx(math.sqrt((4**2 - 1) / (40**2 - 1)), rel=0.1)
    assert seen.share_low[0, 1] < seen.share[0, 1] < seen.share_high[0, 1]
    assert not seen.findings
    assert seen.table.shape == (4, 9)


def test_gain_and_sign_change_nothing_but_levels():
    """Amplitudes do not see whether a pair of electrodes is the wrong way round."""
    rec = PERSON.recording
    gain = np.array([3.0, -1.0, 1.0, -2.0, 1.0])[:, np.newaxis]
    other = er.Recording.from_array(gain * rec.values(), RATE_HZ, labels=rec.labels, markers=rec.markers, name="other")
    one, two = er.selectivity(rec), er.selectivity(other)
    assert two.share == pytest.approx(one.share, rel=1e-6)
    assert two.matrix == pytest.approx(one.matrix, rel=1e-6)
    assert two.rms[0] == pytest.approx(one.rms[0] * np.abs(gain[:, 0]), rel=1e-6)


def test_clean_sites_have_no_finding_and_no_acquittal():
    seen = found()
    assert seen.findings == ()
    assert "not shown to be selective" in repr(seen)
    places = {  # written out where the label is certain, as it stands where it is not
        "FCR": "flexor carpi radialis",
        "FDS": "flexor digitorum superficialis",
        "ED": "ED",
        "ECR": "the extensor carpi radialis",
        "BR": "brachioradialis",
    }
    assert {card.channel for card in seen.cards.values()} == set(places)
    for card in seen.cards.values():
        assert card.sentence.startswith(f"{card.channel}: recorded over {places[card.channel]}; ")
        assert "only" not in card.sentence
    quiet = found(Fault("inverted", "ECR"))
    assert quiet.findings == ()


@pytest.mark.parametrize(
    ("faults", "expected"),
    [
        ([Fault("swapped", "FCR", "BR")], {("FCR", "exchanged"), ("BR", "exchanged")}),
        (
            [Fault("swapped", "FCR", "ED"), Fault("swapped", "ED", "BR")],
            {("FCR", "exchanged"), ("ED", "exchanged"), ("BR", "exchanged")},
        ),
        ([Fault("weak site", "ED", value=5.0)], {("ED", "weak")}),
        ([Fault("neighbour", "FCR", "BR", 0.6)], {("FCR", "neighbour")}),
        ([Fault("no rest", "ECR", value=20.0)], {("ECR", "no rest")}),
        ([Fault("missing", "FDS")], {("FDS", "missing")}),
    ],
    ids=["two leads", "three leads", "weak", "neighbour", "no rest", "missing"],
)
def test_each_planted_fault_is_found_and_named(faults, expected):
    seen = found(*faults)
    assert codes(seen) == expected
    for one in seen.findings:
        assert one.channel in one.words
        assert one.todo.endswith(".")


def test_a_wrong_site_names_the_muscle_under_the_pads():
    seen = found(Fault("wrong site", "FDS", "FCR"))
    (one,) = [one for one in seen.findings if one.code == "wrong site"]
    assert (one.channel, one.other) == ("FDS", "FCR")
    assert "Its pads may lie over FCR" in str(one)


def test_a_neighbour_is_told_from_thirty_per_cent_with_its_interval():
    for share, told in ((0.2, False), (0.27, False), (0.33, True)):
        seen = er.selectivity(steady([[30.0, 2.0], [30.0 * share, 40.0]]))
        assert [one.code for one in seen.findings] == ["neighbour"] * told, share
    assert re_share(str(seen.findings[0])) == pytest.approx(33, abs=2)
    assert "practitioners' judgement" in LIMITS["neighbour"].source


def re_share(words):
    return float(words.partition("shows ")[2].split()[0])


def test_a_dead_channel_is_no_muscle_that_hears_nothing():
    rec = PERSON.recording
    x = rec.values()
    x[1] = 0.0
    dead = er.Recording.from_array(x, RATE_HZ, labels=rec.labels, markers=rec.markers, name="dead")
    with pytest.warns(SignalWarning, match="cannot be judged and are left out: FDS in"):
        seen = er.selectivity(dead)
    assert codes(seen) == {("FDS", "no signal")}
    assert np.isnan(seen.share[:, 1]).all()
    assert "no own contraction is known" in seen.cards["FDS"].sentence


def test_a_shared_signal_is_a_warning_and_winter_gives_its_share():
    """R = .6, .48, .24, .14 are 36, 23, 6 and 2 % in common: Winter, Biomechanics, ch. 10."""
    rng = np.random.default_rng(0)
    common, other = rng.normal(size=(2, 200_000))
    for r, percent in ((0.6, 36), (0.48, 23), (0.24, 6), (0.14, 2)):
        b = r * common + math.sqrt(1 - r**2) * other
        both = lagged_correlation(common, b, RATE_HZ)
        assert round(100 * float(both.r2)) == percent
        assert float(both.lag_s) == 0
    assert any("Caution: one may hear the other" in hint for hint in found(Fault("neighbour", "FCR", "FDS", 0.5)).hints)
    assert not any("rule" in hint for hint in found().hints), "a low one acquits nobody, and is not told"
    assert found(shared=False).hints == ()


def test_cards_name_what_arrives_the_loudest_first():
    card = found(Fault("neighbour", "FCR", "BR", 0.6), Fault("neighbour", "FCR", "ED", 0.4)).cards["FCR"]
    assert [name for name, _ in card.heard[:2]] == ["BR", "ED"]
    assert "also hears BR (" in card.sentence
    assert "% of its own contraction, 95 % CI " in card.sentence
    assert len(card.findings) == 2


# Doors -----------------------------------------------------------------------------------------------------------


def rows(rec):
    return [
        {
            "recording": rec.name,
            "target": marker.details["target"],
            "start_s": marker.sample / rec.rate_hz,
            "stop_s": marker.sample / rec.rate_hz + marker.duration_s,
            "kind": marker.details["contraction"],
        }
        for marker in rec.markers
    ]


def test_every_door_gives_the_same_matrix(tmp_path):
    rec = PERSON.recording
    bare = rec.with_markers([])
    plain = rec.with_markers([er.Marker(one.sample, one.label, duration_s=one.duration_s) for one in rec.markers])
    named = {f"test {label}": label for label in rec.labels} | {"rest": "rest"}
    untimed = rec.with_markers([(one.sample, one.label) for one in rec.markers if one.label.startswith("test")])
    table = pd.DataFrame(rows(rec))
    path = tmp_path / "asked.tsv"
    table.to_csv(path, sep="\t", index=False)
    from emgreview.contractions.asked import read_asked

    seen = er.selectivity(rec)
    for other in (
        er.selectivity(plain),
        er.selectivity(plain, named),
        er.selectivity(bare, table),
        er.selectivity(bare, read_asked(path)),
    ):
        assert np.array_equal(other.share, seen.share)
        assert other.cards == seen.cards
    with pytest.warns(SignalWarning, match="Nobody said when the person rested"):
        gaps = er.selectivity(untimed, lasting_s=2.0)
    assert np.array_equal(gaps.rms, seen.rms)
    assert gaps.share == pytest.approx(seen.share, abs=0.05)


def test_bursts_that_a_person_marked_in_the_long_view_are_contractions(tmp_path):
    rec = PERSON.recording.with_markers([(1000, "begin")])
    trials = er.cut_trials(rec, cue="begin", before_s=0.5, after_s=0.5)
    with er.open_review(trials, tmp_path / "review", reviewer="r1") as session:
        for one in rows(PERSON.recording):
            if one["kind"] == "test":
                session.mark_burst(rec.name, one["target"], onset_s=one["start_s"], offset_s=one["stop_s"])
        marked = session.marked
    assert len(marked) == 15
    with pytest.warns(SignalWarning, match="Nobody said when the person rested"):
        seen = er.selectivity(rec, marked)
    assert np.array_equal(seen.rms, er.selectivity(PERSON.recording).rms)


def test_several_recordings_of_one_person_are_pooled_and_others_refused():
    rec = PERSON.recording
    parts = [
        er.Recording.from_array(
            rec.values(), RATE_HZ, labels=rec.labels, markers=[m for m in rec.markers if wanted in m.label], name=wanted
        )
        for wanted in ("rest", "test")
    ]
    assert np.array_equal(er.selectivity(parts).share, er.selectivity(rec).share)
    strange = er.Recording.from_array(np.zeros((1, 4000)), RATE_HZ, labels=["X"], name="strange")
    with pytest.raises(ParameterError, match="the EMG channels came as"):
        er.selectivity([rec, strange])
    with pytest.raises(ParameterError, match="each recording once"):
        er.selectivity([rec, rec])
    mixed = [er.Channel("A"), er.Channel("B", unit="arbitrary")]
    two = er.Recording.from_array(np.ones((2, 4000)), RATE_HZ, labels=["A", "B"], channels=mixed)
    with pytest.raises(UnitError, match="must share one"):
        er.selectivity(two)


def test_a_muscle_without_a_channel_is_a_row_and_a_slip_is_asked_about():
    rec = PERSON.recording
    table = pd.DataFrame(rows(rec)).replace({"target": {"BR": "supinator", "ED": "ed"}})
    with pytest.warns(SignalWarning) as caught:
        seen = er.selectivity(rec.with_markers([]), table)
    said = [str(one.message) for one in caught]
    assert any("No channel is called 'supinator'" in one and "Did you mean" not in one for one in said)
    assert any("No channel is called 'ed'" in one and "Did you mean 'ED'?" in one for one in said)
    assert set(seen.contractions) == {"FCR", "FDS", "ECR", "supinator", "ed"}
    table = pd.DataFrame(rows(rec)).replace({"target": {"BR": "brachioradialis"}})
    with pytest.warns(SignalWarning, match="No channel is called 'brachioradialis'.* Did you mean 'BR'"):
        er.selectivity(rec.with_markers([]), table)
    assert codes(seen) == {("ED", "missing"), ("BR", "missing")}


def test_what_is_missing_or_odd_is_said():
    rec = PERSON.recording
    with pytest.raises(MarkerError, match=r"no contraction was found .*'test FCR'"):
        er.selectivity(rec.with_markers([(5, "go")]))
    with pytest.raises(MarkerError, match=r"does not say how long it lasts.*lasting_s=3.0"):
        er.selectivity(rec.with_markers([(5, "test FCR")]))
    with pytest.raises(UnknownNameError, match=r"no marker is called 'tst FCR'.*Did you mean 'test FCR'"):
        er.selectivity(rec, {"tst FCR": "FCR"})
    with pytest.raises(ParameterError, match="columns recording, target, start_s, stop_s"):
        er.selectivity(rec, [{"recording": rec.name, "target": "FCR"}])
    with pytest.raises(ParameterError, match="seconds inside"):
        er.selectivity(rec, [{"recording": rec.name, "target": "FCR", "start_s": 1, "stop_s": 5000}])
    with pytest.raises(ParameterError, match="test, quiet, rest, maximal"):
        er.selectivity(rec, [{"recording": rec.name, "target": "FCR", "start_s": 1, "stop_s": 5, "kind": "big"}])
    for strange in ("FCR", 5, [5]):
        with pytest.raises(ParameterError, match="contractions came"):
            er.selectivity(rec, strange)
    twice = rec.with_markers([one for k, one in enumerate(rec.markers) if k % 3 or k == 0])
    with pytest.warns(SignalWarning, match="Fewer than three repeats"):
        er.selectivity(twice)


def test_a_unit_that_no_surface_emg_has_is_told():
    rec = PERSON.recording
    x = rec.values(0, rec.n_samples, rec.emg_labels) * 1e6
    volts = er.Recording.from_array(x, rec.rate_hz, labels=rec.emg_labels, markers=rec.markers)
    with pytest.warns(SignalWarning, match="Wrong unit"):
        seen = er.selectivity(volts)
    assert sum("Wrong unit" in one for one in seen.notes) == len(rec.emg_labels)


# Cards on disk ---------------------------------------------------------------------------------------------------


def test_cards_come_back_as_they_were_and_find_their_recording(tmp_path):
    rec = PERSON.recording
    cards = found(Fault("neighbour", "FCR", "BR", 0.6), Fault("missing", "FDS")).cards
    path = er.write_channel_cards(cards.values(), tmp_path)
    assert path.name == "contractions.json"
    back = er.read_channel_cards(tmp_path)
    assert repr(tuple(back)) == repr(tuple(cards.values()))
    assert back.of(rec).keys() == set(rec.labels)
    assert "also hears BR" in back.of(rec)["FCR"].sentence
    with warnings.catch_warnings(action="ignore"):
        trials = er.cut_trials(rec, cue="test FCR", before_s=0.5, after_s=0.5)
    assert back.of(trials) == back.of(rec)
    other = er.Recording.from_array(np.ones((1, 9)), RATE_HZ, labels=["FCR"], entities={"sub": "02"})
    assert back.of(other) == {}, "another person's electrodes"
    with pytest.raises(ReadError, match="nothing is written over"):
        er.write_channel_cards(cards.values(), tmp_path)
    with pytest.raises(ParameterError, match="cards came"):
        er.write_channel_cards([], tmp_path)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda found: [],
        lambda found: found | {"version": 2},
        lambda found: found | {"cards": {}},
        lambda found: found | {"cards": [{}]},
        lambda found: found | {"cards": [found["cards"][0] | {"own_db": "loud"}]},
        lambda found: found | {"cards": [found["cards"][0] | {"heard": [["BR"]]}]},
        lambda found: found | {"cards": [found["cards"][0] | {"findings": [5]}]},
    ],
)
def test_a_file_that_holds_no_cards_is_refused(tmp_path, spoil):
    er.write_channel_cards(found().cards.values(), tmp_path)
    path = tmp_path / "contractions.json"
    path.write_text(json.dumps(spoil(json.loads(path.read_text()))))
    with pytest.raises(FormatError):
        er.read_channel_cards(path)
