"""The form of a study writes what the script and the shell write."""

import edfio
import numpy as np
import pytest
import scipy.io

import emgreview as er

pytest.importorskip("panel", reason="the widgets need the extra [notebook]")

from emgreview.views.study_form import NAME


@pytest.fixture
def lab(tmp_path):
    (tmp_path / "trials").mkdir()
    for who in ("01", "02"):
        x = np.round(np.random.default_rng(int(who)).normal(0, 9, (6000, 2)), 2)
        x[:, 1] = np.isin(np.arange(6000) % 1500, range(500, 520)) * 5
        rows = "".join(f"{n / 1000};{a};{b:g}\n" for n, (a, b) in enumerate(x))
        (tmp_path / f"P{who}_press.csv").write_text("made up\ntime [s];EMG 1;tone\n" + rows, "utf-8")
        (tmp_path / "trials" / f"{who}.csv").write_text("condition\nloud\nsoft\nloud\nsoft\n", "utf-8")
    return tmp_path


def words(form) -> str:
    return str(form.said.object)


def test_the_form_asks_looks_shows_and_writes_the_same_description(lab):
    form = er.study_form(lab)
    form.pattern.value = "Q{participant}.csv"
    form.look()
    assert "No file of" in words(form)
    form.pattern.value = "P{participant}_{task}.csv"
    form.look()
    assert "2 files fit" in words(form)
    assert form.rate_hz.value == 1000
    assert {name: fields["label"].value for name, fields in form.columns.items()} == {
        "time [s]": "time",
        "EMG 1": "EMG 1",
        "tone": "tone",
    }
    form.show()
    assert "unit below [files] still holds" in words(form), "a unit has to be said"
    form.columns["EMG 1"]["label"].value = "FCR"
    form.columns["EMG 1"]["unit"].value = "uV"
    form.columns["EMG 1"]["muscle"].value = "flexor carpi radialis"
    form.columns["tone"]["unit"].value = "V"
    form.cue_from.value = "pulses in a channel"
    assert form.channel.options == ["FCR", "tone"]
    form.channel.value, form.level.value, form.hold_off_s.value, form.expect.value = "tone", 2.5, 0.4, 4
    form.trials.value = "trials/{participant}.csv"
    form.show()
    assert "sub-02_task-press: FCR, tone; 1000 Hz, 6.0 s; 4 cues with condition" in words(form)
    assert not (lab / NAME).exists(), "nothing is written before it is saved"
    form.save()
    assert "Saved" in words(form)
    rec = er.read_study(lab / NAME).recordings["sub-01_task-press"]
    assert [marker.details["condition"] for marker in rec.markers] == ["loud", "soft", "loud", "soft"]
    assert rec.channel("FCR").over == "flexor carpi radialis"
    by_form = (lab / NAME).read_text("utf-8")
    (lab / NAME).unlink()
    er.write_study(lab / NAME, **form.parts())
    assert (lab / NAME).read_text("utf-8") == by_form
    form.save()
    assert "is there already" in words(form)


def test_what_else_must_be_told_is_said_in_a_field(lab):
    """A file that has dates whose order a person must say, and one long table of trials."""
    for who in ("01", "02"):
        rows = "".join(
            f"03/04/2026 10:00:{n / 1000:06.3f};{n % 7}.5;{5 * (900 < n % 1000 < 940)}\n" for n in range(4000)
        )
        (lab / f"P{who}_press.csv").write_text("time;FCR [uV];tone [V]\n" + rows, "utf-8")
    table = "".join(f"{who},{side}\n" for who in (1, 2) for side in ("left", "right", "left", "right"))
    (lab / "trials" / "all.csv").write_text("subject,side\n" + table, "utf-8")
    form = er.study_form(lab)
    form.pattern.value = "P{participant}_{task}.csv"
    form.look()
    form.show()
    assert "time_unit below [files] still holds" in words(form)
    form.more.value = 'time_unit = mdy; missing = ["", "NA"]'
    form.cue_from.value = "pulses in a channel"
    form.channel.value, form.level.value, form.hold_off_s.value = "tone", 2.5, 0.4
    form.trials.value, form.trials_of.value = "trials/all.csv", "participant=subject"
    form.show()
    assert "4 cues with edge, level, side" in words(form)
    assert form.parts()["files"]["missing"] == ["", "NA"]
    form.more.value = "time_unit"
    form.show()
    assert "came without a value; give name=value" in words(form)


def test_words_of_a_stranger_are_no_markup(lab):
    (lab / "P03_<b>.csv").write_text("1;2\n", "utf-8")
    form = er.study_form(lab)
    form.pattern.value = "P03_<b>{run}x.csv"
    form.look()
    form.pattern.value = "{who}<script>"
    form.look()
    assert "<script>" not in words(form)


def test_the_form_describes_files_that_name_their_own_channels(tmp_path):
    """EDF says all of them, MATLAB where they stand; pulses are in a channel that the form cannot list."""
    for who in (1, 2):
        key = edfio.EdfSignal((np.arange(4000) % 1000 > 980) * 5.0, 1000, label="TTL", physical_dimension="V")
        x = edfio.EdfSignal(np.random.default_rng(who).normal(0, 9, 4000), 1000, label="FCR", physical_dimension="uV")
        edfio.Edf([x, key]).write(tmp_path / f"P{who}.edf")
        names = np.array(["FDI", "APB"], object)
        scipy.io.savemat(
            tmp_path / f"M{who}.mat", {"x": np.ones((4000, 2)), "fs": 1000.0, "n": names, "go": [5.0, 900.0]}
        )
        (tmp_path / f"T{who}.csv").write_text("side\nn\u00e4her\nweit\nweit\nweit\n", "cp1252")
    form = er.study_form(tmp_path)
    form.pattern.value = "P{participant}.edf"
    form.look()
    form.cue_from.value = "pulses in a channel"
    form.channel.value, form.level.value, form.hold_off_s.value = "TTL", 2.5, 0.4
    form.trials.value, form.encoding.value = "T{participant}.csv", "cp1252"
    form.show()
    assert "sub-2: FCR, TTL; 1000 Hz, 4.0 s; 4 cues with edge, level, side" in words(form)
    form.pattern.value = "M{participant}.mat"
    form.look()
    assert not form.columns
    form.more.value = 'samples_along=rows; columns=["FDI","APB"]'
    assert form.channel.options == ["FDI", "APB"]
    form.more.value = "samples_along=rows; rate=fs; labels=n; unit=uV; cues=go; cues_in=samples from 1; cue_label=go"
    form.cue_from.value, form.trials.value, form.markers.value = "markers in the files", "", "go"
    form.show()
    assert "sub-2: FDI, APB; 1000 Hz, 4.0 s; 2 cues with marker" in words(form)
