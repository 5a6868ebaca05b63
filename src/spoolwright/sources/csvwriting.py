"""Recordings written as delimited text, in the variants that loggers and spreadsheets produce."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np

from spoolwright.errors import OutputError
from spoolwright.sources.written import Written, arrow_array

_ROWS: Final = 16_384
_DAY_US: Final = 86_400_000_000


@dataclass(frozen=True)
class CsvStyle:
    """How a CSV file is written.

    Parameters
    ----------
    delimiter : str
        Between cells.
    decimal : str
        Decimal mark; a comma needs another delimiter.
    encoding : str
        `utf-8`, `latin-1`, `utf-16-le` or `utf-16-be`; the latter two get a byte order mark.
    bom : bool
        Whether UTF-8 gets one too.
    time : {"seconds", "stamps", "time of day"}
        How time is written. The latter two need the recording's start; both are rounded to a microsecond.
    decimals : int, optional
        Values are rounded to so many decimals; left out, they keep all digits.
    unit_row : bool
        Units in a line of their own instead of `name [unit]`.
    """

    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    bom: bool = False
    time: Literal["seconds", "stamps", "time of day"] = "seconds"
    decimals: int | None = None
    unit_row: bool = False


def write_csv(written: Written, path: Path, style: CsvStyle) -> None:
    """Write delimited text.

    Raises
    ------
    OutputError
        When delimiter and decimal mark are the same, or the start is needed and not known.
    """
    if style.delimiter == style.decimal:
        raise OutputError("delimiter and decimal mark are the same.", mend="Use ';' with a decimal comma.")
    with path.open("wb") as file:
        if style.bom or style.encoding.startswith("utf-16"):
            file.write("\ufeff".encode(style.encoding))
        file.write(_head(written, style).encode(style.encoding))
        for block in _blocks(written, style):
            file.write(block if style.encoding == "utf-8" else block.decode("ascii").encode(style.encoding))


def _head(written: Written, style: CsvStyle) -> str:
    """Header facts and header line."""
    out = io.StringIO()
    for key, value in written.facts().items():
        out.write(f"# {key}: {value}\n")
    rows = csv.writer(out, delimiter=style.delimiter, lineterminator="\n")
    names = ["time", *(column.name for column in written.columns)]
    units = ["s" if style.time == "seconds" else "", *(column.unit for column in written.columns)]
    if style.unit_row:
        rows.writerows([names, units])
    else:
        rows.writerow([f"{name} [{unit}]" if unit else name for name, unit in zip(names, units, strict=True)])
    return out.getvalue()


def _blocks(written: Written, style: CsvStyle) -> Iterator[bytes]:
    """Rows as text, so many at a time. Arrow writes the shortest digits that read back to the same number."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    names = [f"c{i}" for i in range(len(written.columns) + 1)]
    options = arrow_csv.WriteOptions(include_header=False, delimiter=style.delimiter, quoting_style="none")
    for start in range(0, written.time.size, _ROWS):
        rows = slice(start, start + _ROWS)
        arrays = [_time(written, style, rows)]
        for column in written.columns:
            values = column.values[rows]
            arrays.append(arrow_array(values if style.decimals is None else np.round(values, style.decimals)))
        sink = pa.BufferOutputStream()
        arrow_csv.write_csv(pa.RecordBatch.from_arrays(arrays, names), sink, options)
        text = sink.getvalue().to_pybytes().replace(b"nan", b"")
        yield text.replace(b".", b",") if style.decimal == "," else text


def _time(written: Written, style: CsvStyle, rows: slice) -> Any:
    import pyarrow as pa

    seconds = written.time[rows]
    if style.time == "seconds":
        return arrow_array(seconds)
    if written.started_at is None:
        raise OutputError("the recording's start is not known.", mend="Write time in seconds.")
    start = int(np.datetime64(written.started_at.replace(tzinfo=None), "us").astype(np.int64))
    ticks = start + np.rint(seconds * 1e6).astype(np.int64)
    if style.time == "stamps":
        return arrow_array(ticks, pa.timestamp("us", "UTC"))
    return arrow_array(ticks % _DAY_US, pa.time64("us"))
