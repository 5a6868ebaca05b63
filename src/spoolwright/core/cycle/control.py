"""Fuel control: power-turbine governor, gas-generator speed loop, schedules and toppings."""

from __future__ import annotations

import math

from spoolwright.core.cycle.engine import EngineData, FuelControl
from spoolwright.core.grid import Spline
from spoolwright.errors import InputError


class Governor:
    """A digital fuel control called once each time step; everything in plain floats.

    Parameters
    ----------
    data : EngineData
        The engine, with its `control` [-].
    speed : float
        Relative gas generator speed at which the run starts [-].
    fuel_flow : float
        Fuel flow at which the run starts [kg/s].

    Raises
    ------
    InputError
        The engine has no fuel control.
    """

    def __init__(self, data: EngineData, speed: float, fuel_flow: float) -> None:
        if data.control is None:
            raise InputError("the engine data hold no fuel control", mend="Fill `control`.", where=data.name)
        self.control: FuelControl = data.control
        self.reference = data.reference
        self.acceleration = Spline(data.control.acceleration.x, [data.control.acceleration.y], "acceleration")
        self.deceleration = Spline(data.control.deceleration.x, [data.control.deceleration.y], "deceleration")
        self.fuel_flow = self._wanted = fuel_flow
        self._speed_integral = fuel_flow / data.reference.fuel_flow
        self._governor_integral = speed
        self._topping = 0.0

    def demanded_speed(self, np_error: float, lever: float, mgt: float, step: float) -> float:
        """Relative Ng that governor, lever and toppings together allow.

        Parameters
        ----------
        np_error : float
            Relative shortfall of the power-turbine speed [-].
        lever : float
            Highest relative Ng that the power lever allows [-].
        mgt : float
            Measured gas temperature [K].
        step : float
            Time step [s].

        Returns
        -------
        float
            Relative Ng [-].
        """
        c = self.control
        excess = mgt / c.temperature_limit - 1.0
        self._topping = min(max(self._topping - c.temperature_gain * excess * step, -0.3), 0.0)
        if excess > 0.0:
            self._topping = min(self._topping, -0.1 * c.temperature_gain * excess)
        high = max(min(lever, c.speed_limit) + self._topping, c.idle_speed)
        wanted = self._governor_integral + c.governor_gain * np_error
        if c.idle_speed < wanted < high or (wanted - high) * np_error < 0.0:
            self._governor_integral += c.governor_reset * np_error * step
        # the integral waits at the limits, so that the governor takes hold as soon as the error turns
        self._governor_integral = min(max(self._governor_integral, c.idle_speed - 0.02), high + 0.02)
        return min(max(wanted, c.idle_speed), high)

    def advance(self, demanded: float, speed: float, corrected_speed: float, p3: float, step: float) -> float:
        """Fuel flow after one time step.

        Parameters
        ----------
        demanded, speed : float
            Demanded and actual relative Ng [-].
        corrected_speed : float
            Relative corrected Ng, which the schedules go by [-].
        p3 : float
            Compressor delivery pressure [Pa].
        step : float
            Time step [s].

        Returns
        -------
        float
            Fuel flow [kg/s].
        """
        c, full = self.control, self.reference.fuel_flow
        error = demanded - speed
        ratio = c.reference_ratio * p3 / full
        most = self.acceleration(corrected_speed)[0] * ratio
        least = max(self.deceleration(corrected_speed)[0] * ratio, c.minimum_fuel_flow)
        wanted = self._speed_integral + c.speed_gain * error
        if least < wanted < most:
            self._speed_integral += c.speed_reset * c.speed_gain * error * step
        else:
            # follow the limit, so that the loop leaves it without a jump
            limit = min(max(wanted, least), most)
            follow = 1.0 - math.exp(-step / 0.2)
            self._speed_integral += (limit - c.speed_gain * error - self._speed_integral) * follow
        wanted = min(max(wanted, least), most) * full
        # at the middle of the step, so that the answer hardly depends on the step
        middle = 1.5 * wanted - 0.5 * self._wanted
        self._wanted = wanted
        self.fuel_flow += (middle - self.fuel_flow) * (1.0 - math.exp(-step / c.valve_time))
        return self.fuel_flow
