"""Forecast against measured: what is apart, in standard deviations of both."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any, cast

import pytest

from spoolwright.crafts.testcell.model import Figure
from spoolwright.crafts.testcell.visit.compared import forecast_against


def figure(value: float, u: float | None = None) -> Figure:
    return Figure(
        value=value,
        unit="W",
        shown_in="kW",
        dimension="power",
        standard_uncertainty=u,
        how="d",
        difference=True,
    )


def forecast(low: float, mean: float, high: float) -> Any:
    margin = SimpleNamespace(mean=figure(mean), low=figure(low), high=figure(high))
    limit = SimpleNamespace(limit="power_take_off", name="Power", rating="take_off", margin=margin)
    return cast(Any, SimpleNamespace(limits=(limit,)))


def assessment(*margins: tuple[str, Figure | None]) -> Any:
    verdicts = [
        SimpleNamespace(limit=limit, margin=m, run=str(i), id=f"v{i}") for i, (limit, m) in enumerate(margins)
    ]
    return cast(Any, SimpleNamespace(verdicts=tuple(verdicts)))


def test_apart_is_measured_less_forecast_over_both_together() -> None:
    """By hand: the 90 % interval is 2 * 1.644854 standard deviations wide (normal distribution)."""
    half = 1.6448536269514722 * 3000.0
    (found,) = forecast_against(
        forecast(10_000 - half, 10_000, 10_000 + half),
        assessment(("power_take_off", figure(20_000, 4000.0))),
    )
    assert found.apart == pytest.approx(10_000 / 5000.0, rel=1e-12)


def test_the_newest_run_that_shows_a_margin_is_taken_and_one_without_is_passed_over() -> None:
    told = assessment(
        ("power_take_off", figure(1.0, 1.0)),
        ("power_take_off", figure(2.0, 1.0)),
        ("power_take_off", None),
        ("other", figure(9.0, 1.0)),
    )
    (found,) = forecast_against(forecast(-1.0, 0.0, 1.0), told)
    assert (found.measured.value, found.run) == (2.0, "1")
    assert forecast_against(forecast(-1.0, 0.0, 1.0), assessment(("other", figure(9.0)))) == []


def test_without_any_spread_a_difference_is_without_bounds() -> None:
    (found,) = forecast_against(forecast(0.0, 0.0, 0.0), assessment(("power_take_off", figure(-2.0))))
    assert found.apart == -math.inf
