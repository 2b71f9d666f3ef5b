"""Review surface EMG trial by trial: read, condition, detect, decide, seal, replay.

The public names, loaded on first use, so that importing the package costs no more than numpy, scipy and
pandas, and loads no user-interface toolkit. ``muscles`` alone is there at once: a part of the package has its name.
"""

import difflib
import importlib
from typing import TYPE_CHECKING

from emgreview.muscles import muscles as muscles  # at once: the part of that name would stand in its place

__version__ = "0.1.0"

_HOMES = {
    "emgreview.errors": ("DecisionWarning", "EmgreviewError", "SignalWarning"),
    "emgreview.model": ("Burst", "Channel", "Marker", "Onsets", "Processing", "Recording", "Trials"),
    "emgreview.reading": (
        "Look",
        "confirm_alignment",
        "derive",
        "find_cues",
        "join_channels",
        "join_in_time",
        "look",
        "measure_delay",
        "open_data",
        "read",
        "read_dataset",
        "read_study",
        "with_cues",
        "write_study",
    ),
    "emgreview.checking": ("check",),
    "emgreview.fitness": ("verdicts",),
    "emgreview.converting": ("Converted", "convert", "identifying"),
    "emgreview.muscles": ("match_muscles", "muscle", "muscles"),
    "emgreview.trials": ("cut_trials", "with_bursts"),
    "emgreview.many.arriving": ("ArrivingTrials", "cut_as_ready"),
    "emgreview.many.checked": ("CheckedAll", "check_all"),
    "emgreview.many.cut": ("cut_all",),
    "emgreview.many.detected": ("detect_all",),
    "emgreview.running": ("Cache", "Outcome", "Outcomes", "Progress", "Runner"),
    "emgreview.signal.onset": ("estimate_onsets", "list_bursts"),
    "emgreview.simulation": ("simulate", "simulate_contractions", "simulate_study"),
    "emgreview.annotations": ("Convention", "Withdrawn", "verify", "withdraw"),
    "emgreview.tables": ("Flips", "LeftOut", "Rule", "compare_rules", "include", "read_version"),
    "emgreview.replaying": ("Replayed", "replay", "seal"),
    "emgreview.measuring": (
        "average_envelopes",
        "compare_channels",
        "detection_floor",
        "involvement",
        "measure",
        "measure_evoked",
    ),
    "emgreview.contractions": (
        "maximal_efforts",
        "selectivity",
        "write_channel_cards",
    ),
    "emgreview.reading.channel_cards": ("ChannelCard", "ChannelCards", "read_channel_cards"),
    "emgreview.bench": ("bench_onsets",),
    "emgreview.bench.found": ("bench_findings",),
    "emgreview.cohort.agreement": ("agreement",),
    "emgreview.cohort.changes": ("Difference", "diff"),
    "emgreview.cohort.merging": ("merge_reviews",),
    "emgreview.session": ("open_review",),
    "emgreview.second_look": (
        "BulkRule",
        "adjudicate",
        "bulk_audit",
        "draw_sample",
        "plan_bulk",
        "plan_self_check",
        "self_check",
    ),
    "emgreview.demo": ("write_demo",),
    "emgreview.muscles.drawings": ("draw_muscles",),
    "emgreview.people": ("summarise",),
    "emgreview.plans": ("Plan", "Site", "TrialsNeeded", "plan", "read_plan", "trials_needed"),
    "emgreview.views": ("long_view", "participants", "review", "show_cues", "study_form"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted(_HOME_OF)

if TYPE_CHECKING:
    from emgreview.annotations import Convention as Convention
    from emgreview.annotations import Withdrawn as Withdrawn
    from emgreview.annotations import verify as verify
    from emgreview.annotations import withdraw as withdraw
    from emgreview.bench import bench_onsets as bench_onsets
    from emgreview.bench.found import bench_findings as bench_findings
    from emgreview.checking import check as check
    from emgreview.cohort.agreement import agreement as agreement
    from emgreview.cohort.changes import Difference as Difference
    from emgreview.cohort.changes import diff as diff
    from emgreview.cohort.merging import merge_reviews as merge_reviews
    from emgreview.contractions import maximal_efforts as maximal_efforts
    from emgreview.contractions import selectivity as selectivity
    from emgreview.contractions import write_channel_cards as write_channel_cards
    from emgreview.converting import Converted as Converted
    from emgreview.converting import convert as convert
    from emgreview.converting import identifying as identifying
    from emgreview.demo import write_demo as write_demo
    from emgreview.errors import DecisionWarning as DecisionWarning
    from emgreview.errors import EmgreviewError as EmgreviewError
    from emgreview.errors import SignalWarning as SignalWarning
    from emgreview.fitness import verdicts as verdicts
    from emgreview.many.arriving import ArrivingTrials as ArrivingTrials
    from emgreview.many.arriving import cut_as_ready as cut_as_ready
    from emgreview.many.checked import CheckedAll as CheckedAll
    from emgreview.many.checked import check_all as check_all
    from emgreview.many.cut import cut_all as cut_all
    from emgreview.many.detected import detect_all as detect_all
    from emgreview.measuring import average_envelopes as average_envelopes
    from emgreview.measuring import compare_channels as compare_channels
    from emgreview.measuring import detection_floor as detection_floor
    from emgreview.measuring import involvement as involvement
    from emgreview.measuring import measure as measure
    from emgreview.measuring import measure_evoked as measure_evoked
    from emgreview.model import Burst as Burst
    from emgreview.model import Channel as Channel
    from emgreview.model import Marker as Marker
    from emgreview.model import Onsets as Onsets
    from emgreview.model import Processing as Processing
    from emgreview.model import Recording as Recording
    from emgreview.model import Trials as Trials
    from emgreview.muscles import match_muscles as match_muscles
    from emgreview.muscles import muscle as muscle
    from emgreview.muscles import muscles as muscles
    from emgreview.muscles.drawings import draw_muscles as draw_muscles
    from emgreview.people import summarise as summarise
    from emgreview.plans import Plan as Plan
    from emgreview.plans import Site as Site
    from emgreview.plans import TrialsNeeded as TrialsNeeded
    from emgreview.plans import plan as plan
    from emgreview.plans import read_plan as read_plan
    from emgreview.plans import trials_needed as trials_needed
    from emgreview.reading import Look as Look
    from emgreview.reading import confirm_alignment as confirm_alignment
    from emgreview.reading import derive as derive
    from emgreview.reading import find_cues as find_cues
    from emgreview.reading import join_channels as join_channels
    from emgreview.reading import join_in_time as join_in_time
    from emgreview.reading import look as look
    from emgreview.reading import measure_delay as measure_delay
    from emgreview.reading import open_data as open_data
    from emgreview.reading import read as read
    from emgreview.reading import read_dataset as read_dataset
    from emgreview.reading import read_study as read_study
    from emgreview.reading import with_cues as with_cues
    from emgreview.reading import write_study as write_study
    from emgreview.reading.channel_cards import ChannelCard as ChannelCard
    from emgreview.reading.channel_cards import ChannelCards as ChannelCards
    from emgreview.reading.channel_cards import read_channel_cards as read_channel_cards
    from emgreview.replaying import Replayed as Replayed
    from emgreview.replaying import replay as replay
    from emgreview.replaying import seal as seal
    from emgreview.running import Cache as Cache
    from emgreview.running import Outcome as Outcome
    from emgreview.running import Outcomes as Outcomes
    from emgreview.running import Progress as Progress
    from emgreview.running import Runner as Runner
    from emgreview.second_look import BulkRule as BulkRule
    from emgreview.second_look import adjudicate as adjudicate
    from emgreview.second_look import bulk_audit as bulk_audit
    from emgreview.second_look import draw_sample as draw_sample
    from emgreview.second_look import plan_bulk as plan_bulk
    from emgreview.second_look import plan_self_check as plan_self_check
    from emgreview.second_look import self_check as self_check  # type: ignore[no-redef]
    from emgreview.session import open_review as open_review
    from emgreview.signal.onset import estimate_onsets as estimate_onsets
    from emgreview.signal.onset import list_bursts as list_bursts
    from emgreview.simulation import simulate as simulate
    from emgreview.simulation import simulate_contractions as simulate_contractions
    from emgreview.simulation import simulate_study as simulate_study
    from emgreview.tables import Flips as Flips
    from emgreview.tables import LeftOut as LeftOut
    from emgreview.tables import Rule as Rule
    from emgreview.tables import compare_rules as compare_rules
    from emgreview.tables import include as include
    from emgreview.tables import read_version as read_version
    from emgreview.trials import cut_trials as cut_trials
    from emgreview.trials import with_bursts as with_bursts
    from emgreview.views import long_view as long_view  # type: ignore[no-redef]
    from emgreview.views import participants as participants
    from emgreview.views import review as review
    from emgreview.views import show_cues as show_cues
    from emgreview.views import study_form as study_form  # type: ignore[no-redef]


def __getattr__(name: str) -> object:
    if name not in _HOME_OF:
        close = difflib.get_close_matches(name, __all__, n=1)
        perhaps = f" Did you mean {close[0]!r}?" if close else ""
        raise AttributeError(f"emgreview has no public name {name!r}; there are: {', '.join(__all__)}.{perhaps}")
    value = getattr(importlib.import_module(_HOME_OF[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
