"""Recordings as nobody would make them on purpose: every one is converted and read back as it was, or refused in words,
and what no file can hold as it is is told."""

import random
import warnings
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import EmgreviewError

SAID = {"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"}
LABELS = ["FCR", "FCR ", "a" * 41, "Status", "µ", "x\ty", "n/a", "FCR~2", "two  blanks", "😀"]
MARKS = ["go", "go  left", "a\nb", " go", "n/a", "nan", "x" * 300, "a@b.de", "\u00a0go", "\u2028", "\x1f", '"q"']
DETAILS = ["condition", "onset", "trial_type", "sample", "a  b", "", "HED"]
VALUES = ["left", "n/a", "", "a\tb", " x ", "1e400", "\u2028"]


def convert(rec: er.Recording, folder: Path, **how):
    return er.convert(rec, folder, people={rec.name: {"sub": "01", "task": "t"}}, said=SAID, **how)


def odd(number: int) -> er.Recording:
    chance, noise = random.Random(number), np.random.default_rng(number)
    n = chance.choice([1, 2, 10, 999, 1001, 2500])
    ways = [
        noise.normal(size=n) * 10.0 ** noise.integers(-300, 300),
        np.where(noise.random(n) < 0.2, np.nan, noise.normal(size=n)),
        np.full(n, np.nan),
        np.full(n, 5.3),
        np.arange(n) * 0.1,
    ]
    labels = chance.sample(LABELS, chance.choice([1, 2]))
    marks = [
        er.Marker(
            chance.randrange(n),
            chance.choice(MARKS),
            chance.choice(["given", "events", "odd"]),
            chance.choice([None, 0.0, 1 / 3, 1e9]),
            {chance.choice(DETAILS): chance.choice(VALUES)},
        )
        for _ in range(chance.choice([0, 1, 3]))
    ]
    x = np.array([chance.choice(ways) for _ in labels])
    rate = chance.choice([1000, 1111.1, 1000 / 3, 0.5, 1e6])
    rec = er.Recording.from_array(x, rate, labels=labels, name="a/b")
    return rec.with_markers(sorted(marks, key=lambda mark: mark.sample))


def test_odd_recordings_are_converted_as_they_are_or_refused_in_words(tmp_path):
    done, refused = 0, []
    for number in range(150):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", er.SignalWarning)
            rec = odd(number)
            try:
                made = convert(rec, tmp_path / str(number), scrub=number % 2 == 0)
            except EmgreviewError as why:
                refused.append(str(why))
                continue
            (back,) = er.read_dataset(made.folder).recordings
        done += 1
        for mark, now in zip(rec.markers, back.markers, strict=True):
            assert (mark.sample, mark.duration_s) == (now.sample, now.duration_s)
            assert " ".join(mark.label.split()) == now.label or now.label in ("event", "text removed", "X")
    assert done > 60
    assert all("less than 100 million" in why for why in refused), refused


@pytest.mark.parametrize("scrub", [True, False])
def test_a_label_that_no_table_holds_as_it_is_is_told(tmp_path, scrub):
    rec = er.Recording.from_array(np.arange(3000.0)[None], 1000, labels=["n/a"], name="p01")
    rec = rec.with_markers([er.Marker(at, label, "given", 1 / 3) for at, label in ((5, "go  left"), (9, "n/a"))])
    made = convert(rec, tmp_path / "d", scrub=scrub)
    told = "sub-01_task-t: no table holds the label 'go  left' of markers as it is: it is 'go left' there."
    assert told in made.notes
    assert made.labels == {"n/a": "channel"}
    (back,) = er.read_dataset(made.folder).recordings
    assert [(mark.label, mark.duration_s) for mark in back.markers] == [("go left", 1 / 3), ("event", 1 / 3)]


def test_values_beyond_every_header_are_refused_in_words(tmp_path):
    rec = er.Recording.from_array(np.array([[1e40, -1e40, 3.0] * 500]), 1000, labels=["FCR"], name="p01")
    with pytest.raises(EmgreviewError, match="allowed in EDF and BDF: limits of 8 characters"):
        convert(rec, tmp_path / "d")
