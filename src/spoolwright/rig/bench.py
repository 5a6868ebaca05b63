"""The test bench around the engine: weather, cell, dynamometer, fuel. True values, and what the run sheet
says of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from spoolwright.constants import ZERO_CELSIUS
from spoolwright.crafts.typefile.model import Cell, TypeFile
from spoolwright.errors import InputError

FloatArray = NDArray[np.float64]
Precipitation = Literal["none", "rain", "snow", "fog"]

_HOUR = 3600.0


@dataclass(frozen=True)
class Ambient:
    """What is asked of the weather; what is None is drawn.

    Parameters
    ----------
    temperature : air temperature at the start of the run [K]
    pressure : station pressure [Pa]
    relative_humidity : over water [-]
    wind_speed : mean at the intake [m/s]
    precipitation : what falls
    temperature_range : ends between which a temperature is drawn [K]
    """

    temperature: float | None = None
    pressure: float | None = None
    relative_humidity: float | None = None
    wind_speed: float | None = None
    precipitation: Precipitation = "none"
    temperature_range: tuple[float, float] = (ZERO_CELSIUS - 10.0, ZERO_CELSIUS + 35.0)


@dataclass(frozen=True)
class Weather:
    """Weather of one run: a start value, a trend and slow waves.

    Parameters
    ----------
    temperature, pressure : at the start [K, Pa]
    water_air_ratio : mass of vapour per mass of dry air, the same all through the run [kg/kg]
    temperature_trend, pressure_trend : [K/s, Pa/s]
    temperature_waves, pressure_waves : amplitude, period and phase of each wave [K or Pa, s, rad]
    wind_speed, gustiness : mean and standard deviation [m/s]
    wind_from : mean direction against the intake axis [deg]
    precipitation : what falls
    """

    temperature: float
    pressure: float
    water_air_ratio: float
    temperature_trend: float
    pressure_trend: float
    temperature_waves: tuple[tuple[float, float, float], ...]
    pressure_waves: tuple[tuple[float, float, float], ...]
    wind_speed: float
    gustiness: float
    wind_from: float
    precipitation: Precipitation

    def temperature_at(self, time: FloatArray) -> FloatArray:
        """Air temperature [K] at times [s]."""
        return self.temperature + self.temperature_trend * time + _waves(self.temperature_waves, time)

    def pressure_at(self, time: FloatArray) -> FloatArray:
        """Station pressure [Pa] at times [s]."""
        return self.pressure + self.pressure_trend * time + _waves(self.pressure_waves, time)


def _waves(waves: tuple[tuple[float, float, float], ...], time: FloatArray) -> FloatArray:
    total = np.zeros_like(time)
    for amplitude, period, phase in waves:
        total = total + amplitude * (np.sin(2.0 * math.pi * time / period + phase) - math.sin(phase))
    return total


def saturation_pressure(temperature: FloatArray | float) -> FloatArray:
    """Vapour pressure over water [Pa] at a temperature [K] (Hyland and Wexler; ASHRAE Handbook 2017, 1.6)."""
    t = np.asarray(temperature, dtype=float)
    powers = 1.3914993 - 4.8640239e-2 * t + 4.1764768e-5 * t * t - 1.4452093e-8 * t**3
    return np.asarray(np.exp(-5.8002206e3 / t + powers + 6.5459673 * np.log(t)))


def humidity_ratio(relative_humidity: float, temperature: float, pressure: float) -> float:
    """Mass of vapour per mass of dry air [kg/kg] (ASHRAE Handbook 2017, 1.20)."""
    vapour = relative_humidity * float(saturation_pressure(temperature))
    return 0.621945 * vapour / (pressure - vapour)


def relative_humidity(ratio: float, temperature: FloatArray, pressure: FloatArray) -> FloatArray:
    """Relative humidity over water [-] of air with this humidity ratio."""
    return np.asarray(ratio * pressure / (0.621945 + ratio) / saturation_pressure(temperature))


def dew_point(ratio: float, pressure: FloatArray) -> FloatArray:
    """Dew point over water [K] of air with this humidity ratio."""
    temperatures = np.linspace(213.15, 333.15, 2401)
    vapour = ratio * pressure / (0.621945 + ratio)
    return np.asarray(np.interp(np.log(vapour), np.log(saturation_pressure(temperatures)), temperatures))


def drawn_weather(ambient: Ambient, generator: Generator) -> Weather:
    """Weather of one run: what is asked, the rest drawn."""
    g = generator
    drawn_temperature = g.uniform(*ambient.temperature_range)
    drawn_pressure = min(103500.0, 100300.0 + 1100.0 * g.standard_normal())
    drawn_humidity = g.uniform(0.3, 0.9)
    drawn_wind = 2.2 * math.exp(0.45 * g.standard_normal())
    temperature = ambient.temperature if ambient.temperature is not None else drawn_temperature
    pressure = ambient.pressure if ambient.pressure is not None else drawn_pressure
    humidity = ambient.relative_humidity if ambient.relative_humidity is not None else drawn_humidity
    wind = ambient.wind_speed if ambient.wind_speed is not None else drawn_wind
    return Weather(
        temperature=temperature,
        pressure=pressure,
        water_air_ratio=humidity_ratio(humidity, temperature, pressure),
        temperature_trend=1.2 * g.standard_normal() / _HOUR,
        pressure_trend=50.0 * g.standard_normal() / _HOUR,
        temperature_waves=_drawn_waves(g, 0.15),
        pressure_waves=_drawn_waves(g, 12.0),
        wind_speed=wind,
        gustiness=0.25 * wind,
        wind_from=20.0 * g.standard_normal(),
        precipitation=ambient.precipitation,
    )


def _drawn_waves(g: Generator, amplitude: float) -> tuple[tuple[float, float, float], ...]:
    return tuple(
        (amplitude * g.standard_normal(), g.uniform(600.0, 2400.0), g.uniform(0.0, 2.0 * math.pi))
        for _ in range(3)
    )


@dataclass(frozen=True)
class FuelBatch:
    """Fuel in the tank, and what the laboratory found in its sample.

    Parameters
    ----------
    name : batch number
    lower_heating_value : true, at 298.15 K [J/kg]
    density : true, at 15 degC [kg/m3]
    hydrogen_to_carbon : true [-]
    temperature : at the meters [K]
    sampled_heating_value, heating_value_uncertainty : result and its standard uncertainty [J/kg]
    sampled_density, sampled_hydrogen_to_carbon : results [kg/m3, -]
    """

    name: str
    lower_heating_value: float
    density: float
    hydrogen_to_carbon: float
    temperature: float
    sampled_heating_value: float
    heating_value_uncertainty: float
    sampled_density: float
    sampled_hydrogen_to_carbon: float

    def density_at(self, temperature: FloatArray) -> FloatArray:
        """Density [kg/m3] at a fuel temperature [K]: 0.75 kg/m3 less for each kelvin (kerosene)."""
        return np.asarray(self.density - 0.75 * (temperature - 288.15))


HEATING_VALUE_UNCERTAINTY = 0.05e6
"""Standard uncertainty of a bomb calorimeter's heating value [J/kg]: 0.1 MJ/kg at 95 %."""


def drawn_fuel(
    generator: Generator, air_temperature: float, hydrogen_to_carbon: float | None = None
) -> FuelBatch:
    """A delivery of kerosene within the specification's usual spread, and its sample.

    The heating value rises with the hydrogen content, about 2.5 MJ/kg for each unit of the ratio.
    """
    g = generator
    ratio = 1.92 + 0.02 * g.standard_normal() if hydrogen_to_carbon is None else hydrogen_to_carbon
    heating = 43.15e6 + 2.5e6 * (ratio - 1.92) + 0.05e6 * g.standard_normal()
    density = 803.0 - 250.0 * (ratio - 1.92) + 4.0 * g.standard_normal()
    return FuelBatch(
        name=f"F-{int(g.integers(1000, 9999))}",
        lower_heating_value=heating,
        density=density,
        hydrogen_to_carbon=ratio,
        temperature=air_temperature + 3.0 + 2.0 * g.standard_normal(),
        sampled_heating_value=heating + HEATING_VALUE_UNCERTAINTY * g.standard_normal(),
        heating_value_uncertainty=HEATING_VALUE_UNCERTAINTY,
        sampled_density=density + 0.2 * g.standard_normal(),
        sampled_hydrogen_to_carbon=ratio + 0.005 * g.standard_normal(),
    )


@dataclass(frozen=True)
class CellTruth:
    """A test cell as it truly is.

    Parameters
    ----------
    cell : the cell's record in the type file
    factors : true correlation factor by quantity: truth = reading in this cell * factor [-]
    inlet_loss : share of ambient pressure lost in the intake at the reference flow [-]
    exhaust_loss : exhaust static pressure over ambient, less 1, at the reference flow [-]
    recirculation : rise of inlet over ambient temperature at full power [K]
    """

    cell: Cell
    factors: dict[str, float]
    inlet_loss: float
    exhaust_loss: float
    recirculation: float

    def inlet_pressure(self, ambient: FloatArray, corrected_speed: FloatArray) -> FloatArray:
        """Total pressure at the engine inlet [Pa]; flow goes about with the square of corrected speed."""
        return np.asarray(ambient * (1.0 - self.inlet_loss * corrected_speed**4))

    def exhaust_pressure(self, ambient: FloatArray, corrected_speed: FloatArray) -> FloatArray:
        """Static pressure in the exhaust pipe [Pa]."""
        return np.asarray(ambient * (1.0 + self.exhaust_loss * corrected_speed**4))

    def inlet_temperature(self, ambient: FloatArray, corrected_speed: FloatArray) -> FloatArray:
        """Total temperature at the engine inlet [K]."""
        return np.asarray(ambient + self.recirculation * corrected_speed**4)


def drawn_cell(known: TypeFile, cell_id: str | None, generator: Generator) -> CellTruth:
    """A cell of the type file, its true correlation drawn from the stated uncertainty of each factor.

    Raises
    ------
    InputError
        When the type file has no such cell.
    """
    cells = {c.id: c for c in known.cell}
    chosen = cell_id or next(iter(cells), "")
    if chosen not in cells:
        raise InputError(f"cell '{chosen}' is not in the type file.", mend=f"Use one of: {', '.join(cells)}.")
    g = generator
    factors: dict[str, float] = {
        f.quantity: f.factor + f.standard_uncertainty * float(g.standard_normal())
        for f in cells[chosen].factors
    }
    return CellTruth(
        cell=cells[chosen],
        factors=factors,
        inlet_loss=0.006 * math.exp(0.15 * g.standard_normal()),
        exhaust_loss=0.008 * math.exp(0.20 * g.standard_normal()),
        recirculation=0.4 * abs(g.standard_normal()),
    )


@dataclass(frozen=True)
class Dynamometer:
    """Water brake: torque grows with its filling and the square of speed, and follows the filling with a lag.

    Parameters
    ----------
    torque : torque with the brake full at 100 % speed [N m]
    speed : 100 % output speed [rpm]
    drag : torque of the empty brake at 100 % speed, as a fraction of the full torque [-]
    filling_time : time constant of the filling [s]
    """

    torque: float
    speed: float
    drag: float = 0.015
    filling_time: float = 0.35

    def load(self, filling: float, speed: float) -> float:
        """Torque [N m] at a filling from 0 to 1 and a speed [rpm]."""
        square = (speed / self.speed) ** 2
        return self.torque * (self.drag + (1.0 - self.drag) * filling) * square

    def filling_for(self, torque: float, speed: float) -> float:
        """Filling that gives a torque [N m] at a speed [rpm]; between empty and full."""
        share = torque / (self.torque * (speed / self.speed) ** 2)
        return min(max((share - self.drag) / (1.0 - self.drag), 0.0), 1.0)


def date_in_calibration(cell: Cell) -> date:
    """A day on which cell and instruments are in date: midway between the latest calibration and the first
    due.
    """
    last = max([cell.correlated_on, *(i.calibrated_on for i in cell.instruments)])
    first = min([cell.correlation_due_on, *(i.due_on for i in cell.instruments)])
    return last + timedelta(days=max((first - last).days // 2, 0))
