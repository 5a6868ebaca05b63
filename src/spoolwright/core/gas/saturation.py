"""Saturated water vapour, pure and in air, over water and over ice.

Over water below the triple point means supercooled water. In air the vapour pressure at saturation is larger
than the pure one by the enhancement factor.
"""

from __future__ import annotations

from typing import Final, Literal, TypeAlias

from spoolwright.core.gas.mixture import check_range
from spoolwright.core.gas.species import DRY_AIR_MOLAR_MASS, SPECIES
from spoolwright.core.numerics import Number, exp, log, value, where

Surface: TypeAlias = Literal["water", "ice"]

TRIPLE_POINT: Final = 273.16
"""Triple point of water [K]."""

MASS_RATIO: Final = SPECIES["H2O"].molar_mass / DRY_AIR_MOLAR_MASS
"""Molar mass of water over that of dry air [-]."""

COLDEST, HOTTEST = 223.15, 373.15
"""Temperatures between which humidity is computed [K]."""


def saturation_pressure(T: Number, surface: Surface) -> Number:
    """Saturation pressure of pure water vapour.

    Parameters
    ----------
    T : float, array or Dual
        Temperature, 223 … 373 K; over ice up to the triple point [K].
    surface : {"water", "ice"}
        What the vapour is in equilibrium with [-].

    Returns
    -------
    float, array or Dual
        Pressure [Pa].

    References
    ----------
    Over water from the triple point up and over ice: Hyland and Wexler 1983, ASHRAE Handbook Fundamentals
    2017, chapter 1, equations 5 and 6. Supercooled water: Murphy and Koop 2005 (Q. J. R. Meteorol. Soc. 131,
    1539), equation 10; the two meet at the triple point within 1e-6.

    Examples
    --------
    >>> round(saturation_pressure(293.15, "water"), 1)
    2338.8
    """
    if surface == "ice":
        return exp(_over_ice(T))
    cold = value(T) < TRIPLE_POINT
    return exp(where(cold, _over_supercooled_water(T), _over_water(T)))


def _over_water(T: Number) -> Number:
    polynomial = 1.3914993 + T * (-4.8640239e-2 + T * (4.1764768e-5 + T * -1.4452093e-8))
    return -5.8002206e3 / T + polynomial + 6.5459673 * log(T)


def _over_ice(T: Number) -> Number:
    polynomial = 6.3925247 + T * (-9.677843e-3 + T * (6.2215701e-7 + T * (2.0747825e-9 + T * -9.484024e-13)))
    return -5.6745359e3 / T + polynomial + 4.1635019 * log(T)


def _over_supercooled_water(T: Number) -> Number:
    log_t, e = log(T), exp(0.083 * (T - 218.8))
    tanh = (e - 1.0) / (e + 1.0)  # tanh of 0.0415 (T - 218.8)
    cold = 53.878 - 1331.22 / T - 9.44523 * log_t + 0.014025 * T
    return 54.842763 - 6763.22 / T - 4.210 * log_t + 0.000367 * T + tanh * cold


_ENHANCEMENT: Final = {
    "water": (
        (-1.6302041e-1, 1.8071570e-3, -6.7703064e-6, 8.5813609e-9),
        (-5.9890467e1, 3.4378043e-1, -7.7326396e-4, 6.3405286e-7),
    ),
    "supercooled water": (
        (-5.5898101e-2, 6.7140389e-4, -2.7492721e-6, 3.8268958e-9),
        (-8.1985393e1, 5.8230823e-1, -1.6340527e-3, 1.6725084e-6),
    ),
    "ice": (
        (-6.0190570e-2, 7.3984060e-4, -3.0897838e-6, 4.3669918e-9),
        (-9.4868712e1, 7.2392075e-1, -2.1963437e-3, 2.4668279e-6),
    ),
}


def enhancement_factor(T: Number, pressure: Number, surface: Surface) -> Number:
    """Saturation pressure of vapour in air over that of pure vapour.

    Parameters
    ----------
    T : float, array or Dual
        Temperature, 223 … 373 K; over ice up to the triple point [K].
    pressure : float, array or Dual
        Total pressure [Pa].
    surface : {"water", "ice"}
        What the vapour is in equilibrium with [-].

    Returns
    -------
    float, array or Dual
        Enhancement factor [-].

    References
    ----------
    Greenspan 1976 (J. Res. NBS 80A, 41) in the ITS-90 coefficients of Hardy 1998 (Third International
    Symposium on Humidity and Moisture, London), for temperatures in kelvin.

    Examples
    --------
    >>> round(enhancement_factor(293.15, 101325.0, "water"), 4)
    1.004
    """
    pure = saturation_pressure(T, surface)
    if surface == "ice":
        exponent = _greenspan(T, pressure, pure, "ice")
    else:
        cold = value(T) < TRIPLE_POINT
        exponent = where(
            cold,
            _greenspan(T, pressure, pure, "supercooled water"),
            _greenspan(T, pressure, pure, "water"),
        )
    return exp(exponent)


def _greenspan(T: Number, pressure: Number, pure: Number, kind: str) -> Number:
    (a0, a1, a2, a3), (b0, b1, b2, b3) = _ENHANCEMENT[kind]
    alpha = a0 + T * (a1 + T * (a2 + T * a3))
    beta = exp(b0 + T * (b1 + T * (b2 + T * b3)))
    return alpha * (1.0 - pure / pressure) + beta * (pressure / pure - 1.0)


def saturated_vapour_pressure(T: Number, pressure: Number, surface: Surface, real: bool = True) -> Number:
    """Partial pressure of vapour in saturated air.

    Parameters
    ----------
    T : float, array or Dual
        Temperature, 223 … 373 K [K].
    pressure : float, array or Dual
        Total pressure [Pa].
    surface : {"water", "ice"}
        What the vapour is in equilibrium with [-].
    real : bool
        Whether to include the enhancement factor [-].

    Returns
    -------
    float, array or Dual
        Partial pressure [Pa].
    """
    pure = saturation_pressure(T, surface)
    return pure * enhancement_factor(T, pressure, surface) if real else pure


def humidity_ratio(vapour: Number, pressure: Number) -> Number:
    """Humidity ratio of a partial pressure of vapour.

    Parameters
    ----------
    vapour : float, array or Dual
        Partial pressure of the vapour [Pa].
    pressure : float, array or Dual
        Total pressure [Pa].

    Returns
    -------
    float, array or Dual
        Water vapour per mass of dry air [kg/kg].

    Raises
    ------
    RangeError
        If the vapour pressure reaches the total pressure: it boils.
    """
    check_range("share of the vapour in the total pressure", value(vapour) / value(pressure), 0.0, 0.99)
    return MASS_RATIO * vapour / (pressure - vapour)


def vapour_pressure(war: Number, pressure: Number) -> Number:
    """Partial pressure of the vapour at a humidity ratio.

    Parameters
    ----------
    war : float, array or Dual
        Water vapour per mass of dry air [kg/kg].
    pressure : float, array or Dual
        Total pressure [Pa].

    Returns
    -------
    float, array or Dual
        Partial pressure [Pa].
    """
    return pressure * war / (MASS_RATIO + war)


def check_temperature(name: str, T: Number, highest: float = HOTTEST) -> None:
    """Refuse a temperature outside the range of the saturation formulas.

    Parameters
    ----------
    name : str
        What temperature it is [-].
    T : float, array or Dual
        Temperature [K].
    highest : float
        Upper end of the range [K].

    Raises
    ------
    RangeError
        Outside 223.15 K … highest.
    """
    check_range(name, T, COLDEST, highest, " K")
