"""A recording's speed, load and temperature on an even clock, fit for finding what happened in a run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


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
        (Savitzky and Golay, Anal. Chem. 36 (1964) 1627, first derivative of a linear fit).
        """
        half = max(1, round(window / self.step / 2))
        t = np.arange(-half, half + 1, dtype=np.float64)
        x = np.pad(self.values[name], half, mode="edge")
        kernel = t[::-1] / np.sum(t**2) / self.step
        return np.convolve(x, kernel, mode="valid")

    def smooth(self, name: str, window: float) -> FloatArray:
        """Running mean over a centred window.

        Parameters
        ----------
        name : str
            Role or channel [-].
        window : float
            Length of the window [s].

        Returns
        -------
        array, shape (n,)
            Running mean [inner unit].
        """
        size = max(1, round(window / self.step))
        return np.asarray(uniform_filter1d(self.values[name], size, mode="nearest"))


def forward_rows(time: FloatArray) -> BoolArray:
    """Rows stamped later than every row before them; the others stay out of anything that needs order.

    Parameters
    ----------
    time : array, shape (rows,)
        Recorded time stamps [s].

    Returns
    -------
    array of bool, shape (rows,)
        True for rows in forward order [-].
    """
    known = np.where(np.isfinite(time), time, -np.inf)
    before = np.maximum.accumulate(np.concatenate(([-np.inf], known[:-1])))
    return np.isfinite(time) & (known > before)


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
        Finest clock step; a slower recording keeps its own [s].
    gap : float
        A longer silence is not bridged [s].

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
    step = max(step, float(np.median(np.diff(t))))
    n = min(int((t[-1] - t[0]) / step) + 1, 20 * t.size)  # a lone far-off stamp must not fill the memory
    clock = t[0] + step * np.arange(n)
    return Trace(clock, {k: _on_clock(clock, t, x[rows], gap) for k, x in channels.items()}, step)


def _on_clock(clock: FloatArray, t: FloatArray, x: FloatArray, gap: float) -> FloatArray:
    good = np.isfinite(x)
    if good.sum() < 2:
        return np.full(clock.size, np.nan)
    tg = t[good]
    xg = median_filter(x[good], size=5, mode="nearest")
    out = np.interp(clock, tg, xg)
    after = np.searchsorted(tg, clock, side="left").clip(1, tg.size - 1)
    out[(tg[after] - tg[after - 1] > gap) | (clock < tg[0]) | (clock > tg[-1])] = np.nan
    return out


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
