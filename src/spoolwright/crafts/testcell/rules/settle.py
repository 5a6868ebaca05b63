"""The cheapest step that would settle a reading too close to its limit."""

from __future__ import annotations

import math
from collections.abc import Mapping

from spoolwright.core.measurement.propagation import coverage_factor
from spoolwright.core.reduction.estimate import SCATTER
from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.wording import amount, joined

_MOST_REPEATS = 6
"""More repeats than this are no cheap step: a better instrument comes first."""
_ACHIEVABLE = 0.3
"""No improvement is counted on that leaves less than this part of a source's uncertainty."""


def settling_step(
    margin: float, uncertainty: float, shares: Mapping[str, float], risk: float, shown: Shown
) -> str:
    """What would bring the probability of conforming over 1 - risk if the next reading said the same.

    `margin` is the distance to the limit, positive on the good side; `shares` the standard uncertainty by
    cause.
    """
    if uncertainty <= 0.0:
        return ""
    needed = abs(margin) / coverage_factor(1.0 - 2.0 * risk)[0]
    if needed >= uncertainty:
        return ""
    scatter = shares.get(SCATTER, 0.0)
    rest = math.sqrt(max(uncertainty**2 - scatter**2, 0.0))
    if needed > rest:
        times = math.ceil(scatter**2 / (needed**2 - rest**2))
        if times <= _MOST_REPEATS:
            return (
                f"Repeat the point until there are {times} in all, or hold it {times} times as long: "
                f"scatter is {amount(scatter, shown, scatter, difference=True)} of the standard uncertainty."
            )
    return _better_instruments(needed, uncertainty, shares, shown)


def _better_instruments(needed: float, uncertainty: float, shares: Mapping[str, float], shown: Shown) -> str:
    """Improve the largest sources, as few as will do."""
    square, steps = uncertainty**2, []
    for cause, u in sorted(shares.items(), key=lambda item: -item[1]):
        if cause == SCATTER or u <= 0.0:
            continue
        without = square - u**2
        allowed = math.sqrt(needed**2 - without) if needed**2 > without else 0.0
        target = max(allowed, _ACHIEVABLE * u)
        shown_from, shown_to = (
            amount(v, shown, target, difference=True, apart=u - target) for v in (u, target)
        )
        steps.append(f"'{cause}' from {shown_from} to {shown_to}")
        square = without + target**2
        if allowed >= _ACHIEVABLE * u:
            return f"Improve {joined(steps)} (standard uncertainty in this reading), then repeat the point."
    largest = max(shares, key=lambda c: shares[c], default="")
    return (
        "The reading lies closer to the limit than these instruments can tell; the largest share of the "
        f"uncertainty is '{largest}'."
    )
