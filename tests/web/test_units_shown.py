"""The other system's unit beside the entered one, against pint (units as NIST SP 811 has them)."""

from __future__ import annotations

import pint
import pytest

from spoolwright.web.shown_units import OTHER, other_reading

PINT = {
    "degC": "degC", "degF": "degF", "kPa": "kPa", "psi": "psi", "bar": "bar", "hPa": "hPa", "inHg": "inHg",
    "N m": "N*m", "lbf ft": "lbf*ft", "kW": "kW", "hp": "hp", "kg/h": "kg/h", "lb/h": "lb/h", "L/h": "L/h",
    "US gal/h": "gallon/h", "mm/s": "mm/s", "in/s": "in/s", "mm": "mm", "in": "in", "um": "um", "mil": "thou",
    "kg": "kg", "lb": "lb", "L": "L", "US gal": "gallon", "m": "m", "ft": "ft",
}  # fmt: skip


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry()


@pytest.mark.parametrize("unit", sorted(u for u in PINT if OTHER.get(u) in PINT))
@pytest.mark.parametrize("entered", ["12.50", "0.0031", "940", "-7.2"])
def test_other_unit_agrees_with_pint(registry: pint.UnitRegistry, unit: str, entered: str) -> None:
    quantity = registry.Quantity(float(entered), PINT[unit]).to(PINT[OTHER[unit]])
    shown = other_reading(float(entered), unit, entered).split(" ")[0].replace(",", "")
    decimals = len(shown.split(".")[1]) if "." in shown else 0
    assert abs(float(shown) - quantity.magnitude) <= 0.5000001 * 10.0**-decimals


@pytest.mark.parametrize(
    ("entered", "unit", "shown"),
    [
        ("25.4", "mm", "1.000 in"),  # exact by definition (NIST SP 811, appendix B.8); as fine as 0.1 mm
        ("100", "degC", "212 °F"),
        ("1.0", "um", "0.039 mil"),
    ],
)
def test_as_exact_as_it_was_entered(entered: str, unit: str, shown: str) -> None:
    assert other_reading(float(entered), unit, entered) == shown


@pytest.mark.parametrize("unit", ["rpm", "%", "furlong", ""])
def test_what_has_no_other_unit_shows_none(unit: str) -> None:
    assert other_reading(1.0, unit, "1") == ""
