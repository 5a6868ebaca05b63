"""Humidity ratio of air from relative humidity, dew or frost point, or thermodynamic wet bulb, and back.

The humidity ratio (war) is the mass of water vapour per mass of dry air. Below 0 degC "saturated" has two
meanings, over water and over ice: there the caller says which (`over`), nothing is guessed. Wet bulb means
the thermodynamic wet bulb (adiabatic saturation), which a well ventilated psychrometer approaches.

`real=True` includes the enhancement factor (air and vapour are no ideal gases, +0.3 … 0.5 %); `real=False` is
the ideal form of the ASHRAE Handbook. All functions take floats, arrays or duals and refuse impossible input.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from spoolwright.constants import ZERO_CELSIUS
from spoolwright.core.gas.mixture import check_range
from spoolwright.core.gas.saturation import (
    TRIPLE_POINT,
    Surface,
    check_temperature,
    humidity_ratio,
    saturated_vapour_pressure,
    vapour_pressure,
)
from spoolwright.core.numerics import Dual, Number, log, value, where
from spoolwright.errors import InputError, RangeError

_MOST_STEPS: Final = 60


def _surface(name: str, T: Number, over: Surface | None) -> Surface:
    if over not in (None, "water", "ice"):
        raise InputError(
            f"over={over!r} is neither 'water' nor 'ice'.", mend="Say what saturation refers to."
        )
    if over is None and np.any(value(T) < ZERO_CELSIUS):
        raise InputError(
            f"{name} is below 0 degC, where saturation over water and over ice differ.",
            mend="Say over='water' or over='ice', as the instrument's document defines it.",
        )
    return over or "water"


def _saturated(T: Number, pressure: Number, over: Surface, real: bool) -> Number:
    """Vapour pressure of saturated air: over ice only below the triple point."""
    water = saturated_vapour_pressure(T, pressure, "water", real)
    if over == "water":
        return water
    return where(value(T) < TRIPLE_POINT, saturated_vapour_pressure(T, pressure, "ice", real), water)


def from_relative_humidity(
    relative_humidity: Number, T: Number, pressure: Number, over: Surface | None = None, real: bool = True
) -> Number:
    """Humidity ratio from relative humidity.

    Parameters
    ----------
    relative_humidity : float, array or Dual
        Relative humidity, 0 … 1 [-].
    T : float, array or Dual
        Air temperature [K].
    pressure : float, array or Dual
        Total pressure [Pa].
    over : {"water", "ice"}, optional
        What 100 % refers to below 0 degC; needed there [-].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Humidity ratio [kg/kg].

    Raises
    ------
    RangeError
        If the relative humidity is not between 0 and 1, or the temperature is out of range.
    InputError
        If the temperature is below 0 degC and `over` is not given.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, chapter 1, equations 12, 20 and 22.

    Examples
    --------
    >>> round(from_relative_humidity(0.6, 303.15, 101325.0, real=False), 6)
    0.016041
    """
    check_range("relative humidity", relative_humidity, 0.0, 1.0)
    check_temperature("air temperature", T)
    saturated = _saturated(T, pressure, _surface("air temperature", T, over), real)
    return humidity_ratio(relative_humidity * saturated, pressure)


def from_dew_point(dew_point: Number, pressure: Number, real: bool = True) -> Number:
    """Humidity ratio from the dew point, over water also below 0 degC.

    Parameters
    ----------
    dew_point : float, array or Dual
        Dew point [K].
    pressure : float, array or Dual
        Total pressure [Pa].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Humidity ratio [kg/kg].
    """
    check_temperature("dew point", dew_point)
    return humidity_ratio(saturated_vapour_pressure(dew_point, pressure, "water", real), pressure)


def from_frost_point(frost_point: Number, pressure: Number, real: bool = True) -> Number:
    """Humidity ratio from the frost point, over ice.

    Parameters
    ----------
    frost_point : float, array or Dual
        Frost point, up to 0.01 degC [K].
    pressure : float, array or Dual
        Total pressure [Pa].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Humidity ratio [kg/kg].
    """
    check_temperature("frost point", frost_point, TRIPLE_POINT)
    return humidity_ratio(saturated_vapour_pressure(frost_point, pressure, "ice", real), pressure)


def from_wet_bulb(
    wet_bulb: Number, T: Number, pressure: Number, over: Surface | None = None, real: bool = True
) -> Number:
    """Humidity ratio from the thermodynamic wet bulb.

    Parameters
    ----------
    wet_bulb : float, array or Dual
        Thermodynamic wet-bulb temperature [K].
    T : float, array or Dual
        Air (dry-bulb) temperature [K].
    pressure : float, array or Dual
        Total pressure [Pa].
    over : {"water", "ice"}, optional
        Whether a wet bulb below 0 degC is wet or iced; needed there [-].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Humidity ratio [kg/kg].

    Raises
    ------
    RangeError
        If the wet bulb is above the dry bulb, or so far below it that no air could be that dry.
    InputError
        If the wet bulb is below 0 degC and `over` is not given.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, chapter 1, equations 33 (over water) and 35 (over ice).
    """
    check_temperature("air temperature", T)
    check_temperature("wet bulb", wet_bulb)
    above = np.asarray(value(wet_bulb) - value(T))
    if np.any(above > 1e-9):
        raise RangeError(
            f"wet bulb is {above.max():.3g} K above the dry bulb.",
            mend="Check the two sensors; they may be swapped.",
        )
    surface = _surface("wet bulb", wet_bulb, over)
    war = _adiabatic_ratio(wet_bulb, T, pressure, "water", real)
    if surface == "ice":
        iced = _adiabatic_ratio(wet_bulb, T, pressure, "ice", real)
        war = where(value(wet_bulb) < TRIPLE_POINT, iced, war)
    if np.any(value(war) < 0.0):
        raise RangeError(
            f"wet bulb is too far below the dry bulb: the humidity ratio would be {np.min(value(war)):.3g}.",
            mend="Check the two sensors and the pressure.",
        )
    return war


def _adiabatic_ratio(wet_bulb: Number, T: Number, pressure: Number, surface: Surface, real: bool) -> Number:
    """Energy balance of adiabatic saturation, over one surface whatever the temperature."""
    t, w = T - ZERO_CELSIUS, wet_bulb - ZERO_CELSIUS
    saturated = humidity_ratio(saturated_vapour_pressure(wet_bulb, pressure, surface, real), pressure)
    if surface == "water":
        return ((2501.0 - 2.326 * w) * saturated - 1.006 * (t - w)) / (2501.0 + 1.86 * t - 4.186 * w)
    # heat of sublimation at 0 degC, kJ/kg: 2501 + 333.4; the Handbook rounds it
    heat = 2834.4 if real else 2830.0
    return ((heat - 0.24 * w) * saturated - 1.006 * (t - w)) / (heat + 1.86 * t - 2.1 * w)


def relative_humidity(
    war: Number, T: Number, pressure: Number, over: Surface | None = None, real: bool = True
) -> Number:
    """Relative humidity of a humidity ratio; above 1 when the air is supersaturated.

    Parameters
    ----------
    war : float, array or Dual
        Humidity ratio [kg/kg].
    T : float, array or Dual
        Air temperature [K].
    pressure : float, array or Dual
        Total pressure [Pa].
    over : {"water", "ice"}, optional
        What 100 % refers to below 0 degC; needed there [-].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Relative humidity [-].
    """
    check_range("humidity ratio", war, 0.0, np.inf)
    check_temperature("air temperature", T)
    saturated = _saturated(T, pressure, _surface("air temperature", T, over), real)
    return vapour_pressure(war, pressure) / saturated


def dew_point(war: Number, pressure: Number, real: bool = True) -> Number:
    """Dew point of a humidity ratio, over water also below 0 degC.

    Parameters
    ----------
    war : float, array or Dual
        Humidity ratio, above 0 [kg/kg].
    pressure : float, array or Dual
        Total pressure [Pa].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Dew point [K].

    Raises
    ------
    RangeError
        If the air is too dry or too wet for a dew point in 223 … 373 K.
    """
    return _saturation_temperature(war, pressure, "water", real)


def frost_point(war: Number, pressure: Number, real: bool = True) -> Number:
    """Frost point of a humidity ratio, over ice.

    Parameters
    ----------
    war : float, array or Dual
        Humidity ratio, above 0 [kg/kg].
    pressure : float, array or Dual
        Total pressure [Pa].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Frost point [K].

    Raises
    ------
    RangeError
        If the air is so wet that it has a dew point instead, or too dry.
    """
    return _saturation_temperature(war, pressure, "ice", real)


def _saturation_temperature(war: Number, pressure: Number, surface: Surface, real: bool) -> Number:
    check_range("humidity ratio", war, 1e-9, np.inf)
    target = log(vapour_pressure(war, pressure))
    # Magnus' formula turned round is good to a few kelvin, which is all a start must be
    logarithm = np.clip(value(target) - np.log(611.2), -12.0, 5.2)
    start = ZERO_CELSIUS + 243.12 * logarithm / (17.62 - logarithm)
    T = _root(lambda x, p: log(saturated_vapour_pressure(x, p, surface, real)), target, start, pressure)
    if surface == "water":
        check_temperature("dew point", T)
    else:
        check_temperature("frost point", T, TRIPLE_POINT + 1e-6)
    return T


def wet_bulb(
    war: Number, T: Number, pressure: Number, over: Surface | None = None, real: bool = True
) -> Number:
    """Thermodynamic wet bulb of a humidity ratio.

    Parameters
    ----------
    war : float, array or Dual
        Humidity ratio, not above saturation [kg/kg].
    T : float, array or Dual
        Air (dry-bulb) temperature [K].
    pressure : float, array or Dual
        Total pressure [Pa].
    over : {"water", "ice"}, optional
        Whether a wet bulb below 0 degC is wet or iced; needed there [-].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Wet-bulb temperature [K].

    Raises
    ------
    RangeError
        If the air is supersaturated: its wet bulb would be above the dry bulb.

    Notes
    -----
    Just below 0 degC a wet and an iced bulb in the same air differ by up to a kelvin. With over="ice" the
    bulb is iced where a wet one would be below 0.01 degC.
    """
    check_range("humidity ratio", war, 0.0, np.inf)
    check_temperature("air temperature", T)
    out = _root(lambda x, t, p: _adiabatic_ratio(x, t, p, "water", real), war, value(T) - 2.0, T, pressure)
    surface = _surface("wet bulb", out, over)
    if surface == "ice" and np.any(value(out) < TRIPLE_POINT):
        iced = _root(lambda x, t, p: _adiabatic_ratio(x, t, p, "ice", real), war, value(T) - 2.0, T, pressure)
        out = where(value(out) < TRIPLE_POINT, iced, out)
    if np.any(value(out) > value(T) + 1e-6):
        raise RangeError(
            "humidity ratio is above saturation: the wet bulb would be above the dry bulb.",
            mend="Check the humidity and the air temperature.",
        )
    return out


def _root(function: Callable[..., Number], target: Number, start: Number, *operands: Number) -> Number:
    """Solve function(x, *operands) = target by Newton's method, on values; duals get the implicit tangent."""
    goal, plain = value(target), [value(o) for o in operands]
    x = start + 0.0 * goal + sum(0.0 * o for o in plain)
    for _ in range(_MOST_STEPS):
        y = function(Dual(x, np.ones_like(x)[None]), *plain)
        step = np.clip((goal - y.v) / y.d[0], -15.0, 15.0)
        x = np.clip(x + step, 150.0, 400.0)
        if np.all(np.abs(step) < 1e-9):
            break
    slope = function(Dual(x, np.ones_like(x)[None]), *plain).d[0]
    x = x if np.ndim(x) else float(x)
    return x + (target - function(x, *operands)) / slope
