"""Solve for the operating point at any set condition: one case on plain floats, many as a batch."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.cases import Cases, subset
from spoolwright.core.cycle.condition import HEALTHY, Condition, ConditionFactors
from spoolwright.core.cycle.line import STEP_CAP, operating_line
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.cycle.rescue import rescue
from spoolwright.core.cycle.setting import SETTINGS, SetBy, referred
from spoolwright.core.cycle.single import solve_one
from spoolwright.core.cycle.solution import OUTPUTS, Solution, Status, outputs, status_of
from spoolwright.core.newton import newton
from spoolwright.core.numerics import FloatArray
from spoolwright.errors import InputError, RangeError

CHUNK: Final = 8000
"""Cases solved together: more would leave the processor's cache, fewer pay more for each call [-]."""

_Record = TypeVar("_Record", Condition, ConditionFactors)


def solve(
    model: EngineModel,
    condition: Condition,
    factors: ConditionFactors = HEALTHY,
    *,
    set_by: SetBy,
    target: float | FloatArray,
    start: FloatArray | None = None,
) -> Solution:
    """Operating point of an engine in a given state at given conditions.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    condition, factors : Condition, ConditionFactors
        Where it runs and in what state; fields floats or arrays of one shape (N,) [-].
    set_by : {"power", "torque", "ng", "mgt", "fuel_flow", "turbine_inlet_temperature"}
        Which quantity is set [-].
    target : float or array of shape (N,)
        Its value [W, N m, rpm, K, kg/s, K].
    start : array of shape (5,) or (5, N), optional
        Unknowns of a neighbouring solution (`Solution.x`); default the nominal operating line [-].

    Returns
    -------
    Solution
        Every station and output, a status for each case; floats if everything given is a float [-].

    Raises
    ------
    InputError
        Arrays of different shape, an unknown setting, a value that is not finite.
    RangeError
        A pressure, speed, heating value or target is not positive, or an inlet not within 200 to 400 K.

    Notes
    -----
    Newton's method in logarithms of the unknowns, exact Jacobians, the step capped. A case that does not
    converge within the bounds is followed from the reference speed along its own operating line until it is
    found or the line ends. Set by MGT, the engine may run at two speeds near idle: the faster is returned.
    """
    if set_by not in SETTINGS:
        raise InputError(f"unknown setting {set_by!r}", mend=f"Use one of {', '.join(SETTINGS)}.")
    condition, factors = _checked(condition), _checked(factors)
    target = np.asarray(target, dtype=float)
    _check_values(condition, set_by, target)
    size = _size(condition, factors, target)
    if size is None:
        one = solve_one(model, condition, factors, set_by, float(target), start)
        if one is not None:
            return one
    count = 1 if size is None else size
    cases = Cases(model, condition, factors, set_by, np.broadcast_to(target, (count,)))
    parts = []
    for first in range(0, max(count, 1), CHUNK):
        part = slice(first, min(first + CHUNK, count))
        begin = None if start is None else np.broadcast_to(np.reshape(start, (5, -1)), (5, count))[:, part]
        parts.append(_solve_batch(cases.take(part) if count > CHUNK else cases, begin))
    out = _joined(parts, cases, target)
    return out if size is not None else _first(out)


def _solve_batch(cases: Cases, start: FloatArray | None) -> Solution:
    model, inlet = cases.model, cases.inlet()
    if start is None:
        value = referred(model, inlet, cases.condition, cases.set_by, cases.target)
        start = operating_line(model).start(cases.set_by, value)
    result = newton(cases.residuals, start, cap=STEP_CAP)
    x, iterations = result.x, result.iterations
    values = _values(cases, x, inlet)
    status = np.where(result.converged, status_of(model, values), int(Status.NOT_CONVERGED))
    lost = np.flatnonzero(_doubtful(cases, x, status))
    if len(lost):
        found, verdict, more = rescue(cases.take(lost))
        iterations[lost] += more
        # a point beyond a bound still tells how far beyond
        better = (verdict == Status.SOLVED) | ~result.converged[lost]
        x[:, lost[better]] = found[:, better]
        status[lost[better]] = verdict[better]
        values = _values(cases, x, inlet)
        values = {k: np.where(status == Status.NOT_CONVERGED, np.nan, v) for k, v in values.items()}
    return Solution(
        model, cases.condition, cases.factors, cases.set_by, cases.target, x, values, status, iterations
    )


def _doubtful(cases: Cases, x: FloatArray, status: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Cases for which another point may exist that is within the bounds, or faster.

    Power, torque and fuel flow rise all along an operating line, so a point beyond a bound is the only one;
    the temperatures have a minimum near idle, and two points above it.
    """
    if cases.set_by not in ("mgt", "turbine_inlet_temperature"):
        return np.isin(status, (Status.NOT_CONVERGED, Status.BELOW_SPEED))
    slow = x[0] < operating_line(cases.model).coldest(cases.set_by) + 0.15
    return np.asarray(slow | (status != Status.SOLVED))


def _values(cases: Cases, x: FloatArray, inlet: Inlet) -> dict[str, FloatArray]:
    with np.errstate(all="ignore"):
        values = outputs(cases.model, cases.path(x, inlet), cases.condition, cases.factors)
    return {k: np.broadcast_to(v, (len(cases),)) for k, v in values.items()}


def _joined(parts: list[Solution], cases: Cases, target: Any) -> Solution:
    if len(parts) == 1:
        return parts[0]
    return Solution(
        cases.model,
        cases.condition,
        cases.factors,
        cases.set_by,
        cases.target,
        np.concatenate([p.x for p in parts], axis=1),
        {k: np.concatenate([p.values[k] for p in parts]) for k in OUTPUTS},
        np.concatenate([p.status for p in parts]),
        np.concatenate([p.iterations for p in parts]),
    )


def _first(s: Solution) -> Solution:
    """A batch of one as a single case."""
    return replace(
        s,
        condition=subset(s.condition, 0),
        factors=subset(s.factors, 0),
        target=float(s.target[0]),
        x=s.x[:, 0],
        values={k: float(v[0]) for k, v in s.values.items()},
        status=int(s.status[0]),
        iterations=int(s.iterations[0]),
    )


# checks


def _checked(record: _Record) -> _Record:
    """The record with plain floats and float arrays only."""
    changes = {}
    for f in fields(record):
        x = getattr(record, f.name)
        if type(x) is float:
            continue
        a = np.asarray(x, dtype=float)
        changes[f.name] = a if a.ndim else float(a)
    return replace(record, **changes) if changes else record


def _size(condition: Condition, factors: ConditionFactors, target: Any) -> int | None:
    """Number of cases; None if everything is a float."""
    arrays = [x for r in (condition, factors) for x in vars(r).values() if isinstance(x, np.ndarray)]
    shapes = {a.shape for a in (*arrays, target) if a.ndim}
    if not shapes:
        return None
    if len(shapes) > 1 or any(len(s) != 1 for s in shapes):
        raise InputError(
            f"arrays of different shape: {sorted(shapes)}", mend="Give floats or equal shapes (N,)."
        )
    return int(next(iter(shapes))[0])


_POSITIVE: Final = (
    "pressure",
    "output_speed",
    "lower_heating_value",
    "exhaust_pressure_ratio",
    "fuel_temperature",
)


def _check_values(condition: Condition, set_by: SetBy, target: Any) -> None:
    for f in fields(condition):
        if not np.all(np.isfinite(getattr(condition, f.name))):
            raise InputError(f"{f.name} holds a value that is not finite", mend="Leave that case out.")
    may_be_zero = set_by in ("power", "torque")
    if not np.all(np.isfinite(target)) or np.any(target < 0.0 if may_be_zero else target <= 0.0):
        raise RangeError(f"a target of {set_by} is not positive or not finite", mend="Leave that case out.")
    for name in _POSITIVE:
        if np.any(np.asarray(getattr(condition, name)) <= 0.0):
            raise RangeError(f"{name} is not positive", mend="Check the value and its unit.")
    T = np.asarray(condition.temperature)
    if np.any((T < 200.0) | (T > 400.0)):
        raise RangeError(
            f"inlet temperature {T.flat[np.argmax(abs(T - 300.0))]:.2f} K is outside 200 to 400 K",
            mend="Give kelvin.",
        )
