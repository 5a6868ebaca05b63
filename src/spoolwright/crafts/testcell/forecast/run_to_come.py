"""What the run to come must show, and how well the cell will read it.

The cell's uncertainty is not guessed: the points that the model expects at the ratings go through the same
reduction as a recorded run, with the type file's budget of every channel and the cell's correlation.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solution import Solution
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.forecast.outlook import Requirement, RunToCome
from spoolwright.core.diagnosis.forecast.rated import QUANTITIES, Rated, level_loadings
from spoolwright.core.measurement.budget import SystematicBudget, systematic_budget
from spoolwright.core.measurement.channel import SystematicPart
from spoolwright.core.measurement.decision import ToleranceInterval
from spoolwright.core.measurement.risk import guard_for_specific_risk
from spoolwright.core.numerics import FloatArray
from spoolwright.core.reduction.approved import Surroundings
from spoolwright.core.reduction.estimate import Estimate
from spoolwright.core.reduction.point import ChannelMean, PointData, Systematic
from spoolwright.crafts.testcell.calc import reference_condition
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, inner, performance_ratings
from spoolwright.crafts.testcell.performance.block import reduce_block
from spoolwright.crafts.testcell.performance.rated import RatedEstimate, approved_curves, rated_estimates
from spoolwright.crafts.testcell.run_sheet import CellState, Engine, FuelSample, RunSheet
from spoolwright.crafts.typefile.limit import Limit
from spoolwright.crafts.typefile.lookup import limits_of, rating_named
from spoolwright.crafts.typefile.model import Amount, Rating, TypeFile
from spoolwright.errors import InputError
from spoolwright.units import to_inner, unit_of

SAMPLES: Final = 10.0
"""Independent samples that the mean of a hold is taken to be worth [-]."""
HEATING_VALUE: Final = 0.05e6
"""Standard uncertainty of a sampled heating value where no run sheet tells it yet [J/kg]."""
_RUN = "to come"


@dataclass(frozen=True)
class LimitAsked:
    """A limit that the run to come will be held against."""

    limit: Limit
    rating: Rating
    value: float


def limits_asked(type_file: TypeFile, limit_set: str) -> list[LimitAsked]:
    """Limits on rated quantities of a set.

    Raises
    ------
    InputError
        The set has none: without a limit there is nothing to forecast against.
    """
    out = [
        LimitAsked(x, rating_named(type_file, x.rating), to_inner(x.value, x.unit))
        for x in limits_of(type_file, limit_set)
        if x.regime == "rating" and x.quantity in QUANTITIES and x.rating and x.value is not None
    ]
    if not out:
        raise InputError(
            f"limit set '{limit_set}' has no limit on a rated quantity.",
            mend="Choose the set of the approved work; without a limit there is no verdict to forecast.",
        )
    return out


def condition_at(basis: ReductionBasis, model: EngineModel, rating: Rating) -> Condition:
    """The reference condition at a rating."""
    data = model.data
    sheet = Surroundings(
        data.reference.temperature,
        data.reference.pressure,
        heating_value=data.fuel.lower_heating_value,
    )
    output = inner(rating.power_turbine_speed) / basis.speed_ratio
    return reference_condition(basis.reference or sheet, output, data.fuel.temperature)


def rated(
    basis: ReductionBasis,
    model: EngineModel,
    rating: Rating,
    quantity: str,
    average: Mapping[tuple[str, str], float] | None = None,
) -> Rated:
    """A quantity at a rating, ready for the model; `average` tells how ln(value) of the average good build
    departs from it, by rating and quantity."""
    condition = condition_at(basis, model, rating)
    main = rating_named(basis.type_file, basis.type_file.data_sheet.rating)
    mgt = inner(rating.measured_gas_temperature)
    target = mgt if QUANTITIES[quantity][0] == "mgt" else inner(rating.power)
    setting = math.log(mgt / inner(main.measured_gas_temperature))
    loadings = level_loadings(model, quantity, condition, target, setting)
    return Rated(
        rating.id, quantity, condition, target, loadings, (average or {}).get((rating.id, quantity), 0.0)
    )


def run_to_come(
    basis: ReductionBasis,
    model: EngineModel,
    limits: Sequence[LimitAsked],
    cell: str,
    guard_times: float,
    average: Mapping[tuple[str, str], float] | None = None,
) -> RunToCome:
    """What the run must show, with guard bands and the covariance of its readings.

    `guard_times` widens each guard band to that many expanded uncertainties (k = 2) of the reading; a guard
    band that the type file asks for is never narrowed.
    """
    readings = expected_readings(basis, model, cell)
    found = [readings[x.rating.id, x.limit.quantity] for x in limits]
    measurement = covariance(found)
    requirements = []
    for x, u in zip(limits, np.sqrt(np.diag(measurement)), strict=True):
        requirements.append(
            Requirement(
                rated(basis, model, x.rating, x.limit.quantity, average),
                1.0 if x.limit.bound == "min" else -1.0,
                x.value,
                max(_asked_guard(x, float(u)), guard_times * 2.0 * float(u)),
            )
        )
    return RunToCome(tuple(requirements), measurement)


def _asked_guard(x: LimitAsked, u: float) -> float:
    """The guard band that the type file asks for."""
    risk = x.limit.guard_consumer_risk
    if risk is None:
        return 0.0
    tolerance = (
        ToleranceInterval(lower=x.value) if x.limit.bound == "min" else ToleranceInterval(upper=x.value)
    )
    return guard_for_specific_risk(tolerance, u, risk).width


def covariance(estimates: Sequence[Estimate]) -> FloatArray:
    """Covariance of estimates that share one basis of errors."""
    contributions = np.array([e.contributions for e in estimates])
    return np.asarray(contributions @ contributions.T)


def expected_readings(
    basis: ReductionBasis, model: EngineModel, cell: str
) -> dict[tuple[str, str], Estimate]:
    """Rated quantities as the approved method would read a nominal engine in this cell.

    Raises
    ------
    InputError
        The type file gives no approved correction, or a channel that the reduction needs.
    """
    ratings = performance_ratings(basis.type_file)
    budget = _budget(basis)
    points = [_point(basis, model, r, budget) for r in ratings]
    reduction = reduce_block(0, points, {_RUN: _sheet(basis, cell)}, basis)
    curves = approved_curves(reduction, np.ones(len(points), dtype=bool))
    out: dict[tuple[str, str], Estimate] = {}
    for e in rated_estimates(reduction, curves, basis):
        out[e.rating.id, e.quantity] = _told(e)
    return out


def _told(e: RatedEstimate) -> Estimate:
    if e.approved is None:
        raise InputError(
            f"the approved method would give no {e.quantity} at rating '{e.rating.id}': {e.why}.",
            mend="Add to the type file what the reduction of a run needs.",
        )
    return e.approved


def _budget(basis: ReductionBasis) -> SystematicBudget:
    parts = []
    used = set(basis.roles.values())
    for c in basis.type_file.channel:
        factor = unit_of(c.unit, c.dimension).factor
        if c.id in used:
            for p in c.uncertainty:
                nu = math.inf if p.degrees_of_freedom is None else p.degrees_of_freedom
                parts.append(
                    SystematicPart(
                        c.id, p.source, "shared", p.absolute * factor, p.relative, p.distribution, nu
                    )
                )
    return systematic_budget(parts, list(basis.roles.values()))


def _point(basis: ReductionBasis, model: EngineModel, rating: Rating, budget: SystematicBudget) -> PointData:
    """The point that a nominal engine would give at a rating."""
    condition = condition_at(basis, model, rating)
    found = solve(model, condition, set_by="mgt", target=inner(rating.measured_gas_temperature))
    if not bool(found.solved):
        raise InputError(f"the model does not reach rating '{rating.id}'.", mend="Check the type file.")
    values = _values(basis, condition, found)
    roles = {channel: role for role, channel in basis.roles.items()}
    means = np.array([values.get(roles[c], 0.0) for c in budget.channels])
    systematic = budget.components(means)
    channels = {}
    for j, name in enumerate(budget.channels):
        if roles[name] not in values:
            continue
        channel = next(c for c in basis.type_file.channel if c.id == name)
        noise = channel.noise * unit_of(channel.unit, channel.dimension).factor
        channels[name] = ChannelMean(
            name,
            float(means[j]),
            noise / math.sqrt(SAMPLES),
            SAMPLES,
            systematic=tuple(
                Systematic(s.name, float(u), s.degrees_of_freedom, s.distribution)
                for s, u in zip(budget.sources, systematic[j], strict=True)
                if u != 0.0
            ),
        )
    return PointData(f"{_RUN}.{rating.id}", _RUN, 0.0, 60.0, 0, channels, None, rating.id)


def _values(basis: ReductionBasis, c: Condition, found: Solution) -> dict[str, float]:
    """What the channels of each role would read, errors aside."""
    reference = basis.reference
    inlet, exhaust = (float(reference.inlet_loss), float(reference.exhaust_loss)) if reference else (0.0, 0.0)
    ambient = float(c.pressure) / (1.0 - inlet)
    speed = float(c.output_speed) * basis.speed_ratio
    values = {
        "ambient_temperature": float(c.temperature),
        "ambient_pressure": ambient,
        "inlet_temperature": float(c.temperature),
        "inlet_pressure": float(c.pressure),
        "relative_humidity": 0.0,
        "gas_generator_speed": float(found.gas_generator_speed),
        "power_turbine_speed": speed,
        "torque": float(found.power) / (speed * math.pi / 30.0),
        "measured_gas_temperature": float(found.measured_gas_temperature),
        "exhaust_pressure": ambient * (1.0 + exhaust),
        "fuel_mass_flow": float(found.fuel_flow),
        "fuel_temperature": float(c.fuel_temperature),
    }
    if "fuel_mass_flow" not in basis.roles and "fuel_volume_flow" in basis.roles:
        values["fuel_volume_flow"] = float(found.fuel_flow) / 800.0
    return values


def _sheet(basis: ReductionBasis, cell: str) -> RunSheet:
    """The run sheet of the run to come, as far as the reduction asks for one."""
    known = next(c for c in basis.type_file.cell if c.id == cell)
    reference = basis.reference
    heating = reference.heating_value if reference else basis.engine.fuel.lower_heating_value
    day = date(2000, 1, 1)
    return RunSheet(
        format=1,
        run=_RUN,
        performed_on=day,
        limit_set=basis.type_file.limit_set[0].id,
        engine=Engine(serial="to come", torque_conformation=1.0 if basis.type_file.data_plate else None),
        cell=CellState(cell=cell, configuration=known.configuration, precipitation="none"),
        fuel=FuelSample(
            batch="to come",
            sampled_on=day,
            lower_heating_value=Amount(value=float(heating), unit="J/kg"),
            heating_value_standard_uncertainty=Amount(value=HEATING_VALUE, unit="J/kg"),
            density_15c=Amount(value=800.0, unit="kg/m3"),
            hydrogen_to_carbon=basis.engine.fuel.hydrogen_to_carbon,
        ),
    )
