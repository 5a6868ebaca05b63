"""Numbers and sources as words, for sentences that a person reads and decides on."""

from __future__ import annotations

import math

from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.units import difference_from_inner, from_inner

_SPOKEN = {"degC": "°C", "degF": "°F", "N m": "N·m", "lbf ft": "lbf·ft", "K diff": "K", "degF diff": "°F"}
_WIDE = 1.959963984540054
"""Normal coverage factor for 95 %."""


def amount(value: float, shown: Shown, uncertainty: float | None = None, *, difference: bool = False) -> str:
    """A value with its unit, with as many digits as its uncertainty earns."""
    u = None if uncertainty is None else abs(difference_from_inner(uncertainty, shown.unit))
    v = difference_from_inner(value, shown.unit) if difference else from_inner(value, shown.unit)
    unit = _SPOKEN.get(shown.unit, "" if shown.unit in ("1", "state") else shown.unit)
    if not u:
        return f"{round(v, 6):.6g} {unit}".strip()
    return f"{v:.{_places(u)}f} {unit}".strip()


def interval(value: float, shown: Shown, uncertainty: float, *, difference: bool = False) -> str:
    """A value and the half-width of its 95 % interval."""
    half = difference_from_inner(_WIDE * uncertainty, shown.unit)
    v = difference_from_inner(value, shown.unit) if difference else from_inner(value, shown.unit)
    places = _places(abs(half) / _WIDE)
    unit = _SPOKEN.get(shown.unit, "" if shown.unit in ("1", "state") else shown.unit)
    return f"{v:.{places}f} {unit} ± {abs(half):.{places}f} {unit}".replace("  ", " ").strip()


def _places(uncertainty: float) -> int:
    if not 0.0 < uncertainty < math.inf:
        return 2
    return min(max(-math.floor(math.log10(_WIDE * uncertainty)), 0), 6)


def percent(probability: float) -> str:
    """A probability in per cent; never rounded to certainty."""
    p = 100.0 * probability
    if p > 99.9:
        return "over 99.9 %"
    if p < 0.1:
        return "under 0.1 %"
    return f"{p:.1f} %" if p > 99.0 or p < 1.0 else f"{p:.0f} %"


def joined(items: list[str]) -> str:
    """A list as words."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"
