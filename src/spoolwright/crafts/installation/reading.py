"""A check as entered, put into inner units once; what no engine of the type can read is refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.constants import ZERO_CELSIUS
from spoolwright.core.gas.atmosphere import standard_pressure
from spoolwright.crafts.installation.calc import Checks
from spoolwright.crafts.installation.model import CheckReading
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError
from spoolwright.units import unit_of


@dataclass(frozen=True)
class Quantity:
    """A quantity of a check: its name in words, short name in a file, dimension, the channel role it is."""

    name: str
    words: str
    short: str
    dimension: str
    role: str


QUANTITIES = (
    Quantity("outside_air_temperature", "outside air temperature", "oat", "temperature", ""),
    Quantity("gas_generator_speed", "gas generator speed", "ng", "speed", "gas_generator_speed"),
    Quantity("power_turbine_speed", "power turbine speed", "np", "speed", "power_turbine_speed"),
    Quantity("torque", "torque", "torque", "torque", "torque"),
    Quantity("measured_gas_temperature", "MGT", "mgt", "temperature", "measured_gas_temperature"),
)
ALTITUDE = Quantity("pressure_altitude", "pressure altitude", "pressure_altitude", "length", "")
PRESSURE = Quantity("pressure", "ambient pressure", "pressure", "pressure", "")
_LOWEST, _HIGHEST = -600.0, 6500.0
"""Pressure altitudes at which a helicopter makes a check [m]."""
_COLDEST, _WARMEST = ZERO_CELSIUS - 55.0, ZERO_CELSIUS + 55.0
_UNDER_LOAD = {"gas_generator_speed": 0.5, "power_turbine_speed": 0.5, "torque": 0.05}
"""Part of full scale under which no check is made: such a reading is a slip or another quantity."""
_PRESSURE_RANGE = (45_000.0, 108_500.0)


def checks_of(readings: Sequence[CheckReading], type_file: TypeFile) -> Checks:
    """Checks in inner units.

    Raises
    ------
    InputError
        A unit is not known, or a value cannot be what it is called; the text tells which check.
    """
    rows = [_row(r, type_file) for r in readings]
    named = {q.name: np.array([row[q.name] for row in rows]) for q in QUANTITIES}
    return Checks(
        pressure=np.array([row["pressure"] for row in rows]),
        bleed=np.array([float(r.bleed) for r in readings]),
        anti_ice=np.array([float(r.anti_ice) for r in readings]),
        **named,
    )


def check_reading(reading: CheckReading, type_file: TypeFile) -> None:
    """See that a check can be what it says.

    Raises
    ------
    InputError
        It cannot; the text tells quantity, value, range and unit.
    """
    _row(reading, type_file)


def _row(reading: CheckReading, type_file: TypeFile) -> dict[str, float]:
    row = {"pressure": _pressure(reading)}
    for q in QUANTITIES:
        amount: Amount = getattr(reading, q.name)
        row[q.name] = inner_value(amount, q, type_file)
        _plausible(row[q.name], amount, q, type_file)
    return row


def inner_value(amount: Amount, q: Quantity, type_file: TypeFile) -> float:
    """A value in its inner unit; % of a speed or torque is of the type file's full scale."""
    if amount.unit == "%" and q.role:
        channel = next((c for c in type_file.channel if c.role == q.role), None)
        if channel is None or channel.full_scale is None:
            raise InputError(
                f"{q.words} is given in %, but the type file names no full scale for it.",
                mend="Give it in its own unit.",
                where=q.name,
            )
        return amount.value / 100.0 * channel.full_scale * unit_of(channel.unit, q.dimension).factor
    unit = unit_of(amount.unit, q.dimension)
    return amount.value * unit.factor + unit.offset


def _pressure(reading: CheckReading) -> float:
    altitude, pressure = reading.pressure_altitude, reading.pressure
    if (altitude is None) == (pressure is None):
        raise InputError(
            "give either the pressure altitude or the ambient pressure.",
            mend="Both could contradict each other; one is needed.",
            where="pressure_altitude",
        )
    if altitude is not None:
        height = altitude.value * unit_of(altitude.unit, "length").factor
        if not _LOWEST <= height <= _HIGHEST:
            _refuse(altitude, ALTITUDE, f"{_LOWEST:g} to {_HIGHEST:g} m")
        return float(standard_pressure(height))
    assert pressure is not None
    found = pressure.value * unit_of(pressure.unit, "pressure").factor
    low, high = _PRESSURE_RANGE
    if not low <= found <= high:
        _refuse(pressure, PRESSURE, f"{low / 100:g} to {high / 100:g} hPa")
    return found


def _plausible(value: float, amount: Amount, q: Quantity, type_file: TypeFile) -> None:
    if q.name == "outside_air_temperature":
        if not _COLDEST <= value <= _WARMEST:
            _refuse(amount, q, "-55 to 55 degC")
        return
    channel = next((c for c in type_file.channel if c.role == q.role), None)
    if channel is None:
        return
    unit = unit_of(channel.unit, q.dimension)
    low, high = (end * unit.factor + unit.offset for end in channel.plausible)
    least = _UNDER_LOAD.get(q.name)
    if least is not None and channel.full_scale is not None:
        low = max(low, least * channel.full_scale * unit.factor)
    if q.name == "measured_gas_temperature":
        low = max(low, ZERO_CELSIUS + 250.0)
    if not low <= value <= high:
        ends = [(end - unit.offset) / unit.factor for end in (low, high)]
        _refuse(amount, q, f"{ends[0]:.0f} to {ends[1]:.0f} {unit.name}")


def _refuse(amount: Amount, q: Quantity, allowed: str) -> None:
    raise InputError(
        f"{q.words} {amount.value:g} {amount.unit} cannot be: a check under load reads {allowed}.",
        mend="Look whether two values are exchanged, or the unit is another one.",
        where=q.name,
    )
