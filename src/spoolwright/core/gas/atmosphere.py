"""International standard atmosphere to 20 km, by geopotential height.

References
----------
ISO 2533:1975 and ICAO Doc 7488, 3rd ed. (1993): constants and equations of chapter 2. As in their tables the
layer above 11 km starts from 22632.0 Pa, rounded; the pressure has a step of 2e-6 of itself there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from spoolwright.constants import GRAVITY, STANDARD_PRESSURE, STANDARD_TEMPERATURE
from spoolwright.core.gas.mixture import check_range
from spoolwright.core.numerics import Number, exp, log, sqrt, value, where

GAS_CONSTANT: Final = 287.05287
"""Specific gas constant of the standard's air [J/(kg K)]."""

GAMMA: Final = 1.4
"""Ratio of specific heats of the standard's air [-]."""

EARTH_RADIUS: Final = 6356766.0
"""Nominal earth radius of the geopotential [m]."""

LOWEST, HIGHEST = -2000.0, 20000.0
"""Geopotential heights between which these functions hold [m]."""

_LAPSE: Final = -0.0065  # K/m, below the tropopause
_TROPOPAUSE: Final = 11000.0
_EXPONENT: Final = -GRAVITY / (_LAPSE * GAS_CONSTANT)
_STRATOSPHERE: Final = STANDARD_TEMPERATURE + _LAPSE * _TROPOPAUSE
_TROPOPAUSE_RATIO: Final = (
    22632.0 / STANDARD_PRESSURE
)  # the standard's tables start this layer from the rounded value
_SCALE_HEIGHT: Final = GAS_CONSTANT * _STRATOSPHERE / GRAVITY


@dataclass(frozen=True)
class Air:
    """Air at one height, or arrays of it.

    Parameters
    ----------
    temperature : float or array
        Temperature [K].
    pressure : float or array
        Pressure [Pa].
    density : float or array
        Density [kg/m3].
    sound_speed : float or array
        Speed of sound [m/s].
    viscosity : float or array
        Dynamic viscosity [Pa s].
    theta : float or array
        Temperature over 288.15 K [-].
    delta : float or array
        Pressure over 101325 Pa [-].
    """

    temperature: Number
    pressure: Number
    density: Number
    sound_speed: Number
    viscosity: Number
    theta: Number
    delta: Number


def standard_temperature(height: Number) -> Number:
    """Temperature of the standard atmosphere.

    Parameters
    ----------
    height : float, array or Dual
        Geopotential height [m].

    Returns
    -------
    float, array or Dual
        Temperature [K].
    """
    falling = STANDARD_TEMPERATURE + _LAPSE * height
    return where(value(height) <= _TROPOPAUSE, falling, _STRATOSPHERE + 0.0 * height)


def standard_pressure(height: Number) -> Number:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    height : float, array or Dual
        Geopotential height [m].

    Returns
    -------
    float, array or Dual
        Pressure [Pa].
    """
    below = exp(_EXPONENT * log(1.0 + _LAPSE / STANDARD_TEMPERATURE * height))
    above = _TROPOPAUSE_RATIO * exp((_TROPOPAUSE - height) / _SCALE_HEIGHT)
    return STANDARD_PRESSURE * where(value(height) <= _TROPOPAUSE, below, above)


def pressure_altitude(pressure: Number) -> Number:
    """Geopotential height at which the standard atmosphere has a given pressure.

    Parameters
    ----------
    pressure : float, array or Dual
        Pressure [Pa].

    Returns
    -------
    float, array or Dual
        Pressure altitude [m].

    Raises
    ------
    RangeError
        If the pressure belongs to a height outside -2 … +20 km.

    Examples
    --------
    >>> round(pressure_altitude(69681.6) / 0.3048)
    10000
    """
    check_range("pressure", pressure, standard_pressure(HIGHEST), standard_pressure(LOWEST), " Pa")
    ratio = pressure / STANDARD_PRESSURE
    below = (exp(log(ratio) / _EXPONENT) - 1.0) * (STANDARD_TEMPERATURE / _LAPSE)
    above = _TROPOPAUSE - _SCALE_HEIGHT * log(ratio / _TROPOPAUSE_RATIO)
    return where(value(ratio) > _TROPOPAUSE_RATIO, below, above)


def geopotential_height(geometric_height: Number) -> Number:
    """Geopotential height of a geometric one [m]."""
    return EARTH_RADIUS * geometric_height / (EARTH_RADIUS + geometric_height)


def viscosity(T: Number) -> Number:
    """Dynamic viscosity of air by Sutherland's formula with the standard's constants.

    Parameters
    ----------
    T : float, array or Dual
        Temperature [K].

    Returns
    -------
    float, array or Dual
        Dynamic viscosity [Pa s].

    References
    ----------
    ISO 2533:1975, equation 22: 1.458e-6 kg/(m s K^0.5) and 110.4 K.
    """
    return 1.458e-6 * T * sqrt(T) / (T + 110.4)


def standard_air(height: Number, temperature_deviation: Number = 0.0) -> Air:
    """The standard atmosphere at a height, if wanted with a temperature deviation (ISA + dT).

    Parameters
    ----------
    height : float, array or Dual
        Geopotential height, or pressure altitude when the temperature deviates [m].
    temperature_deviation : float, array or Dual
        Departure from the standard temperature at that pressure [K].

    Returns
    -------
    Air
        State of the air [K, Pa, kg/m3, m/s, Pa s].

    Raises
    ------
    RangeError
        If the height is outside -2 … +20 km.

    Notes
    -----
    With a deviation the pressure stays the standard one at that pressure altitude, as in performance charts.

    Examples
    --------
    >>> air = standard_air(2000.0)
    >>> round(air.temperature, 3), round(air.pressure, 1), round(air.density, 6)
    (275.15, 79495.2, 1.00649)
    """
    check_range("geopotential height", height, LOWEST, HIGHEST, " m")
    T = standard_temperature(height) + temperature_deviation
    p = standard_pressure(height)
    return Air(
        temperature=T,
        pressure=p,
        density=p / (GAS_CONSTANT * T),
        sound_speed=sqrt(GAMMA * GAS_CONSTANT * T),
        viscosity=viscosity(T),
        theta=T / STANDARD_TEMPERATURE,
        delta=p / STANDARD_PRESSURE,
    )
