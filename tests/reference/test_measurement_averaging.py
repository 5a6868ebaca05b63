"""Mean of a hold against processes of known autocorrelation and against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.signal import lfilter
from statsmodels.api import OLS, add_constant
from statsmodels.tsa.stattools import acf

from spoolwright.core.measurement.averaging import hold_mean
from spoolwright.errors import InputError


def _first_order(phi: float, rows: int, channels: int, seed: int) -> np.ndarray:
    """Stationary first-order autoregressive process of unit variance and zero mean."""
    shocks = np.random.default_rng(seed).standard_normal((rows, channels))
    shocks[0] /= np.sqrt(1 - phi**2)
    return lfilter([1.0], [1.0, -phi], shocks, axis=0) * np.sqrt(1 - phi**2)


def _variance_of_mean(phi: float, rows: int) -> float:
    """Closed form: sum of the autocovariances phi^|lag| over all pairs of rows, divided by rows²."""
    return (rows * (1 - phi**2) - 2 * phi * (1 - phi**rows)) / (rows * (1 - phi)) ** 2


def test_closed_form_of_the_variance_of_a_mean():
    lags = np.arange(1, 50)
    direct = (1 + 2 * np.sum((1 - lags / 50) * 0.8**lags)) / 50
    assert _variance_of_mean(0.8, 50) == pytest.approx(direct, rel=1e-12)


@pytest.mark.parametrize(("phi", "rows"), [(0.0, 600), (0.5, 600), (0.8, 1200), (0.95, 2400)])
def test_uncertainty_of_a_correlated_mean(phi, rows):
    result = hold_mean(_first_order(phi, rows, 4000, seed=17))
    exact = _variance_of_mean(phi, rows)
    # Root mean square over 4000 holds. The capped effective number and the rare false drift both err upward.
    ratio = np.sqrt(np.mean(result.standard_uncertainty**2) / exact)
    assert 0.98 <= ratio <= 1.10
    # Without regard to autocorrelation the figure would be far too small.
    assert np.median(result.effective_samples) == pytest.approx(1 / exact, rel=0.05)


@pytest.mark.parametrize(
    ("phi", "rows"), [(0.0, 200), (0.0, 1200), (0.3, 600), (0.6, 1200), (0.9, 1200), (0.95, 2400)]
)
def test_coverage_of_the_95_percent_interval(phi, rows):
    # 8000 holds each: standard error 0.24 %. White noise included.
    result = hold_mean(_first_order(phi, rows, 8000, seed=95))
    covered = np.mean(np.abs(result.mean) <= result.half_width(0.95))
    assert 0.943 <= covered <= 0.970


def test_ignoring_autocorrelation_would_not_cover():
    # The comparison that shows why: s / sqrt(n) covers far less.
    samples = _first_order(0.9, 1200, 4000, seed=95)
    naive = 1.96 * samples.std(axis=0, ddof=1) / np.sqrt(1200)
    assert np.mean(np.abs(samples.mean(axis=0)) <= naive) < 0.5


@pytest.mark.parametrize("phi", [0.0, 0.7])
def test_coverage_with_gaps(phi):
    samples = _first_order(phi, 1200, 4000, seed=5)
    lost = np.random.default_rng(6).random(samples.shape) < 0.2
    lost[300:420] = True
    result = hold_mean(np.where(lost, np.nan, samples))
    covered = np.mean(np.abs(result.mean) <= result.half_width(0.95))
    assert 0.943 <= covered <= 0.970
    assert np.array_equal(result.samples, (~lost).sum(axis=0))


def _hat_share(rows: int, window: int) -> float:
    """Share of the windowed sum that fitting a line takes away, from the hat matrix itself."""
    design = add_constant(np.arange(rows, dtype=float))
    hat = design @ np.linalg.solve(design.T @ design, design.T)
    return sum(np.trace(hat, offset=lag) for lag in range(-window, window + 1)) / rows


@pytest.mark.parametrize("phi", [0.3, 0.8])
def test_uncertainties_equal_those_of_statsmodels(phi):
    # Heteroscedasticity and autocorrelation consistent covariance of a fitted line, flat kernel, same window.
    rows, step = 400, 0.05
    for channel in _first_order(phi, rows, 5, seed=3).T:
        result = hold_mean(channel, step)
        window = int(result.window[0])
        time = step * (np.arange(rows) - 0.5 * (rows - 1))
        fit = OLS(channel, add_constant(time)).fit(
            cov_type="HAC", cov_kwds={"maxlags": window, "kernel": "uniform", "use_correction": False}
        )
        share = _hat_share(rows, window)
        free = np.sqrt(1 - result.drift_share[0]) * result.standard_uncertainty[0]
        assert result.mean[0] == pytest.approx(fit.params[0], abs=1e-12)
        assert result.drift[0] == pytest.approx(fit.params[1], rel=1e-9)
        assert free == pytest.approx(fit.bse[0] / np.sqrt(1 - share), rel=1e-9)
        assert result.drift_uncertainty[0] == pytest.approx(fit.bse[1] / np.sqrt(1 - share), rel=1e-9)


@pytest.mark.parametrize("gaps", [False, True])
def test_window_follows_from_the_autocorrelation_of_statsmodels(gaps):
    samples = _first_order(0.8, 600, 1, seed=12)[:, 0]
    if gaps:
        samples[np.random.default_rng(1).random(600) < 0.15] = np.nan
    rows = np.arange(600)
    known = np.isfinite(samples)
    line = np.polynomial.Polynomial.fit(rows[known], samples[known], 1)
    correlation = acf(samples - line(rows), adjusted=True, nlags=75, missing="conservative", fft=False)
    time = 0.5 + np.cumsum(correlation[1:])
    expected = next(lag for lag in range(1, 75) if lag >= 5 * max(time[lag - 1], 0.5))
    assert hold_mean(samples).window[0] == expected


def test_white_noise_by_hand():
    # With no window the formula is that of a regression on 1 and t: s² / n with n - 2 degrees of freedom.
    samples = np.random.default_rng(9).standard_normal(500)
    result = hold_mean(samples)
    residual = samples - np.polynomial.Polynomial.fit(np.arange(500), samples, 1)(np.arange(500))
    floor = np.sqrt(np.sum(residual**2) / 498 / 500)
    assert result.standard_uncertainty[0] >= floor * (1 - 1e-12)
    assert result.effective_samples[0] <= 500 * (1 + 1e-12)


def test_anticorrelated_noise_earns_no_credit():
    result = hold_mean(_first_order(-0.6, 600, 50, seed=2))
    assert np.allclose(result.effective_samples, 600)


def test_drift_is_found_and_counted():
    rows, step, slope = 1200, 0.05, 0.02  # 60 s, a change of 1.2 over the hold
    time = step * np.arange(rows)
    samples = 500.0 + slope * time[:, np.newaxis] + 0.3 * _first_order(0.5, rows, 2000, seed=8)
    result = hold_mean(samples, step)
    change = slope * step * (rows - 1)
    # The slope's own uncertainty covers the truth as often as it should (normal, 2000 holds, standard error
    # 0.5 %).
    z = np.abs(result.drift - slope) / result.drift_uncertainty
    assert 0.93 <= np.mean(z <= 1.96) <= 0.98
    assert np.all(result.drift_share > 0.9)
    share = result.drift_share * result.standard_uncertainty**2
    assert np.median(share) == pytest.approx(change**2 / 12, rel=0.01)


def test_false_drifts_are_rare():
    white = hold_mean(_first_order(0.0, 1200, 8000, seed=4))
    assert np.mean(white.drift_share > 0) <= 0.005  # three sigma: 0.27 %
    coloured = hold_mean(_first_order(0.7, 1200, 8000, seed=4))
    assert np.mean(coloured.drift_share > 0) <= 0.012


def test_hold_too_short_for_its_correlation_says_so():
    # Correlation time of about 100 samples in a hold of 600: not resolved in most holds, resolved with 1 in
    # all.
    slow = hold_mean(_first_order(0.99, 600, 500, seed=7))
    assert np.mean(slow.resolved) < 0.3
    assert np.all(slow.degrees_of_freedom >= 1)
    assert np.all(hold_mean(_first_order(0.3, 600, 500, seed=7)).resolved)


def test_small_scatter_on_a_large_value():
    noise = 1e-3 * _first_order(0.5, 600, 20, seed=1)
    small, large = hold_mean(noise), hold_mean(noise + 1e7)
    assert np.allclose(large.mean - 1e7, small.mean, atol=3e-9)
    assert np.allclose(large.standard_uncertainty, small.standard_uncertainty, rtol=1e-4)


def test_channels_are_independent_of_each_other():
    block = _first_order(0.6, 300, 6, seed=1)
    block[::7, 2] = np.nan
    block[:, 4] = np.nan
    together = hold_mean(block, 0.1)
    for j in range(6):
        alone = hold_mean(block[:, j], 0.1)
        for name in ("mean", "standard_uncertainty", "degrees_of_freedom", "window", "drift", "drift_share"):
            assert np.allclose(getattr(together, name)[j], getattr(alone, name)[0], equal_nan=True, rtol=1e-9)


def test_little_or_nothing_recorded():
    block = np.full((300, 3), np.nan)
    block[:5, 1] = [1.0, 2.0, 3.0, 4.0, 5.0]
    block[:, 2] = 7.0
    result = hold_mean(block)
    assert np.isnan(result.mean[0]) and result.samples[0] == 0
    assert result.mean[1] == 3.0 and np.isnan(result.standard_uncertainty[1])
    assert list(result.degrees_of_freedom[:2]) == [0.0, 0.0]
    assert not result.resolved[:2].any()
    assert (result.mean[2], result.standard_uncertainty[2], result.drift_share[2]) == (7.0, 0.0, 0.0)
    assert np.isnan(result.half_width()[1])


def test_half_width_is_students():
    result = hold_mean(_first_order(0.5, 400, 3, seed=2))
    expected = stats.t.ppf(0.995, result.degrees_of_freedom) * result.standard_uncertainty
    assert np.allclose(result.half_width(0.99), expected, rtol=1e-9)


def test_mistakes_are_named():
    with pytest.raises(InputError, match="dimensions"):
        hold_mean(np.zeros((2, 2, 2)))
    with pytest.raises(InputError, match="interval"):
        hold_mean(np.zeros(100), 0.0)
