"""Crossings and times beyond a level against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from planted_run import coloured

from spoolwright.core.reduction.crossing import first_crossing, time_beyond


@pytest.mark.parametrize("rising", [True, False])
@pytest.mark.parametrize("rate", [1.0, 20.0, 100.0])
def test_a_ramp_crosses_where_its_line_does(rising: bool, rate: float) -> None:
    t = np.arange(0.0, 30.0, 1.0 / rate) + 0.0123
    sign = 1.0 if rising else -1.0
    c = first_crossing(t, sign * 70.0 * (t - 17.3), 0.0, rising=rising)
    assert c is not None
    assert c.time == pytest.approx(17.3, abs=1e-9)
    assert c.slope == pytest.approx(sign * 70.0)
    assert c.uncertainty == pytest.approx(1.0 / rate / math.sqrt(12.0))  # rectangular, width of one interval


def test_a_first_order_lag_reaches_its_share_when_the_exponential_does() -> None:
    tau, begin = 1.4, 5.02
    t = np.arange(0.0, 30.0, 0.05)
    x = 1.0 - np.exp(-np.maximum(t - begin, 0.0) / tau)
    c = first_crossing(t, x, 0.95)
    assert c is not None
    # 1 - exp(-t/tau) = 0.95; straight lines between rows err by h^2/8 x''/x' = h^2/(8 tau) at most.
    assert c.time == pytest.approx(begin + tau * math.log(20.0), abs=0.05**2 / (8.0 * tau) + 1e-12)


@pytest.mark.parametrize(("keep", "slope"), [(0.0, 20.0), (0.0, 200.0), (0.97, 20.0), (0.97, 200.0)])
def test_noise_neither_hastens_nor_delays_a_crossing_and_the_interval_covers(
    keep: float, slope: float
) -> None:
    rng = np.random.default_rng(4)
    errors, covered = [], 0
    for seed in range(400):
        t = np.arange(0.0, 20.0, 0.05) + rng.uniform(0.0, 0.05)
        c = first_crossing(t, slope * (t - 10.0) + coloured(t.size, 6.0, keep, seed), 0.0, noise=6.0)
        assert c is not None
        errors.append(c.time - 10.0)
        covered += abs(errors[-1]) <= 1.96 * c.uncertainty
    bias, spread = np.mean(errors), np.std(errors) / math.sqrt(len(errors))
    assert abs(bias) < 3.5 * spread
    assert covered >= 366  # 95 % of 400 less three binomial standard deviations


def test_a_systematic_error_shifts_the_moment_by_its_size_over_the_slope() -> None:
    t = np.arange(0.0, 20.0, 0.05)
    c = first_crossing(t, 3.0 * t, 30.01, level_uncertainty=1.2)
    assert c is not None
    assert c.uncertainty == pytest.approx(math.hypot(1.2 / 3.0, 0.05 / math.sqrt(12.0)), rel=1e-6)


def test_a_spike_has_not_crossed() -> None:
    t = np.arange(0.0, 20.0, 0.05)
    x = np.where(t > 12.0, 100.0 * (t - 12.0), 0.0)
    x[100] = 500.0
    c = first_crossing(t, x, 50.0, noise=0.5, lasting=0.3)
    assert c is not None
    assert c.time == pytest.approx(12.5, abs=0.03)


def test_no_crossing_where_the_reading_begins_beyond_or_never_arrives() -> None:
    t = np.arange(10.0)
    assert first_crossing(t, t + 5.0, 3.0) is None
    assert first_crossing(t, t, 100.0) is None
    assert first_crossing(t, np.full(10, np.nan), 1.0) is None


def test_time_above_a_triangle_and_its_sensitivity_to_the_level() -> None:
    t = np.arange(0.0, 60.0, 0.05)
    x = 100.0 - 10.0 * np.abs(t - 30.0)  # above L for (100 - L)/5 s
    result = time_beyond(t, x, 80.02, uncertainty=2.0)
    assert result.total == pytest.approx((100.0 - 80.02) / 5.0, abs=1e-9)
    assert result.longest == pytest.approx(result.total)
    # dT/dL = -1/5 s per unit: 0.4 s; and two crossings of a rectangular interval of 0.05 s.
    assert result.uncertainty == pytest.approx(math.hypot(0.4, 0.05 * math.sqrt(2.0 / 12.0)), rel=1e-6)


def test_time_below_two_dips_in_all_and_in_one_go() -> None:
    t = np.arange(0.0, 100.0, 0.1)
    x = np.minimum(np.abs(t - 20.0), np.abs(t - 70.0) / 2.0)
    result = time_beyond(t, x, 2.0, above=False)
    assert result.total == pytest.approx(4.0 + 8.0, abs=1e-6)
    assert result.longest == pytest.approx(8.0, abs=1e-6)


def test_a_short_return_does_not_end_a_go() -> None:
    t = np.arange(0.0, 20.0, 0.1)
    x = np.where((t >= 5.0) & (t <= 15.0), 10.0, 0.0)
    x[100] = 0.0
    assert time_beyond(t, x, 5.0).longest > 9.5
    assert time_beyond(t, x, 5.0, pause=0.0).longest < 6.0


def test_a_silence_between_two_rows_beyond_counts_as_beyond() -> None:
    t = np.concatenate([np.arange(0.0, 5.0, 0.1), np.arange(9.0, 12.0, 0.1)])
    assert time_beyond(t, np.full(t.size, 7.0), 5.0).total == pytest.approx(t[-1] - t[0])
