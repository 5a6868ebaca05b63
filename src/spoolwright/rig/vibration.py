"""Vibration at the pickups: rotors in unbalance seen through the casing's modes.

Each pickup sees the gas generator and the power turbine turning (first order, velocity) and a broadband
floor. An unbalanced rotor's force grows with the square of its speed; the casing answers like a damped
oscillator at each mode, so that a run-up shows a peak where a rotor passes a mode. A healthy engine stands
at a fraction of the type's steady limit at full speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from spoolwright.crafts.typefile.model import Channel, TypeFile
from spoolwright.units import unit_of

FloatArray = NDArray[np.float64]

_HEALTHY = 0.38
"""Usual level of a healthy engine at full speed, as a share of the lowest steady limit [-]."""


@dataclass(frozen=True)
class Mode:
    """A casing mode: relative speed at which a rotor excites it, and its damping ratio [-]."""

    speed: float
    damping: float

    def response(self, speed: FloatArray) -> FloatArray:
        """Amplification of an unbalance force's displacement, r^2 / |1 - r^2 + 2 i z r|, at a relative
        speed.
        """
        r = np.maximum(speed, 0.0) / self.speed
        return np.asarray(r * r / np.sqrt((1.0 - r * r) ** 2 + (2.0 * self.damping * r) ** 2))


@dataclass(frozen=True)
class Pickup:
    """What one pickup sees at full speed of either rotor [m/s rms], and through which modes."""

    gas_generator: float
    power_turbine: float
    floor: float
    gas_generator_mode: Mode
    power_turbine_mode: Mode

    def level(self, ng: FloatArray, np_speed: FloatArray, load: FloatArray) -> FloatArray:
        """Velocity, rms [m/s], at relative rotor speeds and load [-]."""
        one = self.gas_generator * _first_order(self.gas_generator_mode, ng)
        two = self.power_turbine * _first_order(self.power_turbine_mode, np_speed)
        floor = self.floor * np.maximum(ng, 0.0) ** 2 * (0.6 + 0.4 * load)
        return np.asarray(np.sqrt(one**2 + two**2 + floor**2))


def _first_order(mode: Mode, speed: FloatArray) -> FloatArray:
    """Velocity of a first order relative to full speed."""
    full = float(mode.response(np.array(1.0)))
    return np.asarray(np.maximum(speed, 0.0) * mode.response(speed) / full)


def drawn_pickups(known: TypeFile, unbalance: float, generator: Generator) -> dict[str, Pickup]:
    """Pickups of one build, by channel; `unbalance` multiplies the gas generator's share."""
    g = generator
    modes = (Mode(0.44 + 0.02 * g.standard_normal(), 0.09), Mode(0.62 + 0.03 * g.standard_normal(), 0.10))
    build = (math.exp(0.22 * g.standard_normal()), math.exp(0.22 * g.standard_normal()))
    pickups = {}
    for channel in known.channel:
        if channel.role == "vibration":
            healthy = _HEALTHY * _lowest_limit(known, channel)
            share = g.uniform(0.35, 0.75)
            pickups[channel.id] = Pickup(
                gas_generator=healthy * build[0] * share * unbalance,
                power_turbine=healthy * build[1] * (1.0 - share),
                floor=healthy * 0.45,
                gas_generator_mode=modes[0],
                power_turbine_mode=modes[1],
            )
    return pickups


def _lowest_limit(known: TypeFile, channel: Channel) -> float:
    """Lowest steady limit of a pickup [m/s]; without one, a tenth of the instrument's range."""
    own = [
        x.value * unit_of(x.unit, channel.dimension).factor
        for x in known.limit
        if x.quantity == channel.id and x.regime == "steady" and x.bound == "max" and x.value is not None
    ]
    return min(own, default=0.1 * channel.range[1] * unit_of(channel.unit, channel.dimension).factor)
