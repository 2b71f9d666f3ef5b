"""Datasets of odd shapes: what is refused says so, and nothing is wrong, or left out, in silence."""

import json
import warnings

import numpy as np
import pytest
from files_on_disk import Layout, Sig, noise, write

import emgreview as er
from emgreview.cli.words import in_shell_words
from emgreview.errors import FormatError, RateError, ReadError

RATE, SECONDS = 1000, 20
STEM = "sub-01_task-reach"
ROWS = ("FDI\tEMG\tuV", "APB\tEMG\tuV", "ANGLE\tMISC\tdeg")
GO = ("2\t0\tgo", "6\t0\tgo", "10\t0\tgo")


def signals(apb_hz=RATE):
    return [
        Sig("FDI", noise(1, RATE * SECONDS)),
        Sig("APB", noise(2, apb_hz * SECONDS)),
        Sig("ANGLE", noise(3, RATE * SECONDS), unit="deg"),
    ]


def dataset(tmp_path, *, rows=ROWS, events=GO, sidecar=None, layout=None, given=None, datatype="emg", **texts):
    """One recording of a BIDS dataset; ``texts`` are further files by name, None for one to leave out."""
    folder = tmp_path / "sub-01" / datatype
    folder.mkdir(parents=True)
    write(folder / f"{STEM}_{datatype}.edf", given or signals(), layout or Layout(n_records=SECONDS))
    files = {
        tmp_path / "dataset_description.json": json.dumps({"Name": "odd", "BIDSVersion": "1.11.0"}),
        tmp_path / "participants.tsv": texts.get("participants", "participant_id\tage\nsub-01\t30\n"),
        folder / f"{STEM}_channels.tsv": rows and "\n".join(("name\ttype\tunits", *rows)) + "\n",
        folder / texts.get("events_name", f"{STEM}_events.tsv"): "\n".join(
            (texts.get("head", "onset\tduration\ttrial_type"), *events, "")
        ),
        folder / f"{STEM}_{datatype}.json": json.dumps({"SamplingFrequency": RATE} | (sidecar or {})),
    }
    for path, text in files.items():
        if text:
            path.write_text(text)
    return tmp_path


def heard(root):
    """The one recording, its dataset, and what was told."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        data = er.read_dataset(root)
        rec = data.recordings[0]
    return rec, data, [str(one.message) for one in caught]


def test_a_dataset_of_the_usual_shape_has_nothing_to_say(tmp_path):
    rec, data, told = heard(dataset(tmp_path))
    assert (rec.notes, data.notes, told) == ((), (), [])


def test_events_that_the_file_tells_too_are_told_once_as_twice(tmp_path):
    """A tenth of a sample apart, or ten samples: a trial twice at one place, or at two."""
    records = [[b"+%d\x14\x14" % i] for i in range(SECONDS)]
    records[2].append(b"+2.0001\x14go\x14")
    records[6].append(b"+6.01\x14go\x14")
    records[15].append(b"+15\x14go\x14")
    records[10].append(b"+10\x14stop\x14")
    layout = Layout(n_records=SECONDS, reserved="EDF+C", annotations=records)
    rec, _, told = heard(dataset(tmp_path, layout=layout))
    assert len(told) == 1
    assert "Annotations and events.tsv tell the same moments ('go' 2), and each would be a trial twice" in told[0]
    kept = rec.with_markers([one for one in rec.markers if one.source == "events"])
    assert [marker.sample for marker in kept.markers] == [2000, 6000, 10000]
    assert in_shell_words(told[0]).endswith("keep one of them where the markers are stored.")


def test_a_sample_that_is_not_its_onset_is_told_and_one_counted_from_1_is_not(tmp_path):
    head = "onset\tduration\ttrial_type\tsample"
    rec, _, told = heard(
        dataset(tmp_path / "a", head=head, events=("2\t0\tgo\t2500", "6\t0\tgo\t6001", "8\t0\tgo\tn/a"))
    )
    assert [marker.sample for marker in rec.markers] == [2000, 6000, 8000]
    assert len(told) == 1
    assert "of 1 row the sample is not the onset, of row 1 for one: 2 s is sample 2000 at 1000 Hz, and 2500" in told[0]


def test_events_without_a_name_are_told(tmp_path):
    rec, _, told = heard(dataset(tmp_path / "some", events=("2\t0\tn/a", "6\t0\tgo", "8\t0\tn/a")))
    assert [marker.label for marker in rec.markers] == ["event", "go", "event"]
    assert len(told) == 1
    assert told[0].endswith("name, value, and are called 'event': row 1, 3.")
    rec, _, told = heard(dataset(tmp_path / "none", head="onset\tduration", events=("2\t0", "6\t0")))
    assert ([marker.label for marker in rec.markers], told) == (["event", "event"], [])


@pytest.mark.parametrize("name", ["sub-01_task-Reach_events.tsv", "sub-01_task-reach_run-1_events.tsv"])
def test_a_sidecar_that_belongs_to_no_recording_is_told(tmp_path, name):
    rec, data, told = heard(dataset(tmp_path, events_name=name))
    assert rec.markers == ()
    assert told == [f"odd: {data.notes[0]}"]
    assert f"belong to no recording by their names are left out: sub-01/emg/{name}" in told[0]


def test_a_recording_without_channels_tsv_says_what_that_means(tmp_path):
    rec, _, told = heard(dataset(tmp_path, rows=None))
    assert rec.emg_labels == ("FDI", "APB")
    assert rec.notes == (
        f"There is no channels.tsv for {STEM}_emg.edf: kinds and units are those of the file alone, and no channel is "
        "known to be bad.",
    )
    assert told == [], "a note, and no alarm"
    write(tmp_path / "alone.edf", signals(), Layout(n_records=SECONDS))
    assert er.read(tmp_path / "alone.edf").notes == (), "outside a dataset nobody expects one"


def test_an_empty_table_says_so_and_a_name_in_other_letters_is_guessed(tmp_path):
    rec, _, _ = heard(dataset(tmp_path / "a", rows=("",)))
    assert rec.notes[0].startswith(f"{STEM}_channels.tsv has no row: kinds and units are those of the file alone")
    with pytest.raises(FormatError, match="perhaps 'FDI'"):
        heard(dataset(tmp_path / "b", rows=("fdi\tEMG\tuV", *ROWS[1:])))


def test_a_table_parted_by_commas_says_so(tmp_path):
    root = dataset(tmp_path, head="onset,duration,trial_type", events=("2,0,go",))
    with pytest.raises(FormatError, match=r"events\.tsv: line 1 holds no tab, and ',' between names \(onset,dur"):
        heard(root)


def test_emg_of_a_lower_rate_is_held_loudly(tmp_path):
    rec, _, told = heard(dataset(tmp_path, given=signals(apb_hz=500)))
    x = rec.values(channels=["APB"])[0]
    assert (x[::2] == x[1::2]).all()
    assert len(told) == 1
    assert "'APB' was sampled at 500 Hz; each value is held for 2 samples" in told[0]
    assert "above 250 Hz it has no signal" in told[0]


def test_what_is_left_out_because_its_type_was_assumed_is_named(tmp_path):
    given = [Sig(name, noise(i, RATE * SECONDS)) for i, name in enumerate(("Cz", "FDI", "EMG1"))]
    rec, _, told = heard(
        dataset(tmp_path, datatype="eeg", given=given, rows=("Cz\tEEG\tuV", "FDI\tn/a\tuV", "EMG1\tEMG\tuV"))
    )
    assert rec.labels == ("EMG1",)
    assert any("No type is stated for FDI: taken as EEG" in words for words in told)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("participant_id\tage\nsub-02\t30\n", "participants.tsv has no row for sub-01."),
        ("participant_id\tage\nsub-01\t30\nsub-01\t31\n", "participants.tsv has more than one row for sub-01."),
        ("id\tage\nsub-01\t30\n", "participants.tsv has no column 'participant_id', only id, age: whose its rows are"),
    ],
)
def test_a_list_of_people_that_lacks_or_repeats_some_is_told(tmp_path, text, words):
    _, data, told = heard(dataset(tmp_path, participants=text))
    assert len(told) == 1
    assert words in told[0]
    assert words in data.notes[0]


def test_a_duration_that_the_file_does_not_have_is_told(tmp_path):
    _, _, told = heard(dataset(tmp_path / "a", sidecar={"RecordingDuration": 500}))
    assert len(told) == 1
    assert f"says 500 s, but {STEM}_emg.edf itself holds 20 s: see that it is whole." in told[0]
    for value in (20, 20.4, "n/a", None):
        assert heard(dataset(tmp_path / str(value), sidecar={"RecordingDuration": value}))[2] == []


def test_a_recording_that_says_it_has_gaps_is_refused_in_any_letters(tmp_path):
    with pytest.raises(ReadError, match="says RecordingType 'Discontinuous'; only 'continuous'"):
        heard(dataset(tmp_path, sidecar={"RecordingType": "Discontinuous"}))


@pytest.mark.parametrize("bdf", [False, True])
def test_a_file_that_may_have_gaps_is_read_only_where_it_has_none(tmp_path, bdf):
    def file(name, starts, called):
        records = [[] if at is None else [b"+%g\x14\x14" % at] for at in starts]
        layout = Layout(n_records=SECONDS, reserved=called, annotations=records, bdf=bdf)
        return write(tmp_path / f"{name}.edf", signals(), layout)

    called = "BDF+D" if bdf else "EDF+D"
    whole = er.read(file("whole", range(SECONDS), called))
    assert f"calls itself discontinuous ({called}), and its data records have no gap." in whole.notes[0]
    plain = er.read(file("plain", range(SECONDS), called[:-1] + "C"))
    np.testing.assert_array_equal(whole.values(), plain.values())
    gap = [at if at < 10 else at + 3 for at in range(SECONDS)]
    with pytest.raises(
        ReadError, match=r"stretches of time are missing .* data record 11 begins at 13 s instead of 10 s"
    ):
        er.read(file("gap", gap, called))
    with pytest.raises(ReadError, match="1 of its data records do not say when they begin"):
        er.read(file("silent", [*range(SECONDS - 1), None], called))
    with pytest.raises(ReadError, match="stretches of time may be missing"):
        er.read(write(tmp_path / "none.edf", signals(), Layout(n_records=SECONDS, reserved=called, bdf=bdf)))


def test_a_rate_that_is_not_that_of_the_files_is_refused_for_a_dataset_and_a_plain_folder_too(tmp_path):
    root = dataset(tmp_path / "bids")
    (tmp_path / "plain").mkdir()
    write(tmp_path / "plain" / "a.edf", signals(), Layout(n_records=SECONDS))
    for folder in (root, tmp_path / "plain"):
        assert len(list(er.read_dataset(folder, rate_hz=RATE).recordings)) == 1
        for recordings in (data := er.read_dataset(folder, rate_hz=999).recordings, data[:1]):
            with pytest.raises(RateError, match=r"rate_hz says 999 Hz, but .* itself 1000 Hz"):
                recordings[0]
    (tmp_path / "plain" / "b.csv").write_text("1\n2\n")
    mixed = er.read_dataset(tmp_path / "plain", rate_hz=500, unit="uV", columns=["FDI"]).recordings
    assert [one.rate_hz for one in (mixed[0], mixed[1], mixed[:1][0])] == [1000, 500, 1000], (
        "the rate of the text alone"
    )


def test_a_file_that_does_not_say_how_long_it_is_was_perhaps_not_closed(tmp_path):
    rec, _, _ = heard(dataset(tmp_path, layout=Layout(n_records=SECONDS, announced="-1")))
    assert rec.duration_s == SECONDS
    assert rec.notes == (f"{STEM}_emg.edf does not say how many data records it has; 20 are there: was it closed?",)
