"""Any file gives a recording or one of the project's errors, in bounded time and memory.

SPOOLWRIGHT_FUZZ sets how many damaged files of each format are read: `make prove` reads many more than
`make test`.
"""

import csv
import json
import math
import os
import resource
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyarrow import parquet
from recording_fuzzer import CHANNELS

from spoolwright.errors import SpoolwrightError
from spoolwright.sources.reading import read_recording

FUZZER = Path(__file__).with_name("recording_fuzzer.py")
COUNT = int(os.environ.get("SPOOLWRIGHT_FUZZ", "500"))
EXAMPLES = settings(
    max_examples=max(COUNT // 5, 100), deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip


@pytest.mark.parametrize("format", ["csv", "parquet", "arrow", "mdf4", "tdms"])
def test_damaged_recordings(tmp_path, format):
    command = [sys.executable, "-X", "faulthandler", str(FUZZER), format, "0", str(COUNT), str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60 + COUNT, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    told = json.loads(done.stdout)
    assert told["problems"] == []
    assert 0 < told["recordings"] < COUNT
    assert told["slowest"] < 10
    assert told["memory"] < 2**30
    assert done.stderr == ""


@EXAMPLES
@given(
    st.binary(max_size=300),
    st.sampled_from([b"", b"PAR1", b"MDF     4.10    ", b"TDSm", b"\xff\xff\xff\xff", b"ARROW1\0\0"]),
)
def test_random_bytes(tmp_path, data, head):
    path = tmp_path / "run"
    path.write_bytes(head + data)
    with pytest.raises(SpoolwrightError):
        read_recording(path, CHANNELS)


CELL = st.one_of(
    st.text(max_size=8),
    st.sampled_from(["", "nan", "-", "1,5", "1.5", "1e999", '"', '""', "10:00:00", "#", "\x00"]),
)


@EXAMPLES
@given(
    st.lists(
        st.one_of(
            CELL, st.sampled_from(["time", "time [s]", "ng", "ng [rpm]", "mgt [%]", "t", "[]", "x []"])
        ),
        max_size=6,
    ),
    st.lists(st.lists(CELL, max_size=6), max_size=8),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from(["utf-8", "utf-16", "latin-1"]),
)
def test_odd_headers_and_cells(tmp_path, header, rows, delimiter, encoding):
    lines = [delimiter.join(row) for row in [header, *rows]]
    path = tmp_path / "run.csv"
    path.write_bytes("\n".join(lines).encode(encoding, "replace"))
    try:
        recording = read_recording(path, CHANNELS)
    except SpoolwrightError:
        return
    assert 1 <= recording.rows <= len(rows)


@EXAMPLES
@given(
    st.lists(
        st.tuples(st.floats(-1e6, 1e6), st.floats(-1e12, 1e12) | st.just(math.nan)), min_size=1, max_size=30
    ),
    st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ","), ("|", ".")]),
    st.booleans(),
)
def test_whatever_numbers_are_written_come_back(tmp_path, rows, marks, quoted):
    """Python's csv module writes the shortest digits of each number; they read back bit for bit."""
    delimiter, decimal = marks
    path = tmp_path / "run.csv"
    with path.open("w", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter, quoting=csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL)
        writer.writerow(["time [s]", "ng [rpm]"])
        writer.writerows([[repr(cell).replace(".", decimal) for cell in row] for row in rows])
    stated = {"channels": {"ng": "ng"}, "csv": {"decimal": decimal}}
    recording = read_recording(path, CHANNELS, stated)
    times, values = np.array(rows).T
    np.testing.assert_array_equal(recording.time, times - times[0])
    np.testing.assert_array_equal(recording["ng"], values)


def endless_header(path):
    path.write_bytes(b"time [s]," * 20_000_000)


def endless_line(path):
    path.write_bytes(b"time [s],ng [rpm]\n0," + b"1" * 150_000_000)


def many_columns(path):
    path.write_bytes(b"time [s],ng [rpm]" + b",x" * 400_000 + b"\n" + b"0," * 400_001 + b"0\n")


def enormous_hole(path):
    with path.open("wb") as file:
        file.write(b"time [s],ng [rpm]\n0,1\n")
        file.truncate(2**40)


def hole(path):
    with path.open("wb") as file:
        file.write(b"time [s],ng [rpm]\n0,1\n")
        file.truncate(2**30)


def only_odd_rows(path):
    path.write_bytes(b"time [s],ng [rpm]\n" + b"1\n" * 20_000_000)


def only_odd_cells(path):
    path.write_bytes(b"time [s],ng [rpm]\n0,1\n" + b"1,x\n" * 3_000_000)


def text_without_end(path):
    path.write_bytes(b"time,ng [rpm]\n" + b"23:59:59,1\n00:00:00,1\n" * 500_000)


def billions_of_rows(path):
    schema = pa.schema([("time [s]", pa.float64()), ("ng [rpm]", pa.float64())])
    same = pa.table([np.zeros(2_000_000)] * 2, schema=schema)
    with parquet.ParquetWriter(path, schema, compression="zstd") as writer:
        for _ in range(40):
            writer.write_table(same)


def one_long_text_in_every_row(path):
    text = pa.DictionaryArray.from_arrays(np.zeros(300_000, np.int32), ["x" * 1_000_000])
    parquet.write_table(pa.table({"time [s]": np.arange(300_000.0), "ng [rpm]": text}), path)


def deep_nesting(path):
    kind = pa.float64()
    for _ in range(20):
        kind = pa.list_(pa.struct([("a", kind)]))
    parquet.write_table(pa.table({"time [s]": [0.0], "ng [rpm]": pa.nulls(1, kind), "mgt [K]": [1.0]}), path)


def zeros_packed_small(path):
    options = pa.ipc.IpcWriteOptions(compression="zstd")
    table = pa.table({"time [s]": np.zeros(60_000_000), "ng [rpm]": pa.nulls(60_000_000, pa.bool_())})
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_stream(sink, table.schema, options=options) as stream:
        stream.write_table(table)


# text_without_end passes midnight in every second row; 2e7 s about the middle hold 231.5 days, two rows each.
HOSTILE = {
    endless_header: "first line is longer", endless_line: "a line is longer", many_columns: "400002 columns",
    enormous_hole: "bytes, the limit is", hole: "NUL", only_odd_rows: "do not have as many fields",
    only_odd_cells: "3000001 rows", text_without_end: "464 rows", billions_of_rows: "80000000 rows",
    one_long_text_in_every_row: "300000 rows", deep_nesting: "1 rows", zeros_packed_small: "60000000 rows",
}  # fmt: skip

READ = """
import sys
sys.path.insert(0, sys.argv[2])
from peak_memory import peak_bytes
from recording_fuzzer import CHANNELS
from spoolwright.errors import SpoolwrightError
from spoolwright.sources.reading import read_recording
try:
    print(read_recording(sys.argv[1], CHANNELS).rows, "rows")
except SpoolwrightError as error:
    print(error)
print(peak_bytes() // 2**20)
"""


def bounded():
    resource.setrlimit(resource.RLIMIT_AS, (4 * 2**30, 4 * 2**30))
    resource.setrlimit(resource.RLIMIT_CPU, (30, 30))


@pytest.mark.parametrize("make", HOSTILE, ids=lambda make: make.__name__)
def test_hostile_recordings(tmp_path, make):
    path = tmp_path / "run"
    make(path)
    command = [sys.executable, "-c", READ, str(path), str(FUZZER.parent)]
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=60, preexec_fn=bounded, check=False
    )
    path.unlink()
    assert done.returncode == 0, done.stderr[-3000:]
    told, megabytes = done.stdout.rsplit("\n", 2)[:2]
    assert HOSTILE[make] in told
    assert len(told) < 5000
    assert int(megabytes) < 1024
