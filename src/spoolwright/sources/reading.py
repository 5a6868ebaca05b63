"""One reader for recordings in any of the formats."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.recording import FloatArray, Recording, Series
from spoolwright.errors import InputError, MissingExtra
from spoolwright.sources.arrowstream import load_arrow
from spoolwright.sources.channelmap import ChannelMap, channel_map_from
from spoolwright.sources.clock import moment_from
from spoolwright.sources.columns import ChannelSpec, Column, Plan, Taken, plan_columns
from spoolwright.sources.csvfile import load_csv
from spoolwright.sources.limits import Limits
from spoolwright.sources.loaded import Loaded, Task
from spoolwright.sources.mdf import load_mdf4
from spoolwright.sources.notes import Notes
from spoolwright.sources.parquet import load_parquet
from spoolwright.sources.sniff import Format, format_of, sha256_of
from spoolwright.sources.tdms import load_tdms

BoolArray = NDArray[np.bool_]

_LARGEST_READING: Final = 1e12
"""In any inner unit; a million bar is 1e11 Pa."""
_LONGEST_RUN: Final = 1e7
"""Seconds, from the middle of the recording: a row further off has no readable time."""

_LOADERS: Final[dict[Format, Callable[[Task], Loaded]]] = {
    "csv": load_csv,
    "parquet": load_parquet,
    "arrow": load_arrow,
    "mdf4": load_mdf4,
    "tdms": load_tdms,
}


def read_recording(
    path: str | Path,
    channels: Iterable[ChannelSpec],
    channel_map: ChannelMap | Mapping[str, Any] | None = None,
    limits: Limits | None = None,
) -> Recording:
    """A recording from a file in any of the formats, every channel in its inner unit.

    Parameters
    ----------
    path : str or Path
        CSV, Parquet, Arrow stream, MDF4 or TDMS file; the content tells which.
    channels : iterable of ChannelSpec
        The channels of the type file. Columns that are none of them are noted and not read.
    channel_map : ChannelMap or mapping, optional
        Names of the file's columns where they differ from the type file's.
    limits : Limits, optional
        Bounds on size.

    Raises
    ------
    InputError
        When the file is no readable recording; the message names the file, what is wrong and how to mend it.
    MissingExtra
        When the format needs an optional package that is not installed.
    """
    path, notes, limits = Path(path), Notes(), limits or Limits()
    specs = list(channels)
    names = channel_map if isinstance(channel_map, ChannelMap) else channel_map_from(channel_map or {})

    def choose(columns: Sequence[Column], time_needed: bool) -> Plan:
        limits.check_columns(len(columns))
        return plan_columns(columns, specs, names, notes, time_needed=time_needed)

    try:
        kind = format_of(path, limits)
        loaded = _LOADERS[kind](Task(path, choose, names, limits, notes))
        return _recording(path, loaded, notes)
    except (InputError, MissingExtra) as error:
        raise type(error)(error.what, mend=error.mend, where=path.name or str(path)) from error
    except OSError as error:
        raise InputError(f"it cannot be read: {error.strerror or error}.", where=path.name) from error
    except MemoryError as error:
        raise InputError(
            "it asks for more memory than there is.",
            mend="It may be damaged: export it again.",
            where=path.name,
        ) from error


def _recording(path: Path, loaded: Loaded, notes: Notes) -> Recording:
    seconds, placed = _placed(loaded.time.seconds, notes)
    series = {
        taken.channel: _series(taken, values if placed.all() else values[placed], notes)
        for taken, values in zip(loaded.plan.taken, loaded.values, strict=True)
    }
    return Recording(
        time=seconds - seconds[0],
        series=series,
        started_at=_started_at(loaded, float(seconds[0])),
        source_name=path.name.encode(errors="replace").decode(),  # a name need not be text
        source_sha256=sha256_of(path),
        attributes=loaded.attributes,
        notes=tuple(notes.taken),
    )


def _placed(seconds: FloatArray, notes: Notes) -> tuple[FloatArray, BoolArray]:
    """Times of the rows that a clock can have given, and which rows these are; the others are noted."""
    placed = np.isfinite(seconds)
    if placed.any():
        with np.errstate(over="ignore", invalid="ignore"):
            placed &= np.abs(seconds - np.median(seconds[placed])) <= _LONGEST_RUN
    if not placed.any():
        raise InputError("no row has a readable time.", mend="Check the time column and its unit.")
    if not placed.all():
        lost = np.flatnonzero(~placed)
        told = f"{lost.size} row(s) have no readable time and were left out, the first is row {lost[0] + 1}."
        notes.add("rows_left_out", told)
    return seconds[placed], placed


def _started_at(loaded: Loaded, first: float) -> datetime | None:
    """UTC of the first row, from its time stamp or else from the header."""
    if loaded.time.zero_at is None:
        return moment_from(loaded.attributes.get("started_at", ""))
    try:
        return loaded.time.zero_at + timedelta(seconds=first)
    except OverflowError:
        return None


def _series(taken: Taken, values: FloatArray, notes: Notes) -> Series:
    """A channel in its inner unit; what no instrument can read becomes NaN, with a note."""
    if (taken.factor, taken.offset) != (1.0, 0.0):
        with np.errstate(over="ignore", invalid="ignore"):
            values = values * taken.factor
            if taken.offset:
                values += taken.offset
    beyond = np.abs(values) > _LARGEST_READING
    if beyond.any():
        values = np.where(beyond, np.nan, values)
        lost = np.flatnonzero(beyond)
        first, last = int(lost[0]), int(lost[-1])
        told = f"column '{taken.column.heading}': {lost.size} cell(s) are infinite or so large that no "
        told += f"instrument reads it, the first in row {first + 1}. They are left empty."
        notes.add("unread_cells", told, taken.channel, (first, last))
    return Series(
        channel=taken.channel,
        values=values,
        entered_name=taken.column.name,
        entered_unit=taken.entered_unit,
        inner_unit=taken.inner_unit,
        unit_source=taken.unit_source,
    )
