"""Newton's method for many small systems at once, and a quasi-Newton iteration for one on plain floats.

Finished cases leave the batch. The small dense solve is written out: it works alike on NumPy and JAX
arrays, and makes a singular case NaN instead of raising for the whole batch.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.numerics import Dual, FloatArray, Number, namespace, seeds

Residuals: TypeAlias = Callable[[list[Dual], NDArray[np.intp]], Sequence[Dual]]
"""Residuals of the cases with the given indices, at the given unknowns."""

_BROYDEN_CAP: Final = 0.3  # largest change of an unknown in one step
MOST_BROYDEN: Final = 25
"""Evaluations after which the quasi-Newton iteration gives up [-]."""


@dataclass(frozen=True)
class NewtonResult:
    """Where a batched Newton iteration ended.

    Parameters
    ----------
    x : array, shape (n, N)
        Unknowns; where not converged, the last finite ones [-].
    converged : array of bool, shape (N,)
        Whether the last step was small [-].
    iterations : array of int, shape (N,)
        Jacobians evaluated for each case [-].
    """

    x: FloatArray
    converged: NDArray[np.bool_]
    iterations: NDArray[np.intp]


def newton(
    residuals: Residuals, start: FloatArray, *, cap: float, small: float = 1e-7, most: int = 25
) -> NewtonResult:
    """Newton's method on N independent systems of n equations, with the step capped.

    Parameters
    ----------
    residuals : callable
        Dual residuals for a subset of the cases [-].
    start : array, shape (n, N)
        Starting unknowns [-].
    cap : float
        Largest change of any unknown in one step [-].
    small : float
        A case is done after a step in which no unknown changes more; what is left goes with its square [-].
    most : int
        Most Jacobians for a case [-].

    Returns
    -------
    NewtonResult
        Unknowns and whether each case converged [-].
    """
    x = np.array(start, dtype=float)
    active = np.arange(x.shape[1])
    converged = np.zeros(len(active), dtype=bool)
    iterations = np.zeros(len(active), dtype=np.intp)
    for _ in range(most):
        if len(active) == 0:
            break
        iterations[active] += 1
        with np.errstate(all="ignore"):
            r = residuals(seeds(list(x[:, active])), active)
            step = np.stack(solve_small([list(e.d) for e in r], [-e.v for e in r]))
            size = np.max(np.abs(step), axis=0)
            usable = np.isfinite(size)
            step = step * np.minimum(1.0, cap / np.maximum(size, 1e-300))
        active, step, size = active[usable], step[:, usable], size[usable]
        x[:, active] += step
        done = size < small
        converged[active[done]] = True
        active = active[~done]
    return NewtonResult(x, converged, iterations)


def solve_small(a: list[list[Number]], b: list[Number]) -> list[Number]:
    """Solve n linear equations by elimination with row pivoting, written out over a batch.

    Parameters
    ----------
    a : n lists of n arrays of shape (N,)
        Matrix, row by row; taken over and overwritten [-].
    b : list of n arrays of shape (N,)
        Right-hand side; taken over and overwritten [-].

    Returns
    -------
    list of n arrays of shape (N,)
        Solution; not finite where the matrix is singular [-].

    References
    ----------
    Golub and Van Loan, Matrix Computations, 4th ed. (Johns Hopkins 2013), section 3.4.
    """
    n = len(b)
    for k in range(n):
        for i in range(k + 1, n):
            _swap_if_larger(a, b, k, i)
        inverse = 1.0 / a[k][k]
        for i in range(k + 1, n):
            f = a[i][k] * inverse
            a[i][k + 1 :] = [p - f * q for p, q in zip(a[i][k + 1 :], a[k][k + 1 :], strict=True)]
            b[i] = b[i] - f * b[k]
    for k in reversed(range(n)):
        for j in range(k + 1, n):
            b[k] = b[k] - a[k][j] * b[j]
        b[k] = b[k] / a[k][k]
    return b


def _swap_if_larger(a: list[list[Number]], b: list[Number], k: int, i: int) -> None:
    """Exchange rows k and i in those cases in which row i has the larger pivot."""
    larger: Any = abs(a[i][k]) > abs(a[k][k])
    xp = namespace(a[k][k])
    if xp is np and not np.any(larger):
        return
    for j in range(k, len(b)):
        a[k][j], a[i][j] = xp.where(larger, a[i][j], a[k][j]), xp.where(larger, a[k][j], a[i][j])
    b[k], b[i] = xp.where(larger, b[i], b[k]), xp.where(larger, b[k], b[i])


def broyden(
    equations: Callable[[list[float]], tuple[Any, list[float]]],
    x: list[float],
    inverse: list[list[float]],
    small: float = 1e-11,
) -> tuple[list[float], Any, int]:
    """Quasi-Newton iteration on plain floats from an approximate inverse Jacobian.

    Parameters
    ----------
    equations : callable
        Whatever the caller wants to keep, and n residuals, at given unknowns [-].
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
    kept
        What `equations` gave at x; None if not converged [-].
    count : int
        Evaluations [-].

    References
    ----------
    Broyden, A class of methods for solving nonlinear simultaneous equations, Math. Comp. 19 (1965) 577-593.
    """
    kept, r = equations(x)
    for count in range(1, MOST_BROYDEN):
        if max(map(abs, r)) < small:
            return x, kept, count
        step = [-sum(map(_times, row, r)) for row in inverse]
        size = max(map(abs, step))
        if size > _BROYDEN_CAP:
            step = [s * _BROYDEN_CAP / size for s in step]
        x = [a + b for a, b in zip(x, step, strict=True)]
        before = r
        kept, r = equations(x)
        _improve(inverse, step, [a - b for a, b in zip(r, before, strict=True)])
    return x, None, MOST_BROYDEN


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
