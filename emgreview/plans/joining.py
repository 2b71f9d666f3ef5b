"""The plan goes with a recording: what each channel lies over is said by the plan, and told where they do not match.

joined      a recording, or trials, with it
"""

import copy
from dataclasses import replace
from typing import TypeVar

from emgreview import checks
from emgreview.errors import tell
from emgreview.model import Channel, Recording, Trials
from emgreview.muscles import match_muscles
from emgreview.plans.planning import Plan, Site

_Either = TypeVar("_Either", Recording, Trials)


def joined(plan: Plan, given: _Either) -> _Either:
    """A recording or its trials with what the plan says; its own statements stand where they differ."""
    if isinstance(given, Trials):
        made = copy.copy(given)  # of trials that are cut later, too, without cutting them
        object.__setattr__(made, "recording", _recording(plan, given.recording))
        return made
    checks.kind("recording", given, Recording, "a Recording, or Trials")
    return _recording(plan, given)


def _recording(plan: Plan, rec: Recording) -> Recording:
    found = _found(plan, rec)
    said, differs = [], []
    for channel in rec.channels:
        site = found.get(channel.label)
        if site is not None and channel.over and not _same(channel, site):
            differs.append(f"{channel.label} ({channel.over!r}; plan: {site.over!r})")
        said.append(replace(channel, over=site.over) if site is not None and not channel.over else channel)
    if differs:
        tell(
            f"{rec.name}: the recording says otherwise what lies under {', '.join(differs)}; that of the "
            "recording stands."
        )
    taken = {one.label for one in found.values()}
    if lacking := [one.label for one in plan.sites if one.label not in taken]:
        tell(
            f"{rec.name}: no channel was matched to {', '.join(lacking)} of the plan; channels are "
            f"{', '.join(rec.labels)}."
        )
    if more := [one.label for one in rec.channels if one.kind == "EMG" and one.label not in found]:
        tell(f"{rec.name}: the plan knows nothing of the channels {', '.join(more)}; name them in its labels.")
    rate = plan.said.get("rate_hz")
    if rate is not None and rate != rec.rate_hz:
        tell(f"{rec.name}: the plan says {rate:g} Hz, the recording {rec.rate_hz:g} Hz; that of the recording stands.")
    for name, entity in (("participant", "sub"), ("session", "ses")):
        planned, own = plan.said.get(name), rec.entities.get(entity)
        if planned is not None and own is not None and planned != own:
            tell(f"{rec.name}: the plan is of {name} {planned}, the recording of {own}; is it the right plan?")
    warned = [
        f"{label}: over {site.over}, {site.muscle.warning}." for label, site in found.items() if site.muscle.warning
    ]
    notes = [*rec.notes, *(one for one in warned if one not in rec.notes)]
    return replace(rec, channels=tuple(said), notes=tuple(notes))


def _found(plan: Plan, rec: Recording) -> dict[str, Site]:
    """By label of the recording the site of the plan: by the plan's own labels, else by muscle and side where one site
    and one channel alone are it."""
    own = {one.label: one for one in plan.sites}
    found = {label: own[label] for label in rec.labels if label in own}
    left = [one for one in plan.sites if one not in found.values()]
    labels = [one.label for one in rec.channels if one.kind == "EMG" and one.label not in found]
    if not labels or not left:
        return found
    matches = match_muscles(labels)
    for site in left:
        fits = [one.label for one in matches if one.key == site.key and one.side in ("", site.side)]
        alike = [one for one in left if one.key == site.key]
        exact = [one.label for one in matches if one.key == site.key and one.side == site.side]
        fits = exact if len(alike) > 1 else fits
        if len(fits) == 1:
            found[fits[0]] = site
    asked = [f"{one.label}: {one.words}" for one in matches.questions]
    if asked:
        tell(f"{rec.name}: which muscle is it? {' '.join(asked)} Use the labels of the recording in the plan.")
    return found


def _same(channel: Channel, site: Site) -> bool:
    """Whether what the recording says of a channel is what the plan says, in other words."""
    if channel.over == site.over:
        return True
    (match,) = match_muscles([channel.over])
    return match.key == site.key and match.side in ("", site.side)
