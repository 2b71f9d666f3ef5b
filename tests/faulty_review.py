"""A sound review of two channels, with one thing wrong; and whether each missing number of what is measured is told."""

import functools
import re
import tempfile
import warnings

import numpy as np
import pandas as pd
from one_bad_channel import LABELS, RATE_HZ, N, recording

import emgreview as er
from emgreview.measuring.missing import UNKNOWN

CUT = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
PRESSED = 900


def heard(x, markers):
    """A recording of these samples, with a channel of force that rises with every other cue."""
    force = np.zeros(x.shape[1])
    for at, _ in markers[::4]:
        force[at + 700 : at + 1500] = 5.0
    force += np.random.default_rng(1).normal(0, 0.01, force.size)
    channels = [*map(er.Channel, LABELS), er.Channel("force", kind="auxiliary", unit="arbitrary")]
    marks = [er.Marker(at, label) for at, label in markers]
    return er.Recording.from_array(
        np.vstack([x, force]), RATE_HZ, labels=[*LABELS, "force"], channels=channels, markers=marks, name="rec"
    )


@functools.cache
def sound():
    """Samples of two channels, and markers."""
    rec = recording(lambda rng, x, cues: x)
    cues = [marker.sample for marker in rec.markers]
    return rec.values(), [one for cue in cues for one in ((cue, "go"), (cue + PRESSED, "response"))]


@functools.cache
def accepted():
    """The accepted responses to all cues of these, from 0.25 to 0.6 s after each."""
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as folder:
        warnings.simplefilter("ignore", er.SignalWarning)
        trials = er.cut_trials(heard(*sound()), **CUT)
        with er.open_review(trials, folder, reviewer="r1") as session:
            for trial in trials.ids:
                for label in LABELS:
                    for burst in list(session.state(trial).channels[label].bursts):
                        session.remove(trial, label, burst)
                    session.add(trial, label, onset_s=0.25, offset_s=0.6)
                    session.accept(trial, label)
            table = session.decisions()
    table.attrs = {}
    return table[table["origin"] != "removed"].reset_index(drop=True)


def gap(start, stop, value=np.nan, cues=slice(None, None, 3), channels=slice(None)):
    """Samples from one to another after every third cue have this value."""

    def fault(x, markers, table):
        go = [at for at, label in markers if label == "go"]
        for cue in go[cues]:
            x[channels, cue + start : cue + stop] = value
        return x, markers, table

    return fault


def rows(where, **values):
    """Every third row of the table of channel "bad" has these values."""

    def fault(x, markers, table):
        mine = table.index[table["channel"] == "bad"][where]
        for name, value in values.items():
            table.loc[mine, name] = table.loc[mine, name] + value[0] if isinstance(value, tuple) else value
        return x, markers, table

    return fault


EVERY, SOME = slice(None), slice(None, None, 3)
NONE = {"offset_s": np.nan, "offset_sample": pd.NA}
BEFORE = {"onset_s": (-0.5,), "onset_sample": (-1000,), "offset_s": (-0.3,), "offset_sample": (-600,)}
LATE = {"onset_s": (1.19,), "onset_sample": (2380,)}
FAULTS = {
    "nothing": gap(0, 0),
    "to the trial's end": rows(SOME, **NONE),
    "to the trial's end, by the method": rows(SOME, origin="automatic", **NONE),
    "all to the trial's end": rows(EVERY, **NONE),
    "onset near the end": rows(SOME, **LATE, **NONE),
    "beyond the end": rows(SOME, onset_s=(1.2,), onset_sample=(2400,), offset_s=(1.2,), offset_sample=(2400,)),
    "before the trial": rows(SOME, onset_s=(-2.0,), onset_sample=(-4000,), offset_s=(-2.0,), offset_sample=(-4000,)),
    "in the rest": rows(SOME, **BEFORE),
    "in the rest, to the trial's end": rows(SOME, **BEFORE | NONE),
    "short bursts": rows(SOME, offset_s=(-0.3,), offset_sample=(-600,)),
    "of another kind": rows(SOME, kind="braking"),
    "a corrected cue": rows(SOME, cue_sample=(-1000,), onset_s=(0.5,), offset_s=(0.5,)),
    "unusable": rows(EVERY, signal="unusable"),
    "set aside": rows(EVERY, set_aside=True),
    "excluded": rows(EVERY, excluded="channel: broken lead"),
    "not accepted": rows(EVERY, accepted=False),
    "no interval": rows(SOME, origin="automatic"),
    "no rows": lambda x, markers, table: (x, markers, table[table["channel"] == "good"]),
    "missing in the rest": gap(-700, -650),
    "missing in the burst": gap(700, 750),
    "missing in the first 30 ms": gap(520, 530),
    "missing after the burst": gap(1500, 1600),
    "missing in one channel": gap(700, 750, channels=0),
    "zero rest": gap(-1900, 300, 0.0),
    "zero burst": gap(400, 1400, 0.0),
    "constant burst": gap(400, 1400, 7.0),
    "all missing": gap(-4000, 6000, cues=EVERY),
    "all zero": gap(-4000, 6000, 0.0, EVERY),
    "one channel all zero": gap(-4000, 6000, 0.0, EVERY, 1),
    "no response": lambda x, markers, table: (x, [one for one in markers if one[1] == "go"], table),
    "some responses": lambda x, markers, table: (
        x,
        [m for k, m in enumerate(markers) if m[1] == "go" or k % 4 == 1],
        table,
    ),
}


def faulty(name, **cut):
    """Trials and decisions of which one thing is wrong."""
    x, markers = sound()
    x, markers, table = FAULTS[name](x.copy(), list(markers), accepted().copy())
    return er.cut_trials(heard(x, markers), **CUT | cut), table


WHOLE = "bursts without an offset, because|bursts that reach beyond their trial or lack samples"
AT_END = r"bursts that begin less than (30|100) ms before the end of their trial, or lack samples there"
NOT_KNOWN = "in task is not known"
ACTIVE = "more than half of the rest window lies in marked bursts"
STILL = "the signal never changes there"
GAPS = "lack samples within window_s or background_s|another stimulus follows before|an earlier stimulus, its potential"
WINDOW = "lacks samples within the window"
NO_RESPONSE = "has no accepted response|has an accepted response"
REASONS = {
    "measure": {
        "offset_s|burst_duration_s": "bursts without an offset",
        "burst_(mean|median)_hz": f"{WHOLE}|{STILL}|shorter than 0.1 s",
        "first_100_ms_(mean|median)_hz": f"{AT_END}|{STILL}",
        "burst_rise_per_s": f"{WHOLE}|the envelope is largest where",
        "first_.*_rise_per_s": f"{AT_END}|the envelope is largest where",
        "burst_.*_percent": f"{WHOLE}|{NOT_KNOWN}",
        "first_.*_percent": f"{AT_END}|{NOT_KNOWN}",
        "burst_.*": WHOLE,
        "first_.*": AT_END,
        "rest_rms": f"{ACTIVE}|whose rest window reaches beyond the trial or lacks samples",
        "level_db": f"{WHOLE}|{ACTIVE}|whose rest window|the (rest|burst) is 0 throughout",
        "creep_per_s": "before go reaches beyond the trial|a burst that is marked before go touches creep_s",
        "reaction_s|motor_s": "responses without a marker 'response' before the next cue",
        "force_onset_s": "the method 'level' finds no onset there",
        "onset_s|premotor_s": "never",
    },
    "measure_evoked": {
        "peak_to_peak|background_rms": GAPS,
        "latency_s": f"{GAPS}|no potential stands out",
        "silent_period_s|pause_level": f"{GAPS}|activity does not return",
        "clipped_share": "never",
    },
    "compare_channels": {
        "common_area_percent": f"{WINDOW}|are 0 throughout|no trial counts in a largest value",
        "r|r2|lag_s": f"{WINDOW}|is 0 throughout",
        "onset_difference_s": NO_RESPONSE,
        "onset_difference_(low|high)_s": f"{NO_RESPONSE}|has no interval",
    },
    "involvement": {
        "baseline_rms": "the baseline reaches beyond the trial or lacks samples",
        "response_rms": "the window lacks samples",
        "level_db": "the baseline reaches|the window lacks samples|is 0 throughout",
        "limit_db": "too few pairs of baseline windows",
    },
}
"""Of each table: column, as a pattern, and what may be said of a number that is missing there."""


def elsewhere(table, name, notes):
    """Rows (rows,) whose missing numbers of a column other columns, or sentences of their own, explain."""
    words = " ".join(notes)
    rows = np.zeros(len(table), dtype=bool)
    if name in ("reaction_s", "premotor_s", "motor_s", "force_onset_s"):
        rows |= (table["kind"] != "response").to_numpy(dtype=bool)
    if name in ("reaction_s", "motor_s"):
        rows |= "has no marker 'response'" in words
    if name == "creep_per_s":
        rows |= "creep_per_s is missing for rec: its trials hold" in words
    if (
        name in ("silent_period_s", "pause_level")
        and "silent periods are missing because no pause can be told" in words
    ):
        rows |= (table["pause"] == "none told").to_numpy(dtype=bool)
    if "left_out" in table and "trials are left out because of" in words and name != "limit_db":
        rows |= table["left_out"].notna().to_numpy(dtype=bool)
    return rows


def explained(of, table, notes):
    """Every number of a table that is missing or infinite is counted once, by a reason that is one of its column's, and
    that names its channel; words that are missing are counted too."""
    told = {}
    for note in notes:
        if said := re.fullmatch(r"Missing numbers of (\d+) rows: (.*?) \((.*)\)\.", note):
            assert int(said[1]) == len(table)
            for part in said[2].split("; "):
                names, _, count = part.rpartition(" in ")
                for name in names.split(", "):
                    told.setdefault(name, []).append((int(count), said[3]))
    assert UNKNOWN not in " ".join(notes)
    early = sum(int(note.split()[0]) for note in notes if "latencies are missing because the signal" in note)
    for name, said in table.attrs["columns"].items():
        if said["type"] == "number" and name != "confidence":
            (allowed,) = [words for pattern, words in REASONS[of].items() if re.fullmatch(pattern, name)][:1]
            gone = ~np.isfinite(table[name].to_numpy(dtype=float, na_value=np.nan)) & ~elsewhere(table, name, notes)
            count = int(gone.sum()) - (early if name == "latency_s" else 0)
            assert sum(n for n, _ in told.get(name, [])) == count, f"{name}: {notes}"
            for _, words in told.get(name, []):
                assert re.search(allowed, words), f"{name}: {words}"
            for label in set(table["channel"][gone]) if count and "channel" in table else ():
                assert any(f"{label} of rec " in words for _, words in told[name]), f"{name}, {label}: {notes}"
        elif name in ("signal", "set_aside", "signal_a", "signal_b") and of != "measure":
            assert table[name].notna().all() or any("the table of decisions says nothing" in note for note in notes)
    assert told.keys() <= set(table)


def averages_explained(found):
    """Averages lack a value only where no trial, or for the SD one, stands behind them, and say so."""
    for one in found.values():
        words = " ".join(one.notes)
        assert np.isfinite(one.mean[one.n > 0]).all()
        assert np.isfinite(one.sd[one.n > 1]).all()
        assert not (one.n == 0).any() or re.search("samples of the average are missing|there is no average", words)
        assert not (one.n == 1).any() or "rest on one trial" in words
        assert one.used.sum() == N or one.notes


def floor_explained(floor):
    values = [floor.level_db, floor.low_db, floor.high_db, floor.level, floor.low, floor.high, floor.rest]
    assert np.isfinite(values).all() or floor.note
