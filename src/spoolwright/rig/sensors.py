"""Sensors of the bench: what the data system writes where the engine truly stands.

The chain of a channel, in this order: first-order lag, systematic error, noise, resolution, instrument range.

Systematic errors are drawn once a run from exactly the parts that the type file states: an offset of standard
uncertainty `absolute` and, independent of it, a gain error of standard uncertainty `relative`; parts that
name the same source take the same draw. A normal part with finite degrees of freedom is drawn from
Student's t (JCGM 101:2008, 6.4.9). A part whose source names a thermocouple profile varies slowly with
load: a harness averages the hot and cold streaks of the gas, and their pattern turns as the load changes.
At every load it has the stated size.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from spoolwright.crafts.typefile.model import Channel, UncertaintyPart
from spoolwright.units import unit_of

FloatArray = NDArray[np.float64]

_PROFILE_TURN = math.pi / 3.0
"""How far a thermocouple profile turns from no load to full load [rad]: neighbouring points stay
correlated.
"""
_AUTOCORRELATED = (0.2, 0.6)
"""Share of a sample's noise variance that is autocorrelated; each channel draws its own between these [-]."""
_CORRELATION_TIME = (1.0, 4.0)
"""Its correlation time; each channel draws its own between these [s]."""
_STEPS = 65536
"""Steps of the converter over the instrument's range (16 bit)."""


@dataclass(frozen=True)
class SystematicErrors:
    """Systematic errors of one run's instruments, by channel.

    Parameters
    ----------
    offset : offset error [inner]
    gain : gain error as a fraction of the reading in the channel's unit [-]
    profile : the two components of a thermocouple profile error that turns with load [inner]
    """

    offset: dict[str, float]
    gain: dict[str, float]
    profile: dict[str, tuple[float, float]]

    def of(self, channel: Channel, true: FloatArray, load: FloatArray) -> FloatArray:
        """Error of a channel at its true values [inner]; `load` is 0 without load, 1 at the rated point."""
        unit = unit_of(channel.unit, channel.dimension)
        error = self.offset.get(channel.id, 0.0) + self.gain.get(channel.id, 0.0) * (true - unit.offset)
        if channel.id in self.profile:
            first, second = self.profile[channel.id]
            angle = _PROFILE_TURN * (load - 1.0)
            error = error + first * np.cos(angle) + second * np.sin(angle)
        return np.asarray(error, dtype=float)


def _standard_draw(part: UncertaintyPart, generator: Generator) -> float:
    """One draw with standard deviation 1 (Student's t: scale 1) of a part's distribution."""
    if part.distribution == "rectangular":
        return float(generator.uniform(-math.sqrt(3.0), math.sqrt(3.0)))
    if part.distribution == "triangular":
        return float(generator.triangular(-math.sqrt(6.0), 0.0, math.sqrt(6.0)))
    if part.degrees_of_freedom is None:
        return float(generator.standard_normal())
    return float(generator.standard_t(part.degrees_of_freedom))


def drawn_errors(channels: Iterable[Channel], generator: Generator) -> SystematicErrors:
    """Systematic errors of all channels for one run, drawn from their stated parts."""
    offset: dict[str, float] = {}
    gain: dict[str, float] = {}
    profile: dict[str, tuple[float, float]] = {}
    shared: dict[tuple[str, str], float] = {}
    for channel in channels:
        factor = unit_of(channel.unit, channel.dimension).factor
        for part in channel.uncertainty:
            if part.absolute and "profile" in part.source and channel.dimension == "temperature":
                size = part.absolute * factor
                profile[channel.id] = (
                    size * _standard_draw(part, generator),
                    size * _standard_draw(part, generator),
                )
                continue
            for effect, size, total in (
                ("offset", part.absolute * factor, offset),
                ("gain", part.relative, gain),
            ):
                if size:
                    key = (effect, part.source)
                    if key not in shared:
                        shared[key] = _standard_draw(part, generator)
                    total[channel.id] = total.get(channel.id, 0.0) + size * shared[key]
    return SystematicErrors(offset, gain, profile)


def first_order_lag(values: FloatArray, step: float, time_constant: float) -> FloatArray:
    """Response of a first-order sensor settled at the first value; exact for inputs that hold between
    samples.
    """
    if time_constant <= 0.0 or values.size == 0:
        return values
    from scipy.signal import lfilter

    keep = math.exp(-step / time_constant)
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], values, zi=[keep * values[0]])[0], dtype=float)


def noise(rows: int, step: float, standard_deviation: float, generator: Generator) -> FloatArray:
    """Sample noise of a channel: a white and an autocorrelated share, together of the stated deviation."""
    if standard_deviation <= 0.0:
        return np.zeros(rows)
    from scipy.signal import lfilter

    share = generator.uniform(*_AUTOCORRELATED)
    keep = math.exp(-step / generator.uniform(*_CORRELATION_TIME))
    start = generator.standard_normal()
    drive = generator.standard_normal(rows) * math.sqrt(1.0 - keep * keep)
    coloured = lfilter([1.0], [1.0, -keep], drive, zi=[keep * start])[0]
    white = generator.standard_normal(rows)
    return np.asarray(standard_deviation * (math.sqrt(share) * coloured + math.sqrt(1.0 - share) * white))


def _within_instrument(channel: Channel, values: FloatArray) -> FloatArray:
    """Resolution and range of the instrument; a state is recorded as it is, a direction goes round."""
    unit = unit_of(channel.unit, channel.dimension)
    low, high = (end * unit.factor + unit.offset for end in channel.range)
    if channel.dimension == "state":
        return np.clip(values, low, high)
    if channel.turns:
        values = low + np.mod(values - low, high - low)
    resolution = (high - low) / _STEPS
    steps = np.rint((values - low) / resolution)
    return np.asarray(low + resolution * np.clip(steps, 0.0, float(_STEPS)), dtype=float)


def recorded_values(
    channels: Sequence[Channel],
    true: dict[str, FloatArray],
    load: FloatArray,
    step: float,
    errors: SystematicErrors,
    generator: Generator,
) -> dict[str, FloatArray]:
    """What the data system records for each channel of which a true trace is given.

    Parameters
    ----------
    channels : channels of the type file
    true : channel identifier to true values, shape (rows,) [inner]
    load : 0 without load to 1 at the rated point, shape (rows,) [-]
    step : interval between rows [s]
    errors : systematic errors of this run
    generator : source of the noise

    Returns
    -------
    dict
        Channel identifier to recorded values, shape (rows,) [inner].
    """
    recorded = {}
    for channel in channels:
        if channel.id not in true:
            continue
        factor = unit_of(channel.unit, channel.dimension).factor
        seen = first_order_lag(true[channel.id], step, channel.time_constant_s)
        seen = seen + errors.of(channel, seen, load)
        seen = seen + noise(seen.size, step, channel.noise * factor, generator)
        recorded[channel.id] = _within_instrument(channel, seen)
    return recorded
