"""Monte Carlo trials of one performance point: the check of its propagated uncertainty (JCGM 101)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.numerics import exp, value
from spoolwright.core.reduction.approved import correction_ladder, correction_shares
from spoolwright.core.reduction.estimate import Estimate, estimate
from spoolwright.core.reduction.modelled import modelled
from spoolwright.crafts.testcell.calc import (
    CellReadings,
    correlated_quantities,
    model_points,
    observed_quantities,
    surroundings,
)
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.crafts.testcell.performance.block import BlockReduction
from spoolwright.errors import InputError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class PointTrials:
    """One quantity of a point by propagation and by trials; the model's shape is taken as exact."""

    propagated: Estimate
    samples: FloatArray


def corrected_trials(
    reduction: BlockReduction, basis: ReductionBasis, point: int, quantity: str, trials: int, seed: int
) -> PointTrials:
    """The approved corrected value of a quantity at a point.

    Raises
    ------
    InputError
        The approved method gives no value.
    """
    approved = reduction.corrected(quantity)
    law = basis.laws.get(quantity)
    if approved is None or law is None or basis.reference is None:
        raise InputError(f"there is no approved value of {quantity}.", mend="Give its correction law.")
    readings = _drawn(reduction, point, trials, seed)
    at = surroundings(readings)
    assert at is not None
    factor = readings.known(f"cell factor of {quantity}", 1.0)
    shares = {"cell correlation": factor, **correction_shares(law, at, basis.reference)}
    samples = correction_ladder(observed_quantities(readings)[quantity], shares)[-1].value
    return PointTrials(estimate(approved, reduction.inputs.basis, point), np.asarray(samples))


def modelled_trials(
    reduction: BlockReduction,
    basis: ReductionBasis,
    point: int,
    gas_temperature: float,
    trials: int,
    seed: int,
) -> PointTrials:
    """Power at a reference MGT from one point by the model: the whole cycle is solved in every trial.

    Raises
    ------
    InputError
        The model gives no value at the point.
    """
    if reduction.model is None:
        raise InputError(reduction.model_untold, mend="Record what the model needs.")
    level = reduction.model.reference.log_at("power", gas_temperature)[0]
    ratio = reduction.model.log_ratio["power"]
    readings = _drawn(reduction, point, trials, seed)
    observed = correlated_quantities(readings, observed_quantities(readings))
    given = model_points(readings, observed["measured_gas_temperature"], basis.speed_ratio)
    assert given is not None
    found = modelled(basis.model, given)
    samples = np.exp(np.log(value(observed["power"])) - found.logs["power"] + level)
    return PointTrials(estimate(exp(ratio + level), reduction.inputs.basis, point), np.asarray(samples))


def _drawn(reduction: BlockReduction, point: int, trials: int, seed: int) -> CellReadings:
    drawn = reduction.inputs.trials(point, np.random.default_rng(seed), trials)
    return CellReadings(drawn, reduction.readings.roles)
