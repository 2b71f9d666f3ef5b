"""NWB against pynwb, the format's own writer and reader."""

from datetime import UTC, datetime
from pathlib import Path

import h5py
import numpy as np
import pytest

import emgreview as er
from emgreview.errors import FormatError, ParameterError, RateError, TruncatedError, UnknownNameError

X = np.random.default_rng(9).integers(-2000, 2000, (1000, 2)).astype(np.int16)
SAID = {"data": "acquisition/arm", "labels": "label"}
EVENTS = {"events": "intervals/trials", "event_label": "cue"}


@pytest.fixture
def path(tmp_path) -> Path:
    import pynwb
    from pynwb.ecephys import ElectricalSeries

    made = pynwb.NWBFile("people grasp at a tone", "invented", datetime(2026, 1, 5, tzinfo=UTC))
    device = made.create_device("amplifier")
    group = made.create_electrode_group("arm", "forearm", "forearm", device)
    made.add_electrode_column("label", "name of the muscle")
    for label in ("APB", "FCR", "ECR"):
        made.add_electrode(location="forearm", group=group, label=label)
    region = made.create_electrode_table_region([1, 2], "the forearm")
    scale = {"conversion": 2e-6, "offset": 1e-6, "channel_conversion": [1.0, 0.5]}
    made.add_acquisition(ElectricalSeries("arm", X, region, rate=500.0, starting_time=10.0, **scale))
    times = 10 + np.arange(500) / 250
    made.add_acquisition(pynwb.TimeSeries("force", np.arange(500.0), "newtons", timestamps=times))
    uneven = times + np.where(np.arange(500) < 250, 0, 0.1)
    made.add_acquisition(pynwb.TimeSeries("key", np.arange(500.0), "volts", timestamps=uneven))
    made.add_trial_column("cue", "what sounded")
    made.add_trial_column("loudness", "in dB")
    made.add_trial(start_time=10.5, stop_time=10.9, cue="tone", loudness=60.0)
    made.add_trial(start_time=11.25, stop_time=11.5, cue="hush", loudness=0.0)
    with pynwb.NWBHDF5IO(tmp_path / "a.nwb", "w") as out:
        out.write(made)
    return tmp_path / "a.nwb"


pytestmark = pytest.mark.filterwarnings(
    "ignore::DeprecationWarning", "ignore::UserWarning:hdmf", "ignore::FutureWarning"
)


def test_a_series_is_read_as_its_own_library_reads_it(path) -> None:
    import pynwb

    rec = er.read(path, **SAID, **EVENTS)
    with pynwb.NWBHDF5IO(path, "r") as own:
        known = own.read()
        series = known.acquisition["arm"]
        volts = series.get_data_in_units()
        assert rec.rate_hz == series.rate
        assert rec.labels == tuple(series.electrodes.to_dataframe()["label"])
        np.testing.assert_allclose(rec.values() / 1e6, np.asarray(volts).T, rtol=1e-9)
        rows = known.trials.to_dataframe()
    assert [one.sample for one in rec.markers] == [round((at - 10) * 500) for at in rows.start_time]
    assert [(one.label, dict(one.details)) for one in rec.markers] == [
        ("tone", {"id": "0", "loudness": "60"}),
        ("hush", {"id": "1", "loudness": "0"}),
    ]
    assert rec.markers[0].duration_s == pytest.approx(0.4)
    assert rec.source.digital(3, 9, [1]).tolist() == X[3:9, 1:].T.tolist()
    assert er.read(path, data="acquisition/arm", columns=["FCR", None]).labels == ("FCR",)


def test_even_time_stamps_tell_the_rate_and_uneven_ones_are_refused(path) -> None:
    rec = er.read(path, data="acquisition/force", columns=["force"])
    assert rec.rate_hz == 250
    assert any("is that of its time stamps" in note for note in rec.notes)
    with pytest.raises(RateError, match="not regular"):
        er.read(path, data="acquisition/key", columns=["key"])


def test_what_must_be_said_is_asked(path) -> None:
    seen = er.look(path)
    assert any(fact.startswith("series acquisition/arm: 1000 x 2 int16, 500.0 Hz, unit volts") for fact in seen.facts)
    assert any("table intervals/trials" in fact and "loudness" in fact for fact in seen.facts)
    assert "acquisition/force" in seen.asks["data"]
    assert "label" in seen.asks["columns"]
    for change, error in (
        ({"data": None}, ParameterError),
        ({"data": "acquisition/leg"}, UnknownNameError),
        ({"labels": None}, ParameterError),
        ({"labels": "muscle"}, UnknownNameError),
        ({"events": "intervals/x"}, UnknownNameError),
        ({"event_label": None}, ParameterError),
        ({"event_label": "sound"}, UnknownNameError),
        ({"rate_hz": 2000}, RateError),
    ):
        with pytest.raises(error):
            er.read(path, **SAID | EVENTS | change)


def test_links_out_of_the_file_and_damage_are_told(path) -> None:
    whole = path.read_bytes()
    for at in (0, 7, 500, len(whole) // 2, len(whole) - 10):
        path.write_bytes(whole[:at])
        with pytest.raises((FormatError, TruncatedError)):
            er.read(path, **SAID)
    path.write_bytes(whole)
    with h5py.File(path, "r+") as file:
        del file["acquisition/arm/data"]
        file["acquisition/arm/data"] = h5py.ExternalLink("other.h5", "/x")
    with pytest.raises(FormatError, match="leads out of the file"):
        er.read(path, **SAID)
