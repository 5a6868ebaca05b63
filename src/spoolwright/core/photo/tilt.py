"""What an unknown tilt does to a scale that is taken from a rule in the picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_AXES, _TILTS = 64, 12


def tilt_factors(
    rule: FloatArray, steps: FloatArray, most: float, aside: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """True length over the length scaled by the rule, over every tilt that may be.

    Parameters
    ----------
    rule : ndarray, shape (2,)
        The rule as seen, from mark to mark [px].
    steps : ndarray, shape (k, 2)
        Pieces of the measured path as seen [px].
    most : float
        Largest tilt of the plane against the picture, from 0 to below a right angle [rad].
    aside : ndarray, shape (2,)
        Middle of the path from the middle of the rule, over the distance of the camera; zeros for a camera
        that is far away [-].

    Returns
    -------
    tuple of ndarray, shape (j,) each
        Factors, and the weight of each; the weights sum to 1 [-].

    Notes
    -----
    A plane tilted by θ is seen shortened by cos θ across the axis of the tilt and unshortened along it. The
    axis is equally likely in every direction, the tilt equally likely from 0 to the largest. What lies u of
    the distance beside the rule, across the axis, is farther by 1 / (1 − u tan θ). Rule and path are short
    compared with the distance. A path parallel to the rule, seen from afar, has factor 1 whatever the tilt.

    Examples
    --------
    Across a rule that lies along the axis, 60° double the length; the other way round they halve it:

    >>> f, w = tilt_factors(np.array([1.0, 0.0]), np.array([[0.0, 1.0]]), np.pi / 3, np.zeros(2))
    >>> bool(f.max() < 2.0), bool(f.min() > 0.5), round(float(w.sum()), 12)
    (True, True, 1.0)
    """
    nodes, weights = np.polynomial.legendre.leggauss(_TILTS)
    tilt = 0.5 * most * (nodes + 1.0)
    axis = 2.0 * np.pi * (np.arange(_AXES) + 0.5) / _AXES
    along = np.stack([np.cos(axis), np.sin(axis)])
    across = np.stack([-np.sin(axis), np.cos(axis)])
    grow = 1.0 / np.cos(tilt)
    farther = 1.0 / (1.0 - (aside @ across)[:, None] * np.tan(tilt))

    def true_length(v: FloatArray, far: FloatArray) -> FloatArray:
        one, other = v @ along, v @ across
        length: FloatArray = far * np.hypot(one[:, :, None], other[:, :, None] * (grow * far)).sum(axis=0)
        return length

    seen = np.hypot(steps[:, 0], steps[:, 1]).sum() / np.hypot(*rule)
    factors = true_length(steps, farther) / true_length(rule[None, :], np.ones_like(farther)) / seen
    return factors.ravel(), np.broadcast_to(0.5 * weights / _AXES, factors.shape).ravel()
