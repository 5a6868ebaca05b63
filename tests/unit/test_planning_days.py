"""Days of a scope and the chance to pass, against closed forms and scipy's distributions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from spoolwright.core.planning.days import Duration, Task, draw, scope_days
from spoolwright.core.planning.passing import joint_passing, shared_part
from spoolwright.errors import RangeError

DRAWS = 40_000


def test_one_wait_has_its_stated_quantiles() -> None:
    """P50 and P80 of a lognormal are what was entered; standard error of a quantile by its density."""
    drawn = draw([Task(Duration(0.0, 0.0), Duration(20.0, 35.0))], draws=DRAWS)
    days = scope_days(drawn, [0], 8.0)
    law = stats.lognorm(s=math.log(35.0 / 20.0) / stats.norm.ppf(0.8), scale=20.0)
    for share, told in ((0.5, 20.0), (0.8, 35.0)):
        assert law.ppf(share) == pytest.approx(told)
        error = math.sqrt(share * (1 - share) / DRAWS) / law.pdf(told)
        assert abs(np.quantile(days, share) - told) < 4.0 * error


def test_longest_wait_against_the_product_of_distributions() -> None:
    """P(max <= t) of independent waits is the product of each one's distribution."""
    waits = [Duration(10.0, 16.0), Duration(12.0, 14.0), Duration(5.0, 20.0)]
    drawn = draw([Task(Duration(0.0, 0.0), w) for w in waits], draws=DRAWS, seed=3)
    days = scope_days(drawn, [0, 1, 2], 8.0)
    for t in (10.0, 14.0, 22.0):
        p = math.prod(
            float(stats.lognorm.cdf(t, s=math.log(w.slow / w.usual) / stats.norm.ppf(0.8), scale=w.usual))
            for w in waits
        )
        assert abs(np.mean(days <= t) - p) < 4.0 * math.sqrt(p * (1 - p) / DRAWS)


def test_hours_add_and_a_day_holds_so_many() -> None:
    tasks = [Task(Duration(10.0, 10.0), Duration(0.0, 0.0)), Task(Duration(6.0, 6.0), Duration(3.0, 3.0))]
    drawn = draw(tasks, draws=10)
    assert scope_days(drawn, [0, 1], 8.0) == pytest.approx(np.full(10, 5.0))
    assert scope_days(drawn, [], 8.0) == pytest.approx(np.zeros(10))


def test_scrap_adds_the_wait_for_a_new_part() -> None:
    task = Task(Duration(0.0, 0.0), Duration(4.0, 4.0), 0.25, Duration(30.0, 30.0))
    days = scope_days(draw([task], draws=DRAWS), [0], 8.0)
    assert set(np.unique(days)) == {4.0, 34.0}
    assert abs(np.mean(days > 4.0) - 0.25) < 4.0 * math.sqrt(0.25 * 0.75 / DRAWS)


def test_a_slow_duration_is_not_shorter() -> None:
    with pytest.raises(RangeError, match="shorter"):
        draw([Task(Duration(5.0, 4.0), Duration(0.0, 0.0))])


@pytest.mark.parametrize("shared", [0.0, 0.3, 0.7])
def test_joint_passing_against_scipys_multivariate_normal(shared: float) -> None:
    margins = np.array([0.4, 1.2, 2.0, -0.2])
    covariance = np.full((4, 4), shared) + (1.0 - shared) * np.eye(4)
    truth = stats.multivariate_normal(cov=covariance).cdf(margins)
    assert joint_passing(margins, shared) == pytest.approx(
        truth, abs=2e-4
    )  # scipy's own error is 1e-5 to 1e-4


def test_shared_part_gives_the_joint_probability_back() -> None:
    margins = np.array([0.5, 1.0, 1.5])
    assert shared_part(margins, joint_passing(margins, 0.42)) == pytest.approx(0.42, abs=1e-8)
    assert shared_part(margins, 0.0) == 0.0
    assert shared_part(margins, 1.0) == 0.95
