"""What is no argument of a command is refused in the package's own words, whatever it is; nothing is written."""

import numpy as np
import pytest
from scripted_reviews import log_lines, make_trials, start

from emgreview.cli.saying import put, to_json
from emgreview.errors import EmgreviewError

HUGE = 10**400
CALLS = {
    "a huge onset": lambda s, t: s.move(t, "FDI", onset_s=HUGE),
    "a huge cue": lambda s, t: s.correct_cue(t, HUGE),
    "a huge time": lambda s, t: s.add_cue("rec", HUGE, "go"),
    "a huge stretch": lambda s, t: s.mark_burst("rec", "FDI", 1, HUGE),
    "a number for a reason": lambda s, t: s.exclude(5, participant="01"),
    "a number for no cue": lambda s, t: s.no_cue(t, 5),
    "a text for a time": lambda s, t: s.add_cue("rec", "x", "go"),
    "a number for a label": lambda s, t: s.add_cue("rec", 2.0, 5),
    "no start": lambda s, t: s.set_aside("rec", "FDI", None, 1, reasons=["clipped"]),
    "a number for reasons": lambda s, t: s.unusable(t, "FDI", reasons=5),
    "a list for a reason": lambda s, t: s.caution(t, "FDI", [[]]),
    "a text for a truth": lambda s, t: s.discuss(t, on="no"),
    "a list for a recording": lambda s, t: s.exclude("x", recording=[]),
    "a list for a recording of a cue": lambda s, t: s.add_cue([], 1.0, "go"),
    "a list for a burst": lambda s, t: s.accept(t, "FDI", burst=[]),
    "a list for a channel": lambda s, t: s.accept(t, []),
    "a list for a trial": lambda s, t: s.state([]),
}


@pytest.mark.parametrize("what", CALLS)
def test_a_command_refuses_what_is_no_argument(tmp_path, what):
    with start(tmp_path, make_trials(sub="01")) as session:
        before = len(log_lines(tmp_path))
        with pytest.raises(EmgreviewError) as refused:
            CALLS[what](session, session.queue[1])
        assert len(str(refused.value)) < 400
        assert len(log_lines(tmp_path)) == before
        assert session.comment(session.queue[0], np.str_("goes on"))
        assert session.state(session.queue[0]).comment == "goes on"


def test_the_shell_prints_halves_of_surrogate_pairs(capfdbinary):
    put("a \ud800 b")
    put(to_json({"words": "a \ud800 é"}))
    out = capfdbinary.readouterr().out
    assert b"a \\ud800 b" in out
    assert b"\\ud800" in out.splitlines()[2]
