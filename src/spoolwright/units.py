"""Units at the edges: what may stand in a file or on a page, and the inner unit it becomes.

Inside, every quantity has one inner unit. The table below is the whole vocabulary; anything else is an error that
lists the allowed units. Affine units (temperatures, gauge pressures) carry an offset.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from spoolwright.errors import InputError

_LBF: Final = 4.4482216152605  # N, exact
_FT: Final = 0.3048
_IN: Final = 0.0254
_LB: Final = 0.45359237
_PSI: Final = _LBF / _IN**2


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
    Unit("degC", "temperature", 1.0, 273.15),
    Unit("degF", "temperature", 5 / 9, 459.67 * 5 / 9),
    Unit("degR", "temperature", 5 / 9),
    Unit("K diff", "temperature difference", 1.0),
    Unit("degF diff", "temperature difference", 5 / 9),
    Unit("Pa", "pressure", 1.0),
    Unit("hPa", "pressure", 100.0),
    Unit("mbar", "pressure", 100.0),
    Unit("kPa", "pressure", 1e3),
    Unit("bar", "pressure", 1e5),
    Unit("MPa", "pressure", 1e6),
    Unit("psia", "pressure", _PSI),
    Unit("psi", "pressure", _PSI),
    Unit("inHg", "pressure", 3386.389),
    Unit("mmHg", "pressure", 133.322387415),
    Unit("kPag", "gauge pressure", 1e3),
    Unit("barg", "gauge pressure", 1e5),
    Unit("psig", "gauge pressure", _PSI),
    Unit("psid", "gauge pressure", _PSI),
    Unit("inH2O", "gauge pressure", 249.08891),
    Unit("rpm", "speed", 1.0),
    Unit("N m", "torque", 1.0),
    Unit("lbf ft", "torque", _LBF * _FT),
    Unit("lbf in", "torque", _LBF * _IN),
    Unit("W", "power", 1.0),
    Unit("kW", "power", 1e3),
    Unit("hp", "power", 745.6998715822702),
    Unit("kg/s", "mass flow", 1.0),
    Unit("kg/h", "mass flow", 1 / 3600),
    Unit("g/s", "mass flow", 1e-3),
    Unit("lb/h", "mass flow", _LB / 3600),
    Unit("lb/s", "mass flow", _LB),
    Unit("m3/s", "volume flow", 1.0),
    Unit("L/h", "volume flow", 1e-3 / 3600),
    Unit("L/min", "volume flow", 1e-3 / 60),
    Unit("gal/h", "volume flow", 3.785411784e-3 / 3600),
    Unit("m/s", "velocity", 1.0),
    Unit("mm/s", "velocity", 1e-3),
    Unit("in/s", "velocity", _IN),
    Unit("kt", "velocity", 1852 / 3600),
    Unit("m", "length", 1.0),
    Unit("mm", "length", 1e-3),
    Unit("um", "length", 1e-6),
    Unit("ft", "length", _FT),
    Unit("in", "length", _IN),
    Unit("mil", "length", _IN / 1000),
    Unit("s", "time", 1.0),
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
    Unit("US qt", "volume", 9.46352946e-4),
    Unit("m/s2", "acceleration", 1.0),
    Unit("g0", "acceleration", 9.80665),
    Unit("A", "current", 1.0),
    Unit("V", "voltage", 1.0),
    Unit("state", "state", 1.0),
    Unit("kg/J", "specific fuel consumption", 1.0),
    Unit("kg/kWh", "specific fuel consumption", 1 / 3.6e6),
    Unit("g/kWh", "specific fuel consumption", 1e-3 / 3.6e6),
    Unit("lb/hp/h", "specific fuel consumption", _LB / (745.6998715822702 * 3600)),
    Unit("m2", "area", 1.0),
    Unit("cm2", "area", 1e-4),
    Unit("in2", "area", _IN**2),
    Unit("kg m2", "moment of inertia", 1.0),
]

_SPELLINGS: Final[dict[str, str]] = {
    "°C": "degC", "C": "degC", "deg C": "degC", "degc": "degC", "°F": "degF", "F": "degF", "deg F": "degF",
    "°R": "degR", "Nm": "N m", "N.m": "N m", "N·m": "N m", "lb.ft": "lbf ft", "lb ft": "lbf ft", "lbf.ft": "lbf ft",
    "lbf·ft": "lbf ft", "ft.lbf": "lbf ft", "ft lbf": "lbf ft", "ft-lb": "lbf ft", "ft.lb": "lbf ft", "RPM": "rpm",
    "r/min": "rpm", "1/min": "rpm", "shp": "hp", "percent": "%", "pct": "%", "kph": "kg/h", "kg/hr": "kg/h",
    "lb/hr": "lb/h", "pph": "lb/h", "l/h": "L/h", "ips": "in/s", "in.Hg": "inHg", "in Hg": "inHg", "in.": "in",
    "mils": "mil", "µm": "um", "μm": "um", "sec": "s", "bar g": "barg", "psi g": "psig", "kn": "kt", "-": "1",
    "g/kg dry": "g/kg", "°": "deg", "qt": "US qt", "g": "g0", "l": "L", "in2": "in2", "": "1",
}  # fmt: skip

UNITS: Final[dict[str, Unit]] = {u.name: u for u in _UNITS}


def unit_named(text: str) -> Unit:
    """The unit that a text names.

    Raises
    ------
    InputError
        When the text names no known unit; the message lists what is allowed.
    """
    name = " ".join(text.split())
    name = _SPELLINGS.get(name, name)
    found = UNITS.get(name)
    if found is None:
        raise InputError(f"unit '{text}' is not known.", mend=f"Use one of: {', '.join(sorted(UNITS))}.")
    return found


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
