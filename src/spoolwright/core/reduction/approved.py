"""Correction to the reference condition by the laws of an approved document, share by share.

Every quantity may be a float, an array over points, or a `Dual` that carries the error components of its
inputs: the uncertainty of a corrected value, with every correlation, then falls out of the same arithmetic.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from spoolwright.core.numerics import Number

POWER = "power"
FUEL_FLOW = "fuel_flow"
SFC = "specific_fuel_consumption"


@dataclass(frozen=True)
class Surroundings:
    """What surrounds an engine at a point, or at the reference condition.

    Parameters
    ----------
    temperature : float, array or Dual
        Total temperature at the compressor inlet plane [K].
    pressure : float, array or Dual
        Total pressure at the compressor inlet plane [Pa].
    water_air_ratio : float, array or Dual
        Mass of water vapour per mass of dry air [kg/kg].
    heating_value : float, array or Dual
        Lower heating value of the fuel [J/kg].
    inlet_loss : float, array or Dual
        Fraction of the inlet total pressure lost ahead of the compressor inlet plane [-].
    exhaust_loss : float, array or Dual
        Exhaust back pressure over ambient pressure, minus 1 [-].
    """

    temperature: Number
    pressure: Number
    water_air_ratio: Number = 0.0
    heating_value: Number = 1.0
    inlet_loss: Number = 0.0
    exhaust_loss: Number = 0.0


@dataclass(frozen=True)
class Law:
    """Exponents and slopes by which one quantity is corrected.

    Parameters
    ----------
    theta_exponent : float
        Exponent of temperature / reference temperature [-].
    delta_exponent : float
        Exponent of pressure / reference pressure [-].
    humidity_slope : float
        Relative change of the corrected value for each kg/kg above the reference humidity [-].
    heating_value_exponent : float
        Exponent of heating value / reference heating value [-].
    inlet_loss_slope : float
        Relative change of the corrected value for each unit of inlet loss above the reference [-].
    exhaust_loss_slope : float
        Relative change of the corrected value for each unit of exhaust loss above the reference [-].
    """

    theta_exponent: float = 0.0
    delta_exponent: float = 0.0
    humidity_slope: float = 0.0
    heating_value_exponent: float = 0.0
    inlet_loss_slope: float = 0.0
    exhaust_loss_slope: float = 0.0


@dataclass(frozen=True)
class Rung:
    """One step from observed to corrected.

    Parameters
    ----------
    name : str
        What the step allows for [-].
    factor : float, array or Dual
        By what the step multiplies [-].
    value : float, array or Dual
        Value after the step [inner unit].
    """

    name: str
    factor: Number
    value: Number


def shaft_power(torque: Number, speed: Number, conformation: Number = 1.0) -> Number:
    """Shaft power observed by torquemeter and speed.

    Parameters
    ----------
    torque : float, array or Dual
        Indicated torque [N m].
    speed : float, array or Dual
        Speed of the shaft the torque is referred to [rpm].
    conformation : float, array or Dual
        True over indicated torque, from the engine's data plate [-].

    Returns
    -------
    float, array or Dual
        Power [W].

    Examples
    --------
    >>> round(shaft_power(1500.0, 6000.0))
    942478
    """
    return torque * conformation * speed * (2.0 * math.pi / 60.0)


def correction_shares(law: Law, at: Surroundings, reference: Surroundings) -> dict[str, Number]:
    """The factors from observed to corrected, in the order in which they are applied.

    Parameters
    ----------
    law : Law
        Exponents and slopes of the quantity [-].
    at : Surroundings
        Conditions of the point [inner unit].
    reference : Surroundings
        Reference condition of the approved document [inner unit].

    Returns
    -------
    dict
        Name of the share to its factor; 1 for a share that the law does not have [-].

    Notes
    -----
    Valid in the window that the approved document states; the caller checks it.

    References
    ----------
    Volponi, J. Eng. Gas Turbines Power 121(4) 1999, 613-621 (theta and delta correction, tuned exponents).
    """
    theta = at.temperature / reference.temperature
    delta = at.pressure / reference.pressure
    return {
        "temperature": theta ** (-law.theta_exponent) if law.theta_exponent else 1.0,
        "pressure": delta ** (-law.delta_exponent) if law.delta_exponent else 1.0,
        "humidity": _linear(law.humidity_slope, at.water_air_ratio, reference.water_air_ratio),
        "heating value": (at.heating_value / reference.heating_value) ** law.heating_value_exponent
        if law.heating_value_exponent
        else 1.0,
        "inlet loss": _linear(law.inlet_loss_slope, at.inlet_loss, reference.inlet_loss),
        "exhaust loss": _linear(law.exhaust_loss_slope, at.exhaust_loss, reference.exhaust_loss),
    }


def _linear(slope: float, at: Number, reference: Number) -> Number:
    return 1.0 + slope * (at - reference) if slope else 1.0


def correction_ladder(observed: Number, shares: dict[str, Number]) -> tuple[Rung, ...]:
    """Every step from an observed to a corrected value.

    Parameters
    ----------
    observed : float, array or Dual
        Observed value [inner unit].
    shares : dict
        Name of each share to its factor, in order [-].

    Returns
    -------
    tuple of Rung
        A rung a share; the last one's value is the corrected value [inner unit].

    Examples
    --------
    >>> [round(r.value, 1) for r in correction_ladder(100.0, {"temperature": 0.9, "pressure": 1.1})]
    [90.0, 99.0]
    """
    rungs = []
    value = observed
    for name, factor in shares.items():
        value = value * factor
        rungs.append(Rung(name, factor, value))
    return tuple(rungs)


def specific_fuel_consumption_shares(
    fuel_flow: dict[str, Number], power: dict[str, Number]
) -> dict[str, Number]:
    """Shares of specific fuel consumption: those of fuel flow over those of power.

    Parameters
    ----------
    fuel_flow, power : dict
        Shares of fuel flow and of power, with the same names [-].

    Returns
    -------
    dict
        Name of the share to its factor [-].
    """
    return {name: fuel_flow[name] / power[name] for name in power}
