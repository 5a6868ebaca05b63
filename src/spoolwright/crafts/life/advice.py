"""Cycles counted in a recorded speed: advice beside the manual's count, part of no total."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from spoolwright.core.life.damage import full_cycles
from spoolwright.core.life.rainflow import FloatArray, rainflow, turning_points
from spoolwright.crafts.typefile.shop.lives import CycleAdvice
from spoolwright.crafts.visit.entry import Calculation
from spoolwright.errors import InputError

NAME, VERSION = "life.advice", "1"
MOST_POINTS = 20_000
"""Turning points that are kept with a count; an engine's day has a few hundred."""


def advice_calculation(speed: FloatArray, advice: Sequence[CycleAdvice]) -> Calculation:
    """The count that is stored with a recording: its turning points, and the full cycles of each module.

    Parameters
    ----------
    speed : recorded speed in rpm, in the order of time
    advice : how each module's cycles are weighed

    Raises
    ------
    InputError
        The recording holds no speed, or swings without end (noise above the least swing).
    """
    if not advice:
        raise InputError("the type tells no way to count cycles.", mend="Transcribe [[cycle_advice]].")
    points = turning_points(speed, min(a.least_swing_rpm for a in advice))
    if points.size == 0:
        raise InputError("the recording holds no gas generator speed.", mend="Choose another recording.")
    if points.size > MOST_POINTS:
        raise InputError(
            f"the speed turns {points.size:,} times; more than {MOST_POINTS:,} is noise.",
            mend="Look at the speed channel.",
        )
    inputs = {
        "turning_points_rpm": points.tolist(),
        "advice": [a.model_dump(mode="json") for a in advice],
    }
    return Calculation(name=NAME, version=VERSION, inputs=inputs, result=recompute_advice(inputs, _none))


def recompute_advice(inputs: dict[str, Any], _attachment: Callable[[str], bytes]) -> dict[str, Any]:
    """Full cycles of each module again, from the turning points."""
    points = np.asarray(inputs["turning_points_rpm"], dtype=np.float64)
    out = {}
    for said in inputs["advice"]:
        a = CycleAdvice.model_validate(said)
        cycles = rainflow(points, a.least_swing_rpm)
        out[a.module] = {
            "full_cycles": full_cycles(cycles, a.full_speed_rpm, a.slope),
            "closed_or_half": int(cycles.count.size),
        }
    return out


def _none(sha256: str) -> bytes:
    raise KeyError(sha256)
