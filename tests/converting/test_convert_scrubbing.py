"""What says who was recorded is listed, and is nowhere in the bytes of a converted dataset; dates move together."""

import dataclasses
import json
import re
from datetime import datetime
from pathlib import Path

import edfio
import numpy as np
import pytest
from converted import SAID, read_again
from official_validator import errors_of

import emgreview as er
from emgreview.converting.rules import Rules, age
from emgreview.errors import ParameterError

SECRETS = [
    "Quillfeather", "Orsolya", "02-MAY-1961", "1961", "HN-448812", "Brambleholt", "Tamsin", "Gadgetron", "Pennyworth",
    "14 Larch", "o.quill@", "0151 496", "wool factory", "2023-11", "06.11.23", "06-NOV-2023", "QXR",
    "asked for her sister", "Dr Ashgrove", "fell asleep",
]  # fmt: skip
"""Invented strings that say who, where or when."""


def write_edf(path: Path, *, day="06-NOV-2023", clock=(14, 15, 16), n=4000) -> Path:
    """An EDF+ file of an invented person, with identifying fields everywhere that EDF+ has some."""
    date = datetime.strptime(day, "%d-%b-%Y").date()
    rng = np.random.default_rng(len(path.name))
    signals = [
        edfio.EdfSignal(
            rng.normal(0, 30, n),
            1000,
            label=label,
            physical_dimension="uV",
            transducer_type="made by Tamsin",
            prefiltering="HP:10Hz LP:450Hz",
        )
        for label in ("EMG FCR", "EMG ECR")
    ]
    recording = edfio.Recording(startdate=date, hospital_administration_code="Brambleholt",
                                investigator_technician_code="Tamsin", equipment_code="Gadgetron")  # fmt: skip
    notes = [(1.0, "go"), (1.5, "Orsolya asked for her sister"), (2.0, "go"), (2.5, "fell asleep, 02-MAY-1961")]
    edfio.Edf(
        signals,
        patient=edfio.Patient(
            code="HN-448812", sex="F", birthdate=datetime(1961, 5, 2).date(), name="Orsolya_Quillfeather"
        ),
        recording=recording,
        starttime=datetime(2000, 1, 1, *clock).time(),
        annotations=[edfio.EdfAnnotation(onset, None, text) for onset, text in notes],
    ).write(path)
    return path


@pytest.fixture
def study(tmp_path):
    """A BIDS dataset of two invented people, one of them recorded on two days, with identifying texts everywhere."""
    root = tmp_path / "study"
    for sub, ses, day in (("01", "a", "06-NOV-2023"), ("01", "b", "09-NOV-2023"), ("02", "a", "01-DEC-2023")):
        folder = root / f"sub-{sub}" / f"ses-{ses}" / "emg"
        folder.mkdir(parents=True)
        stem = folder / f"sub-{sub}_ses-{ses}_task-press"
        write_edf(Path(f"{stem}_emg.edf"), day=day)
        rows = [
            ("onset", "duration", "trial_type", "side", "comment", "rater"),
            ("0.5", "0.1", "cue", "left", "wool factory", "QXR"),
            ("1.75", "n/a", "cue", "right", "n/a", "QXR"),
        ]
        Path(f"{stem}_events.tsv").write_text("".join("\t".join(row) + "\n" for row in rows))
        scans = folder.parent / f"sub-{sub}_ses-{ses}_scans.tsv"
        moment = datetime.strptime(day, "%d-%b-%Y").replace(hour=14, minute=15).isoformat()
        scans.write_text(f"filename\tacq_time\toperator\nemg/{stem.name}_emg.edf\t{moment}\tTamsin\n")
    sidecar = SAID | {
        "TaskName": "press", "SamplingFrequency": 1000, "PowerLineFrequency": 50, "RecordingType": "continuous",
        "SoftwareFilters": "n/a", "InstitutionName": "Brambleholt", "InstitutionAddress": "14 Larch Way",
        "Operator": "Dr Ashgrove", "EMGGround": "wrist of Orsolya", "DeviceSerialNumber": "QX-7",
    }  # fmt: skip
    (root / "task-press_emg.json").write_text(json.dumps(sidecar))
    (root / "participants.tsv").write_text(
        "participant_id\tage\tarm\tsurname\tdate_of_birth\temail\tphone\tpostcode\tremarks\tmet\n"
        "sub-01\t93\tleft\tQuillfeather\t1961-05-02\to.quill@example.org\t0151 496 0000\tQX1 4AB\twool factory\t"
        "2023-11-06\n"
        "sub-02\t31\tright\tPennyworth\t1990-01-01\tn/a\tn/a\tQX2 5CD\tn/a\t2023-12-01\n"
    )
    (root / "participants.json").write_text(json.dumps({"arm": {"Description": "Arm that pressed"}}))
    (root / "README").write_text("Recorded at Brambleholt by Tamsin")
    (root / "dataset_description.json").write_text(
        json.dumps({"Name": "Press study", "BIDSVersion": "1.11.1", "Authors": ["Dr Ashgrove"], "License": "CC0"})
    )
    return er.read_dataset(root)


def everything(root: Path) -> str:
    """Names and bytes of all files of a dataset."""
    return "\n".join(
        f"{p.relative_to(root)} {p.read_bytes().decode('latin-1')}" for p in sorted(root.rglob("*")) if p.is_file()
    )


def test_none_of_the_identifying_strings_is_in_the_result(study, tmp_path):
    before = everything(study.folder)
    assert [secret for secret in SECRETS if secret not in before] == []
    done = er.convert(study, tmp_path / "out")
    assert done.ok
    after = everything(tmp_path / "out")
    assert [secret for secret in SECRETS if secret in after] == []
    assert [secret for secret in SECRETS if secret in repr(done)] == []
    assert errors_of(tmp_path / "out") == []
    listed = repr(er.identifying(study))
    assert [secret for secret in SECRETS if secret in listed] == []


def test_what_is_kept_is_kept_and_described(study, tmp_path):
    er.convert(study, tmp_path / "out")
    table = (tmp_path / "out/participants.tsv").read_text()
    assert table == "participant_id\tage\tarm\nsub-01\t89+\tleft\nsub-02\t31\tright\n"
    described = json.loads((tmp_path / "out/participants.json").read_text())
    assert described["arm"] == {"Description": "Arm that pressed"}
    first = read_again(tmp_path / "out")[0]
    cues = [one for one in first.markers if one.label == "cue"]
    assert [one.details["side"] for one in cues] == ["left", "right"]
    assert [one.label for one in first.markers if one.source == "annotations"] == ["go", "text removed"] * 2
    assert json.loads((tmp_path / "out/dataset_description.json").read_text())["License"] == "CC0"


def test_dates_of_a_person_move_by_the_same_whole_days_to_before_1926(study, tmp_path):
    done = er.convert(study, tmp_path / "out")
    days = {}
    for table in sorted((tmp_path / "out").rglob("*_scans.tsv")):
        row = table.read_text().splitlines()[1].split("\t")
        days[table.name[:12]] = datetime.fromisoformat(row[1])
    assert {day.year <= 1925 for day in days.values()} == {True}
    assert (days["sub-01_ses-b"] - days["sub-01_ses-a"]).days == 3
    assert (datetime(2023, 11, 6, 14, 15) - days["sub-01_ses-a"]).days == done.shift_days["01"]
    assert done.shift_days["01"] != done.shift_days["02"]
    # as a number of its own: the digits of a header's limits and of samples hold any five digits now and then
    assert not re.search(rf"(?<![\d.]){done.shift_days['01']}(?![\d.])", everything(tmp_path / "out"))


def test_days_are_those_that_are_told(study, tmp_path):
    done = er.convert(study, tmp_path / "told", shift_days={"01": 40_000, "02": 50_000})
    assert done.shift_days == {"01": 40_000, "02": 50_000}
    with pytest.raises(ParameterError, match="leaves dates after 1925"):
        er.convert(study, tmp_path / "few", shift_days=10)
    with pytest.raises(ParameterError, match="whole days"):
        er.convert(study, tmp_path / "half", shift_days=0.5)
    er.convert(study, tmp_path / "kept", shift_days=0)
    assert "2023-11-06T14:15:00" in everything(tmp_path / "kept")
    assert not (tmp_path / "few").exists()


def test_codes_replace_codes_and_rows_follow(study, tmp_path):
    people = {name: {"sub": {"01": "K7", "02": "K3"}[name[4:6]]} for name in study.recordings.names}
    done = er.convert(study, tmp_path / "out", people=people)
    assert done.names["sub-01_ses-b_task-press"] == "sub-K7_ses-b_task-press"
    assert (tmp_path / "out/participants.tsv").read_text().splitlines()[1:] == [
        "sub-K3\t31\tright",
        "sub-K7\t89+\tleft",
    ]
    assert "sub-01_ses-a_task-press/events/500" in done.trial_ids
    people = {name: {"sub": "K", "run": str(run)} for run, name in enumerate(study.recordings.names)}
    with pytest.raises(ParameterError, match="two participants"):
        er.convert(study, tmp_path / "one", people=people)


def test_a_code_or_a_label_that_names_a_person_is_asked_for(study, tmp_path):
    name = study.recordings.names[0]
    with pytest.raises(ParameterError, match="must not name anybody"):
        er.convert(study, tmp_path / "out", people={name: {"sub": "Quillfeather"}})
    channel = er.Channel("Orsolya FCR")
    rec = study.recordings[0]
    named = dataclasses.replace(rec, channels=(channel, rec.channels[1]))
    with pytest.raises(er.EmgreviewError, match="must not name anybody"):
        er.convert(named, tmp_path / "out", said=SAID)
    done = er.convert(named, tmp_path / "out", said=SAID, labels={"Orsolya FCR": "FCR"})
    assert done.labels == {"Orsolya FCR": "FCR"}
    sourced = named.with_markers([er.Marker(9, "go", "channel Orsolya FCR")])
    done = er.convert(sourced, tmp_path / "cues", said=SAID, labels={"Orsolya FCR": "FCR"})
    assert done.trial_ids == {f"{rec.name}/channel Orsolya FCR/9": f"{rec.name}/channel FCR/9"}
    assert "Orsolya" not in everything(tmp_path / "cues")


def test_labels_that_a_table_describes_are_codes_and_every_label_stands_among_its_levels(study, tmp_path):
    levels = {"cue": "a light", "strange word": "a sound that Orsolya chose"}
    for table in study.folder.rglob("*_events.tsv"):
        table.write_text(table.read_text().replace("0.1\tcue", "0.1\tstrange word"))
    about = {"trial_type": {"Description": "What happened", "Levels": levels}, "side": {"Levels": {"left": "left arm"}}}
    (study.folder / "task-press_events.json").write_text(json.dumps(about))
    er.convert(study, tmp_path / "out")
    assert errors_of(tmp_path / "out") == []
    (first, *_) = sorted((tmp_path / "out").rglob("*_events.json"))
    described = json.loads(first.read_text())
    assert described["trial_type"]["Levels"] == {
        "cue": "a light",
        "strange word": "a sound that X chose",
        "go": "not described",
        "text removed": "not described",
    }
    assert read_again(tmp_path / "out")[0].markers[0].label == "strange word"


def test_what_no_machine_can_judge_is_said():
    rec = er.Recording.from_array(np.zeros((2, 50)), 1000, labels=["FCR", "Microphone 1"], entities={"sub": "anna"})
    found = {one.what: one.shown for one in er.identifying(rec).traces}
    assert found["channels of sound, which may hold voices"] == "Microphone 1"
    assert found["participant code"] == "anna"
    assert "voices" in repr(er.identifying(rec))


def test_without_scrubbing_everything_is_kept(study, tmp_path):
    done = er.convert(study, tmp_path / "out", scrub=False)
    after = everything(tmp_path / "out")
    gone = [secret for secret in SECRETS if secret not in after]
    assert gone == []
    assert done.changed == {}
    assert errors_of(tmp_path / "out") == []


def test_text_is_kept_by_name(study, tmp_path):
    er.convert(study, tmp_path / "out", keep=["comment", "Orsolya asked for her sister", "postcode"])
    after = everything(tmp_path / "out")
    assert all(secret in after for secret in ("wool factory", "asked for her sister", "QX1 4AB"))


@pytest.mark.parametrize(
    ("label", "often", "kept"),
    [
        ("go", 1, True),
        ("go 5", 1, True),
        ("S1", 1, True),
        ("left hand up", 1, True),
        ("kontrakt", 40, True),
        ("Meier", 1, False),
        ("patient sneezes", 1, False),
        ("call 0151 496 0000", 1, False),
        ("2023-11-06", 9, False),
        ("a@example.org", 9, False),
        ("he said that it hurts", 9, False),
    ],
)
def test_labels_of_few_words_are_codes_and_remarks_are_not(label, often, kept):
    assert (Rules().label(label, often) == label) == kept


def test_high_ages_are_written_as_bids_recommends():
    assert [age(text) for text in ("88", "89", "102", "n/a")] == ["88", "89+", "89+", "n/a"]


def test_a_study_with_new_codes_keeps_the_columns_of_its_people_and_not_its_name(tmp_path):
    lab = tmp_path / "of-hinterhuber"
    lab.mkdir()
    for who in ("7", "8"):
        rows = "".join(f"{n % 7},{n % 5}\n" for n in range(1000))
        (lab / f"P{who}_press.csv").write_text(rows, "utf-8")
    (lab / "people.csv").write_text("code,hand\n7,left\n8,right\n", "utf-8")
    files = {"pattern": "P{participant}_{task}.csv", "rate_hz": 1000, "unit": "uV", "columns": ["FCR", "ECR"]}
    people = {"table": "people.csv", "code": "code"}
    data = er.read_study(er.write_study(lab / "study.toml", name="of Hinterhuber", files=files, participants=people))
    assert "of Hinterhuber" in str(er.identifying(data)) or "Name" in str(er.identifying(data))
    codes = {name: {"sub": f"x{n}", "task": "press"} for n, name in enumerate(data.recordings.names)}
    er.convert(data, tmp_path / "out", people=codes, said=SAID)
    assert (tmp_path / "out" / "participants.tsv").read_text("utf-8").split() == [
        "participant_id",
        "hand",
        "sub-x0",
        "left",
        "sub-x1",
        "right",
    ]
    everything = b"".join(path.read_bytes() for path in (tmp_path / "out").rglob("*") if path.is_file())
    assert b"interhuber" not in everything
    er.convert(data, tmp_path / "same", said=SAID)
    assert er.read_dataset(tmp_path / "same").recordings.names == data.recordings.names
