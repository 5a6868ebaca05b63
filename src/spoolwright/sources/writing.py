"""One writer for recordings in any of the formats."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.errors import InputError, MissingExtra, OutputError
from spoolwright.sources.csvwriting import CsvStyle, write_csv
from spoolwright.sources.sniff import Format
from spoolwright.sources.tablewriting import write_arrow, write_mdf4, write_parquet, write_tdms
from spoolwright.sources.written import Written, WrittenColumn
from spoolwright.units import INNER_UNIT, Unit, unit_named

Precision = Literal["float64", "float32"]

_WRITERS: Final[dict[str, Callable[[Written, Path], None]]] = {
    "parquet": write_parquet,
    "arrow": write_arrow,
    "mdf4": write_mdf4,
    "tdms": write_tdms,
}


@dataclass(frozen=True)
class _Choice:
    units: Mapping[str, str]
    precision: Precision


def write_recording(
    recording: Recording,
    path: str | Path,
    format: Format,
    *,
    units: Mapping[str, str] | None = None,
    precision: Precision = "float64",
    style: CsvStyle | None = None,
) -> None:
    """Write a recording; the file appears whole or not at all.

    Parameters
    ----------
    recording : Recording
        What to write. Columns carry the entered names, or the channel ids where those are not unique.
    path : str or Path
        Where to.
    format : {"csv", "parquet", "arrow", "mdf4", "tdms"}
        In which format.
    units : mapping, optional
        Channel id to unit. Others are written in the unit they were entered in, or else in the inner unit.
    precision : {"float64", "float32"}
        Width of the values; time is always float64. With float64 and inner units they read back bit for bit.
    style : CsvStyle, optional
        How a CSV file is written.

    Raises
    ------
    OutputError
        When the file cannot be written or a unit does not suit its channel.
    MissingExtra
        When the format needs an optional package that is not installed.
    """
    path = Path(path)
    part = path.with_name(f".{path.name}.part{'.mf4' if format == 'mdf4' else ''}")
    written = _written(recording, _Choice(units or {}, precision))
    try:
        if format == "csv":
            write_csv(written, part, style or CsvStyle())
        else:
            _WRITERS[format](written, part)
        os.replace(part, path)
    except OSError as error:
        raise OutputError(
            f"it cannot be written: {error.strerror or error}.", mend="Check the folder.", where=path.name
        ) from error
    except UnicodeEncodeError as error:
        raise OutputError(
            f"'{error.object[error.start]}' cannot be written as {error.encoding}.",
            mend="Use UTF-8.",
            where=path.name,
        ) from error
    except MissingExtra as error:
        raise MissingExtra(error.what, mend=error.mend, where=path.name) from error
    finally:
        part.unlink(missing_ok=True)


def _written(recording: Recording, choice: _Choice) -> Written:
    counts = Counter(series.entered_name for series in recording.series.values())
    columns = [
        _column(series, counts[series.entered_name] == 1, choice) for series in recording.series.values()
    ]
    return Written(recording.time, columns, recording.started_at, dict(recording.attributes))


def _column(series: Series, name_is_unique: bool, choice: _Choice) -> WrittenColumn:
    unit = _unit(series, choice.units.get(series.channel, ""))
    values = series.values
    if (unit.factor, unit.offset) != (1.0, 0.0):
        values = (values - unit.offset) / unit.factor
    name = series.entered_name if series.entered_name and name_is_unique else series.channel
    return WrittenColumn(name, unit.name, np.ascontiguousarray(values, dtype=np.dtype(choice.precision)))


def _unit(series: Series, wanted: str) -> Unit:
    """The wanted unit, else the entered one if it converts by itself (per cent of full scale does not)."""
    inner = Unit(series.inner_unit, "", 1.0)
    for text in (wanted, series.entered_unit):
        if not text:
            continue
        try:
            unit = unit_named(text)
        except InputError as error:
            if wanted:
                raise OutputError(f"channel '{series.channel}': {error.what}", mend=error.mend) from error
            continue
        if INNER_UNIT[unit.dimension] == series.inner_unit:
            return unit
        if wanted:
            told = f"unit '{text}' does not suit channel '{series.channel}', which is in {series.inner_unit}."
            raise OutputError(told, mend="Choose a unit of the channel's dimension.")
    return inner
