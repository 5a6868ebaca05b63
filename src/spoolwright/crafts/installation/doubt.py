"""Doubts about a check: would it fit the engine if two values were exchanged, or a unit were another one?"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from spoolwright.crafts.installation.calc import Airframe, Bench, Checks, against_bench
from spoolwright.crafts.installation.model import CheckReading
from spoolwright.crafts.installation.reading import check_reading, checks_of
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import RangeError, SpoolwrightError

Change = Callable[[CheckReading], dict[str, object] | None]

FAR = 4.0
"""Standard uncertainties from which on a check is looked into."""
LEAST = (0.06, 0.012)
"""Relative difference of power and of Ng under which it is not, however sure: an engine may have changed."""
NEAR = 2.5
"""Standard uncertainties within which another reading of the check fits."""


def doubts_of(
    readings: Sequence[CheckReading], type_file: TypeFile, bench: Bench, airframe: Airframe
) -> list[tuple[str, ...]]:
    """For each check the sentences that tell how it would fit; empty where nothing is doubted."""
    checks = checks_of(readings, type_file)
    power, speed = _apart(checks, bench, airframe)
    out: list[tuple[str, ...]] = []
    for i, reading in enumerate(readings):
        far = _far(power[i], LEAST[0]) or _far(speed[i], LEAST[1])
        out.append(tuple(_fits(reading, type_file, bench, airframe)) if far else ())
    return out


def _far(difference: tuple[float, float], least: float) -> bool:
    value, u = difference
    return not np.isfinite(value) or abs(value) > max(FAR * u, least)


def _apart(
    checks: Checks, bench: Bench, airframe: Airframe
) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Differences of power and Ng with their standard uncertainties."""
    found = against_bench(checks, bench, airframe)
    return (
        list(zip(found.power.value.tolist(), found.power.uncertainty.tolist(), strict=True)),
        list(zip(found.speed.value.tolist(), found.speed.uncertainty.tolist(), strict=True)),
    )


def _fits(reading: CheckReading, type_file: TypeFile, bench: Bench, airframe: Airframe) -> list[str]:
    told = []
    for words, change in _CHANGES:
        changes = change(reading)
        if changes is None:
            continue
        try:
            other = reading.model_copy(update=changes)
            check_reading(other, type_file)
            (power,), (speed,) = _apart(checks_of([other], type_file), bench, airframe)
        except (RangeError, SpoolwrightError):
            continue
        near = [abs(value) <= max(NEAR * u, least / 2) for (value, u), least in
                zip((power, speed), LEAST, strict=True)]  # fmt: skip
        if all(near):
            told.append(f"The check would fit the bench run if {words}.")
    return told


def _swapped(first: str, second: str) -> Change:
    def change(reading: CheckReading) -> dict[str, object] | None:
        a, b = getattr(reading, first), getattr(reading, second)
        return {first: b, second: a} if a.unit == b.unit else None

    return change


def _unit(name: str, old: Sequence[str], new: str) -> Change:
    def change(reading: CheckReading) -> dict[str, object] | None:
        amount = getattr(reading, name)
        if amount is None or amount.unit not in old:
            return None
        return {name: Amount(value=amount.value, unit=new)}

    return change


def _other_state(name: str) -> Change:
    return lambda reading: {name: not getattr(reading, name)}


_CHANGES: tuple[tuple[str, Change], ...] = (
    ("Ng and Np were exchanged", _swapped("gas_generator_speed", "power_turbine_speed")),
    ("torque and Np were exchanged", _swapped("torque", "power_turbine_speed")),
    ("torque and Ng were exchanged", _swapped("torque", "gas_generator_speed")),
    ("the pressure altitude were in m", _unit("pressure_altitude", ("ft",), "m")),
    ("the pressure altitude were in ft", _unit("pressure_altitude", ("m",), "ft")),
    ("the outside air temperature were in degF", _unit("outside_air_temperature", ("degC",), "degF")),
    ("the outside air temperature were in degC", _unit("outside_air_temperature", ("degF",), "degC")),
    ("the MGT were in degF", _unit("measured_gas_temperature", ("degC",), "degF")),
    ("the MGT were in degC", _unit("measured_gas_temperature", ("degF",), "degC")),
    ("the torque were in lbf ft", _unit("torque", ("N m",), "lbf ft")),
    ("the torque were in N m", _unit("torque", ("lbf ft",), "N m")),
    ("the bleed stood the other way", _other_state("bleed")),
)
