"""Simulated power checks on the aircraft: an engine of the rig after installation, wearing as it flies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.solve import solve
from spoolwright.core.gas.atmosphere import standard_pressure
from spoolwright.core.gas.humidity import from_relative_humidity
from spoolwright.crafts.installation.airframe import airframe
from spoolwright.crafts.installation.model import CheckReading
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.shop.power_check import PowerCheck
from spoolwright.rig.draws import stream
from spoolwright.rig.truth import TruthEngine, output_speed_ratio, stacked
from spoolwright.units import from_inner

_GAUGED = {
    "outside_air_temperature": ("degC", 1),
    "gas_generator_speed": ("rpm", 0),
    "power_turbine_speed": ("rpm", 0),
    "torque": ("N m", 0),
    "measured_gas_temperature": ("degC", 0),
}


@dataclass(frozen=True)
class Wear:
    """What an engine loses while it flies.

    Parameters
    ----------
    factor : condition factor that falls
    per_hour : relative loss an hour
    """

    factor: str = "compressor_efficiency"
    per_hour: float = 5e-5


def aircraft_checks(
    engine: TruthEngine,
    power_check: PowerCheck,
    first: date,
    hours: Sequence[float],
    seed: int,
    wear: Wear | None = None,
) -> list[CheckReading]:
    """Checks at the manual's middle torque, in temperate weather, read with the aircraft's gauges."""
    frame, wear, draw = airframe(power_check), wear or Wear(), stream(seed, "aircraft")
    n = len(hours)
    altitude = np.round(draw.uniform(200, 3500, n), -1)
    air = 285.0 + 9.0 * np.sin(np.asarray(hours) / 60.0) + 3.0 * draw.standard_normal(n)
    pressure = np.array([standard_pressure(h * 0.3048) for h in altitude])
    speed = 5840.0 + 6.0 * draw.standard_normal(n)
    middle = power_check.check.sheet[len(power_check.check.sheet) // 2].torque.value
    torque = middle + 25.0 * draw.standard_normal(n)
    loss = frame.inlet_loss.value
    at = Condition(
        temperature=air + frame.temperature_rise.value,
        pressure=pressure * (1.0 - loss),
        output_speed=speed / output_speed_ratio(engine.known, engine.model.data),
        lower_heating_value=np.full(n, frame.heating_value.value),
        fuel_temperature=np.full(n, 298.15),
        water_air_ratio=from_relative_humidity(frame.humidity.value, air, pressure, "water"),
        exhaust_pressure_ratio=np.full(n, (1.0 + frame.back_pressure.value) / (1.0 - loss)),
        accessory_load=np.full(n, frame.accessory_power.value),
    )
    worn = [
        replace(
            engine.factors, **{wear.factor: getattr(engine.factors, wear.factor) * (1 - wear.per_hour * h)}
        )
        for h in hours
    ]
    ran = solve(engine.model, at, stacked(worn), set_by="torque", target=torque)
    true = {
        "outside_air_temperature": air,
        "gas_generator_speed": np.asarray(ran.gas_generator_speed),
        "power_turbine_speed": speed,
        "torque": torque,
        "measured_gas_temperature": np.asarray(ran.measured_gas_temperature),
    }
    read = {}
    for name, values in true.items():
        gauge = frame.gauges[name]
        errors = gauge.lasting * draw.standard_normal() + gauge.reading * draw.standard_normal(n)
        read[name] = np.asarray(values) + errors
    return [_reading(i, hours[i], first, altitude, read) for i in range(n)]


def _reading(
    i: int, hours: float, first: date, altitude: np.ndarray, read: dict[str, np.ndarray]
) -> CheckReading:
    amounts = {
        name: Amount(value=round(from_inner(float(read[name][i]), unit), digits), unit=unit)
        for name, (unit, digits) in _GAUGED.items()
    }
    return CheckReading(
        checked_on=first + timedelta(days=int(hours // 1.8)),
        hours=hours,
        pressure_altitude=Amount(value=float(altitude[i]), unit="ft"),
        **amounts,
    )


def checks_csv(readings: Sequence[CheckReading]) -> str:
    """Checks as an operator would send them."""
    gauges = "oat [degC],ng [rpm],np [rpm],torque [N m],mgt [degC]"
    lines = [f"date,hours [h],pressure_altitude [ft],{gauges},bleed,anti_ice"]
    for r in readings:
        assert r.pressure_altitude is not None
        numbers = [r.pressure_altitude, *(getattr(r, name) for name in _GAUGED)]
        cells = [r.checked_on.isoformat(), f"{r.hours:g}", *(f"{a.value:g}" for a in numbers)]
        lines.append(",".join([*cells, "off", "off"]))
    return "\n".join(lines) + "\n"
