"""How the approved document defines what is timed. Without a definition the reading is *cannot tell*."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Amount, Record, Source


class StartDefinition(Record):
    """From what moment a start is timed, and what counts as light-off and idle."""

    clock_from: Literal["starter_on", "fuel_on", "ignition_on"] = "starter_on"
    light_off_rise: Amount = Field(description="MGT rise above the motoring reading that shows light-off")
    idle_speed: Amount = Field(description="gas generator speed at ground idle")
    idle_within: Amount = Field(description="the start ends when Ng first comes this close to idle speed")
    source: Source


class SlamDefinition(Record):
    """Between which readings an acceleration or deceleration is timed."""

    clock_from: Literal["lever_moved", "reading_left"] = "lever_moved"
    measured_on: Literal["torque", "gas_generator_speed"] = "torque"
    fraction: float = Field(
        gt=0.5, lt=1.0, description="share of the whole change that must be reached when the clock stops"
    )
    least_change: Amount = Field(description="a smaller change of the reading is not a slam")
    source: Source


class CoastDownDefinition(Record):
    """Between which gas generator speeds a coast-down is timed, with fuel off."""

    from_speed: Amount
    to_speed: Amount
    source: Source


class Definitions(Record):
    """The approved document's definitions of timed readings."""

    start: StartDefinition | None = None
    acceleration: SlamDefinition | None = None
    deceleration: SlamDefinition | None = None
    coast_down: CoastDownDefinition | None = None
