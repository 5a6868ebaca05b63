"""Transients against conservation laws, steady running, and the limit of small time steps."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.generic import DataSheet, generic_engine
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.core.cycle.transient import Schedule, Transient, transient
from spoolwright.errors import InputError, RangeError

SHEET = DataSheet("invented", 940e3, 41200.0, 6000.0, 1080.0, 0.0796, 8.6, 26300.0, 3.72)
OPEN = 1.2


@cache
def data() -> EngineData:
    return generic_engine(SHEET)[0]


@cache
def model() -> EngineModel:
    return EngineModel(data())


def slam(step: float = 0.02, end: float = 12.0, engine: EngineModel | None = None) -> Transient:
    schedule = Schedule([0.0, 1.0, 1.3, end], [80e3, 80e3, 850e3, 850e3], [6000.0] * 4, [OPEN] * 4)
    engine = engine or model()
    return transient(engine, engine.data.condition(), schedule, step=step)


def test_steady_running_stays_steady() -> None:
    """A steady solution is a fixed point of the transient, and equals `solve`."""
    schedule = Schedule([0.0, 5.0], [600e3, 600e3], [6000.0, 6000.0], [OPEN, OPEN])
    run = transient(model(), data().condition(), schedule)
    s = solve(model(), data().condition(), set_by="power", target=600e3)
    for name in ("gas_generator_speed", "fuel_flow", "measured_gas_temperature", "output_speed", "p3"):
        x = getattr(run, name)
        expected = 6000.0 if name == "output_speed" else s.values[name]
        assert x == pytest.approx(np.full(len(x), expected), rel=1e-6), name


def test_after_a_long_hold_the_new_steady_point_is_reached() -> None:
    run = slam(end=120.0)
    s = solve(model(), data().condition(), set_by="power", target=850e3)
    assert run.output_speed[-1] == pytest.approx(6000.0, rel=1e-4)
    assert run.power[-1] == pytest.approx(850e3, rel=2e-4)
    for name in ("gas_generator_speed", "fuel_flow", "measured_gas_temperature"):
        assert getattr(run, name)[-1] == pytest.approx(s.values[name], rel=1e-3), name


def test_power_turbine_energy_is_conserved() -> None:
    """Change of kinetic energy = integral of (output - load), trapezium rule: 1 % of the largest exchange."""
    run, shafts = slam(0.005), data().shafts
    omega = run.output_speed * shafts.gear_ratio * np.pi / 30.0
    energy = 0.5 * (shafts.power_turbine_inertia + shafts.load_inertia) * omega**2
    work = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(run.time) * np.diff(_pairs(run))[:, 0])])
    exchange = energy - energy[0]
    assert np.max(np.abs(exchange - work)) < 0.01 * np.max(np.abs(exchange))


def _pairs(run: Transient) -> np.ndarray:
    """Twice the mean surplus over each step, laid out so that a difference along rows gives it."""
    surplus = run.power - run.load_power
    return np.stack([np.zeros(len(surplus) - 1), surplus[1:] + surplus[:-1]], axis=1)


def test_steps_converge() -> None:
    """The error falls at least with the step (the control samples once a step: first order)."""
    finest = slam(0.00125, end=4.0)

    def error(step: float, name: str) -> float:
        run = slam(step, end=4.0)
        at = np.round(run.time / 0.00125).astype(int)
        return float(np.max(np.abs(getattr(run, name) - getattr(finest, name)[at])))

    for name, scale in (("gas_generator_speed", 41200.0), ("output_speed", 6000.0)):
        assert error(0.02, name) < 0.01 * scale, name
        assert error(0.005, name) < 0.3 * error(0.02, name), name


@pytest.mark.parametrize("power", [300e3, 900e3])
@pytest.mark.parametrize("step", [0.03, 0.05, 0.1])
def test_a_coarse_step_settles_where_the_steady_solution_stands(step: float, power: float) -> None:
    """Two per cent more load, 40 s on: what `solve` gives, not a control that hunts by itself."""
    load = [power, power, 1.02 * power, 1.02 * power]
    schedule = Schedule([0.0, 1.0, 1.1, 40.0], load, [6000.0] * 4, [OPEN] * 4)
    run = transient(model(), data().condition(), schedule, step=step)
    s = solve(model(), data().condition(), set_by="power", target=1.02 * power)
    assert np.diff(run.time) == pytest.approx(step)
    last = run.time > 35.0
    assert run.gas_generator_speed[last] == pytest.approx(s.gas_generator_speed, rel=1e-3)
    assert run.output_speed[last] == pytest.approx(6000.0, rel=1e-4)


def test_a_run_that_ends_between_two_steps_is_run_to_the_nearest() -> None:
    schedule = Schedule([0.0, 1.06], [600e3, 600e3], [6000.0, 6000.0], [OPEN, OPEN])
    run = transient(model(), data().condition(), schedule, step=0.1)
    assert run.time == pytest.approx(np.arange(12) * 0.1)
    with pytest.raises(RangeError, match="time step"):
        transient(model(), data().condition(), schedule, step=0.2)


def test_a_lighter_rotor_accelerates_faster() -> None:
    light = EngineModel(replace(data(), shafts=replace(data().shafts, gas_generator_inertia=0.006)))
    at = 100  # 0.7 s after the load has come
    assert slam(engine=light).gas_generator_speed[at] > slam().gas_generator_speed[at] + 1000.0


def test_cold_metal_takes_heat_and_costs_power() -> None:
    """With metal at rest at ambient temperature the same load needs more fuel, and the metal warms."""
    schedule = Schedule([0.0, 30.0], [600e3, 600e3], [6000.0, 6000.0], [OPEN, OPEN])
    cold = transient(model(), data().condition(), schedule, metal=(288.15, 288.15))
    warm = transient(model(), data().condition(), schedule)
    after = 250
    assert cold.fuel_flow[after] > 1.01 * warm.fuel_flow[after]
    assert np.all(np.diff(cold.turbine_metal) > 0.0)


def test_limits_hold() -> None:
    """A load beyond the engine's rating: Ng and MGT stay at their toppings."""
    schedule = Schedule([0.0, 1.0, 3.0, 20.0], [300e3, 300e3, 1800e3, 1800e3], [6000.0] * 4, [OPEN] * 4)
    run, control = transient(model(), data().condition(), schedule), data().control
    assert control is not None
    assert run.gas_generator_speed.max() < 1.005 * control.speed_limit * 41200.0
    assert run.measured_gas_temperature[500:].max() < 1.01 * control.temperature_limit
    assert run.output_speed[-1] < 5700.0  # the governor cannot hold what the engine cannot carry


def test_the_lever_limits_ng() -> None:
    schedule = Schedule([0.0, 1.0, 2.0, 15.0], [200e3, 200e3, 900e3, 900e3], [6000.0] * 4, [0.9] * 4)
    run = transient(model(), data().condition(), schedule)
    assert run.gas_generator_speed.max() < 0.905 * 41200.0


def test_what_cannot_be_run_is_refused() -> None:
    with pytest.raises(InputError, match="times do not rise"):
        transient(model(), data().condition(), Schedule([0.0, 0.0], [1e5, 1e5], [6e3, 6e3], [1.0, 1.0]))
    with pytest.raises(RangeError, match="Infeasible"):
        transient(model(), data().condition(), Schedule([0.0, 1.0], [9e6, 9e6], [6e3, 6e3], [1.0, 1.0]))
    bare = EngineModel(replace(data(), heat_soak=None))
    with pytest.raises(InputError, match="heat soak"):
        slam(engine=bare)
