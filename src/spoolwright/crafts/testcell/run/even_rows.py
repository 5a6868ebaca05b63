"""Rows of a window at equal intervals, as averaging needs them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spoolwright.crafts.testcell.run.run_data import RunData

FloatArray = NDArray[np.float64]


def even_rows(
    data: RunData, channels: Sequence[str], from_s: float, to_s: float, *, as_recorded: bool = False
) -> FloatArray:
    """Values of channels within a time, shape (rows, channels); a row that is missing stands as NaN."""
    rows = data.rows(from_s, to_s)
    read = data.values_as_recorded if as_recorded else data.values
    values = [read(c)[rows] for c in channels]
    time = data.time[rows]
    if time.size < 2 or not values:
        return np.array(values, dtype=float).reshape(len(channels), time.size).T
    place = np.rint((time - time[0]) / data.step).astype(np.int64)
    if place[-1] == time.size - 1 and np.all(np.diff(place) == 1):
        return np.stack(values, axis=1)
    size = int(min(place[-1] + 1, 4 * time.size + 16))
    inside = place < size
    out = np.full((size, len(channels)), np.nan)
    out[place[inside]] = np.stack(values, axis=1)[inside]
    return out
