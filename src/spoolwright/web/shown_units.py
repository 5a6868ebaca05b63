"""Both unit systems: the entered unit is the master, the other one stands small beside it."""

from __future__ import annotations

import math
from typing import Final

from spoolwright.errors import InputError
from spoolwright.units import UNITS, difference_to_inner, unit_named

_PAIRS: Final = (
    ("degC", "degF"), ("degC diff", "degF diff"), ("kPa", "psi"), ("kPag", "psig"), ("kPaa", "psia"),
    ("bar", "psi"), ("barg", "psig"), ("bara", "psia"), ("hPa", "inHg"), ("mbar", "inHg"), ("N m", "lbf ft"),
    ("kW", "hp"), ("kg/s", "lb/s"), ("kg/h", "lb/h"), ("L/h", "US gal/h"), ("L/min", "US gal/min"),
    ("mm/s", "in/s"), ("km/h", "kt"), ("m", "ft"), ("mm", "in"), ("um", "mil"), ("kg", "lb"), ("L", "US gal"),
    ("g/kWh", "lb/hp/h"), ("kg/kWh", "lb/hp/h"), ("mm2", "in2"), ("cm2", "in2"), ("MJ/kg", "Btu/lb"),
    ("K", "degF"), ("Pa", "psi"), ("mmHg", "inHg"), ("mmH2O", "inH2O"),
)  # fmt: skip
OTHER: Final = {b: a for a, b in reversed(_PAIRS)} | dict(_PAIRS)
SIGNS: Final = {
    "degC": "°C", "degF": "°F", "degR": "°R", "degC diff": "°C", "degF diff": "°F", "K diff": "K",
    "N m": "N·m", "lbf ft": "lbf·ft", "lbf in": "lbf·in", "um": "µm", "deg": "°", "m3/s": "m³/s",
    "m3/h": "m³/h", "cm3": "cm³", "m3": "m³", "mm2": "mm²", "cm2": "cm²", "m2": "m²", "in2": "in²",
    "kg/m3": "kg/m³", "m/s2": "m/s²", "inH2O": "inH₂O", "mmH2O": "mmH₂O", "1": "", "state": "",
}  # fmt: skip


def sign_of_unit(unit: str) -> str:
    """A unit as a page writes it."""
    return SIGNS.get(unit, unit)


def other_reading(value: float, unit: str, entered: str = "") -> str:
    """The value in the other system's unit, as exact as the entered one; empty when there is no other unit.

    Rounded to the decimal whose half is not above the half of the entered value's last decimal, and never
    coarser than the entered value.
    """
    try:
        name = unit_named(unit).name
    except InputError:
        return ""
    other = OTHER.get(name)
    if other is None or not math.isfinite(value):
        return ""
    mine, theirs = UNITS[name], UNITS[other]
    converted = (value * mine.factor + mine.offset - theirs.offset) / theirs.factor
    text = entered or f"{value:.10g}"
    decimals = len(text.split(".")[1].lower().split("e")[0]) if "." in text else 0
    step = difference_to_inner(10.0**-decimals, name) / theirs.factor
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    return f"{converted:,.{min(places, 9)}f} {sign_of_unit(other)}"
