"""Oil of the engine: temperature, pressure, quantity, filter pressure drop.

Pressure comes from a gear pump whose flow goes with Ng, through jets (pressure with the square of flow) and
narrow passages (with viscosity times flow), held by a relief valve. Viscosity follows Walther's law through
5 mm2/s at 100 degC and 25 mm2/s at 40 degC, usual for a synthetic turbine oil. Temperature follows the heat
of bearings and gears with the thermal inertia of oil, tank and cooler.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from spoolwright.crafts.typefile.model import Limit, TypeFile
from spoolwright.rig.sensors import first_order_lag
from spoolwright.units import unit_named

FloatArray = NDArray[np.float64]

_HOT = 273.15 + 85.0
_RELIEF_OVERRIDE = 0.12
"""Pressure that the relief valve lets rise for each unit of pressure above its setting [-]."""
_SOFTNESS = 6.0
_USUAL_PRESSURE = 400e3


def kinematic_viscosity(temperature: FloatArray) -> FloatArray:
    """Viscosity of the oil [mm2/s] at a temperature [K] (Walther; ASTM D341 form with 0.7)."""

    def scale(v: float) -> float:
        return math.log10(math.log10(v + 0.7))

    slope = (scale(25.0) - scale(5.0)) / (math.log10(373.15) - math.log10(313.15))
    level = scale(25.0) + slope * math.log10(313.15)
    return np.asarray(10.0 ** (10.0 ** (level - slope * np.log10(temperature))) - 0.7)


@dataclass(frozen=True)
class OilSystem:
    """Oil system of one engine.

    Parameters
    ----------
    pressure : relief valve setting, gauge [Pa]
    rise : oil temperature over ambient, settled, without load and added at full load [K, K]
    time_constant : of the temperature [s]
    quantity : in the tank at the start [m3]
    consumption : volume used a second while running [m3/s]
    filter_drop : filter pressure drop at full flow, hot [Pa]
    thermostat : temperature that the cooler's thermostat holds at least once warm [K]
    """

    pressure: float
    rise: tuple[float, float]
    time_constant: float
    quantity: float
    consumption: float
    filter_drop: float
    thermostat: float = 273.15 + 76.0

    def temperature_after(
        self, ambient: FloatArray, speed: FloatArray, load: FloatArray, step: float, start: float
    ) -> FloatArray:
        """Oil temperature [K] over a run; speed and load are relative to the rated point [-]."""
        free = ambient + self.rise[0] * speed**2 + self.rise[1] * load
        running = speed > 0.3
        # at rest before the run oil is as cold as the air; after it, soaking keeps it hot for a while
        resting = np.where(np.maximum.accumulate(running), self.thermostat - 10.0, ambient + 4.0)
        warm = np.where(running, np.maximum(free, self.thermostat + 12.0 * load), resting)
        settled = np.concatenate([[start], warm])
        return first_order_lag(settled, step, self.time_constant)[1:]

    def pressure_at(self, speed: FloatArray, temperature: FloatArray) -> FloatArray:
        """Oil pressure, gauge [Pa], at relative Ng [-] and oil temperature [K]."""
        n = np.maximum(speed, 0.0)
        thickness = kinematic_viscosity(temperature) / float(kinematic_viscosity(np.array(_HOT)))
        free = 0.80 * n**2 + 0.35 * n * thickness
        held = free / (1.0 + free**_SOFTNESS) ** (1.0 / _SOFTNESS)
        return np.asarray(self.pressure * (held + _RELIEF_OVERRIDE * np.maximum(free - 1.0, 0.0)))

    def filter_drop_at(self, speed: FloatArray, temperature: FloatArray) -> FloatArray:
        """Filter pressure drop [Pa]; laminar, so with viscosity and flow."""
        thickness = kinematic_viscosity(temperature) / float(kinematic_viscosity(np.array(_HOT)))
        return np.asarray(self.filter_drop * np.maximum(speed, 0.0) * np.minimum(thickness, 8.0))

    def quantity_after(self, time: FloatArray, speed: FloatArray, temperature: FloatArray) -> FloatArray:
        """Oil in the tank [m3]: what has been used, what is in the lines while running, and expansion."""
        running = speed > 0.3
        used = self.consumption * np.cumsum(running) * (time[1] - time[0] if time.size > 1 else 0.0)
        in_lines = 0.6e-3 * np.minimum(np.maximum(speed, 0.0) / 0.6, 1.0)
        expansion = 7.5e-4 * (temperature - temperature[0]) * self.quantity
        return np.asarray(self.quantity - used - in_lines + expansion)


def drawn_oil(known: TypeFile, relief: float, loss: float, generator: Generator) -> OilSystem:
    """Oil system of one engine: relief valve amid the type's limits at full speed, usual temperatures.

    `relief` multiplies the valve's setting, `loss` adds to the consumption [m3/s].
    """
    g = generator
    return OilSystem(
        pressure=_amid_limits(known) * (1.0 + 0.02 * g.standard_normal()) * relief,
        rise=(36.0 + 2.0 * g.standard_normal(), 32.0 + 3.0 * g.standard_normal()),
        time_constant=150.0 * math.exp(0.08 * g.standard_normal()),
        quantity=(7.0 + 0.15 * g.standard_normal()) * 1e-3,
        consumption=0.05e-3 / 3600.0 * math.exp(0.35 * g.standard_normal()) + loss,
        filter_drop=40e3 * math.exp(0.2 * g.standard_normal()),
    )


def _amid_limits(known: TypeFile) -> float:
    """Pressure midway between the type's lowest and highest oil pressure at full speed [Pa]."""
    channel = next((c for c in known.channel if c.role == "oil_pressure"), None)
    if channel is None:
        return _USUAL_PRESSURE
    mine = [
        limit for limit in known.limit if limit.quantity == channel.id and limit.regime in ("steady", "run")
    ]
    low = [_at_full_speed(x) for x in mine if x.bound == "min"]
    high = [_at_full_speed(x) for x in mine if x.bound == "max"]
    if not low or not high:
        return _USUAL_PRESSURE
    return 0.5 * (max(low) + min(high))


def _at_full_speed(limit: Limit) -> float:
    value = limit.curve.points[-1][1] if limit.curve is not None else limit.value or 0.0
    return value * unit_named(limit.unit).factor
