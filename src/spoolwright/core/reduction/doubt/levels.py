"""Levels: stretches in which most of the engine's readings stand still. A single wrong reading has no say.

The holds of an assessment are found from speed and torque; here these themselves are in doubt.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass

import numpy as np

from spoolwright.core.reduction.doubt.signs import BoolArray, FloatArray
from spoolwright.core.reduction.trace import runs_of

BIN_S = 5.0
"""Readings are looked at as means over so long [s]."""
QUIET = 0.012
"""Change of a reading over two bins, as a share of its range over the run, that still is rest [-]."""
SHORTEST_S = 40.0
"""A shorter rest is part of the motion around it [s]."""
REST_S = 8.0
"""The shortest rest before a start that is averaged [s]."""
MOVED = 0.003
"""Share of its range over the run by which any reading moves once a start begins [-]."""
WINDOW_S = 60.0
"""The end of a level that is averaged [s]."""
MOST = 16
"""More levels than this tell nothing new: the longest are taken [-]."""
AT_REST = 0.02
"""Share of full speed, torque and fuel flow below which an engine does not run [-]."""


@dataclass(frozen=True)
class Level:
    """A stretch that is averaged.

    Parameters
    ----------
    from_s, to_s : float
        Begin and end [s].
    first, last : int
        Rows in forward order, half open [-].
    resting : bool
        Whether the engine stands still [-].
    """

    from_s: float
    to_s: float
    first: int
    last: int
    resting: bool

    @property
    def middle(self) -> float:
        """Middle of the stretch [s]."""
        return 0.5 * (self.from_s + self.to_s)


@dataclass(frozen=True)
class Bins:
    """A run as means over short bins.

    Parameters
    ----------
    edges : array of int, shape (n + 1,)
        First row of every bin, in forward order [-].
    means : array, shape (n, channels)
        Means, NaN where nothing was recorded [inner unit].
    resting : array of bool, shape (n,)
        Whether the engine stands still, by the majority of its speeds, torques and flows [-].
    """

    edges: np.ndarray
    means: FloatArray
    resting: BoolArray


def binned(time: FloatArray, columns: Sequence[FloatArray], full: Sequence[float]) -> Bins:
    """Means over bins of 5 s, or of five rows where the recording is slower.

    Parameters
    ----------
    time : array, shape (rows,)
        Stamps in forward order [s].
    columns : sequence of arrays, shape (rows,)
        Readings of the gas path [inner unit].
    full : sequence of float
        Value at full power of those that are zero at rest; NaN for the others [inner unit].

    Returns
    -------
    Bins
        The run in bins [inner unit].
    """
    usual = float(np.median(np.diff(time))) if time.size > 1 else 1.0
    width = max(BIN_S, 5.0 * usual)
    count = int(min((time[-1] - time[0]) / width, time.size)) if time.size else 0
    edges = np.searchsorted(time, time[0] + width * np.arange(count + 1)) if count else np.zeros(1, int)
    edges = np.unique(edges)
    means = np.array([bin_means(x, edges) for x in columns]).T.reshape(edges.size - 1, len(columns))
    scale = np.asarray(full, dtype=float)
    voters = np.isfinite(scale)
    share = means[:, voters] / scale[voters]
    return Bins(edges, means, _majority(share < AT_REST, np.isfinite(share)))


def _majority(votes: BoolArray, cast: BoolArray) -> BoolArray:
    """Rows in which more than half of the votes cast are true; none where nobody votes."""
    count = cast.sum(axis=1)
    return np.asarray((2 * (votes & cast).sum(axis=1) > count) & (count > 0))


def bin_means(x: FloatArray, edges: np.ndarray) -> FloatArray:
    """Means of a reading over bins.

    Parameters
    ----------
    x : array, shape (rows,)
        Reading in forward order; NaN where nothing was recorded [inner unit].
    edges : array of int, shape (n + 1,)
        First row of every bin [-].

    Returns
    -------
    array, shape (n,)
        NaN where a bin holds no value [inner unit].
    """
    if edges.size < 2:
        return np.zeros(0)
    known = np.isfinite(x)
    filled = x if known.all() else np.where(known, x, 0.0)
    end = slice(0, int(edges[-1]))
    total = np.add.reduceat(filled[end], edges[:-1])
    count = np.diff(edges) if known.all() else np.add.reduceat(known[end].astype(float), edges[:-1])
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count > 0, total / count, np.nan))


def steady_levels(time: FloatArray, bins: Bins, noise: Sequence[float]) -> list[Level]:
    """Levels of a run.

    Parameters
    ----------
    time : array, shape (rows,)
        Stamps in forward order [s].
    bins : Bins
        The run in bins [inner unit].
    noise : sequence of float
        Usual standard deviation of a sample of every binned reading [inner unit].

    Returns
    -------
    list of Level
        In order of time [-].

    Notes
    -----
    A bin rests when the median over the readings of |change over two bins| / (range over the run) is below
    1.2 %. Only readings that move by more than twenty times their noise over the run have a say, so that a
    stuck channel and the weather have none. The last 60 s of a rest are the level, its first 40 % left out
    where it is shorter than that. An engine that stands still is looked at before its first start only.
    """
    if bins.means.shape[0] < 4:
        return []
    found = []
    for a, b in runs_of(quiet(bins.means, np.asarray(noise, dtype=float)) & ~bins.resting):
        begin, end = float(time[bins.edges[a]]), float(time[min(bins.edges[b], time.size - 1)])
        if end - begin >= SHORTEST_S:
            begins = max(begin + 0.4 * (end - begin), end - WINDOW_S)
            found.append((end - begin, _level(time, begins, end, resting=False)))
    found = sorted(found, key=lambda f: -f[0])[:MOST]
    rest = _before_start(time, bins, np.asarray(noise, dtype=float))
    return rest + sorted((level for _, level in found), key=lambda level: level.from_s)


def _level(time: FloatArray, begin: float, end: float, *, resting: bool) -> Level:
    first, last = np.searchsorted(time, [begin, end])
    return Level(begin, end, int(first), int(last), resting)


def _before_start(time: FloatArray, bins: Bins, noise: FloatArray) -> list[Level]:
    """The rest that the recording begins with, up to the bin before anything moves."""
    awake = ~bins.resting
    moved = np.abs(bins.means - bins.means[0]) > np.maximum(6.0 * noise, MOVED * _range(bins.means))
    begins = np.flatnonzero(awake | moved.any(axis=1))
    last = int(begins[0]) - 1 if begins.size else bins.resting.size
    begin, end = float(time[0]), float(time[min(bins.edges[max(last, 0)], time.size - 1)])
    if end - begin < REST_S or awake[0]:
        return []
    return [_level(time, max(begin, end - WINDOW_S), end, resting=True)]


def _range(means: FloatArray) -> FloatArray:
    """What each reading spans over the run."""
    with _no_warnings():
        low, high = np.nanpercentile(means, [1, 99], axis=0)
    return np.asarray(np.nan_to_num(high - low))


def quiet(means: FloatArray, noise: FloatArray) -> BoolArray:
    """Bins in which most readings stand still.

    Parameters
    ----------
    means : array, shape (n, channels)
        Means over the bins [inner unit].
    noise : array, shape (channels,)
        Usual standard deviation of a sample of every reading [inner unit].

    Returns
    -------
    array of bool, shape (n,)
        As `steady_levels` tells rest from motion [-].
    """
    width = _range(means)
    moving = width > 20.0 * noise
    if not moving.any():
        return np.ones(means.shape[0], dtype=bool)
    x = means[:, moving] / width[moving]
    change = np.abs(np.concatenate([x[2:3] - x[0:1], x[2:] - x[:-2], x[-1:] - x[-3:-2]]))
    with _no_warnings():
        return np.asarray(np.nan_to_num(np.nanmedian(change, axis=1), nan=np.inf) < QUIET)


def _no_warnings() -> AbstractContextManager[object]:
    """A bin in which nothing at all was recorded has no median; it does not rest."""
    return warnings.catch_warnings(action="ignore", category=RuntimeWarning)
