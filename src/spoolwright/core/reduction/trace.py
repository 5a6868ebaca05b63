"""A recording's speed, load and temperature on an even clock, fit for finding what happened in a run."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_MOST_ROWS = 20
"""Rows of the even clock for each recorded row: a lone far-off time stamp must not fill the memory."""


@dataclass(frozen=True)
class Trace:
    """Channels on an even clock. A stretch without rows stays marked as not known.

    Parameters
    ----------
    time : array, shape (n,)
        Even clock, same zero as the recording [s].
    values : dict of array, shape (n,)
        Role or channel to values, spikes of up to two rows taken out; NaN inside a gap [inner unit].
    step : float
        Clock step [s].
    """

    time: FloatArray
    values: dict[str, FloatArray]
    step: float

    def __contains__(self, name: str) -> bool:
        return name in self.values

    def __getitem__(self, name: str) -> FloatArray:
        return self.values[name]

    def index(self, time: float) -> int:
        """First row at or after a moment; the number of rows when there is none.

        Parameters
        ----------
        time : float
            Moment [s].

        Returns
        -------
        int
            Row [-].
        """
        return int(np.searchsorted(self.time, time, side="left"))

    def rows(self, seconds: float) -> int:
        """Rows in a length of time, at least one.

        Parameters
        ----------
        seconds : float
            Length [s].

        Returns
        -------
        int
            Number of rows [-].
        """
        return max(1, round(seconds / self.step))

    def slope(self, name: str, window: float) -> FloatArray:
        """Least-squares slope over a centred window.

        Parameters
        ----------
        name : str
            Role or channel [-].
        window : float
            Length of the window [s].

        Returns
        -------
        array, shape (n,)
            Slope; NaN where the window touches a gap [inner unit per second].

        Notes
        -----
        The slope of a line fitted to evenly spaced rows is sum(t x) / sum(t^2), t counted from the middle
        (Savitzky and Golay, Anal. Chem. 36 (1964) 1627, first derivative of a linear fit). At either end the
        last value is taken to go on.
        """
        half = max(1, round(window / self.step / 2))
        t = np.arange(-half, half + 1, dtype=np.float64)
        x = np.pad(self.values[name], half, mode="edge")
        kernel = t[::-1] / np.sum(t**2) / self.step
        return np.convolve(x, kernel, mode="valid")

    def smooth(self, name: str, window: float) -> FloatArray:
        """Running mean over a centred window, of the rows that are known.

        Parameters
        ----------
        name : str
            Role or channel [-].
        window : float
            Length of the window [s].

        Returns
        -------
        array, shape (n,)
            Running mean; NaN where the middle row is not known [inner unit].
        """
        return running_mean(self.values[name], max(1, round(window / self.step)))


def running_mean(x: FloatArray, rows: int) -> FloatArray:
    """Running mean over a centred window, of the rows that are known.

    Parameters
    ----------
    x : array, shape (n,)
        Values; NaN where not known [inner unit].
    rows : int
        Length of the window; an even number counts as the odd one above it [-].

    Returns
    -------
    array, shape (n,)
        Running mean; NaN where the middle row is not known [inner unit].
    """
    half = rows // 2
    if half == 0 or x.size == 0:
        return x
    known = np.isfinite(x)
    base = float(x[known][0]) if known.any() else 0.0  # keeps digits when a large mean carries little scatter
    total = np.concatenate(([0.0], np.cumsum(np.where(known, x - base, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    at = np.arange(x.size)
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, x.size)
    mean = base + (total[high] - total[low]) / np.maximum(count[high] - count[low], 1)
    return np.where(known, mean, np.nan)


def forward_rows(time: FloatArray) -> BoolArray:
    """The most rows whose stamps only run forward; the others stay out of anything that needs order.

    Parameters
    ----------
    time : array, shape (rows,)
        Recorded time stamps [s].

    Returns
    -------
    array of bool, shape (rows,)
        True for rows in forward order [-].

    Notes
    -----
    Longest strictly increasing subsequence (Schensted, Canad. J. Math. 13 (1961) 179): a single stamp far in
    the future costs one row, not all that follow it.
    """
    known = np.isfinite(time)
    stamps = time[known]
    if stamps.size < 2 or np.all(np.diff(stamps) > 0.0):
        return known
    tails: list[float] = []
    rows: list[int] = []
    before = np.full(stamps.size, -1)
    for i, stamp in enumerate(stamps.tolist()):
        k = bisect_left(tails, stamp)
        if k == len(tails):
            tails.append(stamp)
            rows.append(i)
        else:
            tails[k] = stamp
            rows[k] = i
        before[i] = rows[k - 1] if k else -1
    keep = np.zeros(stamps.size, dtype=bool)
    at = rows[-1]
    while at >= 0:
        keep[at] = True
        at = before[at]
    out = np.zeros(time.size, dtype=bool)
    out[np.flatnonzero(known)[keep]] = True
    return out


def even_trace(
    time: FloatArray, channels: dict[str, FloatArray], *, step: float = 0.1, gap: float = 2.0
) -> Trace:
    """Put channels on an even clock.

    Parameters
    ----------
    time : array, shape (rows,)
        Recorded time stamps, in any order [s].
    channels : dict of array, shape (rows,)
        Role or channel to recorded values [inner unit].
    step : float
        Finest clock step; a slower recording keeps its own, a faster one is averaged [s].
    gap : float
        A longer silence is not bridged; in a slow recording, one of more than three rows [s].

    Returns
    -------
    Trace
        Channels on an even clock [-].
    """
    rows = forward_rows(time)
    t = time[rows]
    if t.size < 2:
        empty = np.zeros(0)
        return Trace(empty, dict.fromkeys(channels, empty), step)
    usual = float(np.median(np.diff(t)))
    step = max(step, usual)
    n = int(min((t[-1] - t[0]) / step * (1.0 + 1e-12) + 1.0, _MOST_ROWS * t.size + 1.0))
    clock = t[0] + step * np.arange(n)
    gap = max(gap, 3.0 * usual)
    return Trace(clock, {k: _on_clock(clock, step, t, x[rows], gap) for k, x in channels.items()}, step)


def _on_clock(clock: FloatArray, step: float, t: FloatArray, x: FloatArray, gap: float) -> FloatArray:
    good = np.isfinite(x)
    if good.sum() < 2:
        return np.full(clock.size, np.nan)
    tg, xg = (t, x) if good.all() else (t[good], x[good])
    tg, xg = _averaged(tg, without_spikes(xg), clock[0], step)
    if tg.size < 2:
        return np.full(clock.size, np.nan)
    out = np.interp(clock, tg, xg)
    after = np.searchsorted(tg, clock, side="left").clip(1, tg.size - 1)
    silent = (tg[after] - tg[after - 1] > gap) & (clock > tg[after - 1]) & (clock < tg[after])
    out[silent | (clock < tg[0] - step) | (clock > tg[-1] + step)] = np.nan
    return out


def _averaged(t: FloatArray, x: FloatArray, start: float, step: float) -> tuple[FloatArray, FloatArray]:
    """Means of the rows of each clock step, where the recording is faster than the clock."""
    if (t[-1] - t[0]) > 0.75 * step * (t.size - 1):
        return t, x
    bins = np.rint((t - start) / step)
    first = np.flatnonzero(np.diff(bins, prepend=bins[0] - 1.0))
    count = np.diff(np.append(first, t.size))
    return np.add.reduceat(t, first) / count, np.add.reduceat(x, first) / count


def without_spikes(x: FloatArray) -> FloatArray:
    """Running median of five: takes out spikes of up to two rows, leaves every ramp as it is.

    Parameters
    ----------
    x : array, shape (n,)
        Values [inner unit].

    Returns
    -------
    array, shape (n,)
        Running median, the ends repeated outwards [inner unit].
    """
    a, b, c, d, e = (np.pad(x, 2, mode="edge")[i : i + x.size] for i in range(5))
    low = np.maximum(np.minimum(a, b), np.minimum(c, d))
    high = np.minimum(np.maximum(a, b), np.maximum(c, d))
    median: FloatArray = np.maximum(np.minimum(low, high), np.minimum(np.maximum(low, high), e))
    return median


def runs_of(mask: BoolArray) -> list[tuple[int, int]]:
    """First and one-past-last index of every unbroken run of true values.

    Parameters
    ----------
    mask : array of bool, shape (n,)
        Marks [-].

    Returns
    -------
    list of (int, int)
        Half-open index ranges [-].
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
