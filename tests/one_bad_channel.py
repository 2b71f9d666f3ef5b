"""A review of two channels that answer twenty cues, one of them with a fault."""

import warnings

import numpy as np

import emgreview as er

RATE_HZ = 2000.0
LABELS = ("good", "bad")
N = 20


def recording(fault, *, good_uv=5.0, status="good", unit="uV"):
    """Two channels and twenty cues every 3 s; "good" answers each with a burst, "bad" is as ``fault(rng, n, cues)``."""
    rng = np.random.default_rng(3)
    n = int(RATE_HZ * 3 * (N + 1))
    cues = [int(RATE_HZ * (2 + 3 * k)) for k in range(N)]
    x = rng.normal(0, good_uv, (2, n))
    for cue in cues:
        x[:, cue + 500 : cue + 1200] += rng.normal(0, 60, (2, 700))
    x[1] = fault(rng, x[1], cues)
    channels = [er.Channel("good", unit=unit), er.Channel("bad", unit=unit, status=status)]
    markers = [er.Marker(cue, "go") for cue in cues]
    return er.Recording.from_array(x, RATE_HZ, labels=LABELS, channels=channels, markers=markers, name="rec")


def review(tmp_path, rec, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)  # a channel that never changes: the cut says so, too
        trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    return er.open_review(trials, tmp_path / "review", reviewer="r1", **options)


def quiet(rms_uv):
    """Noise of that RMS between 20 and 450 Hz."""
    return lambda rng, x, cues: rng.normal(0, rms_uv * np.sqrt(RATE_HZ / 2 / 430), x.size)


EVERY_MEASURE = {
    "measure": (er.measure, "bursts", N),
    "measure_evoked": (lambda trials, table: er.measure_evoked(trials, stimulus="go", decisions=table), "stimuli", N),
    "compare_channels": (lambda trials, table: er.compare_channels(trials, table, "good", "bad"), "trials", N),
    "average_envelopes": (
        lambda trials, table: er.average_envelopes(trials, table, to="go", before_s=0.2, after_s=0.3),
        "responses",
        N,
    ),
    "involvement": (lambda trials, table: er.involvement(trials, table, window_s=(0.1, 0.35)), "trials", N),
    "detection_floor": (
        lambda trials, table: er.detection_floor(trials, "bad", decisions=table, injections=20),
        "rests or bursts",
        N,
    ),
}
"""Public functions of ``measuring``, each as (trials, decisions), what it measures of "bad", and how many at most."""
