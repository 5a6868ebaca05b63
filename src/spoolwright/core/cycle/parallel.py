"""Large batches on several processes, each with one linear-algebra thread."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from types import TracebackType
from typing import Any, Final

import numpy as np

from spoolwright.core.cycle.cases import subset
from spoolwright.core.cycle.condition import HEALTHY, Condition, ConditionFactors
from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.line import operating_line
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.setting import SetBy
from spoolwright.core.cycle.solution import OUTPUTS, Solution
from spoolwright.core.cycle.solve import CHUNK, solve
from spoolwright.core.numerics import FloatArray

_THREADS: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


class SolverPool:
    """Worker processes that hold an engine ready; a context manager.

    Parameters
    ----------
    data : EngineData
        The engine [-].
    processes : int, optional
        Number of workers; default one per processor [-].

    Notes
    -----
    Workers are started afresh (spawn), so a script that makes a pool needs the usual
    `if __name__ == "__main__":` guard.
    """

    def __init__(self, data: EngineData, processes: int | None = None) -> None:
        self.model = EngineModel(data)
        self.processes = processes or os.cpu_count() or 1
        with _one_thread():
            self._pool = ProcessPoolExecutor(
                self.processes,
                mp_context=multiprocessing.get_context("spawn"),
                initializer=_begin,
                initargs=(data,),
            )
            # start every worker while the thread limits stand
            list(self._pool.map(_ready, range(2 * self.processes)))

    def __enter__(self) -> SolverPool:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._pool.shutdown()

    def solve(
        self,
        condition: Condition,
        factors: ConditionFactors = HEALTHY,
        *,
        set_by: SetBy,
        target: FloatArray,
    ) -> Solution:
        """As `solve`, for a target of shape (N,), split over the workers."""
        target = np.asarray(target, dtype=float)
        size = min(CHUNK, -(-len(target) // self.processes)) or 1
        parts = [slice(i, i + size) for i in range(0, len(target), size)]
        jobs = [(subset(condition, p), subset(factors, p), set_by, target[p]) for p in parts]
        done = list(self._pool.map(_work, jobs))
        return Solution(
            self.model,
            condition,
            factors,
            set_by,
            target,
            np.concatenate([d[0] for d in done], axis=1),
            {k: np.concatenate([d[1][k] for d in done]) for k in OUTPUTS},
            np.concatenate([d[2] for d in done]),
            np.concatenate([d[3] for d in done]),
        )


@contextmanager
def _one_thread() -> Iterator[None]:
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield
    finally:
        for name, x in before.items():
            if x is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = x


_models: list[EngineModel] = []
"""The worker's engine; filled once when the worker starts."""


def _begin(data: EngineData) -> None:
    _models.append(EngineModel(data))
    operating_line(_models[0])


def _ready(_: int) -> int:
    return os.getpid()


def _work(job: tuple[Condition, ConditionFactors, SetBy, Any]) -> tuple[Any, Any, Any, Any]:
    condition, factors, set_by, target = job
    s = solve(_models[0], condition, factors, set_by=set_by, target=target)
    return s.x, s.values, s.status, s.iterations
