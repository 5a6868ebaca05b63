"""MDF4, through asammdf (an optional package)."""

from __future__ import annotations

import logging
from contextlib import closing
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.errors import InputError, MissingExtra, SpoolwrightError
from spoolwright.sources.clock import TimeBase, zone_from
from spoolwright.sources.columns import Column, Taken, column_from, told_apart
from spoolwright.sources.loaded import Loaded, Task, header_facts
from spoolwright.sources.mdfblocks import check_blocks
from spoolwright.sources.notes import shown
from spoolwright.sources.tracks import Track, join_tracks

_MASTERS: Final = (2, 3)
_FIXED_LENGTH: Final = 0
_NUMBERS: Final = range(6)  # integers and reals, either byte order
_CONVERSIONS: Final = (0, 1, 2, 4, 5, 6)  # none, linear, rational, tables; not formulas given as text
_TO_TEXT: Final = 7  # from here on conversions give text; the number itself is kept
_IN_SECONDS: Final = 1


def load_mdf4(task: Task) -> Loaded:
    """The content of an MDF4 file.

    Raises
    ------
    InputError
        When it is damaged, has no channel on a clock, or is larger than the limits.
    MissingExtra
        When asammdf is not installed.
    """
    try:
        from asammdf import MDF
    except ImportError as error:
        raise MissingExtra(
            "reading MDF4 needs the package asammdf.", mend="Install it: pip install 'spoolwright[mdf]'"
        ) from error
    check_blocks(task.path, task.limits)
    logging.getLogger("asammdf").setLevel(logging.CRITICAL)  # what matters is told by errors and notes
    try:
        with closing(MDF(task.path)) as mdf:
            return _load(mdf, task)
    except SpoolwrightError:
        raise
    except MemoryError:
        raise
    except Exception as error:  # the library meets damage with whatever exception its code happens to hit
        told = shown(f"{type(error).__name__}: {error}", 200)
        raise InputError(f"it is damaged: {told}.", mend="Copy or export the recording again.") from error


def _load(mdf: Any, task: Task) -> Loaded:
    places, columns = _columns(mdf)
    plan = task.choose(columns, False)
    wanted: dict[int, list[tuple[Taken, int]]] = {}
    for taken in plan.taken:
        g, c = places[taken.column.position]
        if _can_be_read(mdf, g, c, taken, task):
            wanted.setdefault(g, []).append((taken, c))
    facts = header_facts(_facts(mdf), task.notes)
    tracks = [_track(mdf, g, chosen, task) for g, chosen in wanted.items()]
    return join_tracks(tracks, task, TimeBase(np.empty(0), _started_at(mdf, task, facts)), facts)


def _columns(mdf: Any) -> tuple[list[tuple[int, int]], list[Column]]:
    """Every channel that is no clock: its group and place, and its column."""
    places: list[tuple[int, int]] = []
    columns: list[Column] = []
    for g, group in enumerate(mdf.groups):
        for c, channel in enumerate(group.channels):
            if channel.channel_type not in _MASTERS:
                columns.append(column_from(len(columns), channel.name, _unit(channel)))
                places.append((g, c))
    names = [str(group.channel_group.acq_name or f"group {g + 1}") for g, group in enumerate(mdf.groups)]
    return places, told_apart(columns, [names[g] for g, _ in places])


def _unit(channel: Any) -> str:
    unit = channel.unit or (channel.conversion.unit if channel.conversion else "")
    return str(unit or "")


def _can_be_read(mdf: Any, g: int, c: int, taken: Taken, task: Task) -> bool:
    """Whether a channel is a number on a clock; if not, a note says why."""
    group = mdf.groups[g]
    channel = group.channels[c]
    master = mdf.masters_db.get(g)
    conversion = channel.conversion.conversion_type if channel.conversion else 0
    reach = channel.byte_offset + (channel.bit_offset + channel.bit_count + 7) // 8
    reason = ""
    if channel.channel_type != _FIXED_LENGTH or channel.data_type not in _NUMBERS:
        reason = "holds no numbers"
    elif group.channel_dependencies[c]:
        reason = "is an array or a structure"
    elif conversion < _TO_TEXT and conversion not in _CONVERSIONS:
        reason = "is converted by a formula in text, which is not run"
    elif reach > group.channel_group.samples_byte_nr:
        reason = "lies outside its record"
    elif master is None or group.channels[master].sync_type != _IN_SECONDS:
        reason = "has no clock"
    if reason:
        told = f"column '{shown(taken.column.heading)}' {reason}; it was left out."
        task.notes.add("not_numbers", told, taken.channel)
    return not reason


def _track(mdf: Any, g: int, chosen: list[tuple[Taken, int]], task: Task) -> Track:
    """The chosen channels of one group."""
    task.limits.check_values(int(mdf.groups[g].channel_group.cycles_nr), len(chosen))
    signals = mdf.select(
        [(None, g, c) for _, c in chosen], copy_master=False, ignore_value2text_conversions=True
    )
    track = Track(np.asarray(signals[0].timestamps, dtype=np.float64))
    for (taken, _), signal in zip(chosen, signals, strict=True):
        values: FloatArray = np.array(signal.samples, dtype=np.float64)
        if values.shape != track.seconds.shape:
            raise InputError(f"column '{shown(taken.column.heading)}' has another length than its clock.")
        if signal.invalidation_bits is not None:
            values[np.asarray(signal.invalidation_bits, dtype=bool)] = np.nan
        track.taken.append(taken)
        track.values.append(values)
    return track


def _facts(mdf: Any) -> list[tuple[str, str]]:
    header = mdf.header
    own = [
        (name, str(getattr(header, name, "") or ""))
        for name in ("author", "department", "project", "subject")
    ]
    more = getattr(header, "_common_properties", {})
    named = [(str(k), v) for k, v in more.items() if isinstance(v, str) and str(k) not in dict(own)]
    return [*own, *named, ("comment", str(header.description or ""))]


def _started_at(mdf: Any, task: Task, facts: dict[str, str]) -> datetime | None:
    """UTC at zero of the clocks; a header in local time needs the zone from elsewhere."""
    if not mdf.header.abs_time:
        return None
    try:
        start: datetime = mdf.header.start_time
        if start.tzinfo is not None:
            return start.astimezone(UTC)
        zone = task.zone(facts)
        if zone:
            return start.replace(tzinfo=zone_from(zone)).astimezone(UTC)
    except (OverflowError, ValueError, OSError):
        return None
    task.notes.add(
        "time_zone", f"the start {start.isoformat()} names no zone, so the start in UTC is unknown."
    )
    return None
