"""Potentials evoked by stimuli, from the raw recording around each; definitions in ``signal.evoked``.

measure_evoked      one row a stimulus and channel

Just over 400 lines: the docstring of one function tells every number and its limits.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import UnknownNameError
from emgreview.measuring.aside import Aside
from emgreview.measuring.ground import Ground
from emgreview.measuring.marked import outside
from emgreview.measuring.missing import Reason, missing_words
from emgreview.measuring.neighbours import foreign, near, near_reasons, near_words, strange_words, without_others
from emgreview.measuring.rows import as_reviewed, column, kept_out, of_one_reviewer, one_of, said_of, tell_all, unit_of
from emgreview.measuring.settling import held, settling
from emgreview.model import Trials, to_sample
from emgreview.signal import evoked, filters
from emgreview.signal.clip import at_rail
from emgreview.tables import describe

TOLD = ("decay", "mixed", "clipped_share")
ASIDE = "Whether a stretch set aside touches the channel's mark in the trial, or background, potential or silent period"
MEASURED = ("peak_to_peak", "latency_s", "silent_period_s", "pause_level", "background_rms")


def measure_evoked(
    trials: Trials,
    *,
    stimulus: str,
    decisions: pd.DataFrame | None = None,
    blank_s: tuple[float, float] = (0.001, 0.008),
    window_s: tuple[float, float] = (0.012, 0.06),
    background_s: tuple[float, float] = (-0.1, -0.005),
    remove_decay: bool = True,
    around_s: tuple[float, float] = (0.5, 0.6),
    not_stimuli: Sequence[str] = (),
) -> pd.DataFrame:
    """Potentials evoked by a stimulus inside the trials, one row a stimulus and channel.

    Parameters
    ----------
    trials : Trials
        The trials.
    stimulus : str
        Label of the markers of the stimulus. All other markers are other stimuli, whatever they
        are called ("CS" and "TS", "pulse 1" and "pulse 2"), but for ``not_stimuli``.
    decisions : DataFrame or None
        Decisions: what was decided of each signal, and what is left out.
    blank_s : (float, float), default (0.001, 0.008)
        How much of the raw signal before and after the stimulus is the artefact.
    window_s : (float, float), default (0.012, 0.06)
        Where the potential is looked for, in seconds after the stimulus.
    background_s : (float, float), default (-0.1, -0.005)
        Where the activity before is measured, in seconds from the stimulus.
    remove_decay : bool, default True
        Fit the artefact's decay between its blanked stretch and ``window_s``, and take it
        off.
    around_s : (float, float), default (0.5, 0.6)
        How much of the raw recording is looked at before and after each stimulus. More is read
        where the filters need it to settle before ``background_s``, and after ``window_s``.
    not_stimuli : sequence of str, default ()
        Labels of markers that are no stimuli: a cue to the eye, a response.

    Returns
    -------
    DataFrame
        ``peak_to_peak`` and ``background_rms`` in the trials' unit; ``latency_s`` and
        ``silent_period_s``, missing where they cannot be told; ``pause`` says why a silent
        period is missing; ``pause_level`` is the RMS in the pause over that before the
        stimulus; ``decay`` is true where one stood at the window and was taken off, and where
        the latency hangs on what lies just before the window; ``mixed`` where an earlier
        stimulus comes so near that size and latency may be of both; ``clipped_share`` is that
        of the samples within the window that lie at a rail of the raw recording
        (``signal.clip``): above 0 the size is too small. With ``decisions``, ``signal`` says
        what was decided of the channel in that trial, ``set_aside`` whether a stretch set aside
        touches its mark, or anything from the background to the end of what is read.
        ``table.attrs["timed"]`` says which signal the times come from, ``table.attrs["notes"]``
        what was left out, and why numbers are missing.

    Raises
    ------
    UnknownNameError
        No such marker lies in the trials, or one of ``not_stimuli`` not in the recording.
    ParameterError
        Windows do not fit each other, ``not_stimuli`` names the stimulus, or decisions of two
        reviewers are on one trial.
    RateError, VersionError
        As for :func:`emgreview.measure`, by its decisions.
    SignalError
        Samples of the trials are too large to be a voltage.
    UnitError
        The trials came in several units.

    Warns
    -----
    SignalWarning
        Every note.

    Notes
    -----
    The artefact is blanked in the raw signal. The size comes from this filtered as the trials
    were. Latency and background come from it band-passed once, forward, whatever the trials'
    filter, so that no later sample touches them (``signal.evoked.forward``); the silent
    period from its changes over 2 ms, into which the potential does not ring
    (``signal.evoked.forgetful``).

    Latency: first sample of the first run of 1 ms in which |x| exceeds the background's
    mean + 5 SD of |x|. Silent period: the first stretch of 25 ms or more in which the RMS in
    10 ms stays below half of the background's, or of 12 ms below 0.3 of it; it ends where
    the RMS rises above half again. Latency and half for 25 ms are common practice, no
    source; 0.3 for 12 ms is our own; state them.

    ``background_rms`` is what the muscle did before: use it as a covariate, for it changes
    the potential.

    A latency is missing, and counted in a note, where the signal stands out already when
    ``window_s`` begins, or in the 4 ms before: a decay that could not be taken off, or a
    potential that begins earlier. A decay that stood there and was taken off was taken for
    one exponential, and nothing before the window shows whether it is one; of others the
    latency hangs on what lies just before the window (``signal.evoked.hangs_on_before``). A
    note counts both. Figures stand at ``signal.evoked.stands_before``: of single decays
    most latencies are right then, of others up to half are not. A silent period that
    is given holds (1 in 80 off by more than 10 ms), a missing one says nothing then: see
    ``signal.evoked.measure_evoked``. A note counts where no silent period is told: one that
    leaves less than some 25 ms between potential and return cannot be (figures there). Where
    ``pause_level`` is above 0.25 (``signal.evoked.SHALLOW``) the noise is near the activity,
    and the silent period may be cut short: a note counts these too. Notes count every other
    number that is missing, with the reason.

    Paired pulses and trains: of a stimulus that another one follows within ``window_s`` size,
    latency and silent period are missing; of one with another, its potential or what the
    filter carries of it within ``background_s``, background, latency and silent period. Notes
    count both. Artefacts of others are blanked, and a silent period ends before the next one.
    Of a marker with another label nobody knows whether it is a stimulus: a number that is
    missing costs a word in ``not_stimuli``, and one that is of another potential costs the
    result. So each within ``around_s`` counts as one, and a note says which and how often.

    A stimulus that lies in two overlapping trials is measured once, and belongs to the trial
    whose cue is nearest. One whose signal is unusable or set aside is measured all the same.
    Left out, and counted in a note with the reasons, are stimuli of a channel that was
    excluded, or of which a rule for inclusion takes no row of that trial (column
    ``included``). A note counts stimuli in trials whose signal is dead, flat, missing or
    clipped down to its rest (``signal.unfit``), where nobody called it unusable.

    Peak-to-peak amplitude belongs here alone: for voluntary activity it is not recommended.

    References
    ----------
    McManus et al. 2021 (J Electromyogr Kinesiol).

    Examples
    --------
    >>> import numpy as np
    >>> import emgreview as er
    >>> x = np.random.default_rng(1).normal(0, 5.0, (1, 8000))
    >>> x[0, 4040:4060] += 800 * np.sin(np.arange(20) * np.pi / 10)
    >>> x[0, 4060:4240] *= 0.1  # the muscle is silent after the potential
    >>> rec = er.Recording.from_array(x, 2000, labels=["FDI"], markers=[(4000, "pulse")])
    >>> trials = er.cut_trials(rec, cue="pulse", before_s=1.0, after_s=1.0)
    >>> table = er.measure_evoked(trials, stimulus="pulse")
    >>> table["latency_s"].round(3).tolist(), bool(table["peak_to_peak"][0] > 1000)
    ([0.02], True)
    """
    trials = one_of(trials)
    around, blanked = (_lengths(name, pair) for name, pair in (("around_s", around_s), ("blank_s", blank_s)))
    window, rest = checks.span("window_s", window_s), checks.span("background_s", background_s)
    checks.likely_unit("around_s", around, most_s=checks.LONGEST_STRETCH_S)
    checks.likely_unit("blank_s", blanked, most_s=checks.LONGEST_TOLERANCE_S)
    for name, pair in (("window_s", window), ("background_s", rest)):
        checks.likely_unit(name, pair, most_s=checks.LONGEST_STRETCH_S)
    checks.truth("remove_decay", remove_decay)
    decay = to_sample(window[0], trials.rate_hz) - to_sample(blanked[1], trials.rate_hz)
    demand(blanked[1] < window[0], "window_s", window_s, f"a window after the blanked stretch (to {blanked[1]:g} s)")
    demand(window[1] <= around[1], "window_s", window_s, f"seconds within around_s, to {around[1]:g} s at most")
    demand(-around[0] <= rest[0], "background_s", background_s, f"within around_s, from {-around[0]:g} s on")
    demand(rest[1] <= -blanked[0], "background_s", background_s, f"a window that ends before {-blanked[0]:g} s")
    demand(
        not remove_decay or decay >= 4,
        "remove_decay",
        remove_decay,
        f"False where fewer than 4 samples lie between blank_s and window_s; there are {decay} at {trials.rate_hz:g} "
        "Hz; or begin window_s later",
    )
    rec, how = trials.recording, trials.processing
    not_stimuli = foreign("not_stimuli", not_stimuli, [stimulus], [rec])
    if decisions is not None:
        of_one_reviewer([trials], decisions)
    before, after = (to_sample(part, trials.rate_hz) for part in around)
    first, last = (to_sample(part, trials.rate_hz) for part in window)
    nearest: dict[int, tuple[int, str]] = {}
    several = set()
    for trial, cue in zip(trials.ids, trials.cues, strict=True):
        for at in {m.sample for m in trials.markers(trial) if m.label == stimulus}:
            several |= {at} & nearest.keys()
            nearest[at] = min(nearest.get(at, (abs(at - cue.sample), trial)), (abs(at - cue.sample), trial))
    found = [(trial, at) for at, (_, trial) in sorted(nearest.items())]
    if not found:
        labels = {m.label for trial in trials.ids for m in trials.markers(trial)}
        raise UnknownNameError("marker inside the trials", stimulus, sorted(labels))
    inside = [(trial, at) for trial, at in found if before <= at < rec.n_samples - after]
    notes = []
    if several:
        notes.append(
            f"{len(several)} stimuli lie in more than one trial, because trials overlap; each is measured once and "
            "belongs to the trial whose cue is nearest."
        )
    if len(inside) < len(found):
        notes.append(f"{len(found) - len(inside)} stimuli lie too near an end of the recording, and are left out.")
    rows = []
    artefact, edges = ([to_sample(edge, trials.rate_hz) for edge in pair] for pair in (blanked, rest))
    lengths = {"blanked": (artefact[0], artefact[1]), "window": (first, last), "rest": (edges[0], edges[1])}
    lead, tail = settling(how, trials.rate_hz, around=(before, after), rest=edges[0], window=last)
    raw = [held(rec, at - before - lead, at + after + tail, trials.labels) for _, at in inside]
    read = slice(lead, lead + before + after)
    if short := sum(at < before + lead or at + after + tail > rec.n_samples for _, at in inside):
        notes.append(
            f"{short} stimuli lie so near an end of the recording that the filters have not settled around them: "
            "their background, latency and size may be off."
        )
    said = (outside(decisions, rec.name) if decisions is not None else None) or {}
    crowd = near(
        rec,
        stimulus,
        [at for _, at in inside],
        low_hz=how.low_hz,
        around=(before + lead, after + tail),
        added=[(one["sample"], one["label"]) for one in said.get("added_cues", ())],
        not_stimuli=not_stimuli,
        **lengths,
    )
    notes += strange_words(crowd, lead / trials.rate_hz, tail / trials.rate_hz)
    for index, label in enumerate(trials.labels if raw else ()):
        x = np.stack([part[index] for part in raw])
        cut = [float(at_rail(row[read])[before + first : before + last].mean()) for row in x]
        own = lead + before
        x = without_others(x, own, crowd, lengths["blanked"])
        marked = evoked.blank(x, rec.rate_hz, own, before_s=blanked[0], after_s=blanked[1])
        if remove_decay:
            x = evoked.without_decay(x, rec.rate_hz, own, from_s=blanked[1], to_s=window[0])
        rest_of_it = x
        x = evoked.blank(x, rec.rate_hz, own, before_s=blanked[0], after_s=blanked[1])
        paused = evoked.forgetful(x, rec.rate_hz, high_hz=how.high_hz)[:, read]
        timed, marked = (
            evoked.forward(part, rec.rate_hz, low_hz=how.low_hz, high_hz=how.high_hz)[:, read] for part in (x, marked)
        )
        where = {"window_from_s": window[0], "blanked_to_s": blanked[1], "background_s": rest}
        stood = evoked.stands_before(marked, rec.rate_hz, before, suspected=True, **where)  # type: ignore[arg-type]
        left = evoked.stands_before(timed, rec.rate_hz, before, **where)  # type: ignore[arg-type]
        band = {"low_hz": how.low_hz, "high_hz": how.high_hz, "order": how.order, "direction": how.direction}
        x = filters.bandpass(x, rec.rate_hz, **band)[:, read]  # type: ignore[arg-type]
        spans: dict[str, Any] = {"window_s": window, "background_s": rest}
        until = before + crowd.until
        seen = evoked.measure_evoked(x, rec.rate_hz, before, timed=timed, paused=paused, until=until, **spans)
        found_s = np.where(seen.begun | left, np.nan, seen.latency_s)
        spans |= {"before_s": blanked[0], "low_hz": how.low_hz, "high_hz": how.high_hz}
        hangs = evoked.hangs_on_before(rest_of_it, rec.rate_hz, own, found_s, **spans)
        for place, (trial, at) in enumerate(inside):
            values = {name: float(getattr(seen, name)[place]) for name in MEASURED}
            begun = bool(seen.begun[place] or (left[place] and np.isfinite(values["latency_s"])))
            values["latency_s"] = float(found_s[place])
            pause: str | None = str(seen.pause[place]) or None
            near_it = {"follows": bool(crowd.follows[place]), "precedes": bool(crowd.precedes[place])}
            values |= {name: np.nan for why in near_reasons(**near_it) if why.rows for name in why.columns}
            if any(near_it.values()):
                begun, pause = False, None
            stands = None if near_it["precedes"] else bool(stood[place] or left[place] or hangs[place])
            spoilt = {"decay": stands, "mixed": bool(crowd.mixed[place]), "clipped_share": cut[place]}
            rows.append(
                {"recording": rec.name, "trial": trial, "channel": label, "stimulus_sample": at, **values}
                | spoilt
                | {"pause": pause, "begun": begun}
                | near_it
            )
    hidden = ["begun", "follows", "precedes"]
    names = ["recording", "trial", "channel", "stimulus_sample", *MEASURED, *TOLD, "pause", *hidden]
    out = pd.DataFrame(rows, columns=names).astype({"decay": "boolean"})
    unit = unit_of([trials])
    size, before_words = (f"{w[0]:g} to {w[1]:g} s from the stimulus" for w in (window, rest))
    upper = "" if how.high_hz is None else f" to {how.high_hz:g}"
    timed_words = f"raw, band-passed {how.low_hz:g}{upper} Hz, order {evoked.FORWARD_ORDER}, forward only (causal)"
    paused_words = f"raw, changes over {1000 * evoked.CHANGE_S:g} ms, forward only (causal)"
    columns = describe(out[names[:3]]) | {
        "stimulus_sample": column("whole", "", "Sample of the stimulus in the recording"),
        "peak_to_peak": column("number", unit, f"Peak to peak, {size}, filtered as the trials; not normalised"),
        "latency_s": column(
            "number", "s", f"Stimulus to the start of the potential; missing where none stands out; {timed_words}"
        ),
        "silent_period_s": column(
            "number",
            "s",
            f"Stimulus to the return of activity; missing for the reason in the column pause; {paused_words}",
        ),
        "pause_level": column(
            "number",
            "",
            f"RMS in the pause over that before the stimulus: above {evoked.SHALLOW:g} silent_period_s may be cut "
            f"short; {paused_words}",
        ),
        "background_rms": column(
            "number", unit, f"Root mean square, {before_words}: a covariate of the potential; {timed_words}"
        ),
        "decay": column(
            "truth",
            "",
            "Whether something stood out in the last 4 ms before the window, or the latency hangs on what lies there: "
            "latency, silent period, size may be off; missing where an earlier stimulus spoils the background",
        ),
        "mixed": column(
            "truth",
            "",
            "Whether the potential of an earlier stimulus may lie within the window, or in the 20 ms before: latency "
            "and size may be of both",
        ),
        "clipped_share": column(
            "number", "", "Share of the window's samples at a rail of the raw recording: above 0 the size is too small"
        ),
        "pause": column(
            "text",
            "",
            "Whether activity pauses: 'found'; 'none told', it does not, or too briefly to tell; 'no return'; missing "
            "where samples are, or where another stimulus lies too near",
        ),
    }
    if decisions is not None:
        notes += as_reviewed([trials], decisions)
        words_of = {label: said_of(decisions, trials, label) for label in trials.labels}
        places = list(zip(out["channel"], out["trial"], strict=True))
        out["signal"] = pd.Series([words_of[label][0].get(trial) for label, trial in places], dtype=object).where(
            lambda words: words.notna(), None
        )
        out["set_aside"] = pd.array([words_of[label][1].get(trial, pd.NA) for label, trial in places], dtype="boolean")
        aside, stimulus_at = Aside(decisions), out["stimulus_sample"].to_numpy(dtype=np.float64)
        for label in trials.labels:
            spoilt_ones = aside.touch(
                rec.name, label, stimulus_at + to_sample(rest[0], trials.rate_hz), stimulus_at + after
            )
            out.loc[spoilt_ones & (out["channel"] == label).to_numpy(dtype=bool), "set_aside"] = True
        notes += aside.notes
        columns |= describe(out[["signal"]]) | {"set_aside": column("truth", "", ASIDE)}
        gone = {label: kept_out(decisions, trials, label) for label in trials.labels}
        why = pd.Series([gone[label].get(trial) for label, trial in places], index=out.index, dtype=object)
        if why.notna().any():
            told = ", ".join(f"{word!r} {count}" for word, count in why.value_counts().sort_index().items())
            notes.append(f"{why.notna().sum()} channels of stimuli are left out, by reason: {told}.")
            out = out[why.isna()].reset_index(drop=True)
    ground, row_of = Ground(), {trial: row for row, trial in enumerate(trials.ids)}
    for place, label in enumerate(trials.labels):
        mine = out[out["channel"] == label]
        silent = mine if "signal" not in mine else mine[mine["signal"] != "unusable"]
        ground.use(trials, place, np.array([row_of[name] for name in silent["trial"]], dtype=np.intp))
    notes += ground.notes("stimuli")
    begun_ones, follows, precedes = (out.pop(name).to_numpy(dtype=bool) for name in hidden)
    decayed = out["decay"].fillna(False).astype(bool)
    notes += near_words(int(out["mixed"].astype(bool).sum()), int(out["decay"].isna().sum()), len(out))
    if early_ones := int(begun_ones.sum()):
        notes.append(
            f"{early_ones} latencies are missing because the signal stands out already when window_s begins, at "
            f"{window[0]:g} s, or just before: a decay that is not over, or a potential that begins earlier; look at "
            "the raw signal, and move window_s."
        )
    if "signal" in out and (unsaid := int(out["signal"].isna().sum())):
        notes.append(
            f"Of {unsaid} channels of stimuli the table of decisions says nothing: they are measured; signal and "
            "set_aside are missing there."
        )
    if "set_aside" in out and (touched := int(out["set_aside"].fillna(False).sum())):
        notes.append(
            f"{touched} channels of stimuli that a stretch set aside touches are measured; the column set_aside names "
            "them."
        )
    if doubtful := int((decayed & out["latency_s"].notna()).sum()):
        notes.append(
            f"{doubtful} of {len(out)} latencies come after a decay that stood just before window_s and was taken off "
            "as one exponential (of a decay that is none they are wrong, and sizes too; of one that is, over an active "
            "muscle, some are 5 ms or more early), or would be others, or none, without what lies there. The column "
            "decay names them: look at the raw signal, or begin window_s where the decay is over."
        )
    if after := int(decayed.sum()):
        given = int((decayed & out["silent_period_s"].notna()).sum())
        notes.append(
            f"{after} of {len(out)} stimuli come after such a decay, {given} of them with a silent period, "
            f"{after - given} without: where the muscle was active before, what is left of a decay can hide its pause, "
            "so that a missing silent period says nothing; look at the raw signal of those that the column decay names."
        )
    if shallow := int((out["pause_level"] > evoked.SHALLOW).sum()):
        notes.append(
            f"{shallow} of {len(out)} silent periods may be cut short: in the pause the signal keeps more than "
            f"{evoked.SHALLOW:.0%} of its RMS before the stimulus, so that noise alone may look like the return of "
            "activity; the column pause_level names them."
        )
    if untold := int((out["pause"] == "none told").sum()):
        notes.append(
            f"{untold} of {len(out)} silent periods are missing because no pause can be told: activity goes on, or is "
            "back within some 25 ms of the end of the potential, or is too weak before; the column pause names them."
        )
    if clipped := int((out["clipped_share"] > 0).sum()):
        notes.append(f"{clipped} of {len(out)} potentials are clipped within window_s: their sizes are too small.")
    lacks = out[["peak_to_peak", "background_rms"]].isna().any(axis=1).to_numpy(dtype=bool)
    pauses = ["silent_period_s", "pause_level"]
    untold_ones, endless = ((out["pause"] == word).to_numpy(dtype=bool) for word in ("none told", "no return"))
    reasons = [
        *near_reasons(follows, precedes),
        Reason(MEASURED, lacks, "stimuli that lack samples within window_s or background_s"),
        Reason(["latency_s"], begun_ones, ""),
        Reason(
            ["latency_s"],
            ~begun_ones,
            "no potential stands out of the background within window_s: peak_to_peak is that of the background",
        ),
        Reason(pauses, untold_ones, ""),
        Reason(
            pauses,
            endless,
            "activity does not return within around_s, or before the next stimulus; the column pause names them",
        ),
    ]
    notes += missing_words(out, columns, reasons)
    out.attrs |= {
        "columns": columns,
        "notes": tell_all(notes, decisions),
        "timed": f"latency, background: {timed_words}; silent period: {paused_words}",
    }
    return out


def _lengths(name: str, pair: Any) -> tuple[float, float]:
    """Seconds before and after a stimulus."""
    good = isinstance(pair, Sequence) and len(pair) == 2 and not isinstance(pair, str)
    demand(good, name, pair, "seconds before and after the stimulus, as a pair")
    before, after = (checks.number(f"{name}[{place}]", part, least=0, unit="s") for place, part in enumerate(pair))
    demand(after > 0, name, pair, "seconds before (0 or more) and after (above 0) the stimulus")
    return before, after
