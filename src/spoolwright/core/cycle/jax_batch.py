"""The same physics source under JAX: batched Newton, compiled once, for a GPU or other accelerator.

An optional extra. JAX differentiates the residuals; the small dense solve is written out. One Newton step
of the whole batch is one compiled program, called until the slowest case is done.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import lru_cache
from typing import Any

import numpy as np

from spoolwright.core.cycle.condition import HEALTHY, Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.jax_gas import JaxMixture
from spoolwright.core.cycle.line import STEP_CAP, operating_line
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.cycle.setting import SetBy, referred, setting_residual
from spoolwright.core.cycle.solution import outputs
from spoolwright.core.newton import solve_small
from spoolwright.errors import MissingExtra

STEPS = 15
"""Most Newton steps [-]."""

_SMALL = 1e-7


def jax_solve(
    model: EngineModel,
    condition: Condition,
    factors: ConditionFactors = HEALTHY,
    *,
    set_by: SetBy,
    target: Any,
) -> dict[str, Any]:
    """Outputs of a batch, computed by JAX on its default device.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    condition, factors : Condition, ConditionFactors
        Where the engine runs and in what state; fields floats or arrays of shape (N,) [-].
    set_by : str
        Which quantity is set [-].
    target : array, shape (N,)
        Its value [unit of the quantity].

    Returns
    -------
    dict
        JAX array of every output in `OUTPUTS`, and "residual": the largest residual left [see `OUTPUTS`].

    Raises
    ------
    MissingExtra
        JAX is not installed.

    Notes
    -----
    Double precision is switched on for the process. A case is solved where the residual is below 1e-9; judge
    bounds as `solve` does. The first call compiles (seconds); keep the batch size to avoid compiling anew.
    """
    count = len(target)
    packed = pack(condition, factors, target, count)
    start = operating_line(model).start(
        set_by, np.broadcast_to(referred(model, Inlet(model, condition), condition, set_by, target), (count,))
    )
    step, finish = compiled(model, set_by)
    return iterate(step, finish, start, packed)


def iterate(step: Callable[..., Any], finish: Callable[..., Any], start: Any, packed: Any) -> dict[str, Any]:
    """Newton steps of the whole batch until every case is done.

    Parameters
    ----------
    step, finish : callable
        As `compiled` gives them [-].
    start : array, shape (5, N)
        Starting unknowns [-].
    packed : array
        As `pack` gives it [-].

    Returns
    -------
    dict
        JAX array of every output, and "residual" [see `OUTPUTS`].
    """
    result: dict[str, Any] = finish(unknowns(step, start, packed), packed)
    return result


def unknowns(step: Callable[..., Any], start: Any, packed: Any) -> Any:
    """Newton steps of the whole batch until every case is done, without the outputs.

    Parameters
    ----------
    step : callable
        As `compiled` gives it [-].
    start : array, shape (5, N)
        Starting unknowns [-].
    packed : array
        As `pack` gives it [-].

    Returns
    -------
    array, shape (5, N)
        Unknowns, see `UNKNOWNS` [-].
    """
    x = start
    for _ in range(STEPS):
        x, size = step(x, packed)
        if float(size.max()) < _SMALL:
            break
    return x


def pack(condition: Condition, factors: ConditionFactors, target: Any, count: int) -> Any:
    """Condition, factors and target as one array, a row per field.

    Parameters
    ----------
    condition, factors : Condition, ConditionFactors
        Fields floats or arrays of shape (N,) [-].
    target : array, shape (N,)
        Target [unit of the set quantity].
    count : int
        N [-].

    Returns
    -------
    array, shape (fields + 1, N)
        Rows in the order of the fields [their own units].
    """
    rows = [*vars(condition).values(), *vars(factors).values(), target]
    return np.array([np.broadcast_to(np.asarray(r, dtype=float), (count,)) for r in rows])


@lru_cache(maxsize=32)
def compiled(model: EngineModel, set_by: SetBy) -> tuple[Callable[..., Any], Callable[..., Any]]:
    """Newton step and outputs of a batch, each one compiled program.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    set_by : str
        Which quantity is set [-].

    Returns
    -------
    step : callable
        Unknowns (5, N) and packed cases to new unknowns and the size of the step (N,) [-].
    finish : callable
        Unknowns and packed cases to the outputs by name and "residual" [see `OUTPUTS`].

    Raises
    ------
    MissingExtra
        JAX is not installed.
    """
    jax = _jax()
    from jax import lax
    from jax import numpy as jnp

    model = model.with_gas(JaxMixture(model.gas.hydrogen_to_carbon))

    def residuals(x: Any, case: Any) -> Any:
        r = _equations(model, set_by, *_path(model, x, case), case[-1])
        return r, r

    def step(x: Any, case: Any) -> tuple[Any, Any]:
        slopes, r = jax.jacfwd(residuals, has_aux=True)(x, case)
        # without the barrier the compiler repeats the whole gas path inside every element of the elimination
        slopes, r = lax.optimization_barrier((slopes, r))
        rows = [[slopes[i, j] for j in range(len(x))] for i in range(len(x))]
        change = jnp.stack(solve_small(rows, list(-r)))
        size = jnp.max(jnp.abs(change))
        # a case that is lost (NaN) does not keep the others waiting
        return x + change * jnp.minimum(1.0, STEP_CAP / size), jnp.nan_to_num(size)

    def finish(x: Any, case: Any) -> dict[str, Any]:
        path, condition, factors = _path(model, x, case)
        out = {k: jnp.asarray(v) for k, v in outputs(model, path, condition, factors).items()}
        return {**out, "residual": jnp.max(jnp.abs(residuals(x, case)[0]))}

    return jax.jit(jax.vmap(step, (1, 1), (1, 0))), jax.jit(jax.vmap(finish, (1, 1)))


@lru_cache(maxsize=32)
def compiled_outputs(model: EngineModel, set_by: SetBy, of: tuple[str, ...]) -> Callable[..., Any]:
    """Some outputs of a batch at given unknowns, one compiled program.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    set_by : str
        Which quantity is set [-].
    of : tuple of O str
        Names of outputs [-].

    Returns
    -------
    callable
        Unknowns (5, N) and packed cases to outputs (O, N) and the largest residual (N,) [see `OUTPUTS`].
    """
    jax = _jax()
    model = model.with_gas(JaxMixture(model.gas.hydrogen_to_carbon))

    def finish(x: Any, case: Any) -> tuple[Any, Any]:
        # without the barrier the compiler takes the whole gas path into the search for the largest residual
        rows, y = jax.lax.optimization_barrier(_rows(model, set_by, of, x, case))
        return y, jax.numpy.max(jax.numpy.abs(rows))

    return jax.jit(jax.vmap(finish, (1, 1), (1, 0)))  # type: ignore[no-any-return]


@lru_cache(maxsize=32)
def compiled_slopes(
    model: EngineModel, set_by: SetBy, of: tuple[str, ...], rows: tuple[int, ...]
) -> Callable[..., Any]:
    """Outputs of a batch with their derivatives by the implicit function theorem, one compiled program.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    set_by : str
        Which quantity is set [-].
    of : tuple of O str
        Names of outputs [-].
    rows : tuple of W int
        Rows of the packed cases by which to differentiate, see `pack` [-].

    Returns
    -------
    callable
        Unknowns (5, N) and packed cases to outputs (O, N), their derivatives (O, W, N), those of the unknowns
        (5, W, N), and the largest residual (N,) [units of `OUTPUTS` and of the rows].

    References
    ----------
    Griewank and Walther, Evaluating Derivatives, 2nd ed. (SIAM 2008), section 15.1 (implicit functions).
    """
    jax = _jax()
    from jax import lax
    from jax import numpy as jnp

    model, moved = model.with_gas(JaxMixture(model.gas.hydrogen_to_carbon)), np.array(rows)

    def slopes(x: Any, case: Any) -> tuple[Any, Any, Any, Any]:
        n = len(x)

        def everything(z: Any) -> Any:
            found = jnp.concatenate(_rows(model, set_by, of, z[:n], case.at[moved].set(z[n:])))
            return found, found

        d, f = lax.optimization_barrier(
            jax.jacfwd(everything, has_aux=True)(jnp.concatenate([x, case[moved]]))
        )
        square = [[d[i, j] for j in range(n)] for i in range(n)]
        move = lax.optimization_barrier(jnp.stack(solve_small(square, [-d[i, n:] for i in range(n)])))
        return f[n:], d[n:, n:] + d[n:, :n] @ move, move, jnp.max(jnp.abs(f[:n]))

    return jax.jit(jax.vmap(slopes, (1, 1), (1, 2, 2, 0)))  # type: ignore[no-any-return]


def _jax() -> Any:
    """JAX with double precision switched on."""
    try:
        import jax
    except ImportError:
        raise MissingExtra("JAX is not installed.", mend="Install the extra: spoolwright[gpu].") from None
    jax.config.update("jax_enable_x64", True)
    return jax


def _rows(model: EngineModel, set_by: SetBy, of: tuple[str, ...], x: Any, case: Any) -> tuple[Any, Any]:
    """Residuals and some outputs of one case."""
    from jax import numpy as jnp

    path, condition, factors = _path(model, x, case)
    values = outputs(model, path, condition, factors)
    wanted = jnp.stack([jnp.asarray(values[k]) for k in of])
    return _equations(model, set_by, path, condition, factors, case[-1]), wanted


def _equations(
    model: EngineModel,
    set_by: SetBy,
    path: GasPath,
    condition: Condition,
    factors: ConditionFactors,
    target: Any,
) -> Any:
    from jax import numpy as jnp

    last = setting_residual(model, path, condition, factors, set_by, target)
    return jnp.stack([*path.residuals, last])


def _path(model: EngineModel, x: Any, case: Any) -> tuple[GasPath, Condition, ConditionFactors]:
    split = len(fields(Condition))
    condition, factors = Condition(*case[:split]), ConditionFactors(*case[split:-1])
    return GasPath(model, Inlet(model, condition), list(x), condition, factors), condition, factors
