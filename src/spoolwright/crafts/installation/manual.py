"""The flight manual's power check: its table read as the manual says, straight between its corners."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.core.gas.atmosphere import pressure_altitude
from spoolwright.crafts.installation.model import CheckReading, Outcome
from spoolwright.crafts.installation.reading import QUANTITIES, inner_value
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.crafts.typefile.shop.power_check import ManualCheck, PowerCheck
from spoolwright.units import from_inner, to_inner, unit_of


@dataclass(frozen=True)
class ManualVerdict:
    """What the manual's check says of a reading; limit and margin in the manual's unit."""

    outcome: Outcome
    sentence: str
    limit: float | None = None
    margin: float | None = None


def spoken(unit: str) -> str:
    """A unit as people write it."""
    return {"degC": "°C", "degF": "°F", "N m": "N·m"}.get(unit, unit)


def source_of(power_check: PowerCheck) -> str:
    """The manual, its revision and the paragraph of the check."""
    m = power_check.manual
    return f"{m.id} revision {m.revision}, {power_check.check.paragraph}"


def judge_by_manual(reading: CheckReading, power_check: PowerCheck, type_file: TypeFile) -> ManualVerdict:
    """The check as the flight manual judges it: the readings as they stand, without any uncertainty."""
    rule, source = power_check.check, source_of(power_check)
    values = {q.name: inner_value(getattr(reading, q.name), q, type_file) for q in QUANTITIES}
    why = _not_covered(reading, values, rule)
    torque = from_inner(values["torque"], rule.sheet[0].torque.unit)
    height = from_inner(_height(reading), rule.pressure_altitude_unit)
    air = from_inner(values["outside_air_temperature"], rule.temperature_unit)
    limit = None if why else _limit(rule, torque, height, air)
    if limit is None:
        why = why or (
            f"torque {torque:.0f} {rule.sheet[0].torque.unit}, {height:.0f} {rule.pressure_altitude_unit}, "
            f"{air:.1f} {spoken(rule.temperature_unit)} lie outside its table"
        )
        return ManualVerdict(
            "cannot tell", f"The manual's check does not cover this reading: {why} ({source})."
        )
    mgt = from_inner(values["measured_gas_temperature"], rule.mgt_unit)
    outcome: Outcome = "meets" if mgt <= limit else "does not meet"
    does = "meets" if outcome == "meets" else "does not meet"
    action = "" if outcome == "meets" else f" {rule.action}"
    return ManualVerdict(
        outcome,
        f"MGT {mgt:.0f} {spoken(rule.mgt_unit)} {does} the highest allowed, "
        f"{limit:.0f} {spoken(rule.mgt_unit)} ({source}).{action}",
        limit,
        limit - mgt,
    )


def _height(reading: CheckReading) -> float:
    if reading.pressure_altitude is not None:
        return to_inner(reading.pressure_altitude.value, reading.pressure_altitude.unit)
    assert reading.pressure is not None
    unit = unit_of(reading.pressure.unit, "pressure")
    return float(pressure_altitude(reading.pressure.value * unit.factor))


def _not_covered(reading: CheckReading, values: dict[str, float], rule: ManualCheck) -> str:
    low, high = rule.power_turbine_speed_min, rule.power_turbine_speed_max
    if not to_inner(low.value, low.unit) <= values["power_turbine_speed"] <= to_inner(high.value, high.unit):
        return f"Np is not between {low.value:g} and {high.value:g} {high.unit}"
    if rule.bleed_off and reading.bleed:
        return "bleed was on"
    if rule.anti_ice_off and reading.anti_ice:
        return "anti-ice was on"
    return ""


def _limit(rule: ManualCheck, torque: float, height: float, air: float) -> float | None:
    """The highest MGT of the table; None outside it."""
    torques = [s.torque.value for s in rule.sheet]
    at = [_place(torques, torque), _place(rule.pressure_altitude, height), _place(rule.temperature, air)]
    if any(p is None for p in at):
        return None
    (s, fs), (r, fr), (c, fc) = (p for p in at if p is not None)

    def corner(i: int, j: int, k: int) -> float:
        return rule.sheet[i].max_mgt[j][k]

    total = 0.0
    for i, wi in ((s, 1 - fs), (s + 1, fs)):
        for j, wj in ((r, 1 - fr), (r + 1, fr)):
            for k, wk in ((c, 1 - fc), (c + 1, fc)):
                total += wi * wj * wk * corner(i, j, k) if wi * wj * wk else 0.0
    return total


def _place(axis: Sequence[float], x: float) -> tuple[int, float] | None:
    """Cell of an axis and how far into it; None outside."""
    if not axis[0] <= x <= axis[-1]:
        return None
    i = min(bisect_right(axis, x), len(axis) - 1) - 1
    return i, (x - axis[i]) / (axis[i + 1] - axis[i])
