"""Learning the model's shape and predicting from it, against other methods of general libraries."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import scipy.linalg
import statsmodels.api as sm

from spoolwright.core.measurement.channel import ErrorSource
from spoolwright.core.numerics import Dual
from spoolwright.core.reduction.baseline import (
    FEATURES,
    QUANTITIES,
    ModelBaseline,
    Shape,
    Spread,
    baseline_from_dict,
    shape_features,
    uncalibrated_baseline,
)
from spoolwright.core.reduction.estimate import SCATTER, ErrorBasis
from spoolwright.core.reduction.model_method import ModelMethod, ReferenceCurve, model_errors
from spoolwright.core.reduction.shape_learning import ShapeRun, calibrate_shape
from spoolwright.errors import InputError

TRUE = {"s": 0.20, "s^2": -1.5, "ln theta": 0.010, "ln Re": 0.02}
SETTINGS = np.linspace(-0.12, 0.02, 6)


def simulated(engines: int, seed: int, level: float = 0.01, point: float = 0.001) -> list[ShapeRun]:
    """Two runs an engine on different days; engines differ in level alone."""
    rng = np.random.default_rng(seed)
    runs = []
    for e in range(engines):
        own = -0.02 + level * rng.standard_normal()
        for _ in range(2):
            theta, war, reynolds = rng.uniform(-0.09, 0.07), rng.uniform(0.0, 0.02), rng.uniform(-0.1, 0.05)
            x = shape_features(SETTINGS, np.array(theta), np.array(war), np.array(reynolds))
            y = own + sum(c * x[:, FEATURES.index(n)] for n, c in TRUE.items())
            y = y + point * rng.standard_normal(SETTINGS.size)
            runs.append(
                ShapeRun(f"e{e}", x, {"power": y}, {"power": np.full(SETTINGS.size, 1e-6)}, {"power": 0.0})
            )
    return runs


def test_agrees_with_a_mixed_model_by_restricted_likelihood() -> None:
    runs = simulated(60, seed=5)
    found = calibrate_shape(runs).shapes["power"]
    y = np.concatenate([r.log_ratio["power"] for r in runs])
    x = np.concatenate([r.features for r in runs])
    groups = np.concatenate([[r.engine] * SETTINGS.size for r in runs])
    used = [FEATURES.index(n) for n in ("s", "s^2", "s^3")]
    oracle = sm.MixedLM(y, np.column_stack([np.ones_like(y), x]), groups).fit(reml=True)
    # Terms in s are told by the points alone; both methods must agree far within their uncertainty.
    for i in used:
        u = float(np.linalg.norm(found.root[i]))
        assert found.coefficients[i] == pytest.approx(oracle.params[i + 1], abs=0.1 * u)
        assert u == pytest.approx(oracle.bse[i + 1], rel=0.1)
    assert found.spread.point == pytest.approx(np.sqrt(oracle.scale), rel=0.1)
    assert found.spread.level == pytest.approx(float(np.sqrt(oracle.cov_re[0, 0])), rel=0.1)


def test_a_mean_level_of_all_engines_does_not_leak_into_the_shape() -> None:
    here = calibrate_shape(simulated(40, seed=9)).shapes["power"].coefficients
    shifted = [
        ShapeRun(r.engine, r.features, {"power": r.log_ratio["power"] + 0.05}, r.scatter, r.level)
        for r in simulated(40, seed=9)
    ]
    there = calibrate_shape(shifted).shapes["power"].coefficients
    assert there == pytest.approx(here, abs=2e-4)


def test_uncertainty_of_the_shape_covers_the_truth() -> None:
    truth = np.array([TRUE.get(n, 0.0) for n in FEATURES])
    inside = []
    for seed in range(20):
        shape = calibrate_shape(simulated(25, seed=100 + seed)).shapes["power"]
        u = np.linalg.norm(shape.root, axis=1)
        inside.append(np.abs(shape.coefficients - truth) <= 2.0 * u)
    # 160 intervals of 95 %: fewer than 144 inside has a probability below 1e-3 (binomial; correlated, so
    # loose).
    assert np.sum(inside) >= 144


def test_uncertainty_grows_outside_what_was_seen() -> None:
    shape = calibrate_shape(simulated(60, seed=6)).shapes["power"]

    def u(theta: float) -> float:
        x = shape_features(np.array(0.0), np.array(theta), np.array(0.0), np.array(-2.0 * theta))
        return float(np.linalg.norm(shape.root.T @ (x - shape_features(*np.zeros((4, 1)))[0])))

    assert u(0.05) < u(0.10) < u(0.15) and u(-0.08) < u(-0.14) < u(-0.20)


def test_survives_json() -> None:
    runs = [
        ShapeRun(
            r.engine,
            r.features,
            dict.fromkeys(QUANTITIES, r.log_ratio["power"]),
            dict.fromkeys(QUANTITIES, r.scatter["power"]),
            dict.fromkeys(QUANTITIES, r.level["power"]),
        )
        for r in simulated(10, seed=2)
    ]
    baseline = replace(calibrate_shape(runs), type_id="corrie_940")
    back = baseline_from_dict(json.loads(json.dumps(baseline.to_dict())))
    assert back.type_id == "corrie_940" and back.runs == baseline.runs and back.engines == baseline.engines
    assert back.shapes["power"].coefficients.tolist() == baseline.shapes["power"].coefficients.tolist()
    assert back.shapes["power"].spread == baseline.shapes["power"].spread
    with pytest.raises(InputError, match="not a model baseline"):
        baseline_from_dict({"format": "something else"})


def test_one_run_teaches_nothing() -> None:
    with pytest.raises(InputError, match="1 run"):
        calibrate_shape(simulated(1, seed=1)[:1])


def method(runs: int = 2, each: int = 5) -> tuple[ModelMethod, np.ndarray]:
    """A made-up block: random ratios, shape and errors; also the dense covariance of what is not level."""
    rng = np.random.default_rng(4)
    n, p = runs * each, len(FEATURES)
    x = shape_features(
        rng.uniform(-0.12, 0.03, n),
        rng.uniform(-0.05, 0.05, n),
        rng.uniform(0, 0.01, n),
        rng.uniform(-0.1, 0, n),
    )
    root = np.tril(0.02 * rng.standard_normal((p, p)))
    spread = Spread(0.01, 0.002, 0.04, 0.03, 0.01, 0.001)
    shape = Shape(0.1 * rng.standard_normal(p), root, spread)
    index = np.repeat(np.arange(runs), each)
    own = [(ErrorSource(f"scatter {i}"), SCATTER) for i in range(n)]
    added = own + model_errors(n, runs, ["power"])
    basis = ErrorBasis(tuple(s for s, _ in added), tuple(c for _, c in added))
    d = np.zeros((basis.size, n))
    d[:n] = 0.0015 * np.eye(n)
    grid = np.linspace(900.0, 1200.0, 31)
    curve = ReferenceCurve(grid, {"power": 13.0 + 4.0 * np.log(grid / 1100.0)}, 288.15, 1100.0)
    made = ModelMethod(
        ModelBaseline({"power": shape}),
        curve,
        {"power": Dual(0.01 * rng.standard_normal(n), d)},
        x,
        index,
        basis,
    )
    s, t = x[:, 0], x[:, 3]
    same = index[:, None] == index
    covariance = (
        0.0015**2 * np.eye(n)
        + x @ root @ root.T @ x.T
        + (0.04**2 + 0.03**2 * same) * np.outer(s, s)
        + 0.01**2 * np.outer(t, t)
        + 0.002**2 * same
        + 0.001**2 * np.eye(n)
    )
    return made, covariance


def test_prediction_is_the_conditional_of_a_joint_normal_with_a_wide_level() -> None:
    made, covariance = method()
    shape, x = made.baseline.shapes["power"], made.features
    y = made.log_ratio["power"].v
    target = shape_features(np.array(-0.03), *np.zeros((3,)))
    with_target = x @ shape.root @ shape.root.T @ target + 0.04**2 * x[:, 0] * target[0]
    own = target @ shape.root @ shape.root.T @ target + 0.04**2 * target[0] ** 2
    wide = 1e3**2
    gain = scipy.linalg.solve(covariance + wide, with_target + wide, assume_a="pos")
    expected = target @ shape.coefficients + gain @ (y - x @ shape.coefficients)
    value, contributions = made.log_ratio_at("power", -0.03)
    assert value == pytest.approx(float(expected), abs=1e-6)
    variance = own + gain @ covariance @ gain - 2.0 * gain @ with_target
    assert float(contributions @ contributions) == pytest.approx(float(variance), rel=1e-4)


def test_level_is_free_of_any_prior() -> None:
    made, _ = method()
    ratio = made.log_ratio["power"]
    shifted = ModelMethod(
        made.baseline,
        made.reference,
        {"power": Dual(ratio.v + 0.3, ratio.d)},
        made.features,
        made.run_index,
        made.basis,
    )
    assert shifted.log_ratio_at("power", 0.0)[0] - made.log_ratio_at("power", 0.0)[0] == pytest.approx(
        0.3, abs=1e-9
    )


def test_temperature_at_power_inverts_power_at_temperature() -> None:
    made, _ = method()
    power = made.value_at("power", 1080.0)
    back = made.gas_temperature_at(power.value)
    assert back.value == pytest.approx(1080.0, abs=1e-3)
    slope = (made.value_at("power", 1081.0).value - made.value_at("power", 1079.0).value) / 2.0
    assert back.standard_uncertainty == pytest.approx(power.standard_uncertainty / slope, rel=1e-3)


def test_an_uncalibrated_model_is_less_sure_than_a_calibrated_one() -> None:
    learnt = calibrate_shape(simulated(60, seed=7)).shapes["power"]
    prior = uncalibrated_baseline().shapes["power"]
    assert np.all(np.linalg.norm(learnt.root, axis=1) <= np.linalg.norm(prior.root, axis=1) * (1 + 1e-9))
