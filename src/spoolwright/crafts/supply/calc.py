"""Arithmetic of supply: shelf life, lead times, what is short."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from math import ceil
from typing import Any


def shelf_life_end(made_on: date | None, life: int | None, printed: date | None) -> date | None:
    """The last day on which something with a shelf life may be built in.

    Parameters
    ----------
    made_on : date or None
        Cure, filling or making date [-]
    life : int or None
        Shelf life from that date, None where the bill of material gives none [d]
    printed : date or None
        Use-by date printed on the pack [-]

    Returns
    -------
    date or None
        The earlier of both ends, None where neither can be told [-]

    Examples
    --------
    >>> shelf_life_end(date(2025, 1, 1), 365, date(2026, 6, 30))
    datetime.date(2026, 1, 1)
    """
    ends = [made_on + timedelta(days=life)] if made_on and life else []
    ends += [printed] if printed else []
    return min(ends, default=None)


def lead_time_bound(lead_times: Sequence[int], share: float = 0.8, waited: int = 0) -> int | None:
    """The lead time that the next delivery keeps with at least a given probability.

    Parameters
    ----------
    lead_times : sequence of int
        Days from order to arrival of earlier deliveries, shape (n,) [d]
    share : float
        The probability wanted, above 0 and below 1 [-]
    waited : int
        Days this order has already taken; shorter deliveries say nothing about it [d]

    Returns
    -------
    int or None
        The bound, None where too few deliveries are known for one [d]

    Notes
    -----
    No distribution is assumed: the next of n + 1 exchangeable deliveries is at most the k-th smallest of the
    n with probability at least k / (n + 1); k = ceil(share (n + 1)) must not exceed n. For 0.8, n >= 4.

    References
    ----------
    H. A. David and H. N. Nagaraja, Order Statistics, 3rd ed. (2003), chapter 3 (the mean of the k-th smallest
    of n uniform values is k / (n + 1)).

    Examples
    --------
    >>> lead_time_bound([10, 12, 15, 30])
    30
    >>> lead_time_bound([10, 12, 15]) is None
    True
    """
    longer = sorted(t for t in lead_times if t > waited)
    rank = ceil(round(share * (len(longer) + 1), 9))
    return longer[rank - 1] if 0 < rank <= len(longer) else None


def least_deliveries(share: float = 0.8) -> int:
    """How many deliveries a lead time bound needs.

    Parameters
    ----------
    share : float
        The probability wanted, above 0 and below 1 [-]

    Returns
    -------
    int
        The smallest n with ceil(share (n + 1)) <= n [-]

    Examples
    --------
    >>> least_deliveries(0.8)
    4
    """
    return ceil(round(share / (1 - share), 9))


def day_by_which_enough_came(arrivals: Iterable[tuple[date, int]], wanted: int) -> date | None:
    """The day on which orders have brought as many as are wanted.

    Parameters
    ----------
    arrivals : iterable of (date, int)
        Day and quantity of each arrival [-]
    wanted : int
        How many are wanted [-]

    Returns
    -------
    date or None
        The day, None where all together bring too few [-]

    Examples
    --------
    >>> day_by_which_enough_came([(date(2026, 5, 9), 2), (date(2026, 5, 1), 1)], 2)
    datetime.date(2026, 5, 9)
    """
    came = 0
    for day, quantity in sorted(arrivals):
        came += quantity
        if came >= wanted:
            return day
    return None


def kit_completeness(needed: Mapping[str, int], kitted: Mapping[str, int]) -> dict[str, Any]:
    """What a kit is short of, or holds too much of.

    Parameters
    ----------
    needed : mapping of str to int
        Quantity by part [-]
    kitted : mapping of str to int
        Quantity by part [-]

    Returns
    -------
    dict
        `short` and `over`, each quantity by part, and `complete` [-]

    Examples
    --------
    >>> kit_completeness({"igniter": 2}, {"igniter": 1})
    {'short': {'igniter': 1}, 'over': {}, 'complete': False}
    """
    parts = sorted(set(needed) | set(kitted))
    left = {p: needed.get(p, 0) - kitted.get(p, 0) for p in parts}
    short = {p: n for p, n in left.items() if n > 0}
    over = {p: -n for p, n in left.items() if n < 0}
    return {"short": short, "over": over, "complete": not short and not over}
