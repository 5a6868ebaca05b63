"""A reading that repeats its extreme row by row: cut off there, or did it stop moving at that very moment?

A reading that is cut off truly lies at or beyond the cut all the while, and comes back through it. A reading
that stands still does neither: the engine goes on without it.
"""

from __future__ import annotations

import numpy as np

from spoolwright.core.reduction.doubt.levels import BIN_S, SHORTEST_S
from spoolwright.core.reduction.doubt.signs import BoolArray, FloatArray

LEAP_NOISES = 4.0
"""Where the engine stands still, a reading that comes back through a cut is no farther from it [-]."""
_LEAP_ROWS = 5
CLEAR = 0.03
"""Share of its range over the run by which a reading lies clearly higher or lower [-]."""
CLEAR_NOISES = 3.0
"""And by so many standard deviations of the noise [-]."""
TIED = 0.9
"""Readings go together where their correlation is beyond this [-]."""
_FEWEST_TIED = 3
_FEWEST_BINS = 8
_MOST_SAY_SO = 0.7
_LONG_ENOUGH = int(SHORTEST_S / BIN_S)


def leaps_back(after: FloatArray, value: float, noise: float) -> bool:
    """Whether a reading stands well off its plateau as soon as it has left it.

    Parameters
    ----------
    after : array, shape (rows,)
        First rows after the plateau, the engine in a steady hold [inner unit].
    value : float
        The plateau [inner unit].
    noise : float
        Usual standard deviation of a sample [inner unit].

    Returns
    -------
    bool
        True where it leapt and then stayed: nothing that is cut off comes back so [-].

    Examples
    --------
    >>> leaps_back(np.full(10, 94.0), 100.0, 1.0)
    True
    >>> leaps_back(np.array([99.0, 97, 95, 93, 91, 89, 87, 85, 83, 81]), 100.0, 1.0)
    False
    """
    after = after[np.isfinite(after)][: 2 * _LEAP_ROWS]
    if after.size < 2 * _LEAP_ROWS:
        return False
    first, then = (float(np.median(part)) for part in np.split(after, 2))
    leap = abs(value - first)
    return leap > LEAP_NOISES * noise and abs(then - first) < 0.5 * leap


def out_of_step(
    x: FloatArray, plateau: BoolArray, value: float, noise: float, others: FloatArray, noises: FloatArray
) -> bool:
    """Whether a reading should have left its plateau, by what the other readings did meanwhile.

    Parameters
    ----------
    x : array, shape (bins,)
        Means of the reading in which nothing moves fast; NaN where there are none [inner unit].
    plateau : array of bool, shape (bins,)
        Bins that lie within the plateau [-].
    value : float
        The plateau: the highest or the lowest of all values [inner unit].
    noise : float
        Usual standard deviation of a sample [inner unit].
    others : array, shape (bins, channels)
        Means of other readings; each in its own unit [inner unit].
    noises : array, shape (channels,)
        Their usual standard deviations [inner unit].

    Returns
    -------
    bool
        True where the reading stood still; False where it may have been cut off, or nothing can be told [-].

    Notes
    -----
    Readings count that rise and fall with this one outside the plateau. Suppose it is cut off at its highest
    value. Then at every moment of the plateau the true value is at least that. But where most of these
    readings are clearly lower than at another moment, outside the plateau, at which this reading is clearly
    below it, the true value must be below it too. The contradiction must last as long as a steady level does.
    The lowest value is the same upside down. No model and no calibration has a part in this.
    """
    known = np.isfinite(x) & np.isfinite(others).all(axis=1)
    outside = known & ~plateau
    if np.count_nonzero(outside) < _FEWEST_BINS:
        return False
    side = 1.0 if value > float(np.median(x[outside])) else -1.0
    tie = np.array([_correlation(x[outside], y[outside]) for y in others.T])
    tied = np.abs(tie) > TIED
    if np.count_nonzero(tied) < _FEWEST_TIED:
        return False
    y = side * np.sign(tie[tied]) * others[:, tied]
    clear = np.maximum(CLEAR * np.ptp(y[known], axis=0), CLEAR_NOISES * noises[tied])
    short = max(CLEAR * float(np.ptp(x[outside])), CLEAR_NOISES * noise)
    below = outside & (side * (value - x) > short)
    inside = known & plateau
    lower = (y[inside][:, None, :] + clear < y[below][None, :, :]).mean(axis=2) >= _MOST_SAY_SO
    return int(np.count_nonzero(lower.any(axis=1))) >= _LONG_ENOUGH


def _correlation(x: FloatArray, y: FloatArray) -> float:
    """Pearson's coefficient; 0 where one of the two does not move."""
    x, y = x - x.mean(), y - y.mean()
    size = float(np.linalg.norm(x) * np.linalg.norm(y))
    return float(x @ y) / size if size > 0.0 else 0.0
