"""Writing: files are looked at with general libraries, then read back."""

import csv
import subprocess
import sys
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from recording_channels import CHANNELS

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.errors import OutputError
from spoolwright.sources.csvwriting import CsvStyle
from spoolwright.sources.reading import read_recording
from spoolwright.sources.writing import write_recording

N = 2500
NAMES = {"Ng": "ng", "Gas": "mgt"}


@pytest.fixture
def recording():
    random = np.random.default_rng(940)
    time = np.arange(N) * 0.05
    time[100] = time[98]
    speed = random.normal(30_000, 100, N)
    speed[7] = np.nan
    series = {
        "ng": Series("ng", speed, "Ng", "rpm", "rpm"),
        "mgt": Series("mgt", random.normal(900, 50, N), "Gas", "degC", "K"),
        "torque": Series("torque", random.normal(500, 50, N), "", "", "N m"),
        "oil_pressure": Series("oil_pressure", random.normal(3e5, 1e3, N), "oil_pressure", "psig", "Pa"),
    }
    start = datetime(2026, 3, 1, 23, 59, 30, tzinfo=UTC)
    return Recording(time, series, start, "run", "", {"engine_serial": "C940-0017", "remark": "Übergabe"})


@pytest.mark.parametrize("format", ["csv", "parquet", "arrow", "mdf4", "tdms"])
def test_inner_units_read_back_bit_for_bit(tmp_path, recording, format):
    path = tmp_path / "run.out"
    units = {"mgt": "K", "oil_pressure": "Pa"}
    write_recording(recording, path, format, units=units)
    back = read_recording(path, CHANNELS, NAMES)
    np.testing.assert_array_equal(back.time, recording.time)
    for channel, series in recording.series.items():
        np.testing.assert_array_equal(back[channel], series.values)
    assert back.started_at == recording.started_at
    assert recording.attributes.items() <= back.attributes.items()
    assert [note for note in back.notes if note.kind != "unit_ambiguous"] == []
    assert [p.name for p in tmp_path.iterdir()] == ["run.out"]


@pytest.mark.parametrize("format", ["csv", "parquet", "arrow", "mdf4", "tdms"])
def test_entered_units_and_names_are_kept(tmp_path, recording, format):
    write_recording(recording, tmp_path / "run.out", format)
    back = read_recording(tmp_path / "run.out", CHANNELS, NAMES)
    assert (back.series["mgt"].entered_name, back.series["mgt"].entered_unit) == ("Gas", "degC")
    assert back.series["oil_pressure"].entered_unit == "psig"
    for (
        channel,
        series,
    ) in recording.series.items():  # a conversion there and back costs a few units in the last place
        np.testing.assert_allclose(back[channel], series.values, rtol=1e-15 * 8)


@pytest.mark.parametrize("format", ["csv", "parquet", "arrow", "mdf4", "tdms"])
def test_float32(tmp_path, recording, format):
    write_recording(recording, tmp_path / "run.out", format, precision="float32", units={"mgt": "K"})
    back = read_recording(tmp_path / "run.out", CHANNELS, NAMES)
    # CSV keeps the shortest digits of the float32, which read back to it only as float32
    np.testing.assert_array_equal(back["mgt"].astype(np.float32), recording["mgt"].astype(np.float32))
    np.testing.assert_array_equal(back.time, recording.time)


STYLES = [
    CsvStyle(delimiter=";", decimal=","), CsvStyle(delimiter="\t", bom=True), CsvStyle(encoding="utf-16-le"),
    CsvStyle(delimiter="|", encoding="utf-16-be"), CsvStyle(delimiter=";", decimal=",", encoding="latin-1"),
    CsvStyle(time="stamps"), CsvStyle(delimiter=";", decimal=",", time="stamps"),
    CsvStyle(time="time of day"), CsvStyle(unit_row=True),
]  # fmt: skip


@pytest.mark.parametrize("style", STYLES, ids=str)
def test_csv_styles_read_back(tmp_path, recording, style):
    write_recording(recording, tmp_path / "run.csv", "csv", style=style)
    back = read_recording(tmp_path / "run.csv", CHANNELS, NAMES)
    np.testing.assert_allclose(back.time, recording.time, rtol=0, atol=1e-10)
    np.testing.assert_array_equal(back["ng"], recording["ng"])
    assert back.started_at == recording.started_at
    assert back.attributes["remark"] == "Übergabe"


def test_a_csv_as_the_csv_module_sees_it(tmp_path, recording):
    write_recording(recording, tmp_path / "run.csv", "csv", style=CsvStyle(decimals=2))
    with (tmp_path / "run.csv").open(newline="") as file:
        rows = [row for row in csv.reader(file) if not row[0].startswith("#")]
    assert rows[0] == ["time [s]", "Ng [rpm]", "Gas [degC]", "torque [N m]", "oil_pressure [psig]"]
    assert len(rows) == N + 1
    assert float(rows[1][2]) == pytest.approx(recording["mgt"][0] - 273.15, abs=0.005001)
    assert rows[8][1] == ""  # nothing recorded
    assert all(len(cell.partition(".")[2]) <= 2 for cell in rows[1][1:])


def test_parquet_as_pyarrow_sees_it(tmp_path, recording):
    write_recording(recording, tmp_path / "run.parquet", "parquet", precision="float32")
    file = parquet.ParquetFile(tmp_path / "run.parquet")
    column = file.metadata.row_group(0).column(1)
    assert (column.compression, column.physical_type) == ("ZSTD", "FLOAT")
    assert "BYTE_STREAM_SPLIT" in column.encodings
    assert file.schema_arrow.field("time").type == pa.float64()
    assert file.schema_arrow.field("Gas").metadata[b"unit"] == b"degC"


def test_names_that_are_not_unique_give_way_to_channel_ids(tmp_path, recording):
    twin = Series("p3", recording["torque"], "Ng", "kPa", "Pa")
    twins = Recording(recording.time, {**recording.series, "p3": twin}, None, "run", "")
    write_recording(twins, tmp_path / "run.csv", "csv")
    assert (tmp_path / "run.csv").read_text().splitlines()[0].startswith("time [s],ng [rpm],Gas [degC]")


def test_what_cannot_be_written_is_told_and_leaves_nothing(tmp_path, recording):
    undated = Recording(recording.time, recording.series, None, "run", "", recording.attributes)
    cases = [
        (recording, {"units": {"ng": "kW"}}, "does not suit"),
        (recording, {"units": {"ng": "furlong"}}, "not known"),
        (recording, {"style": CsvStyle(decimal=",")}, "the same"),
        (recording, {"style": CsvStyle(encoding="ascii")}, "cannot be written as ascii"),
        (undated, {"style": CsvStyle(time="stamps")}, "start is not known"),
    ]
    for what, how, told in cases:
        with pytest.raises(OutputError, match=told):
            write_recording(what, tmp_path / "run.csv", "csv", **how)
    with pytest.raises(OutputError, match="cannot be written"):
        write_recording(recording, tmp_path / "none" / "run.csv", "csv")
    assert list(tmp_path.iterdir()) == []


def test_reading_imports_no_more_than_it_needs(tmp_path, recording):
    """pandas, asammdf or scipy would each cost more than reading a whole run."""
    code = (
        "import sys; from spoolwright.sources.reading import read_recording\n"
        "heavy = {'pandas', 'asammdf', 'nptdms', 'scipy', 'pint'}\n"
        "early = (heavy | {'pyarrow', 'pydantic'}) & set(sys.modules)\n"
        "from types import SimpleNamespace as Spec\n"
        "ng = Spec(id='ng', name='ng', dimension='speed', unit='rpm', aliases=('Ng',), full_scale=None)\n"
        "rows = [read_recording(path, [ng]).rows for path in sys.argv[1:]]\n"
        "late = heavy & set(sys.modules)\n"
        "print(rows, sorted(early), sorted(late))"
    )
    paths = []
    for format in ("csv", "parquet", "arrow"):
        paths.append(str(tmp_path / format))
        write_recording(recording, paths[-1], format)
    done = subprocess.run([sys.executable, "-c", code, *paths], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == f"[{N}, {N}, {N}] [] []"
