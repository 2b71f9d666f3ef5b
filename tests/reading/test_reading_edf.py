"""EDF, EDF+, BDF, BDF+ against an independent reader (pyedflib) and a decoder written in files_on_disk from the
texts."""

import pickle
import re
import shutil
import tracemalloc
import warnings
from collections.abc import Callable
from pathlib import Path

import edfio
import numpy as np
import pyedflib
import pytest
from files_on_disk import Layout, Sig, decode, noise, write

import emgreview as er
from emgreview.errors import (
    FormatError,
    ParameterError,
    RateError,
    ReadError,
    SignalWarning,
    TruncatedError,
    UnitError,
    UnknownNameError,
)

BITS24 = ("-8388608", "8388607")


def emg_file(path: Path, *, bdf: bool = False, **layout: object) -> Path:
    """Two EMG channels and a force channel, 4 records of 1 s, 50 Hz."""
    bits = 24 if bdf else 16
    limits = BITS24 if bdf else ("-32768", "32767")
    signals = [
        Sig("biceps", noise(1, 200, bits), "uV", ("-3276.8", "3276.7"), limits),
        Sig("EMG triceps", noise(2, 200, bits), "mV", ("5", "-5"), limits, prefilter="HP:20Hz LP:1kHz N:50Hz"),
        Sig("Force", noise(3, 200, bits), "N", ("0", "250"), limits),
    ]
    return write(path, signals, Layout(bdf=bdf, **layout))  # type: ignore[arg-type]


@pytest.mark.parametrize("bdf", [False, True])
def test_every_sample_equals_the_published_text_and_an_independent_reader(tmp_path: Path, bdf: bool) -> None:
    path = emg_file(tmp_path / ("a.bdf" if bdf else "a.edf"), bdf=bdf)
    rec = er.read(path)
    values = rec.values()
    factors = {"biceps": 1, "EMG triceps": 1e3, "Force": 1}  # mV to µV; a force stays in its own unit
    for row, (label, digital, physical) in enumerate(decode(path)):
        np.testing.assert_array_equal(rec.source.digital(0, rec.n_samples, [row])[0], digital)
        np.testing.assert_allclose(values[row], np.array(physical) * factors[label], rtol=1e-12, atol=1e-9)
    with pyedflib.EdfReader(str(path)) as other:
        for row, label in enumerate(other.getSignalLabels()):
            np.testing.assert_allclose(values[row], other.readSignal(row) * factors[label], rtol=1e-12, atol=1e-9)
            np.testing.assert_array_equal(
                rec.source.digital(0, rec.n_samples, [row])[0], other.readSignal(row, digital=True)
            )
    assert [channel.unit for channel in rec.channels] == ["uV", "uV", "N"]
    assert [channel.kind for channel in rec.channels] == ["EMG", "EMG", "MISC"]
    assert (rec.channels[1].low_cutoff_hz, rec.channels[1].high_cutoff_hz) == (20, 1000)
    assert (rec.rate_hz, rec.n_samples, rec.name) == (50, 200, "a")
    assert rec.microvolts().shape == (2, 200)


def test_file_of_another_writer_reads_the_same(tmp_path: Path) -> None:
    x = np.random.default_rng(0).normal(0, 100, (3, 1000))
    edf = tmp_path / "b.edf"
    edfio.Edf([edfio.EdfSignal(row, 500, label=f"EMG {n}", physical_dimension="uV") for n, row in enumerate(x)]).write(
        edf
    )
    step = (x.max(axis=1) - x.min(axis=1)) / 65535
    assert (np.abs(er.read(edf).values() - x).max(axis=1) <= 0.51 * step + 1e-9).all()

    bdf = tmp_path / "b.bdf"
    with pyedflib.EdfWriter(str(bdf), 2, file_type=pyedflib.FILETYPE_BDFPLUS) as writer:
        for n in range(2):
            head = {"label": f"EMG {n}", "dimension": "mV", "sample_frequency": 200, "physical_min": -5.0}
            head |= {"physical_max": 5.0, "digital_min": -8388608, "digital_max": 8388607}
            writer.setSignalHeader(n, head | {"transducer": "", "prefilter": ""})
        writer.writeSamples([x[0] / 200, x[1] / 200])
        writer.writeAnnotation(1.25, 0.5, "go")
        writer.writeAnnotation(0.5, -1, "warning")
    rec = er.read(bdf)
    np.testing.assert_allclose(rec.values(), x[:2] * 5, atol=10e3 / 2**24)
    assert [(m.sample, m.label, m.duration_s, m.source) for m in rec.markers] == [
        (100, "warning", None, "annotations"),
        (250, "go", 0.5, "annotations"),
    ]


@pytest.mark.parametrize("bdf", [False, True])
def test_any_slice_equals_that_slice_of_the_whole(tmp_path: Path, bdf: bool) -> None:
    tals = [[b"+%d\x14\x14" % k] for k in range(5)]
    signals = [
        Sig("EMG a", noise(1, 5 * 60)),
        Sig("EMG b", noise(2, 5 * 60)),
        Sig("slow (deg)", noise(3, 5 * 12), "deg"),
        Sig("slower", noise(4, 5), "N"),
    ]
    rec = er.read(write(tmp_path / "a.edf", signals, Layout(n_records=5, bdf=bdf, annotations=tals, reserved="EDF+C")))
    whole, stored = rec.values(), rec.source.digital(0, rec.n_samples, range(4))
    rng = np.random.default_rng(5)
    for start, stop in [
        (0, 0),
        (0, 1),
        (59, 61),
        (60, 120),
        (299, 300),
        *np.sort(rng.integers(0, 301, (60, 2)), axis=1),
    ]:
        labels = [str(label) for label in rng.permutation(rec.labels)[: rng.integers(1, 5)]]
        rows = [rec.labels.index(label) for label in labels]
        np.testing.assert_array_equal(rec.values(int(start), int(stop), labels), whole[rows, start:stop])
        np.testing.assert_array_equal(rec.source.digital(int(start), int(stop), rows), stored[rows, start:stop])


def test_slower_channel_is_held_and_said(tmp_path: Path) -> None:
    angle = noise(2, 40)
    rec = er.read(write(tmp_path / "a.edf", [Sig("biceps", noise(1, 400)), Sig("Elbow angle", angle, "deg")]))
    np.testing.assert_array_equal(rec.source.digital(0, 400, [1])[0], np.repeat(angle, 10))
    assert rec.channel("Elbow angle").native_rate_hz == 10
    assert rec.channel("biceps").native_rate_hz is None
    assert "'Elbow angle' was sampled at 10 Hz; each value is held for 10 samples" in rec.notes[0]


def test_rates_that_do_not_divide_name_channels_and_rates_and_can_be_left_out(tmp_path: Path) -> None:
    path = write(
        tmp_path / "a.edf",
        [Sig("biceps", noise(1, 400)), Sig("Force", noise(2, 120), "N"), Sig("mic", noise(3, 800), "V")],
    )
    with pytest.warns(SignalWarning, match=r"faster than its EMG \(100 Hz\) are left out: mic 200 Hz; export"):
        rec = er.read(path)
    assert rec.labels == ("biceps", "Force")
    with pytest.raises(RateError, match=r"faster than its EMG \(100 Hz\): mic 200 Hz;.*columns=\['biceps'\]"):
        er.read(path, columns=["biceps", "mic"])
    assert er.read(path, columns=["biceps"]).labels == ("biceps",)


def test_rates_of_emg_that_do_not_divide_are_refused_and_can_be_left_out(tmp_path: Path) -> None:
    signals = [Sig("biceps", noise(1, 400)), Sig("triceps", noise(2, 300)), Sig("Force", noise(3, 120), "N")]
    path = write(tmp_path / "a.edf", signals)
    with pytest.raises(RateError, match=r"biceps 100 Hz, triceps 75 Hz.*divide.*columns=\['biceps', 'Force'\]"):
        er.read(path)
    assert er.read(path, columns=["triceps"]).rate_hz == 75
    assert er.read(path, columns=["biceps", "Force"]).labels == ("biceps", "Force")


@pytest.mark.parametrize(("fast", "slow"), [(2000, 148), (1926, 148), (2148, 1000), (100, 10), (7, 5)])
def test_a_slower_channel_of_any_rate_is_held_until_its_next_value(tmp_path: Path, fast: int, slow: int) -> None:
    """Against the definition: sample i of the recording, at i / fast seconds, has the last value at or before it."""
    force = np.arange(2 * slow) - slow
    path = write(tmp_path / "a.edf", [Sig("biceps", noise(1, 2 * fast)), Sig("Force", force, "N")], Layout(n_records=2))
    rec = er.read(path)
    expected = [force[i * slow // fast] for i in range(2 * fast)]
    np.testing.assert_array_equal(rec.source.digital(0, rec.n_samples, [1])[0], expected)
    rng = np.random.default_rng(4)
    for start, stop in np.sort(rng.integers(0, 2 * fast + 1, (40, 2)), axis=1):
        got = rec.source.digital(int(start), int(stop), [1])[0]
        np.testing.assert_array_equal(got, expected[start:stop])
    assert rec.channel("Force").native_rate_hz == slow
    assert f"'Force' was sampled at {slow} Hz; each value is held for {fast // slow}" in rec.notes[0]


def test_columns_choose_and_order_the_signals(tmp_path: Path) -> None:
    path = emg_file(tmp_path / "a.edf")
    whole = er.read(path)
    part = er.read(path, columns=["Force", "biceps"])
    assert part.labels == ("Force", "biceps")
    np.testing.assert_array_equal(part.values(3, 77), whole.values(3, 77, ["Force", "biceps"]))
    with pytest.raises(UnknownNameError, match=r"'bicep'.*Did you mean 'biceps'"):
        er.read(path, columns=["bicep"])
    with pytest.raises(ParameterError, match=r"list of the labels to keep, each once"):
        er.read(path, columns=["biceps", "biceps"])


def test_slices_cost_the_same_in_a_file_of_any_length(tmp_path: Path) -> None:
    """Memory of a slice near the end of a 4 GB file (sparse on disk) is that of the same slice of a small one."""
    signals = [Sig(f"EMG {n}", noise(n, 2000)) for n in range(4)]
    small = write(tmp_path / "small.edf", signals, Layout(n_records=1))
    n_records = 250_000
    large = write(tmp_path / "large.edf", signals, Layout(n_records=1, announced=str(n_records)))
    with large.open("r+b") as stream:
        stream.truncate(256 * 5 + n_records * 16_000)

    def peak(work: Callable[[], object]) -> int:
        tracemalloc.start()
        work()
        used = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return used

    short, long = er.read(small), er.read(large)
    assert long.n_samples == n_records * 2000
    first = long.n_samples - 2500
    at_start, near_end = (peak(lambda: short.microvolts(0, 1500)), peak(lambda: long.microvolts(first, first + 1500)))
    assert near_end < 1.5 * at_start < 500_000
    assert peak(lambda: er.read(large)) < 4_000_000


def test_recording_travels_to_another_process_without_its_samples(tmp_path: Path) -> None:
    signals = [Sig("biceps", noise(1, 40_000))]
    rec = er.read(write(tmp_path / "a.edf", signals))
    again = pickle.dumps(rec)
    assert len(again) < 5000
    np.testing.assert_array_equal(pickle.loads(again).values(), rec.values())


def test_fingerprint_follows_samples_rate_and_labels_not_the_name(tmp_path: Path) -> None:
    one, two = emg_file(tmp_path / "a.edf"), emg_file(tmp_path / "b.edf")
    assert er.read(one).fingerprint == er.read(two).fingerprint
    raw = bytearray(two.read_bytes())
    raw[-1] ^= 1
    two.write_bytes(raw)
    assert er.read(one).fingerprint.samples != er.read(two).fingerprint.samples
    assert er.read(one).fingerprint.samples != er.read(one, columns=["biceps"]).fingerprint.samples


def test_status_channel_of_a_bdf_is_an_unsigned_24_bit_trigger(tmp_path: Path) -> None:
    words = np.array([0, 5, -1, -8388608, 255, 65536 + 7] + [0] * 34)
    path = write(
        tmp_path / "a.bdf",
        [
            Sig("A1", noise(1, 40, 24), "uV", ("-262144", "262143"), BITS24),
            Sig("Status", words, "Boolean", BITS24, BITS24),
        ],
        Layout(bdf=True),
    )
    rec = er.read(path)
    assert (rec.channel("Status").kind, rec.channel("A1").kind) == ("TRIG", "EMG")
    assert rec.values(0, 6, ["Status"])[0].tolist() == [0, 5, 2**24 - 1, 2**23, 255, 65536 + 7]
    assert rec.source.digital(0, 6, [1]).dtype.kind == "i"


@pytest.mark.parametrize(
    ("label", "unit", "transducer", "kind", "shown"),
    [
        ("Left FDI", "mV", "", "EMG", "uV"),
        ("EMG trig finger", "uV", "", "EMG", "uV"),
        ("ECG II", "mV", "", "ECG", "uV"),
        ("Trigger", "V", "", "TRIG", "V"),
        ("PhotoDiode1", "mV", "", "TRIG", "mV"),
        ("AUX3", "V", "response button", "TRIG", "V"),
        ("Grip force", "V", "", "MISC", "V"),
        ("AUX4", "m/s^2", "", "MISC", "m/s2"),
        ("Wrist", "deg", "", "MISC", "deg"),
        ("Trigger", "", "", "TRIG", ""),
        ("Button", "press", "", "TRIG", "press"),
        ("FDI", "µV", "", "EMG", "uV"),
        ("FDI", "microV", "", "EMG", "uV"),
    ],
)
def test_kind_and_unit_by_unit_label_and_transducer(
    tmp_path: Path, label: str, unit: str, transducer: str, kind: str, shown: str
) -> None:
    path = write(tmp_path / "a.edf", [Sig(label, noise(1, 40), unit, transducer=transducer)])
    (channel,) = er.read(path).channels
    assert (channel.kind, channel.unit) == (kind, shown)


def test_trigger_in_volts_is_named_in_the_notes(tmp_path: Path) -> None:
    rec = er.read(write(tmp_path / "a.edf", [Sig("FDI", noise(1, 40)), Sig("Trigger", noise(2, 40), "V")]))
    assert rec.notes == ("Channel 'Trigger' (V) is taken as TRIG, not EMG, by its name.",)


@pytest.mark.parametrize(
    ("unit", "said"), [("", "no unit"), ("MV", "the unit 'MV', which is not known"), ("AD", "the unit 'AD'")]
)
def test_missing_or_unknown_unit_is_an_error_that_the_caller_can_settle(tmp_path: Path, unit: str, said: str) -> None:
    path = write(tmp_path / "a.edf", [Sig("FDI", noise(1, 40), unit), Sig("APB", noise(2, 40), "uV")])
    with pytest.raises(UnitError, match=rf"a\.edf has {said}.*'FDI'.*allowed: V, mV, uV, nV.*unit='mV'.*'arbitrary'"):
        er.read(path)
    rec = er.read(path, unit={"FDI": "mV"})
    np.testing.assert_allclose(rec.values(0, 40, ["FDI"])[0], np.array(decode(path)[0][2]) * 1e3)
    np.testing.assert_allclose(er.read(path, unit="uV").values(0, 40, ["FDI"])[0], decode(path)[0][2])
    force = er.read(path, unit={"FDI": "N"}).channel("FDI")
    assert (force.kind, force.unit) == ("MISC", "N")


def test_arbitrary_is_never_microvolts(tmp_path: Path) -> None:
    path = emg_file(tmp_path / "a.edf")
    rec = er.read(path, unit="arbitrary")
    assert [(c.kind, c.unit) for c in rec.channels] == [("EMG", "arbitrary"), ("EMG", "arbitrary"), ("MISC", "N")]
    np.testing.assert_allclose(rec.values(0, 9)[1], decode(path)[1][2][:9])
    assert rec.channels[0].unit_label == "arbitrary units"
    with pytest.raises(UnitError, match="arbitrary"):
        rec.microvolts()


def test_unit_never_replaces_a_stated_scale(tmp_path: Path) -> None:
    path = emg_file(tmp_path / "a.edf")
    with pytest.raises(UnitError, match=r"states 'uV' for channel 'biceps', but unit= says 'mV'.*leave unit out"):
        er.read(path, unit={"biceps": "mV"})
    with pytest.raises(UnitError, match=r"unit 'N' is not known as a voltage; allowed: V, mV"):
        er.read(path, unit="N")
    with pytest.raises(UnitError, match=r"unit 'foo' of channel 'Force' is not known"):
        er.read(path, unit={"Force": "foo"})
    with pytest.raises(UnknownNameError, match=r"'bice'"):
        er.read(path, unit={"bice": "mV"})
    only_force = write(tmp_path / "f.edf", [Sig("Force", noise(1, 40), "N")])
    with pytest.raises(UnitError, match=r"applies to channels of kind EMG and ECG.*Force \(MISC\)"):
        er.read(only_force, unit="mV")


def test_annotations_become_markers_in_order_of_time_from_the_first_sample(tmp_path: Path) -> None:
    """Onsets count from the file's start time; the first record may begin a fraction later (EDF+, 2.2.4)."""
    tals = [
        [b"+0.25\x14\x14ready\x14", b"+2.75\x14go\x14stop\x14"],
        [b"+1.25\x14\x14", b"+0.75\x150.1\x14early \xc2\xb5\x14"],
        [b"+2.25\x14\x14"],
        [b"+3.25\x14\x14", b"+3.25\x14\x14"],
    ]
    path = emg_file(tmp_path / "a.edf", annotations=tals, reserved="EDF+C")
    rec = er.read(path)
    assert rec.labels == ("biceps", "EMG triceps", "Force")
    assert [(m.sample, m.label, m.duration_s) for m in rec.markers] == [
        (0, "ready", None),
        (25, "early µ", 0.1),
        (125, "go", None),
        (125, "stop", None),
    ]
    assert rec.notes == ()


def test_annotation_outside_or_empty_is_said(tmp_path: Path) -> None:
    tals = [[b"+%d\x14\x14" % k] for k in range(4)]
    tals[2] += [b"+4\x14Recording ends\x14", b"+1.5\x14\x14"]
    path = emg_file(tmp_path / "a.edf", annotations=tals, reserved="EDF+C")
    with pytest.warns(SignalWarning, match=r"'Recording ends' at 4 s lies outside the recording \(0 to 4 s\)"):
        rec = er.read(path)
    assert rec.markers == ()
    assert any("Recording ends" in note for note in rec.notes)
    assert "1 annotations without text are no markers." in rec.notes


def test_discontinuous_and_gaps_are_errors(tmp_path: Path) -> None:
    tals = [[b"+%d\x14\x14" % k] for k in (0, 1, 5, 6)]
    with pytest.raises(ReadError, match=r"discontinuous \(EDF\+D\).*only continuous.*export each continuous stretch"):
        er.read(emg_file(tmp_path / "a.edf", annotations=tals, reserved="EDF+D"))
    with pytest.raises(FormatError, match=r"says it is continuous, but its data record 3 begins at 5 s instead of 2 s"):
        er.read(emg_file(tmp_path / "b.edf", annotations=tals, reserved="EDF+C"))
    with pytest.raises(ReadError, match=r"discontinuous \(BDF\+D\)"):
        er.read(emg_file(tmp_path / "c.bdf", bdf=True, annotations=tals, reserved="BDF+D"))


@pytest.mark.parametrize(
    ("tal", "said"),
    [(b"+1,5\x14go\x14", r"data record 2 reads b'\+1,5"), (b"go", "reads b'go'"), (b"+1\x14\xff\x14", "not UTF-8")],
)
def test_malformed_annotation_names_its_record(tmp_path: Path, tal: bytes, said: str) -> None:
    tals = [[b"+%d\x14\x14" % k] for k in range(4)]
    tals[1].append(tal)
    with pytest.raises(FormatError, match=said):
        er.read(emg_file(tmp_path / "a.edf", annotations=tals, reserved="EDF+C"))


@pytest.mark.parametrize("bdf", [False, True])
def test_truncated_file_says_announced_and_present(tmp_path: Path, bdf: bool) -> None:
    path = emg_file(tmp_path / "a.edf", bdf=bdf)
    size = 150 * (3 if bdf else 2)
    path.write_bytes(path.read_bytes()[:-7])
    with pytest.raises(
        TruncatedError,
        match=rf"announces 4 data records of {size} bytes, but holds 3 and {size - 7} bytes of the next.*copy or",
    ):
        er.read(path)
    path.write_bytes(path.read_bytes()[:900])
    with pytest.raises(TruncatedError, match=r"is 900 bytes long; its header of 3 signals takes 1024"):
        er.read(path)
    path.write_bytes(b"")
    with pytest.raises(TruncatedError, match=r"is 0 bytes long; the header alone takes 256"):
        er.read(path)


def test_unknown_number_of_records_is_taken_from_the_size_if_it_fits(tmp_path: Path) -> None:
    path = emg_file(tmp_path / "a.edf", announced="-1")
    assert er.read(path).n_samples == 200
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(TruncatedError, match=r"an unknown number of \(-1\) data records"):
        er.read(path)


def test_file_that_shrinks_while_in_use_is_an_error_not_a_crash(tmp_path: Path) -> None:
    path = emg_file(tmp_path / "a.edf")
    rec = er.read(path)
    path.write_bytes(path.read_bytes()[:-300])
    with pytest.raises(ReadError, match=r"could be opened but no longer be read.*restore it"):
        rec.values()


@pytest.mark.parametrize(
    ("fields", "error", "said"),
    [
        ({"version": "1"}, FormatError, r"'version' reads '1'; allowed: '0'"),
        ({"signals": "x"}, FormatError, r"'number of signals' reads 'x'; allowed: a whole number of at least 1"),
        ({"signals": "0"}, FormatError, r"'number of signals' reads '0'"),
        ({"bytes": "1000"}, FormatError, r"'number of bytes in the header' reads 1000; with 3 signals it must be 1024"),
        ({"records": "many"}, FormatError, r"'number of data records' reads 'many'"),
        ({"records": "0"}, FormatError, r"holds no data record"),
        ({"records": "3"}, FormatError, r"announces 3 data records of 300 bytes, but 1200 bytes.*300 too many"),
        ({"duration": "0"}, RateError, r"duration of 0 s.*sampling rate unknown; it must be above 0"),
        (
            {"duration": "0,5"},
            FormatError,
            r"'duration of a data record' reads '0,5'; allowed: a number with a decimal point",
        ),
    ],
)
def test_malformed_header_names_the_field(tmp_path: Path, fields: dict[str, str], error: type, said: str) -> None:
    with pytest.raises(error, match=said):
        er.read(emg_file(tmp_path / "a.edf", fields=fields))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"physical": ("-0,5", "0,5")}, r"'physical minimum' of 'FDI' reads '-0,5'"),
        ({"physical": ("-1e999", "5")}, r"'physical minimum' of 'FDI' reads '-1e999'"),
        ({"physical": ("5", "5")}, r"'physical minimum' and 'physical maximum' of 'FDI' both read 5"),
        ({"physical": ("", "5")}, r"'physical minimum' of 'FDI' reads ''"),
        ({"digital": ("100", "-100")}, r"'digital minimum' and 'digital maximum' of 'FDI' read 100 and -100"),
        ({"digital": ("-8388608", "8388607")}, r"both within -32768 to 32767"),
        ({"digital": ("0.0", "4095")}, r"'digital minimum' of 'FDI' reads '0.0'; allowed: a whole number"),
        (
            {"per_record": "0"},
            r"'samples in each data record' of 'FDI' reads '0'; allowed: a whole number of at least 1",
        ),
        ({"label": ""}, r"'label' of signal 1 is empty"),
    ],
)
def test_malformed_signal_header_names_field_and_signal(tmp_path: Path, change: dict, said: str) -> None:
    with pytest.raises(FormatError, match=said):
        er.read(write(tmp_path / "a.edf", [Sig(**({"label": "FDI", "x": noise(1, 40)} | change))]))


def test_header_with_a_byte_too_few_is_recognised(tmp_path: Path) -> None:
    path = emg_file(tmp_path / "a.edf")
    raw = path.read_bytes()
    path.write_bytes(raw[:100] + raw[101:])
    with pytest.raises(FormatError, match=r"'number of signals' reads .*start date stands 1 byte too early"):
        er.read(path)


def test_duplicate_labels_say_where(tmp_path: Path) -> None:
    path = write(tmp_path / "a.edf", [Sig("FDI", noise(1, 40)), Sig("APB", noise(2, 40)), Sig("FDI", noise(3, 40))])
    with pytest.raises(
        FormatError, match=r"signals 1 and 3 of a\.edf are all called 'FDI'; labels must differ.*rename"
    ):
        er.read(path)


def test_annotations_alone_are_no_recording(tmp_path: Path) -> None:
    tals = [[b"+%d\x14\x14" % k] for k in range(4)]
    with pytest.raises(FormatError, match="annotations only"):
        er.read(write(tmp_path / "a.edf", [], Layout(annotations=tals, record_s="0", reserved="EDF+C")))


def test_rate_may_only_confirm(tmp_path: Path) -> None:
    path = emg_file(tmp_path / "a.edf")
    assert er.read(path, rate_hz=50).rate_hz == 50
    with pytest.raises(RateError, match=r"rate_hz says 1000 Hz, but a\.edf itself 50 Hz; the two must agree"):
        er.read(path, rate_hz=1000)


def test_flat_channel_is_said_and_reading_goes_on(tmp_path: Path) -> None:
    signals = [
        Sig("FDI", noise(1, 400)),
        Sig("APB", np.zeros(400)),
        Sig("ADM", np.full(400, 32767)),
        Sig("late", np.r_[np.zeros(399), 1]),
        Sig("Trigger", np.zeros(400), "V"),
    ]
    path = write(tmp_path / "a.edf", signals)
    with pytest.warns(SignalWarning) as caught:
        rec = er.read(path)
    said = [str(warning.message) for warning in caught]
    assert len(said) == 2
    assert "'APB' is flat: every sample is 0 as stored (0.00762951 µV)" in said[0]
    assert "'ADM' is flat: every sample is 500 µV" in said[1]
    assert all(sentence.removeprefix("a: ") in rec.notes for sentence in said)
    assert {warning.filename for warning in caught} == {__file__}


def test_a_sound_file_is_read_without_a_warning_in_one_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = emg_file(tmp_path / "a.edf")
    monkeypatch.setattr("emgreview.reading.checks.BLOCK", 10)
    touched = []
    from emgreview.reading import assembly

    digital = assembly.HeldSource.digital
    monkeypatch.setattr(assembly.HeldSource, "digital", lambda self, *a: (touched.append(a[:2]), digital(self, *a))[1])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        er.read(path)
    assert touched == [(0, 10)]


def test_paths_that_are_no_recording(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"is a folder; read\(\) takes one file; use read_dataset"):
        er.read(tmp_path)
    emg_file(tmp_path / "trial1.edf")
    with pytest.raises(ReadError, match=r"there is no file .*trial2\.edf \(its folder holds trial1\.edf\)"):
        er.read(tmp_path / "trial2.edf")
    with pytest.raises(ReadError, match="its folder does not exist either"):
        er.read(tmp_path / "no" / "trial2.edf")
    shutil.copy(tmp_path / "trial1.edf", tmp_path / "trial1.xyz")
    with pytest.raises(ReadError, match=r"extension '\.xyz'.*known: \.edf \.bdf \(EDF.*\.csv.*from_array"):
        er.read(tmp_path / "trial1.xyz")
    shutil.copy(tmp_path / "trial1.edf", tmp_path / "TRIAL3.EDF")
    assert er.read(str(tmp_path / "TRIAL3.EDF")).name == "TRIAL3"


def test_messages_end_with_a_full_stop_and_advice(tmp_path: Path) -> None:
    """What came; what is allowed; what to do: three parts, so at least one semicolon before the advice."""
    path = emg_file(tmp_path / "a.edf", fields={"records": "many"})
    with pytest.raises(FormatError) as caught:
        er.read(path)
    assert re.search(r";.*;.*\.$", str(caught.value))
