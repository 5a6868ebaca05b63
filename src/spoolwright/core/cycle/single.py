"""One case on plain floats: the same physics source, a quasi-Newton iteration from a stored Jacobian."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.line import operating_line
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.cycle.setting import SetBy, referred, setting_residual
from spoolwright.core.cycle.solution import Solution, Status, outputs, status_of

_CAP: Final = 0.3
_SMALL: Final = 1e-11
_MOST: Final = 25


def solve_one(
    model: EngineModel,
    condition: Condition,
    factors: ConditionFactors,
    set_by: SetBy,
    target: float,
    start: Any = None,
) -> Solution | None:
    """Operating point of one case given in plain floats.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    condition, factors : Condition, ConditionFactors
        Fields all floats [-].
    set_by : str
        Which quantity is set [-].
    target : float
        Its value [unit of the quantity].
    start : sequence of 5 floats, optional
        Unknowns of a neighbouring solution [-].

    Returns
    -------
    Solution or None
        None if not converged within the bounds (the batch solver then takes over) [-].

    References
    ----------
    Broyden, A class of methods for solving nonlinear simultaneous equations, Math. Comp. 19 (1965) 577-593.
    """
    line, inlet = operating_line(model), Inlet(model, condition)
    x, near = line.start_one(set_by, referred(model, inlet, condition, set_by, target))
    if start is not None:
        x = [float(v) for v in start]
    inverse = line.inverse_jacobian(set_by, near)

    def equations(x: list[float]) -> tuple[GasPath, list[float]]:
        path = GasPath(model, inlet, x, condition, factors)
        return path, [*path.residuals, setting_residual(model, path, condition, factors, set_by, target)]

    try:
        x, path, count = broyden(equations, x, inverse)
    except (ValueError, OverflowError, ZeroDivisionError):
        return None
    if path is None:
        return None
    values = outputs(model, path, condition, factors)
    status = int(status_of(model, values))
    if status != Status.SOLVED:
        return None
    return Solution(model, condition, factors, set_by, target, np.array(x), values, status, count)


def broyden(
    equations: Any, x: list[float], inverse: list[list[float]], small: float = _SMALL
) -> tuple[list[float], GasPath | None, int]:
    """Quasi-Newton iteration on plain floats from an approximate inverse Jacobian.

    Parameters
    ----------
    equations : callable
        Gas path and residuals at given unknowns [-].
    x : list of n floats
        Starting unknowns [-].
    inverse : list of n lists of n floats
        Approximate inverse of the Jacobian; improved in place [-].
    small : float
        Largest residual that counts as zero [-].

    Returns
    -------
    x : list of float
        Unknowns [-].
    path : GasPath or None
        Gas path at x; None if not converged [-].
    count : int
        Evaluations [-].
    """
    path, r = equations(x)
    for count in range(1, _MOST):
        if max(map(abs, r)) < small:
            return x, path, count
        step = [-sum(map(_times, row, r)) for row in inverse]
        size = max(map(abs, step))
        if size > _CAP:
            step = [s * _CAP / size for s in step]
        x = [a + b for a, b in zip(x, step, strict=True)]
        before = r
        path, r = equations(x)
        _improve(inverse, step, [a - b for a, b in zip(r, before, strict=True)])
    return x, None, _MOST


def _times(a: float, b: float) -> float:
    return a * b


def _improve(inverse: list[list[float]], step: list[float], change: list[float]) -> None:
    """Broyden's rank-one update of the inverse."""
    reached = [sum(map(_times, row, change)) for row in inverse]
    scale = sum(map(_times, step, reached))
    if abs(scale) < 1e-300:
        return
    left = [(s - g) / scale for s, g in zip(step, reached, strict=True)]
    right = [sum(s * row[j] for s, row in zip(step, inverse, strict=True)) for j in range(len(step))]
    for row, u in zip(inverse, left, strict=True):
        row[:] = [a + u * v for a, v in zip(row, right, strict=True)]
