"""Numbers and sources as words, for sentences that a person reads and decides on."""

from __future__ import annotations

import math

from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.units import difference_from_inner, from_inner

_SPOKEN = {"degC": "°C", "degF": "°F", "N m": "N·m", "lbf ft": "lbf·ft", "K diff": "K", "degF diff": "°F"}
_WIDE = 1.959963984540054
"""Normal coverage factor for 95 %."""


def amount(
    value: float,
    shown: Shown,
    uncertainty: float | None = None,
    *,
    difference: bool = False,
    apart: float | None = None,
) -> str:
    """A value with its unit, with as many digits as its uncertainty earns.

    `apart` is its distance from another value in the same sentence: enough digits are kept to tell the two
    apart.
    """
    u = None if uncertainty is None else abs(difference_from_inner(uncertainty, shown.unit))
    v = difference_from_inner(value, shown.unit) if difference else from_inner(value, shown.unit)
    unit = _unit(shown)
    if not u:
        return f"{round(v, 6):.6g} {unit}".strip()
    places = _places(u)
    if apart:
        places = max(places, _first_digit(difference_from_inner(apart, shown.unit)))
    return f"{v:.{min(places, 6)}f} {unit}".strip()


def interval(value: float, shown: Shown, uncertainty: float, *, difference: bool = False) -> str:
    """A value and the half-width of its 95 % interval."""
    half = abs(difference_from_inner(_WIDE * uncertainty, shown.unit))
    v = difference_from_inner(value, shown.unit) if difference else from_inner(value, shown.unit)
    places = _places(half / _WIDE)
    unit = _unit(shown)
    near = min(max(places, _first_digit(v)), places + 2)
    return f"{v:.{near}f} {unit} ± {half:.{places}f} {unit}".replace("  ", " ").strip()


def _unit(shown: Shown) -> str:
    return spoken_unit(shown.unit)


def spoken_unit(unit: str, *, difference: bool = False) -> str:
    """A unit as it stands in a sentence; differences of degrees Celsius are told in kelvins."""
    if difference and unit == "degC":
        return "K"
    return _SPOKEN.get(unit, "" if unit in ("1", "state") else unit)


def _places(uncertainty: float) -> int:
    """Decimals down to the first digit of the expanded uncertainty."""
    return min(_first_digit(_WIDE * uncertainty), 6) if 0.0 < uncertainty < math.inf else 2


def _first_digit(x: float) -> int:
    """Decimals that show the first digit of a number."""
    return max(-math.floor(math.log10(abs(x))), 0) if x and math.isfinite(x) else 0


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
