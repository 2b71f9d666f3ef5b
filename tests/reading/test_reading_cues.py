"""Cues found in trigger channels: known pulses, and a brute-force search with a plain loop."""

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import MarkerError, ParameterError, SignalError, UnknownNameError
from emgreview.model import Channel
from emgreview.reading import channel_range

RATE = 1000.0


def recording(trigger: np.ndarray, *, unit: str = "V", delay_s: float = 0.0, markers: tuple = ()) -> er.Recording:
    x = np.vstack([np.random.default_rng(0).normal(0, 5, len(trigger)), trigger])
    channels = [Channel("FDI"), Channel("Trigger", "TRIG", unit, delay_s=delay_s)]
    return er.Recording.from_array(x, RATE, labels=["FDI", "Trigger"], channels=channels, markers=markers, name="r")


def pulses(at: list[int], n: int = 10_000, width: int = 50, high: float = 5.0) -> np.ndarray:
    x = np.zeros(n)
    for start in at:
        x[start : start + width] = high
    return x


AT = [1000, 2500, 4100, 9000]


@pytest.mark.parametrize(
    ("edge", "expected"),
    [("rising", AT), ("falling", [a + 50 for a in AT]), ("both", sorted(AT + [a + 50 for a in AT]))],
)
def test_pulses_are_found_at_their_first_sample_on_the_new_side(edge: str, expected: list[int]) -> None:
    found = er.find_cues(recording(pulses(AT)), "Trigger", level=2.5, edge=edge, hold_off_s=0.01)  # type: ignore[arg-type]
    assert [marker.sample for marker in found] == expected
    assert {marker.source for marker in found} == {"channel Trigger"}
    assert {marker.label for marker in found} == {"cue"}
    assert found[0].details == {"edge": "rising" if edge != "falling" else "falling", "level": "2.5 V"}


@pytest.mark.parametrize("block", [1, 2, 7, 64, 1 << 18])
@pytest.mark.parametrize("hold", [1, 3, 40])
def test_blocks_change_nothing_and_a_plain_loop_agrees(block: int, hold: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("emgreview.reading.cues.BLOCK", block)
    monkeypatch.setattr("emgreview.reading.cues.FEW", 10_000)
    rng = np.random.default_rng(block)
    x = np.cumsum(rng.normal(0, 1, 900))
    x[[100, 101, 500]] = np.nan
    level = float(np.nanmedian(x))
    rec = recording(x)
    for edge in ("rising", "falling", "both"):
        expected, last = [], -hold
        for i in range(1, len(x)):
            up = x[i - 1] < level <= x[i]
            down = x[i - 1] >= level > x[i]
            if ((up and edge != "falling") or (down and edge != "rising")) and i - last >= hold:
                expected.append(i)
                last = i
        found = er.find_cues(rec, "Trigger", level=level, edge=edge, hold_off_s=hold / RATE)
        assert [marker.sample for marker in found] == expected
    assert channel_range(rec, "Trigger") == (np.nanmin(x), np.nanmax(x))


def test_bouncing_contact_is_one_cue() -> None:
    x = pulses(AT)
    for start in AT:
        x[start + 3 : start + 8 : 2] = 0
    rec = recording(x)
    assert [m.sample for m in er.find_cues(rec, "Trigger", level=2.5, hold_off_s=0.2)] == AT
    assert len(er.find_cues(rec, "Trigger", level=2.5, hold_off_s=0)) == 4 * 4


def test_channel_that_starts_above_holds_no_cue_there() -> None:
    x = pulses([0, 500])
    assert [m.sample for m in er.find_cues(recording(x), "Trigger", level=2.5, hold_off_s=0.1)] == [500]


def test_device_delay_is_taken_out() -> None:
    """A trigger channel that arrives 20 ms late: the cue is 20 ms earlier (Channel.delay_s, applied on reading)."""
    found = er.find_cues(recording(pulses(AT), delay_s=0.02), "Trigger", level=2.5, hold_off_s=0.1)
    assert [marker.sample for marker in found] == [a - 20 for a in AT]


def test_with_cues_adds_and_replaces_only_its_own() -> None:
    rec = recording(pulses(AT), markers=((10, "begin"), (3000, "note")))
    once = er.with_cues(rec, "Trigger", level=2.5, hold_off_s=0.1)
    assert [(m.sample, m.label) for m in once.markers] == [
        (10, "begin"),
        (1000, "cue"),
        (2500, "cue"),
        (3000, "note"),
        (4100, "cue"),
        (9000, "cue"),
    ]
    assert len(rec.markers) == 2
    again = er.with_cues(once, "Trigger", level=1.5, hold_off_s=2)
    assert [m.sample for m in again.markers if m.label == "cue"] == [1000, 4100, 9000]
    other = er.with_cues(again, "Trigger", level=2.5, edge="falling", hold_off_s=0.1, label="release")
    assert [m.label for m in other.markers].count("cue") == 3
    assert [m.label for m in other.markers].count("release") == 4


def test_codes_of_a_status_channel() -> None:
    """Each change to a code other than 0 under the mask; a status word carries other bits above (BDF text)."""
    x = np.zeros(2000)
    x[100:150], x[300:320], x[320:400], x[900:901] = 1, 2, 3, 255
    rec = recording(x + 0x3A0000, unit="")
    found = er.find_cues(rec, "Trigger", codes=True, hold_off_s=0)
    assert [(m.sample, m.label, m.details["code"]) for m in found] == [
        (100, "cue 1", "1"),
        (300, "cue 2", "2"),
        (320, "cue 3", "3"),
        (900, "cue 255", "255"),
    ]
    low = er.find_cues(rec, "Trigger", codes=True, hold_off_s=0, mask=0b10, label="go")
    assert [(m.sample, m.label) for m in low] == [(300, "go 2"), (900, "go 2")]


@pytest.mark.parametrize("block", [1, 5, 1 << 18])
def test_lines_that_do_not_switch_at_once_give_the_last_code_at_the_first_time(
    block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("emgreview.reading.cues.BLOCK", block)
    x = np.zeros(500)
    x[100:102], x[102:150], x[300:301], x[301:350] = 1, 5, 4, 6
    found = er.find_cues(recording(x, unit=""), "Trigger", codes=True, hold_off_s=0.01)
    assert [(m.sample, m.details["code"]) for m in found] == [(100, "5"), (300, "6")]


def test_codes_replace_earlier_codes_only() -> None:
    x = np.zeros(500)
    x[100:110], x[200:210] = 1, 2
    rec = er.with_cues(recording(x, unit="", markers=((5, "begin"),)), "Trigger", codes=True, hold_off_s=0)
    again = er.with_cues(rec, "Trigger", codes=True, hold_off_s=0, mask=2)
    assert [(m.sample, m.label) for m in again.markers] == [(5, "begin"), (200, "cue 2")]


@pytest.mark.parametrize(
    ("x", "options", "said"),
    [
        (pulses(AT), {"level": 7}, r"no rising crossing of level 7 V.*runs from 0 to 5 V; .*such as level=2\.5"),
        (np.zeros(100), {"level": 1}, r"runs from 0 to 0 V; it is flat: give another channel, or check the cable"),
        (np.r_[np.ones(50), np.zeros(50)], {"level": 0.5}, r"crosses 1 times the other way: try edge='falling'"),
        (np.full(100, np.nan), {"level": 0.5}, r"missing throughout \(NaN\)"),
        (
            np.zeros(100),
            {"codes": True},
            r"never changes to a code other than 0; under the mask 0xffff it holds 0; try",
        ),
    ],
)
def test_no_cue_says_the_range_and_what_to_try(x: np.ndarray, options: dict, said: str) -> None:
    with pytest.raises(MarkerError, match=said):
        er.find_cues(recording(x), "Trigger", hold_off_s=0.01, **options)


def test_noise_is_not_taken_for_cues() -> None:
    noise = np.random.default_rng(1).normal(0, 0.1, 20_000) + pulses(AT, 20_000)
    rec = recording(noise)
    with pytest.raises(
        MarkerError, match=r"cues found in channel 'Trigger' of r, which runs from .* a second; .*farther"
    ):
        er.find_cues(rec, "Trigger", level=0.05, hold_off_s=0.001)
    with pytest.raises(
        MarkerError, match=r"a rhythm that only hold_off_s \(0\.3 s\) sets; cues of trials are fewer; .*level=2"
    ):
        er.find_cues(rec, "Trigger", level=0.05, hold_off_s=0.3)
    assert [m.sample for m in er.find_cues(rec, "Trigger", level=2.5, hold_off_s=0.3)] == AT
    with pytest.raises(MarkerError, match=r"which holds codes 1 to \d+ under mask.*try a mask with fewer bits"):
        er.find_cues(recording(np.arange(20_000) % 50.0, unit=""), "Trigger", codes=True, hold_off_s=0)


def test_regular_paced_cues_are_plausible() -> None:
    """Pulses once a second with a hold-off just below their distance: a rhythm of their own, not of the hold-off."""
    at = list(range(500, 60_000, 1000))
    found = er.find_cues(recording(pulses(at, 60_000)), "Trigger", level=1, hold_off_s=0.95)
    assert [marker.sample for marker in found] == at


@pytest.mark.parametrize(
    ("options", "error", "said"),
    [
        ({"level": 1, "edge": "up"}, ParameterError, r"edge came as 'up'; allowed: 'rising'"),
        ({"level": 1, "hold_off_s": -1}, ParameterError, r"hold_off_s came as -1; allowed: 0 to"),
        ({"level": 1, "hold_off_s": float("nan")}, ParameterError, r"hold_off_s came as nan"),
        ({}, ParameterError, r"level came as None; allowed: a number in the channel's unit.*codes=True"),
        ({"level": float("nan")}, ParameterError, r"level came as nan"),
        ({"level": 1, "codes": True}, ParameterError, r"both came; a channel is searched by one of them"),
        ({"codes": True, "channel": "FDI"}, SignalError, r"counts as EMG"),
        ({"codes": True, "mask": 0.5}, ParameterError, r"mask came as 0.5; allowed: a whole number from 1 up"),
        ({"level": 1, "channel": "trigger"}, UnknownNameError, r"Did you mean 'Trigger'"),
    ],
)
def test_bad_parameters(options: dict, error: type, said: str) -> None:
    options = {"channel": "Trigger", "hold_off_s": 0.1} | options
    with pytest.raises(error, match=said):
        er.find_cues(recording(pulses(AT)), options.pop("channel"), **options)


def test_codes_in_a_channel_that_counts_as_emg_are_refused():
    """Values 8 and 9 in volts came as microvolts, cut to 16 bits: codes 4608 and 21568."""
    x = np.zeros((1, 4000))
    x[0, 1000:1010] = 8
    rec = er.Recording.from_array(x, 1000.0, labels=["CODE"], unit="V")
    with pytest.raises(SignalError, match="counts as EMG and is read in uV"):
        er.find_cues(rec, "CODE", codes=True, hold_off_s=0.1)
