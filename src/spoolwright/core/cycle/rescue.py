"""For a case that Newton's method lost: follow its own operating line from the reference speed to the target.

The line is followed in corrected gas generator speed, along which every quantity is single-valued, until
the target is passed (then Newton's method starts next to it) or the line ends (then the case is infeasible).
Bounds are looked at in the end only: a line may run through surge where the bleed shuts, and come back.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.cases import Cases
from spoolwright.core.cycle.line import STEP_CAP, operating_line
from spoolwright.core.cycle.solution import Status, outputs, status_of
from spoolwright.core.newton import newton
from spoolwright.core.numerics import FloatArray, value

_STEP: Final = 0.02  # of ln corrected speed
_MOST: Final = 80
_HOPELESS: Final = 2500.0  # K at the turbine inlet: no line comes back from there


def rescue(cases: Cases) -> tuple[FloatArray, NDArray[np.intp], NDArray[np.intp]]:
    """Find or exclude the operating point of each case.

    Parameters
    ----------
    cases : Cases
        N cases [-].

    Returns
    -------
    x : array, shape (5, N)
        Unknowns: the solution, or the last point reached [-].
    status : array of int, shape (N,)
        SOLVED, the bound that was met, or NOT_CONVERGED [-].
    iterations : array of int, shape (N,)
        Jacobians evaluated [-].
    """
    N = len(cases)
    status = np.full(N, int(Status.NOT_CONVERGED), dtype=np.intp)
    begin = operating_line(cases.model).start("ng", _reference(cases))
    x, ok, iterations = _at_speed(cases, np.repeat(begin, N, axis=1))
    gap = _gap(cases, x)
    direction = np.where(gap < 0.0, 1.0, -1.0)
    active = np.flatnonzero(ok & np.isfinite(gap))
    for _ in range(_MOST):
        if len(active) == 0:
            break
        part = cases.take(active)
        guess = x[:, active].copy()
        guess[0] += _STEP * direction[active]
        new, ok, more = _at_speed(part, guess)
        iterations[active] += more
        passed = ok & (_gap(part, new) * direction[active] >= 0.0)
        _finish(cases, active[passed], x, new[:, passed], status, iterations)
        why = _end(part, new, x[:, active], ok)
        ended = ~passed & (why != Status.SOLVED)
        status[active[ended]] = why[ended]
        x[:, active] = np.where(passed | ~ok, x[:, active], new)
        active = active[~passed & ~ended]
    return x, status, iterations


def _reference(cases: Cases) -> FloatArray:
    return np.array([cases.model.data.reference.gas_generator_speed])


def _at_speed(cases: Cases, guess: FloatArray) -> tuple[FloatArray, NDArray[np.bool_], NDArray[np.intp]]:
    """Unknowns at the corrected speed of the guess."""
    inlet = cases.inlet()
    reference = cases.model.data.reference.gas_generator_speed / cases.model.sound
    speed = np.exp(guess[0]) * inlet.sound * reference
    r = newton(cases.setting("ng", speed).residuals, guess, cap=STEP_CAP)
    return r.x, r.converged, r.iterations


def _gap(cases: Cases, x: FloatArray) -> FloatArray:
    """Logarithm of what the engine gives over what is asked."""
    with np.errstate(all="ignore"):
        return np.asarray(value(cases.equations(cases.path(x))[-1]))


def _bound(cases: Cases, x: FloatArray) -> NDArray[np.intp]:
    with np.errstate(all="ignore"):
        return status_of(cases.model, outputs(cases.model, cases.path(x), cases.condition, cases.factors))


def _end(cases: Cases, x: FloatArray, before: FloatArray, ok: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Why a line ends before its target: a status, or SOLVED where it goes on."""
    speed = cases.model.data.compressor.map.speed
    hot = np.exp(x[2]) * cases.model.data.reference.turbine_inlet_temperature > _HOPELESS
    status = np.where(hot, int(Status.GAS_RANGE), int(Status.SOLVED))
    status = np.where(x[0] > np.log(speed[-1]), int(Status.ABOVE_SPEED), status)
    status = np.where(x[0] < np.log(speed[0]), int(Status.BELOW_SPEED), status)
    if np.all(ok):
        return status
    bound = _bound(cases, before)
    bound = np.where(bound == Status.SOLVED, int(Status.NOT_CONVERGED), bound)
    return np.where(ok, status, bound)


def _finish(
    cases: Cases,
    index: NDArray[np.intp],
    x: FloatArray,
    beyond: FloatArray,
    status: NDArray[np.intp],
    iterations: NDArray[np.intp],
) -> None:
    """Newton's method from the place where the target was passed."""
    if len(index) == 0:
        return
    part = cases.take(index)
    before = x[:, index]
    low, high = _gap(part, before), _gap(part, beyond)
    weight = np.clip(low / np.where(low == high, 1.0, low - high), 0.0, 1.0)
    r = newton(part.residuals, before + weight * (beyond - before), cap=0.1)
    near = np.abs(r.x[0] - before[0]) < 3.0 * _STEP
    iterations[index] += r.iterations
    found = r.converged & near
    x[:, index[found]] = r.x[:, found]
    status[index[found]] = _bound(part.take(found), r.x[:, found])
