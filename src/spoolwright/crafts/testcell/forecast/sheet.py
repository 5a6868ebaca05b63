"""The build sheet: what was found and built, as the people at the bench write it down. Frozen records.

A sheet is a TOML file. Every amount keeps its entered unit. What is not written down was not measured; the
forecast then lets it scatter as builds do.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.model import Amount, Identifier, Record

Module = Literal["compressor", "gas_generator_turbine", "power_turbine"]
TurbineModule = Literal["gas_generator_turbine", "power_turbine"]
SurfaceState = Literal["washed", "clean", "light", "fouled", "heavy"]


class BuiltEngine(Record):
    """Which engine was built."""

    serial: str = Field(min_length=1)
    visit: str = ""
    hours: float | None = Field(default=None, ge=0)


class Stages(Record):
    """How many stages each module has."""

    compressor: int = Field(ge=1, le=20)
    gas_generator_turbine: int = Field(ge=1, le=6)
    power_turbine: int = Field(ge=1, le=6)


class Clearance(Record):
    """Tip clearance of a stage: a length with the blade height, or a fraction of the blade height."""

    module: Module
    stage: int = Field(ge=1, le=20)
    gap: Amount = Field(description="as built: a length, or gap over height in '1' or '%'")
    nominal_gap: Amount = Field(description="what the manual calls nominal; the same kind as gap")
    standard_uncertainty: Amount = Field(description="of gap; the same kind as gap")
    span: Amount | None = Field(default=None, description="blade height, for a gap in length")
    work_share: float | None = Field(
        default=None, gt=0, le=1, description="part of the module's work; equal parts when left out"
    )
    note: str = ""


class Nozzle(Record):
    """Throat area of a nozzle, as the flow rig measured it."""

    module: TurbineModule
    area: Amount
    nominal_area: Amount
    standard_uncertainty: Amount
    nozzle_class: str = ""
    note: str = ""


class NozzleClass(Record):
    """A nozzle that could be built in instead."""

    module: TurbineModule
    nozzle_class: str = Field(min_length=1)
    area: Amount
    standard_uncertainty: Amount


class Blend(Record):
    """Blade area blended away in a compressor stage, all blades of the row together."""

    stage: int = Field(ge=1, le=20)
    blended_area: Amount
    row_area: Amount = Field(description="area of one side of all blades of the row")
    standard_uncertainty: Amount = Field(description="of blended_area")
    note: str = ""


class Roughness(Record):
    """Surface roughness of a compressor stage."""

    stage: int = Field(ge=1, le=20)
    roughness: Amount = Field(description="arithmetic mean roughness Ra")
    chord: Amount
    reynolds: float = Field(gt=1e4, lt=1e8, description="chord Reynolds number at the rating")
    note: str = ""


class Surface(Record):
    """Dirt on the compressor, as seen."""

    state: SurfaceState
    note: str = ""


class Seal(Record):
    """Clearance of an air seal that leaks overboard."""

    name: Identifier
    clearance: Amount
    new_clearance: Amount
    standard_uncertainty: Amount
    note: str = ""


class LeakCheck(Record):
    """Air lost at a joint or valve, found with shop air."""

    name: Identifier
    flow: Amount
    standard_uncertainty: Amount
    pressure: Amount = Field(description="absolute, ahead of the leak")
    temperature: Amount
    note: str = ""


class Vanes(Record):
    """Rigging of the variable vanes against their schedule; closed is positive."""

    offset: Amount
    standard_uncertainty: Amount
    note: str = ""


class Drag(Record):
    """Power lost in the gearbox, or taken by the accessories, as measured."""

    of: Literal["gearbox", "accessories"]
    power: Amount
    nominal_power: Amount
    standard_uncertainty: Amount
    note: str = ""


class ReceivedReading(Record):
    """A rated quantity that the as-received run showed."""

    quantity: Literal["power_at_rated_mgt", "mgt_at_rated_power", "ng_at_rated_power", "sfc_at_rated_power"]
    rating: Identifier
    value: float
    unit: str
    standard_uncertainty: Amount


class AsReceived(Record):
    """The as-received run, for modules that were left as they were."""

    kept: tuple[Identifier, ...] = Field(min_length=1, description="modules left as received")
    reading: tuple[ReceivedReading, ...] = ()
    condition: str = Field(
        default="", description="JSON file with the module condition found; in place of readings"
    )


class BuildSheet(Record):
    """Everything a forecast is told about a build."""

    format: Literal[1]
    engine: BuiltEngine
    limit_set: Identifier
    cell: Identifier = Field(description="cell in which the engine is to run")
    prepared_on: date
    prepared_by: str = ""
    stages: Stages
    clearance: tuple[Clearance, ...] = ()
    nozzle: tuple[Nozzle, ...] = ()
    nozzle_class: tuple[NozzleClass, ...] = ()
    blend: tuple[Blend, ...] = ()
    roughness: tuple[Roughness, ...] = ()
    surface: Surface | None = None
    seal: tuple[Seal, ...] = ()
    leak_check: tuple[LeakCheck, ...] = ()
    vanes: Vanes | None = None
    drag: tuple[Drag, ...] = ()
    as_received: AsReceived | None = None
    remark: tuple[str, ...] = ()


class Work(Record):
    """What a change costs the shop."""

    kind: Literal[
        "clearance", "nozzle", "blend", "surface", "seal", "leak_check", "vanes", "drag", "roughness"
    ]  # fmt: skip
    module: str = ""
    stage: int = 0
    hours: float = Field(ge=0)
    money: float = Field(default=0.0, ge=0)


class CostTable(Record):
    """Hours and money of the work that the forecast may propose."""

    format: Literal[1]
    currency: str = Field(min_length=1, max_length=8)
    work: tuple[Work, ...] = Field(min_length=1)


class BuildRun(Record):
    """A build that was run: its sheet, and what the run showed."""

    sheet: str = Field(default="", description="build sheet; none for an accepted run without one")
    result: str = Field(default="", description="JSON result of `spoolwright assess`")
    engine: str = Field(default="", description="serial, where no sheet names it")
    reading: tuple[ReceivedReading, ...] = ()


class BuildHistory(Record):
    """Builds that were run, to be learnt from. Paths are beside the history file."""

    format: Literal[1]
    cell: Identifier = Field(description="cell of the runs, for readings without a result file")
    build: tuple[BuildRun, ...] = Field(min_length=1)
