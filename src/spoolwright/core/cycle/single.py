"""One case on plain floats: the same physics source, a quasi-Newton iteration from a stored Jacobian."""

from __future__ import annotations

from typing import Any

import numpy as np

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.line import operating_line
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.cycle.setting import SetBy, referred, setting_residual
from spoolwright.core.cycle.solution import Solution, Status, outputs, status_of
from spoolwright.core.newton import broyden


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
