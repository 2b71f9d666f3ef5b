"""The scale in which a recording was read belongs to its review: unit, gain, offset, kind and delay of every channel.
Another one is refused, or told; old logs, which did not keep it, still open and say so."""

import dataclasses
import hashlib
import json
import shutil
import warnings
from pathlib import Path

import numpy as np
import pytest
from scripted_reviews import detect
from stored_reviews import first_recordings
from stored_reviews import recordings as second_recordings

import emgreview as er
from emgreview import cli
from emgreview.errors import LogError, ParameterError, SignalWarning, VersionError
from emgreview.model import ArraySource
from emgreview.session import review as session_module

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # test_told.py asks for them

RATE = 1000.0
N = 12_000
FILES = Path(__file__).parent / "files"
COLUMNS = ["FDI", "APB", "TRIGGER"]


def stored():
    """Invented noise in whole numbers, stronger after each of five pulses of 5 in the third column."""
    x = np.random.default_rng(3).normal(size=(2, N)) * 20
    pulse = np.zeros(N)
    for cue in range(1000, 10_000, 2000):
        x[:, cue + 200 : cue + 500] *= 8
        pulse[cue : cue + 50] = 5
    return np.vstack([np.rint(x), pulse])


@pytest.fixture(scope="module")
def text(tmp_path_factory):
    path = tmp_path_factory.mktemp("recordings") / "turns.csv"
    np.savetxt(path, stored().T, fmt="%d", delimiter=",")
    return path


def read(path, unit="uV", pulse="V", columns=COLUMNS):
    return er.read(path, rate_hz=RATE, unit={"FDI": unit, "APB": unit, "TRIGGER": pulse}, columns=columns)


def cut(rec):
    rec = er.with_cues(rec, "TRIGGER", level=2.5, hold_off_s=0.5, label="go")
    return er.cut_trials(rec, cue="go", before_s=0.6, after_s=1.0)


def review(folder, trials, reviewer="r1", **options):
    """Accept the first trial, move one mark of the second."""
    with er.open_review(trials, folder, reviewer=reviewer, method="threshold", **options) as session:
        first, second, *_ = session.queue
        session.accept_rest(first)
        session.move(second, trials.labels[0], onset_s=0.2)
        session.accept(second, trials.labels[0])
        session.seal(f"v-{reviewer}")
        return session.decisions()


def lines(folder):
    return [json.loads(line) for path in (folder / "logs").rglob("*.jsonl") for line in path.read_bytes().splitlines()]


def delayed(rec, delay_s=0.05):
    return dataclasses.replace(rec, channels=tuple(dataclasses.replace(one, delay_s=delay_s) for one in rec.channels))


def cut_at_fixed_places(rec):
    markers = [er.Marker(cue, "go") for cue in range(1000, 10_000, 2000)]
    return er.cut_trials(rec.with_markers(markers), cue="go", before_s=0.6, after_s=1.0)


# Opening, continuing, replaying --------------------------------------------------------------------------------------


def test_the_same_file_in_another_unit_is_refused_everywhere(text, tmp_path, counted):
    decisions = review(tmp_path, cut(read(text)))
    table, before = er.read_version(tmp_path, "v-r1"), len(lines(tmp_path))
    refused = 0
    for unit, gain in (("V", "1e+06 µV"), ("mV", "1000 µV"), ("nV", "0.001 µV"), ("arbitrary", "1 arbitrary units")):
        other = cut(read(text, unit))
        words = rf"channel FDI: one stored unit was 1 µV, and is {gain.replace('+', '[+]')}"
        for attempt, arguments in (
            (er.open_review, {"trials": other, "reviewer": "r1"}),
            (er.open_review, {"trials": other, "reviewer": "r1", "read_only": True}),
            (er.replay, {"data": [other.recording], "version": "v-r1"}),
            (er.seal, {"data": [other.recording], "name": "v2"}),
        ):
            with pytest.raises(LogError, match=words):
                attempt(folder=tmp_path, **arguments)
            refused += 1
        for one in (table, decisions, er.include(table, er.Rule(name="main", version=1))):
            with pytest.raises(VersionError, match=words):
                er.measure(other, one)
            refused += 1
    assert len(lines(tmp_path)) == before, "nothing was written"
    assert er.replay(tmp_path, [read(text)], "v-r1").same_bytes
    counted(f"the same file in another unit: {refused} of {refused} attempts refused, with both units named")


def test_what_only_the_header_of_a_file_says_is_part_of_the_review(tmp_path):
    study = er.write_demo(tmp_path / "study", participants=1, trials=3)
    (path,) = (path for path in study.rglob("*_emg.*") if path.suffix in (".edf", ".bdf"))
    one = er.read(path)
    review(tmp_path / "review", er.cut_trials(one, cue="go", before_s=1.0, after_s=1.5))
    header = bytearray(path.read_bytes())
    n = int(header[252:256])
    for field, sign in ((104, "-"), (112, "")):  # physical minimum and maximum of the first signal (Kemp et al. 1992)
        at = 256 + n * field
        assert float(header[at : at + 8]) != 5000
        header[at : at + 8] = f"{sign}5000".encode().ljust(8)
    path.chmod(0o644)
    path.write_bytes(bytes(header))
    other = er.read(path)
    assert other.fingerprint.samples == one.fingerprint.samples, "what is stored is the same"
    trials = er.cut_trials(other, cue="go", before_s=1.0, after_s=1.5)
    with pytest.raises(LogError, match=f"channel {one.labels[0]}: one stored unit was .* µV, and is .* µV"):
        er.open_review(trials, tmp_path / "review", reviewer="r1")
    with pytest.raises(LogError, match="in another scale"):
        er.replay(tmp_path / "review", study, "v-r1")


def test_arrays_in_another_unit(tmp_path):
    x = stored()[:2]
    trials = [
        cut_at_fixed_places(er.Recording.from_array(x, RATE, labels=["FDI", "APB"], name="turns", unit=unit))
        for unit in ("uV", "arbitrary", "mV")
    ]
    review(tmp_path, trials[0])
    with pytest.raises(LogError, match="was 1 µV, and is 1 arbitrary units"):
        er.open_review(trials[1], tmp_path, reviewer="r1")
    with pytest.raises(LogError, match="belongs to another recording"):  # of arrays, microvolts are what is stored
        er.open_review(trials[2], tmp_path, reviewer="r1")


def test_a_source_that_does_not_tell_its_scale_is_asked_for_samples():
    class Doubled:
        file, n_samples = None, 4

        def read(self, start, stop, channels):
            return self.digital(start, stop, channels) * 2.0 + 10

        def digital(self, start, stop, channels):
            return np.array([[1, 5, 3, 3], [7, 7, 7, 7]])[list(channels), start:stop]

    rec = er.Recording("a", (er.Channel("x"), er.Channel("flat")), RATE, Doubled())
    assert (rec.scales[0].gain, rec.scales[0].offset) == (2.0, 10.0)
    assert np.isnan(rec.scales[1].gain), "of a channel that never changes it cannot be told"


def test_delay_and_kind_of_a_channel_are_refused_and_no_correction_mends_them(text, tmp_path):
    review(tmp_path, cut(read(text)))
    for other, words in (
        (delayed(read(text)), r"channel FDI was read with a delay of 0 s, and comes with 0\.05 s"),
        (
            dataclasses.replace(
                read(text), channels=(read(text).channels[0], er.Channel("APB", "MISC"), read(text).channels[2])
            ),
            "channel APB was of kind EMG, and is of kind MISC",
        ),
    ):
        for more in ({}, {"scale_corrected": "as the maker says"}):
            with pytest.raises(LogError, match=f"{words}.*begin a review in another folder"):
                er.open_review(cut(other), tmp_path, reviewer="r1", **more)


def test_channels_in_another_order_are_another_recording_and_the_order_is_named(text, tmp_path):
    review(tmp_path, cut(read(text)))
    with pytest.raises(
        LogError, match=r"labels \['FDI', 'APB', 'TRIGGER'\] were reviewed, \['APB', 'FDI', 'TRIGGER'\] came"
    ):
        er.open_review(cut(read(text, columns=["APB", "FDI", "TRIGGER"])), tmp_path, reviewer="r1")


def test_other_channels_in_another_unit_are_told_and_kept(text, tmp_path):
    review(tmp_path, cut(read(text)))
    other = cut(read(text, pulse="mV"))
    with er.open_review(other, tmp_path, reviewer="r1") as session:
        (notice,) = session.notices
        assert "channel TRIGGER: one stored unit was 1 V, and is 1 mV" in notice
    with er.open_review(other, tmp_path, reviewer="r1") as session:
        assert session.notices == ()
    found = er.replay(tmp_path, [read(text, pulse="mV")], "v-r1")
    assert any("TRIGGER" in note for note in found.notes)


def test_trials_of_one_recording_read_twice_are_refused(text, tmp_path):
    rec = er.with_cues(read(text), "TRIGGER", level=2.5, edge="falling", hold_off_s=0.5, label="end")
    other = er.cut_trials(er.with_cues(read(text, "mV"), "TRIGGER", level=2.5, hold_off_s=0.5, label="go"), cue="go",
                          before_s=0.6, after_s=1.0)  # fmt: skip
    trials = [er.cut_trials(rec, cue="end", before_s=0.6, after_s=1.0), other]
    with pytest.raises(
        ParameterError, match="two readings of it: channel FDI: one stored unit was 1 µV, and is 1000 µV"
    ):
        er.open_review(trials, tmp_path, reviewer="r1")


# Correcting a scale ----------------------------------------------------------------------------------------------


def test_a_wrong_scale_is_corrected_once_and_the_log_says_so(text, tmp_path):
    review(tmp_path, cut(read(text, "V")))
    before = er.measure(cut(read(text, "V")), er.read_version(tmp_path, "v-r1"))
    right = cut(read(text, "mV"))
    with pytest.raises(ParameterError, match="without words"):
        er.open_review(right, tmp_path, reviewer="r1", scale_corrected=" ")
    with er.open_review(right, tmp_path, reviewer="r1", scale_corrected="the export says mV") as session:
        assert "(the export says mV): channel FDI: one stored unit was 1e+06 µV, and is 1000 µV" in session.notices[0]
        assert session.progress[0] == 3, "decisions stand"
        session.seal("v2")
    (line,) = [line for line in lines(tmp_path) if line["operation"] == "correct scale"]
    assert (line["reason"], line["old"]["scales"][0]["gain"], line["new"]["scales"][0]["gain"]) == (
        "the export says mV", 1e6, 1e3,
    )  # fmt: skip
    with er.open_review(right, tmp_path, reviewer="r1") as session:
        assert len(session.notices) == 1, "it stays told"
    with er.open_review(right, tmp_path, reviewer="r1", scale_corrected="again") as session:
        assert session.notices[1] == "Every recording comes in the scale that is known of it: none was corrected."
    assert [line["operation"] for line in lines(tmp_path)].count("correct scale") == 1
    after = er.measure(right, er.read_version(tmp_path, "v2"))
    np.testing.assert_allclose(after["burst_rms"], before["burst_rms"] / 1000, rtol=1e-6)
    with pytest.raises(VersionError, match="in another scale"):
        er.measure(right, er.read_version(tmp_path, "v-r1"))
    assert "1 recording in another scale" in str(er.diff(tmp_path, "v-r1", "v2"))
    assert er.replay(tmp_path, [right.recording], "v2").same_bytes
    assert er.replay(tmp_path, [read(text, "V")], "v-r1").same_bytes
    with pytest.warns(SignalWarning, match=r"Version 'v2': The scale of turns was corrected .*the export says mV"):
        about = er.read_version(tmp_path, "v2").attrs["version"]
    assert about["recordings"]["turns"]["scales"][0] == {
        "label": "FDI", "kind": "EMG", "unit": "uV", "gain": 1000.0, "offset": 0.0, "delay_s": 0.0,
    }  # fmt: skip
    assert "the export says mV" in about["scale_notes"][0]
    assert er.verify(tmp_path).ok


# Two reviewers ---------------------------------------------------------------------------------------------------


def test_two_scales_are_not_compared_merged_or_settled(text, tmp_path):
    review(tmp_path, cut(read(text)))
    with er.open_review(cut(read(text, "mV")), tmp_path, reviewer="r2") as session:
        (notice,) = session.notices
        assert notice.startswith("Reviewer r1 reviewed turns otherwise: channel FDI: one stored unit was 1 µV")
        session.move(session.queue[0], "FDI", onset_s=0.4)
        session.accept(session.queue[0], "FDI")
    for attempt in (
        lambda: er.agreement(tmp_path, "r1", "r2"),
        lambda: er.merge_reviews(tmp_path, "r1", "r2"),
        lambda: er.adjudicate(cut(read(text)), tmp_path, "r1", "r2", reviewer="r3"),
    ):
        with pytest.raises(LogError, match="one stored unit was 1 µV, and is 1000 µV"):
            attempt()
    with er.open_review(cut(read(text)), tmp_path, reviewer="r2", scale_corrected="as r1") as session:
        session.accept(session.queue[0], "APB")
    assert er.merge_reviews(tmp_path, "r1", "r2").conflicts
    for other, words in (
        (read(text, "V"), "one stored unit was 1 µV, and is 1e[+]06 µV"),
        (delayed(read(text)), "delay of 0 s"),
    ):
        with pytest.raises(LogError, match=words):
            er.adjudicate(cut(other), tmp_path, "r1", "r2", reviewer="r3")
    wrong = er.Recording.from_array(stored()[:2] + 1, RATE, labels=["FDI", "APB"], name="turns")
    trials = er.cut_trials(
        wrong.with_markers([er.Marker(k, "go", "channel TRIGGER") for k in range(1000, 10_000, 2000)]),
        cue="go", before_s=0.6, after_s=1.0,
    )  # fmt: skip
    with pytest.raises(LogError, match="reviewed other samples"):
        er.adjudicate(trials, tmp_path, "r1", "r2", reviewer="r3")


def test_a_long_view_of_another_scale_is_refused(text, tmp_path):
    with (
        er.open_review(cut(read(text)), tmp_path, reviewer="r1") as session,
        pytest.raises(ParameterError, match="in another scale"),
    ):
        er.long_view(read(text, "mV"), session)


def test_a_table_without_its_review_says_that_the_scale_is_not_known(text, tmp_path):
    trials = cut(read(text))
    table = review(tmp_path, trials)
    assert (
        er.measure(trials, table).attrs["notes"] == er.measure(trials, er.read_version(tmp_path, "v-r1")).attrs["notes"]
    )
    table.attrs.clear()
    assert any("is not known" in note and "turns" in note for note in er.measure(trials, table).attrs["notes"])
    other = er.cut_trials(trials.recording, cue="go", before_s=0.6, after_s=1.0, processing=er.Processing(low_hz=40))
    notes = er.measure(other, er.read_version(tmp_path, "v-r1")).attrs["notes"]
    assert any("another processing" in note for note in notes)


def test_every_table_of_measures_refuses_another_scale(text, tmp_path):
    table = review(tmp_path, cut(read(text)))
    other = cut(read(text, "mV"))
    for attempt in (
        lambda: er.compare_channels(other, table, "FDI", "APB"),
        lambda: er.average_envelopes(other, table, to="go", before_s=0.1, after_s=0.1),
        lambda: er.detection_floor(other, "FDI", decisions=table),
        lambda: er.measure_evoked(other, stimulus="go", decisions=table),
    ):
        with pytest.raises(VersionError, match="in another scale"):
            attempt()


def test_another_window_or_filter_is_told_on_opening(text, tmp_path):
    rec = cut(read(text)).recording
    review(tmp_path, cut(read(text)))
    longer = er.cut_trials(rec, cue="go", before_s=0.6, after_s=1.2, processing=er.Processing(low_hz=30))
    with er.open_review(longer, tmp_path, reviewer="r1") as session:
        assert session.notices[0].startswith(
            "Cut or filtered otherwise than before, turns: trials around 'go' were cut from -0.6 to 1 s, and are cut "
            "from -0.6 to 1.2 s; low_hz was 20, and is 30."
        )
    with er.open_review(longer, tmp_path, reviewer="r1") as session:
        assert session.notices == ()
        sealed = session.seal("v2")
    about = er.read_version(tmp_path, sealed.name).attrs["version"]
    assert about["trials"] == [{"recording": "turns", "cue": "go", "before": 600, "length": 1800}]


# Cues found in a channel -----------------------------------------------------------------------------------------


def test_cues_found_in_a_channel_are_found_again(text, tmp_path):
    review(tmp_path, cut(read(text)))
    found = er.replay(tmp_path, [read(text)], "v-r1")
    assert (found.ok, found.same_bytes, found.notes) == (True, True, ())
    assert found.table["level"].unique().tolist() == ["2.5 V"]
    er.seal(tmp_path, [read(text)], "again")
    assert er.replay(tmp_path, [cut(read(text)).recording], "again").same_bytes, "with the cues made already, too"


def test_cues_of_both_edges_and_of_codes_are_found_again(text, tmp_path):
    rec = read(text)
    both = [*er.find_cues(rec, "TRIGGER", level=2.5, edge="rising", hold_off_s=0.5, label="go"),
            *er.find_cues(rec, "TRIGGER", level=2.5, edge="falling", hold_off_s=0.5, label="go")]  # fmt: skip
    trials = er.cut_trials(rec.with_markers(both), cue="go", before_s=0.6, after_s=1.0)
    review(tmp_path / "both", trials)
    assert er.replay(tmp_path / "both", [rec], "v-r1").same_bytes
    coded = er.with_cues(rec, "TRIGGER", codes=True, hold_off_s=0.5, label="code")
    review(tmp_path / "codes", er.cut_trials(coded, cue="code 5", before_s=0.6, after_s=1.0), blind=True)
    assert er.replay(tmp_path / "codes", [rec], "v-r1").same_bytes


def test_cues_of_logs_that_do_not_say_how_they_were_found_are_looked_for_at_the_level_of_the_version(
    text, tmp_path, monkeypatch
):
    whole = session_module._cut
    monkeypatch.setattr(
        session_module, "_cut", lambda part: {name: value for name, value in whole(part).items() if name != "searches"}
    )
    review(tmp_path, cut(read(text)))
    assert not any("searches" in str(line["new"]) for line in lines(tmp_path))
    found = er.replay(tmp_path, [read(text)], "v-r1")
    assert (found.ok, found.same_bytes) == (True, True)
    with pytest.warns(SignalWarning, match="5 of 5 cues .* without further columns"):
        er.seal(tmp_path, [read(text)], "again")


def test_cues_that_cannot_be_found_again_are_told(text, tmp_path):
    trials = cut(read(text))
    moved = trials.recording.with_markers(
        [*trials.recording.markers[1:], dataclasses.replace(trials.recording.markers[0], sample=1003)]
    )
    review(tmp_path, er.cut_trials(moved, cue="go", before_s=0.6, after_s=1.0))
    found = er.replay(tmp_path, [read(text)], "v-r1")
    assert "1 of 5 cues 'go' of turns are not in the recording" in found.notes[0]
    assert not found.same_bytes
    with pytest.warns(SignalWarning, match="1 of 5 cues"):
        er.seal(tmp_path, [read(text)], "again")


# The command line ------------------------------------------------------------------------------------------------


def test_the_command_line_refuses_and_tells(text, tmp_path, capsys):
    trials = cut(read(text))
    folder = tmp_path / "review"
    review(folder, trials)

    def run(*arguments):
        status = cli.run([*map(str, arguments)])
        return status, *capsys.readouterr()

    source = [text, "--rate", "1000", "--columns", "FDI,APB,TRIGGER"]
    microvolts, millivolts = ("FDI=uV,APB=uV,TRIGGER=V", "FDI=mV,APB=mV,TRIGGER=V")
    status, out, _ = run("replay", *source, "--unit", microvolts, "--folder", folder, "--version", "v-r1", "--json")
    assert (status, json.loads(out)["same_bytes"]) == (0, True)
    for command in (["replay", "--version", "v-r1"], ["seal", "--version", "v2"]):
        status, out, err = run(command[0], *source, "--unit", millivolts, "--folder", folder, *command[1:])
        assert (status, out) == (1, "")
        assert "one stored unit was 1 µV, and is 1000 µV" in err
    status, out, _ = run("seal", *source, "--unit", microvolts, "--folder", folder, "--version", "v2", "--json")
    assert status == 0
    assert (json.loads(out)["scales"]["turns"][0]["gain"], json.loads(out)["scale_notes"]) == (1, [])
    assert run("replay", *source, "--unit", microvolts, "--folder", folder, "--version", "v2")[0] == 0


# Old logs --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["review-1", "review-1c"])
def test_old_logs_open_and_say_that_the_scale_was_not_kept(tmp_path, name):
    recordings = first_recordings() if name == "review-1" else second_recordings()[:1]
    folder = shutil.copytree(FILES / name, tmp_path / "review")
    version = "v1" if name == "review-1" else "of-r1"
    found = er.replay(folder, recordings, version, detect=detect)
    assert found.same_decisions
    assert any("was not kept, and is not checked" in note for note in found.notes)
    trials = [er.cut_trials(one, cue="go", before_s=0.5, after_s=1.0) for one in recordings]
    assert any("is not known" in note for note in er.measure(trials, er.read_version(folder, version)).attrs["notes"])
    with er.open_review(trials, folder, reviewer="r1", detect=detect, read_only=True) as session:
        assert "the scale in which it was reviewed was not kept, and is not checked" in session.notices[0]
    with er.open_review(trials, folder, reviewer="r1", detect=detect) as session:
        assert "known only from" in session.notices[0]
        session.seal("later")
    with er.open_review(trials, folder, reviewer="r1", detect=detect) as session:
        assert "known only from" in session.notices[0]
    assert "known only from" in er.read_version(folder, "later").attrs["version"]["scale_notes"][0]
    assert er.verify(folder).ok
    arbitrary = [
        dataclasses.replace(one, channels=tuple(dataclasses.replace(c, unit="arbitrary") for c in one.channels))
        for one in recordings
    ]
    with pytest.raises(LogError, match="was 1 µV, and is 1 arbitrary units"):  # from here on it is kept
        er.replay(folder, arbitrary, "later", detect=detect)


def test_old_logs_know_the_delays_and_the_emg_channels_of_their_cuts(tmp_path):
    folder = shutil.copytree(FILES / "review-1", tmp_path / "review")
    trials = [er.cut_trials(delayed(one), cue="go", before_s=0.5, after_s=1.0) for one in first_recordings()]
    with pytest.raises(LogError, match=r"with a delay of 0 s, and comes with 0\.05 s"):
        er.open_review(trials, folder, reviewer="r1", detect=detect)


def test_a_whole_rate_written_either_way_is_the_same_recording(text, tmp_path):
    """A review begun with rate_hz=1000 is continued with 1000.0, and the other way round; an earlier log that holds the
    digest of the whole number still opens. Before, another recording."""
    whole = er.read(text, rate_hz=int(RATE), unit="uV", columns=[*COLUMNS[:2], None])
    point = er.read(text, rate_hz=RATE, unit="uV", columns=[*COLUMNS[:2], None])
    assert whole.fingerprint == point.fingerprint
    head = {"labels": list(point.labels), "n_samples": N, "rate_hz": int(RATE)}
    earlier = hashlib.sha256(json.dumps(head, sort_keys=True, ensure_ascii=False).encode())
    block = point.source.digital(0, N, [0, 1])
    earlier.update(np.ascontiguousarray(block.T).astype(block.dtype.newbyteorder("<")).tobytes())
    assert point.is_of(earlier.hexdigest())
    assert point.is_of(point.fingerprint.samples)
    assert not point.is_of("0" * 64)


def test_two_reviewers_whose_logs_kept_no_scale_are_told_of():
    folder = Path(__file__).parent / "files" / "review-1b"
    words = "Reviewer r2: The logs of .* were begun before unit and gain of a recording were kept"
    with pytest.warns(er.SignalWarning, match=words):
        found = er.agreement(folder, "r1", "r2")
    assert len(found.notes) == 2
    assert str(found).endswith("\n".join(found.notes))
    assert list(found.to_dict()["notes"]) == list(found.notes)
    with pytest.warns(er.SignalWarning, match=words):
        assert er.merge_reviews(folder, "r1", "r2").notes == found.notes
    with warnings.catch_warnings():
        warnings.simplefilter("error", er.SignalWarning)
        assert er.agreement(folder.with_name("review-1d"), "r1", "r2").notes == ()


def test_a_floor_over_recordings_of_other_scales_says_so():
    class Scaled(ArraySource):
        def scale(self, channel):
            return 2.0, 0.0

    rng = np.random.default_rng(0)
    parts = []
    for name, source in (("a", ArraySource), ("b", Scaled), ("c", ArraySource)):
        rec = er.Recording(name, (er.Channel("FDI"),), 1000.0, source(rng.normal(0, 5, (1, 40_000))))
        rec = rec.with_markers([er.Marker(2000 + 3000 * k, "go") for k in range(12)])
        parts.append(er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.0))
    with pytest.warns(er.SignalWarning, match=r"Pooled are recordings of other scales than a has \(b: channel FDI"):
        er.detection_floor(parts, "FDI", injections=20)
    alike = er.detection_floor(parts[::2], "FDI", injections=20)
    assert not any("Pooled" in note for note in alike.left_out)
