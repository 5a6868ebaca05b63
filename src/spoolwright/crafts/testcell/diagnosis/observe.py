"""The usable steady points of a run, put into the form that the diagnosis takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from spoolwright.core.diagnosis.observation import CONDITIONS, Observation
from spoolwright.core.gas.fuel import density_at
from spoolwright.core.numerics import Dual, FloatArray, Number, value
from spoolwright.core.reduction.approved import shaft_power
from spoolwright.core.reduction.inputs import PointInputs, point_inputs
from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.calc import (
    CellReadings,
    exhaust_pressure,
    fuel_flow,
    inlet_pressure,
    inlet_temperature,
    water_air_ratio,
)
from spoolwright.crafts.testcell.performance.basis import REDUCTION_ROLES, ReductionBasis, known_numbers
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.errors import InputError

SEEN_ROLES = (
    "compressor_discharge_temperature",
    "compressor_discharge_pressure",
    "interturbine_pressure",
    "exhaust_temperature",
    "dynamometer_torque",
    "vane_angle",
)
"""Roles that tell of the engine's condition, beyond those a reduction needs."""
_STATIONS = {
    "measured_gas_temperature": "measured_gas_temperature",
    "compressor_discharge_temperature": "T3",
    "compressor_discharge_pressure": "p3",
    "interturbine_pressure": "p45",
    "exhaust_temperature": "T5",
    "vane_angle": "vane_angle",
}
_USUAL_FUEL_TEMPERATURE = 298.15


def diagnosis_roles(basis: ReductionBasis) -> dict[str, str]:
    """Role to the first channel that has it, for every role that a diagnosis can use."""
    wanted = {*REDUCTION_ROLES, *SEEN_ROLES}
    roles: dict[str, str] = {}
    for channel in basis.type_file.channel:
        if channel.role in wanted:
            roles.setdefault(channel.role, channel.id)
    return roles


def observation(
    points: Sequence[PointData], sheet: RunSheet, basis: ReductionBasis, bars: Sequence[str] = ()
) -> Observation:
    """A run's usable points as an observation; a channel missing or in doubt at any point is left out.

    Raises
    ------
    InputError
        No point, or a channel without which no point can be compared with the model is missing.
    """
    if not points:
        raise InputError(
            f"run {sheet.run} holds no steady point to diagnose from.",
            mend="Repeat the run with holds long enough for the type file's steady rule.",
        )
    roles = diagnosis_roles(basis)
    whole = {c for c in roles.values() if all(c in p.channels and not p.channels[c].findings for p in points)}
    known = known_numbers(basis.type_file, sheet)
    given = point_inputs(
        [_trimmed(p, whole) for p in points], {name: [k] * len(points) for name, k in known.items()}
    )
    names = tuple(given.quantities)
    readings = CellReadings(_seeded(given, names), {r: c for r, c in roles.items() if c in whole})
    speed, conditions = _where(readings, basis, sheet)
    size, kinds = given.basis.size, given.basis
    errors = np.zeros((size, len(names), len(points)))
    for i, name in enumerate(names):
        number = given.quantities[name]
        if isinstance(number, Dual):
            errors[:, i] = number.d
    return Observation(
        engine=sheet.engine.serial,
        visit=sheet.engine.visit,
        run=sheet.run,
        cell=sheet.cell.cell,
        points=tuple(p.id for p in points),
        channels=names,
        observed=_seen(readings),
        conditions=conditions,
        speed=speed,
        readings=np.array(
            [np.broadcast_to(value(given.quantities[n]), (len(points),)) for n in names], dtype=float
        ),
        errors=errors,
        sources=kinds.sources,
        random=kinds.random > 0.0,
        bars=tuple(bars),
        roles=dict(readings.roles),
    )


def _trimmed(point: PointData, whole: set[str]) -> PointData:
    """The point with the channels of a diagnosis alone."""
    order = list(point.channels)
    kept = [c for c in order if c in whole]
    correlation = point.random_correlation
    if correlation is not None:
        index = [order.index(c) for c in kept]
        correlation = correlation[np.ix_(index, index)]
    return replace(point, channels={c: point.channels[c] for c in kept}, random_correlation=correlation)


def _seeded(given: PointInputs, names: Sequence[str]) -> PointInputs:
    """The readings with one direction each, the same at every point."""
    out: dict[str, Number] = {}
    for i, name in enumerate(names):
        v = np.asarray(value(given.quantities[name]), dtype=float)
        d = np.zeros((len(names), v.size))
        d[i] = 1.0
        out[name] = Dual(v, d)
    return PointInputs(given.basis, out)


def _where(
    readings: CellReadings, basis: ReductionBasis, sheet: RunSheet
) -> tuple[Number, dict[str, Number]]:
    """Gas generator speed and conditions of the points."""
    t2, p2, exhaust = inlet_temperature(readings), inlet_pressure(readings), exhaust_pressure(readings)
    found: Mapping[str, Number | None] = {
        "gas generator speed": readings.of("gas_generator_speed")
        if readings.has("gas_generator_speed")
        else None,
        "output speed": readings.of("power_turbine_speed") if readings.has("power_turbine_speed") else None,
        "inlet temperature": t2,
        "inlet pressure": p2,
        "humidity": water_air_ratio(readings),
        "exhaust pressure": exhaust,
        "the fuel's heating value": readings.inputs.quantities.get("heating_value"),
    }
    missing = [name for name, x in found.items() if x is None]
    if missing or p2 is None or exhaust is None:
        raise InputError(
            f"run {sheet.run} cannot be compared with the model: {', '.join(missing)} not known or in doubt.",
            mend="Record the channel, or give the value on the run sheet.",
        )
    fuel = readings.of("fuel_temperature") if readings.has("fuel_temperature") else _USUAL_FUEL_TEMPERATURE
    at = (
        t2,
        p2,
        readings.of("power_turbine_speed") / basis.speed_ratio,
        readings.inputs["heating_value"],
        fuel,
        found["humidity"],
        exhaust / p2,
    )
    speed = readings.of("gas_generator_speed") * readings.known("cell factor of gas_generator_speed", 1.0)
    return speed, dict(zip(CONDITIONS, at, strict=True))


def _seen(readings: CellReadings) -> dict[str, Number]:
    """What the engine was seen to do, in the reference cell."""
    out: dict[str, Number] = {}

    def factor(quantity: str) -> Number:
        return readings.known(f"cell factor of {quantity}", 1.0)

    if readings.has("power_turbine_speed"):
        speed = readings.of("power_turbine_speed")
        if readings.has("torque") and "conformation" in readings.inputs:
            torque = shaft_power(readings.of("torque"), speed, readings.inputs["conformation"])
            out["power"] = torque * factor("power")
        if readings.has("dynamometer_torque"):
            out["dynamometer_power"] = shaft_power(readings.of("dynamometer_torque"), speed) * factor("power")
    for role, output in _STATIONS.items():
        if readings.has(role):
            out[output] = readings.of(role) * factor(output)
    flow = fuel_flow(readings)
    if flow is not None:
        out["fuel_flow"] = flow * factor("fuel_flow")
    by_volume = _flow_by_volume(readings)
    if by_volume is not None and readings.has("fuel_mass_flow"):
        out["fuel_flow_by_volume"] = by_volume * factor("fuel_flow")
    return out


def _flow_by_volume(readings: CellReadings) -> Number | None:
    wanted = readings.has("fuel_volume_flow") and readings.has("fuel_temperature")
    if not wanted or "density_15c" not in readings.inputs:
        return None
    density = float(np.ravel(value(readings.inputs["density_15c"]))[0])
    flow: Number = readings.of("fuel_volume_flow") * density_at(density, readings.of("fuel_temperature"))
    return flow


def errors_by_source(observed: Observation) -> dict[str, FloatArray]:
    """What each lasting error gives to the readings, shape (n, P), by the name of its source."""
    return {s.name: observed.errors[i] for i, s in enumerate(observed.sources) if not observed.random[i]}
