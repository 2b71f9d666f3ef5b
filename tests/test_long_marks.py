"""The long view without a browser: what it sends is what was recorded, what it is told becomes decisions."""

import json

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.keys import DECIDING, LONG_KEYS, key_table

pytestmark = pytest.mark.filterwarnings(
    "ignore:.*Channel APB lacks samples:emgreview.errors.SignalWarning"
)  # as its recording is made

pytest.importorskip("panel", reason="the widgets need the extra [notebook]")

RATE_HZ = 1000
LABELS = ["FDI", "APB", "force"]


def recording(seed: int = 1, name: str = "rec") -> er.Recording:
    rng = np.random.default_rng(seed)
    x = rng.normal(0, 5, (3, 20 * RATE_HZ))
    x[0] += 2500.0  # an offset that must cost no precision
    x[1, 4000:5000] = np.nan
    channels = [er.Channel("FDI"), er.Channel("APB"), er.Channel("force", "MISC", "N")]
    return er.Recording.from_array(
        x, RATE_HZ, labels=LABELS, channels=channels, markers=[(2000 * k, "go") for k in range(1, 9)], name=name
    )


@pytest.fixture
def rec():
    return recording()


@pytest.fixture
def session(rec, tmp_path):
    trials = er.cut_trials(rec, cue="go", before_s=0.5, after_s=1.0, processing=er.Processing(high_hz=None))
    with er.open_review(trials, tmp_path / "review", reviewer="r1", method="threshold") as session:
        yield session


def look(view, start, stop, *, width=1, kinds=("raw", "band-passed", "raw"), around=0):
    want = [start - around, stop + around]
    view._handle_msg(
        {"kind": "look", "client": "c", "n": 1, "view": [start, stop], "want": want, "width": width, "kinds": kinds}
    )
    length = int.from_bytes(view.stretch[:4], "little")
    head = json.loads(view.stretch[4 : 4 + length])
    samples = np.frombuffer(view.stretch[4 + length :], "<i2")
    traces = []
    for trace in head["traces"]:
        stored = samples[trace["at"] // 2 :][: trace["n"]]
        traces.append(np.where(stored == -32768, np.nan, stored * trace["scale"] + trace["offset"]))
    return head, traces


def updates(view) -> list[dict]:
    return json.loads(view.news)["updates"]


def decide(view, n, command, **args):
    message = {"kind": "decide", "client": "c", "n": n, "command": command, "args": args, "visible": {"gain": [1]}}
    view._handle_msg(message)
    return next(update for update in reversed(updates(view)) if update.get("settled") == {"client": "c", "n": n})


def test_samples_arrive_within_a_step_of_int16_and_missing_ones_as_missing(rec):
    head, (first, _, force) = look(er.long_view(rec), 3_500, 6_000)
    assert (head["start"], head["stop"], head["width"], head["n"], head["client"]) == (3_500, 6_000, 1, 1, "c")
    truth = rec.values(3_500, 6_000)
    np.testing.assert_allclose(first, truth[0], atol=40 / 32767)
    np.testing.assert_allclose(force, truth[2], atol=40 / 32767)
    _, traces = look(er.long_view(rec), 3_500, 6_000, kinds=("raw", "raw", "raw"))
    np.testing.assert_array_equal(np.isnan(traces[1]), np.isnan(truth[1]))


def test_columns_arrive_as_lowest_then_highest(rec):
    view = er.long_view(rec)
    head, traces = look(view, 0, 8_000, width=16, kinds=("raw", "envelope", "raw"))
    n = (head["stop"] - head["start"]) // 16
    low, high = traces[0][:n], traces[0][n:]
    truth = rec.values(head["start"], head["stop"])[0].reshape(n, 16)
    np.testing.assert_allclose(low, truth.min(axis=1), atol=40 / 32767)
    np.testing.assert_allclose(high, truth.max(axis=1), atol=40 / 32767)


def test_reading_on_fills_the_ribbon_and_ends(rec):
    view = er.long_view(rec)
    shares = []
    while not shares or shares[-1] < 1:
        view._handle_msg({"kind": "read", "client": "c", "near": 0})
        shares.append(updates(view)[-1]["share"])
    assert shares == sorted(shares)
    length = int.from_bytes(view.ribbon[:4], "little")
    head = json.loads(view.ribbon[4 : 4 + length])
    assert (head["start"], head["stop"], head["unread"]) == (0, rec.n_samples, [])


def test_scales_and_units_are_told_once_with_auxiliary_limits_in_their_own_unit(rec):
    setup = json.loads(er.long_view(rec).setup)
    fdi, apb, force = setup["channels"]
    assert fdi["middle"] == pytest.approx(2500, abs=1)
    assert set(apb["kinds"]) == {"raw", "band-passed", "rectified", "envelope"}
    assert (force["unit_label"], force["auxiliary"], len(force["limits"])) == ("N", True, 2)
    assert not setup["decides"]
    assert not [key for key in setup["keys"] if key["group"] in DECIDING]
    assert len(setup["markers"]) == 8


def test_decisions_go_through_the_session_and_are_settled_after_it(rec, session):
    view = er.long_view(rec, session)
    view._handle_msg({"kind": "hello", "client": "c"})
    (hello,) = [update for update in updates(view) if "trials" in update]
    assert [card["cue_s"] for card in hello["trials"]] == [2.0 * k for k in range(1, 9)]
    first = session.queue[0]
    assert "carried over to 1 trial" in decide(view, 1, "mark_burst", row=0, start_s=2.2, stop_s=2.4)["said"]["words"]
    (name,) = [burst.id for burst in session.state(first).channels["FDI"].active if burst.origin == "added"]
    decide(view, 2, "move", row=0, trial=first, burst=name, onset_s=2.25, offset_s=2.4)
    decide(view, 3, "kind", row=0, trial=first, burst=name, kind="tonic")
    burst = session.state(first).channels["FDI"].bursts[name]
    assert (burst.onset, burst.offset, burst.kind) == (2250, 2400, "tonic")
    decide(view, 4, "remove", row=0, trial=first, burst=name)
    assert name not in session.state(first).channels["FDI"].bursts
    decide(view, 5, "set_aside", row=1, start_s=3.6, stop_s=6.0, reasons=["clipped"])
    assert session.aside == (("rec", "APB", 3600, 6000, ("clipped",)),)
    decide(view, 6, "correct_cue", trial=first, at_s=1.95, reason="late")
    assert session.state(first).corrected_cue == 1950
    decide(view, 7, "no_cue", trial=session.queue[1], reason="double")
    assert session.no_cues == {session.queue[1]: "double"}
    decide(view, 8, "add_cue", at_s=15.2, label="go")
    assert session.added_cues == (("rec", 15200, "go"),)
    decide(view, 9, "undo")
    assert session.added_cues == ()
    assert decide(view, 10, "undo")["go_to"] == {"client": "c", "s": 4.0}
    before = session.no_cues
    view._handle_msg(
        {"kind": "decide", "client": "c", "n": 10, "command": "undo", "args": {}, "visible": {}}
    )  # the same message again
    assert session.no_cues == before


def test_a_recording_that_was_cut_by_two_cues_shows_the_trials_of_both(tmp_path):
    rec = recording()
    rec = rec.with_markers([*rec.markers, *(er.Marker(m.sample - 700, "warning") for m in rec.markers)])
    processing = er.Processing(high_hz=None)
    trials = [
        er.cut_trials(rec, cue=cue, before_s=0.5, after_s=1.0, processing=processing) for cue in ("go", "warning")
    ]
    with er.open_review(trials, tmp_path / "review", reviewer="r1", method="threshold") as session:
        view = er.long_view(rec, session)
        assert json.loads(view.setup)["cues"] == ["go", "warning"]
        view._handle_msg({"kind": "hello", "client": "c"})
        (hello,) = [update for update in updates(view) if "trials" in update]
        assert [card["cue"] for card in hello["trials"]] == ["warning", "go"] * 8
        assert [card["cue_s"] for card in hello["trials"][:2]] == [1.3, 2.0]
        with pytest.raises(ParameterError, match="leave it out"):
            er.long_view(rec, session, processing=er.Processing())
        er.long_view(rec, session, processing=processing)


def test_after_a_lost_decision_none_is_taken_or_called_saved_until_it_was_sent_again(rec, session):
    view = er.long_view(rec, session)
    decide(view, 1, "mark_burst", row=0, start_s=2.2, stop_s=2.4)
    third = {"kind": "decide", "client": "c", "n": 3, "command": "undo", "args": {}, "visible": {}}
    view._handle_msg(third)
    assert updates(view)[-1]["gap"] == {"client": "c", "awaited": 2, "missing": [2]}
    assert max(update["settled"]["n"] for update in updates(view) if "settled" in update) == 1
    view._handle_msg({"kind": "beat", "client": "c", "n": 1, "sent": 3})
    assert updates(view)[-1]["gap"] == {"client": "c", "awaited": 2, "missing": [2]}
    decide(view, 2, "set_aside", row=1, start_s=3.6, stop_s=6.0, reasons=["clipped"])
    assert updates(view)[-1]["settled"] == {"client": "c", "n": 3}, "the third came early, and its turn has come"
    assert session.aside == ()
    view._handle_msg(third)
    assert session.aside == (), "it is taken once"


def test_what_the_session_refuses_is_said_and_nothing_changes(rec, session):
    view = er.long_view(rec, session)
    answer = decide(view, 1, "mark_burst", row=2, start_s=2.0, stop_s=2.1)
    assert "no EMG channel" in answer["refused"][-1]["words"]
    answer = decide(view, 2, "set_aside", row=0, start_s=2.0, stop_s=2.0, reasons=["clipped"])
    assert "start before stop" in answer["refused"][-1]["words"]
    assert session.aside == session.marked == ()


def test_changes_made_elsewhere_reach_the_view(rec, session):
    view = er.long_view(rec, session)
    session.accept_rest(session.queue[2])
    (card,) = updates(view)[-1]["trials"]
    assert (card["trial"], card["status"]) == (session.queue[2], "reviewed")


def test_a_newer_long_view_takes_over(rec, session):
    old, new = er.long_view(rec, session), er.long_view(rec, session)
    assert "newer long view" in updates(old)[-1]["problem"]
    assert "newer long view" in decide(old, 1, "undo")["refused"][-1]["words"]
    assert "refused" not in decide(new, 1, "undo")
    assert sum(getattr(observer, "__self__", None) in (old, new) for observer in session.changed) == 1


def test_a_file_that_cannot_be_read_is_said_with_the_reason(rec, monkeypatch):
    view = er.long_view(rec)
    monkeypatch.setattr(type(rec), "values", lambda *_: (_ for _ in ()).throw(OSError("no such file: rec.edf")))
    view._handle_msg(
        {"kind": "look", "client": "c", "n": 1, "view": [0, 9], "want": [0, 9], "width": 1, "kinds": ["raw"] * 3}
    )
    assert "no such file: rec.edf" in updates(view)[-1]["unread"]["words"]


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
@pytest.mark.filterwarnings("ignore:Notes on .* recordings? may have been told by name:emgreview.errors.SignalWarning")
def test_a_session_about_something_else_or_blind_is_refused(rec, session, tmp_path):
    with pytest.raises(UnknownNameError, match="no recording of this session is called 'other'"):
        er.long_view(recording(name="other"), session)
    with pytest.raises(ParameterError, match="with other samples"):
        er.long_view(recording(seed=2), session)
    trials = session.trials[0]
    with (
        er.open_review(trials, tmp_path / "blind", reviewer="r1", blind=True, method="threshold") as blind,
        pytest.raises(ParameterError, match="this session is blind"),
    ):
        er.long_view(rec, blind)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_every_key_of_the_long_view_has_one_command(hand):
    places = [(key.code, key.shift) for key in key_table(hand, keys=LONG_KEYS)]
    assert len(places) == len(set(places))
    assert not [key for key in LONG_KEYS if key.repeat and key.group in DECIDING]
