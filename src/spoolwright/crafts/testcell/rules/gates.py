"""Validity gates: whether a performance reading of a run counts at all, and what mends it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.model import GateState
from spoolwright.crafts.testcell.run_sheet import RunSheet
from spoolwright.crafts.testcell.wording import amount, joined
from spoolwright.crafts.typefile.base import Condition
from spoolwright.crafts.typefile.lookup import source_text
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.crafts.typefile.procedure import Cell, Gate
from spoolwright.units import to_inner

_PERFORMANCE_ROLES = frozenset(
    {
        "ambient_temperature", "ambient_pressure", "inlet_temperature", "inlet_pressure", "relative_humidity",
        "dew_point", "wet_bulb", "gas_generator_speed", "power_turbine_speed", "torque",
        "measured_gas_temperature", "exhaust_pressure", "fuel_mass_flow", "fuel_temperature",
    }
)  # fmt: skip
"""Roles whose channels a performance reading rests on."""


@dataclass(frozen=True)
class _Outcome:
    state: str
    text: str


def gate_states(type_file: TypeFile, sheet: RunSheet, points: Sequence[PointData]) -> list[GateState]:
    """Every gate of the type file for one run, judged over all its points."""
    return [_state(gate, type_file, sheet, points) for gate in type_file.gate]


def within(window: Condition, x: float) -> bool:
    """Whether an inner value lies in a window."""
    low = -math.inf if window.min is None else to_inner(window.min, window.unit)
    high = math.inf if window.max is None else to_inner(window.max, window.unit)
    return low <= x <= high


def bars(state: GateState) -> bool:
    """Whether a gate keeps performance readings of its run from being judged."""
    return state.state != "holds"


def _state(gate: Gate, type_file: TypeFile, sheet: RunSheet, points: Sequence[PointData]) -> GateState:
    outcome = _CHECKS[gate.check](gate, type_file, sheet, points)
    return GateState(
        gate=gate.id,
        name=gate.name,
        run=sheet.run,
        state=outcome.state,
        text=outcome.text,
        mend="" if outcome.state == "holds" else gate.mend,
        source=source_text(type_file, gate.source),
    )


def _cell(type_file: TypeFile, sheet: RunSheet) -> Cell | None:
    return next((c for c in type_file.cell if c.id == sheet.cell.cell), None)


def _no_cell(sheet: RunSheet) -> _Outcome:
    return _Outcome("unknown", f"cell '{sheet.cell.cell}' of the run sheet is not in the type file")


def _window(gate: Gate, type_file: TypeFile, sheet: RunSheet, points: Sequence[PointData]) -> _Outcome:
    window = gate.window
    if window is None:
        return _Outcome("unknown", f"gate '{gate.id}' names no window")
    channel = next((c for c in type_file.channel if c.id == window.channel), None)
    readings = {p.id: p.channels[window.channel].mean for p in points if window.channel in p.channels}
    given = sheet.cell.wind_speed
    if not readings and channel is not None and channel.role == "wind_speed" and given is not None:
        readings = {"run sheet": to_inner(given.value, given.unit)}
    if not readings:
        return _Outcome("unknown", f"{gate.name}: '{window.channel}' was not recorded")
    outside = [name for name, x in readings.items() if not within(window, x)]
    shown = Shown(channel.dimension if channel else "ratio", window.unit)
    low, high = min(readings.values()), max(readings.values())
    seen = f"{amount(low, shown, abs(high - low) or None)} to {amount(high, shown, abs(high - low) or None)}"
    if outside:
        return _Outcome("fails", f"{gate.name}: {seen}, outside the window at {joined(outside)}")
    missing = (
        [p.id for p in points if window.channel not in p.channels] if "run sheet" not in readings else []
    )
    if missing:
        return _Outcome("unknown", f"{gate.name}: '{window.channel}' was not recorded at {joined(missing)}")
    return _Outcome("holds", f"{gate.name}: {seen}")


def _dry(gate: Gate, type_file: TypeFile, sheet: RunSheet, points: Sequence[PointData]) -> _Outcome:
    if sheet.cell.precipitation == "none":
        return _Outcome("holds", f"{gate.name}: none noted")
    return _Outcome("fails", f"{gate.name}: {sheet.cell.precipitation} noted on the run sheet")


def _fuel_sample(gate: Gate, type_file: TypeFile, sheet: RunSheet, points: Sequence[PointData]) -> _Outcome:
    fuel = sheet.fuel
    if fuel is None:
        return _Outcome("unknown", f"{gate.name}: the run sheet names no fuel sample")
    age = (sheet.performed_on - fuel.sampled_on).days
    text = f"{gate.name}: batch {fuel.batch}, sampled {age} days before the run"
    if age < 0:
        return _Outcome("fails", f"{gate.name}: batch {fuel.batch} was sampled {-age} days after the run")
    if gate.days is not None and age > gate.days:
        return _Outcome("fails", f"{text}; {gate.days} days are allowed")
    return _Outcome("holds", text)


def _calibration(gate: Gate, type_file: TypeFile, sheet: RunSheet, points: Sequence[PointData]) -> _Outcome:
    cell = _cell(type_file, sheet)
    if cell is None:
        return _no_cell(sheet)
    day = sheet.performed_on
    known = {i.channel: i for i in cell.instruments}
    used = {c.id for c in type_file.channel if c.role in _PERFORMANCE_ROLES}
    used &= {name for p in points for name in p.channels} if points else used
    late = [
        f"{i.channel} (serial {i.serial}, due {i.due_on.isoformat()})"
        for i in cell.instruments
        if not i.calibrated_on <= day <= i.due_on and i.channel in used
    ]
    if late:
        return _Outcome("fails", f"{gate.name}: not in calibration on {day.isoformat()}: {joined(late)}")
    unknown = sorted(used - known.keys())
    if unknown:
        return _Outcome("unknown", f"{gate.name}: the type file knows no calibration of {joined(unknown)}")
    return _Outcome("holds", f"{gate.name}: all in date on {day.isoformat()}")


def _correlation(gate: Gate, type_file: TypeFile, sheet: RunSheet, points: Sequence[PointData]) -> _Outcome:
    cell = _cell(type_file, sheet)
    if cell is None:
        return _no_cell(sheet)
    text = f"{gate.name}: report {cell.report}, due {cell.correlation_due_on.isoformat()}"
    current = cell.correlated_on <= sheet.performed_on <= cell.correlation_due_on
    return _Outcome("holds" if current else "fails", text if current else f"{text}: not current for this run")


def _configuration(gate: Gate, type_file: TypeFile, sheet: RunSheet, points: Sequence[PointData]) -> _Outcome:
    cell = _cell(type_file, sheet)
    if cell is None:
        return _no_cell(sheet)
    if _plain(cell.configuration) == _plain(sheet.cell.configuration):
        return _Outcome("holds", f"{gate.name}: {cell.configuration}")
    return _Outcome(
        "fails", f"{gate.name}: run in '{sheet.cell.configuration}', correlated in '{cell.configuration}'"
    )


def _plain(text: str) -> str:
    return " ".join(text.split()).casefold()


_CHECKS: dict[str, Callable[[Gate, TypeFile, RunSheet, Sequence[PointData]], _Outcome]] = {
    "window": _window,
    "dry": _dry,
    "fuel_sample": _fuel_sample,
    "calibration": _calibration,
    "correlation": _correlation,
    "configuration": _configuration,
}
