"""The nominal operating line: the healthy engine at its reference inlet; every solve starts there."""

from __future__ import annotations

import math
from bisect import bisect_right
from functools import lru_cache

import numpy as np

from spoolwright.core.cycle.cases import Cases
from spoolwright.core.cycle.condition import HEALTHY
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.cycle.setting import SETTINGS, SetBy, set_value
from spoolwright.core.newton import MOST_BROYDEN, broyden
from spoolwright.core.numerics import FloatArray, seeds
from spoolwright.errors import InputError

STEP_CAP = 0.5
"""Largest change of an unknown in one Newton step [-]."""

_SPACING = 0.02


@lru_cache(maxsize=64)
def operating_line(model: EngineModel) -> OperatingLine:
    """The nominal operating line of a model, worked out at the first call.

    Parameters
    ----------
    model : EngineModel
        The engine [-].

    Returns
    -------
    OperatingLine
        Starting unknowns for any setting [-].
    """
    return OperatingLine(model)


class OperatingLine:
    """Unknowns along the nominal line, by the value of whichever quantity is set.

    Parameters
    ----------
    model : EngineModel
        The engine [-].

    Raises
    ------
    InputError
        The engine does not run at its own reference point.
    """

    def __init__(self, model: EngineModel) -> None:
        speed = model.data.compressor.map.speed
        inverse = _inverses(model, np.zeros((5, 1)), "ng")[0]
        up = _trace(model, inverse, np.arange(1.0, speed[-1] + 1e-9, _SPACING).tolist())
        down = _trace(model, inverse, np.arange(1.0, speed[0] - 1e-9, -_SPACING).tolist())
        if not up or not down:
            raise InputError("the engine model does not close at its reference point", where=model.data.name)
        self.x = np.array([*down[:0:-1], *up]).T
        cases = _cases(model, np.exp(self.x[0]))
        path = cases.path(self.x)
        self.values: dict[str, FloatArray] = {}
        for name in SETTINGS:
            values = set_value(path, name) if name != "torque" else path.power
            # only the rising part can be looked up
            self.values[name] = np.maximum.accumulate(np.asarray(values))
        self._model = model
        self._inverses: dict[SetBy, list[list[list[float]]]] = {}
        self._rows = [tuple(row) for row in self.x.T.tolist()]
        self._lists = {k: v.tolist() for k, v in self.values.items()}

    def start(self, set_by: SetBy, value: FloatArray) -> FloatArray:
        """Unknowns on the line at a referred value, shape (5, N)."""
        v = self.values[set_by]
        i = np.clip(np.searchsorted(v, value) - 1, 0, len(v) - 2)
        w = np.clip((value - v[i]) / np.maximum(v[i + 1] - v[i], 1e-12 * v[-1]), 0.0, 1.0)
        return np.asarray((1.0 - w) * self.x[:, i] + w * self.x[:, i + 1])

    def coldest(self, set_by: SetBy) -> float:
        """ln corrected speed up to which the quantity does not rise along the line [-]."""
        v = self.values[set_by]
        return float(self.x[0, np.searchsorted(v, v[0], side="right") - 1])

    def start_one(self, set_by: SetBy, value: float) -> tuple[list[float], int]:
        """The same for one float, and the index of the nearest point of the line."""
        v = self._lists[set_by]
        i = min(max(bisect_right(v, value) - 1, 0), len(v) - 2)
        w = min(max((value - v[i]) / max(v[i + 1] - v[i], 1e-12 * v[-1]), 0.0), 1.0)
        x = [a + w * (b - a) for a, b in zip(self._rows[i], self._rows[i + 1], strict=True)]
        return x, i if w < 0.5 else i + 1

    def inverse_jacobian(self, set_by: SetBy, i: int) -> list[list[float]]:
        """Inverse of the Jacobian at point i of the line (a fresh copy), for an iteration on floats."""
        if set_by not in self._inverses:
            self._inverses[set_by] = _inverses(self._model, self.x, set_by)
        return [list(row) for row in self._inverses[set_by][i]]


def _inverses(model: EngineModel, x: FloatArray, set_by: SetBy) -> list[list[list[float]]]:
    """Inverse Jacobians of the reference engine at points x (5, K)."""
    cases = Cases(model, model.data.condition(), HEALTHY, set_by, np.ones(x.shape[1]))
    rows = cases.equations(cases.path(seeds(list(x))))
    jacobian = np.stack([r.d for r in rows]).transpose(2, 0, 1)
    inverses: list[list[list[float]]] = np.linalg.inv(jacobian).tolist()
    return inverses


def _cases(model: EngineModel, corrected_speed: FloatArray) -> Cases:
    target = corrected_speed * model.data.reference.gas_generator_speed
    return Cases(model, model.data.condition(), HEALTHY, "ng", target)


def _trace(model: EngineModel, inverse: list[list[float]], speeds: list[float]) -> list[list[float]]:
    """Unknowns from the reference point outwards, as far as the engine runs."""
    condition = model.data.condition()
    inlet = Inlet(model, condition)
    points = [[0.0] * 5]
    inverse = [row.copy() for row in inverse]
    for n in speeds:
        log_speed = math.log(n)

        def equations(x: list[float], log_speed: float = log_speed) -> tuple[None, list[float]]:
            path = GasPath(model, inlet, x, condition, HEALTHY)
            return None, [*path.residuals, x[0] - log_speed]

        last = points[-1]
        guess = [2.0 * a - b for a, b in zip(last, points[-2], strict=True)] if len(points) > 1 else last
        try:
            x, _, count = broyden(equations, [log_speed, *guess[1:]], inverse)
        except (ValueError, OverflowError, ZeroDivisionError):
            break
        if count >= MOST_BROYDEN:
            break
        points.append(x)
    return points[1:]
