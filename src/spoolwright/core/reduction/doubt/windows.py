"""What needs no model: a reading outside its plausible window, air that gains pressure on its way in."""

from __future__ import annotations

import math

import numpy as np

from spoolwright.core.reduction.doubt.readings import Alternative, Readings
from spoolwright.core.reduction.doubt.signs import BoolArray, FloatArray

IMPOSSIBLE = math.log(1e-4)
"""ln of the chance that a sound channel stands outside its plausible window at most levels [-]."""
GAIN = 0.0015
"""Gain of total pressure from cell to running engine that no instrument's error explains, relative [-]."""


class Windows:
    """What no model is needed for: a reading outside its plausible window, air that gains pressure.

    Parameters
    ----------
    readings : Readings
        Means at the levels [inner unit].
    """

    def __init__(self, readings: Readings) -> None:
        self.readings = readings
        self.outside = {
            s.channel: _outside(readings.means[n], s.plausible) for n, s in enumerate(readings.sensors)
        }
        roles = {s.role: s.channel for s in reversed(readings.sensors)}
        self.pair = tuple(roles[r] for r in ("ambient_pressure", "inlet_pressure") if r in roles)
        self.means = {s.channel: readings.means[n] for n, s in enumerate(readings.sensors)}
        self._alone = {s.channel: self.of((s.channel,)) for s in readings.sensors}

    def without(self, channel: str, kind: str, amount: float) -> float:
        """How far a free error is against them: its channel less the error must stand inside its window.

        Parameters
        ----------
        channel : str
            Channel that is wrong [-].
        kind : str
            "offset", "gain", "step" or "ramp" [-].
        amount : float
            Best size [inner unit; gain: -].

        Returns
        -------
        float
            ln of the factor on its probability, 0 or less [-].
        """
        factor = self._alone[channel]
        if kind in ("offset", "gain") and self.outside[channel]:
            sensor = self.readings.sensors[self.readings.index(channel)]
            read = self.means[channel]
            true = read - amount if kind == "offset" else sensor.zero + (read - sensor.zero) / (1.0 + amount)
            factor += IMPOSSIBLE * _outside(true, sensor.plausible)
        return factor

    def of(self, channels: tuple[str, ...], alternative: Alternative | None = None) -> float:
        """How far a hypothesis is against them.

        Parameters
        ----------
        channels : tuple of str
            Channels that the hypothesis calls wrong [-].
        alternative : Alternative or None
            What they would truly have read [-].

        Returns
        -------
        float
            ln of the factor on its probability, 0 or less [-].
        """
        count = sum(bad for channel, bad in self.outside.items() if channel not in channels)
        values = alternative.values if alternative is not None else {}
        for channel, x in values.items():
            sensor = self.readings.sensors[self.readings.index(channel)]
            count += _outside(x, sensor.plausible)
        judged = len(self.pair) == 2 and not any(c in channels and c not in values for c in self.pair)
        if judged:
            ambient, inlet = (values.get(c, self.means[c]) for c in self.pair)
            count += _gains(ambient, inlet, ~self.readings.resting)
        return count * IMPOSSIBLE


def _outside(x: FloatArray, window: tuple[float, float]) -> bool:
    known = x[np.isfinite(x)]
    return bool(known.size and 2 * np.count_nonzero((known < window[0]) | (known > window[1])) > known.size)


def _gains(ambient: FloatArray, inlet: FloatArray, running: BoolArray) -> bool:
    """Whether the air gains total pressure on its way into a running engine."""
    gain = (inlet / ambient - 1.0)[running]
    gain = gain[np.isfinite(gain)]
    return bool(gain.size and np.median(gain) > GAIN)
