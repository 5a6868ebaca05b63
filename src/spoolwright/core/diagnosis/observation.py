"""One run's steady points as the diagnosis takes them: readings, conditions, and what is known of errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.channel import ErrorSource
from spoolwright.core.numerics import FloatArray, Number

OUTPUTS: Mapping[str, str] = {
    "power": "power",
    "dynamometer_power": "power",
    "measured_gas_temperature": "measured_gas_temperature",
    "T3": "T3",
    "p3": "p3",
    "p45": "p45",
    "T5": "T5",
    "fuel_flow": "fuel_flow",
    "fuel_flow_by_volume": "fuel_flow",
    "vane_angle": "vane_angle",
}
"""What an engine is seen by at a given gas generator speed, with the model's output it stands for."""

ADDITIVE = ("vane_angle",)
"""Outputs compared by difference, in radians; all others by the logarithm of their ratio."""

CONDITIONS = (
    "temperature",
    "pressure",
    "output_speed",
    "lower_heating_value",
    "fuel_temperature",
    "water_air_ratio",
    "exhaust_pressure_ratio",
)
"""Conditions of a point, named as in `cycle.condition.Condition`."""


@dataclass(frozen=True)
class Observation:
    """Steady points of one run.

    Parameters
    ----------
    engine, visit, run, cell : str
        Whose run it is and where it was made [-].
    points : tuple of P str
        Ids of the points [-].
    channels : tuple of n str
        Readings and known numbers that everything else is made of [-].
    observed : dict
        Output (see `OUTPUTS`) to `Dual` over the points, its n directions along `channels` [inner unit].
    conditions : dict
        Condition (see `CONDITIONS`) to `Dual` or array over the points [inner unit].
    speed : Dual
        Gas generator speed over the points [rpm].
    readings : array, shape (n, P)
        The readings and known numbers themselves [inner unit].
    errors : array, shape (E, n, P)
        What each error gives to each reading, in standard uncertainties [inner unit].
    sources : tuple of E ErrorSource
        The errors; the same name in two runs names the same cause, not the same draw [-].
    random : array of bool, shape (E,)
        Whether an error is scatter, drawn anew at every point [-].
    roles : mapping
        Role to channel id, for the channels that the run has [-].
    bars : tuple of str
        What keeps some holds out, in words [-].
    """

    engine: str
    visit: str
    run: str
    cell: str
    points: tuple[str, ...]
    channels: tuple[str, ...]
    observed: dict[str, Number]
    conditions: dict[str, Number]
    speed: Number
    readings: FloatArray
    errors: FloatArray
    sources: tuple[ErrorSource, ...]
    random: NDArray[np.bool_]
    bars: tuple[str, ...] = ()
    roles: Mapping[str, str] = field(default_factory=dict)

    @property
    def size(self) -> int:
        """Number of points [-]."""
        return len(self.points)

    def level(self, channel: str) -> float:
        """Mean of a reading over the points.

        Parameters
        ----------
        channel : str
            Which, see `channels` [-].

        Returns
        -------
        float
            Mean [inner unit].
        """
        return float(np.mean(self.readings[self.channels.index(channel)]))
