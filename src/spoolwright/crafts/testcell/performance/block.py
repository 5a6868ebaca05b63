"""The performance points of one block, observed and corrected by both methods. Blocks are never mixed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.constants import STANDARD_PRESSURE
from spoolwright.core.numerics import Dual, Number, log, value
from spoolwright.core.reduction.approved import (
    Rung,
    correction_ladder,
    correction_shares,
    specific_fuel_consumption_shares,
)
from spoolwright.core.reduction.baseline import QUANTITIES as MODELLED
from spoolwright.core.reduction.baseline import log_reynolds, shape_features
from spoolwright.core.reduction.inputs import Known, PointInputs, point_inputs
from spoolwright.core.reduction.model_method import ModelMethod, model_errors
from spoolwright.core.reduction.modelled import modelled
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.calc import (
    QUANTITIES as CORRECTED,
)
from spoolwright.crafts.testcell.calc import (
    CellReadings,
    correlated_quantities,
    model_points,
    observed_quantities,
    surroundings,
)
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, known_numbers, reduction_channels
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.errors import RangeError

SFC = "specific_fuel_consumption"
_LEAST_CURVE = 10
"""Points of the model's reference curve below which it is no curve."""


@dataclass(frozen=True)
class BlockReduction:
    """Performance points of one block.

    `observed`, `correlated` (times the cell's factors) and the rungs of `ladders` are numbers over the
    points, in the order of `points`. `untold` says for a quantity why the approved method gives no value;
    `model_untold` why the model gives none.
    """

    block: int
    points: tuple[PointData, ...]
    readings: CellReadings
    observed: dict[str, Number]
    correlated: dict[str, Number]
    ladders: dict[str, tuple[Rung, ...]]
    untold: dict[str, str]
    model: ModelMethod | None
    model_untold: str

    @property
    def inputs(self) -> PointInputs:
        """Input quantities with their errors."""
        return self.readings.inputs

    def corrected(self, quantity: str) -> Number | None:
        """Approved corrected values over the points."""
        ladder = self.ladders.get(quantity)
        return ladder[-1].value if ladder else None


def reduce_block(
    block: int, points: Sequence[PointData], sheets: Mapping[str, RunSheet], basis: ReductionBasis
) -> BlockReduction:
    """Reduce the usable performance points of one block; `sheets` by run."""
    trimmed = [reduction_channels(p, basis) for p in points]
    runs = list(dict.fromkeys(p.run for p in points))
    known = _known(points, {r: known_numbers(basis.type_file, sheets[r]) for r in runs})
    inputs = point_inputs(trimmed, known, model_errors(len(points), len(runs), MODELLED))
    readings = CellReadings(inputs, {r: c for r, c in basis.roles.items() if c in inputs})
    observed = observed_quantities(readings)
    correlated = correlated_quantities(readings, observed)
    run_index = np.array([runs.index(p.run) for p in points])
    try:
        ladders, untold = _approved(readings, observed, basis)
        model, model_untold = _by_model(readings, correlated, basis, run_index)
    except RangeError as error:
        # A condition outside what physics is valid for is a result about the points, not a wrong call.
        ladders, untold = {}, dict.fromkeys((*CORRECTED, SFC), str(error))
        model, model_untold = None, str(error)
    if "power" in observed and "fuel_flow" in observed:
        observed = {**observed, SFC: observed["fuel_flow"] / observed["power"]}
    return BlockReduction(
        block, tuple(points), readings, observed, correlated, ladders, untold, model, model_untold
    )


def _known(points: Sequence[PointData], by_run: Mapping[str, dict[str, Known]]) -> dict[str, list[Known]]:
    """Numbers that every run of the block knows, one for each point."""
    names = set.intersection(*(set(k) for k in by_run.values()))
    return {name: [by_run[p.run][name] for p in points] for name in sorted(names)}


def _approved(
    readings: CellReadings, observed: dict[str, Number], basis: ReductionBasis
) -> tuple[dict[str, tuple[Rung, ...]], dict[str, str]]:
    at = surroundings(readings)
    shares: dict[str, dict[str, Number]] = {}
    untold: dict[str, str] = {}
    for q in CORRECTED:
        law = basis.laws.get(q)
        if basis.reference is None or law is None:
            untold[q] = "the type file gives no approved correction for it"
        elif q not in observed:
            untold[q] = _lacking(q, readings)
        elif at is None:
            untold[q] = "inlet temperature or pressure was not recorded"
        else:
            factor = readings.known(f"cell factor of {q}", 1.0)
            shares[q] = {"cell correlation": factor, **correction_shares(law, at, basis.reference)}
            missing = [name for name, f in shares[q].items() if np.any(np.isnan(value(f)))]
            if missing:
                untold[q] = f"{' and '.join(missing)} is not known"
                del shares[q]
    if "power" in shares and "fuel_flow" in shares:
        shares[SFC] = specific_fuel_consumption_shares(shares["fuel_flow"], shares["power"])
        observed = {**observed, SFC: observed["fuel_flow"] / observed["power"]}
    else:
        untold[SFC] = "; ".join(dict.fromkeys(untold[q] for q in ("power", "fuel_flow") if q in untold))
    return {q: correction_ladder(observed[q], s) for q, s in shares.items()}, untold


def _lacking(quantity: str, readings: CellReadings) -> str:
    if quantity == "power" and "conformation" not in readings.inputs:
        return "the run sheet does not give the torque conformation of the data plate"
    return "its channels were not recorded"


def _by_model(
    readings: CellReadings, correlated: dict[str, Number], basis: ReductionBasis, run_index: NDArray[np.int_]
) -> tuple[ModelMethod | None, str]:
    if not all(q in correlated for q in (*MODELLED, "measured_gas_temperature")):
        return None, "power, speed, MGT or fuel flow was not recorded"
    if basis.curve.gas_temperature.size < _LEAST_CURVE:
        return None, "the model of the type does not run over its rated gas temperatures"
    mgt = correlated["measured_gas_temperature"]
    given = model_points(readings, mgt, basis.speed_ratio)
    if given is None:
        return None, "a condition that the model needs (inlet, humidity, exhaust pressure, fuel) is not known"
    found = modelled(basis.model, given)
    if found.lost:
        return None, next(iter(found.lost.values()))
    curve = basis.curve
    theta = value(given.temperature) / curve.temperature
    ratios: dict[str, Dual] = {q: log(correlated[q]) - found.logs[q] for q in MODELLED}
    reference = basis.reference
    features = shape_features(
        curve.setting(value(mgt), value(given.temperature)),
        np.log(theta),
        value(given.water_air_ratio) - (float(reference.water_air_ratio) if reference else 0.0),
        log_reynolds(
            theta,
            value(given.pressure) / (float(reference.pressure) if reference else STANDARD_PRESSURE),
            curve.temperature,
        ),
    )
    return ModelMethod(basis.baseline, curve, ratios, features, run_index, readings.inputs.basis), ""
