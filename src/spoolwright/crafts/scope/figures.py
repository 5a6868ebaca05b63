"""The shop's own figures: lives, shares, hours of tasks, demand for spares, growth of rejects."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from spoolwright.core.reliability.growth import growth
from spoolwright.core.reliability.shares import BinomialShare
from spoolwright.core.reliability.spares import fill_rate, stock_for_service
from spoolwright.core.reliability.survival import ProductLimit, competing_fits, product_limit
from spoolwright.core.reliability.weibull import LifeData, WeibullFit, weibull_fit
from spoolwright.errors import RangeError

Ended = Literal["failed", "suspended", "between"]
ENDS: tuple[Ended, ...] = ("failed", "suspended", "between")


@dataclass(frozen=True)
class Life:
    """A part's life as far as it is known; `between`: good at `good_at`, found failed at `hours`."""

    part: str
    hours: float
    ended: Ended
    cause: str = ""
    good_at: float = 0.0


@dataclass(frozen=True)
class LivesFigure:
    """What the lives of a kind of part say; `told` where no distribution can be told."""

    part: str
    lives: tuple[Life, ...]
    fit: WeibullFit | None
    told: str
    curve: ProductLimit | None
    causes: dict[str, WeibullFit]

    @property
    def failed(self) -> int:
        return sum(x.ended != "suspended" for x in self.lives)

    @property
    def suspended(self) -> int:
        return sum(x.ended == "suspended" for x in self.lives)

    @property
    def mean_life(self) -> float | None:
        """Mean of the fitted distribution [h]."""
        return None if self.fit is None else self.fit.scale * math.gamma(1.0 + 1.0 / self.fit.shape)


@dataclass(frozen=True)
class Demand:
    """Spares of a kind of part: expected in a lead time, and the stock for a service level."""

    part: str
    in_lead_time: float
    stock: int
    fill: float


@dataclass(frozen=True)
class TaskHours:
    """Hours that a card took, over its finished runs."""

    card: str
    title: str
    hours: tuple[float, ...]

    @property
    def median(self) -> float:
        return float(np.median(self.hours))

    @property
    def slow(self) -> float:
        """Four of five took less."""
        return float(np.quantile(self.hours, 0.8))


@dataclass(frozen=True)
class Rate:
    """A share with its name: findings by inspections, scrap by findings."""

    name: str
    share: BinomialShare


@dataclass(frozen=True)
class Trend:
    """Whether rejects grow rarer: exponent below one; with its exact 95 % interval."""

    exponent: float
    low: float
    high: float
    one_in: float
    rejected: int
    runs: int

    @property
    def sure(self) -> bool:
        return not self.low <= 1.0 <= self.high


def reject_trend(rejected: Sequence[int], runs: int) -> Trend | None:
    """The trend over runs in their order, from the numbers of those rejected; None below two.

    Twice the count times true over estimated exponent is chi-squared with twice the count degrees of freedom
    (MIL-HDBK-189, time-terminated).
    """
    if len(rejected) < 2:
        return None
    from scipy.stats import chi2

    found = growth(np.array(rejected, dtype=float), runs + 0.5)
    n = len(rejected)
    low, high = (found.exponent * float(chi2.ppf(p, 2 * n)) / (2 * n) for p in (0.025, 0.975))
    return Trend(found.exponent, low, high, 1.0 / found.intensity, n, runs)


def lives_figures(lives: Sequence[Life]) -> list[LivesFigure]:
    """Each kind of part by itself, in alphabetical order."""
    return [_figure(part, [x for x in lives if x.part == part]) for part in sorted({x.part for x in lives})]


def _figure(part: str, lives: list[Life]) -> LivesFigure:
    failed = [x.hours for x in lives if x.ended == "failed"]
    whole = [x.hours for x in lives if x.ended == "suspended"]
    brackets = [[x.good_at, x.hours] for x in lives if x.ended == "between"]
    fit, told = None, ""
    try:
        fit = weibull_fit(LifeData.of(failed, whole, brackets))
    except RangeError as error:
        told = error.what
    curve = None
    if failed and not brackets:
        curve = product_limit(np.array(failed), np.array(whole))
    return LivesFigure(part, tuple(lives), fit, told, curve, _causes(lives))


def _causes(lives: list[Life]) -> dict[str, WeibullFit]:
    """A distribution for each cause, where there are two or more and each can be told."""
    causes = sorted({x.cause for x in lives if x.ended == "failed"})
    if len(causes) < 2 or any(x.ended == "between" for x in lives):
        return {}
    by = {c: np.array([x.hours for x in lives if x.ended == "failed" and x.cause == c]) for c in causes}
    whole = np.array([x.hours for x in lives if x.ended == "suspended"])
    try:
        return competing_fits(by, whole)
    except RangeError:
        return {}


def demand_of(figure: LivesFigure, hours_a_month: float, lead_days: float, service: float) -> Demand | None:
    """Spares for a fleet that flies so many hours in a month; None where no life is known.

    Failures arrive at one over the mean life: right for a fleet of mixed ages.
    """
    if figure.mean_life is None:
        return None
    expected = hours_a_month * lead_days * 12.0 / 365.25 / figure.mean_life
    stock = stock_for_service(expected, service)
    return Demand(figure.part, expected, stock, fill_rate(expected, stock))
