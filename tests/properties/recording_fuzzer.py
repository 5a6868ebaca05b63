"""Reads damaged recordings in a process of its own: `recording_fuzzer.py FORMAT FIRST COUNT FOLDER`.

Whole recordings in the format are made by general libraries, then bytes are flipped, cut out, put in, moved
or overwritten with telling numbers. Whatever comes out must be a recording or one of the project's errors.
Tells as JSON how it went.
"""

import io
import json
import random
import resource
import sys
import tempfile
import time
import traceback
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from peak_memory import peak_bytes

from spoolwright.core.measurement.recording import Recording
from spoolwright.errors import SpoolwrightError
from spoolwright.sources.reading import read_recording

ROWS = 40
TIME = np.arange(ROWS) * 0.05
SPEED = 30_000 + np.arange(ROWS) * 1.5
CHANNELS = [
    SimpleNamespace(id="ng", name="Ng", dimension="speed", unit="rpm", aliases=(), full_scale=40_000.0),
    SimpleNamespace(id="mgt", name="T45", dimension="temperature", unit="degC", aliases=(), full_scale=None),
]


def csv_files():
    lines = [f"{t},{v},{v / 30}\n" for t, v in zip(TIME, SPEED, strict=True)]
    yield ("# serial: x\ntime [s],ng [rpm],mgt [K]\n" + "".join(lines)).encode()
    rows = [f'2026-03-01T10:00:{i:02d},5Z;{v:.3f};"{i}"\n'.replace(".", ",") for i, v in enumerate(SPEED)]
    yield ("time;ng [rpm];mgt [°C]\n" + "".join(rows)).encode("latin-1")
    yield ("time\tng [%]\n" + "".join(f"10:00:{i:02d}\t{v}\n" for i, v in enumerate(SPEED))).encode("utf-16")
    yield ("time,ng,mgt\ns,rpm,K\n" + "".join(lines)).encode("utf-8-sig")


def tables():
    import pyarrow as pa

    yield pa.table({"time [s]": TIME, "ng [rpm]": SPEED, "mgt [K]": SPEED / 30})
    start = datetime(2026, 3, 1)
    yield pa.table(
        {
            "time": pa.array(
                [start + timedelta(seconds=t) for t in TIME.tolist()], pa.timestamp("ns", "UTC")
            ),
            "ng [rpm]": pa.array([str(v) for v in SPEED]).dictionary_encode(),
            "mgt [K]": pa.array([None if i % 3 else i for i in range(ROWS)], pa.int32()),
        }
    )
    yield pa.table({"time": [f"10:00:{i:02d}" for i in range(ROWS)], "ng [rpm]": [str(v) for v in SPEED]})


def parquet_files():
    from pyarrow import parquet

    for table in tables():
        for how in ({"compression": "zstd", "use_dictionary": False}, {"compression": "none"}):
            sink = io.BytesIO()
            parquet.write_table(table, sink, **how)
            yield sink.getvalue()


def arrow_files():
    import pyarrow as pa

    for table in tables():
        for compression in (None, "zstd", "lz4"):
            sink = io.BytesIO()
            options = pa.ipc.IpcWriteOptions(compression=compression)
            with pa.ipc.new_stream(sink, table.schema, options=options) as stream:
                stream.write_table(table, max_chunksize=10)
            yield sink.getvalue()


def mdf4_files():
    from asammdf import MDF, Signal

    for version, compression in (("4.10", 0), ("4.10", 2), ("4.20", 1)):
        with MDF(version=version) as mdf, tempfile.TemporaryDirectory() as folder:
            speed = Signal(SPEED, TIME, name="ng", unit="rpm")
            gas = Signal(
                (SPEED / 30).astype("i2"), TIME, name="mgt", unit="K", conversion={"a": 0.5, "b": 1.0}
            )
            words = Signal(np.array([b"ab"] * ROWS), TIME, name="words", encoding="utf-8")
            mdf.append([speed, gas, words])
            mdf.append([Signal(SPEED[:10], TIME[::4], name="slow", unit="K")])
            mdf.save(f"{folder}/run.mf4", compression=compression)
            yield Path(f"{folder}/run.mf4").read_bytes()


def tdms_files():
    from nptdms import ChannelObject, RootObject, TdmsWriter

    wave = {"wf_increment": 0.05, "unit_string": "rpm", "wf_start_time": np.datetime64("2026-03-01")}
    gas = {**wave, "unit_string": "K"}
    for segments in (1, 3):
        sink = io.BytesIO()
        with TdmsWriter(sink) as writer:
            for _ in range(segments):
                writer.write_segment(
                    [
                        RootObject({"serial": "x"}),
                        ChannelObject("run", "ng", SPEED, wave),
                        ChannelObject("run", "mgt", SPEED.astype("f4"), gas),
                        ChannelObject("run", "words", ["a", "b"]),
                        ChannelObject("slow", "Time", TIME[::4]),
                    ]
                )
        yield sink.getvalue()


TELLING = [0, 1, 7, 2**31 - 1, 2**31, 2**32 - 1, 2**40, 2**62, 2**63 - 1, 2**64 - 1]


def mutated(whole: bytes, dice: random.Random) -> bytes:
    """A file with a few things wrong."""
    data = bytearray(whole)
    for _ in range(dice.choice([1, 1, 1, 2, 4, 16])):
        if not data:
            break
        at, length = dice.randrange(len(data)), dice.choice([1, 4, 8, 64])
        match dice.randrange(8):
            case 0:
                data[at] ^= 1 << dice.randrange(8)
            case 1:
                data[at] = dice.randrange(256)
            case 2:
                del data[at:]
            case 3:
                del data[at : at + length]
            case 4:
                data[at:at] = dice.randbytes(length)
            case 5:
                data[at : at + 8] = dice.choice([*TELLING, dice.randrange(len(data))]).to_bytes(8, "little")
            case 6:
                data[at : at + 4] = (dice.choice([*TELLING, at]) % 2**32).to_bytes(4, "little")
            case 7:
                other = dice.randrange(len(data))
                data[at : at + length] = data[other : other + length]
    return bytes(data)


def read_many(format: str, first: int, count: int, folder: Path) -> dict:
    """Reads so many damaged files; tells how many still were recordings, the slowest, and what went wrong."""
    wholes = list(globals()[f"{format}_files"]())
    path = folder / f"run.{format}"
    recordings, slowest, problems = 0, 0.0, []
    for number in range(first, first + count):
        dice = random.Random(number)
        path.write_bytes(mutated(dice.choice(wholes), dice))
        start = time.perf_counter()
        try:
            recording = read_recording(path, CHANNELS)
            assert isinstance(recording, Recording)
            assert all(s.values.shape == recording.time.shape for s in recording.series.values())
            assert np.isfinite(recording.time).all()
            assert not any(np.isinf(s.values).any() for s in recording.series.values())
            recordings += 1
        except SpoolwrightError as error:
            assert error.where == path.name, error
        except BaseException:
            problems.append(f"number {number}: {traceback.format_exc()}")
        slowest = max(slowest, time.perf_counter() - start)
    memory = peak_bytes()
    return {"recordings": recordings, "slowest": slowest, "memory": memory, "problems": problems[:5]}


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (8 * 2**30, 8 * 2**30))
    kind, first, count, folder = sys.argv[1:]
    print(json.dumps(read_many(kind, int(first), int(count), Path(folder))))
