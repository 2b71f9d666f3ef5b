"""What a trial's card says in the browser: states as sign and words, lines, times in seconds from the cue.

One table translates states into what people read; the browser adds nothing to it.

    trial_card          one trial as JSON values
    trial_summary       what the map and the overview show of it
"""

import math
from collections.abc import Collection, Mapping
from typing import Any

from emgreview.annotations import fields
from emgreview.annotations.state import BurstState, ChannelState, TrialState
from emgreview.model import FloatArray, Trials
from emgreview.second_look.adjudication import Adjudication, Candidate
from emgreview.session import Automatic, Session
from emgreview.views import texts

ORIGINS = {"automatic": ("●", "accepted"), "moved": ("◆", "moved"), "added": ("✚", "added")}
"""Sign and word of an accepted burst by where it comes from."""

IN_BULK = ("◉", "in bulk, not looked at")
"""Sign and words of a mark that a rule has accepted; ``second_look.bulk``."""

FOUND = {"none visible": ("–", "none visible"), "not locatable": ("↔", "not locatable")}
"""Sign and word of a verdict without bursts."""

SIGNS = (
    ("○", "open"),
    ("◇", "moved, open"),
    *ORIGINS.values(),
    IN_BULK,
    *FOUND.values(),
    ("■", "unusable"),
)
"""Every sign of a channel-trial with its words, for a legend."""


def trial_card(
    session: Session, trials: Trials, trial: str, rest_z: FloatArray, index: int, serial: int
) -> dict[str, Any]:
    """One trial's card. ``rest_z`` (channels,) is its rest against the other trials', ``index`` its place in the
    queue, ``serial`` the number of the update it belongs to."""
    state = session.state(trial)
    asked, open_ = session.asked(trial), session.open_channels(trial)
    excluded, channels_out = texts.excluded(session, trials), texts.excluded_channels(session, trials)
    title, bare_title = (_title(session, trials, trial, state, excluded, bare) for bare in (False, True))
    return {
        "index": index,
        "serial": serial,
        "title": title,
        "bare_title": bare_title,
        "lines": texts.lines(session, trials, state),
        "notes": texts.notes(session, trials, trial),
        "excluded": excluded,
        "comment": state.comment or "",
        "dispute": _dispute(session, trial, None),
        "channels": [
            {
                **_channel(
                    state.channels[label],
                    session.automatic(trial, label),
                    float(z),
                    session.blind,
                    session.hides_automatic(trial, label),
                    channels_out.get(label),
                    session.unfit(trial, label),
                    session.clipped(trial, label),
                ),
                "excluded": channels_out.get(label),
                "aside": texts.aside(session, trials, state, label),
                "notes": texts.notes(session, trials, trial, label),
                "asked": label in asked,
                "reviewed": label not in open_,
                "dispute": _dispute(session, trial, label),
            }
            for label, z in zip(trials.labels, rest_z, strict=True)
        ],
    }


def trial_summary(session: Session, trials: Trials, trial: str) -> list[Any]:
    """Status, response in seconds from the cue (None if there is none, or in a blind review), and for each channel its
    onset, offset, the automatic 90 % interval as [low, high] in seconds from the cue (None without), its sign, and
    whether it is reviewed."""
    state = session.state(trial)
    open_ = session.open_channels(trial)
    whole = _dispute(session, trial, None)
    responses = [line["at_s"] for line in texts.lines(session, trials, state) if line["kind"] == "response"]
    channels = []
    for label in trials.labels:
        channel, auto = state.channels[label], session.automatic(trial, label)
        first = channel.response or next(iter(channel.active), None)
        times = (None, None) if first is None else (first.onset_s, first.offset_s)
        low, high = (_rounded(_number(value)) for value in (auto.low_s, auto.high_s))
        interval = None if low is None or high is None else [low, high]
        channels.append([*map(_rounded, times), interval, _verdict(channel)[0], label not in open_])
    return [
        _status(state, open_, session.asked(trial), whole is not None and not whole["settled"]),
        _rounded(next((at for at in responses if at > 0), None)),
        channels,
    ]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def _status(state: TrialState, open_: Collection[str], asked: Collection[str], whole_open: bool) -> str:
    """The word in the map: "to discuss", "reviewed", "begun" or "open"; ``whole_open`` where a dispute about the whole
    trial is open."""
    if state.discuss or any(channel.discuss for channel in state.channels.values()):
        return "to discuss"
    if not open_:
        return "open" if whole_open else "reviewed"
    return "begun" if len(open_) < len(asked) else "open"


def _dispute(session: Session, trial: str, channel: str | None) -> dict[str, Any] | None:
    """What two reviewers disagree on, unnamed, or None; only an adjudication has such."""
    if not isinstance(session, Adjudication):
        return None
    found = [one for one in session.disputes(session.source(trial)) if one.channel == channel]
    if not found:
        return None
    candidates = found[0].candidates
    return {
        "why": found[0].why,
        "settled": found[0].settled,
        "said": {"timed": _said(candidates, session.blind), "untimed": _said(candidates, True)},
        "candidates": [{"letter": one.letter, "bursts": list(map(_burst, _bursts(one)))} for one in candidates],
    }


def _said(candidates: tuple[Candidate, Candidate], blind: bool) -> str:
    """What each of two reviewers decided, and how far apart; without times in a blind review."""
    words = [f"{one.letter}: {_candidate_words(one, blind)}" for one in candidates]
    return "; ".join([*words, *_apart(*candidates)])


def _apart(a: Candidate, b: Candidate) -> list[str]:
    """How far apart two decisions lie, in words that tell of neither where it lies; nothing where they do not."""
    pairs = list(zip(_bursts(a), _bursts(b), strict=True)) if len(_bursts(a)) == len(_bursts(b)) else []
    times: dict[str, list[tuple[float | None, float | None]]] = {
        "onsets": [(one.onset_s, two.onset_s) for one, two in pairs],
        "offsets": [(one.offset_s, two.offset_s) for one, two in pairs],
        "cues": [(a.cue_s, b.cue_s)],
    }
    words = []
    for what, both in times.items():
        gaps = [round(1000 * abs(two - one), 1) for one, two in both if one is not None and two is not None]
        if any(gaps):
            words.append(f"{what} {'up to ' if len(gaps) > 1 else ''}{max(gaps):g} ms apart")
    return words


def _bursts(candidate: Candidate) -> tuple[BurstState, ...]:
    return candidate.channel.active if candidate.channel else ()


def _candidate_words(candidate: Candidate, blind: bool) -> str:
    """What a reviewer decided, in words; without times in a blind review."""
    channel = candidate.channel
    if channel is None:
        said = fields.shown(candidate.values)
        if candidate.cue_s is not None:
            said.append("a corrected cue" if blind else f"cue at {_ms(candidate.cue_s)}")
        return ", ".join(said) or "nothing said"
    if not channel.active:
        return _verdict(channel)[1]
    words = ", ".join("a burst" if blind else f"onset {_ms(burst.onset_s)}" for burst in channel.active)
    if channel.signal != "usable":
        words += f"; {channel.signal}: {', '.join(channel.reasons)}"
    return words


def _title(
    session: Session, trials: Trials, trial: str, state: TrialState, excluded: Mapping[str, str | None], bare: bool
) -> str:
    """What stands over a trial; ``bare`` without numbers in ms."""
    parts = []
    if not session.blind:
        row = trials.index(session.source(trial))
        parts += [trials.recording.name, f"cue {row + 1} of {len(trials)}"]
        details = trials.cues[row].details.items()
        parts += [f"{name} {value}" for name, value in details if name not in ("trial_type", "trial")]
    parts += texts.cue_words(session, trials, state, bare)
    parts += [f"✕ {what} excluded{texts.because(why)}" for what, why in excluded.items() if why is not None]
    if state.discuss:
        parts.append("to discuss")
    parts += fields.shown(state.values)
    return " · ".join(parts)


def _channel(
    state: ChannelState,
    auto: Automatic,
    rest_z: float,
    blind: bool,
    hidden: bool,
    excluded: str | None,
    unfit: str,
    clipped: str,
) -> dict[str, Any]:
    sign, words = _verdict(state, hidden)
    why = unfit or clipped
    words = f"{why.partition(':')[0]} · {words}" if why and not state.reviewed else words
    words += "" if excluded is None else f" ✕ channel excluded{texts.because(excluded)}"
    located = state.found != "not locatable"
    return {
        "reviewed": state.reviewed,
        "sign": sign,
        "words": words,
        "detail": {
            "timed": _detail(state, auto, rest_z, blind, hidden, unfit, clipped),
            "untimed": _detail(state, auto, rest_z, True, hidden, unfit, clipped),
            "bare": _detail(state, auto, rest_z, True, hidden, unfit, clipped, bare=True),
        },
        "unfit": bool(unfit),
        "hidden": hidden,
        "comment": state.comment or "",
        "interval_s": None if located else [state.earliest_s, state.latest_s],
        "bursts": [_burst(burst) for burst in state.active],
        "automatic": {
            name: _number(getattr(auto, name)) for name in ("onset_s", "low_s", "high_s", "offset_s", "level_db")
        },
    }


def _burst(burst: BurstState) -> dict[str, Any]:
    return {
        "id": burst.id,
        "kind": burst.kind,
        "onset_s": burst.onset_s,
        "offset_s": burst.offset_s,
        "half_width_s": burst.half_width_s,
    }


def _verdict(state: ChannelState, hidden: bool = False) -> tuple[str, str]:
    if state.signal == "unusable":
        sign, words = "■", "unusable: " + ", ".join(state.reasons)
    elif state.in_bulk:
        sign, words = IN_BULK
    elif state.found in FOUND:
        sign, words = FOUND[state.found]
    elif state.reviewed:
        sign, words = ORIGINS[state.active[0].origin]
        if len(state.active) > 1:
            words += f", {len(state.active)} bursts"
    elif any(burst.origin == "moved" for burst in state.active):
        sign, words = "◇", "moved, open"
    elif state.bursts and not state.active:
        sign, words = "○", "open, mark removed"
    else:
        sign, words = "○", "open" if state.active or hidden else "open, none found"
    if state.signal == "caution":
        words += " ▲ " + ", ".join(state.reasons)
    if state.discuss:
        words += " · discuss"
    return sign, words


def _detail(
    state: ChannelState,
    auto: Automatic,
    rest_z: float,
    blind: bool,
    hidden: bool,
    unfit: str,
    clipped: str,
    bare: bool = False,
) -> str:
    """What is known of the channel, as one line of text; without times in a blind review, ``bare`` without widths
    too. Why it cannot be judged without a look comes first."""
    parts = [f"✕ {unfit}; not among what “accept the rest” accepts"] if unfit else []
    parts += [f"▲ {clipped}"] if clipped else []
    response = state.response
    for number, burst in enumerate(state.active, 1):
        said = _burst_words(burst, blind, bare)
        if len(state.active) == 1:
            parts += said
        else:
            which = [f"burst {number}, the response" if burst is response else f"burst {number}"]
            parts.append(": ".join([*which, ", ".join(said)] if said else which))
    if hidden:
        parts.append("automatic mark hidden: place your own")
    elif _number(auto.onset_s) is not None and blind:
        if _number(auto.low_s) is not None and not bare:
            parts.append(f"automatic, 90 % interval: {_around(auto, state.rate_hz)} around its mark")
    elif _number(auto.onset_s) is not None:
        words = f"automatic {_ms(round(auto.onset_s * state.rate_hz) / state.rate_hz)}"  # at a sample, as its mark
        if _number(auto.low_s) is not None:
            words += f" (90 %: {auto.low_s * 1000:.0f} to {auto.high_s * 1000:.0f} ms)"
        parts.append(words)
    else:
        parts.append("automatic: could not tell" if auto.undecided else "automatic: no activity found")
    if _number(auto.level_db) is not None:
        parts.append(f"level {auto.level_db:.0f} dB")
    if not math.isnan(rest_z):
        parts.append(f"rest {rest_z:+z.1f} SD from this person's usual".replace("-", "−"))
    if auto.note:
        parts.append(f"baseline: {auto.note}")
    parts += fields.shown(state.values)
    return "; ".join(parts)


def _burst_words(burst: BurstState, blind: bool, bare: bool) -> list[str]:
    words = [] if burst.kind == "response" else [burst.kind]
    if not blind:
        words.append(f"onset {_ms(burst.onset_s)}")
        words += [f"offset {_ms(burst.offset_s)}"] if burst.offset_s is not None else []
    words += [burst.confidence] if burst.confidence else []
    if burst.half_width_s is not None and not bare:
        words.append(f"onset ± {1000 * burst.half_width_s:.3g} ms by the reviewer's own word")
    return words


def _around(auto: Automatic, rate_hz: float) -> str:
    """The automatic interval as it lies around its own mark, both sides told: it need not be even."""
    mark_s = round(auto.onset_s * rate_hz) / rate_hz  # at a sample, as it is drawn
    low, high = (1000 * (edge - mark_s) for edge in (auto.low_s, auto.high_s))
    before, after = (f"{edge:+.1f}" if abs(edge) < 9.95 else f"{edge:+.0f}" for edge in (low, high))
    if before[1:] == after[1:] and low < high:
        return f"± {after[1:]} ms"
    return f"{before} to {after} ms".replace("-", "−")


def _ms(seconds: float) -> str:
    """To a tenth of a ms: the samples of most recordings lie that far apart or further."""
    return f"{round(seconds * 1000, 1):g} ms"


def _number(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else float(value)
