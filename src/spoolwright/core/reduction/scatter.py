"""Whether channels scatter together: correlation of their means over a hold."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

BLOCKS = 12
"""Blocks a hold is cut into: long enough to hold the slow part of the scatter, which is what means keep."""
_STUDENT = 4.781
"""Student's t for 9 degrees of freedom (12 blocks less mean, slope and the test's own) that chance passes on
either side once in a thousand (Fisher and Yates, Statistical Tables, table III) [-]."""
_SIGNIFICANT = _STUDENT / math.sqrt(9.0 + _STUDENT**2)
"""Smallest coefficient that counts [-]."""


def scatter_correlation(values: FloatArray) -> FloatArray | None:
    """Correlation of the channels' means over a hold.

    Parameters
    ----------
    values : array, shape (rows, channels)
        Samples at equal intervals; NaN where nothing was recorded [inner].

    Returns
    -------
    array, shape (channels, channels), or None
        Correlation of the scatter of the means, positive semidefinite, with ones on the diagonal; None when
        the hold is too short to tell or shows none [-].

    Notes
    -----
    Means over twelve blocks, the straight line taken off (method of batch means). A coefficient that chance
    explains (Student's t test, one in a thousand) is set to zero, so that a dozen blocks do not tie channels
    together that have nothing to do with each other. What remains is brought back to a correlation matrix by
    leaving out negative eigenvalues.

    References
    ----------
    Law and Kelton, Simulation Modeling and Analysis (batch means). Rousseeuw and Molenberghs, Commun.
    Statist. Theory Methods 22 (1993) 965 (eigenvalue method).
    """
    rows, channels = values.shape
    size = rows // BLOCKS
    if size < 4 or channels < 2:
        return None
    blocks = values[rows - size * BLOCKS :].reshape(BLOCKS, size, channels)
    known = np.isfinite(blocks)
    full = (known.sum(axis=1) * 2 > size).all(axis=0)
    total = np.where(known, blocks, 0.0).sum(axis=1)
    means = np.where(full, total / np.maximum(known.sum(axis=1), 1), 0.0)
    t = np.arange(BLOCKS) - 0.5 * (BLOCKS - 1)
    centred = means - means.mean(axis=0)
    residual = centred - np.outer(t, t @ centred) / (t @ t)
    spread = np.sqrt((residual**2).sum(axis=0))
    scale = np.abs(means).max(axis=0) * 1e-12
    unit = np.where(spread > scale, residual / np.where(spread > 0.0, spread, 1.0), 0.0)
    raw = unit.T @ unit
    kept = np.where(np.abs(raw) >= _SIGNIFICANT, raw, 0.0)
    np.fill_diagonal(kept, 1.0)
    tied = np.flatnonzero(np.count_nonzero(kept, axis=1) > 1)
    if tied.size == 0:
        return None
    kept[np.ix_(tied, tied)] = _semidefinite(kept[np.ix_(tied, tied)])
    return kept


def _semidefinite(matrix: FloatArray) -> FloatArray:
    eigenvalues, vectors = np.linalg.eigh(matrix)
    if eigenvalues[0] >= -1e-12:
        return matrix
    fixed = vectors @ np.diag(np.maximum(eigenvalues, 0.0)) @ vectors.T
    size = np.sqrt(np.diag(fixed))
    out: FloatArray = fixed / np.outer(size, size)
    np.fill_diagonal(out, 1.0)
    return out
