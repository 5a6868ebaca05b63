"""What cycles use up: exchange rates of partial cycles, and sums of damage."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.life.rainflow import Cycles
from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]


def exchange_rate(low: FloatArray, high: FloatArray, slope: float) -> FloatArray:
    """Full cycles that a cycle of speed is worth, for a part whose stress goes with the square of speed.

    Parameters
    ----------
    low, high : array, shape (cycles,)
        Ends of each cycle, as shares of the speed of a full cycle (0 to 1 is one full cycle) [-].
    slope : float
        Exponent m of life against stress range, N = C / range^m [-].

    Returns
    -------
    array, shape (cycles,)
        (high^2 - low^2)^m [-].

    Raises
    ------
    RangeError
        A speed is negative, the ends are turned round, or the slope is not positive.

    Notes
    -----
    Stress by rotation alone and without mean stress: no temperature gradient, no dwell, no overspeed beyond
    the elastic range. It advises beside an approved count and never replaces it.

    References
    ----------
    Basquin's relation with stress proportional to speed squared; with high = 1 it is k = (1 - r^2)^m.

    Examples
    --------
    >>> exchange_rate(np.array([0.6, 0.8]), np.array([1.0, 1.0]), 4.0).round(5).tolist()
    [0.16777, 0.0168]
    """
    lo, hi = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    if slope <= 0.0 or np.any(lo < 0.0) or np.any(hi < lo):
        raise RangeError(
            f"exchange rates need a positive slope (here {slope:g}) and 0 <= low <= high.",
            mend="Give shares of the full cycle's speed, the lower end first.",
        )
    return np.asarray((hi**2 - lo**2) ** slope, dtype=np.float64)


def equivalent_cycles(counts: Sequence[float], rates: Sequence[float]) -> float:
    """Full cycles that counts of several kinds of cycle are worth together.

    Parameters
    ----------
    counts : sequence of float
        Number of cycles of each kind [-].
    rates : sequence of float
        Full cycles for one cycle of each kind, in the same order [-].

    Returns
    -------
    float
        Sum of count by rate [-].

    Examples
    --------
    A flight with one full cycle and six partial ones at 0.2:

    >>> round(equivalent_cycles([1, 6], [1.0, 0.2]), 12)
    2.2
    """
    return float(sum(n * k for n, k in zip(counts, rates, strict=True)))


def damage_sum(applied: Sequence[float], allowed: Sequence[float]) -> float:
    """Share of life that is used: cycles applied against cycles allowed, level by level.

    Parameters
    ----------
    applied : sequence of float
        Cycles applied at each level [-].
    allowed : sequence of float
        Cycles to the end of life at that level; infinite where it does no damage [-].

    Returns
    -------
    float
        Sum of the quotients; 1 is the end of life [-].

    Raises
    ------
    RangeError
        A number of allowed cycles is not positive.

    References
    ----------
    Palmgren (1924) and Miner (1945), the linear sum.

    Examples
    --------
    >>> round(damage_sum([10, 100, 1000], [1e4, 5e4, 5e5]), 12)
    0.005
    """
    if any(not n > 0.0 for n in allowed):
        raise RangeError("allowed cycles must be positive.", mend="Leave out levels without a life.")
    return float(sum(n / most for n, most in zip(applied, allowed, strict=True)))


def cycles_allowed(ranges: FloatArray, at_range: float, at_cycles: float, slope: float) -> FloatArray:
    """Cycles to the end of life at each range, on a line of one slope in a log-log plot.

    Parameters
    ----------
    ranges : array, shape (cycles,)
        Range of each cycle [inner].
    at_range : float
        A range whose life is known [inner].
    at_cycles : float
        Its life [-].
    slope : float
        Exponent m, N = at_cycles (at_range / range)^m [-].

    Returns
    -------
    array, shape (cycles,)
        Cycles allowed; infinite at range 0 [-].

    References
    ----------
    Basquin, O. H.: The exponential law of endurance tests. Proc. ASTM 10 (1910), p. 625.

    Examples
    --------
    >>> cycles_allowed(np.array([2.0, 4.0]), 2.0, 1e6, 4.0).tolist()
    [1000000.0, 62500.0]
    """
    r = np.asarray(ranges, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(at_cycles * (at_range / r) ** slope, dtype=np.float64)


def full_cycles(cycles: Cycles, full_speed: float, slope: float) -> float:
    """Full cycles that the counted cycles of a speed history are worth.

    Parameters
    ----------
    cycles : Cycles
        Counted cycles of speed [rpm].
    full_speed : float
        Speed of a full cycle, which begins and ends at rest [rpm].
    slope : float
        Exponent m of life against stress range [-].

    Returns
    -------
    float
        Sum of count by exchange rate [-].

    Examples
    --------
    >>> from spoolwright.core.life.rainflow import rainflow
    >>> start_and_stop = np.array([0.0, 38000.0, 30400.0, 38000.0, 0.0])
    >>> round(full_cycles(rainflow(start_and_stop), 38000.0, 4.0), 5)
    1.0168
    """
    # a sensor at rest may read a few revolutions below nothing
    low = np.maximum(cycles.low, 0.0) / full_speed
    high = np.maximum(cycles.high, 0.0) / full_speed
    return equivalent_cycles(cycles.count.tolist(), exchange_rate(low, high, slope).tolist())
