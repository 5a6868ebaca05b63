"""The shop's table of checks: what could be looked at next, what it takes, how well it tells. Frozen
records."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record


class Finding(Record):
    """One question that an inspection answers by yes or no."""

    causes: tuple[str, ...] = Field(
        min_length=1, max_length=20, description="ids of causes, any of which makes the answer yes"
    )
    sensitivity: float = Field(ge=0, le=1, description="chance of a yes when one of them is present")
    specificity: float = Field(ge=0, le=1, description="chance of a no when none of them is")


class _Step(Record):
    """What every check has."""

    id: Identifier
    text: str = Field(min_length=1, max_length=300, description="what is done, in words")
    hours: float = Field(gt=0, le=10_000, description="working hours that it takes")
    money: float = Field(default=0.0, ge=0, le=1e9, description="fuel, parts, services")
    basis: str = Field(default="", max_length=300, description="where the figures come from")


class Inspection(_Step):
    """A look or a bench check with answers by yes or no."""

    finds: tuple[Finding, ...] = Field(min_length=1, max_length=6, description="questions that it answers")


class Calibration(_Step):
    """An instrument checked against a standard as it was found."""

    channels: tuple[str, ...] = Field(
        default=(), description="ids of channels, each checked by itself; none: all that no other row names"
    )
    remaining: float = Field(
        ge=0,
        lt=1,
        description="part of the instrument's lasting standard uncertainty that is left afterwards",
    )


class AddedProbe(Record):
    """A probe that the run did not have."""

    output: str = Field(description="output of the engine model that it reads, as T5 or p5")
    level: float = Field(
        gt=0, le=0.2, description="relative standard uncertainty that is the same at all points"
    )
    scatter: float = Field(gt=0, le=0.2, description="relative standard deviation from point to point")


class Removal(Record):
    """A cause that is put right, wholly or partly, before the engine runs again."""

    cause: str
    share: float = Field(gt=0, le=1, description="part of its size that is gone")


class FurtherRun(_Step):
    """The engine run again."""

    speeds: tuple[float, ...] = Field(
        default=(),
        max_length=12,
        description="relative corrected gas generator speeds of the points; none: those of the last run",
    )
    probe: AddedProbe | None = None
    removes: tuple[Removal, ...] = Field(default=(), max_length=10, description="what is put right before")


class CheckTable(Record):
    """Everything that the shop can look at next."""

    format: Literal[1]
    currency: str = Field(min_length=1, max_length=8)
    hourly_rate: float = Field(gt=0, le=1e6, description="money that counts as much as one working hour")
    inspection: tuple[Inspection, ...] = ()
    calibration: tuple[Calibration, ...] = ()
    run: tuple[FurtherRun, ...] = ()
