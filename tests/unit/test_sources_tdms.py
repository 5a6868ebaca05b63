"""TDMS, written by npTDMS directly."""

import sys
from datetime import UTC, datetime

import numpy as np
import pytest
from recording_channels import CHANNELS, kinds

from spoolwright.errors import InputError, MissingExtra
from spoolwright.sources.limits import Limits
from spoolwright.sources.reading import read_recording

nptdms = pytest.importorskip("nptdms")

N = 20
T = np.arange(N) * 0.05
START = np.datetime64("2026-03-01T10:00:00", "us")
WAVE = {"wf_increment": 0.05, "wf_start_offset": 0.0, "wf_start_time": START, "unit_string": "rpm"}


def write(path, *segments):
    with nptdms.TdmsWriter(str(path)) as writer:
        for segment in segments:
            writer.write_segment(segment)
    return path


def column(name, values, group="run", **properties):
    return nptdms.ChannelObject(group, name, np.asarray(values), properties)


def test_waveforms(tmp_path):
    root = nptdms.RootObject({"Engine serial": "C940-0017"})
    gas = column("T45", np.linspace(32, 212, N), **{**WAVE, "unit_string": "degF"})
    path = write(tmp_path / "run.tdms", [root, column("N1", np.arange(N), **WAVE), gas])
    recording = read_recording(path, CHANNELS)
    assert recording.time == pytest.approx(T)
    assert recording["ng"].tolist() == list(range(N))
    assert recording["mgt"][[0, -1]] == pytest.approx([273.15, 373.15])  # ice and steam point
    assert recording.started_at == datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert recording.attributes["engine_serial"] == "C940-0017"
    assert recording.notes == ()


def test_a_time_channel_of_numbers_or_stamps(tmp_path):
    speed = column("ng", np.arange(N), unit_string="rpm")
    recording = read_recording(
        write(tmp_path / "a.tdms", [column("Time", T * 1000, unit_string="ms"), speed]), CHANNELS
    )
    assert recording.time == pytest.approx(T)
    stamps = START + (T * 1e6).round().astype("timedelta64[us]")
    recording = read_recording(write(tmp_path / "b.tdms", [column("Time", stamps), speed]), CHANNELS)
    assert recording.time == pytest.approx(T)
    assert recording.started_at == datetime(2026, 3, 1, 10, tzinfo=UTC)


def test_many_segments_are_one_recording(tmp_path):
    parts = [[column("Time", T[i : i + 5]), column("ng [rpm]", np.arange(i, i + 5))] for i in range(0, N, 5)]
    recording = read_recording(write(tmp_path / "run.tdms", *parts), CHANNELS)
    assert recording.time == pytest.approx(T)
    assert recording["ng"].tolist() == list(range(N))
    assert kinds(recording) == ["unit_assumed"]  # of the time channel


def test_groups_that_start_at_other_times_are_placed_by_their_start(tmp_path):
    late = {
        **WAVE,
        "wf_increment": 0.25,
        "wf_start_time": START + np.timedelta64(500, "ms"),
        "unit_string": "K",
    }
    slow = column("mgt", [900.0, 901.0], group="slow", **late)
    recording = read_recording(
        write(tmp_path / "run.tdms", [column("ng", np.arange(N), **WAVE), slow]), CHANNELS
    )
    assert np.flatnonzero(np.isfinite(recording["mgt"])).tolist() == [10, 15]
    assert kinds(recording) == ["time_bases"]


def test_what_is_no_number_or_has_no_clock_is_left_out(tmp_path):
    words = column("torque", np.array(["a"] * N), **{**WAVE, "unit_string": "N m"})
    clockless = column("mgt", np.arange(N), unit_string="K")
    path = write(tmp_path / "run.tdms", [column("ng", np.arange(N), **WAVE), words, clockless])
    recording = read_recording(path, CHANNELS)
    assert list(recording.series) == ["ng"]
    assert kinds(recording) == ["not_numbers", "not_numbers"]


def test_one_channel_in_two_groups_is_named_with_its_groups(tmp_path):
    twins = [column("ng", np.arange(N), group=group, **WAVE) for group in ("first", "second")]
    path = write(tmp_path / "run.tdms", twins)
    with pytest.raises(InputError, match=r"'first/ng' .* and 'second/ng' .* are both channel 'ng'"):
        read_recording(path, CHANNELS)
    assert read_recording(path, CHANNELS, {"ignore": ["first/ng"], "channels": {}}).rows == N


def test_a_cut_file_is_read_as_far_as_it_goes(tmp_path):
    path = write(tmp_path / "run.tdms", [column("ng", np.arange(float(N)), **WAVE)])
    path.write_bytes(path.read_bytes()[: -5 * 8])
    recording = read_recording(path, CHANNELS)
    assert recording["ng"].tolist() == list(range(N - 5))
    assert kinds(recording) == ["cut_short"]


def test_an_index_beside_the_file_is_not_trusted(tmp_path):
    path = write(tmp_path / "run.tdms", [column("ng", np.arange(N), **WAVE)])
    (tmp_path / "run.tdms_index").write_bytes(b"TDSh nonsense")
    assert read_recording(path, CHANNELS).rows == N


def test_limits(tmp_path):
    path = write(tmp_path / "run.tdms", [column("ng", np.arange(N), **WAVE)])
    with pytest.raises(InputError, match="limit is 10 values"):
        read_recording(path, CHANNELS, limits=Limits(values=10))
    with pytest.raises(InputError, match="limit is 0"):
        read_recording(path, CHANNELS, limits=Limits(columns=0))


def test_without_the_package_the_way_to_install_it_is_told(tmp_path, monkeypatch):
    path = write(tmp_path / "run.tdms", [column("ng", np.arange(N), **WAVE)])
    monkeypatch.setitem(sys.modules, "nptdms", None)
    with pytest.raises(MissingExtra, match=r"pip install 'spoolwright\[tdms\]'"):
        read_recording(path, CHANNELS)
