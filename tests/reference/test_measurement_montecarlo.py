"""Propagation of distributions against JCGM 101:2008, clause 9, and JCGM 102:2011.

The inputs of the examples are those of the documents, read in public copies of the examples. Their printed
results could be read only where a value stands below with its reader; everywhere else the oracle is the
exact distribution of the output, by closed form or quadrature. The tolerance is the documents' own: half a
unit in the last of the digits of u that are meant (7.9.2), which the adaptive procedure (7.9.4) has to
reach.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, optimize, special, stats

from spoolwright.core.measurement.channel import ErrorSource
from spoolwright.core.measurement.montecarlo import (
    coverage_interval,
    gum_validation,
    monte_carlo,
    numerical_tolerance,
)
from spoolwright.core.measurement.propagation import propagation
from spoolwright.core.measurement.quantities import correlated_quantities, independent_quantities
from spoolwright.core.numerics import chain, sqrt, value
from spoolwright.errors import InputError, RangeError


def _total(x):
    return sum(x[1:], x[0])


def _rectangular(widths):
    return independent_quantities(
        np.zeros(len(widths)), widths, [ErrorSource(f"x{i}", "rectangular") for i in range(len(widths))]
    )


def _agrees(result, exact_u, exact_low, exact_high):
    """Every figure of the result within the tolerance of 7.9.2 for the exact u."""
    assert result.settled
    delta = numerical_tolerance(exact_u, 2)
    assert abs(result.standard_uncertainties[0] - exact_u) <= delta
    assert abs(result.low[0] - exact_low) <= delta
    assert abs(result.high[0] - exact_high) <= delta


def test_9_2_2_normal():
    # Table 2 as repeated in the tests of Suncal: u 2.00, interval -3.92 to 3.92; exactly 2 x 1.95996.
    inputs = independent_quantities(np.zeros(4), np.ones(4))
    result = monte_carlo(_total, inputs.sample, seed=101, interval="symmetric", tolerance_divisor=5)
    end = 2 * stats.norm.ppf(0.975)
    _agrees(result, 2.0, -end, end)
    assert gum_validation(propagation(_total, inputs).expanded(), result).passed


def test_9_2_3_rectangular_of_one_width():
    # Closed form of 9.2.3 and JCGM GUM-5:2026, 6.3: ends +-2 sqrt(3) (2 - (3/5)^(1/4)) = +-3.88.
    inputs = _rectangular(np.ones(4))
    result = monte_carlo(_total, inputs.sample, seed=101, interval="symmetric", tolerance_divisor=5)
    end = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert round(end, 2) == 3.88
    _agrees(result, 2.0, -end, end)
    # At three digits the normal interval, +-3.92, is no longer good enough.
    assert not gum_validation(propagation(_total, inputs).expanded(), result, significant_digits=3).passed


def test_9_2_4_rectangular_with_one_wide():
    # JCGM GUM-5:2026, 6.4 prints u 10.1 and +-17.0; exactly by averaging over the three narrow inputs.
    inputs = _rectangular([1.0, 1.0, 1.0, 10.0])
    wide = 10 * math.sqrt(3)  # half-width of the wide input

    def density(s):  # of the sum of three rectangular inputs on (-sqrt 3, sqrt 3): quadratic spline
        z = abs(s) / (2 * math.sqrt(3))
        inner = 0.75 - z * z if z <= 0.5 else 0.5 * (1.5 - z) ** 2
        return inner / (2 * math.sqrt(3))

    def below(y):
        def piece(s):
            return density(s) * min(max((y - s + wide) / (2 * wide), 0.0), 1.0)

        return integrate.quad(piece, -3 * math.sqrt(3), 3 * math.sqrt(3), limit=200, epsabs=1e-10)[0]

    end = optimize.brentq(lambda y: below(y) - 0.975, 10.0, 22.0)
    assert round(end, 1) == 17.0
    result = monte_carlo(_total, inputs.sample, seed=101, interval="symmetric")
    u = math.sqrt(103)
    assert round(u, 1) == 10.1
    _agrees(result, u, -end, end)
    by_law = propagation(_total, inputs).expanded()
    assert round(by_law.half_width, 1) == 19.9  # 1.96 sqrt(103)
    assert not gum_validation(by_law, result).passed


def _mass(x):
    # 9.3.1.3: deviation of a weight from nominal, in mg.
    standard, added, air, weight, reference = x
    return (standard + added) * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / reference)) - 100_000.0


def _mass_inputs():
    return independent_quantities(
        [100_000.0, 1.234, 1.20, 8000.0, 8000.0],
        [0.050, 0.020, 0.10 / math.sqrt(3), 1000 / math.sqrt(3), 50 / math.sqrt(3)],
        [
            ErrorSource("standard"),
            ErrorSource("added"),
            *(ErrorSource(n, "rectangular") for n in ("air", "weight", "reference")),
        ],
    )


def _mass_distribution():
    """Exact u and distribution function of the mass example: normal part averaged over three densities."""
    nodes, weights = np.polynomial.legendre.leggauss(60)
    air, weight, reference = 0.10 * nodes, 8000 + 1000 * nodes, 8000 + 50 * nodes
    buoyancy = 1.0 / weight[:, np.newaxis] - 1.0 / reference
    shift = (100_001.234 * air[:, np.newaxis, np.newaxis] * buoyancy).ravel()
    share = np.einsum("i,j,k->ijk", weights, weights, weights).ravel() / 8
    spread = math.hypot(0.050, 0.020)
    u = math.sqrt(spread**2 + float(share @ shift**2))
    return u, lambda y: float(share @ special.ndtr((y - 1.234 - shift) / spread))


def test_9_3_mass_calibration():
    u, below = _mass_distribution()
    end = optimize.brentq(lambda y: below(y) - 0.975, 1.3, 1.5)
    # The output is symmetric about 1.234, so the shortest interval is the symmetric one.
    result = monte_carlo(_mass, _mass_inputs().sample, seed=93, significant_digits=1, tolerance_divisor=5)
    delta = numerical_tolerance(u, 1)
    assert delta == 0.005
    assert result.settled
    assert abs(result.estimates[0] - 1.234) <= delta
    assert abs(result.standard_uncertainties[0] - u) <= delta
    assert abs(result.high[0] - end) <= delta
    assert abs(result.low[0] - (2 * 1.234 - end)) <= delta


def test_9_3_law_of_propagation_fails_validation():
    # JCGM GUM-5:2026, example 7 prints 1.2340 and, to first order, u = 0.0539.
    by_law = propagation(_mass, _mass_inputs())
    assert abs(float(by_law.estimates[0]) - 1.2340) < 5e-5
    assert abs(float(by_law.standard_uncertainties[0]) - 0.0539) < 5e-5
    result = monte_carlo(_mass, _mass_inputs().sample, seed=93, significant_digits=1, tolerance_divisor=5)
    u, below = _mass_distribution()
    verdict = gum_validation(by_law.expanded(), result, significant_digits=1)
    assert not verdict.passed
    end = optimize.brentq(lambda y: below(y) - 0.975, 1.3, 1.5)
    gap = (end - 1.234) - stats.norm.ppf(0.975) * math.hypot(0.050, 0.020)
    assert verdict.difference_high == pytest.approx(gap, abs=numerical_tolerance(u, 1))


def _loss(x):
    return x[0] * x[0] + x[1] * x[1]


def _loss_inputs(x1, r, u=0.005):
    return correlated_quantities([x1, 0.0], [[u * u, r * u * u], [r * u * u, u * u]])


def _loss_shortest(x1, r, u=0.005, probability=0.95):
    """Exact shortest interval of X1² + X2², integrated along the principal axes of the correlation."""
    spread = u * np.sqrt([1 + r, 1 - r])
    centre = np.array([x1, x1]) / math.sqrt(2)
    nodes, weights = np.polynomial.legendre.leggauss(400)

    def below(y):
        z = math.sqrt(max(y, 0.0)) * np.sin(0.5 * np.pi * nodes)  # substitution takes the root's edge away
        jacobian = math.sqrt(max(y, 0.0)) * 0.5 * np.pi * np.cos(0.5 * np.pi * nodes)
        reach = np.sqrt(np.maximum(y - z * z, 0.0))
        inner = special.ndtr((reach - centre[1]) / spread[1]) - special.ndtr((-reach - centre[1]) / spread[1])
        density = stats.norm.pdf(z, centre[0], spread[0])
        return float(np.sum(weights * jacobian * density * inner))

    def quantile(p):
        return optimize.brentq(lambda y: below(y) - p, 0.0, (x1 + 12 * u) ** 2, xtol=1e-13) if p > 0 else 0.0

    best = optimize.minimize_scalar(
        lambda a: quantile(a + probability) - quantile(a),
        bounds=(0.0, 1 - probability - 1e-9),
        method="bounded",
        options={"xatol": 1e-9},
    )
    candidates = [0.0, float(best.x)]
    start = min(candidates, key=lambda a: quantile(a + probability) - quantile(a))
    return quantile(start), quantile(start + probability)


def test_loss_oracle_against_noncentral_chi_squared():
    low, high = _loss_shortest(0.010, 0.0)
    law = stats.ncx2(2, (0.010 / 0.005) ** 2, scale=0.005**2)
    assert law.cdf(high) - law.cdf(low) == pytest.approx(0.95, abs=1e-8)


@pytest.mark.parametrize("r", [0.0, 0.9])
@pytest.mark.parametrize("x1", [0.000, 0.010, 0.050])
def test_9_4_comparison_loss(x1, r):
    # Mean and variance of a quadratic form of normal quantities in closed form; 9.4.2 and 9.4.3.
    u = 0.005
    mean = x1**2 + 2 * u**2
    deviation = math.sqrt(4 * u**4 * (1 + r * r) + 4 * x1**2 * u**2)
    low, high = _loss_shortest(x1, r)
    result = monte_carlo(
        _loss, _loss_inputs(x1, r).sample, seed=94, significant_digits=1, tolerance_divisor=5
    )
    delta = numerical_tolerance(deviation, 1)
    assert result.settled
    assert abs(result.estimates[0] - mean) <= delta
    assert abs(result.standard_uncertainties[0] - deviation) <= delta
    assert abs(result.low[0] - low) <= delta
    assert abs(result.high[0] - high) <= delta


def test_9_4_printed_values_and_failure_of_the_law():
    # Printed, as read: JCGM GUM-5:2026, example 16: mean 50e-6, u 50e-6 (r = 0) and 67e-6 (r = 0.9) at x1 =
    # 0; JCGM 101, 9.4.3: u 1.21e-4 at x1 = 0.010, r = 0.9, where the law of propagation gives 1.0e-4.
    for x1, r, printed, digit in (
        (0.0, 0.0, 50e-6, 1e-6),
        (0.0, 0.9, 67e-6, 1e-6),
        (0.010, 0.9, 1.21e-4, 1e-6),
    ):
        result = monte_carlo(_loss, _loss_inputs(x1, r).sample, seed=5, trials=1_000_000)
        assert abs(result.standard_uncertainties[0] - printed) <= 0.5 * digit + 2e-7  # 3 standard errors
    flat = propagation(_loss, _loss_inputs(0.0, 0.0))
    assert flat.standard_uncertainties[0] == 0
    result = monte_carlo(_loss, _loss_inputs(0.0, 0.0).sample, seed=5, significant_digits=1)
    assert not gum_validation(flat.expanded(), result, significant_digits=1).passed
    sloped = propagation(_loss, _loss_inputs(0.010, 0.9))
    assert float(sloped.standard_uncertainties[0]) == pytest.approx(1.0e-4, rel=1e-12)


def _polar(x):
    re, im = x
    a, b = value(re), value(im)
    angle = chain(np.arctan2(b, a), (-b / (a * a + b * b), re), (a / (a * a + b * b), im))
    return sqrt(re * re + im * im), angle


@pytest.mark.parametrize(
    ("re", "r", "printed"),
    [
        (0.001, 0.0, ("0.013", "0.000", "0.007", "1.744")),
        (0.001, 0.9, ("0.012", "-0.556", "0.008", "1.599")),
        (0.010, 0.9, ("0.015", "-0.343", "0.008", "0.903")),
    ],
)
def test_jcgm_102_magnitude_and_phase(re, r, printed):
    # JCGM 102:2011, 9.3, tables 6 and 7, as repeated in the tests of Suncal: estimates and u of both outputs.
    inputs = correlated_quantities([re, 0.0], 1e-4 * np.array([[1.0, r], [r, 1.0]]))
    result = monte_carlo(_polar, inputs.sample, seed=102, trials=1_000_000)
    figures = [*result.estimates, *result.standard_uncertainties]
    # Both sides come from about 1e6 trials: three standard errors of a difference beside the printed
    # rounding.
    noise = np.tile(3 * math.sqrt(2) * result.standard_uncertainties / 1000, 2)
    for figure, text, error in zip(figures, printed, noise, strict=True):
        assert abs(figure - float(text)) <= 0.0005 + error
    by_law = propagation(_polar, inputs)
    assert by_law.standard_uncertainties == pytest.approx([0.010, 0.010 / re], rel=1e-9)


def test_student_sources_have_the_spread_of_jcgm_101():
    # JCGM 101:2008, 6.4.9.4: variance u² nu / (nu - 2).
    inputs = independent_quantities([5.0], [2.0], [ErrorSource("few readings", "normal", 8.0)])
    result = monte_carlo(lambda x: x[0], inputs.sample, seed=3, trials=400_000)
    assert float(result.standard_uncertainties[0]) == pytest.approx(2.0 * math.sqrt(8 / 6), rel=5e-3)
    exact = stats.t(8, loc=5.0, scale=2.0)
    assert exact.cdf(result.high[0]) - exact.cdf(result.low[0]) == pytest.approx(0.95, abs=2e-3)


@pytest.mark.parametrize(
    ("shape", "law"),
    [
        ("rectangular", stats.uniform(-math.sqrt(3), 2 * math.sqrt(3))),
        ("triangular", stats.triang(0.5, -math.sqrt(6), 2 * math.sqrt(6))),
        ("normal", stats.norm()),
    ],
)
def test_sources_are_drawn_from_their_distribution(shape, law):
    drawn = ErrorSource("x", shape).sample(np.random.default_rng(7), 20_000)
    assert stats.kstest(drawn, law.cdf).pvalue > 0.01


def test_correlated_draws_have_the_covariance():
    covariance = np.array([[4.0, 1.2, -0.5], [1.2, 1.0, 0.3], [-0.5, 0.3, 2.0]])
    drawn = correlated_quantities([1.0, 2.0, 3.0], covariance).sample(np.random.default_rng(8), 200_000)
    # Standard error of a sample covariance: sqrt((c_ii c_jj + c_ij²) / n).
    error = np.sqrt((np.outer(covariance.diagonal(), covariance.diagonal()) + covariance**2) / 200_000)
    assert np.all(np.abs(np.cov(drawn) - covariance) < 4 * error)


def test_numerical_tolerance_examples():
    # JCGM 101:2008, 7.9.2: 0.00035 g to two digits is 35e-5 g, so half of 1e-5 g; 2 K to one digit, 0.5 K.
    assert numerical_tolerance(0.00035, 2) == 0.000005
    assert numerical_tolerance(2.0, 1) == 0.5
    assert numerical_tolerance(0.0, 2) == 0.0


def test_intervals_by_hand():
    # 7.7: with M = 10 and p = 0.8, q = 8; symmetric starts at r = 1, shortest where 8 steps are shortest.
    sample = np.array([0.0, 5, 6, 7, 8, 9, 10, 11, 12, 30])
    assert [float(v) for v in coverage_interval(sample, 0.8, "symmetric")] == [0.0, 12.0]
    assert [float(v) for v in coverage_interval(sample, 0.8, "shortest")] == [0.0, 12.0]
    assert [float(v) for v in coverage_interval(sample, 0.7, "shortest")] == [5.0, 12.0]


def test_seed_decides_everything():
    inputs = _mass_inputs()
    one, two, other = (monte_carlo(_mass, inputs.sample, seed=s, trials=1000) for s in (1, 1, 2))
    assert np.array_equal(one.samples, two.samples)
    assert not np.array_equal(one.samples, other.samples)


def test_unsteady_result_says_so():
    # A Cauchy output has no mean: the procedure must stop at the largest number of trials and say it is not
    # settled.
    result = monte_carlo(lambda x: x[0], lambda g, n: g.standard_cauchy((1, n)), seed=1, most_trials=100_000)
    assert not result.settled
    assert result.trials == 100_000


def test_mistakes_are_named():
    inputs = independent_quantities([1.0], [0.1])
    with pytest.raises(InputError, match="shape"):
        monte_carlo(lambda x: 1.0, inputs.sample, seed=1, trials=100)
    with pytest.raises(RangeError, match="trials"):
        coverage_interval(np.arange(10.0), 0.99)
    result = monte_carlo(lambda x: x[0], inputs.sample, seed=1, trials=10_000)
    with pytest.raises(InputError, match="probabilities"):
        gum_validation(propagation(lambda x: x[0], inputs).expanded(0.9), result)
