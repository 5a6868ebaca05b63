"""How what is measured in a visit enters the forecast of its run: nominals, blade heights, stages."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record, Source

ForecastModule = Literal["compressor", "gas_generator_turbine", "power_turbine"]


class ConditionStages(Record):
    """How many stages each module has."""

    compressor: int = Field(ge=1, le=20)
    gas_generator_turbine: int = Field(ge=1, le=6)
    power_turbine: int = Field(ge=1, le=6)


class ConditionClearance(Record):
    """A dimension that is a tip clearance. Lengths in the dimension's unit."""

    dimension: Identifier
    module: ForecastModule
    stage: int = Field(ge=1, le=20)
    nominal: float = Field(gt=0)
    blade_height: float = Field(gt=0)
    uncertainty: float = Field(gt=0, description="standard, where none is entered")
    source: Source


class ConditionNozzle(Record):
    """A dimension that is the throat area of a nozzle. In the dimension's unit."""

    dimension: Identifier
    module: Literal["gas_generator_turbine", "power_turbine"]
    nominal: float = Field(gt=0)
    uncertainty: float = Field(gt=0, description="standard, where none is entered")
    source: Source


class ConditionRoughness(Record):
    """A dimension that is the roughness of a compressor stage."""

    dimension: Identifier
    stage: int = Field(ge=1, le=20)
    chord_mm: float = Field(gt=0)
    reynolds: float = Field(gt=1e4, lt=1e8)
    source: Source


class ConditionBlends(Record):
    """An inspected part whose blends the forecast takes: a compressor stage."""

    part: Identifier
    stage: int = Field(ge=1, le=20)
    source: Source


class ForecastCondition(Record):
    """Everything of an inspection that a forecast takes."""

    stages: ConditionStages
    clearance: tuple[ConditionClearance, ...] = ()
    nozzle: tuple[ConditionNozzle, ...] = ()
    roughness: tuple[ConditionRoughness, ...] = ()
    blends: tuple[ConditionBlends, ...] = ()


def condition_misnamed(
    condition: ForecastCondition | None, dimensions: Iterable[str], parts: Iterable[str]
) -> Iterator[str]:
    """What the condition names that is not there."""
    if condition is None:
        return
    known, inspected = set(dimensions), set(parts)
    taken = [
        *(x.dimension for x in condition.clearance),
        *(x.dimension for x in condition.nozzle),
        *(x.dimension for x in condition.roughness),
    ]
    for dimension in taken:
        if dimension not in known:
            yield f"the condition takes '{dimension}', which is no dimension"
    for row in condition.blends:
        if row.part not in inspected:
            yield f"the condition takes blends of '{row.part}', which is no inspected part"
