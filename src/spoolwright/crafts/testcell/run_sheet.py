"""The run sheet: what people write down about a run, beside what the cell records. Frozen records, no logic.

A sheet is a TOML file next to the recording (`NAME.run.toml`) or named on the command line.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.model import Amount, Identifier, Record


class Engine(Record):
    """Which engine ran, and what its data plate carries."""

    serial: str
    visit: str = ""
    hours: float | None = Field(default=None, ge=0)
    torque_conformation: float | None = Field(
        default=None, description="true over indicated torque, from the data plate"
    )
    mgt_trim_class: str | None = None


class FuelSample(Record):
    """Fuel as sampled for this run."""

    batch: str
    sampled_on: date
    lower_heating_value: Amount
    heating_value_standard_uncertainty: Amount
    density_15c: Amount
    hydrogen_to_carbon: float = Field(gt=1.5, lt=2.3)


class CellState(Record):
    """Cell and weather for this run, as far as no channel records it."""

    cell: Identifier
    configuration: str
    precipitation: Literal["none", "rain", "snow", "fog"]
    wind_speed: Amount | None = None
    inlet_loss: float | None = Field(
        default=None, ge=0, lt=0.2, description="fraction of inlet total pressure lost"
    )
    exhaust_loss: float | None = Field(
        default=None, ge=0, lt=0.2, description="back pressure over ambient, minus 1"
    )


class Adjustment(Record):
    """An adjustment made in the cell during the run. Points before and after are never mixed."""

    at_s: float = Field(ge=0, le=1e6, description="seconds from the start of the recording")
    kind: Identifier = Field(
        description="topping, idle, governor, vane_rigging, bleed_rigging, torque_conformation, …"
    )
    text: str
    by: str


class SignedCorrection(Record):
    """A person's signed correction of recorded data. The recorded value stays beside the corrected one."""

    channel: Identifier
    kind: Literal["swap_with", "unit_is", "add", "multiply", "leave_out"]
    other: Identifier | None = None
    unit: str | None = None
    amount: float | None = Field(default=None, description="for add (channel unit) and multiply")
    from_s: float | None = None
    to_s: float | None = None
    reason: str = Field(min_length=3)
    signed_by: str = Field(min_length=2)
    signed_at: datetime


class CheckDone(Record):
    """A check of the schedule that no channel shows, as signed on the sheet."""

    item: Identifier
    result: Literal["satisfactory", "not_satisfactory"]
    text: str = ""
    by: str
    at: datetime


class OilAccount(Record):
    """Oil level or mass before and after a counted time at power."""

    consumed: Amount
    standard_uncertainty: Amount
    over: Amount


class RunSheet(Record):
    """Everything a person writes down about one run."""

    format: Literal[1]
    run: str = Field(description="run number within the visit")
    performed_on: date
    limit_set: Identifier
    purpose: str = ""
    operator: str = ""
    engine: Engine
    cell: CellState
    fuel: FuelSample | None = None
    oil: OilAccount | None = None
    adjustment: tuple[Adjustment, ...] = ()
    correction: tuple[SignedCorrection, ...] = ()
    check: tuple[CheckDone, ...] = ()
    remark: tuple[str, ...] = ()
