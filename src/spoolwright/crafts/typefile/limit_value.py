"""What a limit asks at a moment or along a run, and whether it holds there. No verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spoolwright.crafts.typefile.base import Condition
from spoolwright.crafts.typefile.curve import curve_values
from spoolwright.crafts.typefile.limit import Limit, LimitException
from spoolwright.units import INNER_UNIT, from_inner, to_inner, unit_named

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Readings = Mapping[str, FloatArray]

State = Literal["applies", "does_not_apply", "cannot_tell"]


@dataclass(frozen=True)
class LimitOver:
    """A limit along a run.

    Parameters
    ----------
    value : array, shape (rows,); NaN where it does not hold, and for a limit of times alone [inner]
    applies : array of bool; the limit holds
    unknown : array of bool; a reading that would tell is missing
    excused : array of int; index of the exception in force, -1 where none is
    unit : inner unit of `value`
    """

    value: FloatArray
    applies: BoolArray
    unknown: BoolArray
    excused: NDArray[np.intp]
    unit: str


@dataclass(frozen=True)
class LimitAt:
    """A limit at one moment.

    Parameters
    ----------
    limit : the limit
    state : whether it holds there
    value : what it asks; None where it does not hold, and for a limit of times alone [inner]
    unit : inner unit of `value`
    exception : the exception in force, if any
    why : in words
    """

    limit: Limit
    state: State
    value: float | None
    unit: str
    exception: LimitException | None
    why: str

    @property
    def applies(self) -> bool:
        """Whether the limit holds there."""
        return self.state == "applies"


def limit_over(limit: Limit, readings: Readings, time: FloatArray) -> LimitOver:
    """A limit along a run.

    An exception with a time counts from when its conditions came to hold; when they cease it starts anew.

    Parameters
    ----------
    limit : the limit
    readings : channel id to inner values, shape (rows,), for the channels that windows and curve name
    time : array, shape (rows,), not falling [s]
    """
    lasted = [_lasted(_inside(e.when, readings, len(time))[0], time) for e in limit.exceptions]
    return _limit_over(limit, readings, len(time), lasted)


def limit_at(limit: Limit, readings: Mapping[str, float], excused_s: float = 0.0) -> LimitAt:
    """A limit at one moment.

    Parameters
    ----------
    limit : the limit
    readings : channel id to inner value
    excused_s : how long the conditions of an exception have held already [s]
    """
    arrays = {k: np.array([v], dtype=float) for k, v in readings.items()}
    lasted = [np.array([excused_s])] * len(limit.exceptions)
    over = _limit_over(limit, arrays, 1, lasted)
    index = int(over.excused[0])
    exception = limit.exceptions[index] if index >= 0 else None
    value = None if np.isnan(over.value[0]) else float(over.value[0])
    if over.applies[0]:
        why = f"by exception: {exception.note}" if exception else "in force"
        return LimitAt(limit, "applies", value, over.unit, exception, why)
    state: State = "cannot_tell" if over.unknown[0] else "does_not_apply"
    return LimitAt(limit, state, None, over.unit, None, _why_not(limit, readings, state))


def _limit_over(limit: Limit, readings: Readings, rows: int, lasted: Sequence[FloatArray]) -> LimitOver:
    inside, unknown = _inside(limit.valid_when, readings, rows)
    value = np.full(rows, np.nan if limit.value is None else to_inner(limit.value, limit.unit))
    if limit.curve is not None:
        x = readings.get(limit.curve.of, np.full(rows, np.nan))
        value = curve_values(limit.curve, limit.unit, x)
        unknown = unknown | (inside & np.isnan(x))
        inside = inside & ~np.isnan(value)
    applies = inside & ~unknown
    excused = np.full(rows, -1, dtype=np.intp)
    for i, (exception, held) in enumerate(zip(limit.exceptions, lasted, strict=True)):
        met, _ = _inside(exception.when, readings, rows, missing=False)
        in_time = True if exception.for_seconds is None else held <= exception.for_seconds
        looser = _looser(limit, to_inner(exception.value, limit.unit), value)
        take = applies & met & in_time & looser
        value = np.where(take, to_inner(exception.value, limit.unit), value)
        excused = np.where(take, i, excused)
    value = np.where(applies, value, np.nan)
    return LimitOver(
        value, applies, unknown & ~applies, excused, INNER_UNIT[unit_named(limit.unit).dimension]
    )


def _looser(limit: Limit, value: float, than: FloatArray) -> BoolArray:
    """An exception only excuses: of two values the one that allows more holds."""
    return np.asarray(value > than if limit.bound == "max" else value < than)


def _inside(
    conditions: Sequence[Condition], readings: Readings, rows: int, *, missing: bool = True
) -> tuple[BoolArray, BoolArray]:
    """Where every window holds, and where only missing readings leave it open.

    A missing reading counts as `missing`.
    """
    inside = np.ones(rows, dtype=bool)
    unknown = np.zeros(rows, dtype=bool)
    for c in conditions:
        x = readings.get(c.channel)
        x = np.full(rows, np.nan) if x is None else np.asarray(x, dtype=float)
        here = np.where(np.isnan(x), missing, _in_window(c, x))
        inside = inside & here
        unknown = unknown | np.isnan(x)
    return inside, unknown & inside


def _in_window(c: Condition, x: FloatArray) -> BoolArray:
    low = -np.inf if c.min is None else to_inner(c.min, c.unit)
    high = np.inf if c.max is None else to_inner(c.max, c.unit)
    return np.asarray((x >= low) & (x <= high))


def _lasted(met: BoolArray, time: FloatArray) -> FloatArray:
    """For how long a condition has held without a break; 0 where it does not hold."""
    if not len(time):
        return np.zeros(0)
    began = met & ~np.concatenate([[False], met[:-1]])
    start = np.maximum.accumulate(np.where(began, np.arange(len(time)), 0))
    return np.asarray(np.where(met, time - time[start], 0.0))


def _why_not(limit: Limit, readings: Mapping[str, float], state: State) -> str:
    windows = [_window_text(c, readings) for c in limit.valid_when if _misses(c, readings, state)]
    if windows:
        return "; ".join(windows)
    assert limit.curve is not None
    if state == "cannot_tell":
        return f"no reading of '{limit.curve.of}', which the limit depends on"
    first, last = limit.curve.points[0][0], limit.curve.points[-1][0]
    x = from_inner(readings[limit.curve.of], limit.curve.x_unit)
    span = f"from {first:g} to {last:g}" if limit.curve.between == "linear" else f"from {first:g}"
    return f"the limit is stated {span} {limit.curve.x_unit} of '{limit.curve.of}', not at {x:g}"


def _misses(c: Condition, readings: Mapping[str, float], state: State) -> bool:
    x = readings.get(c.channel, np.nan)
    if state == "cannot_tell":
        return bool(np.isnan(x))
    return not np.isnan(x) and not _in_window(c, np.array(x))


def _window_text(c: Condition, readings: Mapping[str, float]) -> str:
    ends = " and ".join(
        f"{word} {end:g} {c.unit}"
        for word, end in (("at least", c.min), ("at most", c.max))
        if end is not None
    )
    x = readings.get(c.channel, np.nan)
    if np.isnan(x):
        return f"holds with '{c.channel}' {ends}; there is no reading of it"
    return f"holds with '{c.channel}' {ends}; it reads {from_inner(x, c.unit):.4g} {c.unit}"
