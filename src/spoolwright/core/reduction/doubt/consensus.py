"""A first state of every level on which most readings agree, so that no single wrong one leads astray."""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.core.gas.saturation import saturation_pressure
from spoolwright.core.reduction.doubt.prediction import STATES, Site
from spoolwright.core.reduction.doubt.signs import BoolArray, FloatArray

Candidates = Mapping[str, Sequence[FloatArray]]
"""Role to the readings that a discrete mistake could have hidden, shape (levels,)."""

_RAD = math.pi / 30.0
_LINE = {
    "gas_generator_speed": ("gas_generator_speed", "speed"),
    "measured_gas_temperature": ("measured_gas_temperature", "temperature"),
    "compressor_discharge_temperature": ("T3", "temperature"),
    "compressor_discharge_pressure": ("p3", "pressure"),
    "interturbine_pressure": ("p45", "pressure"),
    "fuel_mass_flow": ("fuel_flow", "flow"),
    "torque": ("power", "flow"),
    "dynamometer_torque": ("power", "flow"),
}  # fmt: skip
_COLDEST, _HOTTEST = 225.0, 330.0
_THINNEST, _DENSEST = 55e3, 108e3


@lru_cache(maxsize=16)
def nominal_line(model: EngineModel) -> dict[str, FloatArray]:
    """Readings of the nominal engine along its operating line at the reference inlet.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].

    Returns
    -------
    dict of array
        Output to its values over rising speed, `gas_generator_speed` among them [see `cycle.OUTPUTS`].
    """
    reference = model.data.reference.gas_generator_speed
    speeds = reference * np.arange(0.60, 1.08, 0.01)
    found = solve(model, model.data.condition(), set_by="ng", target=speeds)
    good = np.asarray(found.solved)
    names = {name for name, _ in _LINE.values()}
    return {name: np.asarray(getattr(found, name))[good] for name in names}


def consensus(
    model: EngineModel,
    means: Mapping[str, FloatArray],
    candidates: Candidates,
    resting: BoolArray,
    rated_output_speed: float,
    site: Site,
) -> tuple[FloatArray, BoolArray]:
    """State of every level on which most readings agree.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    means : mapping
        Role to its means, shape (levels,); NaN where nothing was recorded [inner unit].
    candidates : mapping
        Role to other readings that a mistake of its unit could have hidden [inner unit].
    resting : array of bool, shape (levels,)
        Levels at which the engine stands still [-].
    rated_output_speed : float
        As the power turbine channel reads it [rpm].
    site : Site
        What the sheet and the type file know [-].

    Returns
    -------
    state : array, shape (states, levels)
        See `prediction.STATES` [inner unit].
    usable : array of bool, shape (levels,)
        False where the engine is neither at rest nor on its operating line [-].

    Notes
    -----
    Each reading of the gas path, referred to the reference inlet, gives a speed on the nominal operating
    line; the median of those speeds is taken. Air temperature and pressure are those on which two channels
    agree; where none do, the candidate with which the speeds agree best.
    """
    levels = resting.size
    running = ~resting
    pressure = _air_pressure(model, means, candidates, running, site, rated_output_speed)
    temperature = _air_temperature(model, means, candidates, running, site, rated_output_speed, pressure)
    speeds = _speeds(model, means, temperature, pressure, site, rated_output_speed)
    with np.errstate(invalid="ignore"):
        speed = _median(speeds) if speeds.size else np.full(levels, np.nan)
    line = nominal_line(model)["gas_generator_speed"]
    referred = speed / np.sqrt(temperature / model.data.reference.temperature)
    enough = np.isfinite(speeds).sum(axis=0) >= 2 if speeds.size else np.zeros(levels, dtype=bool)
    within = enough & (referred > 1.002 * line[0]) & (referred < 0.998 * line[-1])
    state = np.zeros((len(STATES), levels))
    state[0] = np.log(np.where(within, speed, model.data.reference.gas_generator_speed))
    state[1], state[2] = temperature, np.log(pressure)
    state[6] = np.log(_output_speed(means, rated_output_speed, levels))
    state[7] = _humidity(means, temperature, pressure)
    state[8] = _fuel(means, temperature)
    return state, np.asarray(resting | within)


def _median(rows: FloatArray) -> FloatArray:
    with warnings.catch_warnings(action="ignore", category=RuntimeWarning):
        return np.asarray(np.nanmedian(rows, axis=0))


def _speeds(
    model: EngineModel,
    means: Mapping[str, FloatArray],
    temperature: FloatArray,
    pressure: FloatArray,
    site: Site,
    rated: float,
) -> FloatArray:
    """Gas generator speed by each reading, shape (readings, levels); NaN beyond the ends of the line."""
    line, reference = nominal_line(model), model.data.reference
    theta, delta = temperature / reference.temperature, pressure / reference.pressure
    scale = {"speed": np.sqrt(theta), "temperature": theta, "pressure": delta, "flow": delta * np.sqrt(theta)}
    out = []
    for role, (name, kind) in _LINE.items():
        if role not in means:
            continue
        reading = means[role] / scale[kind]
        if "torque" in role:
            reading = reading * rated * _RAD * (site.number("conformation", 1.0) if role == "torque" else 1.0)
        y = np.maximum.accumulate(line[name])
        out.append(np.interp(reading, y, line["gas_generator_speed"], left=np.nan, right=np.nan))
    return np.array(out) * np.sqrt(theta) if out else np.zeros((0, temperature.size))


def _spread(speeds: FloatArray, running: BoolArray) -> float:
    """Scatter of the speeds that the readings give, readings beyond the line counted as far off."""
    if not running.any() or speeds.shape[0] < 3:
        return math.inf
    x = np.log(speeds[:, running])
    away = np.abs(x - _median(x))
    return float(np.mean(np.minimum(np.nan_to_num(away, nan=0.3), 0.3)))


def _air_pressure(
    model: EngineModel, means: Mapping[str, FloatArray], candidates: Candidates, running: BoolArray,
    site: Site, rated: float,
) -> FloatArray:  # fmt: skip
    """Pressure of the cell on which most agree."""
    roles = ("ambient_pressure", "inlet_pressure", "exhaust_pressure")
    read = [means[r] for r in roles if r in means]
    level = [float(np.nanmedian(x)) for x in read if np.isfinite(x).any()]
    standard = np.full(running.size, model.data.reference.pressure)
    close = [
        (abs(math.log(a / b)), 0.5 * (a + b)) for i, a in enumerate(level) for b in level[:i] if a > 0 < b
    ]
    near = [m for d, m in close if d < 0.04 and _THINNEST < m < _DENSEST]
    tried = read + [x for r in roles for x in candidates.get(r, ())]
    tried = [np.where(np.isfinite(x), x, np.nanmedian(x)) for x in tried if np.isfinite(x).any()]
    if near:
        tried = [x for x in tried if abs(float(np.median(x)) / near[0] - 1.0) < 0.04][:1] or [standard]
    tried = [x for x in tried if _THINNEST < float(np.median(x)) < _DENSEST]
    if len(tried) < 2:
        return tried[0] if tried else standard
    air = np.full(running.size, model.data.reference.temperature)
    spread = [_spread(_speeds(model, means, air, p, site, rated), running) for p in tried]
    return tried[int(np.argmin(spread))]


def _air_temperature(
    model: EngineModel, means: Mapping[str, FloatArray], candidates: Candidates, running: BoolArray,
    site: Site, rated: float, pressure: FloatArray,
) -> FloatArray:  # fmt: skip
    """Temperature of the air on which both channels agree, else the one that suits the engine best."""
    roles = ("ambient_temperature", "inlet_temperature")
    read = [np.where(np.isfinite(means[r]), means[r], np.nanmedian(means[r])) for r in roles
            if r in means and np.isfinite(means[r]).any()]  # fmt: skip
    if len(read) == 2 and abs(float(np.median(read[0] - read[1]))) < 4.0 and _inhabited(read[0]):
        return np.asarray(read[0])
    tried = read + [x for r in roles for x in candidates.get(r, ()) if np.isfinite(x).all()]
    tried = [x for x in tried if _inhabited(x)]
    if not tried:
        return np.full(running.size, model.data.reference.temperature)
    spread = [_spread(_speeds(model, means, t, pressure, site, rated), running) for t in tried]
    return np.asarray(tried[int(np.argmin(spread))])


def _inhabited(temperature: FloatArray) -> bool:
    return bool(_COLDEST < float(np.median(temperature)) < _HOTTEST)


def _output_speed(means: Mapping[str, FloatArray], rated: float, levels: int) -> FloatArray:
    """The reading where it is near the rated speed, which the governor keeps; else the rated speed."""
    reading = means.get("power_turbine_speed", np.full(levels, np.nan))
    return np.asarray(np.where(np.abs(reading / rated - 1.0) < 0.2, reading, rated))


def _humidity(means: Mapping[str, FloatArray], temperature: FloatArray, pressure: FloatArray) -> FloatArray:
    """Humidity ratio by the reading where it can be one, else of 60 % of saturation [kg/kg]."""
    reading = means.get("relative_humidity", np.full(temperature.size, np.nan))
    relative = np.where((reading > 0.02) & (reading <= 1.05), reading, 0.6)
    vapour = relative * np.asarray(saturation_pressure(np.clip(temperature, 200.0, 370.0), "water"))
    return np.asarray(0.621945 * vapour / (pressure - vapour))


def _fuel(means: Mapping[str, FloatArray], temperature: FloatArray) -> FloatArray:
    """Fuel less air temperature by the reading where it can be one, else a little warmer than the air [K]."""
    reading = means.get("fuel_temperature", np.full(temperature.size, np.nan)) - temperature
    return np.asarray(np.where(np.abs(reading) < 30.0, reading, 4.0))
