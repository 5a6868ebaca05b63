"""Traces thinned for drawing. The lowest and highest row of every few rows are kept, so no peak is lost."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.recording import Recording
from spoolwright.core.reduction.trace import forward_rows
from spoolwright.crafts.testcell.model import Strip
from spoolwright.crafts.typefile.model import Channel, TypeFile
from spoolwright.units import unit_of

FloatArray = NDArray[np.float64]

MOST = 1500
"""Points a channel."""
_SILENCE = 2.0
"""A longer time without rows breaks the line [s]."""


def strips_of(
    recording: Recording,
    type_file: TypeFile,
    run: str,
    channels: Iterable[str] | None = None,
    most: int = MOST,
) -> tuple[Strip, ...]:
    """Traces of the recorded channels in the order of the type file; all of them, or those named."""
    wanted = None if channels is None else set(channels)
    rows = forward_rows(recording.time)
    order = None if rows.all() else np.flatnonzero(rows)
    time = recording.time if order is None else recording.time[order]
    out = []
    for channel in type_file.channel:
        if channel.id in recording.series and (wanted is None or channel.id in wanted):
            values = recording[channel.id]
            out.append(_strip(channel, run, time, values if order is None else values[order], most))
    return tuple(out)


def _strip(channel: Channel, run: str, time: FloatArray, values: FloatArray, most: int) -> Strip:
    unit = unit_of(channel.unit, channel.dimension)
    t, x = _broken(*thinned(time, values, most), _SILENCE)
    shown = (x - unit.offset) / unit.factor
    known = np.isfinite(shown)
    return Strip(
        run=run,
        channel=channel.id,
        name=channel.name,
        unit=channel.unit,
        time_s=tuple(t.tolist()),
        values=tuple(v if k else None for v, k in zip(shown.tolist(), known.tolist(), strict=True)),
    )


def thinned(time: FloatArray, values: FloatArray, most: int) -> tuple[FloatArray, FloatArray]:
    """Times and values of the lowest and highest row of every few rows; all rows where they are few."""
    if time.size <= most:
        return time, values
    bins = max(most // 2, 1)
    size = -(-time.size // bins)
    padded = np.full(size * bins, np.nan)
    padded[: time.size] = np.where(np.isfinite(values), values, np.nan)
    table = padded.reshape(bins, size)
    unknown = np.isnan(table)
    low = np.where(unknown, np.inf, table).argmin(axis=1)
    high = np.where(unknown, -np.inf, table).argmax(axis=1)
    first = np.arange(bins) * size
    picked = np.sort(np.stack([first + low, first + high], axis=1), axis=1).ravel()
    picked = np.unique(picked[picked < time.size])
    return time[picked], padded[picked]


def _broken(time: FloatArray, values: FloatArray, silence: float) -> tuple[FloatArray, FloatArray]:
    """The line with an unknown point in every silence, so that nothing is drawn across it."""
    if time.size < 2:
        return time, values
    steps = np.diff(time)
    gaps = np.flatnonzero(steps > max(silence, 20.0 * float(np.median(steps))))
    return (
        np.insert(time, gaps + 1, 0.5 * (time[gaps] + time[gaps + 1])),
        np.insert(values, gaps + 1, np.nan),
    )
