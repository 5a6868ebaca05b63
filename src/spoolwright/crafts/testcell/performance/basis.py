"""What a reduction needs of a type file, put into inner units once: roles, laws, reference, model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spoolwright.constants import STANDARD_PRESSURE, STANDARD_TEMPERATURE
from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.gas.humidity import from_relative_humidity
from spoolwright.core.reduction.approved import Law, Surroundings
from spoolwright.core.reduction.baseline import ModelBaseline, uncalibrated_baseline
from spoolwright.core.reduction.inputs import Known
from spoolwright.core.reduction.model_method import ReferenceCurve
from spoolwright.core.reduction.modelled import reference_curve
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.calc import reference_condition
from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.crafts.typefile.model import Channel, Correction, Rating, TypeFile
from spoolwright.errors import InputError
from spoolwright.units import to_inner, unit_named

REDUCTION_ROLES = (
    "ambient_temperature", "ambient_pressure", "inlet_temperature", "inlet_pressure", "relative_humidity",
    "dew_point", "wet_bulb", "gas_generator_speed", "power_turbine_speed", "torque",
    "measured_gas_temperature", "exhaust_pressure", "fuel_mass_flow", "fuel_volume_flow", "fuel_temperature",
)  # fmt: skip
"""Roles whose channels enter the reduction of a performance point."""
_INSTEAD = {
    "dew_point": ("relative_humidity",),
    "wet_bulb": ("relative_humidity", "dew_point"),
    "fuel_volume_flow": ("fuel_mass_flow",),
}
"""Roles that stand in for another: they count only where none of those was recorded."""
LEAST_POWER = 0.4
"""Ratings and holds under this part of the main rating's power (idle) tell nothing of performance."""


@dataclass(frozen=True)
class ReductionBasis:
    """A type made ready for reducing points.

    `roles` maps a role to the first channel that has it; `reference` is None without an approved correction;
    `speed_ratio` is the speed that the power turbine channel reads over output shaft speed.
    """

    type_file: TypeFile
    roles: dict[str, str]
    reference: Surroundings | None
    laws: dict[str, Law]
    engine: EngineData
    model: EngineModel
    speed_ratio: float
    curve: ReferenceCurve
    baseline: ModelBaseline

    def shown(self, quantity: str) -> Shown:
        """How values of a corrected quantity are shown: as the type file writes its ratings."""
        return _shown(self.type_file, quantity)


def reduction_basis(
    type_file: TypeFile, engine: EngineData, baseline: ModelBaseline | None = None
) -> ReductionBasis:
    """Make a type ready; without a baseline the model stands uncalibrated and says so by its uncertainty.

    Raises
    ------
    InputError
        The baseline was learnt for another type.
    """
    if baseline is not None and baseline.type_id not in ("", type_file.type.id):
        raise InputError(
            f"the model baseline was learnt for type '{baseline.type_id}', not '{type_file.type.id}'.",
            mend="Give the baseline of this type, or none.",
        )
    main = rating_named(type_file, type_file.data_sheet.rating)
    reference = _reference(type_file.correction)
    output = engine.reference.power_turbine_speed / engine.shafts.gear_ratio
    at = reference_condition(
        reference
        or Surroundings(
            STANDARD_TEMPERATURE, STANDARD_PRESSURE, heating_value=engine.fuel.lower_heating_value
        ),
        output,
        engine.fuel.temperature,
    )
    temperatures = [inner(r.measured_gas_temperature) for r in performance_ratings(type_file)]
    model = EngineModel(engine)
    return ReductionBasis(
        type_file=type_file,
        roles=_roles(type_file.channel),
        reference=reference,
        laws=_laws(type_file.correction),
        engine=engine,
        model=model,
        speed_ratio=inner(main.power_turbine_speed) / output,
        curve=reference_curve(
            model, at, inner(main.measured_gas_temperature), min(temperatures), max(temperatures)
        ),
        baseline=baseline or uncalibrated_baseline(),
    )


def performance_ratings(type_file: TypeFile) -> list[Rating]:
    """Ratings at which power and temperature are guaranteed: idle is none."""
    main = inner(rating_named(type_file, type_file.data_sheet.rating).power)
    return [r for r in type_file.rating if inner(r.power) >= LEAST_POWER * main]


def inner(amount: Amount) -> float:
    """An amount in the inner unit of its dimension."""
    return to_inner(amount.value, amount.unit)


def known_numbers(type_file: TypeFile, sheet: RunSheet) -> dict[str, Known]:
    """What sheet and type file give for a run that no channel gives, by the names the physics uses."""
    out: dict[str, Known] = {}
    if sheet.engine.torque_conformation is not None:
        out["conformation"] = Known(sheet.engine.torque_conformation)
    elif type_file.data_plate is None:
        out["conformation"] = Known(1.0)
    if sheet.fuel is not None:
        fuel = sheet.fuel
        u = fuel.heating_value_standard_uncertainty
        out["heating_value"] = Known(
            inner(fuel.lower_heating_value), to_inner(u.value, u.unit), f"heating value of batch {fuel.batch}"
        )
        out["density_15c"] = Known(inner(fuel.density_15c))
    for name in ("inlet_loss", "exhaust_loss"):
        loss = getattr(sheet.cell, name)
        if loss is not None:
            out[name] = Known(loss)
    cell = next((c for c in type_file.cell if c.id == sheet.cell.cell), None)
    for f in cell.factors if cell else ():
        source = f"correlation of {sheet.cell.cell}, {f.quantity}"
        out[f"cell factor of {f.quantity}"] = Known(f.factor, f.standard_uncertainty, source)
    return out


def entering_channels(point: PointData, basis: ReductionBasis) -> list[str]:
    """Channels of a point that enter its reduction."""
    recorded = {r: c for r, c in basis.roles.items() if c in point.channels}
    return [c for r, c in recorded.items() if not any(other in recorded for other in _INSTEAD.get(r, ()))]


def reduction_channels(point: PointData, basis: ReductionBasis) -> PointData:
    """The point with the channels that enter the reduction, no others."""
    entering = set(entering_channels(point, basis))
    wanted = [c for c in point.channels if c in entering]
    order = list(point.channels)
    correlation = point.random_correlation
    if correlation is not None:
        index = [order.index(c) for c in wanted]
        correlation = correlation[np.ix_(index, index)]
    return replace(point, channels={c: point.channels[c] for c in wanted}, random_correlation=correlation)


def _roles(channels: Sequence[Channel]) -> dict[str, str]:
    roles: dict[str, str] = {}
    for channel in channels:
        if channel.role in REDUCTION_ROLES:
            roles.setdefault(channel.role, channel.id)
    return roles


def _reference(correction: Correction | None) -> Surroundings | None:
    if correction is None:
        return None
    temperature, pressure = inner(correction.reference_temperature), inner(correction.reference_pressure)
    humidity = inner(correction.reference_humidity)
    if unit_named(correction.reference_humidity.unit).dimension == "ratio":
        humidity = float(from_relative_humidity(humidity, temperature, pressure, "water"))
    return Surroundings(
        temperature,
        pressure,
        humidity,
        inner(correction.reference_heating_value),
        correction.reference_inlet_loss,
        correction.reference_exhaust_loss,
    )


def _laws(correction: Correction | None) -> dict[str, Law]:
    if correction is None:
        return {}
    return {
        law.quantity: Law(
            law.theta_exponent,
            law.delta_exponent,
            law.humidity_slope,
            law.heating_value_exponent,
            law.inlet_loss_slope,
            law.exhaust_loss_slope,
        )
        for law in correction.laws
    }


_RATING_FIELD = {
    "power": "power",
    "gas_generator_speed": "gas_generator_speed",
    "measured_gas_temperature": "measured_gas_temperature",
    "specific_fuel_consumption": "specific_fuel_consumption",
}
_DIMENSION = {
    "power": "power",
    "gas_generator_speed": "speed",
    "measured_gas_temperature": "temperature",
    "fuel_flow": "mass flow",
    "specific_fuel_consumption": "specific fuel consumption",
}
_ALSO = {
    "kW": "hp",
    "hp": "kW",
    "degC": "degF",
    "degF": "degC",
    "kg/kWh": "lb/hp/h",
    "kg/h": "lb/h",
    "lb/h": "kg/h",
}


def _shown(type_file: TypeFile, quantity: str) -> Shown:
    main: Rating = rating_named(type_file, type_file.data_sheet.rating)
    if quantity in _RATING_FIELD:
        unit = getattr(main, _RATING_FIELD[quantity]).unit
    else:
        unit = next((c.unit for c in type_file.channel if c.role == "fuel_mass_flow"), "kg/h")
    return Shown(_DIMENSION[quantity], unit, _ALSO.get(unit, ""))
