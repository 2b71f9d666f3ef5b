"""A review from a plain script: what is decided is what stands, is on disk, and comes back."""

import numpy as np
import pytest

from emgreview.model import Marker, Onsets, Processing, Recording, Trials
from emgreview.session import open_review

RATE = 1000.0
BEFORE, LENGTH = 500, 1500


def make_trials(name="rec", n=4, labels=("FDI", "APB"), seed=1, cue="go", **entities):
    """Invented noise with cues every 2 s."""
    x = np.random.default_rng(seed).normal(size=(len(labels), (n + 1) * 2000))
    cues = tuple(Marker(2000 * k + 1000, cue, details={"condition": "near" if k % 2 else "far"}) for k in range(n))
    recording = Recording.from_array(x, RATE, labels=labels, markers=cues, name=name, entities=entities)
    data = np.stack([x[:, c.sample - BEFORE : c.sample - BEFORE + LENGTH] for c in cues])
    return Trials(
        recording,
        Processing(),
        cue,
        tuple(f"{name}_given_{c.sample}" for c in cues),
        cues,
        RATE,
        np.arange(LENGTH) / RATE - BEFORE / RATE,
        data,
        np.abs(data),
        np.empty((n, 0, LENGTH)),
        tuple(labels),
        (),
        "uV",
        (),
    )


def detect(x, rate_hz, *, cue_s, rest_s, search_s, method, onset_s=0.2, absent=(3,)):
    """A stand-in method: onset 0.2 s after the cue in every trial but some."""
    n = len(x)
    onset = np.full(n, cue_s + onset_s)
    onset[[k for k in absent if k < n]] = np.nan
    nan, width = np.full(n, np.nan), 0.004 * (1 + np.arange(n))
    return Onsets(
        onset, onset - width, onset + width, onset + 0.3, nan, nan, nan, np.full(n, 12.0),
        np.where(np.isfinite(onset), 0.99, 0.1), np.full(n, "", dtype=np.str_), method, {"onset_s": onset_s},
    )  # fmt: skip


def start(folder, trials=None, **options):
    options = {"reviewer": "r1", "detect": detect, **options}
    return open_review(make_trials() if trials is None else trials, folder, **options)


@pytest.fixture
def session(tmp_path):
    with start(tmp_path) as opened:
        yield opened


def test_thin_path(session, tmp_path):
    one, two = session.queue[:2]
    assert session.state(one).channels["FDI"].response.onset_s == pytest.approx(0.2)
    assert session.accept(one, "FDI") == (one,)
    assert session.move(two, "APB", onset_s=0.25) == (two,)
    assert session.state(two).channels["APB"].response.origin == "moved"
    assert session.undo() == (two,)
    assert session.state(two).channels["APB"].response.origin == "automatic"
    assert session.progress == (1, 8, 0, 4)
    before = [session.state(trial) for trial in session.queue]
    session.close()
    with start(tmp_path) as again:
        assert [again.state(trial) for trial in again.queue] == before
        assert again.where == two  # the undo was the last step, and this trial is still open
        assert again.redo() == (two,)
    print(session.decisions().to_string())
