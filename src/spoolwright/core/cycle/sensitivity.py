"""How outputs answer to conditions and module factors at a held setting, by the implicit function theorem."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np

from spoolwright.core.cycle.cases import Cases
from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import UNKNOWNS
from spoolwright.core.cycle.solution import OUTPUTS, Solution, outputs
from spoolwright.core.newton import solve_small
from spoolwright.core.numerics import Dual, FloatArray
from spoolwright.errors import InputError

_CONDITIONS: Final = tuple(f.name for f in fields(Condition))
_FACTORS: Final = tuple(f.name for f in fields(ConditionFactors))
PARAMETERS: Final = (*_CONDITIONS, *(n for n in _FACTORS if n not in _CONDITIONS), "target")
"""Everything that a derivative can be taken with respect to; `target` is the value of the set quantity."""

_CHUNK: Final = 1000


@dataclass(frozen=True)
class Sensitivities:
    """Derivatives of outputs at a held setting.

    Parameters
    ----------
    of : tuple of str
        Outputs, see `OUTPUTS` [-].
    with_respect_to : tuple of str
        Parameters, see `PARAMETERS` [-].
    derivative : array, shape (len(of), len(with_respect_to), N)
        Derivative [output's unit / parameter's unit].
    value : array, shape (len(of), N)
        The outputs themselves [see `OUTPUTS`].
    """

    of: tuple[str, ...]
    with_respect_to: tuple[str, ...]
    derivative: FloatArray
    value: FloatArray

    def of_by(self, output: str, parameter: str) -> FloatArray:
        """Derivative of one output by one parameter, shape (N,)."""
        d = self.derivative[self.of.index(output), self.with_respect_to.index(parameter)]
        return np.asarray(d)

    def relative(self) -> FloatArray:
        """Derivatives over the output's own value, shape as `derivative` [per unit of the parameter]."""
        return np.asarray(self.derivative / self.value[:, None])


def sensitivities(
    solution: Solution, with_respect_to: Sequence[str], of: Sequence[str] = tuple(OUTPUTS)
) -> Sensitivities:
    """Derivatives of a solution's outputs, the set quantity held at its target.

    Parameters
    ----------
    solution : Solution
        Solved cases [-].
    with_respect_to : sequence of str
        Names of `Condition` or `ConditionFactors` fields, or "target" [-].
    of : sequence of str
        Names of outputs; default all [-].

    Returns
    -------
    Sensitivities
        NaN where a case is not converged [-].

    Raises
    ------
    InputError
        An unknown name.

    Notes
    -----
    Derivatives are per unit of the parameter, so for a factor near 1 per unit of relative change. They are
    exact; where the gas data change segment (1000 K) and at the ends of the handling-bleed ramp they turn
    quickly, so that a finite difference across such a place differs.

    References
    ----------
    Griewank and Walther, Evaluating Derivatives, 2nd ed. (SIAM 2008), section 15.1 (implicit functions).
    """
    for name in with_respect_to:
        if name not in PARAMETERS:
            raise InputError(f"unknown parameter {name!r}", mend=f"Use one of {', '.join(PARAMETERS)}.")
    for name in of:
        if name not in OUTPUTS:
            raise InputError(f"unknown output {name!r}", mend=f"Use one of {', '.join(OUTPUTS)}.")
    x = np.reshape(solution.x, (len(UNKNOWNS), -1))
    count = x.shape[1]
    target = np.broadcast_to(np.asarray(solution.target, dtype=float), (count,))
    cases = Cases(solution.model, solution.condition, solution.factors, solution.set_by, target)
    parts = [
        _chunk(cases.take(slice(i, i + _CHUNK)), x[:, i : i + _CHUNK], with_respect_to, of)
        for i in range(0, count, _CHUNK)
    ]
    derivative = np.concatenate([p[0] for p in parts], axis=-1)
    value = np.concatenate([p[1] for p in parts], axis=-1)
    return Sensitivities(tuple(of), tuple(with_respect_to), derivative, value)


def _chunk(
    cases: Cases, x: FloatArray, wrt: Sequence[str], of: Sequence[str]
) -> tuple[FloatArray, FloatArray]:
    n, count = x.shape
    width = n + len(wrt)
    seeded = [_seed(row, i, width, count) for i, row in enumerate(x)]
    cases = _with_seeds(cases, wrt, n, width, count)
    with np.errstate(all="ignore"):
        path = cases.path(seeded)
        rows = [_direction(r, width, count) for r in cases.equations(path)]
        values = outputs(cases.model, path, cases.condition, cases.factors)
        wanted = [values[name] for name in of]
        by_all = np.array([_direction(v, width, count) for v in wanted])
        derivative = by_all[:, n:].copy()
        for k in range(len(wrt)):
            move = solve_small([list(r[:n]) for r in rows], [-r[n + k] for r in rows])
            derivative[:, k] += np.einsum("oin,in->on", by_all[:, :n], np.array(move))
    return derivative, np.array([np.broadcast_to(_value(v), (count,)) for v in wanted])


def _with_seeds(cases: Cases, wrt: Sequence[str], n: int, width: int, count: int) -> Cases:
    changes: dict[str, dict[str, Any]] = {"condition": {}, "factors": {}}
    target: Any = cases.target
    for k, name in enumerate(wrt):
        if name == "target":
            target = _seed(cases.target, n + k, width, count)
            continue
        record = "condition" if name in _CONDITIONS else "factors"
        changes[record][name] = _seed(getattr(getattr(cases, record), name), n + k, width, count)
    return replace(
        cases,
        condition=replace(cases.condition, **changes["condition"]),
        factors=replace(cases.factors, **changes["factors"]),
        target=target,
    )


def _seed(x: Any, i: int, width: int, count: int) -> Dual:
    d = np.zeros((width, count))
    d[i] = 1.0
    return Dual(np.broadcast_to(np.asarray(x, dtype=float), (count,)), d)


def _direction(x: Any, width: int, count: int) -> FloatArray:
    if not isinstance(x, Dual):
        return np.zeros((width, count))
    return np.array(np.broadcast_to(x.d, (width, count)))


def _value(x: Any) -> Any:
    return x.v if isinstance(x, Dual) else x
