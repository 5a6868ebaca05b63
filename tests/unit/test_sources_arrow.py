"""Parquet and Arrow streams, written by pyarrow directly."""

from datetime import UTC, datetime, time, timedelta
from decimal import Decimal

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from recording_channels import CHANNELS, kinds

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits
from spoolwright.sources.parquetsizes import check_pages
from spoolwright.sources.reading import read_recording


def to_parquet(table, path):
    parquet.write_table(table, path)


def to_stream(table, path):
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)


def to_file(table, path):
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_file(sink, table.schema) as stream:
        stream.write_table(table)


@pytest.fixture(params=[to_parquet, to_stream, to_file])
def read(request, tmp_path):
    def reading(table, channel_map=None, limits=None):
        path = tmp_path / "recording"
        request.param(table, path)
        return read_recording(path, CHANNELS, channel_map, limits)

    return reading


def with_unit(name, kind, unit):
    return pa.field(name, kind, metadata={"unit": unit})


def test_unit_in_metadata_or_in_the_name(read):
    schema = pa.schema(
        [
            with_unit("time", pa.float64(), "s"),
            with_unit("N1", pa.float32(), "rpm"),
            ("T45 [degF]", pa.int32()),
        ],
        metadata={"Engine serial": "C940-0017", "started_at": "2026-03-01T10:00:00Z"},
    )
    recording = read(pa.table([[3.0, 3.5], [30000.5, 30001.25], [32, 212]], schema=schema))
    assert recording.time.tolist() == [0.0, 0.5]
    assert recording["ng"].tolist() == [30000.5, 30001.25]
    assert recording["mgt"] == pytest.approx([273.15, 373.15], abs=1e-9)  # ice and steam point
    assert recording.attributes["engine_serial"] == "C940-0017"
    assert recording.started_at == datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert recording.notes == ()


def test_units_that_disagree_leave_the_channel_out_until_one_is_stated(read):
    schema = pa.schema(
        [("time", pa.float64()), with_unit("mgt [degF]", pa.float64(), "degC"), ("ng", pa.float64())]
    )
    table = pa.table([[0.0], [50.0], [1.0]], schema=schema)
    recording = read(table)
    assert "mgt" not in recording
    assert "'degF' and 'degC'" in next(n.text for n in recording.notes if n.kind == "unit_refused")
    stated = read(table, {"channels": {"mgt": {"channel": "mgt", "unit": "degF"}}})
    assert stated["mgt"] == pytest.approx([283.15])  # 50 degF = 10 degC
    assert stated.series["mgt"].unit_source == "channel map"


def test_the_same_unit_twice_in_two_spellings_is_one(read):
    schema = pa.schema([("time", pa.float64()), with_unit("mgt [°C]", pa.float64(), "degC")])
    assert read(pa.table([[0.0], [0.0]], schema=schema))["mgt"].tolist() == [273.15]


@pytest.mark.parametrize(
    "values",
    [
        pa.array([1, None, 3], pa.int64()), pa.array([1, None, 3], pa.uint8()),
        pa.array([1, None, 3], pa.float32()), pa.array([1, None, 3], pa.float64()),
        pa.array(np.array([1, np.nan, 3], np.float16)),
        pa.array([Decimal("1.0"), None, Decimal("3.0")]), pa.array(["1", None, " 3 "]),
        pa.array(["1", "n/a", "3"], pa.large_string()), pa.array(["1", "", "3"]).dictionary_encode(),
        pa.array([1.0, None, 3.0]).dictionary_encode(),
    ],
)  # fmt: skip
def test_every_numeric_type_and_text_of_numbers(read, values):
    table = pa.table({"time [s]": [0.0, 1.0, 2.0], "ng [rpm]": values})
    recording = read(table)
    np.testing.assert_array_equal(recording["ng"], [1.0, np.nan, 3.0])
    assert recording.notes == ()


def test_a_sliced_table_reads_its_slice(read):
    states = [True, False, None, True]
    table = pa.table({"time [s]": [0.0, 1.0, 2.0, 3.0], "ng [rpm]": [1, None, 3, 4], "ignition": states})
    recording = read(table.slice(1, 3))
    np.testing.assert_array_equal(recording["ng"], [np.nan, 3.0, 4.0])
    np.testing.assert_array_equal(recording["ignition"], [0.0, np.nan, 1.0])


def test_text_that_is_no_number_is_nan_and_named(read):
    recording = read(pa.table({"time [s]": [0.0, 1.0, 2.0], "ng [rpm]": ["1", "two", "3,5"]}))
    np.testing.assert_array_equal(recording["ng"], [1.0, np.nan, np.nan])
    assert "'two' in row 2, '3,5' in row 3" in recording.notes[0].text


@pytest.mark.parametrize(
    "values",
    [pa.array([[1.0]]), pa.array([{"a": 1.0}]), pa.array([b"1"]), pa.array([timedelta(1)]), pa.nulls(1)],
)
def test_a_column_of_another_kind_is_left_out_and_named(read, values):
    recording = read(pa.table({"time [s]": [0.0], "ng [rpm]": values, "mgt [K]": [900.0]}))
    assert list(recording.series) == ["mgt"]
    assert kinds(recording) == ["not_numbers"]


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_time_stamps(read, unit):
    stamps = [datetime(2026, 3, 1, 10, 0, 0, tzinfo=UTC), datetime(2026, 3, 1, 10, 0, 7, tzinfo=UTC)]
    recording = read(
        pa.table({"time": pa.array(stamps, pa.timestamp(unit, "Europe/Paris")), "ng [rpm]": [1, 2]})
    )
    assert recording.time.tolist() == [0.0, 7.0]
    assert recording.started_at == stamps[0]


def test_nanoseconds_are_not_rounded_away(read):
    stamps = pa.array([1_770_000_000_000_000_001, 1_770_000_000_000_000_051], pa.timestamp("ns"))
    recording = read(pa.table({"time": stamps, "ng [rpm]": [1, 2]}))
    assert recording.time.tolist() == [0.0, 50e-9]
    assert recording.started_at is None
    assert kinds(recording) == ["time_zone"]


def test_other_kinds_of_time(read):
    for times in (
        pa.array([timedelta(seconds=3), timedelta(seconds=4)]),
        pa.array([time(10, 0, 3), time(10, 0, 4)]),
        pa.array(["10:00:03", "10:00:04"]),
        pa.array([3, 4]),
    ):
        recording = read(pa.table({"time": times, "ng [rpm]": [1, 2]}))
        assert recording.time.tolist() == [0.0, 1.0]


def test_a_time_column_that_is_none_is_refused(read):
    with pytest.raises(InputError, match="which is no time"):
        read(pa.table({"time": [[1.0]], "ng [rpm]": [1]}))


def test_duplicate_columns_are_both_named(read):
    table = pa.table([[0.0], [1.0], [2.0]], names=["time", "ng [rpm]", "ng [rpm]"])
    with pytest.raises(InputError, match=r"\(no. 2\) and .* \(no. 3\) are both channel 'ng'"):
        read(table)


def test_limits(read):
    table = pa.table({"time [s]": np.arange(100.0), "ng [rpm]": np.arange(100.0)})
    with pytest.raises(InputError, match="limit is 99 values"):
        read(table, limits=Limits(values=99))
    with pytest.raises(InputError, match="limit is 1"):
        read(table, limits=Limits(columns=1))
    assert read(table, limits=Limits(values=100)).rows == 100


def test_no_rows(read):
    with pytest.raises(InputError, match="holds no rows"):
        read(pa.table({"time [s]": pa.array([], pa.float64()), "ng [rpm]": pa.array([], pa.float64())}))


def test_a_cut_stream_yields_every_whole_batch_and_a_note(tmp_path):
    path = tmp_path / "live.arrows"
    table = pa.table({"time [s]": np.arange(100.0), "ng [rpm]": np.arange(100.0)})
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table, max_chunksize=10)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) * 6 // 10])
    recording = read_recording(path, CHANNELS)
    assert 40 <= recording.rows < 60
    assert recording.rows % 10 == 0
    assert recording["ng"].tolist() == list(range(recording.rows))
    assert f"breaks off after row {recording.rows}" in recording.notes[0].text
    path.write_bytes(whole[:200])
    with pytest.raises(InputError, match="damaged"):
        read_recording(path, CHANNELS)


def test_a_cut_parquet_file_is_told(tmp_path):
    path = tmp_path / "run.parquet"
    to_parquet(pa.table({"time [s]": [0.0], "ng [rpm]": [1.0]}), path)
    path.write_bytes(path.read_bytes()[:-10])
    with pytest.raises(InputError, match=r"^run\.parquet: it is damaged"):
        read_recording(path, CHANNELS)


@pytest.mark.parametrize("compression", ["none", "zstd", "snappy"])
@pytest.mark.parametrize("version", ["1.0", "2.0"])
def test_what_pages_unpack_to_is_found_before_it_is_unpacked(tmp_path, compression, version):
    """Against what the library itself says of the file it wrote."""
    path = tmp_path / "run.parquet"
    table = pa.table(
        {"time [s]": np.arange(50_000.0), "ng [rpm]": np.arange(50_000) % 7, "x": ["text"] * 50_000}
    )
    how = {"compression": compression, "data_page_version": version, "row_group_size": 20_000}
    parquet.write_table(table, path, data_page_size=10_000, **how)
    metadata = parquet.ParquetFile(path).metadata
    chunks = [metadata.row_group(g).column(c) for g in range(metadata.num_row_groups) for c in (0, 1)]
    largest = max(sum(c.total_uncompressed_size for c in chunks[i : i + 2]) for i in range(0, len(chunks), 2))
    headers = sum(200 for _ in range(40))  # the library counts page headers too
    check_pages(path, {"time [s]", "ng [rpm]"}, limits_of(largest))
    with pytest.raises(InputError, match="row group 1 unpacks to more"):
        check_pages(path, {"time [s]", "ng [rpm]"}, limits_of(largest - headers))
    check_pages(path, {"ng [rpm]"}, limits_of(largest // 2))


def limits_of(unpacked_bytes):
    limits = Limits(values=(unpacked_bytes - 2**20) // 16)
    assert 0 <= unpacked_bytes - limits.unpacked_bytes < 16
    return limits


def test_long_texts_are_refused_before_they_are_unpacked(tmp_path):
    path = tmp_path / "run.parquet"
    table = pa.table({"time [s]": [0.0], "ng [rpm]": ["1" * 3_000_000]})
    parquet.write_table(table, path, compression="zstd", use_dictionary=False)
    assert path.stat().st_size < 10_000
    with pytest.raises(InputError, match="unpacks to more than"):
        read_recording(path, CHANNELS, limits=Limits(values=1000))


def test_only_channels_are_read_from_parquet(tmp_path):
    path = tmp_path / "run.parquet"
    to_parquet(
        pa.table({"time [s]": [0.0], "ng [rpm]": [1.0], "x.y": [5.0], "x": [{"y": 1.0}], "": [1]}), path
    )
    recording = read_recording(path, CHANNELS)
    assert list(recording.series) == ["ng"]
    assert "'x.y', 'x'" in recording.notes[0].text
