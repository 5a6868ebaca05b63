"""Channels recorded on different clocks brought onto one, without making up a single value."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.recording import FloatArray
from spoolwright.errors import InputError
from spoolwright.sources.clock import TimeBase
from spoolwright.sources.columns import Plan, Taken
from spoolwright.sources.loaded import Loaded, Task
from spoolwright.sources.notes import listed


@dataclass
class Track:
    """Channels that share one clock."""

    seconds: FloatArray
    taken: list[Taken] = field(default_factory=list)
    values: list[FloatArray] = field(default_factory=list)


def join_tracks(tracks: list[Track], task: Task, time: TimeBase, facts: dict[str, str]) -> Loaded:
    """All tracks on the clock of the one with the most rows.

    A sample of another track goes to the row nearest in time if that is within half a step, else it is left
    out and counted; rows without a sample stay NaN. Nothing is interpolated.
    """
    tracks = [track for track in tracks if track.taken and track.seconds.size]
    if not tracks:
        raise InputError("it holds no rows of any channel.", mend="Export it again.")
    base = max(tracks, key=lambda track: track.seconds.size)
    taken, values = list(base.taken), list(base.values)
    for track in tracks:
        if track is not base:
            placed = _placed(track, base.seconds, task)
            task.limits.check_values(base.seconds.size, len(taken) + len(placed))
            taken += track.taken if placed else []
            values += placed
    return Loaded(Plan(None, "s", tuple(taken)), TimeBase(base.seconds, time.zero_at), values, facts)


def _placed(track: Track, clock: FloatArray, task: Task) -> list[FloatArray]:
    """A track's values on another clock; empty when the clock does not run forward throughout."""
    names = listed([taken.column.heading for taken in track.taken], 8)
    if np.array_equal(track.seconds, clock, equal_nan=True):
        return track.values
    steps = np.diff(clock)
    if clock.size < 2 or not (steps > 0).all() or not np.isfinite(track.seconds).all():
        told = "the main clock runs backwards or stands still, so nothing can be brought onto it"
        task.notes.add(
            "time_bases", f"{names} were recorded on a clock of their own; {told}. They were left out."
        )
        return []
    after = np.clip(np.searchsorted(clock, track.seconds), 1, clock.size - 1)
    rows = after - (track.seconds - clock[after - 1] < clock[after] - track.seconds)
    shift = np.abs(track.seconds - clock[rows])
    near = shift <= 0.5 * float(np.median(steps)) * (1 + 1e-9)
    _, first = np.unique(rows[near], return_index=True)
    kept = np.flatnonzero(near)[first]
    lost = track.seconds.size - kept.size
    moved = float(shift[kept].max()) if kept.size else 0.0
    told = f"{names} were recorded on a clock of their own: {kept.size} samples placed on the main clock"
    task.notes.add("time_bases", f"{told}, moved by at most {moved:.6g} s, {lost} left out.")
    return [_at_rows(values[kept], rows[kept], clock.size) for values in track.values]


def _at_rows(values: FloatArray, rows: NDArray[np.intp], size: int) -> FloatArray:
    out = np.full(size, np.nan)
    out[rows] = values
    return out
