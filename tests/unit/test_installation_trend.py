"""The trend of a margin: against statsmodels, and by how often its intervals hold."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import binom

from spoolwright.crafts.installation.calc import Told
from spoolwright.crafts.installation.trend import robust_line, zero_margin

HOURS = np.array([2.0, 27, 55, 80, 102, 131, 150, 178, 205, 224, 251, 280])


def told(value: np.ndarray, reading: float = 1e-6, lasting: float = 0.0) -> Told:
    return Told(value, np.full((1, value.size), lasting), np.full(value.size, reading))


@pytest.mark.parametrize("seed", range(5))
def test_line_agrees_with_an_independent_huber_estimator(seed: int) -> None:
    """statsmodels RLM with HuberT and its covariance H1 (Huber 1981, 6.6)."""
    rng = np.random.default_rng(seed)
    y = 3.0 - 0.01 * HOURS + 0.3 * rng.standard_normal(HOURS.size)
    y[4] += 2.5
    x = sm.add_constant(HOURS - HOURS.mean())
    model = sm.RLM(y, x, M=sm.robust.norms.HuberT(t=1.345))
    other = model.fit(tol=1e-13, maxiter=2000, conv="coefs")
    line = robust_line(HOURS, told(y))
    assert line is not None
    np.testing.assert_allclose([line.level, line.slope], other.params, rtol=1e-7)
    np.testing.assert_allclose(np.sqrt(np.diag(line.covariance)), other.bse, rtol=1e-6)
    assert line.weights[4] < 0.6


def test_thin_data_tell_no_trend() -> None:
    few = HOURS[:4]
    assert robust_line(few, told(np.ones(4))) is None
    assert robust_line(np.linspace(0, 20, 12), told(np.ones(12))) is None


def test_a_margin_that_does_not_fall_has_no_time_to_zero() -> None:
    rng = np.random.default_rng(1)
    line = robust_line(HOURS, told(3.0 + 0.3 * rng.standard_normal(HOURS.size), reading=0.3))
    assert line is not None
    zero = zero_margin(line)
    assert not zero.told
    assert zero.high == np.inf
    assert zero.low > HOURS[-1]


def test_what_stays_alike_moves_the_level_and_not_the_slope() -> None:
    rng = np.random.default_rng(2)
    y = 3.0 - 0.01 * HOURS + 0.2 * rng.standard_normal(HOURS.size)
    alone, shared = (robust_line(HOURS, told(y, 0.2, lasting)) for lasting in (0.0, 0.5))
    assert alone is not None and shared is not None
    added = shared.covariance - alone.covariance
    np.testing.assert_allclose(added, [[0.25, 0.0], [0.0, 0.0]], atol=1e-12)


@pytest.mark.parametrize("outliers", [0, 1])
def test_intervals_of_slope_and_zero_margin_hold(outliers: int) -> None:
    """Of 1,000 simulated histories 95 % intervals hold in no fewer than a binomial draw allows."""
    rng = np.random.default_rng(10 + outliers)
    runs, sigma, lasting = 1000, 0.4, 0.3
    slope_held = zero_held = 0
    for _ in range(runs):
        y = 3.0 - 0.012 * HOURS + sigma * rng.standard_normal(HOURS.size) + lasting * rng.standard_normal()
        if outliers:
            y[rng.integers(HOURS.size)] += 6 * sigma
        line = robust_line(HOURS, told(y, sigma, lasting))
        assert line is not None
        wide = line.factor() * np.sqrt(line.covariance[1, 1])
        slope_held += abs(line.slope + 0.012) <= wide
        zero = zero_margin(line)
        zero_held += zero.low <= 250.0 <= zero.high
    least = binom.ppf(0.001, runs, 0.95)
    assert slope_held >= least
    assert zero_held >= least
