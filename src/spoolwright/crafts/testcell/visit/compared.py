"""The forecast of a run beside what the run showed, margin by margin, in standard deviations of both."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.crafts.testcell.forecast.model import Forecast, LimitForecast
from spoolwright.crafts.testcell.model import Assessment, Figure, Verdict

_NINETY = 1.6448536269514722
"""Half width of a 90 % interval of a normal distribution, in standard deviations."""


@dataclass(frozen=True)
class ForecastAgainst:
    """One margin as it was forecast and as it was measured.

    `apart` is measured less forecast over the standard deviation of both together.
    """

    limit: str
    name: str
    rating: str
    forecast: Figure
    low: Figure
    high: Figure
    measured: Figure
    apart: float
    run: str
    verdict: str


def forecast_against(forecast: Forecast, assessment: Assessment) -> list[ForecastAgainst]:
    """Every forecast margin that the runs have shown; the newest run shows it where several do."""
    found = []
    for x in forecast.limits:
        verdict = _shown(x.limit, assessment.verdicts)
        if verdict is not None and verdict.margin is not None:
            found.append(_against(x, verdict, verdict.margin))
    return found


def _shown(limit: str, verdicts: Sequence[Verdict]) -> Verdict | None:
    own = [v for v in verdicts if v.limit == limit and v.margin is not None]
    return own[-1] if own else None


def _against(x: LimitForecast, verdict: Verdict, measured: Figure) -> ForecastAgainst:
    spread = (x.margin.high.value - x.margin.low.value) / (2.0 * _NINETY)
    both = math.hypot(spread, measured.standard_uncertainty or 0.0)
    difference = measured.value - x.margin.mean.value
    return ForecastAgainst(
        limit=x.limit,
        name=x.name,
        rating=x.rating,
        forecast=x.margin.mean,
        low=x.margin.low,
        high=x.margin.high,
        measured=measured,
        apart=difference / both if both > 0.0 else math.copysign(math.inf, difference),
        run=verdict.run or "",
        verdict=verdict.id,
    )
