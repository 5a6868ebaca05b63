"""Margins of the forecast: closed forms, plain Monte Carlo, and the model itself as the oracle."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.forecast.build import (
    FACTORS,
    Build,
    Received,
    expected_build,
    factors_of,
    quasi_random,
    root_of,
)
from spoolwright.core.diagnosis.forecast.findings import Finding
from spoolwright.core.diagnosis.forecast.outlook import Forecaster, Requirement, RunToCome, changed
from spoolwright.core.diagnosis.forecast.published import USUAL_SPREAD, published_rules
from spoolwright.core.diagnosis.forecast.rated import LEVELS, rated_slopes, rated_values
from spoolwright.core.reduction.doubt.priors import BUILD
from spoolwright.crafts.testcell.forecast.run_to_come import (
    expected_readings,
    limits_asked,
    rated,
    run_to_come,
)
from spoolwright.crafts.testcell.performance.basis import inner, reduction_basis
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.sources.typefile import load_type, shipped_type

LOADED = load_type(shipped_type())
BASIS = reduction_basis(LOADED.type_file, LOADED.engine)
MODEL = BASIS.model
RATING = rating_named(LOADED.type_file, "take_off")
POWER, MGT = (rated(BASIS, MODEL, RATING, q) for q in ("power_at_rated_mgt", "mgt_at_rated_power"))
SURE = published_rules().with_model_errors(dict.fromkeys(LEVELS, 1e-12))
CLEARANCE = Finding("c", "clearance", "gas_generator_turbine", 1, 0.6, 0.1, 0.5)
NOZZLE = Finding("n", "nozzle_area", "power_turbine", 0, -1.0, 0.25)


def one_limit(limit: float = 945e3, u: float = 8e3, guard: float = 0.0) -> RunToCome:
    return RunToCome((Requirement(POWER, 1.0, limit, guard),), np.array([[u * u]]))


def test_without_doubt_about_the_build_the_probability_is_normal():
    """JCGM 106:2012, 7.3: Phi((margin - guard) / u)."""
    test = one_limit(guard=5e3)
    found = Forecaster(MODEL, SURE, test, 64).outlook(Build((), {}))
    nominal = solve(MODEL, POWER.condition, set_by="mgt", target=POWER.target).power
    assert found.passing[0] == pytest.approx(norm.cdf((nominal - 945e3 - 5e3) / 8e3), abs=1e-9)
    assert found.mean[0] == pytest.approx(nominal - 945e3, abs=1e-3)
    assert found.conforming[0] == float(nominal > 945e3)


def test_probability_agrees_with_plain_monte_carlo():
    """Independent pseudo-random draws, the build put together by hand from the stated definitions."""
    rules = published_rules()
    build = Build((CLEARANCE, NOZZLE), BUILD)
    test = one_limit()
    found = Forecaster(MODEL, rules, test, 4096, 3).outlook(build)
    g, n = np.random.default_rng(11), 20_000
    rest = expected_build(build, rules).rest
    change = rest[:, None] * g.standard_normal((len(FACTORS), n))
    change[FACTORS.index("leak")] = rest[FACTORS.index("leak")] * g.standard_exponential(n)
    x = 0.6 + 0.1 * g.standard_normal(n)
    for name, factor in (
        ("efficiency", "gas_generator_turbine_efficiency"),
        ("area", "gas_generator_turbine_area"),
    ):
        r = rules.named(f"gas_generator_turbine_clearance_{name}")
        c = r.mean + r.standard_deviation * g.standard_normal(n)
        change[FACTORS.index(factor)] += 0.01 * 0.5 * c * x
    r = rules.named("power_turbine_nozzle_area")
    c = r.mean + r.standard_deviation * g.standard_normal(n)
    change[FACTORS.index("power_turbine_area")] += 0.01 * c * (-1.0 + 0.25 * g.standard_normal(n))
    level = rules.named("model_power").standard_deviation * g.standard_normal(n)
    true = rated_values(MODEL, [POWER], change)[0] * np.exp(level) - 945e3
    p = float(np.mean(true + 8e3 * g.standard_normal(n) >= 0.0))
    assert found.passing[0] == pytest.approx(p, abs=4.0 * math.sqrt(p * (1.0 - p) / n))
    assert found.mean[0] == pytest.approx(true.mean(), abs=4.0 * true.std() / math.sqrt(n))
    assert found.interval()[1, 0] - found.interval()[0, 0] == pytest.approx(
        3.29 * math.hypot(true.std(), 8e3), rel=0.05
    )


def test_covariance_of_the_condition_is_that_of_the_draws():
    build = Build((CLEARANCE, replace(CLEARANCE, name="d", stage=2, excess=0.2), NOZZLE), BUILD)
    e = expected_build(build, published_rules())
    g, n = np.random.default_rng(5), 200_000
    x = e.excess[:, None] + np.array([[f.uncertainty] for f in build.findings]) * g.standard_normal((3, n))
    c = e.coefficients.mean[:, None] + root_of(e.coefficients.covariance) @ g.standard_normal(
        (len(e.coefficients.keys), n)
    )
    drawn = e.change(x, c, e.rest_of(g.standard_normal((len(FACTORS), n))))
    np.testing.assert_allclose(
        drawn.mean(axis=1), e.mean, atol=5.0 * np.sqrt(np.diag(e.covariance)).max() / math.sqrt(n)
    )
    np.testing.assert_allclose(drawn.std(axis=1), np.sqrt(np.diag(e.covariance)), rtol=0.02)


def test_a_measured_finding_takes_its_part_off_the_build_scatter():
    """var(rest) = var(build) - (mean^2 + sd^2) (share usual)^2: the definition."""
    r = published_rules().named("power_turbine_nozzle_area")
    rest = expected_build(Build((NOZZLE,), BUILD), published_rules()).rest
    part = (r.mean**2 + r.standard_deviation**2) * (0.01 * USUAL_SPREAD["nozzle_area"]) ** 2
    at = FACTORS.index("power_turbine_area")
    assert rest[at] == pytest.approx(math.sqrt(BUILD["power_turbine_area"] ** 2 - part))
    assert rest[FACTORS.index("compressor_flow")] == BUILD["compressor_flow"]


def test_slopes_are_the_models_own_differences():
    change = np.zeros((len(FACTORS), 1))
    value, slope = rated_slopes(MODEL, [POWER, MGT], change)
    for i, name in enumerate(FACTORS):
        h = 1e-4 if name != "vane_offset" else 1e-2
        up, down = change.copy(), change.copy()
        base = 0.01 if name == "leak" else 0.0
        up[i], down[i] = base + h, base - h
        ends = [np.log(rated_values(MODEL, [POWER, MGT], x)) for x in (up, down)]
        difference = (ends[0] - ends[1]) / (2 * h)
        if name != "leak":  # a leak is never negative: its difference is taken elsewhere
            np.testing.assert_allclose(slope[:, i, 0], difference[:, 0], rtol=2e-3, atol=2e-5)
    assert value[0, 0] == pytest.approx(
        solve(MODEL, POWER.condition, set_by="mgt", target=POWER.target).power
    )


@pytest.mark.parametrize(
    ("finding", "better"),
    [
        (CLEARANCE, -1),
        (Finding("s", "fouling", "compressor", 0, 1.0, 0.1), -1),
        (Finding("l", "leak", "", 0, 0.5, 0.05), -1),
        (Finding("p", "nozzle_area", "power_turbine", 0, 1.0, 0.1), +1),
        (Finding("p", "nozzle_area", "power_turbine", 0, -1.0, 0.1), -1),
        (Finding("g", "gear_drag", "", 0, 10.0, 1.0), -1),
    ],
)
def test_signs_are_those_of_the_trade(finding, better):
    """Clearance, dirt, leak and drag cost power at the rated MGT; a more open power turbine nozzle gives it
    (two-spool matching: the gas generator runs faster and cooler)."""
    f = Forecaster(MODEL, SURE, one_limit(), 128)
    build = Build((finding,), BUILD)
    without = changed(build, [finding.name], [replace(finding, excess=0.0, uncertainty=0.0)])
    gained = f.outlook(build).true - f.outlook(without).true
    assert math.copysign(1.0, gained.mean()) == better


def test_what_cannot_be_negative_is_not():
    dirt = Finding("s", "fouling", "compressor", 0, 0.0, 0.5)
    sharp = replace(dirt, uncertainty=0.0)
    f = Forecaster(MODEL, SURE, one_limit(), 256)
    gained = f.outlook(Build((dirt,), {})).true - f.outlook(Build((sharp,), {})).true
    assert gained.max() <= 1e-6


def test_outside_its_range_a_rule_widens_and_then_tells_nothing():
    rules = published_rules()
    rule = rules.named("gas_generator_turbine_clearance_efficiency")
    near, far = (replace(CLEARANCE, excess=rule.high + d) for d in (1.0, 5.0))
    e = expected_build(Build((near,), BUILD), rules)
    i = e.coefficients.keys.index((rule.name, 1))
    width = rule.high - rule.low
    assert e.coefficients.standard_deviation[i] == pytest.approx(
        rule.standard_deviation * (1.0 + 2.0 / width)
    )
    assert not e.untold() and e.outside()
    assert expected_build(Build((far,), BUILD), rules).untold()


def test_received_modules_have_their_own_covariance_in_place_of_scatter():
    received = Received(("power_turbine_efficiency",), np.array([-0.01]), np.array([[0.002**2]]))
    e = expected_build(Build((), BUILD, received), published_rules())
    at = FACTORS.index("power_turbine_efficiency")
    assert e.rest[at] == 0.0
    assert e.mean[at] == -0.01
    assert math.sqrt(e.covariance[at, at]) == pytest.approx(0.002)


def test_the_same_seed_gives_the_same_figures_and_another_does_not():
    f = Forecaster(MODEL, published_rules(), one_limit(), 128, 1)
    build = Build((CLEARANCE,), BUILD)
    np.testing.assert_array_equal(f.outlook(build).measured, f.outlook(build).measured)
    assert not np.array_equal(f.outlook(build).measured, replace(f, seed=2).outlook(build).measured)


def test_quasi_random_numbers_are_standard_normal():
    z = quasi_random(5, 4096, 1)
    np.testing.assert_allclose(z.mean(axis=1), 0.0, atol=0.01)
    np.testing.assert_allclose(np.cov(z), np.eye(5), atol=0.05)


def test_the_root_of_a_covariance_of_very_different_units():
    c = np.array([[1e8, 1e-6], [1e-6, 1e-19]])
    np.testing.assert_allclose(root_of(c) @ root_of(c).T, c, rtol=1e-10)


def test_factors_are_exponentials_and_a_leak_is_not_negative():
    change = np.zeros((len(FACTORS), 2))
    change[FACTORS.index("compressor_flow")] = math.log(0.98)
    change[FACTORS.index("leak")] = -0.01, 0.01
    f = factors_of(change)
    np.testing.assert_allclose(f.compressor_flow, 0.98)
    np.testing.assert_allclose(f.leak, [0.0, 0.01])


def test_the_reading_to_come_has_the_cells_budget():
    """Root sum of squares by hand of the largest parts: torque, MGT over the operating line, correlation."""
    known = {c.id: c for c in LOADED.type_file.channel}
    cell = next(c for c in LOADED.type_file.cell if c.id == "cell_2")
    factor = {f.quantity: f.standard_uncertainty for f in cell.factors}
    power = expected_readings(BASIS, MODEL, "cell_2")["take_off", "power_at_rated_mgt"]
    near = solve(MODEL, POWER.condition, set_by="mgt", target=POWER.target * np.array([0.995, 1.005])).power
    slope = math.log(near[1] / near[0]) / 0.01
    mgt = inner(RATING.measured_gas_temperature)
    torque = [p.relative or p.absolute / 1537.0 for p in known["torque"].uncertainty]
    gas = [p.absolute / mgt for p in known["mgt"].uncertainty]
    by_hand = math.sqrt(
        sum(u * u for u in torque)
        + factor["power"] ** 2
        + slope**2 * (sum(u * u for u in gas) + factor["measured_gas_temperature"] ** 2)
    )
    # what is left out by hand (inlet pressure and temperature, humidity, scatter) only adds
    assert by_hand < power.standard_uncertainty / power.value < 1.25 * by_hand


def test_a_guard_band_is_never_narrower_than_the_type_files():
    """JCGM 106:2012, 8.3.2: w = r U; the type file's consumer's risk of 10 % asks for 1.2816 u."""
    limits = [x for x in limits_asked(LOADED.type_file, "overhauled") if x.rating.id == "take_off"]
    plain, half = (run_to_come(BASIS, MODEL, limits, "cell_2", r) for r in (0.0, 0.5))
    power, mgt = (
        next(i for i, x in enumerate(limits) if x.limit.quantity == q)
        for q in ("power_at_rated_mgt", "mgt_at_rated_power")
    )
    assert plain.requirements[power].guard == pytest.approx(norm.isf(0.1) * plain.uncertainty[power])
    assert plain.requirements[mgt].guard == 0.0
    assert half.requirements[power].guard == pytest.approx(plain.requirements[power].guard)
    assert half.requirements[mgt].guard == pytest.approx(half.uncertainty[mgt])
