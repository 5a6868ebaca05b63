"""Generic shapes of component maps and schedules, for an engine of which only a data sheet is known.

Round-number stand-ins drawn for this project (no engine's measured maps), each 1 at the reference point.
Public descriptions of such shapes: Walsh and Fletcher, Gas Turbine Performance, 2nd ed. (2004), chapter 5;
NASA/TM-2016-219147. A type file that rests on them must say so.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from spoolwright.core.cycle.engine import CompressorMap, Curve, Row, TurbineMap, VariableVanes
from spoolwright.core.numerics import FloatArray

COMPRESSOR_SPEEDS: Final = tuple(round(0.40 + 0.05 * i, 2) for i in range(19))
LOADINGS: Final = tuple(round(-1.5 + 0.25 * i, 2) for i in range(13))
EXPANSIONS: Final = tuple(round(0.2 + 0.1 * i, 1) for i in range(15))
GAS_GENERATOR_TURBINE_SPEEDS: Final = tuple(round(0.4 + 0.1 * i, 1) for i in range(11))
POWER_TURBINE_SPEEDS: Final = tuple(round(0.2 + 0.2 * i, 1) for i in range(10))


def compressor_map() -> CompressorMap:
    """Generic compressor map.

    Returns
    -------
    CompressorMap
        Relative map [-].

    Notes
    -----
    Line of best efficiency (loading 0): flow n^2, pressure rise n^3.35, both flattening above the reference.
    Along a speed line the flow falls ever faster towards surge (loading 1), less so at high speed, where the
    line is steep. Efficiency is best near 93 % speed and falls with the square of the loading.
    """
    n = np.array(COMPRESSOR_SPEEDS)[:, None]
    b = np.array(LOADINGS)[None, :]
    flow, rise, efficiency = _compressor(n, b)
    surge_flow = tuple(round(0.10 + 0.05 * i, 2) for i in range(25))
    return CompressorMap(
        COMPRESSOR_SPEEDS,
        LOADINGS,
        _table(flow),
        _table(rise),
        _table(efficiency),
        surge_flow,
        _surge_line(np.array(surge_flow)),
    )


def _compressor(n: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    speed = np.log(n)
    above = np.maximum(speed, 0.0) ** 2
    log_flow = 2.0 * speed - 4.0 * above - 0.05 * n**-2.2 * (np.exp(1.5 * b) - 1.0) / 1.5
    log_rise = 3.35 * speed - 7.0 * above + 0.16 * b - 0.03 * b * b
    peak = 1.0 - 0.55 * (n - 0.93) ** 2 - 3.0 * np.maximum(n - 1.0, 0.0) ** 2
    at_reference = 1.0 - 0.55 * 0.07**2
    return np.exp(log_flow), np.exp(log_rise), peak / at_reference * np.exp(-0.06 * b * b)


def _surge_line(flow: FloatArray) -> Row:
    """Pressure rise at loading 1, over flow; straight in logarithms beyond the highest speed."""
    n = np.linspace(0.15, 1.30, 400)
    w, r, _ = _compressor(n, np.ones_like(n))
    rising = np.flatnonzero(np.diff(w) > 0.0)
    w, r = np.log(w[rising]), np.log(r[rising])
    inside = np.interp(np.log(flow), w, r)
    slope = (r[-1] - r[-40]) / (w[-1] - w[-40])
    beyond = r[-1] + slope * (np.log(flow) - w[-1])
    return _row(np.exp(np.where(np.log(flow) > w[-1], beyond, inside)))


def gas_generator_turbine_map(log_ratio: float) -> TurbineMap:
    """Generic map of a turbine that runs choked or nearly so.

    Parameters
    ----------
    log_ratio : float
        Natural logarithm of the reference pressure ratio [-].

    Returns
    -------
    TurbineMap
        Relative map [-].
    """
    return _turbine(GAS_GENERATOR_TURBINE_SPEEDS, log_ratio, choking=3.0, speed_effect=0.03, width=0.9)


def power_turbine_map(log_ratio: float) -> TurbineMap:
    """Generic map of a free power turbine, over a wide range of speed.

    Parameters
    ----------
    log_ratio : float
        Natural logarithm of the reference pressure ratio [-].

    Returns
    -------
    TurbineMap
        Relative map [-].
    """
    return _turbine(POWER_TURBINE_SPEEDS, log_ratio, choking=2.5, speed_effect=0.06, width=1.1)


def _turbine(speeds: Row, log_ratio: float, choking: float, speed_effect: float, width: float) -> TurbineMap:
    """Capacity sqrt(1 - ratio^-choking) (ellipse law); efficiency a bell over n / expansion."""
    n = np.array(speeds)[:, None]
    y = np.array(EXPANSIONS)[None, :]
    capacity = np.sqrt(-np.expm1(-choking * log_ratio * y * y) / -math.expm1(-choking * log_ratio))
    capacity = capacity * np.exp(-speed_effect * (n - 1.0))
    efficiency = 1.0 / np.cosh(width * np.log(n / y))
    return TurbineMap(speeds, EXPANSIONS, _table(capacity), _table(efficiency))


def variable_vanes() -> VariableVanes:
    """Generic vane schedule: shut 30 degrees at low speed, open from 95 % on; the map holds on this schedule.

    Returns
    -------
    VariableVanes
        Schedule and effect of an error in it [deg, 1/deg, 1/deg2].
    """
    speed = tuple(round(0.40 + 0.05 * i, 2) for i in range(19))
    angle = tuple(round(30.0 * _step((0.95 - n) / 0.35), 3) for n in speed)
    return VariableVanes(Curve(speed, angle), Curve(speed, angle), 0.008, 0.0002)


def acceleration_schedule() -> Curve:
    """Generic largest fuel flow / p3 over corrected speed, relative to the reference.

    Returns
    -------
    Curve
        Relative ratio over relative corrected speed [-].
    """
    speed = tuple(round(0.40 + 0.05 * i, 2) for i in range(17))
    return Curve(speed, tuple(round(0.80 + 0.45 * _step((n - 0.55) / 0.5), 4) for n in speed))


def deceleration_schedule() -> Curve:
    """Generic smallest fuel flow / p3 over corrected speed, relative to the reference.

    Returns
    -------
    Curve
        Relative ratio over relative corrected speed [-].
    """
    speed = tuple(round(0.40 + 0.05 * i, 2) for i in range(17))
    return Curve(speed, tuple(0.35 for _ in speed))


def _step(u: float) -> float:
    u = min(max(u, 0.0), 1.0)
    return u * u * (3.0 - 2.0 * u)


def _row(values: FloatArray) -> Row:
    return tuple(float(f"{v:.5g}") for v in values)


def _table(values: FloatArray) -> tuple[Row, ...]:
    return tuple(_row(r) for r in values)
