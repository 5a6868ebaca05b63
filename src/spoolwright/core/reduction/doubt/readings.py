"""Readings of a run at its levels, and what else they could have been."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reduction.doubt.signs import BoolArray, FloatArray


@dataclass(frozen=True)
class Sensor:
    """A channel as the comparison of hypotheses sees it.

    Parameters
    ----------
    channel : str
        Channel [-].
    role : str
        What it reads, see `prediction.ROLES` [-].
    absolute : tuple of (str, float)
        Systematic parts by source: standard uncertainty of an offset [inner unit].
    relative : tuple of (str, float)
        The same of a gain, as a fraction of the reading above `zero` [-].
    zero : float
        Inner value at which the channel's own unit reads zero [inner unit].
    plausible : (float, float)
        Outside this no engine of the type can be [inner unit].
    """

    channel: str
    role: str
    absolute: tuple[tuple[str, float], ...] = ()
    relative: tuple[tuple[str, float], ...] = ()
    zero: float = 0.0
    plausible: tuple[float, float] = (-np.inf, np.inf)


@dataclass(frozen=True)
class Readings:
    """Means of the sensors at the levels.

    Parameters
    ----------
    sensors : tuple of n Sensor
        Channels [-].
    means : array, shape (n, levels)
        Middle values; NaN where not recorded or barred for another reason [inner unit].
    random : array, shape (n, levels)
        Standard uncertainty of the means from scatter [inner unit].
    time : array, shape (levels,)
        Middle of each level [s].
    resting : array of bool, shape (levels,)
        Whether the engine stands still [-].
    block : array of int, shape (levels,)
        Rises by one at every adjustment that changes how the engine runs [-].
    """

    sensors: tuple[Sensor, ...]
    means: FloatArray
    random: FloatArray
    time: FloatArray
    resting: BoolArray
    block: NDArray[np.intp]

    def index(self, channel: str) -> int:
        """Place of a channel among the sensors, -1 where it is not [-]."""
        return next((i for i, s in enumerate(self.sensors) if s.channel == channel), -1)


@dataclass(frozen=True)
class Alternative:
    """A discrete mistake and the readings it would have hidden.

    Parameters
    ----------
    name : str
        What the mistake is, for the caller [-].
    values : dict of array, shape (levels,)
        Channel to what it would truly have read [inner unit].
    log_slope : dict of array, shape (levels,)
        ln |d true / d recorded| at each level; 0 for a swap of like units [-].
    weight : float
        How likely the mistake is against its peers, before looking [-].
    """

    name: str
    values: dict[str, FloatArray]
    log_slope: dict[str, FloatArray]
    weight: float = 1.0

    @property
    def channels(self) -> tuple[str, ...]:
        """Channels concerned [-]."""
        return tuple(self.values)
