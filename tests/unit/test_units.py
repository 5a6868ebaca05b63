"""Every unit factor against pint (an independent unit library) and against NIST SP 811, appendix B.8."""

import math

import pint
import pytest

from spoolwright import units
from spoolwright.errors import InputError

# Our name -> the same unit for pint, whose `mil` is an angle (hence `thou`) and whose Btu is not the IT Btu.
PINT = {
    "K": "kelvin", "degC": "degC", "degF": "degF", "degR": "degR", "K diff": "kelvin",
    "degC diff": "kelvin", "degF diff": "delta_degF", "Pa": "Pa", "hPa": "hPa", "mbar": "mbar",
    "kPa": "kPa", "bar": "bar", "MPa": "MPa", "psi": "psi", "inHg": "inHg", "mmHg": "mmHg", "kPaa": "kPa",
    "bara": "bar", "psia": "psi", "kPag": "kPa", "mbarg": "mbar", "barg": "bar", "psig": "psi",
    "psid": "psi", "inH2O": "inch * 1000 kg/m**3 * standard_gravity",
    "mmH2O": "mm * 1000 kg/m**3 * standard_gravity", "rpm": "rpm", "Hz": "revolution/s", "rad/s": "rad/s",
    "N m": "N*m", "daN m": "daN*m", "kN m": "kN*m", "lbf ft": "force_pound*foot",
    "lbf in": "force_pound*inch", "W": "W", "kW": "kW", "hp": "horsepower", "kg/s": "kg/s",
    "kg/min": "kg/min", "kg/h": "kg/hour", "g/s": "g/s", "lb/h": "lb/hour", "lb/min": "lb/min",
    "lb/s": "lb/s", "m3/s": "m**3/s", "m3/h": "m**3/hour", "L/h": "L/hour", "L/min": "L/min",
    "cm3/h": "cm**3/hour", "US gal/h": "US_liquid_gallon/hour", "US gal/min": "US_liquid_gallon/min",
    "imp gal/h": "imperial_gallon/hour", "US qt/h": "US_liquid_quart/hour", "m/s": "m/s", "mm/s": "mm/s",
    "in/s": "inch/s", "km/h": "km/hour", "ft/min": "ft/min", "kt": "knot", "m": "m", "mm": "mm", "um": "um",
    "ft": "ft", "in": "inch", "mil": "thou", "s": "s", "ms": "ms", "min": "min", "h": "hour",
    "1": "dimensionless", "%": "percent", "deg": "degree", "kg/kg": "kg/kg", "g/kg": "g/kg",
    "grains/lb": "grain/lb", "J/kg": "J/kg", "kJ/kg": "kJ/kg", "MJ/kg": "MJ/kg", "Btu/lb": "Btu_it/lb",
    "kg/m3": "kg/m**3", "kg/L": "kg/L", "kg": "kg", "lb": "lb", "m3": "m**3", "L": "L", "cm3": "cm**3",
    "US qt": "US_liquid_quart", "US gal": "US_liquid_gallon", "imp gal": "imperial_gallon",
    "m/s2": "m/s**2", "g0": "standard_gravity", "A": "A", "mA": "mA", "V": "V", "mV": "mV",
    "state": "dimensionless", "kg/J": "kg/J", "kg/kWh": "kg/kWh", "g/kWh": "g/kWh",
    "lb/hp/h": "lb/horsepower/hour", "m2": "m**2", "cm2": "cm**2", "mm2": "mm**2", "in2": "inch**2",
    "kg m2": "kg*m**2",
}  # fmt: skip
PINT_INNER = {
    "rpm": "rpm", "deg": "degree", "K": "kelvin", "1": "dimensionless", "N m": "N*m", "m3/s": "m**3/s",
    "m/s2": "m/s**2", "kg/m3": "kg/m**3", "kg/kg": "dimensionless", "m3": "m**3", "m2": "m**2",
    "kg m2": "kg*m**2",
}  # fmt: skip


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry()


def test_every_unit_has_its_counterpart():
    assert set(PINT) == set(units.UNITS)


@pytest.mark.parametrize("name", sorted(PINT))
def test_factor_and_offset_agree_with_pint(name, registry):
    inner_name = units.INNER_UNIT[units.UNITS[name].dimension]
    inner = PINT_INNER.get(inner_name, inner_name)
    expression = PINT[name]
    for value in (0.0, 1.0, -17.5, 1234.5):
        if expression in ("degC", "degF"):
            expected = registry.Quantity(value, expression).to(inner).magnitude
        else:
            expected = (value * registry.parse_expression(expression)).to(inner).magnitude
        assert units.to_inner(value, name) == pytest.approx(expected, rel=1e-14, abs=1e-300)


@pytest.mark.parametrize(
    ("name", "printed"),
    [  # NIST SP 811 (2008), appendix B.8, seven printed digits
        ("psia", 6.894757e3), ("inHg", 3.386389e3), ("mmHg", 1.333224e2), ("inH2O", 2.490889e2),
        ("mmH2O", 9.80665e0), ("lbf ft", 1.355818e0), ("lbf in", 1.129848e-1), ("hp", 7.456999e2),
        ("lb", 4.535924e-1), ("lb/h", 1.259979e-4), ("lb/hp/h", 1.689659e-7), ("Btu/lb", 2.326e3),
        ("US gal", 3.785412e-3), ("imp gal", 4.54609e-3), ("US qt", 9.463529e-4), ("kt", 5.144444e-1),
        ("mil", 2.54e-5), ("ft", 3.048e-1), ("in2", 6.4516e-4), ("g0", 9.80665e0),
    ],
)  # fmt: skip
def test_factor_agrees_with_nist_to_the_printed_digits(name, printed):
    half_a_digit = 0.5 * 10.0 ** (math.floor(math.log10(printed)) - 6)
    assert abs(units.UNITS[name].factor - printed) <= half_a_digit * (1 + 1e-9)


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [  # ice point by definition of the scales; sea level of the US Standard Atmosphere 1976
        (0.0, "degC", 273.15), (32.0, "degF", 273.15), (59.0, "degF", 288.15), (518.67, "degR", 288.15),
        (-40.0, "degF", 233.15), (29.92126, "inHg", 101325.0), (14.69595, "psia", 101325.0),
    ],
)  # fmt: skip
def test_known_points(value, unit, expected):
    assert units.to_inner(value, unit) == pytest.approx(expected, rel=2e-7)
    assert units.from_inner(units.to_inner(value, unit), unit) == pytest.approx(value, rel=1e-12)


def test_differences_carry_no_offset():
    assert units.difference_to_inner(9.0, "degF") == pytest.approx(5.0)
    assert units.difference_from_inner(5.0, "degC") == pytest.approx(5.0)


@pytest.mark.parametrize("text", ["kph", "gal/h", "gph", "qt", "g", "lbs", "", "  "])
def test_spellings_with_two_meanings_are_refused_with_the_reason(text):
    with pytest.raises(InputError, match=r"is not clear|differ|write"):
        units.unit_named(text)


def test_an_unknown_unit_lists_what_is_allowed_and_hides_control_characters():
    with pytest.raises(InputError, match=r"Use one of: .*degC") as caught:
        units.unit_named("furlong\x1b[31m")
    assert "\x1b" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "name"),
    [("°C", "degC"), ("℃", "degC"), ("N·m", "N m"), ("N⋅m", "N m"), ("Nm", "N m"), ("m³/s", "m3/s"),
     ("m^3/s", "m3/s"),
     ("µm", "um"), ("μm", "um"), ("min⁻¹", "rpm"), ("1/min", "rpm"), ("lbf·ft", "lbf ft"), ("kg·m²", "kg m2"),
     ("in Hg", "inHg"), ("PPH", "lb/h"), ("ips", "in/s"), (" psi g ", "psig")],
)  # fmt: skip
def test_spellings(text, name):
    assert units.unit_named(text).name == name


def test_every_spelling_leads_to_a_unit_and_none_hides_one():
    for spelling, name in units._SPELLINGS.items():
        assert name in units.UNITS
        assert spelling not in units.UNITS
        assert spelling not in units._REFUSED
    assert not set(units._REFUSED) & set(units.UNITS)


def test_a_plain_pressure_takes_the_sense_of_its_quantity_and_the_doubt_is_named():
    assert units.unit_of("psi", "pressure").dimension == "pressure"
    assert units.unit_of("psi", "gauge pressure").dimension == "gauge pressure"
    assert "absolute" in units.ambiguity("psi", "pressure")
    assert "gauge" in units.ambiguity("bar", "gauge pressure")
    assert units.ambiguity("bar", "pressure") == ""
    assert units.ambiguity("psia", "pressure") == ""


def test_a_unit_of_another_dimension_is_refused_with_the_allowed_ones():
    with pytest.raises(InputError, match=r"unit of power, not of torque.*N m"):
        units.unit_of("kW", "torque")
    with pytest.raises(InputError, match="gauge pressure"):
        units.unit_of("psia", "gauge pressure")


def test_context_decides_g_and_temperature_differences():
    assert units.unit_of("g", "acceleration").factor == 9.80665  # ISO 2533
    assert units.unit_of("degF", "temperature difference").offset == 0.0
    assert units.unit_of("degF", "temperature difference").factor == pytest.approx(5 / 9)
    assert units.unit_of("1", "state").dimension == "state"


def test_inner_units_are_units_of_their_dimension():
    for dimension, name in units.INNER_UNIT.items():
        unit = units.unit_of(name, dimension)
        assert (unit.factor, unit.offset) == (1.0, 0.0)
