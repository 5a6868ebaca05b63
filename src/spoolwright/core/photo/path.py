"""Length of a path through marks: straight from mark to mark, or along the smooth line they lie on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def path_length(points: FloatArray, curved: bool) -> FloatArray:
    """Length through points in order.

    Parameters
    ----------
    points : ndarray, shape (..., m, 2)
        Two or more points in order [m].
    curved : bool
        Whether they lie on a smooth line, rather than on straight pieces [-].

    Returns
    -------
    ndarray, shape (...)
        Length [m].

    Notes
    -----
    Along a smooth line each chord c stands for an arc that turns by φ, the mean turn of the chords at its two
    ends: c (φ/2) / sin(φ/2). Exact on a circle with equal chords; elsewhere the error falls with the spacing,
    faster than its second power.

    Examples
    --------
    A quarter of a circle of radius 1 by four points:

    >>> angle = np.linspace(0.0, np.pi / 2, 4)
    >>> round(float(path_length(np.stack([np.cos(angle), np.sin(angle)], axis=-1), True)), 9)
    1.570796327
    """
    steps = np.diff(points, axis=-2)
    chords = np.hypot(steps[..., 0], steps[..., 1])
    if curved and points.shape[-2] > 2:
        half = 0.5 * _turn_of_each(turns(points))
        chords = chords / np.sinc(half / np.pi)
    length: FloatArray = chords.sum(axis=-1)
    return length


def turns(points: FloatArray) -> FloatArray:
    """Signed turn of the path at each inner point.

    Parameters
    ----------
    points : ndarray, shape (..., m, 2)
        Three or more points in order [m].

    Returns
    -------
    ndarray, shape (..., m - 2)
        Turn, positive from the first axis to the second [rad].
    """
    steps = np.diff(points, axis=-2)
    a, b = steps[..., :-1, :], steps[..., 1:, :]
    cross = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    turn: FloatArray = np.arctan2(cross, (a * b).sum(axis=-1))
    return turn


def _turn_of_each(turn: FloatArray) -> FloatArray:
    """Turn along each chord: the mean of those at its ends, at the first and last the only one there is."""
    inner = 0.5 * (turn[..., :-1] + turn[..., 1:])
    return np.concatenate([turn[..., :1], inner, turn[..., -1:]], axis=-1)
