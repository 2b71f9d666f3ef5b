"""The demo study: valid BIDS, whole or absent, true to its truth, and odd exactly where it says so."""

import csv
import json
import shutil

import numpy as np
import pyedflib
import pytest
from official_validator import issues_of
from scipy import signal

import emgreview as er
from emgreview.demo import study, write_demo
from emgreview.demo.study import FAULTS, LABELS, LIGHT_V, MORE, ODD, PARTICIPANTS, RATE_HZ, THRESHOLD_DEG, perform
from emgreview.errors import ParameterError

SEED = 20
SMALL = {"participants": 2, "trials": 4, "seed": SEED}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_demo(tmp_path_factory.mktemp("demo") / "study", **SMALL)


@pytest.fixture(scope="module")
def people():
    """All sixteen, twelve trials each."""
    return {number: perform(number, seed=SEED, trials=12) for number in range(1, PARTICIPANTS + 1)}


def rows_of(path):
    with path.open(newline="") as stream:
        return list(csv.DictReader(stream, delimiter="\t"))


def contents(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def band(made):
    return signal.sosfiltfilt(signal.butter(4, [20, 450], "bandpass", fs=RATE_HZ, output="sos"), made.emg_uv, axis=-1)


def rms(x, from_s, to_s):
    return np.sqrt(np.mean(x[..., int(from_s * RATE_HZ) : int(to_s * RATE_HZ)] ** 2, axis=-1))


def truth_of(made, channel):
    return [row for row in made.truth if row.channel == channel]


def rest_rms(made):
    """(channels, trials): the last half second before each go."""
    x, gos = band(made), [row.go_s for row in truth_of(made, "BB")]
    return np.stack([rms(x, go - 0.5, go) for go in gos], axis=1)


# The dataset on disk


def test_the_official_validator_finds_no_error(folder):
    issues = issues_of(folder)
    assert [issue for issue in issues if issue["severity"] == "error"] == []
    assert len(issues) <= 3


def test_files_hold_what_was_simulated(folder):
    made = perform(2, seed=SEED, trials=4)
    with pyedflib.EdfReader(str(folder / "sub-02/emg/sub-02_task-turnhandle_emg.bdf")) as file:
        assert file.getSignalLabels() == [*LABELS, "ANGLE", "LIGHT"]
        for index, expected in enumerate([*made.emg_uv, made.angle_deg, made.light_v]):
            assert file.getSampleFrequency(index) == RATE_HZ
            np.testing.assert_allclose(file.readSignal(index), expected, atol=2e-4)
    events = rows_of(folder / "sub-02/emg/sub-02_task-turnhandle_events.tsv")
    assert [(float(row["onset"]), row["trial_type"], row["grip"], int(row["trial"])) for row in events] == [
        (pytest.approx(e.onset_s, abs=1e-9), e.kind, e.grip, e.trial) for e in made.events
    ]
    truth = rows_of(folder / "sourcedata/truth/sub-02_task-turnhandle_truth.tsv")
    assert len(truth) == 4 * len(LABELS)
    assert set(truth[0]) == set(json.loads((folder / "sourcedata/truth/truth.json").read_text()))
    for row, expected in zip(truth, made.truth, strict=True):
        assert bool(int(row["present"])) == expected.present
        assert (row["onset_s"] == "n/a") == np.isnan(expected.onset_s)
        if expected.present:
            assert float(row["onset_s"]) == pytest.approx(expected.onset_s, abs=1e-6)


def test_our_own_reader_reads_it(folder):
    data = er.read_dataset(folder)
    recordings = list(data.recordings)
    assert len(recordings) == 2
    for recording in recordings:
        assert recording.rate_hz == RATE_HZ
        assert recording.emg_labels == LABELS
        assert recording.channel("BB").over == "biceps brachii"
        assert recording.channel("ANGLE").unit == "deg"
        assert recording.mains_hz == study.MAINS_HZ
        assert sum(marker.label == "go" for marker in recording.markers) == 4
        again = er.with_cues(recording, "LIGHT", level=2.1, edge="rising", hold_off_s=0.5)
        found = [marker.sample for marker in again.markers if marker.source == "channel LIGHT"]
        assert found == [marker.sample for marker in recording.markers if marker.label == "go"]


def test_everything_says_that_it_is_simulated(folder):
    assert "simulated" in json.loads((folder / "dataset_description.json").read_text())["Name"]
    assert "Everything here is simulated" in (folder / "README.md").read_text()


def test_same_arguments_same_bytes(folder, tmp_path):
    again = contents(write_demo(tmp_path / "again", **SMALL, workers=1))
    assert again == contents(folder)
    other = contents(write_demo(tmp_path / "other", participants=1, trials=2, seed=SEED + 1))
    name = "sub-01/emg/sub-01_task-turnhandle_events.tsv"
    assert other[name] != again[name]


# Whole, or absent, and never over anything else


def test_a_complete_demo_is_left_as_it_is(folder):
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    said = []
    assert write_demo(folder, **SMALL, progress=lambda *said_now: said.append(said_now)) == folder
    assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before
    assert said == [(2, 2, "the demo study is complete already")]


def test_derivatives_in_a_complete_demo_do_no_harm(folder, tmp_path):
    mine = tmp_path / "mine"
    shutil.copytree(folder, mine)
    (mine / "derivatives").mkdir()
    (mine / "derivatives" / "marks.txt").write_text("mine")
    write_demo(mine, **SMALL)
    assert (mine / "derivatives" / "marks.txt").read_text() == "mine"


def test_an_interrupted_demo_says_so_and_is_finished_later(folder, tmp_path):
    def stop(done, total, words):
        raise KeyboardInterrupt

    target = tmp_path / "study"
    with pytest.raises(KeyboardInterrupt):
        write_demo(target, **SMALL, progress=stop, workers=1)
    assert json.loads((target / "sourcedata/demo.json").read_text())["complete"] is False
    assert not list(target.rglob("*.part"))
    (target / "sourcedata/truth/sub-02_task-turnhandle_truth.tsv").unlink(missing_ok=True)
    write_demo(target, **SMALL)
    assert contents(target) == contents(folder)


def test_progress_counts_every_person(tmp_path):
    said = []
    write_demo(tmp_path / "d", participants=3, trials=1, seed=0, progress=lambda *now: said.append(now))
    assert [(done, total) for done, total, _ in said] == [(1, 3), (2, 3), (3, 3)]
    assert {words for *_, words in said} == {f"sub-0{number} written" for number in (1, 2, 3)}


def test_other_folders_are_refused_and_keep_their_files(folder, tmp_path):
    foreign = tmp_path / "foreign"
    foreign.mkdir()
    (foreign / "thesis.txt").write_text("years of work")
    with pytest.raises(ParameterError, match="is not empty, and is no demo study"):
        write_demo(foreign, **SMALL)
    assert contents(foreign) == {"thesis.txt": b"years of work"}
    with pytest.raises(ParameterError, match="is a file"):
        write_demo(foreign / "thesis.txt", **SMALL)
    before = contents(folder)
    with pytest.raises(ParameterError, match=r"another demo study .*trials 4 there, 5 asked"):
        write_demo(folder, **{**SMALL, "trials": 5})
    assert contents(folder) == before


@pytest.mark.parametrize("harm", ["changed", "missing"])
def test_a_harmed_demo_is_refused_not_repaired(folder, tmp_path, harm):
    mine = tmp_path / "mine"
    shutil.copytree(folder, mine)
    path = mine / "sub-01/emg/sub-01_task-turnhandle_events.tsv"
    path.write_text("mine") if harm == "changed" else path.unlink()
    before = contents(mine)
    with pytest.raises(ParameterError, match=f"sub-01_task-turnhandle_events.tsv .* is {harm}"):
        write_demo(mine, **SMALL)
    assert contents(mine) == before


@pytest.mark.parametrize("wrong", [{"participants": 21}, {"participants": 0}, {"trials": 0}, {"workers": 0}])
def test_numbers_out_of_range_are_refused(tmp_path, wrong):
    with pytest.raises(ParameterError, match=next(iter(wrong))):
        write_demo(tmp_path / "d", **wrong)
    assert not (tmp_path / "d").exists()


# What happens in the study


def test_forty_trials_half_of_each_grip_and_one_go_not_written_down():
    made = perform(5, seed=SEED)
    kinds = [event.kind for event in made.events]
    assert (kinds.count("warning"), kinds.count("go"), kinds.count("response")) == (40, 39, 40)
    grips = [event.grip for event in made.events if event.kind == "warning"]
    assert grips.count("small") == grips.count("large") == 20
    assert grips != sorted(grips)
    above = made.light_v > 0.5 * (LIGHT_V["warning"] + LIGHT_V["go"])
    seen = np.flatnonzero(np.diff(above.astype(int)) == 1) + 1
    assert len(seen) == 40
    written = {round(event.onset_s * RATE_HZ) for event in made.events if event.kind == "go"}
    assert written < set(seen.tolist())
    assert {round(row.go_s * RATE_HZ) for row in made.truth} == set(seen.tolist())


def test_the_handle_passes_its_threshold_at_the_response(people):
    for made in people.values():
        for event in made.events:
            if event.kind == "response":
                at = round(event.onset_s * RATE_HZ)
                assert made.angle_deg[at - 20] < THRESHOLD_DEG < made.angle_deg[at + 20]


def test_motor_time_and_order_of_events(people):
    for number, made in people.items():
        responses = {event.trial: event.onset_s for event in made.events if event.kind == "response"}
        biceps = [row for row in made.truth if row.site == "BB" and row.present]
        assert biceps
        for row in biceps:
            assert 0.119 < responses[row.trial] - row.onset_s < 0.251
            assert row.drive_s < row.onset_s < row.offset_s
            if row.behaviour == "":
                assert row.onset_s > row.go_s + 0.08, f"person {number}, trial {row.trial}"
            if row.behaviour == "anticipation":
                assert row.onset_s < row.go_s


def test_no_response_and_response_to_the_warning():
    made = perform(3, seed=SEED, trials=18)
    assert not any(row.present for row in made.truth if row.trial == 18)
    assert not any(event.kind == "response" for event in made.events if event.trial == 18)
    made = perform(8, seed=SEED, trials=15)
    early = {event.kind: event.onset_s for event in made.events if event.trial == 15}
    assert early["warning"] < early["response"] < early["go"]


def test_stated_levels_and_onsets_hold_in_the_recording(people):
    """In the clean: rest before the first potential, and the stated level between onset and offset."""
    made = people[10]
    x, rest = band(made), rest_rms(made)
    for index, label in enumerate(LABELS):
        noise = np.sqrt(np.mean(rest[index] ** 2))
        errors = []
        for row in truth_of(made, label):
            if row.present:
                together = rms(x[index], row.onset_s, row.offset_s)
                alone = np.sqrt(max(together**2 - noise**2, 1e-9))
                errors.append(20 * np.log10(alone / noise) - row.level_db)
        assert abs(np.median(errors)) < 0.7, label


def test_the_pectoral_channel_does_little_with_the_small_handle():
    made = perform(10, seed=SEED)
    answers = {grip: [row.present for row in truth_of(made, "PM") if row.grip == grip] for grip in ("small", "large")}
    assert np.mean(answers["large"]) == 1
    assert 0.05 < np.mean(answers["small"]) < 0.7


def test_clipped_trials_lie_at_the_rail_and_no_others(people):
    at_rail = {number: (np.abs(made.emg_uv) >= study.RAIL_UV).sum(axis=1) for number, made in people.items()}
    for number, made in people.items():
        spoilt = {row.channel for row in made.truth if row.signal == "clipped"}
        assert {label for label, count in zip(LABELS, at_rail[number], strict=True) if count > 10} == spoilt
    assert sum(count.sum() > 10 for count in at_rail.values()) >= 2


def test_heart_beats_are_heard_on_the_pectoral_channel_of_some_people(people):
    beating = set()
    for number, made in people.items():
        if number in ODD:
            continue
        spikes = signal.find_peaks(band(made)[LABELS.index("PM")][: int(3 * RATE_HZ)], height=20.0, distance=600)[0]
        if len(spikes) >= 2:
            beating.add(number)
    assert beating == {n for n, faults in FAULTS.items() if any(fault.kind == "heart beats" for fault in faults)}


# The four odd ones, found by simple physical measures; nobody else is


def test_four_are_odd_and_they_have_no_other_fault():
    assert len(ODD) == 4
    assert not set(ODD) & set(FAULTS)
    assert max(ODD) <= PARTICIPANTS


def test_four_more_are_odd_each_in_the_way_that_is_stated(people):
    assert set(MORE) == {17, 18, 19, 20}
    assert max(MORE) == study.MOST
    more = {MORE[number]: perform(number, seed=SEED, trials=12) for number in MORE}
    assert np.array_equal(more["duplicate"].emg_uv, people[study.DUPLICATE_OF].emg_uv)
    assert repr(more["duplicate"].truth) == repr(people[study.DUPLICATE_OF].truth)  # NaN is not itself
    assert np.median(np.abs(more["wrong unit"].emg_uv)) < 0.01 < np.median(np.abs(people[1].emg_uv))
    source, place = (LABELS.index(label) for label in study.COPIED)
    copied = more["inverted copy"].emg_uv
    assert np.array_equal(copied[place], -copied[source])
    levels = {
        label: [row.level_db for row in more["weak electrode"].truth if row.channel == label and row.present]
        for label in LABELS
    }
    assert np.median(levels[study.WEAK]) < 4 < np.median(levels["BB"])
    for made in more.values():
        assert {row.signal for row in made.truth if row.signal in MORE.values()} <= {made.odd}


def _found(people, measure):
    return {number for number, made in people.items() if measure(made)}


def odd(kind):
    return {number for number, name in ODD.items() if name == kind}


def test_swapped_leads_show_in_which_channel_rests_with_the_small_handle(people):
    def share_silent(made, channel):
        index, x = LABELS.index(channel), band(made)
        loud = [
            rms(x[index], row.go_s, row.go_s + 1.0) / rms(x[index], row.go_s - 0.5, row.go_s)
            for row in truth_of(made, channel)
            if row.grip == "small" and row.behaviour in ("", "late")
        ]
        return np.mean(np.array(loud) < 1.5)

    assert _found(people, lambda made: share_silent(made, "BB") > 0.3) == odd("swapped leads")
    (number,) = odd("swapped leads")
    sites = {row.channel: row.site for row in people[number].truth}
    assert sites == {**dict(zip(LABELS, LABELS, strict=True)), "BB": "PM", "PM": "BB"}
    assert all(row.site == row.channel for n, made in people.items() if n != number for row in made.truth)


def test_a_lost_electrode_shows_as_a_channel_below_amplifier_noise(people):
    assert _found(people, lambda made: (rest_rms(made)[:, -1] < 0.5).any()) == odd("lost electrode")
    (number,) = odd("lost electrode")
    lost = [row for row in people[number].truth if row.signal == "electrode lost"]
    assert {row.channel for row in lost} == {study.LOST}
    assert 3 <= len(lost) < 12
    assert not any(row.present for row in lost)
    assert (rest_rms(people[number])[:, 0] > 1.0).all()


def test_mains_hum_shows_as_power_at_its_frequency(people):
    def hum(made):
        f, power = signal.welch(made.emg_uv[:, : int(3 * RATE_HZ)], RATE_HZ, nperseg=int(RATE_HZ))
        near = np.abs(f - study.MAINS_HZ) <= 2
        return np.median(power[:, near].sum(axis=1) / power.sum(axis=1)) > 0.3

    assert _found(people, hum) == odd("mains hum")


def test_tense_and_late_shows_as_loud_rest_and_long_times(people):
    def loud(made):
        x = band(made) if made.odd != "mains hum" else np.zeros_like(made.emg_uv)
        return np.median(rms(x[:, : int(3 * RATE_HZ)], 0.5, 2.5)) > 8.0

    def late(made):
        response = {event.trial: event.onset_s for event in made.events if event.kind == "response"}
        times = [response[row.trial] - row.go_s for row in truth_of(made, "FCR") if row.trial in response]
        return np.median(times) > 0.5

    assert _found(people, loud) == _found(people, late) == odd("tense and late")
