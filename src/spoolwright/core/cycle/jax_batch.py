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
    x = start
    for _ in range(STEPS):
        x, size = step(x, packed)
        if float(size.max()) < _SMALL:
            break
    result: dict[str, Any] = finish(x, packed)
    return result


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
    try:
        import jax
        from jax import lax
        from jax import numpy as jnp
    except ImportError:
        raise MissingExtra("JAX is not installed.", mend="Install the extra: spoolwright[gpu].") from None
    jax.config.update("jax_enable_x64", True)
    model = model.with_gas(JaxMixture(model.gas.hydrogen_to_carbon))

    def residuals(x: Any, case: Any) -> Any:
        path, condition, factors = _path(model, x, case)
        last = setting_residual(model, path, condition, factors, set_by, case[-1])
        r = jnp.stack([*path.residuals, last])
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


def _path(model: EngineModel, x: Any, case: Any) -> tuple[GasPath, Condition, ConditionFactors]:
    split = len(fields(Condition))
    condition, factors = Condition(*case[:split]), ConditionFactors(*case[split:-1])
    return GasPath(model, Inlet(model, condition), list(x), condition, factors), condition, factors
