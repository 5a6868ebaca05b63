"""What an engine is set by, and the equation that says it is met."""

from __future__ import annotations

import math
from typing import Final, Literal, TypeAlias, get_args

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import GasPath, gear_losses
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.numerics import Number, log

SetBy: TypeAlias = Literal["power", "torque", "ng", "mgt", "fuel_flow", "turbine_inlet_temperature"]
"""Output power [W], output torque [N m], gas generator speed [rpm], MGT [K], fuel flow [kg/s], T4 [K]."""

SETTINGS: Final = get_args(SetBy)


def setting_residual(
    model: EngineModel,
    path: GasPath,
    condition: Condition,
    factors: ConditionFactors,
    set_by: SetBy,
    target: Number,
) -> Number:
    """Logarithm of what the engine gives over what is asked; zero where the setting is met.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    path : GasPath
        State of the gas path [-].
    condition, factors : Condition, ConditionFactors
        Where the engine runs and in what state it is [-].
    set_by : str
        Which quantity is set, see `SetBy` [-].
    target : Number
        Its value [unit of the quantity].

    Returns
    -------
    Number
        Residual [-].
    """
    if set_by in ("power", "torque"):
        power = target if set_by == "power" else target * condition.output_speed * (math.pi / 30.0)
        drag, share = gear_losses(model, condition, factors)
        # before the losses the power is positive even where the output is not
        return log(path.turbine_power * (1.0 - share) / (power + drag))
    return log(set_value(path, set_by) / target)


def set_value(path: GasPath, set_by: SetBy) -> Number:
    """The quantity that a setting names, as the engine gives it.

    Parameters
    ----------
    path : GasPath
        State of the gas path [-].
    set_by : str
        Which quantity, see `SetBy` [-].

    Returns
    -------
    Number
        Its value [unit of the quantity].
    """
    attribute = {
        "ng": "gas_generator_speed",
        "mgt": "measured_gas_temperature",
        "turbine_inlet_temperature": "T4",
    }.get(set_by, set_by)
    value: Number = getattr(path, attribute)
    return value


def referred(model: EngineModel, inlet: Inlet, condition: Condition, set_by: SetBy, target: Number) -> Number:
    """The target at the reference inlet condition by first-order similarity: a starting guess, no result.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    inlet : Inlet
        What the condition determines [-].
    condition : Condition
        Where the engine runs [-].
    set_by : str
        Which quantity is set, see `SetBy` [-].
    target : Number
        Its value [unit of the quantity].

    Returns
    -------
    Number
        Referred value; for torque the referred power [unit of the quantity].
    """
    speed = inlet.sound * (1.0 / model.sound)
    if set_by == "ng":
        return target / speed
    if set_by in ("mgt", "turbine_inlet_temperature"):
        return target / (speed * speed)
    per_flow = target / (condition.pressure * speed * (1.0 / model.data.reference.pressure))
    if set_by == "torque":
        return per_flow * condition.output_speed * (math.pi / 30.0)
    if set_by == "fuel_flow":
        return per_flow * condition.lower_heating_value * (1.0 / model.data.fuel.lower_heating_value)
    return per_flow
