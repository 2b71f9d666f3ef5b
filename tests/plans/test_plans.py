"""Plans: round trip, what is missing, the sheet, the BIDS files by the official validator, precision, the command."""

import json
import re
import warnings

import numpy as np
import pytest
from official_validator import errors_of

import emgreview as er
from emgreview import cli
from emgreview.errors import ParameterError, SignalWarning
from emgreview.plans.fields import SESSION, SITE
from emgreview.plans.precision import benchmark_sd, half_width
from emgreview.plans.words import CAUTIONS, NOT_A_DEVICE, ORDER

SAID = {"rate_hz": 2000, "mains_hz": 50, "reference": "bipolar", "placement_scheme": "Measured"}


def planned(**said):
    return er.plan("turn a handle", muscles=["BB", "PT"], postures=["sitting"], **said)


def test_a_movement_proposes_muscles_and_warns_of_those_hard_to_separate():
    plan = er.plan("turn a handle")
    assert {"BB", "PT", "BR"} <= set(plan.labels)
    assert any(words.startswith("pronator teres: hard") for words in plan.warnings)
    assert any("Proposed, not chosen" in note for note in plan.notes)
    assert any("supinator" in note for note in plan.notes)
    with pytest.raises(er.EmgreviewError, match="muscles"):
        er.plan()


def test_a_filled_plan_comes_back_from_its_file(tmp_path):
    plan = er.plan("turn a handle", muscles={"E<1>": "BB"}, side="both", postures=['"sitting" \\ 90°'], **SAID)
    plan = plan.fill("R E<1>", spacing_mm=20.5, placement='a "third" of the line')
    path = plan.save(tmp_path / "plan.toml")
    assert er.read_plan(path) == plan
    with pytest.raises(er.EmgreviewError, match="exists already"):
        plan.save(path)
    assert er.read_plan(plan.fill(rate_hz=None).save(path, overwrite=True)).said.get("rate_hz") is None
    assert [one.name for one in path.parent.iterdir()] == [path.name], "nothing is left beside it"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("version = 1", "version = 2"),
        ('side = "right"', 'side = "up"'),
        ('muscle = "biceps_brachii"', 'muscle = "nobody"'),
        ("rate_hz = 2000.0", "rate_hz = -1.0"),
        ("rate_hz", "rate"),
        ('format = "recording plan"', 'format = "x"'),
    ],
)
def test_a_file_that_is_no_plan_is_refused(tmp_path, old, new):
    path = planned(**SAID).save(tmp_path / "plan.toml")
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(er.EmgreviewError):
        er.read_plan(path)


def test_what_is_missing_is_listed_until_it_is_filled_in():
    plan = planned()
    asked = [one for one in SESSION.values() if one.asked], [one for one in SITE.values() if one.asked]
    assert len(plan.missing) == len(asked[0]) + 2 * len(asked[1])

    def value(one):
        number = {"rate_hz": 2000, "high_cutoff_hz": 500}.get(one.name, 5)
        return one.choices[0] if one.choices else number if one.number else "said"

    for label in plan.labels:
        plan = plan.fill(label, **{one.name: value(one) for one in asked[1]})
    plan = plan.fill(**{one.name: value(one) for one in asked[0]})
    assert plan.missing == ()
    assert plan.fill(rate_hz=None).missing == ("rate_hz: sampling rate",)
    with pytest.raises(er.EmgreviewError, match="spacing_mm"):
        plan.fill("BB", spacing=3)
    with pytest.raises(er.EmgreviewError, match="code"):
        plan.fill(participant="A. Name")


def test_a_band_that_cannot_be_is_refused_or_asked_about():
    plan = er.plan(muscles=["BB"], rate_hz=500)
    with pytest.raises(ParameterError, match="the lower corner below the upper one"):
        plan.fill(low_cutoff_hz=500, high_cutoff_hz=20)
    with pytest.warns(SignalWarning, match="up to 500 Hz, and 500 samples a second hold up to 250 Hz"):
        assert plan.fill(high_cutoff_hz=500).said["high_cutoff_hz"] == 500
    assert plan.fill(low_cutoff_hz=20, high_cutoff_hz=240).said["low_cutoff_hz"] == 20


def test_the_sheet_is_self_contained_escaped_and_holds_every_caution(tmp_path):
    evil = "<script>alert(1)</script>"
    plan = er.plan("turn a handle", muscles={"<b>x": "BB", "PT": "PT"}, postures=[evil], reference=evil)
    page = plan.sheet(tmp_path / "s.html").read_text("utf-8")
    assert "<script" not in page
    assert "<b>x" not in page
    assert "&lt;script&gt;" in page
    assert not re.findall(r"(?:src|href)=", page)
    plain = page.replace("&#x27;", "'")
    for words in (NOT_A_DEVICE, *CAUTIONS.values()):
        assert words.partition(":")[2] in plain
    for site in page.split("<section class='site'>")[1:]:
        assert "Caution, skin" in site
        assert "stop on pain" in site
    assert "rarely separable" in page
    for site in plan.sites:
        assert site.muscle.site[0].by in plain
    assert {step.caution for step in ORDER} - {""} == set(CAUTIONS)


def test_the_bids_files_stand_beside_a_recording_as_the_validator_asks(tmp_path):
    edfio = pytest.importorskip(
        "edfio", reason="the recording beside the files is written by edfio, which is not installed"
    )
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        planned().write_bids(tmp_path / "empty")
    assert any("BIDS still asks for rate_hz" in str(one.message) for one in told)
    assert {one["code"] for one in errors_of(tmp_path / "empty")} == {"SIDECAR_WITHOUT_DATAFILE"}
    plan = planned(**SAID, software_filters="none", participant="07").fill("BB", spacing_mm=20)
    with pytest.warns(er.SignalWarning, match="recording"):
        files = plan.write_bids(tmp_path / "said")
    (sidecar,) = (one for one in files if one.name.endswith("_emg.json"))
    assert json.loads(sidecar.read_text())["SamplingFrequency"] == 2000
    (channels,) = (one for one in files if one.name.endswith("_channels.tsv"))
    rows = [line.split("\t") for line in channels.read_text().splitlines()]
    assert dict(zip(rows[0], rows[1], strict=True))["interelectrode_distance"] == "20"
    assert dict(zip(rows[0], rows[2], strict=True))["interelectrode_distance"] == "n/a"
    signals = [
        edfio.EdfSignal(np.zeros(2000), 2000, label=label, physical_dimension="uV", physical_range=(-1000, 1000))
        for label in plan.labels
    ]
    edfio.Edf(signals).write(sidecar.with_suffix(".edf"))
    assert errors_of(tmp_path / "said") == []
    with pytest.raises(er.EmgreviewError, match="empty folder"):
        plan.write_bids(tmp_path / "said")


def test_the_plan_goes_with_a_recording_and_tells_what_does_not_match():
    rec = er.Recording.from_array(np.zeros((3, 4000)), 1000, labels=["biceps", "PT", "X9"], markers=[(2000, "go")])
    plan = planned(rate_hz=2000)
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        made = plan.of(rec)
    said = " ".join(str(one.message) for one in told)
    assert [one.over for one in made.channels] == ["right biceps brachii", "right pronator teres", ""]
    assert "X9" in said
    assert "2000 Hz" in said
    assert any("rarely separable" in note for note in made.notes)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)
        trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.0)
        assert plan.of(trials).recording.channels == made.channels
        left = plan.of(er.Recording.from_array(np.zeros((1, 400)), 1000, labels=["L BB"]))
    assert left.channels[0].over == ""


@pytest.mark.parametrize("design", ["within", "between"])
def test_the_interval_holds_the_difference_as_often_as_it_says(design):
    rng = np.random.default_rng(3)
    people, trials, inner, between = 10, 12, 30.0, 8.0
    studies = 20_000
    if design == "within":
        found = rng.normal(0, between, (studies, people)) + rng.normal(
            0, inner * (2 / trials) ** 0.5, (studies, people)
        )
        spread = found.mean(axis=1).std()
        quantile = 2.2622  # Student's t, 97.5 %, 9 degrees of freedom: tables, from memory
    else:
        groups = rng.normal(0, (between**2 + inner**2 / trials) ** 0.5, (studies, 2, people)).mean(axis=2)
        spread, quantile = (groups[:, 0] - groups[:, 1]).std(), 2.1009  # 18 degrees
    assert half_width(inner, between, design, 0.95, people, trials) == pytest.approx(quantile * spread, rel=0.03)


@pytest.mark.parametrize("design", ["within", "between"])
def test_the_trials_asked_for_are_enough_and_one_less_is_not(design):
    needed = er.trials_needed(6, sd_trials_ms=40, sd_people_ms=6, design=design)
    reached = [row for row in needed.rows if row[1] is not None]
    assert reached
    assert needed.least_people == reached[0][0]
    for people, trials, half in reached:
        assert half <= 6 + 1e-9
        assert half == pytest.approx(half_width(40, 6, design, 0.95, people, trials))
        assert trials == 1 or half_width(40, 6, design, 0.95, people, trials - 1) > 6
    more = er.trials_needed(6, sd_trials_ms=40, sd_people_ms=6, design=design, lost=0.5)
    assert all(b[1] == 2 * a[1] for a, b in zip(needed.rows, more.rows, strict=True) if a[1] is not None)


def test_the_error_of_the_benchmark_is_added_where_the_spread_is_of_true_onsets():
    assert benchmark_sd("splices", 15, 80) == 28.6  # pages/onset-accuracy.md
    with pytest.raises(er.EmgreviewError, match="level_db"):
        benchmark_sd("splices", 16, 80)
    added = er.trials_needed(6, sd_trials_ms=40, sd_people_ms=6, measured=False)
    same = er.trials_needed(6, sd_trials_ms=float(np.hypot(40, 28.6)), sd_people_ms=6)
    assert [row[:2] for row in added.rows] == [row[:2] for row in same.rows]
    none = er.trials_needed(1, sd_trials_ms=40, sd_people_ms=30, people=[8])
    assert none.rows[0][1] is None


def test_the_command_writes_sheet_plan_and_bids(tmp_path, capsys):
    names = [f"--sheet={tmp_path / 's.html'}", f"--save={tmp_path / 'p.toml'}", f"--bids={tmp_path / 'b'}"]
    assert cli.run(["plan", "turn", "a", "handle", "--muscles", "BB,BR", "--posture", "sitting", *names]) == 0
    assert "over right biceps brachii" in capsys.readouterr().out
    assert (tmp_path / "s.html").is_file()
    assert cli.run(["plan", "--from", str(tmp_path / "p.toml"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["postures"] == ["sitting"]
    assert cli.run(["plan", "turn", "a", "handle"]) == 0
    shown = capsys.readouterr().out
    assert "choose with --muscles A,B" in shown
    assert "plan.missing" not in shown
    assert "test and the channel: test BB" in (tmp_path / "s.html").read_text("utf-8")
    assert cli.run(["plan"]) == 1
    assert cli.run(["plan", "turn a handle", *names]) == 1


@pytest.mark.parametrize(("values", "unit"), [({"rate_hz": 2}, "kHz"), ({"spacing_mm": 2}, "cm")])
def test_a_number_in_another_unit_is_asked_about_and_kept(values, unit):
    plan = er.plan("bend the elbow", muscles=["BB"])
    site = "BB" if "spacing_mm" in values else None
    with pytest.warns(SignalWarning, match=f"are usual .*were {unit} meant"):
        filled = plan.fill(site, **values)
    said = filled.sites[0].said if site else filled.said
    assert dict(said) == values
