"""Cues that are found in a channel of pulses or of digital codes, as --pulses, --codes and what belongs to them say.

cue_of              the cue that is meant, where it need not be named
demand_cue_options  what is said of cues has a cue
demand_pulses       all that the search needs came, or nothing of it
with_pulses         a recording with its cues
"""

import argparse
from collections import Counter
from collections.abc import Set

import emgreview as er
from emgreview import checks

PULSE = "cue"
"""What cues found in a channel are called where no name is given."""


def cue_of(given: argparse.Namespace) -> str | None:
    """The cue whose trials are meant, where it may be left out: cues that are found in a channel of pulses need no
    name to be counted."""
    asked = given.expect is not None or given.search is not None
    cue: str | None = given.cue
    return PULSE if cue is None and asked and given.pulses is not None else cue


def demand_cue_options(given: argparse.Namespace) -> None:
    """What is said of cues has a cue that it is said of, and may be meant."""
    if cue_of(given) is None:
        for option, value, words in (
            ("--expect", given.expect, "counts cues"),
            ("--search", given.search, "is counted from a cue"),
        ):
            if value is not None:
                raise er.EmgreviewError(f"{option} came without --cue; it {words}; name the cue: --cue go.")
    if given.expect is not None:
        checks.whole("--expect", given.expect, least=0)
    if given.search is not None:
        checks.span("--search", given.search, allowed="START and STOP in seconds from the cue, rising")
        checks.likely_unit("--search", given.search)


def demand_pulses(given: argparse.Namespace) -> None:
    """All that a search for pulses, or for codes, needs, or nothing of it."""
    said = {"--level": given.level, "--edge": given.edge, "--mask": given.mask, "--hold-off": given.hold_off}
    came = [option for option, value in said.items() if value is not None]
    if given.pulses is not None and given.codes is not None:
        raise er.EmgreviewError(
            f"--pulses {given.pulses} and --codes {given.codes} both came; cues are found in one channel, by a level "
            "or by its codes; leave one of the two out."
        )
    if given.pulses is None and given.codes is None:
        if came:
            raise er.EmgreviewError(
                f"{', '.join(came)} came without --pulses or --codes; they tell how cues are found in a channel; name "
                "the channel: --pulses CHANNEL, or --codes CHANNEL where it holds digital codes."
            )
        return
    if given.codes is not None:
        if wrong := [option for option in came if option in ("--level", "--edge")]:
            raise er.EmgreviewError(
                f"{', '.join(wrong)} came with --codes {given.codes}; codes have neither level nor edge; leave that "
                f"out, or search for pulses: --pulses {given.codes}."
            )
        if given.hold_off is None:
            raise er.EmgreviewError(
                f"--codes {given.codes} came without --hold-off; needed are the seconds within which several changes "
                "are one code, a little more than its lines take to switch; give it: --hold-off 0.005, or 0."
            )
        _code_name(given)
        return
    if given.mask is not None:
        raise er.EmgreviewError(
            f"--mask came with --pulses {given.pulses}; pulses have a level and no bits; leave it out, or search for "
            f"codes: --codes {given.pulses}."
        )
    if missing := [option for option in ("--level", "--hold-off") if said[option] is None]:
        raise er.EmgreviewError(
            f"--pulses {given.pulses} came without {' and '.join(missing)}; needed are --level, in the channel's own "
            "unit, between rest and pulse, and --hold-off, in seconds, a little less than the shortest time between "
            "two cues; give both."
        )


def with_pulses(rec: er.Recording, given: argparse.Namespace) -> er.Recording:
    """The recording with the cues of its channel of pulses, or of codes, where one is named."""
    if given.pulses is None and given.codes is None:
        return rec
    if given.codes is not None:
        name = _code_name(given)
        how = {} if given.mask is None else {"mask": given.mask}
        found = er.with_cues(rec, given.codes, codes=True, hold_off_s=given.hold_off, label=name, **how)
        new = {marker.label for marker in found.markers if marker.source == f"channel {given.codes}"}
        _demand_names_of_their_own(rec, f"--codes {given.codes}", new, "'code 5'")
        return found
    label = getattr(given, "cue", None) or PULSE
    rec.channel(given.pulses)
    _demand_names_of_their_own(rec, f"--pulses {given.pulses}", {label}, "pulse")
    return er.with_cues(
        rec, given.pulses, level=given.level, edge=given.edge or "rising", hold_off_s=given.hold_off, label=label
    )


def _code_name(given: argparse.Namespace) -> str:
    """What codes are called before their number: 'go' where the cue is 'go 5', 'cue' where no cue is asked for."""
    cue = getattr(given, "cue", None)
    if cue is None:
        return "cue"
    name, _, code = cue.rpartition(" ")
    if not (name.strip() and code.isdecimal()):
        raise er.EmgreviewError(
            f"--cue came as {cue!r}; with --codes a cue is a name of your choice and a code: --cue 'go 5'; give both "
            "(emgreview check with the same --codes and --hold-off lists the codes)."
        )
    return str(name)


def _demand_names_of_their_own(rec: er.Recording, option: str, labels: Set[str], other: str) -> None:
    """Cues found in a channel are called otherwise than the markers that the recording holds."""
    own = Counter(marker.label for marker in rec.markers if marker.label in labels)
    if not own:
        return
    label, n = own.most_common(1)[0]
    raise er.EmgreviewError(
        f"{rec.name} holds {n} markers {label!r} of its own, and {option} would add cues of that name; every trial "
        f"would be there twice; leave that option out, or call the cues otherwise: --cue {other}."
    )
