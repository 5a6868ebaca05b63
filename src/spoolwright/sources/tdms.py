"""TDMS, through npTDMS (an optional package)."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.errors import InputError, MissingExtra, SpoolwrightError
from spoolwright.sources.clock import TimeBase, time_from_numbers
from spoolwright.sources.columns import Column, Taken, column_from, names_time, told_apart
from spoolwright.sources.loaded import Loaded, Task, header_facts
from spoolwright.sources.notes import shown
from spoolwright.sources.tracks import Track, join_tracks

_UNIT_KEYS: Final = ("unit_string", "unit", "NI_UnitDescription")


@dataclass(frozen=True)
class _Clock:
    """When the samples of a channel were taken."""

    start: datetime | None
    offset: float = 0.0
    increment: float = 0.0
    channel: Any = None
    unit: str = ""


def load_tdms(task: Task) -> Loaded:
    """The content of a TDMS file.

    Raises
    ------
    InputError
        When it is damaged, has no channel on a clock, or is larger than the limits.
    MissingExtra
        When npTDMS is not installed.
    """
    try:
        from nptdms import TdmsFile
        from nptdms.log import log_manager
    except ImportError as error:
        raise MissingExtra(
            "reading TDMS needs the package npTDMS.", mend="Install it: pip install 'spoolwright[tdms]'"
        ) from error
    log_manager.set_level(logging.CRITICAL)  # errors and notes tell what matters
    try:
        # An open file, not a path: with a path the library would trust an index file lying beside it.
        with task.path.open("rb") as raw, TdmsFile.open(raw) as file:
            return _load(file, task)
    except (SpoolwrightError, MemoryError):
        raise
    except Exception as error:  # the library meets damage with whatever exception its code happens to hit
        told = shown(f"{type(error).__name__}: {error}", 200)
        raise InputError(f"it is damaged: {told}.", mend="Copy or export the recording again.") from error


def _load(file: Any, task: Task) -> Loaded:
    channels = [channel for group in file.groups() for channel in group.channels()]
    task.limits.check_columns(len(channels))
    columns = [column_from(i, channel.name, _unit(channel)) for i, channel in enumerate(channels)]
    clocks = {column.position: channels[column.position] for column in columns if _is_time(column, task)}
    columns = told_apart(columns, [channel.group_name for channel in channels])
    plan = task.choose([column for column in columns if column.position not in clocks], False)
    wanted: dict[tuple[_Clock, int], list[Taken]] = {}
    for taken in plan.taken:
        channel = channels[taken.column.position]
        clock = _clock(channel, [c for c in clocks.values() if c.group_name == channel.group_name])
        if _can_be_read(channel, clock, taken, task) and clock is not None:
            wanted.setdefault((clock, len(channel)), []).append(taken)
    if file.file_status.incomplete_final_segment:
        task.notes.add("cut_short", "the last segment is cut; what it holds was read as far as it goes.")
    starts = [clock.start for clock, _ in wanted if clock.start]
    zero = min(starts, default=None)
    tracks = [_track(clock, length, taken, channels, zero, task) for (clock, length), taken in wanted.items()]
    facts = header_facts([(k, str(v)) for k, v in file.properties.items()], task.notes)
    return join_tracks(tracks, task, TimeBase(np.empty(0), zero), facts)


def _unit(channel: Any) -> str:
    return next((str(channel.properties[key]) for key in _UNIT_KEYS if key in channel.properties), "")


def _is_time(column: Column, task: Task) -> bool:
    wanted = task.channel_map.time_column
    return wanted in (column.heading, column.name) if wanted else names_time(column)


def _clock(channel: Any, in_group: list[Any]) -> _Clock | None:
    """A time channel of the group, or else the channel's own waveform properties."""
    for time in in_group:
        if len(time) == len(channel) > 0:
            start = _moment(time[0]) if time.dtype.kind == "M" else None
            return _Clock(start, channel=time, unit=_unit(time))
    increment = channel.properties.get("wf_increment")
    if not isinstance(increment, (int, float)) or not 0 < increment < 1e9:
        return None
    offset = channel.properties.get("wf_start_offset", 0.0)
    offset = float(offset) if isinstance(offset, (int, float)) and abs(offset) < 1e12 else 0.0
    return _Clock(_moment(channel.properties.get("wf_start_time")), offset, float(increment))


def _moment(stamp: Any) -> datetime | None:
    """A time stamp as UTC, in which TDMS always keeps them."""
    if not isinstance(stamp, np.datetime64) or np.isnat(stamp):
        return None
    moment = stamp.astype("datetime64[us]").item()
    return moment.replace(tzinfo=UTC) if isinstance(moment, datetime) else None


def _can_be_read(channel: Any, clock: _Clock | None, taken: Taken, task: Task) -> bool:
    """Whether a channel is numbers on a clock; if not, a note says why."""
    reason = ""
    if channel.dtype.kind not in "fiub":
        reason = f"holds {shown(str(channel.dtype))}, not numbers"
    elif clock is None:
        reason = "has no clock (neither a time channel of its length nor wf_increment)"
    if reason:
        told = f"column '{shown(taken.column.heading)}' {reason}; it was left out."
        task.notes.add("not_numbers", told, taken.channel)
    return not reason


def _track(
    clock: _Clock, length: int, chosen: list[Taken], channels: list[Any], zero: datetime | None, task: Task
) -> Track:
    """Channels of one clock."""
    task.limits.check_values(length, len(chosen) + 1)
    if length > task.path.stat().st_size:
        raise InputError(f"it is damaged: it promises {length} rows in fewer bytes.")
    shift = (clock.start - zero).total_seconds() if clock.start and zero else 0.0
    if clock.channel is None:
        seconds = shift + clock.offset + clock.increment * np.arange(length, dtype=np.float64)
    else:
        seconds = shift + _seconds(clock, task)
    track = Track(np.asarray(seconds, dtype=np.float64))
    for taken in chosen:
        track.taken.append(taken)
        with np.errstate(all="ignore"):
            track.values.append(np.array(channels[taken.column.position][:], dtype=np.float64))
    return track


def _seconds(clock: _Clock, task: Task) -> FloatArray:
    """A time channel as seconds."""
    times = clock.channel[:]
    if times.dtype.kind == "M":
        return np.asarray((times - times[0]) / np.timedelta64(1, "s"), dtype=np.float64)
    values = np.array(times, dtype=np.float64)
    unit = task.channel_map.time_unit or clock.unit
    return time_from_numbers(values, unit, clock.channel.name, task.notes).seconds
