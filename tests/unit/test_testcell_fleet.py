"""Figures over all visits, against statsmodels and numpy."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from spoolwright.crafts.testcell.visit.fleet import Decision, Stay, first_pass, share, stage_times, stays
from spoolwright.crafts.visit.model import Stage

T0 = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize(("k", "n"), [(0, 7), (7, 7), (1, 1), (18, 23), (250, 1000)])
def test_the_interval_of_a_share_is_the_exact_binomial_one(k: int, n: int) -> None:
    """statsmodels proportion_confint, method 'beta' (Clopper and Pearson)."""
    low, high = proportion_confint(k, n, alpha=0.05, method="beta")
    found = share("x", k, n)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9)


def test_no_decision_tells_nothing() -> None:
    passed, causes = first_pass([])
    assert (passed.low, passed.high, causes) == (0.0, 1.0, [])


def test_causes_are_counted_in_the_shops_own_words_whatever_their_case() -> None:
    decisions = [
        Decision("1", True),
        Decision("2", False, "Short of power"),
        Decision("3", False, "short  of power"),
        Decision("4", False, "vibration"),
    ]
    passed, causes = first_pass(decisions)
    assert (passed.k, passed.n) == (1, 4)
    assert [(c.name, c.k, c.n) for c in causes] == [("short of power", 2, 4), ("vibration", 1, 4)]


def test_a_visits_moves_add_up_to_its_whole_time() -> None:
    moves = [
        (T0 + timedelta(days=d), s) for d, s in ((2, Stage.TEARDOWN), (5, Stage.BUILD), (5.5, Stage.BUILD))
    ]
    found = stays("V", T0, moves, T0 + timedelta(days=9))
    assert [(s.stage, s.days, s.ended) for s in found] == [
        (Stage.RECEIVING, 2.0, True),
        (Stage.TEARDOWN, 3.0, True),
        (Stage.BUILD, 4.0, False),
    ]
    assert sum(s.days for s in found) == pytest.approx(9.0)


def test_times_are_those_of_numpy() -> None:
    rng = np.random.default_rng(0)
    days = rng.gamma(2.0, 3.0, 31)
    (found,) = stage_times([Stay(str(i), Stage.TEST, d, True) for i, d in enumerate(days)])
    low, median, high = np.quantile(days, [0.1, 0.5, 0.9])
    assert (found.low, found.median, found.high) == pytest.approx((low, median, high), rel=1e-12)


def test_engines_that_have_left_are_in_no_stage() -> None:
    assert stage_times([Stay("1", Stage.SHIPPED, 400.0, False), Stay("2", Stage.INSTALLED, 9.0, True)]) == []


def test_few_stays_tell_no_spread() -> None:
    found = stage_times([Stay("1", Stage.TEST, 3.0, True), Stay("2", Stage.TEST, 8.0, False)])
    assert (found[0].low, found[0].high, found[0].median, found[0].here) == (None, None, 3.0, 1)
    assert found[0].longest is not None and found[0].longest.visit == "2"
