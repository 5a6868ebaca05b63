"""Lives, survival, spares, replacement and growth against published examples and general libraries."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy import stats

from spoolwright.core.reliability.growth import growth
from spoolwright.core.reliability.replacement import age_replacement, minimal_repair_replacement
from spoolwright.core.reliability.spares import expected_backorders, fill_rate, stock_for_service
from spoolwright.core.reliability.survival import competing_fits, product_limit
from spoolwright.core.reliability.weibull import LifeData, WeibullFit, weibayes_scale, weibull_fit
from spoolwright.errors import RangeError

SETS = 20
"""Random censored sets here; `make prove ONLY=weibull` runs 200."""


def random_set(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Weibull lives with random suspensions; at least three failures."""
    while True:
        n = int(rng.integers(6, 80))
        shape, scale = rng.uniform(0.6, 5.0), 10 ** rng.uniform(1.5, 4.0)
        lives = scale * rng.weibull(shape, n)
        ends = scale * rng.uniform(0.2, 2.0) * rng.weibull(2.0, n)
        failed = lives <= ends
        if failed.sum() >= 3:
            return lives[failed], ends[~failed]


def test_nist_example_of_a_censored_weibull_fit() -> None:
    """NIST/SEMATECH e-Handbook 8.4.1.2: 20 units, test stopped at 500 h; shape 1.7208, scale 606.5280."""
    fit = weibull_fit(LifeData.of([54, 187, 216, 240, 244, 335, 361, 373, 375, 386], [500.0] * 10))
    assert round(fit.shape, 4) == 1.7208
    assert round(fit.scale, 3) == 606.528  # the handbook's last zero is its optimiser's: 606.5276 is likelier


FANS = [450, 1150, 1150, 1600, 2070, 2070, 2080, 3100, 3450, 4600, 6100, 8750]
FANS_WHOLE = {
    460: 1, 1560: 1, 1660: 1, 1850: 5, 2030: 3, 2200: 1, 3000: 4, 3200: 1, 3750: 2, 4150: 4, 4300: 4,
    4850: 4, 5000: 3, 6100: 3, 6300: 1, 6450: 2, 6700: 1, 7450: 1, 7800: 2, 8100: 2, 8200: 1, 8500: 3,
    8750: 2, 9400: 1, 9900: 1, 10100: 3, 11500: 1,
}  # fmt: skip


def test_nelsons_fans_against_scipys_censored_fit() -> None:
    """W. Nelson, Applied Life Data Analysis (1982), table of 70 diesel fans; oracle: scipy's censored fit."""
    whole = np.repeat(list(FANS_WHOLE), list(FANS_WHOLE.values())).astype(float)
    assert whole.size + len(FANS) == 70
    fit = weibull_fit(LifeData.of(FANS, whole))
    data = stats.CensoredData(uncensored=FANS, right=whole)
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    assert fit.shape == pytest.approx(shape, rel=1e-4)
    assert fit.scale == pytest.approx(scale, rel=1e-4)


def test_random_censored_sets_against_a_general_library() -> None:
    """Oracle: `reliability`, Fit_Weibull_2P and KaplanMeier; 4 digits, and a likelihood no worse."""
    from reliability.Fitters import Fit_Weibull_2P

    rng = np.random.default_rng(941)
    for _ in range(SETS):
        failures, suspensions = random_set(rng)
        fit = weibull_fit(LifeData.of(failures, suspensions))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            other = Fit_Weibull_2P(
                failures=failures, right_censored=suspensions if suspensions.size else None,
                show_probability_plot=False, print_results=False,
            )  # fmt: skip
        assert fit.shape == pytest.approx(other.beta, rel=1e-4)
        assert fit.scale == pytest.approx(other.alpha, rel=1e-4)
        assert fit.log_likelihood >= other.loglik - 1e-9 * abs(other.loglik)


def test_random_product_limits_against_a_general_library() -> None:
    """Oracle: `lifelines`, KaplanMeierFitter with its log(-log S) interval."""
    from lifelines import KaplanMeierFitter

    rng = np.random.default_rng(942)
    for _ in range(SETS):
        failures, suspensions = (np.round(x, 0) + 1.0 for x in random_set(rng))  # rounded: ties
        mine = product_limit(failures, suspensions)
        fitter = KaplanMeierFitter().fit(
            np.concatenate([failures, suspensions]),
            np.concatenate([np.ones(failures.size), np.zeros(suspensions.size)]),
        )
        theirs = fitter.survival_function_.loc[mine.ages].to_numpy()[:, 0]
        assert mine.survival == pytest.approx(theirs, abs=1e-12)
        low, high = mine.interval()
        band = fitter.confidence_interval_.loc[mine.ages].to_numpy()
        inner = (mine.survival > 0.0) & (mine.survival < 1.0)
        assert low[inner] == pytest.approx(band[inner, 0], abs=1e-9)
        assert high[inner] == pytest.approx(band[inner, 1], abs=1e-9)


def test_brackets_against_scipys_interval_censoring() -> None:
    rng = np.random.default_rng(943)
    lives = 800.0 * rng.weibull(2.2, 60)
    low = np.floor(lives / 150.0) * 150.0
    fit = weibull_fit(LifeData.of([], [], np.column_stack([low, low + 150.0])))
    data = stats.CensoredData(interval=np.column_stack([low, low + 150.0]))
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    assert fit.shape == pytest.approx(shape, rel=2e-4)
    assert fit.scale == pytest.approx(scale, rel=2e-4)


def test_narrow_brackets_tend_to_exact_failures() -> None:
    ages = np.array([120.0, 240.0, 310.0, 470.0, 520.0])
    exact = weibull_fit(LifeData.of(ages, [600.0]))
    near = weibull_fit(LifeData.of([], [600.0], np.column_stack([ages - 1e-3, ages + 1e-3])))
    assert near.shape == pytest.approx(exact.shape, rel=1e-6)
    assert near.scale == pytest.approx(exact.scale, rel=1e-6)


def test_stated_intervals_hold() -> None:
    """90 % intervals of the B10 life on 400 simulated sets; binomial 99.9 % band of 400 trials."""
    rng, held = np.random.default_rng(944), 0
    truth = WeibullFit(2.5, 1000.0, 0.0, np.zeros((2, 2)))
    for _ in range(400):
        lives = 1000.0 * rng.weibull(2.5, 80)
        fit = weibull_fit(LifeData.of(lives[lives < 900.0], np.full((lives >= 900.0).sum(), 900.0)))
        low, high = fit.life_interval(0.1)
        held += low <= truth.life(0.1) <= high
    assert stats.binom.ppf(0.0005, 400, 0.9) <= held <= stats.binom.ppf(0.9995, 400, 0.9)


def test_shape_known_from_experience_with_no_failure() -> None:
    """Closed form: (sum t^shape / 1)^(1/shape) for five items of 1,000 h and shape 3."""
    assert weibayes_scale(np.full(5, 1000.0), 3.0, 0) == pytest.approx(1000.0 * 5 ** (1 / 3))


def test_too_little_to_tell_a_shape() -> None:
    with pytest.raises(RangeError, match="1 item"):
        weibull_fit(LifeData.of([100.0], [200.0]))
    with pytest.raises(RangeError, match="age"):
        weibull_fit(LifeData.of([100.0, 100.0], [200.0]))
    with pytest.raises(RangeError, match="above zero"):
        LifeData.of([0.0, 3.0])


def test_competing_causes_multiply() -> None:
    """A failure of the other cause is a suspension: each fit equals scipy's on the data so split."""
    a, b, whole = np.array([300.0, 500, 800]), np.array([450.0, 900]), np.full(3, 1000.0)
    fits = competing_fits({"a": a, "b": b}, whole)
    for own, other, name in ((a, b, "a"), (b, a, "b")):
        data = stats.CensoredData(uncensored=own, right=np.concatenate([whole, other]))
        shape, _, scale = stats.weibull_min.fit(data, floc=0)
        assert (fits[name].shape, fits[name].scale) == pytest.approx((shape, scale), rel=1e-3)


@pytest.mark.parametrize("mean", [0.3, 1.0, 2.0, 4.0, 11.5])
def test_spares_against_the_poisson_distribution(mean: float) -> None:
    """Oracle: scipy.stats.poisson; Feeney & Sherbrooke 1966 give the sums in this form."""
    x = np.arange(400)
    p = stats.poisson.pmf(x, mean)
    for stock in range(8):
        assert expected_backorders(mean, stock) == pytest.approx(
            np.sum(np.maximum(x - stock, 0) * p), abs=1e-12
        )
        assert fill_rate(mean, stock) == pytest.approx(stats.poisson.cdf(stock - 1, mean), abs=1e-12)
    for service in (0.9, 0.95, 0.99):
        assert stock_for_service(mean, service) == stats.poisson.ppf(service, mean)


@pytest.mark.parametrize(("shape", "failed"), [(3.0, 5.0), (2.0, 5.0), (2.5, 10.0), (3.0, 10.0), (1.3, 40.0)])
def test_age_replacement_against_a_search_over_the_integral(shape: float, failed: float) -> None:
    """Barlow & Hunter 1960: [planned R + failed F] / integral of R, here by quadrature and plain search."""
    from scipy.integrate import quad
    from scipy.optimize import minimize_scalar

    def cost(t: float) -> float:
        survive = np.exp(-((t / 1000.0) ** shape))
        life = quad(lambda u: np.exp(-((u / 1000.0) ** shape)), 0.0, t, epsabs=1e-12, limit=200)[0]
        return (survive + failed * (1.0 - survive)) / life

    found = minimize_scalar(cost, bounds=(20.0, 5000.0), method="bounded", options={"xatol": 1e-6})
    best = age_replacement(shape, 1000.0, 1.0, failed)
    assert best.cost_rate == pytest.approx(found.fun, rel=1e-9)
    assert best.age == pytest.approx(found.x, rel=1e-4)
    assert best.cost_rate < best.run_to_failure


def test_no_wear_out_is_never_replaced_early() -> None:
    assert age_replacement(0.9, 1000.0, 1.0, 50.0).age == np.inf


def test_minimal_repair_closed_form() -> None:
    """Barlow & Hunter 1960, policy II: t* = scale [C_r / (C_m (shape - 1))]^(1/shape)."""
    assert minimal_repair_replacement(2.0, 1000.0, 5.0, 1.0).age == pytest.approx(1000.0 * np.sqrt(5.0))


def test_handbook_example_of_growth() -> None:
    """MIL-HDBK-189 example of 27 events in 300 h; the handbook prints .716, .454 and 15.5 h."""
    events = np.array(
        [2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1,
         132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1]
    )  # fmt: skip
    found = growth(events, 300.0)
    assert round(found.exponent, 3) == 0.716
    assert round(found.rate, 3) == 0.454
    assert round(1.0 / found.intensity, 1) == 15.5
