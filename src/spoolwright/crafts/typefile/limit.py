"""Limits of a type file: functions with windows, exceptions and actions."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Condition, Identifier, Record, Source


class LimitCurve(Record):
    """A limit over another channel: corner points joined by straight lines, or steps that hold from x on."""

    of: Identifier
    x_unit: str
    points: tuple[tuple[float, float], ...] = Field(min_length=2)
    between: Literal["linear", "step"] = "linear"


class LimitException(Record):
    """Where another value holds: while all of `when` hold, for at most `for_seconds` in one go."""

    note: str
    when: tuple[Condition, ...] = ()
    value: float
    for_seconds: float | None = None


class TimeAt(Record):
    """The reading may stand above `value` for at most `seconds` in total within the regime."""

    value: float
    seconds: float


Quantity = str
"""A channel id, or one of DERIVED_QUANTITIES."""

DERIVED_QUANTITIES: dict[str, str] = {
    "power_at_rated_mgt": "power",
    "mgt_at_rated_power": "temperature",
    "ng_at_rated_power": "speed",
    "sfc_at_rated_power": "specific fuel consumption",
    "time_to_light_off": "time",
    "time_to_idle": "time",
    "start_peak_mgt": "temperature",
    "acceleration_time": "time",
    "deceleration_time": "time",
    "coast_down_time": "time",
    "oil_consumption": "volume flow",
    "governing_droop": "speed",
    "governing_hunting": "speed",
    "speed_undershoot": "speed",
    "speed_overshoot": "speed",
    "torque_conformation_difference": "ratio",
    "mgt_trim_difference": "temperature difference",
}
"""Derived quantities a limit may be set on, with their dimension."""

Regime = Literal["start", "idle", "steady", "transient", "rating", "shut_down", "coast_down", "run"]


class Limit(Record):
    """One limit as a function, with when it counts, what excuses it and what it calls for."""

    id: Identifier
    name: str
    quantity: Quantity
    bound: Literal["max", "min"]
    regime: Regime
    rating: Identifier | None = Field(default=None, description="needed for regime 'rating'")
    unit: str
    value: float | None = None
    curve: LimitCurve | None = None
    time_at: tuple[TimeAt, ...] = ()
    valid_when: tuple[Condition, ...] = ()
    exceptions: tuple[LimitException, ...] = ()
    sets: tuple[Identifier, ...] = Field(min_length=1)
    guard_consumer_risk: float | None = Field(
        default=None, gt=0, lt=0.5, description="tightens acceptance; never widens"
    )
    action: str = Field(min_length=1)
    source: Source


class LimitSet(Record):
    """Which limits apply to which approved work."""

    id: Identifier
    name: str
    approved_work: str
