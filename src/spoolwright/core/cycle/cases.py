"""A batch of cases: conditions, factors and targets of which any subset can be taken."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.cycle.setting import SetBy, setting_residual
from spoolwright.core.numerics import Dual, FloatArray, Number

_Record = TypeVar("_Record", Condition, ConditionFactors)


def subset(record: _Record, index: Any) -> _Record:
    """The record with every array field indexed.

    Parameters
    ----------
    record : Condition or ConditionFactors
        Fields floats or arrays [-].
    index : array of int, slice or int
        Which cases [-].

    Returns
    -------
    Condition or ConditionFactors
        Floats stay as they are [-].
    """
    taken = {f.name: v[index] for f in fields(record) if isinstance(v := getattr(record, f.name), np.ndarray)}
    return replace(record, **taken)


@dataclass(frozen=True)
class Cases:
    """Cases of one engine, all set by the same quantity.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    condition, factors : Condition, ConditionFactors
        Fields floats or arrays of shape (N,) [-].
    set_by : str
        Which quantity is set [-].
    target : array, shape (N,)
        Its value [unit of the quantity].
    """

    model: EngineModel
    condition: Condition
    factors: ConditionFactors
    set_by: SetBy
    target: FloatArray

    def __len__(self) -> int:
        return len(self.target)

    def take(self, index: Any) -> Cases:
        """A subset of the cases."""
        return replace(
            self,
            condition=subset(self.condition, index),
            factors=subset(self.factors, index),
            target=self.target[index],
        )

    def setting(self, set_by: SetBy, target: FloatArray) -> Cases:
        """The same conditions set otherwise."""
        return replace(self, set_by=set_by, target=target)

    def inlet(self) -> Inlet:
        """What the conditions determine."""
        return Inlet(self.model, self.condition)

    def path(self, x: Any, inlet: Inlet | None = None) -> GasPath:
        """Gas path of all cases at the unknowns x (5 rows)."""
        return GasPath(self.model, inlet or self.inlet(), list(x), self.condition, self.factors)

    def equations(self, path: GasPath) -> list[Number]:
        """The five residuals."""
        last = setting_residual(self.model, path, self.condition, self.factors, self.set_by, self.target)
        return [*path.residuals, last]

    def residuals(self, x: list[Dual], index: NDArray[np.intp]) -> list[Dual]:
        """Residuals of a subset, in the form that the Newton iteration asks for."""
        part = self if len(index) == len(self) else self.take(index)
        return part.equations(part.path(x))
