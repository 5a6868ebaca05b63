"""The speed by which a run's stretches are found, even where it stands under another name or unit.

Only the finding of stretches looks here. Readings keep to the channel as recorded until a person signs a
correction; that the two differ is told among the events.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.crafts.testcell.run.run_data import RunData

FloatArray = NDArray[np.float64]

_POSSIBLE = (0.3, 1.25)
"""Greatest speed of a run over full speed between which it needs no second look [-]."""
_FULL = (0.75, 1.15)
"""The same for another channel or unit to be taken in its place [-]."""
_RAN = 700.0
"""MGT that only a burning engine shows [K]."""


@dataclass(frozen=True)
class TracedSpeed:
    """Gas generator speed for finding stretches [rpm], and what is odd about it, in words."""

    values: FloatArray
    note: str = ""


def traced_speed(data: RunData, full_speed: float) -> TracedSpeed | None:
    """The recorded speed; where no running engine can turn so, the channel and unit that fit full speed."""
    own = data.of_role("gas_generator_speed")
    recorded = None if own is None else TracedSpeed(data.values(own))
    if recorded is not None and (_within(recorded.values, full_speed, _POSSIBLE) or not _ran(data)):
        return recorded
    for name in (own, data.of_role("power_turbine_speed")):
        if name is None:
            continue
        for words, factor in _factors(data, name):
            values = factor * data.values(name)
            if (name, factor) != (own, 1.0) and _within(values, full_speed, _FULL):
                return TracedSpeed(values, _note(own, name, words))
    return recorded


def _ran(data: RunData) -> bool:
    """Whether the engine burnt fuel, as far as MGT tells."""
    mgt = data.of_role("measured_gas_temperature")
    return mgt is None or _greatest(data.values(mgt)) > _RAN


def _factors(data: RunData, name: str) -> list[tuple[str, float]]:
    channel = data.channel(name)
    factors = [("as recorded", 1.0), ("taken as Hz", 60.0), ("taken as rad/s", 30.0 / math.pi)]
    if channel.full_scale is not None:
        factors.append(("taken as per cent", channel.full_scale * data.unit(name).factor / 100.0))
    return factors


def _greatest(values: FloatArray) -> float:
    """Greatest value, the highest thousandth of the rows aside."""
    known = values[np.isfinite(values)]
    if known.size == 0:
        return math.nan
    return float(np.partition(known, -1 - known.size // 1000)[-1 - known.size // 1000])


def _within(values: FloatArray, full: float, span: tuple[float, float]) -> bool:
    return bool(span[0] * full <= _greatest(values) <= span[1] * full)


def _note(own: str | None, name: str, words: str) -> str:
    doubt = "Gas generator speed was not recorded"
    if own is not None:
        doubt = f"'{own}' as recorded cannot be gas generator speed"
    return f"{doubt}: the stretches of this run were found by '{name}' {words}; no reading is taken from it"
