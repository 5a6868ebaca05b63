"""Runs of one engine as a linear problem: residuals, what common coefficients give, what scatters."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.comparison import Compared
from spoolwright.core.diagnosis.terms import (
    build_scatter,
    common_columns,
    line_columns,
    reading_scatter,
    run_scatter,
)
from spoolwright.core.numerics import FloatArray

_T = TypeVar("_T")
_R = TypeVar("_R")


@dataclass(frozen=True)
class EngineRuns:
    """All runs of one engine in one state, as one linear problem.

    Parameters
    ----------
    residual : array, shape (N,)
        Against the data sheet's model [-].
    common : array, shape (N, COMMON)
        What each common coefficient gives [-].
    scatter : array, shape (N, N)
        Covariance by the scatter of readings [-].
    columns : array, shape (N, M)
        What random causes of unit variance give, before the multipliers [-].
    spread : array of int, shape (M,)
        Multiplier of each column, see `SPREADS` [-].
    line : array, shape (N, LINE)
        What the engine's own line gives [-].
    """

    residual: FloatArray
    common: FloatArray
    scatter: FloatArray
    columns: FloatArray
    spread: NDArray[np.intp]
    line: FloatArray


def engine_runs(model: EngineModel, runs: Sequence[Compared]) -> EngineRuns:
    """Put the runs of one engine in one state together.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    runs : sequence of Compared
        Compared with the model as the data sheet has it [-].

    Returns
    -------
    EngineRuns
        The problem [-].
    """
    reference = model.data.reference
    designs = [common_columns(c, reference.temperature, reference.pressure) for c in runs]
    builds = [build_scatter(c) for c in runs]
    own = [run_scatter(c) for c in runs]
    blocks = _diagonal([s.columns for s in own])
    return EngineRuns(
        np.concatenate([c.vector for c in runs]),
        np.concatenate(designs),
        _diagonal([reading_scatter(c) for c in runs]),
        np.concatenate([np.concatenate([s.columns for s in builds]), blocks], axis=1),
        np.concatenate([builds[0].spread, *(s.spread for s in own)]),
        np.concatenate([line_columns(c) for c in runs]),
    )


def over(each: Iterable[_T], function: Callable[[_T], _R]) -> list[_R]:
    """A function of every engine, on as many threads as there are processors.

    Parameters
    ----------
    each : iterable
        What it is a function of [-].
    function : callable
        Linear algebra, which leaves the interpreter free [-].

    Returns
    -------
    list
        Results in the order of `each` [-].
    """
    with ThreadPoolExecutor(multiprocessing.cpu_count()) as pool:
        return list(pool.map(function, each))


def _diagonal(blocks: Sequence[FloatArray]) -> FloatArray:
    from scipy.linalg import block_diag

    return np.asarray(block_diag(*blocks), dtype=float)
