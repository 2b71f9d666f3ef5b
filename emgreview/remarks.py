"""What a command has to say of bursts beyond what it does: one lies inside another, another one is the response.

Activities as the log holds them, before and after a command; onsets in samples. Nothing here decides: of several
active bursts of kind "response" the one that begins first is the response (``annotations.state.find_burst``), and it
stays so. These words tell it where a command has changed it.

    on_bursts       the sentences, often none
    alone           whether there can be none
"""

from collections.abc import Iterator

from emgreview.annotations.fields.activity import Activity, find_burst, stands

_Span = tuple[int, int | None]


def alone(old: Activity, new: Activity) -> bool:
    """Whether there is one burst, the same before and after: it lies in no other and gives place to none, so there is
    nothing to say."""
    return len(new.bursts) < 2 and old.bursts.keys() == new.bursts.keys()


def on_bursts(old: Activity, new: Activity, cue: int, rate_hz: float | None) -> list[str]:
    """Sentences on what changed from ``old`` to ``new``. Bursts are named by their number in order of time, and with
    ``rate_hz`` by their onset in ms from sample ``cue`` too; None where no time may be shown."""
    return [*_overlaps(old, new, cue, rate_hz), *_response(old, new, cue, rate_hz)]


def _active_ids(activity: Activity) -> list[str]:
    """Ids of the bursts that count, in order of time."""
    if activity.found != "bursts":
        return []
    bursts = activity.bursts
    return sorted((name for name in bursts if stands(bursts[name])), key=lambda name: (bursts[name].onset, name))


def _named(activity: Activity, name: str, cue: int, rate_hz: float | None) -> str:
    order = _active_ids(activity)
    words = f"burst {order.index(name) + 1} of {len(order)}" if len(order) > 1 else "the burst left"
    if rate_hz is None:
        return words
    return f"{words} ({name}, onset {round(1000 * (activity.bursts[name].onset - cue) / rate_hz, 1):g} ms)"


def _span(activity: Activity, name: str) -> _Span | None:
    """Onset and offset of a burst that stands; None for one that does not."""
    if name not in _active_ids(activity):
        return None
    burst = activity.bursts[name]
    return burst.onset, burst.offset


def _relation(one: _Span | None, other: _Span | None, by_method: bool) -> str:
    """How one burst lies to another that began no later; "" where they part, or where one of them is none."""
    if one is None or other is None or one[0] < other[0]:
        return ""
    if other[1] is None:
        return "begins after {}, which has no offset, so it may lie inside that" if by_method else ""
    if one[0] >= other[1]:
        return ""
    return "lies inside {}" if one[1] is None or one[1] <= other[1] else "begins inside {}, and they overlap"


def _overlaps(old: Activity, new: Activity, cue: int, rate_hz: float | None) -> Iterator[str]:
    """Bursts that lie inside others, and did not before."""
    order = _active_ids(new)
    for place, name in enumerate(order):
        for before in order[:place]:
            whose = new.bursts[before].automatic is not None
            now = _relation(_span(new, name), _span(new, before), whose)
            if now and not (
                _relation(_span(old, name), _span(old, before), whose)
                or _relation(_span(old, before), _span(old, name), whose)
            ):
                yield f"{_named(new, name, cue, rate_hz)} {now.format(_named(new, before, cue, rate_hz))}."


def _response(old: Activity, new: Activity, cue: int, rate_hz: float | None) -> Iterator[str]:
    """Whether another burst is the response now, or none is any more though others stand."""
    was, now = (find_burst(one, None) if one.found == "bursts" else None for one in (old, new))
    if was is None or was == now or not _active_ids(new):
        return
    if now is None:
        if was not in _active_ids(new):  # else its kind was changed, which says it all
            yield "no burst of kind response stands any more, only others."
    elif was in _active_ids(new) and new.bursts[was].kind == "response":
        yield (
            f"the response is now {_named(new, now, cue, rate_hz)}, because it begins first; so far it was "
            f"{_named(new, was, cue, rate_hz)}. If it answers to nothing, give it another kind."
        )
    else:
        why = f"is of kind {new.bursts[was].kind!r} now" if was in _active_ids(new) else "no longer stands"
        yield f"the response is now {_named(new, now, cue, rate_hz)}; what it was so far {why}."
