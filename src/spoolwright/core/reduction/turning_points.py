"""Rises and falls of a reading, small wiggles aside."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_NEAR = 0.1
"""A series is at its extreme within this share of what counts as a reversal [-]."""


def legs_of(x: FloatArray, reversal: float) -> list[tuple[int, int, bool]]:
    """Cut a series into legs that rise or fall.

    Parameters
    ----------
    x : array, shape (n,)
        Values, all known [inner unit].
    reversal : float
        A leg ends only where the series turns back by more than this [inner unit].

    Returns
    -------
    list of (int, int, bool)
        Half-open row range and whether it rises; the ranges cover the series. A leg ends where the series
        leaves its extreme, so that a plateau belongs to the leg that led to it [-].

    Examples
    --------
    >>> legs_of(np.array([0.0, 5.0, 4.8, 9.0, 2.0, 3.0, 0.0]), 2.0)
    [(0, 3, True), (3, 7, False)]
    """
    if x.size < 2:
        return [(0, int(x.size), True)] if x.size else []
    pivots = _left(x, _pivots(x, reversal), _NEAR * reversal)
    ends = [*pivots, x.size - 1]
    out = []
    for i, j in zip([0, *pivots], ends, strict=True):
        if j > i:
            out.append((i, j + 1 if j == x.size - 1 else j, bool(x[j] >= x[i])))
    return out


def _pivots(x: FloatArray, reversal: float) -> list[int]:
    """Rows of the extremes between legs: the running extreme, once the series has turned back from it."""
    out: list[int] = []
    low = high = 0
    rising: bool | None = None
    for i in _candidates(x):
        if x[i] > x[high]:
            high = i
        if x[i] < x[low]:
            low = i
        if rising is not False and x[high] - x[i] > reversal:
            if rising:
                out.append(high)
            rising, low = False, i
            high = i
        elif rising is not True and x[i] - x[low] > reversal:
            if rising is False:
                out.append(low)
            rising, high = True, i
            low = i
    return out


def _left(x: FloatArray, pivots: list[int], near: float) -> list[int]:
    """Rows at which the series leaves its extremes for good."""
    out = []
    for p, following in pairwise([*pivots, x.size - 1]):
        away = np.flatnonzero(np.abs(x[p : following + 1] - x[p]) > near)
        out.append(p + int(away[0]) - 1 if away.size else p)
    return out


def _candidates(x: FloatArray) -> list[int]:
    """Rows at which the series turns, and its ends: no other row can be an extreme."""
    d = np.sign(np.diff(x))
    moving = np.flatnonzero(d)
    turns = moving[1:][d[moving[1:]] != d[moving[:-1]]] if moving.size else moving
    return [0, *turns.tolist(), x.size - 1]
