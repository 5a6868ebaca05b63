"""Spares on the shelf: what is back-ordered, how often a demand is met, how many a service level needs."""

from __future__ import annotations

import math

from spoolwright.errors import RangeError


def expected_backorders(pipeline: float, stock: int) -> float:
    """Mean number of demands that wait, when each demand orders one new part at once.

    Parameters
    ----------
    pipeline : float
        Demand rate times lead time: parts on order on average [-].
    stock : int
        Parts the shop keeps, on the shelf or on order [-].

    Returns
    -------
    float
        Mean back-orders [-].

    Notes
    -----
    Poisson demand, lead times independent of each other (Palm's theorem). The sum over the shelf is finite:
    mean minus stock plus the mean of what lies on the shelf.

    References
    ----------
    G. J. Feeney, C. C. Sherbrooke, Management Science 12 (1966) 391-411.

    Examples
    --------
    >>> round(expected_backorders(2.0, 3), 6)
    0.218018
    """
    _check(pipeline, stock)
    on_shelf = sum((stock - x) * _poisson(x, pipeline) for x in range(stock))
    return pipeline - stock + on_shelf


def fill_rate(pipeline: float, stock: int) -> float:
    """Share of demands met from the shelf.

    Parameters
    ----------
    pipeline : float
        Demand rate times lead time [-].
    stock : int
        Parts the shop keeps [-].

    Returns
    -------
    float
        Probability that fewer than `stock` parts are on order [-].

    Examples
    --------
    >>> round(fill_rate(4.0, 3), 6)
    0.238103
    """
    _check(pipeline, stock)
    return sum(_poisson(x, pipeline) for x in range(stock))


def stock_for_service(pipeline: float, service: float) -> int:
    """Smallest stock with which the demand of one lead time is covered with a probability.

    Parameters
    ----------
    pipeline : float
        Demand rate times lead time [-].
    service : float
        Probability that the lead time's demand is not above the stock, below 1 [-].

    Returns
    -------
    int
        Parts to keep [-].

    Examples
    --------
    >>> [stock_for_service(3.6, p) for p in (0.90, 0.95, 0.99)]
    [6, 7, 9]
    """
    _check(pipeline, 0)
    if not 0.0 < service < 1.0:
        raise RangeError(f"a service level of {service} is not between 0 and 1.", mend="Give 0.95 for 95 %.")
    stock, covered = 0, _poisson(0, pipeline)
    while covered < service:
        stock += 1
        covered += _poisson(stock, pipeline)
    return stock


def _poisson(count: int, mean: float) -> float:
    return (
        math.exp(count * math.log(mean) - mean - math.lgamma(count + 1)) if mean > 0.0 else float(count == 0)
    )


def _check(pipeline: float, stock: int) -> None:
    if not (math.isfinite(pipeline) and pipeline >= 0.0) or stock < 0:
        raise RangeError(f"pipeline {pipeline} and stock {stock} must not be below zero.")
