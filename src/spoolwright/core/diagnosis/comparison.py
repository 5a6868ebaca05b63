"""Runs against the engine model at their own conditions and gas generator speed.

The residual of an output is ln(observed / modelled). Set by speed, because speed is what a bench reads best;
the error of the speed reading goes into all residuals of a point, so that no information is lost by the
choice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.observation import ADDITIVE, CONDITIONS, OUTPUTS, Observation
from spoolwright.core.numerics import Dual, FloatArray, chain, log, value

FACTORS = tuple(f.name for f in fields(ConditionFactors))
"""Condition factors, in the order of every array over factors."""
HEALTHY_FACTORS = np.array([float(getattr(ConditionFactors(), f)) for f in FACTORS])
"""Their values in an engine just as the type's data say."""
UNIT = np.array([1.0 if f != "vane_offset" else math.degrees(1.0) for f in FACTORS])
"""What one unit of a factor's departure is: 1, for the vanes a radian [unit of the factor]."""
_MODELLED = tuple(dict.fromkeys(OUTPUTS.values()))


@dataclass(frozen=True)
class Compared:
    """A run's residuals and what moves them.

    Parameters
    ----------
    observation : Observation
        The run [-].
    outputs : tuple of K str
        Outputs that were observed [-].
    residual : array, shape (K, P)
        ln(observed / modelled), angles as differences [rad]; NaN where the model does not run [-].
    by_channel : array, shape (n, K, P)
        Derivatives with each reading [1 / inner unit].
    by_factor : array, shape (F, K, P)
        Derivatives of the modelled logarithm with each factor's departure, see `FACTORS` [-].
    factors : array, shape (F, P)
        Condition factors the model was run with [-].
    speed : array, shape (P,)
        ln of relative corrected gas generator speed [-].
    warmth : array, shape (P,)
        ln of inlet temperature over the reference temperature [-].
    humidity : array, shape (P,)
        Water-air ratio [kg/kg].
    lost : tuple of str
        What the model could not run, in words [-].
    """

    observation: Observation
    outputs: tuple[str, ...]
    residual: FloatArray
    by_channel: FloatArray
    by_factor: FloatArray
    factors: FloatArray
    speed: FloatArray
    warmth: FloatArray
    humidity: FloatArray
    lost: tuple[str, ...] = ()

    @property
    def vector(self) -> FloatArray:
        """Residuals as one vector, output by output, shape (K P,) [-]."""
        return self.residual.ravel()

    def errors(self) -> FloatArray:
        """What every error of the run gives to the residuals, shape (E, K P) [-]."""
        by = np.einsum("enp,nkp->ekp", self.observation.errors, self.by_channel)
        return np.asarray(by.reshape(by.shape[0], -1))


def factor_record(factors: FloatArray) -> ConditionFactors:
    """Condition factors as the engine model takes them.

    Parameters
    ----------
    factors : array, shape (F, N)
        Values in the order of `FACTORS` [-].

    Returns
    -------
    ConditionFactors
        Arrays of shape (N,) [-].
    """
    return ConditionFactors(**{name: factors[i] for i, name in enumerate(FACTORS)})


def condition_of(observation: Observation) -> dict[str, FloatArray]:
    """Conditions of a run's points as plain arrays.

    Parameters
    ----------
    observation : Observation
        The run [-].

    Returns
    -------
    dict
        Condition to values, shape (P,) [inner unit].
    """
    shape = (observation.size,)
    return {
        c: np.array(np.broadcast_to(np.asarray(value(observation.conditions[c]), dtype=float), shape))
        for c in CONDITIONS
    }


def compared(
    model: EngineModel, observations: Sequence[Observation], factors: Sequence[FloatArray] | None = None
) -> list[Compared]:
    """Compare runs with the model, all points in one batch.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    observations : sequence of Observation
        Runs; at least one [-].
    factors : sequence of array, shape (F, P), or None
        Condition factors to run the model with at each run's points; healthy when None [-].

    Returns
    -------
    list of Compared
        One a run [-].
    """
    at = [condition_of(o) for o in observations]
    sizes = [o.size for o in observations]
    if factors is None:
        factors = [np.repeat(HEALTHY_FACTORS[:, None], n, axis=1) for n in sizes]
    joined = {c: np.concatenate([a[c] for a in at]) for c in CONDITIONS}
    speed = np.concatenate([np.asarray(value(o.speed), dtype=float) for o in observations])
    solution = solve(
        model, Condition(**joined), factor_record(np.concatenate(factors, axis=1)), set_by="ng", target=speed
    )
    found = sensitivities(solution, ("target", *CONDITIONS, *FACTORS), _MODELLED)
    solved = np.asarray(solution.solved)
    values = np.where(solved, found.value, np.nan)
    corrected = np.log(np.asarray(solution.corrected_speed, dtype=float))
    out, start = [], 0
    for n, (o, a) in enumerate(zip(observations, at, strict=True)):
        rows = slice(start, start + o.size)
        start = rows.stop
        lost = tuple(solution.sentence(i) for i in range(rows.start, rows.stop) if not solved[i])
        warmth = np.log(a["temperature"] / model.data.reference.temperature)
        residual, by_channel, by_factor = _residuals(o, values[:, rows], found.derivative[:, :, rows])
        out.append(
            Compared(
                o, tuple(o.observed), residual, by_channel, by_factor, factors[n], corrected[rows], warmth,
                a["water_air_ratio"], lost,
            )
        )  # fmt: skip
    return out


def _residuals(
    o: Observation, values: FloatArray, slopes: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Residuals of one run, with their derivatives by reading and by factor."""
    inputs = [o.speed, *(o.conditions[c] for c in CONDITIONS)]
    first = 1 + len(CONDITIONS)
    rows, by_channel, by_factor = [], [], []
    for name, seen in o.observed.items():
        i = _MODELLED.index(OUTPUTS[name])
        difference, scale = _difference(name, seen, values[i], slopes[i], inputs)
        rows.append(np.broadcast_to(value(difference), (o.size,)))
        by_channel.append(_directions(difference, len(o.channels), o.size))
        by_factor.append(slopes[i, first:] * scale * UNIT[:, None])
    return np.array(rows), np.stack(by_channel, axis=1), np.stack(by_factor, axis=1)


def _difference(
    name: str, seen: Any, modelled: FloatArray, slopes: FloatArray, inputs: list[Any]
) -> tuple[Any, FloatArray]:
    """Observed less modelled, and what turns the model's slopes into slopes of the residual."""
    terms = list(zip(slopes, inputs, strict=False))
    if name in ADDITIVE:
        unit = math.radians(1.0)
        return (seen - chain(modelled, *terms)) * unit, np.full(modelled.shape, unit)
    with np.errstate(invalid="ignore"):
        model = chain(np.log(modelled), *[(s / modelled, x) for s, x in terms])
    return log(seen) - model, 1.0 / modelled


def _directions(x: Any, n: int, size: int) -> FloatArray:
    if not isinstance(x, Dual):
        return np.zeros((n, size))
    return np.array(np.broadcast_to(x.d, (n, size)))
