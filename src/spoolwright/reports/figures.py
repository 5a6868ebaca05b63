"""Figures as words: the value in its entered unit, as many digits as its uncertainty earns, second unit."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
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
_MOST_DECIMALS = 6
_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")


@dataclass(frozen=True)
class Shown:
    """A figure in one unit, as text."""

    value: str
    unit: str
    uncertainty: str = ""

    def __str__(self) -> str:
        return f"{self.value} {self.unit}".rstrip()

    @property
    def interval(self) -> str:
        """Value and half-width of the 95 % interval, without the unit."""
        return f"{self.value} ± {self.uncertainty}" if self.uncertainty else self.value


@dataclass(frozen=True)
class Cell:
    """A figure as every report shows it: entered unit, second unit, and where it is explained."""

    main: Shown
    second: Shown | None
    how: str

    @property
    def text(self) -> str:
        """Value and unit."""
        return str(self.main)

    @property
    def second_text(self) -> str:
        """Value in the second unit; empty where there is none."""
        return "" if self.second is None else str(self.second)

    @property
    def interval(self) -> str:
        """Value, 95 % interval and unit."""
        return f"{self.main.interval} {self.main.unit}".rstrip()


def cell(
    figure: Figure | None,
    states: tuple[str, str] = ("off", "on"),
    like: Sequence[Figure] = (),
    apart: float | None = None,
) -> Cell | None:
    """A figure as a table's cell; None stays None. A state is told in one of two words.

    Among figures `like` it, it gets as many decimals as the best known of them, so that a column lines up.
    `apart` is its distance from a limit [inner unit]: enough decimals are kept to tell the two apart.
    """
    if figure is None:
        return None
    if figure.dimension == "state":
        return Cell(Shown(states[figure.value > 0.5], ""), None, figure.how)
    best = min((f.standard_uncertainty for f in like if f.standard_uncertainty), default=None)
    second = shown(figure, second=True, digits_for=best, apart=apart) if figure.also_in else None
    return Cell(shown(figure, digits_for=best, apart=apart), second, figure.how)


def unit_text(unit: str) -> str:
    """A unit's name as it is printed."""
    return _SPOKEN.get(unit, unit)


def shown(
    figure: Figure, *, second: bool = False, digits_for: float | None = None, apart: float | None = None
) -> Shown:
    """A figure in its entered unit, or in its second unit; the same unit where it has no second.

    `digits_for` is a standard uncertainty [inner unit] that sets the decimals in place of the figure's own;
    `apart` a distance [inner unit] whose first digit is shown whatever the uncertainty.
    """
    unit = (figure.also_in if second else figure.shown_in) or figure.shown_in or figure.unit
    value = difference_from_inner(figure.value, unit) if figure.difference else from_inner(figure.value, unit)
    least = _first_digit(apart, unit)
    if not figure.standard_uncertainty:
        text = as_entered(value, max(_DECIMALS.get(unit, 3) + (not second), least))
        return Shown(_signed(text, figure), unit_text(unit))
    u = abs(difference_from_inner(figure.standard_uncertainty, unit))
    own = decimals(unit, abs(difference_from_inner(digits_for, unit)) if digits_for else u)
    return Shown(_signed(number(value, max(own, least)), figure), unit_text(unit), number(2 * u, own))


def _signed(text: str, figure: Figure) -> str:
    """A difference above zero with its plus sign; what rounds to zero has none."""
    return f"+{text}" if figure.difference and figure.value > 0 and text.strip("0.") else text


def as_entered(value: float, places: int) -> str:
    """A value without uncertainty, such as a limit: no more zeros behind the point than were written."""
    text = number(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _first_digit(apart: float | None, unit: str) -> int:
    """Decimals that show the first digit of a distance."""
    distance = abs(difference_from_inner(apart, unit)) if apart else 0.0
    if not distance or not math.isfinite(distance):
        return 0
    return min(max(-math.floor(math.log10(distance)), 0), _MOST_DECIMALS)


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


def printable(words: str) -> str:
    """Words without control characters, which a terminal obeys and a drawing cannot hold."""
    return _CONTROL.sub("?", words)


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
