"""One engine on one bench on one day: everything that is drawn once a run, and how true quantities become
channels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.bench import (
    Ambient,
    CellTruth,
    FuelBatch,
    Weather,
    date_in_calibration,
    dew_point,
    drawn_cell,
    drawn_fuel,
    drawn_weather,
    relative_humidity,
)
from spoolwright.rig.draws import stream
from spoolwright.rig.oil import OilSystem, drawn_oil
from spoolwright.rig.schedule import SET_BY, Step, main_rating
from spoolwright.rig.sensors import SystematicErrors, drawn_errors, first_order_lag
from spoolwright.rig.truth import TruthEngine, output_speed_ratio
from spoolwright.rig.vibration import Pickup, drawn_pickups
from spoolwright.units import to_inner

FloatArray = NDArray[np.float64]

_RAD = math.pi / 30.0
_PROBES = "mgt_"
_COOLING_WATER = 8.0 * 4180.0
"""Heat that the dynamometer's water takes up for each kelvin [W/K]: 8 kg/s."""


@dataclass(frozen=True)
class Day:
    """What is drawn once a run.

    Parameters
    ----------
    engine, weather, cell, fuel, oil : what runs where, on what
    pickups : vibration pickups by channel
    errors : systematic errors of the instruments
    conformation : true torque over indicated torque
    probes : temperature pattern between the turbines, by channel, as a share of (T45 - T3) [-]
    date : day of the run
    """

    engine: TruthEngine
    weather: Weather
    cell: CellTruth
    fuel: FuelBatch
    oil: OilSystem
    pickups: dict[str, Pickup]
    errors: SystematicErrors
    conformation: float
    probes: dict[str, float]
    date: date

    @property
    def known(self) -> TypeFile:
        """The type."""
        return self.engine.known

    def cell_factor(self, quantity: str) -> float:
        """True correlation factor of the cell for a quantity [-]; 1 where the type file states none."""
        return self.cell.factors.get(quantity, 1.0)

    def true_setting(self, step: Step, reading: float) -> float:
        """True value at which the channel that sets a step shows a reading on average [unit of the
        setting].
        """
        channel = next((c for c in self.known.channel if c.id == step.channel), None)
        if channel is None:
            return reading
        at = np.array(reading)
        quantity = SET_BY[channel.role][1]
        return float((at - self.errors.of(channel, at, np.array(1.0))) * self.cell_factor(quantity))


def drawn_day(
    engine: TruthEngine,
    seed: int,
    ambient: Ambient,
    *,
    cell_id: str | None = None,
    hydrogen_to_carbon: float | None = None,
    on: date | None = None,
) -> Day:
    """Draw a day; `seed` is of the run, not of the engine, so that an engine can run on many days."""
    known = engine.known
    weather = drawn_weather(ambient, stream(seed, "weather"))
    cell = drawn_cell(known, cell_id, stream(seed, "cell"))
    return Day(
        engine=engine,
        weather=weather,
        cell=cell,
        fuel=drawn_fuel(stream(seed, "fuel"), weather.temperature, hydrogen_to_carbon),
        oil=drawn_oil(
            known,
            engine.mechanical("oil_pressure"),
            engine.mechanical("oil_loss"),
            stream(engine.seed, "oil"),
        ),
        pickups=drawn_pickups(known, engine.mechanical("unbalance"), stream(engine.seed, "vibration")),
        errors=_with_probes(known, drawn_errors(known.channel, stream(seed, "systematic"))),
        conformation=_drawn_conformation(known, stream(engine.seed, "torquemeter")),
        probes=_drawn_probes(known, stream(engine.seed, "probes")),
        date=on or date_in_calibration(cell.cell),
    )


def _drawn_conformation(known: TypeFile, g: Generator) -> float:
    plate = known.data_plate
    if plate is None:
        return 1.0
    low, high = plate.torque_conformation_range
    drawn = plate.torque_conformation.value + 0.15 * (high - low) * float(g.standard_normal())
    return round(min(max(drawn, low), high), 4)


def _with_probes(known: TypeFile, errors: SystematicErrors) -> SystematicErrors:
    """The profile error of the harness is that of its probes: each of them carries it."""
    harness = next((c.id for c in known.channel if c.role == "measured_gas_temperature"), "")
    if harness not in errors.profile:
        return errors
    probes = [c.id for c in known.channel if c.role == "other" and c.id.startswith(_PROBES)]
    return replace(errors, profile=errors.profile | dict.fromkeys(probes, errors.profile[harness]))


def _drawn_probes(known: TypeFile, g: Generator) -> dict[str, float]:
    names = [c.id for c in known.channel if c.role == "other" and c.id.startswith(_PROBES)]
    pattern = 0.018 * g.standard_normal(len(names))
    return dict(zip(names, (pattern - pattern.mean()).tolist(), strict=True)) if names else {}


def channel_traces(
    day: Day, q: dict[str, FloatArray], step: float, oil_start: float, generator: Generator
) -> dict[str, FloatArray]:
    """True traces of every channel the rig can fill, from the engine's true quantities.

    Parameters
    ----------
    day : what was drawn for the run
    q : time, ng, np (output shaft), power, mgt, t3, p3, p45, t5, fuel_flow, t_amb, p_amb, t2, p2, p_exhaust
    and the states vane_angle, bleed, ignition, starter, starter_torque, lever, each of shape (rows,) [inner
    units]
    step : interval between rows [s]
    oil_start : oil temperature at the first row [K]
    generator : source of gusts

    Returns
    -------
    dict
        Channel identifier to true values, shape (rows,) [inner].
    """
    known = day.known
    by_role = _by_role(day, q, step, oil_start, generator)
    traces = {c.id: by_role[c.role] for c in known.channel if c.role in by_role}
    relative = _relative(day, q)
    for name, pickup in day.pickups.items():
        traces[name] = pickup.level(relative["ng"], relative["np"], relative["load"])
    others = _others(day, q, relative, traces, step, generator)
    traces |= {c.id: others[c.id] for c in known.channel if c.role == "other" and c.id in others}
    return traces


def relative_load(day: Day, q: dict[str, FloatArray]) -> FloatArray:
    """Power relative to the rated point [-]."""
    return np.asarray(q["power"] / day.engine.model.data.reference.power)


def _relative(day: Day, q: dict[str, FloatArray]) -> dict[str, FloatArray]:
    reference = day.engine.model.data.reference
    return {
        "ng": q["ng"] / reference.gas_generator_speed,
        "np": q["np"] * day.engine.model.data.shafts.gear_ratio / reference.power_turbine_speed,
        "load": relative_load(day, q),
    }


def _by_role(
    day: Day, q: dict[str, FloatArray], step: float, oil_start: float, g: Generator
) -> dict[str, FloatArray]:
    relative = _relative(day, q)
    speed = q["np"] * output_speed_ratio(day.known, day.engine.model.data)
    torque = np.where(speed > 1.0, q["power"] / np.maximum(speed * _RAD, 1.0), 0.0)
    torque = torque / day.cell_factor("power")
    fuel = q["fuel_flow"] / day.cell_factor("fuel_flow")
    fuel_temperature = np.full_like(fuel, day.fuel.temperature)
    oil = day.oil.temperature_after(q["t_amb"], relative["ng"], relative["load"], step, oil_start)
    humidity = relative_humidity(day.weather.water_air_ratio, q["t_amb"], q["p_amb"])
    return {
        "ambient_temperature": q["t_amb"],
        "ambient_pressure": q["p_amb"],
        "inlet_temperature": q["t2"],
        "inlet_pressure": q["p2"],
        "relative_humidity": humidity,
        "dew_point": dew_point(day.weather.water_air_ratio, q["p_amb"]),
        "gas_generator_speed": q["ng"] / day.cell_factor("gas_generator_speed"),
        "power_turbine_speed": speed,
        "torque": torque / day.conformation * day.engine.mechanical("torque_zero"),
        "dynamometer_torque": torque,
        "measured_gas_temperature": q["mgt"] / day.cell_factor("measured_gas_temperature"),
        "compressor_discharge_temperature": q["t3"],
        "compressor_discharge_pressure": q["p3"],
        "interturbine_pressure": q["p45"],
        "exhaust_pressure": q["p_exhaust"],
        "exhaust_temperature": q["t5"],
        "fuel_mass_flow": fuel,
        "fuel_volume_flow": fuel / day.fuel.density_at(fuel_temperature),
        "fuel_temperature": fuel_temperature,
        "oil_pressure": day.oil.pressure_at(relative["ng"], oil),
        "oil_temperature": oil,
        "oil_quantity": day.oil.quantity_after(q["time"], relative["ng"], oil),
        "wind_speed": _gusts(day.weather.wind_speed, day.weather.gustiness, q["time"].size, step, g),
        "vane_angle": q["vane_angle"],
        "bleed_valve": q["bleed"],
        "ignition": q["ignition"],
        "starter": q["starter"],
        "power_lever": q["lever"],
        "chip_detector": _chips(day, q["time"]),
    }


def _gusts(mean: float, deviation: float, rows: int, step: float, g: Generator) -> FloatArray:
    """Wind about its mean with gusts of some ten seconds, never below calm."""
    white = g.standard_normal(rows) * math.sqrt(2.0 * 12.0 / step) * deviation
    white[:1] /= math.sqrt(2.0 * 12.0 / step)  # the lag starts settled at it: no larger than any later gust
    return np.maximum(mean + first_order_lag(white, step, 12.0), 0.0)


def _chips(day: Day, time: FloatArray) -> FloatArray:
    after = day.engine.mechanical("chips")
    return np.where((after > 0.0) & (time > after), 1.0, 0.0)


def _others(
    day: Day,
    q: dict[str, FloatArray],
    relative: dict[str, FloatArray],
    traces: dict[str, FloatArray],
    step: float,
    g: Generator,
) -> dict[str, FloatArray]:
    """Channels without a meaning to the physics that a bench of this kind usually records."""
    reference, load = day.engine.model.data.reference, relative["load"]
    flow = q["fuel_flow"] / reference.fuel_flow
    oil = next((traces[c.id] for c in day.known.channel if c.role == "oil_temperature"), q["t_amb"])
    gas = q["mgt"] / day.cell_factor("measured_gas_temperature")
    out = {name: gas + share * (gas - q["t3"]) for name, share in day.probes.items()}
    current = 180.0 * q["starter_torque"] / max(float(q["starter_torque"].max()), 1e-9)
    current = current + 520.0 * q["starter"] * (current > 0.0)
    return out | {
        "wind_from": day.weather.wind_from + _gusts(30.0, 6.0, load.size, step, g) - 30.0,
        "p_fuel": 240e3 - 50e3 * flow**2,
        "oil_filter_dp": day.oil.filter_drop_at(relative["ng"], oil),
        "starter_current": current,
        "bus_voltage": 28.0 - 4.0 * q["starter"],
        "anti_ice": np.zeros_like(load),
        "dyno_water_out": first_order_lag(288.15 + q["power"] / _COOLING_WATER, step, 20.0),
        "t_bay": first_order_lag(q["t_amb"] + 6.0 + 16.0 * load, step, 120.0),
    }


def rated_output_speed(known: TypeFile, engine: TruthEngine) -> float:
    """Output shaft speed at the main rating [rpm]."""
    speed = main_rating(known).power_turbine_speed
    return to_inner(speed.value, speed.unit) / output_speed_ratio(known, engine.model.data)
