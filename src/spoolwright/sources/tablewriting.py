"""Recordings written as Parquet, Arrow stream, MDF4 and TDMS."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np

from spoolwright.errors import MissingExtra
from spoolwright.sources.written import Written, arrow_array

_ROW_GROUP: Final = 65_536
_LIVE_ROWS: Final = 1_024


def _table(written: Written) -> Any:
    """An Arrow table; units in the fields' metadata, facts in the schema's."""
    import pyarrow as pa

    arrays = [arrow_array(written.time), *(arrow_array(column.values) for column in written.columns)]
    names = [("time", "s"), *((column.name, column.unit) for column in written.columns)]
    fields = [
        pa.field(name, array.type, metadata={"unit": unit})
        for (name, unit), array in zip(names, arrays, strict=True)
    ]
    return pa.table(arrays, schema=pa.schema(fields, metadata=written.facts()))


def write_parquet(written: Written, path: Path) -> None:
    """Parquet, zstd over byte-stream split: samples of slowly moving channels share their high bytes."""
    from pyarrow import parquet

    parquet.write_table(
        _table(written),
        path,
        row_group_size=_ROW_GROUP,
        compression="zstd",
        use_dictionary=False,
        use_byte_stream_split=True,
    )


def write_arrow(written: Written, path: Path) -> None:
    """An Arrow stream in short batches, so that a cut one loses little."""
    import pyarrow as pa

    table = _table(written)
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table, max_chunksize=_LIVE_ROWS)


def write_mdf4(written: Written, path: Path) -> None:
    """MDF 4.10, one group, compressed."""
    try:
        from asammdf import MDF, Signal
    except ImportError as error:
        raise MissingExtra(
            "writing MDF4 needs the package asammdf.", mend="Install it: pip install 'spoolwright[mdf]'"
        ) from error
    with MDF(version="4.10") as mdf:
        signals = [Signal(c.values, written.time, name=c.name, unit=c.unit) for c in written.columns]
        mdf.append(signals, common_timebase=True)
        if written.started_at is not None:
            mdf.header.start_time = written.started_at
        else:
            mdf.header.abs_time = 0
        mdf.header._common_properties.update(written.attributes)
        mdf.save(path, overwrite=True, compression=2)


def write_tdms(written: Written, path: Path) -> None:
    """TDMS, one group with a time channel."""
    try:
        from nptdms import ChannelObject, GroupObject, RootObject, TdmsWriter
    except ImportError as error:
        raise MissingExtra(
            "writing TDMS needs the package npTDMS.", mend="Install it: pip install 'spoolwright[tdms]'"
        ) from error
    group = "recording"
    objects = [RootObject(written.facts()), GroupObject(group)]
    objects.append(ChannelObject(group, "time", np.asarray(written.time), {"unit_string": "s"}))
    objects += [ChannelObject(group, c.name, c.values, {"unit_string": c.unit}) for c in written.columns]
    with TdmsWriter(str(path)) as writer:
        writer.write_segment(objects)
