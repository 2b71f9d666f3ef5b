"""No error and no warning of a blind review names a recording or a participant, from whatever door it comes."""

import warnings

import pytest
from small_reviews import make_trials, start

import emgreview as er
from emgreview import trial_lists
from emgreview.errors import DecisionWarning, EmgreviewError, ReadError, UnknownNameError
from emgreview.second_look import BulkRule, bulk_audit, draw_sample, plan_bulk, plan_self_check
from emgreview.session import COMMANDS

NAMES = ("anna", "bert")
RULE = BulkRule(interval_below_s=0.5, level_above_db=1)


def blind(folder, **options):
    trials = [make_trials(f"sub-{name}_task-turn", n=6, seed=seed, sub=name) for seed, name in enumerate(NAMES)]
    return start(folder, trials, **{"blind": True, **options})


def names_nobody(words):
    return not any(name in words for name in NAMES)


ARGUMENTS = {
    "kind": {"kind": "response"},
    "confidence": {"confidence": "sure"},
    "half_width": {"half_width_ms": 5.0},
    "add": {"onset_s": 0.2},
    "move": {"onset_s": 0.2},
    "not_locatable": {"earliest_s": 0.1, "latest_s": 0.2},
    "unusable": {"reasons": ["clipped"]},
    "caution": {"reasons": ["weak"]},
    "comment": {"text": "x"},
    "behaviour": {"behaviour": "late"},
    "correct_cue": {"time_s": 0.1},
    "no_cue": {"reason": "double"},
    "add_cue": {"time_s": 1.0, "label": "go"},
    "mark_burst": {"onset_s": 1.0, "offset_s": 1.1},
    "set_aside": {"start_s": 1.0, "stop_s": 1.1},
    "exclude": {"reason": "why"},
}
"""What the commands need beside a trial and a channel."""


@pytest.mark.filterwarnings("ignore:Notes on .* recordings? may have been told by name:emgreview.errors.SignalWarning")
def test_no_command_on_an_unknown_trial_or_recording_names_one(tmp_path):
    with blind(tmp_path) as session:
        refused = 0
        for command in COMMANDS:
            if command in ("undo", "redo"):
                continue
            with pytest.raises(EmgreviewError) as error:
                session.apply(command, "nobody", "FDI", **ARGUMENTS.get(command, {}))
            assert names_nobody(str(error.value)), (command, str(error.value))
            refused += "which a blind review does not name" in str(error.value)
        assert refused >= 20
        for ask in (
            session.state,
            session.go_to,
            session.next_unreviewed,
            session.source,
            session.stretch,
            session.asked,
        ):
            with pytest.raises(UnknownNameError, match="no trial is called 'nobody'; there are 12, which a blind"):
                ask("nobody")
        with pytest.raises(UnknownNameError, match="no participant is called 'ann'; there are 2, which a blind"):
            session.exclude("why", participant="ann")
        with pytest.raises(UnknownNameError, match="there are: FDI"):
            session.accept(session.queue[0], "FDJ")
        with pytest.raises(EmgreviewError, match=r"does not lie in recording 'a recording' \(0 to"):
            session.set_aside(session.state(session.queue[0]).recording, "FDI", 5.0, 4.0)
        session.unblind()
        with pytest.raises(UnknownNameError, match="sub-anna"):
            session.accept("nobody", "FDI")


@pytest.mark.filterwarnings("ignore:Notes on .* recordings? may have been told by name:emgreview.errors.SignalWarning")
def test_no_warning_of_a_decision_names_whose_trial_it_is(tmp_path):
    with blind(tmp_path) as session:
        trial = session.queue[4]
        recording = session.state(trial).recording
        session.set_aside(recording, "FDI", 0.0, 8.0, ["clipped"])
        touched = [one for one in session.queue if session.unfit(one, "FDI")]
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            for one in touched:
                session.accept_rest(one)
                session.none_visible(one, "FDI")
        told = [str(one.message) for one in caught if issubclass(one.category, DecisionWarning)]
        assert told
        assert all(map(names_nobody, told)), told
        assert told[0].startswith(f"trial {session.queue.index(touched[0]) + 1} of the queue: left open: FDI")
    with blind(tmp_path / "open", blind=False) as session:
        session.set_aside("sub-anna_task-turn", "FDI", 0.0, 8.0, ["clipped"])
        trial = next(one for one in session.queue if session.unfit(one, "FDI"))
        with pytest.warns(DecisionWarning, match="trial 'sub-anna_task-turn"):
            session.accept_rest(trial)


@pytest.mark.filterwarnings("ignore:Notes on .* recordings? may have been told by name:emgreview.errors.SignalWarning")
def test_looking_twice_names_nobody(tmp_path):
    with blind(tmp_path) as session:
        said = []

        def refused(call):
            with pytest.raises(EmgreviewError) as error:
                call()
            said.append(str(error.value))

        refused(lambda: bulk_audit(session))
        refused(lambda: trial_lists.left_of_audit(session))
        refused(lambda: trial_lists.where_reviewers_differ(session, "r9", 5.0))
        refused(lambda: draw_sample(session, by=("colour",)))
        audit = plan_bulk(session, RULE, at_most=0.4, expected=0.0)
        refused(audit.finish)
        assert "the next is" in said[-1]
        refused(lambda: plan_bulk(session, RULE, at_most=0.4, expected=0.0))
        refused(audit.accept)
        trial, channel = audit.open[0]
        refused(lambda: session.accept(trial, channel))
        refused(lambda: session.accept_in_bulk(trial, channel, 99))
        session.add(trial, channel, onset_s=0.2)
        session.accept(trial, channel)
        refused(lambda: draw_sample(session))
        refused(lambda: plan_self_check(session))
        refused(lambda: er.long_view(session.trials[0].recording, session))
        assert all(map(names_nobody, said)), [words for words in said if not names_nobody(words)]


def test_an_error_of_a_file_that_has_to_be_mended_keeps_its_name(tmp_path):
    with blind(tmp_path, read_only=True) as session, pytest.raises(ReadError, match="sub-anna"), session.nobody_named():
        raise ReadError("sub-anna_task-turn ends early")
