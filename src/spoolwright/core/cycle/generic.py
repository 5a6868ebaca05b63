"""A whole engine model from nothing but a data sheet.

The few figures of the sheet (power, speeds, MGT, fuel consumption, pressure ratio, air flow if known) are met
exactly at the reference point; everything else is filled by a generic rule, and every fill is reported.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import Final

import numpy as np

from spoolwright.core.cycle import shapes
from spoolwright.core.cycle.condition import HEALTHY
from spoolwright.core.cycle.engine import (
    Combustor,
    Compressor,
    Ducts,
    EngineData,
    Fuel,
    FuelControl,
    HandlingBleed,
    HeatSoak,
    Reference,
    SecondaryFlows,
    Shafts,
    Turbine,
)
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.numerics import FloatArray
from spoolwright.errors import InputError


@dataclass(frozen=True)
class DataSheet:
    """What a data sheet tells of one rating, standard day at sea level, no bleed, no installation loss.

    Parameters
    ----------
    name : type designation [-]
    power : output shaft power [W]
    gas_generator_speed : gas generator speed [rpm]
    output_speed : output shaft speed [rpm]
    measured_gas_temperature : MGT between the turbines [K]
    fuel_flow : fuel flow (power times specific fuel consumption) [kg/s]
    pressure_ratio : compressor total pressure ratio [-]
    power_turbine_speed : power-turbine shaft speed; output speed if the sheet does not tell [rpm]
    air_flow : inlet flow; found from the other figures if the sheet does not tell [kg/s]
    lower_heating_value : of the fuel that the consumption refers to [J/kg]
    """

    name: str
    power: float
    gas_generator_speed: float
    output_speed: float
    measured_gas_temperature: float
    fuel_flow: float
    pressure_ratio: float
    power_turbine_speed: float | None = None
    air_flow: float | None = None
    lower_heating_value: float = 43.124e6


@dataclass(frozen=True)
class Fill:
    """A parameter that no data sheet gave.

    Parameters
    ----------
    path : field of `EngineData`, dotted [-]
    value : what was filled in; None for a table or curve [unit of the field]
    rule : where it comes from [-]
    """

    path: str
    value: float | None
    rule: str


SECONDARY: Final = SecondaryFlows(
    nozzle_cooling=0.022, rotor_cooling=0.013, overboard_leak=0.006, anti_ice=0.015, leak_extraction=0.8
)
HANDLING_BLEED: Final = HandlingBleed(fraction=0.08, speed_open=0.68, speed_closed=0.84, extraction=0.6)
_EFFICIENCIES: Final = (0.80, 0.855, 0.88)
"""Compressor, gas generator turbine, power turbine: usual levels, shifted until the sheet is met."""


def generic_engine(sheet: DataSheet) -> tuple[EngineData, list[Fill]]:
    """Engine model that meets a data sheet exactly at its reference point.

    Parameters
    ----------
    sheet : DataSheet
        The figures of one rating [-].

    Returns
    -------
    engine : EngineData
        The whole model [-].
    fills : list of Fill
        Every parameter that the sheet did not give, with the rule that filled it [-].

    Raises
    ------
    InputError
        A figure is out of range, or no plausible engine meets all of them together.

    Notes
    -----
    The energy balance of a free-turbine engine ties MGT to fuel flow / air flow, whatever the efficiencies.
    Without an air flow the sheet so gives it; with one, MGT as the probes read may differ from the mean gas
    temperature by a factor (`probe_ratio`). The three component efficiencies share one level.
    Range: pressure ratio 3 to 25, MGT 700 to 1400 K, 50 kW to 50 MW.

    Examples
    --------
    >>> sheet = DataSheet("Example", 940e3, 41200.0, 6000.0, 1080.0, 0.0795, 8.6)
    >>> engine, fills = generic_engine(sheet)
    >>> 3.0 < engine.compressor.air_flow < 4.5
    True
    """
    _check(sheet)
    engine = _solved(_first_guess(sheet), sheet)
    return engine, _fills(engine, sheet)


def _check(s: DataSheet) -> None:
    bounds = {
        "power": (50e3, 50e6, "W"),
        "gas_generator_speed": (5e3, 100e3, "rpm"),
        "output_speed": (500.0, 100e3, "rpm"),
        "measured_gas_temperature": (700.0, 1400.0, "K"),
        "pressure_ratio": (3.0, 25.0, "-"),
        "fuel_flow": (s.power / 43e6 / 0.45, s.power / 43e6 / 0.12, "kg/s (efficiency 12 to 45 %)"),
    }
    for name, (low, high, unit) in bounds.items():
        x = getattr(s, name)
        if not low <= x <= high:
            raise InputError(
                f"{name} is {x:g}, outside {low:.4g} to {high:.4g} {unit}",
                mend="Check the figure and its unit.",
                where="data sheet",
            )


def _first_guess(s: DataSheet) -> EngineData:
    """Everything in place, with reference values of about the right size."""
    air = s.air_flow or s.power / 260e3
    t4 = s.measured_gas_temperature * 1.22
    c, g, p = _EFFICIENCIES
    shaft = s.power_turbine_speed or s.output_speed
    scale = air * 8.6 / s.pressure_ratio  # flow sizes of the hot end go with air flow / pressure
    return EngineData(
        name=s.name,
        reference=Reference(
            s.power, s.gas_generator_speed, shaft, s.measured_gas_temperature, t4, s.fuel_flow
        ),
        compressor=Compressor(air, s.pressure_ratio, c, shapes.compressor_map(), 0.12, 0.02),
        vanes=shapes.variable_vanes(),
        handling_bleed=HANDLING_BLEED,
        secondary=SECONDARY,
        ducts=Ducts(1.7e-3 * scale, 4.2e-3 * air, 0.005, 0.012, 0.005, 0.015),
        combustor=Combustor(0.995, 2.8e-12 * scale, 4.1e-4 * scale, 2.2, 1.2, 0.04, 2.0, 0.25),
        gas_generator_turbine=Turbine(
            1.1e-3 * scale,
            2.9,
            g,
            s.gas_generator_speed / 700.0,
            shapes.gas_generator_turbine_map(math.log(2.9)),
        ),
        power_turbine=Turbine(3e-3 * scale, 2.6, p, shaft / 640.0, shapes.power_turbine_map(math.log(2.6))),
        shafts=_shafts(s, shaft),
        fuel=Fuel(s.lower_heating_value),
        heat_soak=_heat_soak(air),
        control=_control(s),
    )


def _shafts(s: DataSheet, shaft: float) -> Shafts:
    def inertia(seconds: float, speed: float) -> float:
        return float(f"{2.0 * s.power * seconds / (speed * math.pi / 30.0) ** 2:.3g}")

    return Shafts(
        gear_ratio=shaft / s.output_speed,
        gas_generator_inertia=inertia(0.12, s.gas_generator_speed),
        power_turbine_inertia=inertia(0.15, shaft),
        gear_loss=0.010,
        gear_drag=0.006 * s.power,
        spool_loss=0.008,
        accessory_power=0.008 * s.power,
        load_inertia=inertia(0.6, shaft),
    )


def _heat_soak(air: float) -> HeatSoak:
    return HeatSoak(1500.0 * air, 80.0 * air, 900.0 * air, 70.0 * air, 0.02, 0.04)


def _control(s: DataSheet) -> FuelControl:
    return FuelControl(
        acceleration=shapes.acceleration_schedule(),
        deceleration=shapes.deceleration_schedule(),
        reference_ratio=s.fuel_flow / (101325.0 * s.pressure_ratio),
        governor_gain=2.5,
        governor_reset=4.0,
        speed_gain=4.0,
        speed_reset=2.0,
        idle_speed=0.66,
        speed_limit=1.04,
        temperature_limit=s.measured_gas_temperature * 1.045,
        temperature_gain=1.5,
        valve_time=0.05,
        minimum_fuel_flow=0.08,
    )


# The reference point. Unknown parameters, as logarithms, and one equation each.


def _with(e: EngineData, u: FloatArray, sheet: DataSheet) -> EngineData:
    """The engine with the unknown reference values u (logarithms)."""
    t4, free, level, ratio_g, ratio_p, *rest = (float(v) for v in np.exp(u))
    c, g, p = _EFFICIENCIES
    air, probe = (free, 1.0) if sheet.air_flow is None else (sheet.air_flow, free)
    combustor_flow, loading, temperature_ratio, duct, exhaust, area_g, area_p, speed_g, speed_p = rest
    return replace(
        e,
        reference=replace(e.reference, turbine_inlet_temperature=t4, probe_ratio=probe),
        compressor=replace(e.compressor, air_flow=air, efficiency=c * level),
        ducts=replace(e.ducts, interturbine_flow=duct, exhaust_flow=exhaust),
        combustor=replace(
            e.combustor, flow=combustor_flow, loading=loading, temperature_ratio=temperature_ratio
        ),
        gas_generator_turbine=replace(
            e.gas_generator_turbine,
            pressure_ratio=ratio_g,
            efficiency=g * level,
            area=area_g,
            corrected_speed=speed_g,
        ),
        power_turbine=replace(
            e.power_turbine,
            pressure_ratio=ratio_p,
            efficiency=p * level,
            area=area_p,
            corrected_speed=speed_p,
        ),
    )


def _equations(model: EngineModel, sheet: DataSheet) -> FloatArray:
    e = model.data
    condition = e.condition()
    p = GasPath(model, Inlet(model, condition), (0.0, 0.0, 0.0, 0.0, 0.0), condition, HEALTHY)
    ratios = (
        p.power / sheet.power,
        p.measured_gas_temperature / sheet.measured_gas_temperature,
        p.fuel_flow / sheet.fuel_flow,
        p.combustor_flow,
        p.T4 / p.T3 / e.combustor.temperature_ratio,
        p.interturbine_flow,
        p.exhaust_flow,
        p.gas_generator_turbine.speed,
        p.power_turbine.speed,
    )
    return np.array([*p.residuals, p.combustor_loading, *np.log(ratios)])


def _start(e: EngineData, sheet: DataSheet) -> FloatArray:
    g, p, d, c = e.gas_generator_turbine, e.power_turbine, e.ducts, e.combustor
    first = e.compressor.air_flow if sheet.air_flow is None else 1.0
    states = (e.reference.turbine_inlet_temperature, first, 1.0, g.pressure_ratio, p.pressure_ratio)
    scales = (c.flow, c.loading, c.temperature_ratio, d.interturbine_flow, d.exhaust_flow)
    turbines = (g.area, p.area, g.corrected_speed, p.corrected_speed)
    return np.log((*states, *scales, *turbines))


def _solved(e: EngineData, sheet: DataSheet) -> EngineData:
    model = EngineModel(e)

    def equations(u: FloatArray) -> FloatArray:
        return _equations(model.with_scales(_with(e, u, sheet)), sheet)

    u = _root(equations, _start(e, sheet), sheet)
    e = _with(e, u, sheet)
    first, power = e.gas_generator_turbine, e.power_turbine
    first = replace(first, map=shapes.gas_generator_turbine_map(math.log(first.pressure_ratio)))
    power = replace(power, map=shapes.power_turbine_map(math.log(power.pressure_ratio)))
    e = replace(e, gas_generator_turbine=first, power_turbine=power)
    _plausible(e)
    return e


def _root(f: Callable[[FloatArray], FloatArray], u: FloatArray, sheet: DataSheet) -> FloatArray:
    try:
        for _ in range(60):
            r = f(u)
            if np.max(np.abs(r)) < 1e-13:
                return u
            slopes = [(f(u + h) - f(u - h)) / 2e-6 for h in 1e-6 * np.eye(len(u))]
            step = np.linalg.solve(np.array(slopes).T, -r)
            u = u + step * min(1.0, 0.3 / float(np.max(np.abs(step[:5]))))
            if np.max(np.abs(step)) < 1e-12:
                return u
    except (ValueError, OverflowError, ZeroDivisionError, np.linalg.LinAlgError):
        pass
    raise _contradiction("no engine meets power, MGT, fuel flow and pressure ratio together")


def _plausible(e: EngineData) -> None:
    if not 0.92 <= e.reference.probe_ratio <= 1.08:
        raise _contradiction(f"MGT would be {e.reference.probe_ratio:.3f} times the mean gas temperature")
    for name in ("compressor", "gas_generator_turbine", "power_turbine"):
        efficiency = getattr(e, name).efficiency
        if not 0.60 <= efficiency <= 0.94:
            raise _contradiction(f"the figures together need a {name} efficiency of {efficiency:.3f}")


def _contradiction(what: str) -> InputError:
    return InputError(
        what, mend="Check that all figures belong to one rating, and their units.", where="data sheet"
    )


_RULES: Final = {
    "reference.probe_ratio": "1 without an air flow; with one, follows from air flow, fuel flow and MGT",
    "reference.turbine_inlet_temperature": "follows from fuel flow and pressure ratio",
    "compressor.air_flow": "follows from fuel flow and MGT",
    "compressor.efficiency": "usual level of this size, shifted until the sheet is met",
    "gas_generator_turbine.efficiency": "usual level of this size, shifted until the sheet is met",
    "power_turbine.efficiency": "usual level of this size, shifted until the sheet is met",
    "reference.power_turbine_speed": "taken equal to the output speed",
}
_SOLVED: Final = ("area", "pressure_ratio", "corrected_speed", "flow", "loading", "temperature_ratio")


def _fills(engine: EngineData, sheet: DataSheet) -> list[Fill]:
    given = {"reference.power", "reference.gas_generator_speed", "reference.measured_gas_temperature"}
    given |= {
        "reference.fuel_flow",
        "compressor.pressure_ratio",
        "fuel.lower_heating_value",
        "shafts.gear_ratio",
    }
    if sheet.power_turbine_speed is not None:
        given.add("reference.power_turbine_speed")
    if sheet.air_flow is not None:
        given.add("compressor.air_flow")
    fills = []
    for group, fields in asdict(engine).items():
        for name, x in fields.items() if isinstance(fields, dict) else ():
            path = f"{group}.{name}"
            if path not in given and path not in ("reference.temperature", "reference.pressure"):
                fills.append(Fill(path, x if isinstance(x, float) else None, _rule(path, name)))
    return fills


def _rule(path: str, name: str) -> str:
    if path in _RULES:
        return _RULES[path]
    if name in _SOLVED or name in ("interturbine_flow", "exhaust_flow"):
        return "follows from the reference point"
    if name in ("map", "schedule", "map_angle", "acceleration", "deceleration"):
        return "generic shape (shapes.py)"
    return "generic value"
