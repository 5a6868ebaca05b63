"""Figures as words: the value in its entered unit, as many digits as its uncertainty earns, second unit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spoolwright.crafts.testcell.model import Figure
from spoolwright.units import difference_from_inner, from_inner

_DECIMALS: dict[str, int] = {
    unit: places
    for places, units in {
        0: ("rpm", "W", "Pa", "Btu/lb", "kt"),
        1: (
            "degC",
            "degF",
            "K",
            "K diff",
            "degF diff",
            "kW",
            "hp",
            "N m",
            "lbf ft",
            "lb/h",
            "psig",
            "kPag",
            "hPa",
            "s",
            "min",
            "g/kWh",
            "kg/m3",
            "m/s",
        ),
        2: ("%", "kg/h", "kPa", "psia", "psi", "mm/s", "h", "g/kg", "L/h"),
        3: ("bar", "inHg", "in/s", "MJ/kg"),
        4: ("kg/kWh", "lb/hp/h", "1"),
        5: ("kg/s", "kg/kg"),
    }.items()
    for unit in units
}
_SPOKEN = {
    "degC": "°C",
    "degF": "°F",
    "N m": "N·m",
    "lbf ft": "lbf·ft",
    "K diff": "K",
    "degF diff": "°F",
    "1": "",
}
_AS_DIFFERENCE = {"degC": "°C", "degF": "°F"}


@dataclass(frozen=True)
class Shown:
    """A figure in one unit, as text."""

    value: str
    unit: str
    uncertainty: str = ""

    def __str__(self) -> str:
        return f"{self.value} {self.unit}".rstrip()


def unit_text(unit: str) -> str:
    """A unit's name as it is printed."""
    return _SPOKEN.get(unit, unit)


def shown(figure: Figure, *, second: bool = False) -> Shown:
    """A figure in its entered unit, or in its second unit; the same unit where it has no second."""
    unit = (figure.also_in if second else figure.shown_in) or figure.shown_in or figure.unit
    value = difference_from_inner(figure.value, unit) if figure.difference else from_inner(figure.value, unit)
    u = None
    if figure.standard_uncertainty is not None:
        u = abs(difference_from_inner(figure.standard_uncertainty, unit))
    places = decimals(unit, u)
    text = number(value, places)
    if figure.difference and value > 0:
        text = f"+{text}"
    return Shown(text, unit_text(unit), "" if u is None else number(2 * u, places))


def decimals(unit: str, u: float | None) -> int:
    """Decimal places: two significant digits of the expanded uncertainty (GUM 7.2.6), near the habit."""
    habit = _DECIMALS.get(unit, 3)
    if u is None or not math.isfinite(u) or u <= 0:
        return habit
    return max(0, min(habit + 1, 1 - math.floor(math.log10(2 * u))))


def number(value: float, places: int) -> str:
    """A number with a true minus sign and thin spaces between thousands; a dash where there is none."""
    if not math.isfinite(value):
        return "–"
    text = f"{value:,.{places}f}".replace(",", "\u202f").replace("-", "−")
    return text.replace("−", "") if float(f"{value:.{places}f}") == 0 else text


def percent(probability: float | None) -> str:
    """A probability in percent that never rounds to certainty."""
    if probability is None or not math.isfinite(probability):
        return "–"
    if probability > 0.999:
        return "> 99.9 %"
    if probability < 0.001:
        return "< 0.1 %"
    return f"{100 * probability:.1f} %"


def clock(seconds: float | None) -> str:
    """Seconds from the start of a recording as h:mm:ss."""
    if seconds is None or not math.isfinite(seconds):
        return "–"
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
