"""Checks on the aircraft against the truth of the simulated engine: what the intervals say, happens.

The truth is the rig's engine (maps bent away from the type's model, builds scattered, sensors with errors);
its power at the check's own condition and MGT, before and after a known shift, is solved without the code
tested.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom, linregress

sys.path.insert(0, str(Path(__file__).parents[1] / "prove"))
from _rig_points import HoldReader

from spoolwright.bootstrap.installing import bench_of
from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.solve import solve
from spoolwright.core.gas.atmosphere import standard_pressure
from spoolwright.core.gas.humidity import from_relative_humidity
from spoolwright.crafts.installation.airframe import airframe
from spoolwright.crafts.installation.calc import Against, Airframe, Bench, Checks, Figure, against_bench
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, reduction_basis
from spoolwright.crafts.testcell.performance.block import reduce_block
from spoolwright.rig.quick import quick_runs
from spoolwright.rig.result import RigRun
from spoolwright.rig.truth import reference_condition, stacked
from spoolwright.sources.shop_part import load_shop_part, shop_folder
from spoolwright.sources.typefile import load_type, shipped_type

ENGINES, EACH = 60, 8
LOADED = load_type(shipped_type())
BASIS: ReductionBasis = reduction_basis(LOADED.type_file, LOADED.engine)
AIRFRAME: Airframe = airframe(load_shop_part(shop_folder(shipped_type())).shop.power_check)


@dataclass(frozen=True)
class Case:
    """One engine's checks: what was found, and what is true."""

    found: Against
    power: np.ndarray
    speed: np.ndarray
    margin: float
    shift: float


def aircraft(rng: np.random.Generator) -> Airframe:
    """A true installation, drawn as the shop part's uncertainties say; humidity and fuel are of each day."""

    def drawn(f: Figure) -> Figure:
        return Figure(f.value + f.uncertainty * rng.standard_normal(), 0.0)

    a = AIRFRAME
    return replace(
        a,
        inlet_loss=drawn(a.inlet_loss),
        temperature_rise=drawn(a.temperature_rise),
        back_pressure=drawn(a.back_pressure),
        accessory_power=drawn(a.accessory_power),
        bleed=drawn(a.bleed),
    )


def condition(rng: np.random.Generator, true: Airframe, checks: dict[str, np.ndarray]) -> Condition:
    humidity = np.clip(
        AIRFRAME.humidity.value + AIRFRAME.humidity.uncertainty * rng.standard_normal(EACH), 0, 1
    )
    fuel = AIRFRAME.heating_value.value + AIRFRAME.heating_value.uncertainty * rng.standard_normal(EACH)
    p, t = checks["pressure"], checks["outside_air_temperature"]
    loss = true.inlet_loss.value
    return Condition(
        temperature=t + true.temperature_rise.value,
        pressure=p * (1 - loss),
        output_speed=checks["power_turbine_speed"],
        lower_heating_value=fuel,
        fuel_temperature=np.full(EACH, 298.15),
        water_air_ratio=np.array(
            [from_relative_humidity(h, a, b, "water") for h, a, b in zip(humidity, t, p, strict=True)]
        ),
        exhaust_pressure_ratio=np.full(EACH, (1 + true.back_pressure.value) / (1 - loss)),
        customer_bleed=true.bleed.value * checks["bleed"],
        anti_ice=checks["anti_ice"],
        accessory_load=np.full(EACH, true.accessory_power.value),
    )


def as_read(rng: np.random.Generator, truly: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What the aircraft's gauges show: an error that lasts, and one of each reading."""
    read = {}
    for name, values in truly.items():
        g = AIRFRAME.gauges.get(name)
        read[name] = (
            values
            if g is None
            else values + g.lasting * rng.standard_normal() + g.reading * rng.standard_normal(EACH)
        )
    return read


def bench_run(run: RigRun) -> Bench:
    """The bench's own figures of a run, by the code under test."""
    points = HoldReader(LOADED.type_file).points(run)
    method = reduce_block(0, points, {run.sheet.run: run.sheet}, BASIS).model
    assert method is not None
    return bench_of(method, BASIS, "take_off")


def case(run: RigRun, number: int) -> Case:
    rng = np.random.default_rng(9000 + number)
    engine = run.truth.day.engine
    shift = rng.uniform(-0.03, 0.0)
    now = replace(engine.factors, compressor_efficiency=engine.factors.compressor_efficiency * (1 + shift))
    true = aircraft(rng)
    made = {
        "pressure": np.array([standard_pressure(h) for h in rng.uniform(-100, 2200, EACH)]),
        "outside_air_temperature": 273.15 + rng.uniform(-15, 38, EACH),
        "power_turbine_speed": 5840 + 8 * rng.standard_normal(EACH),
        "bleed": (rng.random(EACH) < 0.2).astype(float),
        "anti_ice": np.zeros(EACH),
    }
    at = condition(rng, true, made)
    mgt = 273.15 + rng.uniform(680, 815, EACH)
    gave = solve(engine.model, at, stacked([now] * EACH), set_by="mgt", target=mgt)
    was = solve(engine.model, at, stacked([engine.factors] * EACH), set_by="mgt", target=mgt)
    assert np.all(gave.solved) and np.all(was.solved)
    truly = {
        **made,
        "measured_gas_temperature": mgt,
        "gas_generator_speed": np.asarray(gave.gas_generator_speed),
        "torque": np.asarray(gave.power) / (made["power_turbine_speed"] * np.pi / 30),
    }
    bench = bench_run(run)
    found = against_bench(Checks(**as_read(rng, truly)), bench, AIRFRAME)
    rating = next(r for r in LOADED.type_file.rating if r.id == "take_off")
    rated = solve(
        engine.model, reference_condition(LOADED.type_file, engine.model.data, rating), now,
        set_by="mgt", target=bench.gas_temperature,
    )  # fmt: skip
    return Case(
        found,
        np.log(np.asarray(gave.power) / np.asarray(was.power)),
        np.log(np.asarray(gave.gas_generator_speed) / np.asarray(was.gas_generator_speed)),
        float(rated.power) / bench.power - 1.0,
        shift,
    )


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    runs = quick_runs(LOADED.type_file, LOADED.engine, ENGINES, seed=7100)
    return [case(run, i) for i, run in enumerate(runs)]


def held(errors: list[np.ndarray], uncertainties: list[np.ndarray]) -> float:
    """Part of 95 % intervals that hold; checks of one engine share errors, so engines are the draws."""
    inside = [np.mean(np.abs(e) <= 1.96 * u) for e, u in zip(errors, uncertainties, strict=True)]
    return float(np.mean(inside))


# Checks of one engine share the bench's and the gauges' lasting errors: at worst they count as one draw.
LEAST = binom.ppf(0.001, ENGINES, 0.95) / ENGINES


def test_a_known_shift_of_power_is_recovered_within_the_stated_interval(cases: list[Case]) -> None:
    assert ENGINES * EACH >= 200
    errors = [c.found.power.value - c.power for c in cases]
    assert held(errors, [c.found.power.uncertainty for c in cases]) >= LEAST


def test_a_shift_of_speed_is_recovered_within_the_stated_interval(cases: list[Case]) -> None:
    errors = [c.found.speed.value - c.speed for c in cases]
    assert held(errors, [c.found.speed.uncertainty for c in cases]) >= LEAST


def test_the_margin_at_the_rating_is_recovered_within_the_stated_interval(cases: list[Case]) -> None:
    errors = [c.found.margin.value - c.margin for c in cases]
    assert held(errors, [c.found.margin.uncertainty for c in cases]) >= LEAST


def test_the_intervals_are_no_wider_than_twice_what_they_need(cases: list[Case]) -> None:
    power = [(c.found.power.value - c.power) / c.found.power.uncertainty for c in cases]
    margin = [(c.found.margin.value - c.margin) / c.found.margin.uncertainty for c in cases]
    assert np.sqrt(np.mean(np.square(power))) >= 0.5
    assert np.sqrt(np.mean(np.square(margin))) >= 0.5


def test_a_shift_is_seen_at_its_size(cases: list[Case]) -> None:
    """The line of the mean difference over the true shift, an engine a point, has slope 1 within 3 errors."""
    seen = np.array([c.found.power.value.mean() for c in cases])
    true = np.array([c.power.mean() for c in cases])
    fit = linregress(true, seen)
    assert abs(fit.slope - 1.0) <= 3.0 * fit.stderr
    assert fit.slope > 3.0 * fit.stderr
