"""``emgreview contractions`` and ``emgreview involvement``: text, JSON, cards, and slips in the words of a shell."""

import json

import edfio
import pytest

import emgreview as er
from emgreview import cli
from emgreview.simulation import Fault

RATE_HZ = 1000
WINDOW = ["--cue", "go", "--before", "1", "--after", "1.5", "--window", "0.1", "0.35"]


@pytest.fixture(scope="module")
def pilot(tmp_path_factory):
    """A pilot as a file with annotations, its pads over FCR hearing BR; another whose annotations say "A" and "B"."""
    folder = tmp_path_factory.mktemp("pilot")
    sim = er.simulate_contractions(RATE_HZ, seed=3, muscles=["FCR", "BR"], maximal=3, maximal_pause_s=30, quiet=0)
    rec = sim.planted(Fault("neighbour", "FCR", "BR", 0.6)).recording
    whole = rec.n_samples // RATE_HZ * RATE_HZ
    signals = [
        edfio.EdfSignal(x[:whole], RATE_HZ, label=f"EMG {label}", physical_dimension="uV")
        for x, label in zip(rec.values(), rec.labels, strict=True)
    ]
    for name, words in (
        ("named", lambda label: label.replace("FCR", "EMG FCR").replace("BR", "EMG BR")),
        ("coded", lambda label: {"test FCR": "A", "test BR": "B"}.get(label, "C")),
    ):
        notes = [edfio.EdfAnnotation(m.sample / RATE_HZ, m.duration_s, words(m.label)) for m in rec.markers]
        edfio.Edf(signals, annotations=notes).write(folder / f"{name}.edf")
    return folder


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return er.write_demo(tmp_path_factory.mktemp("study") / "study", participants=1, trials=16)


def test_a_pilot_file_says_in_a_line_what_is_heard(run, pilot, tmp_path):
    status, out, _ = run("contractions", pilot / "named.edf", "--cards", tmp_path)
    assert status == 1, "something was found"
    (label,) = [one for one in er.read(pilot / "named.edf").labels if "FCR" in one]
    assert f"While {label.replace('FCR', 'BR')} is contracted, {label} shows" in out
    assert "stop on pain" in out
    assert "supervised by a trained person" in out
    assert "also hears" in er.read_channel_cards(tmp_path)[0].sentence
    status, _, err = run("contractions", pilot / "named.edf", "--cards", tmp_path)
    assert status == 1
    assert "nothing is written over" in err


def test_json_holds_the_matrix_and_what_was_found(run, pilot):
    status, out, _ = run("contractions", pilot / "named.edf", "--json")
    (one,) = json.loads(out)["people"]
    assert status == 1
    assert len(one["rows"]) == 4
    assert [found["code"] for found in one["found"]] == ["neighbour"]
    assert len(one["maximal"]["reference"]) == 2
    assert any("not a medical device" in note for note in one["notes"])


def test_markers_and_tables_are_other_doors(run, pilot, tmp_path):
    rec = er.read(pilot / "coded.edf")
    fcr, br = rec.labels
    given = ["--marker", f"A={fcr}", "--marker", f"B={br}"]
    one = json.loads(run("contractions", pilot / "coded.edf", *given, "--json")[1])["people"][0]["rows"]
    lines = ["recording\ttarget\tstart_s\tstop_s"]
    lines += [
        f"{rec.name}\t{ {'A': fcr, 'B': br}[m.label] }\t{m.sample / RATE_HZ}\t{m.sample / RATE_HZ + m.duration_s}"
        for m in rec.markers
        if m.label in "AB"
    ]
    table = tmp_path / "asked.tsv"
    table.write_text("\n".join(lines) + "\n")
    two = json.loads(run("contractions", pilot / "coded.edf", "--table", table, "--json")[1])["people"][0]["rows"]
    assert [row["rms"] for row in one] == [row["rms"] for row in two]


def test_slips_of_contractions(run, pilot, study, tmp_path):
    status, _, err = run("contractions", pilot / "coded.edf")
    assert status == 1
    assert "--marker LABEL=MEANING" in err
    status, _, err = run("contractions", pilot / "named.edf", "--table", tmp_path / "none.tsv")
    assert status == 1
    assert "there is no file" in err
    status, _, err = run("contractions", study)
    assert status == 1
    assert "no contraction was found in 01" in err
    with pytest.raises(SystemExit):
        cli.run(["contractions", str(study), "--marker", "A"])


def test_involvement_in_text_and_json(run, study):
    status, out, err = run("involvement", study, *WINDOW, "--condition", "grip")
    assert status == 0
    assert "exceeded its own rest range in" in out
    assert "Rest ranges rest on few pairs" in err
    status, out, _ = run("involvement", study, *WINDOW, "--condition", "grip", "--json")
    found = json.loads(out)
    assert {row["condition"] for row in found["rows"]} == {"small", "large"}
    assert len(found["words"]) == len(found["rows"])
    status, out, _ = run(
        "involvement", study, *WINDOW, "--condition", "grip", "--compare", "condition", "small", "large"
    )
    assert "only small" in out
    assert "that pairing is an assumption" in out


def test_slips_of_involvement(run, study, tmp_path):
    status, _, err = run("involvement", study, *WINDOW[:-1], "0.15")
    assert status == 1
    assert "--window came as" in err
    assert "window_s" not in err
    assert run("involvement", study, *WINDOW, "--folder", tmp_path)[0] == 1
    with pytest.raises(SystemExit):
        cli.run(["involvement", str(study), *WINDOW, "--percentile", "90"])
    status, _, err = run("involvement", study, *WINDOW, "--condition", "grp")
    assert "no detail of the cues is called 'grp'" in err
