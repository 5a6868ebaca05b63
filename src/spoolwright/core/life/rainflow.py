"""Rainflow counting: the closed cycles in a history of load or speed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Cycles:
    """Counted cycles; every array has shape (cycles,).

    Parameters
    ----------
    low, high : array
        Lower and upper end of each cycle, in the unit of the history [inner].
    count : array
        1 for a closed cycle, 0.5 for what never closed [-].
    """

    low: FloatArray
    high: FloatArray
    count: FloatArray

    @property
    def range(self) -> FloatArray:
        """Upper less lower end of each cycle [inner]."""
        return self.high - self.low

    @property
    def mean(self) -> FloatArray:
        """Middle of each cycle [inner]."""
        return (self.high + self.low) / 2


def turning_points(history: FloatArray, least: float = 0.0) -> FloatArray:
    """First and last value of a history, and between them each value at which it turns.

    Parameters
    ----------
    history : array, shape (rows,)
        Load or speed in the order of time; values that are not recorded (NaN) are passed over [inner].
    least : float
        A swing smaller than this is passed over (noise of a recording); 0 keeps every turn [inner].

    Returns
    -------
    array, shape (points,)
        The turning points; empty for an empty history [inner].

    Examples
    --------
    >>> turning_points(np.array([0.0, 1.0, 3.0, 3.0, 2.0, 4.0])).tolist()
    [0.0, 3.0, 2.0, 4.0]
    >>> turning_points(np.array([0.0, 1.0, 3.0, 2.9, 3.1, 0.0]), least=0.5).tolist()
    [0.0, 3.1, 0.0]
    """
    values = np.asarray(history, dtype=np.float64)
    values = values[np.isfinite(values)]
    if values.size == 0:
        return values
    values = values[np.concatenate([[True], np.diff(values) != 0.0])]
    turns = np.diff(np.sign(np.diff(values))) != 0
    points = values[np.concatenate([[True], turns, [True]])] if values.size > 1 else values
    return _gated(points, least) if least > 0.0 else points


def _gated(points: FloatArray, least: float) -> FloatArray:
    """Turning points without swings smaller than `least`."""
    kept = [float(points[0])]
    for p in points[1:].tolist():
        if len(kept) > 1 and (p - kept[-1]) * (kept[-1] - kept[-2]) > 0.0:
            kept[-1] = p
        elif abs(p - kept[-1]) >= least:
            kept.append(p)
    return np.array(kept)


def rainflow(history: FloatArray, least: float = 0.0) -> Cycles:
    """Cycles of a history, counted by the rainflow rules.

    Parameters
    ----------
    history : array, shape (rows,)
        Load or speed in the order of time [inner].
    least : float
        Swings smaller than this are passed over before counting; 0 counts all [inner].

    Returns
    -------
    Cycles
        Closed cycles (count 1) and what is left open at the history's ends (count 0.5) [-].

    Notes
    -----
    A history begins and ends wherever it was cut: it is not closed to a repeating block.

    References
    ----------
    ASTM E1049-85 (2017), paragraph 5.4.4, steps 1 to 6.

    Examples
    --------
    The standard's own history: one closed cycle of range 4, the rest halves.

    >>> c = rainflow(np.array([-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]))
    >>> sorted(zip(c.range.tolist(), c.count.tolist()))
    [(3.0, 0.5), (4.0, 0.5), (4.0, 1.0), (6.0, 0.5), (8.0, 0.5), (8.0, 0.5), (9.0, 0.5)]
    """
    found: list[tuple[float, float, float]] = []
    open_: list[float] = []
    for point in turning_points(history, least).tolist():
        open_.append(point)
        while len(open_) >= 3 and abs(open_[-1] - open_[-2]) >= abs(open_[-2] - open_[-3]):
            if len(open_) == 3:
                found.append((open_[0], open_[1], 0.5))
                del open_[0]
            else:
                found.append((open_[-3], open_[-2], 1.0))
                del open_[-3:-1]
    found += [(a, b, 0.5) for a, b in pairwise(open_)]
    table = np.array(found, dtype=np.float64).reshape(-1, 3)
    ends = table[:, :2]
    return Cycles(ends.min(axis=1), ends.max(axis=1), table[:, 2])
