"""Demonstration runs worth looking at. Engines, serial numbers and people are invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from spoolwright.constants import ZERO_CELSIUS
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError
from spoolwright.rig.bench import Ambient
from spoolwright.rig.record import RecordOptions
from spoolwright.rig.script import PlannedAdjustment
from spoolwright.rig.sensor_faults import SensorFault
from spoolwright.rig.sheet import SheetOptions


@dataclass(frozen=True)
class Preset:
    """A run by name: what it shows, and how it is recorded on a type."""

    name: str
    text: str
    options: Callable[[TypeFile], RecordOptions]


def _channel(known: TypeFile, role: str) -> str:
    """The channel of a role; empty where the type records none."""
    return next((c.id for c in known.channel if c.role == role), "")


def _limit_set(known: TypeFile, *wanted: str) -> str:
    sets = [s.id for s in known.limit_set]
    return next((w for w in wanted if w in sets), sets[0])


def _mild(celsius: float, pressure: float) -> Ambient:
    return Ambient(
        temperature=ZERO_CELSIUS + celsius, pressure=pressure, relative_humidity=0.62, wind_speed=2.4
    )


def _healthy(known: TypeFile) -> RecordOptions:
    return RecordOptions(
        seed=9,
        serial="FG-3107",
        ambient=_mild(13.0, 100900.0),
        sheet=SheetOptions(limit_set=_limit_set(known, "overhauled"), visit="V-2291", hours=0.0),
    )


def _thin(known: TypeFile) -> RecordOptions:
    sheet = SheetOptions(limit_set=_limit_set(known, "overhauled"), visit="V-2302", hours=0.0)
    return RecordOptions(seed=58, serial="FG-3122", ambient=_mild(19.0, 99800.0), sheet=sheet)


def _hot_section(known: TypeFile) -> RecordOptions:
    return RecordOptions(
        seed=38,
        serial="FG-2954",
        faults={"turbine_tip_clearance": 2.5},
        ambient=_mild(11.0, 101200.0),
        sheet=SheetOptions(limit_set=_limit_set(known, "repaired"), visit="V-2310", hours=2640.0),
    )


def _data_faults(known: TypeFile) -> RecordOptions:
    ng, output = _channel(known, "gas_generator_speed"), _channel(known, "power_turbine_speed")
    faults = [SensorFault("swapped", ng, output)]
    if barometer := _channel(known, "ambient_pressure"):
        faults.append(SensorFault("unit", barometer, "inHg"))
    return RecordOptions(
        seed=16,
        serial="FG-3130",
        sensor_faults=faults,
        ambient=_mild(8.0, 98600.0),
        sheet=SheetOptions(limit_set=_limit_set(known, "overhauled"), visit="V-2315", hours=0.0),
    )


def _adjusted(known: TypeFile) -> RecordOptions:
    holds = [s.id for s in known.schedule if s.kind == "hold"]
    adjustment = PlannedAdjustment(
        after=holds[min(3, len(holds) - 1)],
        kind="vane_rigging",
        text="Inlet vanes found 4 deg closed at the stop; linkage reset to the rigging mark.",
        changes={"vane_offset": 0.1},
    )
    return RecordOptions(
        seed=51,
        serial="FG-3088",
        faults={"vane_rigging": 4.0},
        adjustments=[adjustment],
        ambient=_mild(15.0, 100400.0),
        sheet=SheetOptions(limit_set=_limit_set(known, "overhauled"), visit="V-2299", hours=0.0),
    )


def _out_of_date(known: TypeFile) -> RecordOptions:
    sheet = SheetOptions(limit_set=_limit_set(known, "overhauled"), visit="V-2321", hours=0.0)
    return RecordOptions(
        seed=40, serial="FG-3141", on=_day_after_first_due(known), ambient=_mild(5.0, 100100.0), sheet=sheet
    )


def _day_after_first_due(known: TypeFile) -> date | None:
    """Twelve days after the first instrument of the first cell fell due; None where the type names none."""
    due = [i.due_on for i in known.cell[0].instruments] if known.cell else []
    return min(due) + timedelta(days=12) if due else None


_ALL = [
    Preset("healthy", "overhauled engine in good order, every reading within limits", _healthy),
    Preset("thin-margin", "overhauled engine within a hair of its performance limits, on either side", _thin),
    Preset("hot-section", "repaired engine short of power: worn turbine tips", _hot_section),
    Preset(
        "data-faults",
        "sound engine; speed channels swapped, barometer written in inHg under hPa",
        _data_faults,
    ),
    Preset("adjusted", "inlet vanes found off and reset in the cell, points repeated", _adjusted),
    Preset("out-of-date", "sound engine; an instrument is past its calibration date", _out_of_date),
]
PRESETS: dict[str, Preset] = {p.name: p for p in _ALL}
"""Demonstration runs by name."""


def preset_options(name: str, known: TypeFile, rate: float | None = None) -> RecordOptions:
    """How a preset is recorded on a type, at another rate where one is given [1/s].

    Raises
    ------
    InputError
        When there is no such preset.
    """
    if name not in PRESETS:
        raise InputError(f"preset '{name}' is not known.", mend=f"Use one of: {', '.join(PRESETS)}.")
    options = PRESETS[name].options(known)
    return options if rate is None else replace(options, rate=rate)
