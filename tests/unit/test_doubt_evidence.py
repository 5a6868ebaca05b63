"""Densities of hypotheses against scipy's multivariate normal; predicted readings against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.reduction.doubt.compare import compare
from spoolwright.core.reduction.doubt.evidence import Normals, module_states
from spoolwright.core.reduction.doubt.prediction import ROLES, STATES, Site, predicted
from spoolwright.core.reduction.doubt.priors import FACTORS
from spoolwright.core.reduction.doubt.readings import Alternative, Readings, Sensor
from spoolwright.core.reduction.doubt.spread import Linear, Point
from spoolwright.core.reduction.doubt.windows import Windows
from spoolwright.core.reduction.inputs import Known
from spoolwright.sources.typefile import load_type, shipped_type


@pytest.fixture(scope="module")
def model() -> EngineModel:
    """The Corrie 940's model."""
    return EngineModel(load_type(shipped_type()).engine)


def linear(seed: int, sensors: int = 3, levels: int = 4) -> Linear:
    """Random readings with random unknowns."""
    g = np.random.default_rng(seed)
    j, h = (x.ravel() for x in np.meshgrid(np.arange(sensors), np.arange(levels), indexing="ij"))
    n = j.size
    columns, worn = 0.05 * g.standard_normal((n, 6)), 0.05 * g.standard_normal((n, 5))
    local = 0.05 * g.standard_normal((n, 2))
    scatter = 1e-4 * (1.0 + g.random(n))
    residual = 0.1 * g.standard_normal(n)
    return Linear(j, h, residual, columns, local, worn, scatter, np.ones(sensors), np.ones(n), levels)


STATES_OF_MODULES = module_states([np.array([0, 1]), np.array([2, 3, 4])], 5)


def covariance(x: Linear, worn: np.ndarray) -> np.ndarray:
    """Covariance written out."""
    expanded = [x.local * (x.level == k)[:, None] for k in range(x.levels)]
    every = np.concatenate([x.columns, *expanded, x.worn[:, worn]], axis=1)
    return every @ every.T + np.diag(x.scatter)


@pytest.mark.parametrize("seed", range(5))
def test_density_of_every_state_of_the_modules(seed: int) -> None:
    x = linear(seed)
    normals = Normals(x, STATES_OF_MODULES)
    for k, state in enumerate(STATES_OF_MODULES):
        expected = multivariate_normal(np.zeros(x.residual.size), covariance(x, state)).logpdf(x.residual)
        assert normals.log_density[k] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_density_with_readings_replaced(seed: int) -> None:
    x = linear(seed)
    rows, change = np.array([1, 2, 7]), np.array([0.2, -0.1, 0.05])
    moved = x.residual.copy()
    moved[rows] += change
    got = Normals(x, STATES_OF_MODULES).replaced(rows, change, 0.7)
    for k, state in enumerate(STATES_OF_MODULES):
        expected = multivariate_normal(np.zeros(moved.size), covariance(x, state)).logpdf(moved) + 0.7
        assert got[k] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_density_and_best_size_of_a_free_error(seed: int) -> None:
    """One more unknown: covariance + size^2 v v'; its best value by least squares with a prior."""
    x = linear(seed)
    rows, size = np.array([4, 5, 6, 7]), 0.3
    shape = np.array([1.0, 1.0, 0.0, 2.0])
    density, best = Normals(x, STATES_OF_MODULES).freed(rows, shape[:, None], np.array([size]))
    v = np.zeros(x.residual.size)
    v[rows] = shape
    for k, state in enumerate(STATES_OF_MODULES):
        s = covariance(x, state)
        expected = multivariate_normal(np.zeros(v.size), s + size**2 * np.outer(v, v)).logpdf(x.residual)
        assert density[k, 0, 0] == pytest.approx(expected, abs=1e-6)
        inverse = np.linalg.inv(s)
        amount = (v @ inverse @ x.residual) / (v @ inverse @ v + size**-2)
        assert best[k, 0, 0] == pytest.approx(amount, abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_most_probable_unknowns(seed: int) -> None:
    """Bayesian least squares written out: u = (1 + A' N A)^-1 A' N r, N the inverse of the scatter."""
    x = linear(seed)
    for k, state in enumerate(STATES_OF_MODULES):
        expanded = [x.local * (x.level == n)[:, None] for n in range(x.levels)]
        a = np.concatenate([x.columns, *expanded, x.worn[:, state]], axis=1)
        weight = a.T / x.scatter
        u = np.linalg.solve(np.eye(a.shape[1]) + weight @ a, weight @ x.residual)
        got = Normals(x, STATES_OF_MODULES).unknowns(x.residual, k)
        assert got.common == pytest.approx(u[:6], abs=1e-7)
        assert got.local.T.ravel() == pytest.approx(u[6 : 6 + 2 * x.levels], abs=1e-7)
        assert got.worn[state] == pytest.approx(u[6 + 2 * x.levels :], abs=1e-7)


def readings(x: Linear, levels: int = 4) -> Readings:
    """Readings that belong to `linear`: prediction 1 everywhere."""
    sensors = tuple(Sensor(f"c{n}", "exhaust_temperature", (("own", 0.01),)) for n in range(x.scale.size))
    means = 1.0 + x.residual.reshape(x.scale.size, levels)
    return Readings(
        sensors, means, np.full_like(means, 0.01), np.arange(levels) * 100.0,
        np.zeros(levels, dtype=bool), np.zeros(levels, dtype=np.intp),
    )  # fmt: skip


def test_probabilities_of_all_hypotheses_sum_to_one() -> None:
    x = linear(3)
    given = readings(x)
    half = Alternative("half", {"c1": 0.5 * given.means[1]}, {"c1": np.full(4, math.log(0.5))})
    found = compare(Normals(x, STATES_OF_MODULES), given, [half])
    assert found.sound + sum(found.probabilities) == pytest.approx(1.0, abs=1e-9)
    assert sum(found.modules) == pytest.approx(1.0, abs=1e-9)
    assert list(found.probabilities) == sorted(found.probabilities, reverse=True)


def test_a_planted_error_far_beyond_everything_is_named() -> None:
    x = linear(4)
    off = x.residual.copy()
    off *= 0.1
    off[x.sensor == 2] += 3.0
    x = replace(x, residual=off)
    found = compare(Normals(x, STATES_OF_MODULES), readings(x), [])
    assert found.causes[0].channels == ("c2",) and found.causes[0].kind in ("offset", "gain")
    assert found.causes[0].amount == pytest.approx(3.0, abs=0.5)
    assert found.of_channel("c2") > 0.99


def test_readings_outside_their_window_count_against_a_sound_channel() -> None:
    x = linear(5)
    given = readings(x)
    narrow = Sensor("c0", "exhaust_temperature", plausible=(100.0, 200.0))
    given = Readings(
        (narrow, *given.sensors[1:]), given.means, given.random, given.time, given.resting, given.block
    )
    windows = Windows(given)
    assert windows.of(()) == pytest.approx(math.log(1e-4))
    assert windows.of(("c0",)) == 0.0
    inside = Alternative("times 150", {"c0": 150.0 * given.means[0]}, {"c0": np.full(4, math.log(150.0))})
    assert windows.of(("c0",), inside) == 0.0
    assert windows.without("c0", "offset", 0.01) == pytest.approx(math.log(1e-4))


def test_air_that_gains_pressure_on_its_way_in_counts_against_both() -> None:
    sensors = (Sensor("a", "ambient_pressure"), Sensor("b", "inlet_pressure"))
    means = np.array([[100e3, 100e3], [100.6e3, 100.7e3]])
    given = Readings(
        sensors, means, means * 1e-4, np.array([0.0, 1.0]), np.zeros(2, bool), np.zeros(2, np.intp)
    )
    swapped = Alternative("swap", {"a": means[1], "b": means[0]}, {"a": np.zeros(2), "b": np.zeros(2)})
    assert Windows(given).of(()) == pytest.approx(math.log(1e-4))
    assert Windows(given).of(("a", "b"), swapped) == 0.0
    assert Windows(given).of(("a",)) == 0.0


def state(levels: int = 3) -> np.ndarray:
    """Three levels of a summer day at 97 kPa."""
    out = np.zeros((len(STATES), levels))
    out[0] = np.log(np.linspace(35000.0, 38500.0, levels))
    out[1], out[2], out[3] = 298.15, math.log(97e3), 0.5
    out[4], out[5], out[6], out[7], out[8] = -0.006, 0.008, math.log(5840.0), 0.0119, 3.0
    return out


SITE = Site(
    {"conformation": Known(1.02), "density_15c": Known(800.0), "cell factor of power": Known(1.002)}, 1.0
)


def of(
    model: EngineModel, x: np.ndarray, factors: np.ndarray | None = None, resting: bool = False
) -> np.ndarray:
    """Predicted readings, shape (roles, levels)."""
    f = Point.healthy(x).factors if factors is None else factors
    return predicted(model, ROLES, x, f, np.full(x.shape[1], resting), SITE).values


def test_readings_tied_by_closed_form(model: EngineModel) -> None:
    """Pressures by the stated ratios, torque by the conformation, fuel volume by its density."""
    x = state()
    v = dict(zip(ROLES, of(model, x), strict=True))
    assert v["inlet_pressure"] == pytest.approx(97e3 * math.exp(-0.006) * np.ones(3), rel=1e-12)
    assert v["exhaust_pressure"] == pytest.approx(97e3 * math.exp(0.008) * np.ones(3), rel=1e-12)
    assert v["inlet_temperature"] == pytest.approx(298.65 * np.ones(3))
    assert v["torque"] * 1.02 == pytest.approx(v["dynamometer_torque"], rel=1e-12)
    # ASTM D1250 table 54B, kerosene, 800 kg/m3 at 15 degC: alpha = 594.5418 / 800^2 a kelvin
    alpha, dt = 594.5418 / 800.0**2, 301.15 - 288.15
    density = 800.0 * math.exp(-alpha * dt * (1.0 + 0.8 * alpha * dt))
    assert v["fuel_mass_flow"] / v["fuel_volume_flow"] == pytest.approx(density * np.ones(3), rel=1e-6)


def test_humidity_reading_against_psychrolib(model: EngineModel) -> None:
    """25 degC, 97 kPa, 11.9 g/kg: relative humidity of ideal moist air (ASHRAE Handbook 2017, chapter 1)."""
    psychrolib = pytest.importorskip("psychrolib")
    psychrolib.SetUnitSystem(psychrolib.SI)
    expected = psychrolib.GetRelHumFromHumRatio(25.0, 0.0119, 97e3)
    got = of(model, state())[ROLES.index("relative_humidity")]
    assert got == pytest.approx(expected * np.ones(3), rel=2e-3)


def test_an_engine_at_rest_reads_its_surroundings(model: EngineModel) -> None:
    x = state()
    v = dict(zip(ROLES, of(model, x, resting=True), strict=True))
    for role in (
        "inlet_pressure",
        "exhaust_pressure",
        "compressor_discharge_pressure",
        "interturbine_pressure",
    ):
        assert v[role] == pytest.approx(97e3 * np.ones(3))
    for role in ("inlet_temperature", "measured_gas_temperature", "probe", "exhaust_temperature"):
        assert v[role] == pytest.approx(298.15 * np.ones(3))
    for role in ("gas_generator_speed", "power_turbine_speed", "torque", "fuel_mass_flow"):
        assert np.all(v[role] == 0.0)


@pytest.mark.parametrize("k", range(len(STATES)), ids=STATES)
def test_derivatives_with_the_state_against_central_differences(model: EngineModel, k: int) -> None:
    x = state()
    step = {"temperature": 0.05, "recirculation": 0.05, "fuel": 0.05, "humidity": 1e-4}.get(STATES[k], 1e-4)
    up, down = x.copy(), x.copy()
    up[k] += step
    down[k] -= step
    slope = (of(model, up) - of(model, down)) / (2.0 * step)
    got = predicted(model, ROLES, x, Point.healthy(x).factors, np.zeros(3, bool), SITE).by_state[:, k]
    scale = np.abs(of(model, x)) / np.abs(x[k]).clip(0.1)
    # density and saturation are differentiated by their usual slope: 10 % of a small share
    loose = {"relative_humidity": 0.1, "fuel_volume_flow": 0.12}
    for j, role in enumerate(ROLES):
        assert got[j] == pytest.approx(slope[j], rel=loose.get(role, 1e-4), abs=1e-5 * scale[j].max()), role


@pytest.mark.parametrize(
    "name", ["compressor_flow", "power_turbine_efficiency", "exhaust_loss", "vane_offset"]
)
def test_derivatives_with_a_factor_against_central_differences(model: EngineModel, name: str) -> None:
    x = state()
    k, step = FACTORS.index(name), 1e-4
    up, down = Point.healthy(x).factors, Point.healthy(x).factors
    up[k] += step
    down[k] -= step
    slope = (of(model, x, up) - of(model, x, down)) / (2.0 * step)
    got = predicted(model, ROLES, x, Point.healthy(x).factors, np.zeros(3, bool), SITE).by_factor[:, k]
    assert got == pytest.approx(slope, rel=1e-4, abs=1e-4)
