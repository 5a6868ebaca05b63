"""Burning kerosene in chemical equilibrium: temperature from fuel-air ratio, and back.

These functions check their input and solve the equilibrium of thirteen species; they serve the interface and
as the measure of the cheaper ways. Complete combustion is `GasMixture.burner_temperature` and
`GasMixture.fuel_air_ratio`; the estimate for inside a cycle calculation is
`dissociation.dissociation_correction`.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from spoolwright.core.gas import equilibrium
from spoolwright.core.gas.fuel import Fuel
from spoolwright.core.gas.mixture import GasMixture, check_range
from spoolwright.core.gas.species import DATUM_TEMPERATURE
from spoolwright.core.numerics import FloatArray
from spoolwright.errors import RangeError

_T3: Final = (200.0, 1200.0)
_T4: Final = (300.0, 2600.0)
_PRESSURE: Final = (1e4, 1e7)


def flame_temperature(
    fuel: Fuel,
    T3: Any,
    pressure: Any,
    far: Any,
    war: Any = 0.0,
    efficiency: Any = 1.0,
    fuel_temperature: Any = DATUM_TEMPERATURE,
) -> FloatArray:
    """Temperature behind a burner, in chemical equilibrium.

    Parameters
    ----------
    fuel : Fuel
        Composition and heating value [-].
    T3 : float or array
        Air temperature, 200 … 1200 K [K].
    pressure : float or array
        Absolute pressure, 10 kPa … 10 MPa [Pa].
    far : float or array
        Fuel per mass of dry air, up to stoichiometric [kg/kg].
    war : float or array
        Water vapour per mass of dry air [kg/kg].
    efficiency : float or array
        Share of the heating value that is released [-].
    fuel_temperature : float or array
        Fuel temperature [K].

    Returns
    -------
    array
        Equilibrium temperature, the shape of the broadcast arguments [K].

    Raises
    ------
    RangeError
        Outside those ranges; a rich mixture (more fuel than stoichiometric) always.

    Notes
    -----
    Gas behind a burner is close to equilibrium but for nitric oxide, which forms too slowly at gas turbine
    temperatures; that is the greater part of the drop below 1700 K. Complete combustion and this bracket the
    truth.

    Examples
    --------
    >>> round(float(flame_temperature(Fuel(), 700.0, 1e6, 0.02)), 1)
    1397.7
    """
    check_range("fuel-air ratio", far, 0.0, fuel.stoichiometric)
    T3, p, f, w, heat, Tf = _checked(fuel, T3, pressure, far, war, efficiency, fuel_temperature)
    complete = GasMixture(fuel.hydrogen_to_carbon).burner_temperature(T3, f, w, 1.0, heat, Tf)
    inlet = equilibrium.feed(T3.ravel(), w.ravel(), fuel.hydrogen_to_carbon, heat.ravel(), Tf.ravel())
    state = equilibrium.solve(inlet, p.ravel(), complete.ravel(), f.ravel(), "temperature")
    return _closed(state).temperature.reshape(T3.shape)


def required_fuel_air_ratio(
    fuel: Fuel,
    T3: Any,
    T4: Any,
    pressure: Any,
    war: Any = 0.0,
    efficiency: Any = 1.0,
    fuel_temperature: Any = DATUM_TEMPERATURE,
) -> FloatArray:
    """Fuel-air ratio for a temperature behind a burner, in chemical equilibrium.

    Parameters
    ----------
    fuel : Fuel
        Composition and heating value [-].
    T3 : float or array
        Air temperature, 200 … 1200 K [K].
    T4 : float or array
        Equilibrium temperature to reach, above T3 and up to 2600 K [K].
    pressure : float or array
        Absolute pressure, 10 kPa … 10 MPa [Pa].
    war : float or array
        Water vapour per mass of dry air [kg/kg].
    efficiency : float or array
        Share of the heating value that is released [-].
    fuel_temperature : float or array
        Fuel temperature [K].

    Returns
    -------
    array
        Fuel per mass of dry air, the shape of the broadcast arguments [kg/kg].

    Raises
    ------
    RangeError
        Outside those ranges; if no lean mixture reaches T4.

    Examples
    --------
    >>> round(float(required_fuel_air_ratio(Fuel(), 700.0, 1400.0, 1e6)), 5)
    0.02007
    """
    check_range("temperature behind the burner", T4, *_T4, " K")
    T3, p, T, w, heat, Tf = _checked(fuel, T3, pressure, T4, war, efficiency, fuel_temperature)
    if np.any(T < T3):
        raise RangeError(
            f"temperature behind the burner {T[T < T3].flat[0]:.6g} K is below that of its air.",
            mend="Check the two temperatures; they may be swapped.",
        )
    hottest = flame_temperature(fuel, T3, p, fuel.stoichiometric, w, efficiency, Tf)
    beyond = T - hottest > 1e-6
    if np.any(beyond):
        raise RangeError(
            f"temperature behind the burner {T[beyond].flat[0]:.6g} K is more than the "
            f"{hottest[beyond].flat[0]:.6g} K of a stoichiometric mixture.",
            mend="Check the two temperatures, the pressure and the efficiency.",
        )
    complete = GasMixture(fuel.hydrogen_to_carbon).fuel_air_ratio(T3, T, w, 1.0, heat, Tf)
    first = np.clip(complete, 0.0, 0.95 * fuel.stoichiometric)
    inlet = equilibrium.feed(T3.ravel(), w.ravel(), fuel.hydrogen_to_carbon, heat.ravel(), Tf.ravel())
    state = equilibrium.solve(inlet, p.ravel(), T.ravel(), first.ravel(), "fuel_air_ratio")
    return _closed(state).fuel_air_ratio.reshape(T3.shape)


def _checked(
    fuel: Fuel, T3: Any, pressure: Any, other: Any, war: Any, efficiency: Any, fuel_temperature: Any
) -> list[FloatArray]:
    """Arguments of one shape; the efficiency turned into heat released."""
    check_range("temperature of the burner's air", T3, *_T3, " K")
    check_range("pressure in the burner", pressure, *_PRESSURE, " Pa")
    check_range("humidity ratio", war, 0.0, 0.2)
    check_range("burner efficiency", efficiency, 0.5, 1.0)
    check_range("fuel temperature", fuel_temperature, 220.0, 450.0, " K")
    heat = np.asarray(efficiency) * fuel.lower_heating_value
    given = (T3, pressure, other, war, heat, fuel_temperature)
    return [np.array(x, dtype=np.float64) for x in np.broadcast_arrays(*given)]


def _closed(state: equilibrium.Equilibrium) -> equilibrium.Equilibrium:
    if not np.all(state.converged):
        raise RangeError(
            f"chemical equilibrium was not found for {np.sum(~state.converged)} case(s).",
            mend="Check temperature, pressure and fuel-air ratio.",
        )
    return state
