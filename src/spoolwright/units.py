"""Units at the edges: what may stand in a file or on a page, and the inner unit it becomes.

Inside, every quantity has one inner unit. The table below is the whole vocabulary; anything else is an error
that lists the allowed units. Affine units (temperatures) carry an offset. A spelling that the trade uses for
two different units (`gal/h`, `qt`, `kph`) is refused with the reason; `psi`, which tells neither absolute nor
gauge, is read as its quantity says and `ambiguity` names the doubt.

References
----------
NIST Special Publication 811 (2008 edition), appendix B.8: every factor below is its exact definition, checked
there to the printed digits. Manometer columns are the conventional ones: 13 595.1 kg/m3 (mercury) and
1000 kg/m3 (water) at 9.806 65 m/s2. The Btu is the International Table Btu; the horsepower is 550 ft lbf/s.
"""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

from spoolwright.constants import GRAVITY, ZERO_CELSIUS
from spoolwright.errors import InputError

_LBF: Final = 4.4482216152605  # N, exact
_FT: Final = 0.3048
_IN: Final = 0.0254
_LB: Final = 0.45359237
_PSI: Final = _LBF / _IN**2
_HP: Final = 550 * _FT * _LBF
_US_GALLON: Final = 231 * _IN**3
_IMPERIAL_GALLON: Final = 4.54609e-3
_MM_HG: Final = 13.5951 * GRAVITY
_RANKINE: Final = 5 / 9


@dataclass(frozen=True)
class Unit:
    """inner = value * factor + offset."""

    name: str
    dimension: str
    factor: float
    offset: float = 0.0


INNER_UNIT: Final[dict[str, str]] = {
    "temperature": "K",
    "temperature difference": "K",
    "pressure": "Pa",
    "gauge pressure": "Pa",
    "speed": "rpm",
    "torque": "N m",
    "power": "W",
    "mass flow": "kg/s",
    "volume flow": "m3/s",
    "velocity": "m/s",
    "length": "m",
    "time": "s",
    "ratio": "1",
    "angle": "deg",
    "humidity ratio": "kg/kg",
    "specific energy": "J/kg",
    "density": "kg/m3",
    "mass": "kg",
    "volume": "m3",
    "acceleration": "m/s2",
    "current": "A",
    "voltage": "V",
    "state": "1",
    "specific fuel consumption": "kg/J",
    "area": "m2",
    "moment of inertia": "kg m2",
}


_UNITS: Final[list[Unit]] = [
    Unit("K", "temperature", 1.0),
    Unit("degC", "temperature", 1.0, ZERO_CELSIUS),
    Unit("degF", "temperature", _RANKINE, 459.67 * _RANKINE),
    Unit("degR", "temperature", _RANKINE),
    Unit("K diff", "temperature difference", 1.0),
    Unit("degC diff", "temperature difference", 1.0),
    Unit("degF diff", "temperature difference", _RANKINE),
    Unit("Pa", "pressure", 1.0),
    Unit("hPa", "pressure", 100.0),
    Unit("mbar", "pressure", 100.0),
    Unit("kPa", "pressure", 1e3),
    Unit("bar", "pressure", 1e5),
    Unit("MPa", "pressure", 1e6),
    Unit("psi", "pressure", _PSI),
    Unit("inHg", "pressure", 25.4 * _MM_HG),
    Unit("mmHg", "pressure", _MM_HG),
    Unit("kPaa", "pressure", 1e3),
    Unit("bara", "pressure", 1e5),
    Unit("psia", "pressure", _PSI),
    Unit("kPag", "gauge pressure", 1e3),
    Unit("mbarg", "gauge pressure", 100.0),
    Unit("barg", "gauge pressure", 1e5),
    Unit("psig", "gauge pressure", _PSI),
    Unit("psid", "gauge pressure", _PSI),
    Unit("inH2O", "gauge pressure", 25.4 * GRAVITY),
    Unit("mmH2O", "gauge pressure", GRAVITY),
    Unit("rpm", "speed", 1.0),
    Unit("Hz", "speed", 60.0),
    Unit("rad/s", "speed", 30 / math.pi),
    Unit("N m", "torque", 1.0),
    Unit("daN m", "torque", 10.0),
    Unit("kN m", "torque", 1e3),
    Unit("lbf ft", "torque", _LBF * _FT),
    Unit("lbf in", "torque", _LBF * _IN),
    Unit("W", "power", 1.0),
    Unit("kW", "power", 1e3),
    Unit("hp", "power", _HP),
    Unit("kg/s", "mass flow", 1.0),
    Unit("kg/min", "mass flow", 1 / 60),
    Unit("kg/h", "mass flow", 1 / 3600),
    Unit("g/s", "mass flow", 1e-3),
    Unit("lb/h", "mass flow", _LB / 3600),
    Unit("lb/min", "mass flow", _LB / 60),
    Unit("lb/s", "mass flow", _LB),
    Unit("m3/s", "volume flow", 1.0),
    Unit("m3/h", "volume flow", 1 / 3600),
    Unit("L/h", "volume flow", 1e-3 / 3600),
    Unit("L/min", "volume flow", 1e-3 / 60),
    Unit("cm3/h", "volume flow", 1e-6 / 3600),
    Unit("US gal/h", "volume flow", _US_GALLON / 3600),
    Unit("US gal/min", "volume flow", _US_GALLON / 60),
    Unit("imp gal/h", "volume flow", _IMPERIAL_GALLON / 3600),
    Unit("US qt/h", "volume flow", _US_GALLON / 4 / 3600),
    Unit("m/s", "velocity", 1.0),
    Unit("mm/s", "velocity", 1e-3),
    Unit("in/s", "velocity", _IN),
    Unit("km/h", "velocity", 1 / 3.6),
    Unit("ft/min", "velocity", _FT / 60),
    Unit("kt", "velocity", 1852 / 3600),
    Unit("m", "length", 1.0),
    Unit("mm", "length", 1e-3),
    Unit("um", "length", 1e-6),
    Unit("ft", "length", _FT),
    Unit("in", "length", _IN),
    Unit("mil", "length", _IN / 1000),
    Unit("s", "time", 1.0),
    Unit("ms", "time", 1e-3),
    Unit("min", "time", 60.0),
    Unit("h", "time", 3600.0),
    Unit("1", "ratio", 1.0),
    Unit("%", "ratio", 0.01),
    Unit("deg", "angle", 1.0),
    Unit("kg/kg", "humidity ratio", 1.0),
    Unit("g/kg", "humidity ratio", 1e-3),
    Unit("grains/lb", "humidity ratio", 1 / 7000),
    Unit("J/kg", "specific energy", 1.0),
    Unit("kJ/kg", "specific energy", 1e3),
    Unit("MJ/kg", "specific energy", 1e6),
    Unit("Btu/lb", "specific energy", 2326.0),
    Unit("kg/m3", "density", 1.0),
    Unit("kg/L", "density", 1e3),
    Unit("kg", "mass", 1.0),
    Unit("lb", "mass", _LB),
    Unit("m3", "volume", 1.0),
    Unit("L", "volume", 1e-3),
    Unit("cm3", "volume", 1e-6),
    Unit("US qt", "volume", _US_GALLON / 4),
    Unit("US gal", "volume", _US_GALLON),
    Unit("imp gal", "volume", _IMPERIAL_GALLON),
    Unit("m/s2", "acceleration", 1.0),
    Unit("g0", "acceleration", GRAVITY),
    Unit("A", "current", 1.0),
    Unit("mA", "current", 1e-3),
    Unit("V", "voltage", 1.0),
    Unit("mV", "voltage", 1e-3),
    Unit("state", "state", 1.0),
    Unit("kg/J", "specific fuel consumption", 1.0),
    Unit("kg/kWh", "specific fuel consumption", 1 / 3.6e6),
    Unit("g/kWh", "specific fuel consumption", 1e-3 / 3.6e6),
    Unit("lb/hp/h", "specific fuel consumption", _LB / (_HP * 3600)),
    Unit("m2", "area", 1.0),
    Unit("cm2", "area", 1e-4),
    Unit("mm2", "area", 1e-6),
    Unit("in2", "area", _IN**2),
    Unit("kg m2", "moment of inertia", 1.0),
]

_SPELLINGS: Final[dict[str, str]] = {
    "°C": "degC", "C": "degC", "deg C": "degC", "degc": "degC", "DEGC": "degC", "DEG C": "degC", "°F": "degF",
    "F": "degF", "deg F": "degF", "degf": "degF", "DEGF": "degF", "DEG F": "degF", "°R": "degR",
    "deg R": "degR", "kelvin": "K", "KPA": "kPa", "kpa": "kPa", "HPA": "hPa", "hpa": "hPa", "MBAR": "mbar",
    "BAR": "bar", "PSI": "psi", "PSIA": "psia", "PSIG": "psig", "PSID": "psid", "psi a": "psia",
    "psi g": "psig", "psi d": "psid", "psi(a)": "psia", "psi(g)": "psig", "psi(d)": "psid", "bar a": "bara",
    "bar g": "barg", "bar(a)": "bara", "bar(g)": "barg", "kPa a": "kPaa", "kPa g": "kPag", "kPa(a)": "kPaa",
    "kPa(g)": "kPag", "KPAG": "kPag", "BARG": "barg", "lbf/in2": "psi", "in.Hg": "inHg", "in Hg": "inHg",
    "INHG": "inHg", "mm Hg": "mmHg", "in.H2O": "inH2O", "in H2O": "inH2O", "mm H2O": "mmH2O", "Nm": "N m",
    "N.m": "N m", "daNm": "daN m", "kNm": "kN m", "lbf.ft": "lbf ft", "lbf-ft": "lbf ft", "lb ft": "lbf ft",
    "lb.ft": "lbf ft", "lb-ft": "lbf ft", "ft lbf": "lbf ft", "ft.lbf": "lbf ft", "ft-lbf": "lbf ft",
    "ft lb": "lbf ft", "ft.lb": "lbf ft", "ft-lb": "lbf ft", "FT-LB": "lbf ft", "LB-FT": "lbf ft",
    "lb in": "lbf in", "lb-in": "lbf in", "in lbf": "lbf in", "in-lbf": "lbf in", "in lb": "lbf in",
    "in-lb": "lbf in", "RPM": "rpm", "r/min": "rpm", "rev/min": "rpm", "1/min": "rpm", "min-1": "rpm",
    "min−1": "rpm", "shp": "hp", "SHP": "hp", "HP": "hp", "KW": "kW", "kg/hr": "kg/h", "KG/H": "kg/h",
    "KG/HR": "kg/h", "lb/hr": "lb/h", "lbs/h": "lb/h", "lbs/hr": "lb/h", "lbm/h": "lb/h", "lbm/hr": "lb/h",
    "LB/H": "lb/h", "LB/HR": "lb/h", "pph": "lb/h", "PPH": "lb/h", "lbm/s": "lb/s", "lb/sec": "lb/s",
    "l/h": "L/h", "l/hr": "L/h", "L/hr": "L/h", "l/min": "L/min", "cc/h": "cm3/h", "cc/hr": "cm3/h",
    "US gal/hr": "US gal/h", "imp gal/hr": "imp gal/h", "US qt/hr": "US qt/h", "ips": "in/s", "IPS": "in/s",
    "in/sec": "in/s", "kn": "kt", "knot": "kt", "knots": "kt", "in.": "in", "mils": "mil", "micron": "um",
    "μm": "um", "sec": "s", "seconds": "s", "hr": "h", "percent": "%", "pct": "%", "PCT": "%", "-": "1",
    "°": "deg", "g/kg dry": "g/kg", "gr/lb": "grains/lb", "lbm": "lb", "l": "L", "cc": "cm3", "m/s/s": "m/s2",
    "kg/(kW h)": "kg/kWh", "kg/kW/h": "kg/kWh", "g/(kW h)": "g/kWh", "g/kW/h": "g/kWh",
    "lb/(hp h)": "lb/hp/h", "lb/hp-h": "lb/hp/h", "lb/hp/hr": "lb/hp/h", "lb/shp/h": "lb/hp/h",
    "lb/shp/hr": "lb/hp/h",
}  # fmt: skip

_REFUSED: Final[dict[str, str]] = {
    "": "it is empty; a quantity without dimension is written '1'",
    "gal": "a US and an imperial gallon differ by 20 %; write 'US gal' or 'imp gal'",
    "gal/h": "a US and an imperial gallon differ by 20 %; write 'US gal/h' or 'imp gal/h'",
    "gal/hr": "a US and an imperial gallon differ by 20 %; write 'US gal/h' or 'imp gal/h'",
    "gph": "a US and an imperial gallon differ by 20 %; write 'US gal/h' or 'imp gal/h'",
    "gal/min": "a US and an imperial gallon differ by 20 %; write 'US gal/min'",
    "qt": "a US and an imperial quart differ by 20 %; write 'US qt'",
    "qt/h": "a US and an imperial quart differ by 20 %; write 'US qt/h'",
    "kph": "it is read both as kilograms and as kilometres per hour; write 'kg/h' or 'km/h'",
    "g": "it is the gram; for the acceleration write 'g0'",
    "lbs": "it is read both as a mass and as a force; write 'lb' for the mass",
}

_ABSOLUTE_OR_GAUGE: Final = frozenset({"Pa", "hPa", "mbar", "kPa", "bar", "MPa", "psi", "inHg", "mmHg"})

UNITS: Final[dict[str, Unit]] = {u.name: u for u in _UNITS}


def _canonical(text: str) -> str:
    """One spelling per unit: superscripts, degrees and product dots in one form, then the trade's forms."""
    plain = unicodedata.normalize("NFKC", text)
    for mark in "·⋅*":
        plain = plain.replace(mark, " ")
    name = " ".join(plain.replace("^", "").split())
    return _SPELLINGS.get(name, name)


def units_of(dimension: str) -> list[str]:
    """Names of the units in which a quantity of this dimension may be given."""
    own = [u.name for u in _UNITS if u.dimension == dimension]
    if dimension == "gauge pressure":
        own += sorted(_ABSOLUTE_OR_GAUGE)
    return own


def unit_named(text: str) -> Unit:
    """The unit that a text names.

    Raises
    ------
    InputError
        When the text names no known unit, or two different ones; the message says which to write.
    """
    name = _canonical(text)
    found = UNITS.get(name)
    if found is not None:
        return found
    if name in _REFUSED:
        raise InputError(f"unit '{text}' is not clear: {_REFUSED[name]}.")
    shown = "".join(c if c.isprintable() else "?" for c in text[:60])
    near = get_close_matches(name[:60], UNITS, n=3, cutoff=0.6)
    hint = f"Did you mean {' or '.join(near)}? " if near else ""
    raise InputError(f"unit '{shown}' is not known.", mend=f"{hint}Use one of: {', '.join(sorted(UNITS))}.")


def unit_of(text: str, dimension: str) -> Unit:
    """The unit that a text names for a quantity whose dimension is known.

    A plain pressure unit takes the sense (absolute or gauge) of the quantity; a temperature unit loses its
    offset for a temperature difference; `g` is the standard acceleration for an acceleration; `1` is the unit
    of a state.

    Raises
    ------
    InputError
        When the text names no unit of this dimension; the message lists those that are.
    """
    name = _canonical(text)
    if dimension == "acceleration" and name == "g":
        return UNITS["g0"]
    unit = unit_named(text)
    if unit.dimension == dimension:
        return unit
    if dimension == "gauge pressure" and unit.name in _ABSOLUTE_OR_GAUGE:
        return Unit(unit.name, dimension, unit.factor)
    if dimension == "temperature difference" and unit.dimension == "temperature":
        return Unit(unit.name, dimension, unit.factor)
    if dimension == "state" and unit.name == "1":
        return UNITS["state"]
    raise InputError(
        f"unit '{text}' is a unit of {unit.dimension}, not of {dimension}.",
        mend=f"Use one of: {', '.join(units_of(dimension))}.",
    )


def ambiguity(text: str, dimension: str) -> str:
    """What a readable unit leaves open for a quantity of this dimension; empty when nothing does."""
    name = _canonical(text)
    if name == "psi" or (dimension == "gauge pressure" and name in _ABSOLUTE_OR_GAUGE):
        sense = "gauge" if dimension == "gauge pressure" else "absolute"
        return f"'{text}' tells neither absolute nor gauge pressure; read as {sense}, as the type file says"
    return ""


def to_inner(value: float, unit: str) -> float:
    """A value in a named unit, as the inner unit of that unit's dimension."""
    u = unit_named(unit)
    return value * u.factor + u.offset


def from_inner(value: float, unit: str) -> float:
    """An inner value in a named unit."""
    u = unit_named(unit)
    return (value - u.offset) / u.factor


def difference_to_inner(value: float, unit: str) -> float:
    """A difference (uncertainty, margin, tolerance) in a named unit, as a difference in the inner unit."""
    return value * unit_named(unit).factor


def difference_from_inner(value: float, unit: str) -> float:
    """A difference in the inner unit, in a named unit."""
    return value / unit_named(unit).factor
