"""Large batches on several processes."""

from __future__ import annotations

import multiprocessing
from concurrent.futures import ProcessPoolExecutor
from types import TracebackType
from typing import Any

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
    `if __name__ == "__main__":` guard. They inherit the environment: set OMP_NUM_THREADS=1 before NumPy is
    first imported, so that workers do not fight over the processors with linear-algebra threads.
    """

    def __init__(self, data: EngineData, processes: int | None = None) -> None:
        self.model = EngineModel(data)
        self.processes = processes or multiprocessing.cpu_count()
        spawn = multiprocessing.get_context("spawn")
        self._pool = ProcessPoolExecutor(
            self.processes, mp_context=spawn, initializer=_begin, initargs=(data,)
        )

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


_models: list[EngineModel] = []
"""The worker's engine; filled once when the worker starts."""


def _begin(data: EngineData) -> None:
    _models.append(EngineModel(data))
    operating_line(_models[0])


def _work(job: tuple[Condition, ConditionFactors, SetBy, Any]) -> tuple[Any, Any, Any, Any]:
    condition, factors, set_by, target = job
    s = solve(_models[0], condition, factors, set_by=set_by, target=target)
    return s.x, s.values, s.status, s.iterations
