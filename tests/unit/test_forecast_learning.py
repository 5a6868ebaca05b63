"""Learning: against linear Bayesian regression written out here, simulated shops, and kept files."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from spoolwright.core.diagnosis.forecast.build import FACTORS, Build, expected_build, root_of
from spoolwright.core.diagnosis.forecast.findings import Finding
from spoolwright.core.diagnosis.forecast.keeping import rules_from_dict, rules_to_dict
from spoolwright.core.diagnosis.forecast.learning import OWN, PastBuild, learn
from spoolwright.core.diagnosis.forecast.published import published_rules
from spoolwright.core.diagnosis.forecast.rated import LEVELS, rated_values
from spoolwright.core.diagnosis.forecast.rules import Coefficients, RuleBook
from spoolwright.core.reduction.doubt.priors import BUILD
from spoolwright.crafts.testcell.forecast.run_to_come import rated
from spoolwright.crafts.testcell.performance.basis import reduction_basis
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.errors import InputError
from spoolwright.sources.typefile import load_type, shipped_type

LOADED = load_type(shipped_type())
BASIS = reduction_basis(LOADED.type_file, LOADED.engine)
MODEL = BASIS.model
RATING = rating_named(LOADED.type_file, "take_off")
ASKED = tuple(rated(BASIS, MODEL, RATING, q) for q in ("power_at_rated_mgt", "ng_at_rated_power"))
NOISE = np.diag([0.004, 0.0005]) ** 2
RULE = "power_turbine_nozzle_area"


def built(excess: float, uncertainty: float = 0.05) -> Build:
    return Build((Finding("n", "nozzle_area", "power_turbine", 0, excess, uncertainty),), BUILD)


def simulated(truth: float, count: int, seed: int, scale: float = 1.0) -> list[PastBuild]:
    """Builds of a shop whose nozzle coefficient and build scatter are known, read with normal errors."""
    g = np.random.default_rng(seed)
    measured = 1.5 * g.standard_normal(count)
    e = expected_build(built(0.0), published_rules())
    x = measured + 0.05 * g.standard_normal(count)
    rest = scale * e.rest_of(g.standard_normal((len(FACTORS), count)))
    value = rated_values(MODEL, ASKED, e.change(x[None], np.full((1, count), truth), rest))
    read = value * (1.0 + np.sqrt(np.diag(NOISE))[:, None] * g.standard_normal((2, count)))
    return [
        PastBuild(str(i), built(float(m)), ASKED, y, NOISE * np.outer(y, y))
        for i, (m, y) in enumerate(zip(measured, read.T, strict=True))
    ]


def test_small_departures_are_linear_bayesian_regression():
    """Posterior mean and covariance by the normal equations, derivatives by differences of the model."""
    past = simulated(0.9, 6, 1)
    learnt = learn(MODEL, published_rules(), past)
    scale = learnt.after.scatter_scale
    keys = learnt.keys
    prior = published_rules().prior(keys)
    information, vector = np.linalg.inv(prior.covariance), np.zeros(len(keys))

    def at(change):
        return np.log(rated_values(MODEL, ASKED, change[:, None])[:, 0])

    for b in past:
        e = expected_build(b.build, published_rules())
        c0 = learnt.after.learnt.mean[keys.index((RULE, 0))]
        middle = e.change(e.excess, np.array([c0]), np.where(np.array(FACTORS) == "leak", e.rest, 0.0))
        d = np.zeros((2, len(FACTORS)))
        for i in range(len(FACTORS)):
            h = np.zeros(len(FACTORS))
            h[i] = 1e-2 if FACTORS[i] == "vane_offset" else 1e-4
            d[:, i] = (at(middle + h) - at(middle - h)) / (2.0 * h[i])
        area = FACTORS.index("power_turbine_area")
        j = np.zeros((2, len(keys)))
        j[:, keys.index((RULE, 0))] = d[:, area] * 0.01 * e.excess[0]
        for k, name in enumerate(LEVELS):
            j[:, keys.index((name, 0))] = [r.levels[k] for r in ASKED]
        s = b.covariance / np.outer(b.measured, b.measured) + OWN**2 * np.eye(2)
        s += np.outer(d[:, area], d[:, area]) * (0.01 * c0 * 0.05) ** 2
        s += (d * (scale * e.rest) ** 2) @ d.T
        theta = learnt.after.learnt.mean
        levels = sum(theta[keys.index((n, 0))] * j[:, keys.index((n, 0))] for n in LEVELS)
        y = np.log(b.measured) - at(middle) - levels
        information = information + j.T @ np.linalg.solve(s, j)
        vector = vector + j.T @ np.linalg.solve(s, y + j @ (theta - prior.mean))
    covariance = np.linalg.inv(information)
    np.testing.assert_allclose(
        learnt.after.learnt.standard_deviation, np.sqrt(np.diag(covariance)), rtol=5e-3
    )
    off = (learnt.after.learnt.mean - prior.mean - covariance @ vector) / prior.standard_deviation
    np.testing.assert_allclose(off, 0.0, atol=5e-3)


@pytest.mark.parametrize("truth", [0.8, 1.15])
def test_a_shops_own_coefficient_is_found(truth):
    learnt = learn(MODEL, published_rules(), simulated(truth, 60, 2)).after.coefficients([(RULE, 0)])
    assert learnt.standard_deviation[0] < published_rules().named(RULE).standard_deviation
    assert abs(learnt.mean[0] - truth) < 3.0 * learnt.standard_deviation[0]


@pytest.mark.parametrize("scale", [0.6, 1.0, 1.5])
def test_the_build_scatters_scale_is_found(scale):
    """120 builds of two readings: the scale's own standard error is about scale / sqrt(2 * 120)."""
    found = learn(MODEL, published_rules(), simulated(1.0, 120, 3, scale)).after.scatter_scale
    assert found == pytest.approx(scale, rel=4.0 / np.sqrt(240.0))


def test_learning_in_two_steps_is_learning_at_once():
    """Bayes' theorem; the scale of the scatter is the only part that is not carried on."""
    past = simulated(0.9, 40, 4)
    once = learn(MODEL, published_rules(), past).after
    first = learn(MODEL, published_rules(), past[:20]).after
    both = learn(MODEL, first, past[20:]).after
    assert both.builds == once.builds == 40
    a, b = once.coefficients([(RULE, 0)]), both.coefficients([(RULE, 0)])
    assert b.mean[0] == pytest.approx(a.mean[0], abs=0.35 * a.standard_deviation[0])
    assert b.standard_deviation[0] == pytest.approx(a.standard_deviation[0], rel=0.1)


def test_a_stage_never_seen_learns_through_the_others():
    """Against the normal update of all three stages' joint prior by one observation, written out."""
    rules, name = published_rules(), "compressor_clearance_efficiency"
    stages = [(name, s) for s in (1, 2, 3)]
    prior = rules.prior(stages)
    h, r = np.array([[1.0, 0.5, 0.0]]), 0.04
    gain = prior.covariance @ h.T / (h @ prior.covariance @ h.T + r)
    mean = prior.mean + gain[:, 0] * (-2.4 - h @ prior.mean)[0]
    covariance = prior.covariance - gain @ h @ prior.covariance
    seen = Coefficients(tuple(stages[:2]), mean[:2], covariance[:2, :2])
    found = replace(rules, learnt=seen).coefficients(stages)
    np.testing.assert_allclose(found.mean, mean, rtol=1e-9)
    np.testing.assert_allclose(found.covariance, covariance, rtol=1e-9, atol=1e-12)


def test_a_rule_that_no_build_had_stays_as_it_was():
    after = learn(MODEL, published_rules(), simulated(0.9, 5, 5)).after
    key = [("seal_leak", 0)]
    np.testing.assert_allclose(after.coefficients(key).mean, published_rules().prior(key).mean)
    np.testing.assert_allclose(after.coefficients(key).covariance, published_rules().prior(key).covariance)


def test_nothing_to_learn_from_is_refused():
    with pytest.raises(InputError, match="no build"):
        learn(MODEL, published_rules(), [])


def test_a_kept_rule_book_reads_back():
    book = learn(MODEL, published_rules(), simulated(0.9, 5, 6)).after
    again = rules_from_dict(json.loads(json.dumps(rules_to_dict(book))))
    key = [(RULE, 0), ("model_power", 0), ("blend_flow", 2)]
    np.testing.assert_array_equal(again.coefficients(key).mean, book.coefficients(key).mean)
    np.testing.assert_array_equal(again.coefficients(key).covariance, book.coefficients(key).covariance)
    assert (again.builds, again.scatter_scale) == (book.builds, book.scatter_scale)


def spoiled(**changes) -> dict:
    return rules_to_dict(replace(published_rules(), learnt=published_rules().prior([(RULE, 0)]))) | changes


@pytest.mark.parametrize(
    "given",
    [
        None,
        [],
        {"format": "other"},
        spoiled(covariance=[[-1.0]]),
        spoiled(covariance=[[1.0, 2.0]]),
        spoiled(coefficients=[{"rule": "none such", "stage": 0, "mean": 1.0}]),
        spoiled(coefficients=[{"rule": RULE, "stage": 0, "mean": float("nan")}]),
        spoiled(scatter_scale=0.0),
        {k: v for k, v in spoiled().items() if k != "builds"},
    ],
)
def test_what_is_no_rules_file_is_refused(given):
    with pytest.raises(InputError, match="not a rules file"):
        rules_from_dict(given)


def test_unknown_rules_are_named():
    with pytest.raises(InputError, match="there is no rule"):
        RuleBook(published_rules().rules).named("none such")


def test_roots_of_prior_covariances_exist():
    keys = [(r.name, s) for r in published_rules().rules for s in (1, 2)]
    c = published_rules().prior(keys).covariance
    np.testing.assert_allclose(root_of(c) @ root_of(c).T, c, atol=1e-12)
