"""Two channels side by side, and averages over trials.

compare_channels      one row a trial: common area, shared signal, which channel starts first
average_envelopes     averages aligned to go, onset or response

Over 400 lines with what its public names say of themselves.
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import Any, Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import UnknownNameError
from emgreview.measuring.answers import SEARCHED, Answers, halted_words, kin_words, late_words, responses
from emgreview.measuring.aside import Aside
from emgreview.measuring.ground import Ground
from emgreview.measuring.missing import Reason, missing_words
from emgreview.measuring.neighbours import foreign
from emgreview.measuring.rows import (
    FloatArray,
    carried,
    channel_of,
    column,
    first_of,
    kept_out,
    numbers,
    one_of,
    places,
    rows_to_measure,
    said_of,
    tell_all,
)
from emgreview.measuring.stretches import NEAR_S
from emgreview.model import Trials, to_sample
from emgreview.signal.averages import Average, aligned_average
from emgreview.signal.clip import cut_words
from emgreview.signal.coactivation import Rule, common_area, onset_order
from emgreview.signal.crosstalk import chance_share, lagged_correlation, shared_words
from emgreview.tables import describe

Moment = Literal["go", "onset", "response"]


def compare_channels(
    trials: Trials,
    decisions: pd.DataFrame,
    a: str,
    b: str,
    *,
    window_s: tuple[float, float] = (0.0, 0.5),
    reference: Mapping[str, float] | None = None,
    rule: Rule = "samples",
) -> pd.DataFrame:
    """What two channels have in common in each trial, one row a trial.

    Parameters
    ----------
    trials : Trials
        The trials that were reviewed.
    decisions : DataFrame
        Decisions of one reviewer.
    a, b : str
        Labels of the two channels.
    window_s : (float, float), default (0.0, 0.5)
        The stretch compared, (start, stop) in seconds from the recorded cue.
    reference : mapping of str to float, or None
        What each envelope is divided by, in the trials' unit; for a channel without one, the
        largest value it reaches within the window in any trial that counts.
    rule : {"samples", "trapezoid", "lines"}
        How areas are integrated: name it in a report.

    Returns
    -------
    DataFrame
        ``common_area_percent`` of the two envelopes; ``r``, ``r2`` and ``lag_s`` of the raw
        signals; ``onset_difference_s``, B minus A for the accepted responses, with its
        interval, and ``first``. ``signal_a`` and ``signal_b`` say what was decided of each
        signal, ``set_aside`` whether a stretch set aside touches a mark of either, or comes
        within 0.1 s of the window compared, ``left_out`` why a row has no number. NaN where a
        sample or an onset is missing. ``table.attrs["notes"]`` says in words what the shared
        signal means, and what it does not, and why numbers are missing.

    Raises
    ------
    ParameterError
        A value is out of range, the channels are one, or decisions of two reviewers are on
        one trial.
    UnknownNameError
        No channel has that label.
    RateError, VersionError
        As for :func:`emgreview.measure`, by its decisions.
    SignalError
        Samples of the trials are too large to be a voltage.

    Warns
    -----
    SignalWarning
        Every note.

    Notes
    -----
    ::

        common area = 100 · 2 · area of min(A, B) / (area of A + area of B)
        r = the R(k) of largest size, R(k) = sum a[n] b[n + k] / sqrt(sum a[n]² sum b[n + k]²)

    with A and B the envelopes, each divided by its reference; a and b the band-passed
    signals; k a lag within ± 30 ms. ``lag_s`` is positive where B is later; ``r2`` is the
    share of power in common.

    The interval of the onset difference comes from those of the method, so it is missing
    where a person has moved a mark. It holds less than it says between a fast and a gentle
    rise: a note and the columns say how much less.

    Notes count the trials clipped in either channel, and those in which a channel is dead,
    flat, missing or clipped down to its rest (``signal.unfit``) and nobody called it
    unusable. Trials that are unusable or set aside in either channel are measured, and do
    not count in a largest value, in what chance would share, nor in the medians of the note.
    Trials of which a channel was excluded, or of which a rule for inclusion takes no row of
    a channel (``included``), count nowhere: they keep their row, without a number.

    References
    ----------
    Definitions in ``signal.coactivation``. %COCON: Winter, Biomechanics and Motor Control of
    Human Movement, 4th ed., eq. 6.13; the share of power: ch. 10.

    Examples
    --------
    >>> import tempfile
    >>> import warnings
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = [session.accept_rest(trial) for trial in session.queue]
    ...         decisions = session.decisions()
    >>> with warnings.catch_warnings(action="ignore"):  # they stay in the notes
    ...     table = er.compare_channels(trials, decisions, "prime mover", "antagonist")
    >>> bool(table["common_area_percent"].between(0, 100).all()), len(table)
    (True, 3)
    """
    trials = one_of(trials)
    columns = [channel_of(trials, label) for label in (a, b)]
    demand(a != b, "b", b, f"a channel other than {a!r}")
    window_s = checks.span("window_s", window_s)
    checks.likely_unit("window_s", window_s, most_s=len(trials.time_s) / trials.rate_hz)
    start, stop = (trials.before + to_sample(edge, trials.rate_hz) for edge in window_s)
    demand(0 <= start < stop <= len(trials.time_s), "window_s", window_s, "a rising pair of seconds inside the trials")
    raw = [np.asarray(trials.data[:, column, start:stop], float) for column in columns]
    outlines = [np.asarray(trials.envelope[:, column, start:stop], float) for column in columns]
    signals, asides = zip(*(said_of(decisions, trials, label) for label in (a, b)), strict=True)
    mine = (decisions["recording"] == trials.recording.name) & decisions["channel"].isin([a, b])
    rows, notes = rows_to_measure([trials], decisions[mine], one_reviewer=True)
    aside = asides[0].fillna(False) | asides[1].fillna(False)
    stretches, begin = Aside(decisions), np.array([cue.sample - trials.before for cue in trials.cues], dtype=np.intp)
    for label in (a, b):
        aside = aside | stretches.touch(
            trials.recording.name, label, begin + start, begin + stop, near=to_sample(NEAR_S, trials.rate_hz)
        )
    notes += stretches.notes
    unusable = (signals[0] == "unusable") | (signals[1] == "unusable")
    left_out = _left_out(decisions, trials, (a, b))
    kept = left_out.isna().to_numpy(dtype=bool)
    flagged = (unusable.fillna(False) | aside).to_numpy(dtype=bool) & kept
    counts = kept & ~flagged
    own, divided = _divisors((a, b), [part[counts] for part in outlines], reference)
    for part in (*raw, *outlines):
        part[~kept] = np.nan
    shared = lagged_correlation(raw[0], raw[1], trials.rate_hz)
    rows = rows[rows["kind"] == "response"]
    if further := int(rows.duplicated(["trial", "channel"]).sum()):
        notes.append(
            f"{further} further bursts of kind response stand beside an earlier one of the same channel and trial: of "
            "each, the onset of the one that begins first is compared."
        )
    ground = Ground((a, b))
    for place, signal in zip(columns, signals, strict=True):
        said = (signal == "unusable").fillna(False).to_numpy(dtype=bool)
        ground.use(trials, place, np.flatnonzero(kept & ~said))
    times = [_onsets(trials, rows[rows["channel"] == label]) for label in (a, b)]
    (a_s, *a_interval), (b_s, *b_interval) = times
    order = onset_order(
        a_s, b_s, a_interval_s=(a_interval[0], a_interval[1]), b_interval_s=(b_interval[0], b_interval[1])
    )
    table = pd.DataFrame(
        {
            "recording": trials.recording.name,
            "trial": trials.ids,
            "signal_a": signals[0].to_numpy(dtype=object, na_value=None),
            "signal_b": signals[1].to_numpy(dtype=object, na_value=None),
            "set_aside": aside.to_numpy(dtype=bool),
            "left_out": left_out.to_numpy(dtype=object),
            "common_area_percent": common_area(outlines[0] / own[a], outlines[1] / own[b], rule=rule),
            "r": shared.r,
            "r2": shared.r2,
            "lag_s": shared.lag_s,
            "onset_difference_s": order.difference_s,
            "onset_difference_low_s": order.low_s,
            "onset_difference_high_s": order.high_s,
            "first": [{"A": a, "B": b}.get(word, word) for word in order.first],
        }
    )
    used = int(counts.sum())
    chance = chance_share(raw[0][counts], raw[1][counts], trials.rate_hz) if used > 1 else math.nan
    typical, lag_s = (
        float(np.nanmedian(v[counts])) if np.isfinite(v[counts]).any() else math.nan for v in (shared.r2, shared.lag_s)
    )
    told = [f"Median of {used} trials: {shared_words(a, b, typical, lag_s, chance)}"]
    sentences = []
    if flagged.any():
        sentences.append(
            f"{flagged.sum()} trials whose signal is unusable or set aside in {a} or {b} are measured, and count "
            "neither in that median nor in a largest value."
        )
    if not kept.all():
        why_words = ", ".join(f"{why!r} {count}" for why, count in left_out.value_counts().sort_index().items())
        sentences.append(f"{(~kept).sum()} trials are left out because of {a} or {b}, by reason: {why_words}.")
    told += [" ".join(sentences)] * bool(sentences) + notes
    if np.isfinite(order.low_s).any():
        told.append(f"Order of {a} and {b}: {order.caution}")
    whole = np.ones(len(trials))
    clipped = [ground.share(trials, place, np.arange(len(trials)), start * whole, stop * whole) for place in columns]
    if cut := int(((clipped[0] > 0) | (clipped[1] > 0))[kept].sum()):
        told.append(
            f"In {cut} trials {a} or {b} is clipped within the window: common area and shared signal rest on cut "
            "samples there, and so may the largest value that envelopes are divided by."
        )
    told += ground.notes("trials")
    if coded := ground.coded():
        told.append(
            f"The largest value that envelopes are divided by may be that of a code for missing samples ({coded}): "
            "then common_area_percent of every trial is far too small; call them unusable, or give a reference."
        )
    if silent := int((signals[0].isna() | signals[1].isna()).sum()):
        told.append(
            f"In {silent} trials the table of decisions says nothing of {a} or {b}: they are measured, and count."
        )
    described = describe(table[["recording", "trial", "set_aside"]]) | {
        "signal_a": column("text", "", f"Signal of {a}: usable, caution or unusable; missing where nothing is said"),
        "signal_b": column("text", "", f"Signal of {b}: likewise"),
        "set_aside": column(
            "truth",
            "",
            f"Whether a stretch set aside touches a mark of {a} or {b}, or comes within 0.1 s of the window",
        ),
        "left_out": column("text", "", f"Why the trial is left out, because of {a} or {b}; missing where it is not"),
        "common_area_percent": column(
            "number", "%", f"Common area over mean area (Winter eq. 6.13), rule: {rule}; {divided}"
        ),
        "r": column("number", "", "Largest correlation of the band-passed signals within ±30 ms, with its sign"),
        "r2": column("number", "", "Its square: share of power in common; a caution, never an acquittal"),
        "lag_s": column("number", "s", f"Its lag, positive where {b} is later"),
        "onset_difference_s": column("number", "s", f"Onset over {b} minus onset over {a}"),
        "onset_difference_low_s": column(
            "number", "s", f"Start of its 90 % interval, if the two errors are independent. {order.caution}"
        ),
        "onset_difference_high_s": column(
            "number", "s", f"End of its 90 % interval, if the two errors are independent. {order.caution}"
        ),
        "first": column("text", "", f"The earlier channel, as far as the interval can tell. {order.caution}"),
    }
    why = _reasons((a, b), kept, raw, outlines, not any(map(math.isnan, own.values())), (a_s, b_s))
    told += missing_words(table, described, why)
    table.attrs |= {"notes": tell_all(told, decisions), "columns": described}
    return table


def _reasons(
    labels: tuple[str, str],
    kept: NDArray[np.bool_],
    raw: Sequence[FloatArray],
    outlines: Sequence[FloatArray],
    divided: bool,
    onsets: tuple[FloatArray, FloatArray],
) -> list[Reason]:
    """Why numbers of two channels are missing; without words where a note of its own says it. ``raw`` and ``outlines``
    (trials, samples) are those measured, ``onsets`` (trials,) those compared; ``divided``, whether there is something
    to divide the envelopes by."""
    a, b = labels
    shared, area = ["r", "r2", "lag_s"], ["common_area_percent"]
    order = ["onset_difference_s", "onset_difference_low_s", "onset_difference_high_s"]
    every, undivided = np.ones(len(kept), dtype=bool), np.full(len(kept), not divided)
    lacks = [np.isnan(np.stack(pair)).any(axis=(0, -1)).reshape(-1) for pair in (outlines, raw)]
    none = [np.isnan(onset) for onset in onsets]
    return [
        Reason([*area, *shared, *order], ~kept, ""),
        Reason(area, lacks[0], f"{a} or {b} lacks samples within the window"),
        Reason(shared, lacks[1], f"{a} or {b} lacks samples within the window"),
        Reason(area, undivided, "no trial counts in a largest value, and no reference is given"),
        Reason(area, every, f"{a} and {b} are 0 throughout the window"),
        Reason(shared, every, f"{a} or {b} is 0 throughout the window, or too small to be computed"),
        Reason(order, none[0] & none[1], f"neither {a} nor {b} has an accepted response"),
        Reason(order, none[0], f"{a} has no accepted response"),
        Reason(order, none[1], f"{b} has no accepted response"),
        Reason(order, every, "the difference has no interval: a person has placed a mark, or the method gives none"),
    ]


def _left_out(decisions: pd.DataFrame, trials: Trials, labels: Sequence[str]) -> "pd.Series[Any]":
    """Why each trial is left out because of one of the channels, or both, (trials,); missing where it is not."""
    words = [kept_out(decisions, trials, label) for label in labels]
    told = [word.where(word.isna(), f"{label}: " + word.astype(str)) for label, word in zip(labels, words, strict=True)]
    both = told[0].notna() & told[1].notna()
    return told[0].where(told[0].notna(), told[1]).mask(both, told[0].astype(str) + "; " + told[1].astype(str))


def _divisors(
    labels: Sequence[str], outlines: Sequence[FloatArray], reference: Mapping[str, float] | None
) -> tuple[dict[str, float], str]:
    """What each channel's envelope is divided by, and where that comes from, in words."""
    given = reference if reference is not None else {}
    demand(isinstance(given, Mapping), "reference", reference, f"a mapping with values for {' and '.join(labels)}")
    for name in given:
        if name not in labels:
            raise UnknownNameError("channel of the reference", name, labels)
    own, words = {}, []
    for label, outline in zip(labels, outlines, strict=True):
        if label in given:
            own[label] = checks.number(f"reference of {label!r}", given[label], above=0, unit="in the trials' unit")
        else:
            own[label] = float(np.nanmax(outline, initial=0.0)) if len(outline) else math.nan
            demand(
                not own[label] <= 0, "reference", reference, f"a value above 0 for {label!r}, which shows none itself"
            )
        how = "given" if label in given else "largest value in the window of the trials that count (peak in task)"
        words.append(
            f"{label} not divided: no trial counts"
            if math.isnan(own[label])
            else f"{label} divided by {own[label]:.4g} ({how})"
        )
    return own, "; ".join(words)


def _onsets(trials: Trials, rows: pd.DataFrame) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Onset of each trial with its interval, seconds from the first sample of the trial; (trials,)."""
    mine = first_of(rows)
    trial, start = places(trials, mine)
    cue_s = (numbers(mine["cue_sample"]) - start) / trials.rate_hz
    kept = (mine["origin"] == "automatic").to_numpy(dtype=bool, na_value=False)
    out = np.full((3, len(trials)), np.nan)
    out[0, trial] = numbers(mine["onset_s"]) + cue_s
    for row, name in ((1, "automatic_low_s"), (2, "automatic_high_s")):
        out[row, trial] = np.where(kept, numbers(mine[name]), np.nan) + cue_s
    return out[0], out[1], out[2]


def average_envelopes(
    trials: Trials,
    decisions: pd.DataFrame,
    *,
    to: Moment,
    before_s: float,
    after_s: float,
    response: str = "response",
    not_cues: Sequence[str] = (),
) -> dict[str, Average]:
    """Mean envelope of every channel over trials, aligned to a moment of each trial.

    Parameters
    ----------
    trials : Trials
        The trials that were reviewed.
    decisions : DataFrame
        Decisions of one reviewer.
    to : {"go", "onset", "response"}
        Align to go, to the accepted onset of that channel, or to the response marker.
    before_s, after_s : float
        How far the average reaches before and after that moment, in seconds.
    response : str, default "response"
        Label of the marker of the response.
    not_cues : sequence of str, default ()
        Labels of markers that are no cues, as for :func:`emgreview.measure`.

    Returns
    -------
    dict of str to Average
        One average a channel, in the trials' unit.

    Raises
    ------
    ParameterError
        A value is out of range, or decisions of two reviewers are on one trial.
    UnknownNameError
        No marker or column has that name.
    RateError, VersionError
        As for :func:`emgreview.measure`, by its decisions.
    SignalError
        Samples of the trials are too large to be a voltage.

    Warns
    -----
    SignalWarning
        Every note.

    Notes
    -----
    The trials with an accepted response burst in the channel take part, whatever the
    alignment, so that the averages compare; those without a response marker, as
    :func:`emgreview.measure` looks for it, drop out of the last. Where several stand, the
    response is the one that begins first. Unusable signals take no part, nor marks that a
    stretch set aside touches, nor trials of which one comes within 0.1 s of what is averaged
    (the filter carries it on), nor what was excluded or a rule leaves out (``included``).
    ``n`` says how many stand behind each sample, ``notes`` at how many samples too few do for
    a mean or an SD, what was left out of that channel, why, how many are clipped, and in how
    many the signal is dead, flat, missing or clipped down to its rest (``signal.unfit``) and
    yet takes part.

    A zero-phase envelope starts to rise before the signal does: the foot of an average tells
    no onset.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = [session.accept_rest(trial) for trial in session.queue]
    ...         decisions = session.decisions()
    >>> means = er.average_envelopes(trials, decisions, to="onset", before_s=0.2, after_s=0.4)
    >>> means["prime mover"].mean.shape, int(means["prime mover"].n.max())
    ((600,), 3)
    """
    trials = one_of(trials)
    demand(to in get_args(Moment), "to", to, "'go', 'onset' or 'response'")
    rows_to_measure([trials], decisions, one_reviewer=True)  # names and rates of all channels, before any is averaged
    if to == "response" and not any(marker.label == response for marker in trials.recording.markers):
        raise UnknownNameError("marker", response, sorted({marker.label for marker in trials.recording.markers}))
    not_cues = foreign("not_cues", not_cues, [trials.cue, response], [trials.recording])
    out, ground, stretches, near = {}, Ground(), Aside(decisions), to_sample(NEAR_S, trials.rate_hz)
    for place, label in enumerate(trials.labels):
        rows, notes = rows_to_measure([trials], decisions[decisions["channel"] == label])
        rows = rows[rows["kind"] == "response"]
        if count := int((rows["signal"] == "unusable").sum()):
            notes.append(f"{count} responses of unusable signals take no part.")
        rows = first_of(rows[(rows["signal"] != "unusable").fillna(True).astype(bool)])
        aside = (
            rows["set_aside"].fillna(False).to_numpy(dtype=bool) if "set_aside" in rows else np.zeros(len(rows), bool)
        )
        if count := int(aside.sum()):
            notes.append(f"{count} responses in stretches that were set aside take no part.")
        mine = rows[~aside]
        moment, late, halted = _moments(trials, mine, to, response, decisions, not_cues)
        touched = stretches.touch(
            trials.recording.name, label, *_averaged(trials, mine, moment, before_s, after_s), near=near
        )
        if count := int(touched.sum()):
            notes.append(
                f"{count} responses take no part because a stretch set aside lies within what is averaged, or 0.1 s of "
                "it."
            )
        mine, moment = mine[~touched], moment[~touched]
        if to == "response":
            notes += kin_words(trials, response, int(np.isnan(moment).sum()), not_cues)
            notes += halted_words(trials, response, halted[~touched])
            notes += late_words(response, int(late[~touched].sum()), len(mine))
        notes += stretches.notes
        trial, start = ground.places(trials, mine)
        at = np.full(len(trials), np.nan)
        at[trial] = moment - start
        if count := int(np.isnan(moment).sum()):
            notes.append(f"{count} responses without a marker {response!r} {SEARCHED} take no part.")
        if not len(mine):
            notes.append("No accepted response takes part, so that there is no average.")
        y = trials.envelope[:, place]
        onset, offset = (numbers(mine[f"{name}_sample"]) - start for name in ("onset", "offset"))
        offset = np.where(np.isnan(offset), np.minimum(onset + 0.1 * trials.rate_hz, len(trials.time_s)), offset)
        cut = ground.share(trials, place, trial, onset, offset)
        notes += cut_words(int((cut > 0).sum()), len(mine), "responses")
        found = aligned_average(y, at, trials.rate_hz, before_s=before_s, after_s=after_s)
        if len(mine) and (bare := int((found.n == 0).sum())):
            notes.append(
                f"{bare} of {len(found.n)} samples of the average are missing: no trial that takes part reaches so "
                "far, or has samples there."
            )
        if (found.n == 1).any():
            notes.append(f"{(found.n == 1).sum()} of {len(found.n)} samples rest on one trial, and have no SD.")
        out[label] = dataclasses.replace(found, notes=(*notes, *ground.notes("responses", label)))
    tell_all(f"{label}: {note}" for label, found in out.items() for note in found.notes)
    beside = carried(decisions)
    return {label: dataclasses.replace(found, notes=(*found.notes, *beside)) for label, found in out.items()}


def _moments(
    trials: Trials, rows: pd.DataFrame, to: Moment, response: str, decisions: pd.DataFrame, not_cues: Sequence[str]
) -> Answers:
    """The moment to which each response is aligned, as a sample of the recording, NaN without one; whether it lies
    beyond the trial; what ended the search for it."""
    cue = numbers(rows["cue_sample"])
    if to == "response":
        trial = places(trials, rows)[0]
        return responses(trials, trial, cue, response, 0.0, decisions=decisions, not_cues=not_cues)
    moment = cue if to == "go" else numbers(rows["onset_sample"])
    return Answers(moment, np.zeros(len(rows), dtype=bool), np.full(len(rows), "", dtype=object))


def _averaged(
    trials: Trials, rows: pd.DataFrame, moment: FloatArray, before_s: float, after_s: float
) -> tuple[FloatArray, FloatArray]:
    """First and past-last sample of what is averaged around each moment: no more than its trial."""
    _, begin = places(trials, rows)
    before, after = (
        to_sample(checks.number(name, part, least=0, unit="s"), trials.rate_hz)
        for name, part in (("before_s", before_s), ("after_s", after_s))
    )
    return np.maximum(moment - before, begin), np.minimum(moment + after, begin + len(trials.time_s))
