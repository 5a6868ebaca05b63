"""When a noisy reading crosses a level, and how long it stays beyond one, with uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.trace import FloatArray, runs_of

BoolArray = NDArray[np.bool_]

_CLEAR = 4.0
"""A reading this many noise deviations from a level is clear of it [-]."""
_UNIFORM = 1.0 / math.sqrt(12.0)
"""Standard deviation of a rectangular distribution of unit width [-]."""


@dataclass(frozen=True)
class Crossing:
    """A reading crosses a level.

    Parameters
    ----------
    time : float
        Moment of the crossing [s].
    uncertainty : float
        Its standard uncertainty: sampling interval, noise and the level's own uncertainty [s].
    interval : float
        Interval between the rows around it [s].
    slope : float
        Rate of change there [inner unit per second].
    """

    time: float
    uncertainty: float
    interval: float
    slope: float


def first_crossing(
    time: FloatArray,
    values: FloatArray,
    level: float,
    *,
    rising: bool = True,
    noise: float = 0.0,
    level_uncertainty: float = 0.0,
    lasting: float = 0.0,
) -> Crossing | None:
    """The first time a reading crosses a level.

    Parameters
    ----------
    time : array, shape (n,)
        Rising time stamps [s].
    values : array, shape (n,)
        Readings; rows that are not known are passed over [inner unit].
    level : float
        Level [inner unit].
    rising : bool
        Whether it is crossed upwards [-].
    noise : float
        Standard deviation of a single reading [inner unit].
    level_uncertainty : float
        Standard uncertainty of the level, systematic error of the reading included [inner unit].
    lasting : float
        A reading that is clearly back within this time was a spike and has not crossed [s].

    Returns
    -------
    Crossing or None
        None when the reading begins beyond the level or never reaches it [s].

    Notes
    -----
    With noise a reading crosses to and fro: between the last row clearly on this side and the first clearly
    beyond, the rows on either side are counted and the moment is placed so that the counts fit, which favours
    neither an early nor a late one. Where rows cross once, the moment is interpolated between them. The
    sampling interval enters as a rectangular distribution, for stamps may be late by up to one.

    Examples
    --------
    >>> c = first_crossing(np.array([0.0, 1.0, 2.0]), np.array([0.0, 10.0, 20.0]), 12.0)
    >>> round(c.time, 6), round(c.uncertainty, 3)
    (1.2, 0.289)
    """
    good = np.isfinite(values)
    t, x = time[good], values[good]
    x, level = (x, level) if rising else (-x, -level)
    beyond = x >= level
    if not beyond.any() or beyond[0]:
        return None
    first = _lasting(t, x, level - _CLEAR * noise, beyond, lasting)
    if first is None:
        return None
    begin, end = _zone(x, level, first, _CLEAR * noise)
    interval = float(t[first] - t[first - 1])
    if end - begin < 2:
        moment = _between(t, x, level, first)
    else:
        here = np.diff(t[begin : end + 1])
        moment = float(t[begin] + np.sum(here[~beyond[begin + 1 : end + 1]]) + 0.5 * interval)
    slope = _slope(t, x, begin, end)
    spread = math.hypot(noise if noise > 0.0 else 0.0, level_uncertainty)
    error = spread / slope if slope > 0.0 else float(t[end] - t[begin])
    u = math.hypot(_UNIFORM * interval, error)
    return Crossing(moment, u, interval, slope if rising else -slope)


def _lasting(t: FloatArray, x: FloatArray, back: float, beyond: BoolArray, lasting: float) -> int | None:
    """First row beyond the level from which the reading is not clearly back soon."""
    for i in np.flatnonzero(beyond & ~np.concatenate(([True], beyond[:-1]))):
        soon = x[i : np.searchsorted(t, t[i] + lasting, side="right")]
        if not (soon < back).any():
            return int(i)
    return None


def _zone(x: FloatArray, level: float, first: int, clear: float) -> tuple[int, int]:
    """Last row clearly before the crossing and first row clearly beyond it."""
    if clear <= 0.0:
        return first - 1, first
    low = np.flatnonzero(x[:first] < level - clear)
    high = np.flatnonzero(x[first:] >= level + clear)
    begin = int(low[-1]) if low.size else 0
    end = first + int(high[0]) if high.size else x.size - 1
    return begin, end


def _between(t: FloatArray, x: FloatArray, level: float, i: int) -> float:
    share = (level - x[i - 1]) / (x[i] - x[i - 1])
    return float(t[i - 1] + share * (t[i] - t[i - 1]))


def _slope(t: FloatArray, x: FloatArray, begin: int, end: int) -> float:
    span = float(t[end] - t[begin])
    return float(x[end] - x[begin]) / span if span > 0.0 else 0.0


@dataclass(frozen=True)
class TimeBeyond:
    """Time a reading spends beyond a level.

    Parameters
    ----------
    total : float
        In all [s].
    longest : float
        In one go [s].
    uncertainty : float
        Standard uncertainty of either: level, noise and sampling interval [s].
    """

    total: float
    longest: float
    uncertainty: float


def time_beyond(
    time: FloatArray,
    values: FloatArray,
    level: float,
    *,
    above: bool = True,
    uncertainty: float = 0.0,
    pause: float = 0.5,
    where: BoolArray | None = None,
) -> TimeBeyond:
    """How long a reading stays beyond a level.

    Parameters
    ----------
    time : array, shape (n,)
        Rising time stamps [s].
    values : array, shape (n,)
        Readings; rows that are not known are passed over [inner unit].
    level : float
        Level [inner unit].
    above : bool
        Whether beyond means above [-].
    uncertainty : float
        Standard uncertainty of a reading: systematic and noise [inner unit].
    pause : float
        A shorter return does not end a go [s].
    where : array of bool, shape (n,), or None
        Rows that count; None counts all [-].

    Returns
    -------
    TimeBeyond
        Times, the reading taken as straight between rows [s].

    Notes
    -----
    The uncertainty is half the difference between the times at the level less and plus the standard
    uncertainty of the reading (JCGM 100:2008, 5.1.3, note 2), and one rectangular sampling interval for each
    crossing. A silence between two rows beyond the level counts as beyond.
    """
    good = np.isfinite(values)
    t, x = time[good], values[good] if above else -values[good]
    counted = np.ones(t.size, dtype=bool) if where is None else where[good]
    at = level if above else -level
    if t.size < 2:
        return TimeBeyond(0.0, 0.0, 0.0)
    pieces = _pieces(t, x, at, counted)
    total = float(np.sum(pieces[:, 1] - pieces[:, 0]))
    low, high = (
        float(np.sum(np.diff(_pieces(t, x, at + s * uncertainty, counted), axis=1))) for s in (-1.0, 1.0)
    )
    step = float(np.median(np.diff(t))) * _UNIFORM
    goes = _goes(pieces, pause)
    u = math.hypot(0.5 * (low - high), step * math.sqrt(2.0 * max(len(goes), 1)))
    return TimeBeyond(total, max((b - a for a, b in goes), default=0.0), u)


def _pieces(t: FloatArray, x: FloatArray, level: float, counted: BoolArray) -> FloatArray:
    """Begin and end of every stay beyond the level, shape (stays, 2)."""
    out = []
    for a, b in runs_of((x >= level) & counted):
        begin = _between(t, x, level, a) if a > 0 and counted[a - 1] else t[a]
        end = _between(t, x, level, b) if b < t.size and counted[b] else t[b - 1]
        out.append((float(begin), float(end)))
    return np.array(out).reshape(-1, 2)


def _goes(pieces: FloatArray, pause: float) -> list[tuple[float, float]]:
    """Stays joined across short returns."""
    out: list[tuple[float, float]] = []
    for a, b in pieces.tolist():
        if out and a - out[-1][1] <= pause:
            out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out
